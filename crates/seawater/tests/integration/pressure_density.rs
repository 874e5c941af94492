use proptest::prelude::*;
use seawater::{
    SeaError, Variable, density_kg_m3, depth_from_pressure_m, gravity_m_s2,
    pressure_from_depth_dbar, t68_from_t90_degc,
};

use crate::reference::{Reference, assert_near};

/// Rounding of the reference file.
const SECOND_ROUTE_M: f64 = 1e-5;
/// The two gravity formulas differ by 1e-5 at the surface, and TEOS-10 lets gravity rise with metres.
const GRAVITY_M_S2: f64 = 2e-5;
const GRAVITY_M_S2_PER_DBAR: f64 = 4e-8;
/// About twice the published error of EOS-80.
const DENSITY_KG_M3: f64 = 0.02;

/// Fofonoff and Millard 1983: 10 000 dbar at latitude 30 is 9712.653 m (transcription of UNESCO 44 by the JGOFS office).
#[test]
fn val_depth_published_check_value() {
    assert_near(
        depth_from_pressure_m(10_000.0, 30.0).unwrap(),
        9712.653,
        0.0005,
    );
}

/// Pressure in bar in the place of decibars, or degrees taken for radians, must miss the check value.
#[test]
fn val_depth_check_value_refuses_the_known_slips() {
    assert!((depth_from_pressure_m(1000.0, 30.0).unwrap() - 9712.653).abs() > 1000.0);
    assert!((depth_from_pressure_m(10_000.0, 30f64.to_radians()).unwrap() - 9712.653).abs() > 5.0);
}

/// Truth: TEOS-10, reference/seawater/gsw-depth.csv; tolerances as its header states.
#[test]
fn val_depth_and_gravity_against_teos10() {
    for row in Reference::open("gsw-depth.csv").rows() {
        let (p, latitude) = (row.number("pressure_dbar"), row.number("latitude_deg"));
        let depth = depth_from_pressure_m(p, latitude).unwrap();
        let allowed = if p <= 4000.0 {
            0.1
        } else if p <= 6000.0 {
            0.25
        } else {
            1.1
        };
        assert_near(depth, row.number("gsw_m"), allowed);
        assert_near(depth, row.number("fofonoff_millard_m"), SECOND_ROUTE_M);
        let gravity_allowed = GRAVITY_M_S2 + GRAVITY_M_S2_PER_DBAR * p;
        assert_near(
            gravity_m_s2(latitude, p).unwrap(),
            row.number("gsw_gravity_m_s2"),
            gravity_allowed,
        );
        let saunders_allowed = if p <= 6000.0 { 0.7 } else { 7.0 };
        assert_near(depth, row.number("saunders_m"), saunders_allowed);
    }
}

/// Pressure at 1000 m, latitude 30: 1009.299 dbar by TEOS-10 (gsw 3.6.23, `p_from_z`).
#[test]
fn val_pressure_of_a_depth_against_teos10() {
    for row in Reference::open("gsw-depth.csv").rows() {
        let (p, latitude) = (row.number("pressure_dbar"), row.number("latitude_deg"));
        if p <= 4000.0 {
            assert_near(
                pressure_from_depth_dbar(row.number("gsw_m"), latitude).unwrap(),
                p,
                0.1,
            );
        }
    }
    assert_near(
        pressure_from_depth_dbar(1000.0, 30.0).unwrap(),
        1009.299,
        0.01,
    );
}

/// Truth: TEOS-10, reference/seawater/gsw-density.csv.
#[test]
fn val_density_against_teos10() {
    let mut worst_kg_m3: f64 = 0.0;
    for row in Reference::open("gsw-density.csv").rows() {
        let [t, s, p, truth] = [
            "temperature_degc",
            "salinity",
            "pressure_dbar",
            "teos10_kg_m3",
        ]
        .map(|c| row.number(c));
        let density = density_kg_m3(t, s, p).unwrap();
        worst_kg_m3 = worst_kg_m3.max((density - truth).abs());
        assert_near(density, truth, DENSITY_KG_M3);
    }
    println!("density: worst difference from TEOS-10 {worst_kg_m3:.4} kg/m3");
}

/// A T68 temperature handed in as ITS-90 misses the published 1062.53817 kg/m3 (S 35, T68 25, 10 000 dbar; from memory).
#[test]
fn val_density_needs_the_temperature_scale() {
    assert_near(
        density_kg_m3(25.0 / 1.00024, 35.0, 10_000.0).unwrap(),
        1062.53817,
        1e-5,
    );
    assert!((density_kg_m3(25.0, 35.0, 10_000.0).unwrap() - 1062.53817).abs() > 1e-3);
}

#[test]
fn verif_temperature_scales_meet_at_zero_and_part_by_ten_millikelvin_at_forty() {
    assert_eq!(t68_from_t90_degc(0.0), 0.0);
    assert_near(t68_from_t90_degc(40.0) - 40.0, 0.0096, 1e-9);
}

#[test]
fn verif_outside_the_range_is_an_error() {
    assert!(matches!(
        pressure_from_depth_dbar(9800.0, 45.0),
        Err(SeaError::OutOfRange {
            variable: Variable::Depth,
            value: 9800.0,
            ..
        })
    ));
    assert!(pressure_from_depth_dbar(-0.1, 45.0).is_err());
    assert!(depth_from_pressure_m(-0.1, 45.0).is_err());
    assert!(depth_from_pressure_m(10_001.0, 45.0).is_err());
    assert!(depth_from_pressure_m(10.0, 90.1).is_err());
    assert!(gravity_m_s2(-90.1, 0.0).is_err());
    assert!(density_kg_m3(10.0, 42.1, 0.0).is_err());
    assert!(density_kg_m3(40.1, 35.0, 0.0).is_err());
    assert!(density_kg_m3(10.0, 35.0, -1.0).is_err());
    for bad in [f64::NAN, f64::INFINITY] {
        assert!(pressure_from_depth_dbar(bad, 45.0).is_err());
        assert!(pressure_from_depth_dbar(5.0, bad).is_err());
        assert!(depth_from_pressure_m(bad, 45.0).is_err());
        assert!(gravity_m_s2(bad, 0.0).is_err());
        assert!(density_kg_m3(bad, 35.0, 0.0).is_err());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// There and back again, to a hundredth of a millimetre; the same in both hemispheres.
    #[test]
    fn verif_depth_and_pressure_are_inverses(p in 0.0f64..=10_000.0, latitude in -90.0f64..=90.0) {
        let depth = depth_from_pressure_m(p, latitude).unwrap();
        prop_assert!((pressure_from_depth_dbar(depth, latitude).unwrap() - p).abs() < 1e-5);
        prop_assert_eq!(depth, depth_from_pressure_m(p, -latitude).unwrap());
    }
}
