use numerics::{Table, TableError};
use proptest::prelude::*;

use crate::reference::rows;

const X: [f64; 7] = [10.0, 31.5, 100.0, 630.0, 1000.0, 8000.0, 20000.0];
const Y: [f64; 7] = [96.0, 88.5, 71.25, 60.0, 57.5, 41.0, 47.0];
/// Rounding of the file and of the logarithms.
const ROUNDING: f64 = 1e-10;

/// Truth: numpy.interp, reference/numerics/numpy-interp.csv.
#[test]
fn val_table_reads_as_numpy_does() {
    let table = Table::new(&X, &Y).unwrap();
    for row in rows("numpy-interp.csv") {
        let [x, linear, log_x] = [0, 1, 2].map(|i| row[i].parse::<f64>().unwrap());
        assert!((table.at(x).unwrap() - linear).abs() < ROUNDING, "{x}");
        assert!((table.at_log_x(x).unwrap() - log_x).abs() < ROUNDING, "{x}");
    }
}

/// A spectrum that falls 17 dB a decade is a straight line in lg x, so three knots give it everywhere.
#[test]
fn verif_log_reading_is_exact_for_a_slope_per_decade() {
    let level = |x: f64| 60.0 - 17.0 * libm::log10(x / 1000.0);
    let knots = [20.0, 1000.0, 90_000.0];
    let table = Table::new(&knots, &knots.map(level)).unwrap();
    for x in [20.0, 33.0, 400.0, 2500.0, 90_000.0] {
        assert!(
            (table.at_log_x(x).unwrap() - level(x)).abs() < 1e-12 * 60.0,
            "{x}"
        );
    }
    let linear_error_db = (table.at(100.0).unwrap() - level(100.0)).abs();
    assert!(
        linear_error_db > 5.0,
        "the linear reader must be told apart, {linear_error_db}"
    );
}

/// Knots so near that their logarithms are one number: between them a straight line, and never no number.
#[test]
fn verif_log_reading_between_knots_that_fall_together() {
    let first = 1e6_f64;
    let step = first.next_up() - first;
    let x = [1.0, first, first + 3.0 * step, 1e7];
    assert_eq!(libm::log(x[1]), libm::log(x[2]));
    let table = Table::new(&x, &[0.0, 10.0, 40.0, 50.0]).unwrap();
    assert_eq!(table.at_log_x(first + step), Ok(20.0));
    assert_eq!(table.at_log_x(first + 2.0 * step), Ok(30.0));
}

#[test]
fn verif_outside_is_an_error_and_only_clamped_gives_the_end() {
    let table = Table::new(&X, &Y).unwrap();
    let outside = |x| {
        Err(TableError::Outside {
            x,
            low: 10.0,
            high: 20000.0,
        })
    };
    assert_eq!(table.at(9.99), outside(9.99));
    assert_eq!(table.at(20000.1), outside(20000.1));
    assert_eq!(table.at_log_x(9.99), outside(9.99));
    assert_eq!(table.at_clamped(-3.0), Ok(96.0));
    assert_eq!(table.at_clamped(f64::INFINITY), Ok(47.0));
    assert_eq!(table.at_log_x_clamped(1e-9), Ok(96.0));
    assert_eq!(table.at_log_x_clamped(1e9), Ok(47.0));
    for reading in [
        table.at(f64::NAN),
        table.at_clamped(f64::NAN),
        table.at_log_x(f64::NAN),
        table.at_log_x_clamped(f64::NAN),
    ] {
        assert!(matches!(reading, Err(TableError::Outside { x, .. }) if x.is_nan()));
    }
}

#[test]
fn verif_logarithm_needs_positive_x() {
    let from_zero = Table::new(&[0.0, 1.0], &[5.0, 6.0]).unwrap();
    assert_eq!(
        from_zero.at_log_x(0.5),
        Err(TableError::NotPositive { x: 0.0 })
    );
    assert_eq!(
        from_zero.at_log_x_clamped(0.5),
        Err(TableError::NotPositive { x: 0.0 })
    );
    let table = Table::new(&X, &Y).unwrap();
    assert_eq!(table.at_log_x(0.0), Err(TableError::NotPositive { x: 0.0 }));
    assert_eq!(
        table.at_log_x_clamped(-2.0),
        Err(TableError::NotPositive { x: -2.0 })
    );
}

#[test]
fn verif_unusable_columns_are_named() {
    assert_eq!(Table::new(&[], &[]), Err(TableError::Empty));
    assert_eq!(
        Table::new(&[1.0], &[]),
        Err(TableError::UnequalLengths { x_len: 1, y_len: 0 })
    );
    assert_eq!(
        Table::new(&[1.0, 2.0, 2.0], &[0.0; 3]),
        Err(TableError::NotIncreasing {
            index: 2,
            before: 2.0,
            after: 2.0
        })
    );
    assert!(matches!(
        Table::new(&[1.0, f64::NAN], &[0.0; 2]),
        Err(TableError::NotFinite { index: 1, .. })
    ));
    assert!(matches!(
        Table::new(&[1.0, 2.0], &[f64::INFINITY, 0.0]),
        Err(TableError::NotFinite { index: 0, .. })
    ));
}

#[test]
fn verif_one_pair_makes_a_constant() {
    let table = Table::new(&[3.0], &[7.0]).unwrap();
    assert_eq!(table.at(3.0), Ok(7.0));
    assert!(table.at(3.1).is_err());
    assert_eq!(table.at_clamped(3.1), Ok(7.0));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// At knots the stored value, bit for bit; between two knots never outside their values.
    #[test]
    fn verif_reading_stays_between_its_knots(
        steps in prop::collection::vec((0.001f64..100.0, -1e3f64..1e3), 2..20),
        share in 0.0f64..1.0,
    ) {
        let mut at = 0.0;
        let x: Vec<f64> = steps.iter().map(|(step, _)| { at += step; at }).collect();
        let y: Vec<f64> = steps.iter().map(|(_, y)| *y).collect();
        let table = Table::new(&x, &y).unwrap();
        for i in 0..x.len() {
            prop_assert_eq!(table.at(x[i]).unwrap(), y[i]);
            prop_assert_eq!(table.at_log_x(x[i]).unwrap(), y[i]);
        }
        for i in 1..x.len() {
            let between = (x[i - 1] + share * (x[i] - x[i - 1])).min(x[i]);
            let slack = 1e-12 * (y[i].abs() + y[i - 1].abs());
            for value in [table.at(between).unwrap(), table.at_log_x(between).unwrap()] {
                prop_assert!(value >= y[i - 1].min(y[i]) - slack && value <= y[i - 1].max(y[i]) + slack);
            }
        }
    }
}
