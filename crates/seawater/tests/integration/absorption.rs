use proptest::prelude::*;
use seawater::{
    SeaError, Variable, Warning, absorption, absorption_ainslie_mccolm_db_per_km,
    absorption_db_per_km, depth_from_pressure_m,
};

use crate::reference::{Reference, assert_near};

/// Rounding of the reference file.
const SECOND_ROUTE_RELATIVE: f64 = 1e-8;

/// Second route: both formulas written out again with numpy, reference/seawater/numpy-absorption.csv.
#[test]
fn verif_both_formulas_by_a_second_route() {
    for row in Reference::open("numpy-absorption.csv").rows() {
        let [f, t, s, d, ph] = [
            "frequency_hz",
            "temperature_degc",
            "salinity",
            "depth_m",
            "ph",
        ]
        .map(|c| row.number(c));
        let parts = absorption(f, t, s, d, ph).unwrap();
        for (part, column) in [
            (parts.boric_acid_db_per_km, "boric_acid_db_per_km"),
            (
                parts.magnesium_sulphate_db_per_km,
                "magnesium_sulphate_db_per_km",
            ),
            (parts.water_db_per_km, "water_db_per_km"),
        ] {
            assert_near(
                part,
                row.number(column),
                SECOND_ROUTE_RELATIVE * row.number(column),
            );
        }
        let sum =
            parts.boric_acid_db_per_km + parts.magnesium_sulphate_db_per_km + parts.water_db_per_km;
        assert_eq!(parts.total_db_per_km, sum);
        let simple = row.number("ainslie_mccolm_db_per_km");
        assert_near(
            absorption_ainslie_mccolm_db_per_km(f, t, s, d, ph).unwrap(),
            simple,
            SECOND_ROUTE_RELATIVE * simple,
        );
    }
}

/// Fisher and Simmons, J. Acoust. Soc. Am. 62, 558 (1977), table IV, as quoted by the oceanographic package oce
/// (`swSoundAbsorption`): 0.52 dB/km at 10 kHz, S 35, 5 degC, 500 atm. That the formulas differ from it by a tenth is known.
#[test]
fn val_fisher_and_simmons_at_ten_kilohertz() {
    const PUBLISHED_DB_PER_KM: f64 = 0.52;
    const SPREAD: f64 = 0.10;
    const DBAR_PER_ATM: f64 = 10.1325;
    let depth_m = depth_from_pressure_m(500.0 * DBAR_PER_ATM, 30.0).unwrap();
    let ours = absorption_db_per_km(10_000.0, 5.0, 35.0, depth_m, 8.0).unwrap();
    let simple = absorption_ainslie_mccolm_db_per_km(10_000.0, 5.0, 35.0, depth_m, 8.0).unwrap();
    println!("10 kHz, 500 atm: {ours:.4} and {simple:.4} dB/km, published 0.52");
    assert_near(ours, PUBLISHED_DB_PER_KM, SPREAD * PUBLISHED_DB_PER_KM);
    assert_near(simple, PUBLISHED_DB_PER_KM, SPREAD * PUBLISHED_DB_PER_KM);
    let at_surface = absorption_db_per_km(10_000.0, 5.0, 35.0, 0.0, 8.0).unwrap();
    assert!(
        (at_surface - PUBLISHED_DB_PER_KM).abs() > SPREAD * PUBLISHED_DB_PER_KM,
        "depth must matter: {at_surface}"
    );
}

/// Worked points of the two formulas: 0.9626 and 0.9866 dB/km at 10 kHz, 10 degC, S 35, surface, pH 8. Both were computed
/// with other code from the same coefficients; a hundredth of the value would show a slip of kilohertz or kilometres.
#[test]
fn regress_ten_kilohertz_in_temperate_water() {
    assert_near(
        absorption_db_per_km(10_000.0, 10.0, 35.0, 0.0, 8.0).unwrap(),
        0.96264,
        1e-5,
    );
    assert_near(
        absorption_ainslie_mccolm_db_per_km(10_000.0, 10.0, 35.0, 0.0, 8.0).unwrap(),
        0.98657,
        1e-5,
    );
}

/// Ratio of the two formulas over the ocean: median within 2 % of one, 5 to 95 % within 0.94 to 1.08, extremes 0.88 to 1.19.
#[test]
fn verif_the_two_formulas_agree_over_the_ocean() {
    let mut ratios = Vec::new();
    for f in [200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 5e5] {
        for t in [-1.5, 4.0, 10.0, 17.0, 24.0, 30.0] {
            for s in [30.0, 35.0, 40.0] {
                for d in [0.0, 200.0, 1000.0, 4000.0] {
                    for ph in [7.7, 8.0, 8.3] {
                        let simple = absorption_ainslie_mccolm_db_per_km(f, t, s, d, ph).unwrap();
                        ratios.push(simple / absorption_db_per_km(f, t, s, d, ph).unwrap());
                    }
                }
            }
        }
    }
    ratios.sort_by(f64::total_cmp);
    let at = |share: f64| ratios[(share * (ratios.len() - 1) as f64) as usize];
    println!(
        "{} ratios: {:?}",
        ratios.len(),
        [0.0, 0.05, 0.5, 0.95, 1.0].map(at)
    );
    assert_near(at(0.5), 1.0, 0.02);
    assert!(at(0.05) > 0.94 && at(0.95) < 1.08);
    assert!(at(0.0) > 0.88 && at(1.0) < 1.19);
}

#[test]
fn verif_the_strict_function_refuses_what_the_other_warns_of() {
    assert!(matches!(
        absorption_db_per_km(130.0, 10.0, 35.0, 0.0, 8.0),
        Err(SeaError::OutOfRange {
            variable: Variable::Frequency,
            value: 130.0,
            low: 200.0,
            ..
        })
    ));
    let low = absorption(130.0, 10.0, 35.0, 0.0, 8.0).unwrap();
    assert!(matches!(
        low.warnings[..],
        [Warning::Extrapolated {
            variable: Variable::Frequency,
            value: 130.0,
            low: 200.0,
            ..
        }]
    ));
    assert!(low.total_db_per_km > 1e-3 && low.total_db_per_km < 3e-3);

    assert!(absorption_db_per_km(1e4, 10.0, 8.0, 20.0, 8.0).is_err());
    let brackish = absorption(1e4, 10.0, 8.0, 20.0, 8.0).unwrap();
    assert!(matches!(
        brackish.warnings[..],
        [Warning::Extrapolated {
            variable: Variable::Salinity,
            ..
        }]
    ));

    let ocean = absorption(1e4, 10.0, 35.0, 20.0, 8.0).unwrap();
    assert!(ocean.warnings.is_empty());
    assert_eq!(
        absorption_db_per_km(1e4, 10.0, 35.0, 20.0, 8.0),
        Ok(ocean.total_db_per_km)
    );
}

/// Fresh water has neither salt's relaxation.
#[test]
fn verif_fresh_water_keeps_only_the_water_term() {
    let fresh = absorption(5e4, 12.0, 0.0, 5.0, 7.5).unwrap();
    assert_eq!(fresh.boric_acid_db_per_km, 0.0);
    assert_eq!(fresh.magnesium_sulphate_db_per_km, 0.0);
    assert_eq!(fresh.total_db_per_km, fresh.water_db_per_km);
    assert!(fresh.water_db_per_km > 0.0);
}

#[test]
fn verif_outside_the_range_is_an_error() {
    let base = [1e4, 10.0, 35.0, 100.0, 8.0];
    let beyond = [
        (0, 0.5),
        (0, 1.1e6),
        (1, -2.1),
        (1, 35.1),
        (2, -0.1),
        (2, 42.1),
        (3, -0.1),
        (3, 8001.0),
        (4, 6.9),
        (4, 9.1),
    ];
    let bad = (0..5).flat_map(|i| [f64::NAN, f64::INFINITY, f64::NEG_INFINITY].map(|v| (i, v)));
    for (i, value) in beyond.into_iter().chain(bad) {
        let mut x = base;
        x[i] = value;
        assert!(
            absorption(x[0], x[1], x[2], x[3], x[4]).is_err(),
            "{i} {value}"
        );
        assert!(
            absorption_db_per_km(x[0], x[1], x[2], x[3], x[4]).is_err(),
            "{i} {value}"
        );
        assert!(
            absorption_ainslie_mccolm_db_per_km(x[0], x[1], x[2], 7001f64.max(x[3]), x[4]).is_err()
        );
    }
    for (i, value) in [
        (0, 99.0),
        (1, 35.1),
        (2, 4.9),
        (3, 7001.0),
        (4, 7.6),
        (4, 8.4),
    ] {
        let mut x = base;
        x[i] = value;
        assert!(
            absorption_ainslie_mccolm_db_per_km(x[0], x[1], x[2], x[3], x[4]).is_err(),
            "{i} {value}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Every part is positive and rises with frequency.
    #[test]
    fn verif_absorption_rises_with_frequency(
        lg_f in 0.0f64..5.9, t in -2.0f64..35.0, s in 0.5f64..42.0, d in 0.0f64..8000.0, ph in 7.0f64..9.0,
    ) {
        let f = libm::pow(10.0, lg_f);
        let here = absorption(f, t, s, d, ph).unwrap();
        let above = absorption(1.1 * f, t, s, d, ph).unwrap();
        prop_assert!(here.boric_acid_db_per_km > 0.0 && here.magnesium_sulphate_db_per_km > 0.0 && here.water_db_per_km > 0.0);
        prop_assert!(above.boric_acid_db_per_km > here.boric_acid_db_per_km);
        prop_assert!(above.magnesium_sulphate_db_per_km > here.magnesium_sulphate_db_per_km);
        prop_assert!(above.water_db_per_km > here.water_db_per_km);
    }
}
