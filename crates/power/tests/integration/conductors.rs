//! Conductors against the tables they come from.

use power::conductor::{
    ConductorError, LISTED_AREAS_MM2, awg_diameter_mm, conductor_resistance_20_ohm_per_km,
    loop_resistance_ohm,
};
use quantity::{Conductor, StrandClass};

fn stranded(area_mm2: f64, class: StrandClass, tinned: bool) -> Conductor {
    Conductor::Stranded {
        area_mm2,
        class,
        tinned,
    }
}

/// IEC 60228, resistance of one conductor at 20 degC.
#[test]
fn val_stranded_sizes_are_those_of_the_standard() {
    let rows = truth::numbers("power/iec60228-resistance.csv");
    let areas: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    assert_eq!(areas, LISTED_AREAS_MM2);
    for [area_mm2, plain_2, tinned_2, plain_5, tinned_5] in rows {
        for (class, tinned, expected) in [
            (StrandClass::Two, false, plain_2),
            (StrandClass::Two, true, tinned_2),
            (StrandClass::Five, false, plain_5),
            (StrandClass::Five, true, tinned_5),
        ] {
            let conductor = stranded(area_mm2, class, tinned);
            assert_eq!(
                conductor_resistance_20_ohm_per_km(conductor),
                Ok(expected),
                "{conductor:?}"
            );
        }
    }
}

/// The table prints four digits, from a resistivity that it does not give.
const AWG_TOLERANCE: f64 = 4e-4;

#[test]
fn val_wire_gauge_resistance_is_that_of_the_handbook() {
    let rows = truth::numbers("power/floyd-awg.csv");
    assert_eq!(rows.len(), 20);
    for [gauge, ohm_per_1000_ft] in rows {
        let gauge = gauge as i32;
        let expected = ohm_per_1000_ft / 0.3048;
        let ours = conductor_resistance_20_ohm_per_km(Conductor::Awg(gauge)).unwrap();
        let off = ours / expected - 1.0;
        assert!(off.abs() <= AWG_TOLERANCE, "AWG {gauge}: {off}");
    }
}

/// Diameters in mils of a public copy of the table (Cirris, "wire resistance calculator"); five digits printed.
#[test]
fn val_wire_gauge_diameter_is_that_of_the_handbook() {
    for (gauge, mil) in [
        (12, 80.808),
        (16, 50.820),
        (20, 31.961),
        (24, 20.100),
        (30, 10.025),
    ] {
        let ours = awg_diameter_mm(gauge).unwrap() / 0.0254;
        assert!((ours - mil).abs() < 1e-3, "AWG {gauge}: {ours}");
    }
}

/// The standard's own factor at other temperatures, `(234.5 + T)/254.5`, differs from the linear law by less than 5e-5.
#[test]
fn val_temperature_law_agrees_with_the_other_common_form() {
    for temperature_degc in [-2.0, 4.0, 10.0, 30.0, 60.0] {
        let conductor = stranded(2.5, StrandClass::Five, false);
        let at_20 = loop_resistance_ohm(conductor, 1000.0, 20.0).unwrap();
        let ours = loop_resistance_ohm(conductor, 1000.0, temperature_degc).unwrap() / at_20;
        let other = (234.5 + temperature_degc) / 254.5;
        assert!(
            (ours / other - 1.0).abs() < 5e-5,
            "{temperature_degc} degC: {ours}"
        );
    }
}

/// Worked by hand: 2 x 0.5 km x 7.98 ohm/km x (1 - 16 x 0.00393) and so on.
#[test]
fn verif_loop_is_there_and_back() {
    for (length_m, area_mm2, temperature_degc, expected_ohm) in [
        (500.0, 2.5, 4.0, 7.478218),
        (1000.0, 1.5, 10.0, 25.554620),
        (2000.0, 4.0, 30.0, 20.578140),
    ] {
        let conductor = stranded(area_mm2, StrandClass::Five, false);
        let ours = loop_resistance_ohm(conductor, length_m, temperature_degc).unwrap();
        assert!((ours - expected_ohm).abs() < 1e-6, "{ours}");
        let one_way_only = 0.5 * ours;
        assert!(
            (one_way_only - expected_ohm).abs() > 1.0,
            "one conductor would pass"
        );
    }
}

#[test]
fn verif_unknown_sizes_are_refused_with_the_listed_ones() {
    let error = loop_resistance_ohm(stranded(3.0, StrandClass::Two, false), 1.0, 10.0).unwrap_err();
    assert_eq!(error, ConductorError::UnlistedArea { area_mm2: 3.0 });
    assert!(error.to_string().contains("2.5, 4.0"), "{error}");
    assert!(loop_resistance_ohm(stranded(f64::NAN, StrandClass::Two, true), 1.0, 10.0).is_err());
    assert!(loop_resistance_ohm(Conductor::Awg(41), 1.0, 10.0).is_err());
    assert!(loop_resistance_ohm(Conductor::Awg(-4), 1.0, 10.0).is_err());
    for length_m in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(loop_resistance_ohm(Conductor::Awg(18), length_m, 10.0).is_err());
    }
    for temperature_degc in [-41.0, 121.0, f64::NAN] {
        assert!(loop_resistance_ohm(Conductor::Awg(18), 1.0, temperature_degc).is_err());
    }
    assert_eq!(loop_resistance_ohm(Conductor::Awg(18), 0.0, 10.0), Ok(0.0));
}

/// An area that was converted to m2 and back is still the listed one.
#[test]
fn verif_last_bits_of_an_area_do_not_matter() {
    let area_mm2 = 0.75e-6 * 1.000_000_000_1 / 1e-6;
    assert!(loop_resistance_ohm(stranded(area_mm2, StrandClass::Two, false), 1.0, 10.0).is_ok());
}
