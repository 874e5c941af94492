//! Converters: worked values, curves, and what is refused.

use power::{Converter, ConverterError, EfficiencyCurve, solve};
use proptest::prelude::*;

use crate::published::two_bus;

fn losses(efficiency: f64, standing_w: f64, square_per_w: f64) -> Converter {
    Converter::Losses {
        efficiency,
        standing_w,
        square_per_w,
    }
}

fn curve(points: &[(f64, f64)]) -> Converter {
    Converter::ByOutput(EfficiencyCurve::new(points).unwrap())
}

#[track_caller]
fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} {expected}");
}

/// A standing loss of 0.3 W, 5 % of the output and 0.002 for each watt, worked by hand: outputs of 1, 10 and 40 W; the
/// efficiency is highest, 0.909927, at sqrt(0.3/0.002) = 12.247 W.
#[test]
fn verif_a_loss_polynomial_worked_by_hand() {
    let converter = losses(1.0 / 1.05, 0.3, 0.002);
    let input_w = |output_w| converter.input_power_w(output_w).unwrap();
    for (output_w, expected_w, efficiency) in [
        (1.0, 1.352, 0.73964),
        (10.0, 11.0, 0.90909),
        (40.0, 45.5, 0.87912),
    ] {
        close(input_w(output_w), expected_w, 1e-12);
        close(output_w / input_w(output_w), efficiency, 5e-6);
    }
    assert_eq!(converter.input_power_w(0.0), Ok(0.3));
    let peak_w = 12.247_448_713_915_89;
    close(peak_w / input_w(peak_w), 0.909_927, 5e-7);
    for near_w in [0.99 * peak_w, 1.01 * peak_w] {
        assert!(near_w / input_w(near_w) < peak_w / input_w(peak_w));
    }
}

/// The same converter with 10 W behind 20 ohm of a 48 V supply: the high root of the quadratic with 11 W, 42.867962264 V. Without
/// the quadratic loss (10.8 W) the voltage would be another.
#[test]
fn verif_a_converter_on_a_line() {
    let voltage_v = |converter: &Converter| {
        let power_w = converter.input_power_w(10.0).unwrap();
        solve(&two_bus(48.0, 20.0, power_w)).unwrap().voltages_v[1]
    };
    close(
        voltage_v(&losses(1.0 / 1.05, 0.3, 0.002)),
        42.867_962_264,
        1e-9,
    );
    assert!((voltage_v(&losses(1.0 / 1.05, 0.3, 0.0)) - 42.867_962_264).abs() > 0.1);
}

/// At its points a curve gives output over efficiency; between them the input is a straight line: 2.0/0.8 and 6.0/0.9 W enclose
/// the input for 4 W.
#[test]
fn verif_a_curve_between_its_points() {
    let converter = curve(&[(2.0, 0.8), (6.0, 0.9), (20.0, 0.85)]);
    let input_w = |output_w| converter.input_power_w(output_w);
    close(input_w(2.0).unwrap(), 2.5, 1e-12);
    close(input_w(6.0).unwrap(), 20.0 / 3.0, 1e-12);
    close(input_w(4.0).unwrap(), 0.5 * (2.5 + 20.0 / 3.0), 1e-12);
    close(input_w(20.0).unwrap(), 20.0 / 0.85, 1e-12);
    for output_w in [0.0, 1.99, 20.01] {
        assert_eq!(
            input_w(output_w),
            Err(ConverterError::BeyondCurve {
                output_w,
                lowest_w: 2.0,
                highest_w: 20.0
            })
        );
    }
}

#[test]
fn verif_converters_that_are_refused() {
    for efficiency in [0.0, -0.1, 1.01, f64::NAN] {
        assert!(matches!(
            losses(efficiency, 0.3, 0.0).input_power_w(1.0),
            Err(ConverterError::Efficiency { .. })
        ));
        assert!(matches!(
            EfficiencyCurve::new(&[(1.0, efficiency)]),
            Err(ConverterError::Efficiency { .. })
        ));
    }
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            losses(0.9, 0.3, 0.0).input_power_w(bad),
            Err(ConverterError::Output { .. })
        ));
        assert!(matches!(
            losses(0.9, bad, 0.0).input_power_w(1.0),
            Err(ConverterError::Standing { .. })
        ));
        assert!(matches!(
            losses(0.9, 0.3, bad).input_power_w(1.0),
            Err(ConverterError::Square { .. })
        ));
    }
    for points in [
        &[][..],
        &[(0.0, 0.9)],
        &[(-1.0, 0.9)],
        &[(f64::NAN, 0.9)],
        &[(f64::INFINITY, 0.9)],
        &[(2.0, 0.3), (2.0, 0.9)],
        &[(2.0, 0.2), (1.0, 0.9), (30.0, 0.9)],
    ] {
        assert!(EfficiencyCurve::new(points).is_err(), "{points:?}");
    }
    // 5 W at 0.4 draw 12.5 W, 6 W at 0.6 only 10 W.
    assert_eq!(
        EfficiencyCurve::new(&[(5.0, 0.4), (6.0, 0.6)]),
        Err(ConverterError::FallingInput {
            output_w: 5.0,
            input_w: 12.5,
            larger_w: 6.0
        })
    );
}

proptest! {
    #![proptest_config(crate::cases())]

    /// More output never draws less, and no converter gives more than it draws; a curve through the points of a polynomial draws
    /// at least as much between them (a convex curve lies below its chords).
    #[test]
    fn verif_converters_only_lose(
        efficiency in 0.5..1.0_f64,
        standing_w in 0.0..2.0_f64,
        square_per_w in 0.0..0.01_f64,
        a_w in 1.0..40.0_f64,
        b_w in 1.0..40.0_f64,
    ) {
        let (low_w, high_w) = (a_w.min(b_w), a_w.max(b_w));
        let polynomial = losses(efficiency, standing_w, square_per_w);
        let draw = |c: &Converter, output_w: f64| c.input_power_w(output_w).unwrap();
        prop_assert!(draw(&polynomial, low_w) <= draw(&polynomial, high_w));
        prop_assert!(draw(&polynomial, low_w) >= low_w);
        let point = |output_w: f64| (output_w, output_w / draw(&polynomial, output_w));
        let through = curve(&[point(1.0), point(20.0), point(40.0)]);
        for output_w in [low_w, high_w] {
            prop_assert!(draw(&through, output_w) >= draw(&polynomial, output_w) * (1.0 - 1e-12));
        }
    }
}
