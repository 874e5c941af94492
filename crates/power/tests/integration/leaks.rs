//! Metal that leaks dissolve, and insulation against the water: `reference/power/scipy-leaks.json`, published equivalents, Ohm's law.

use power::fault::{
    ALUMINIUM, COPPER, COPPER_IN_SEA_WATER, IRON, Insulated, LeakError, Metal, NICKEL, PoleInWater,
    SILVER, Soaked, ZINC, conductor_to_water_ohm, insulation_at_ohm, insulation_reading_ohm,
    leak_to_water,
};
use proptest::prelude::*;
use serde_json::Value;

/// Ten digits are printed.
const SHARE: f64 = 1e-8;
/// The microhm by which the reference puts a pole into the water.
const POLE_V: f64 = 1e-6;
const DAY_S: f64 = 86_400.0;

#[track_caller]
fn close(found: f64, expected: f64, share: f64) {
    assert!(
        (found - expected).abs() <= share * expected.abs(),
        "{found} is not {expected}"
    );
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn metal(name: &str) -> Metal {
    match name {
        "copper in sea water" => COPPER_IN_SEA_WATER,
        "copper" => COPPER,
        "nickel" => NICKEL,
        "iron" => IRON,
        "zinc" => ZINC,
        "aluminium" => ALUMINIUM,
        "silver" => SILVER,
        other => panic!("no metal {other}"),
    }
}

/// Atoms counted with `scipy.constants` and the atomic weights of the library chemicals.
#[test]
fn val_pins_of_all_metals() {
    let document = truth::json("power/scipy-leaks.json");
    let rows = document["metals"].as_array().unwrap();
    assert_eq!(rows.len(), 21);
    for row in rows {
        let of = metal(row["metal"].as_str().unwrap());
        let mass_kg = of
            .pin_kg(
                number(&row["diameter_mm"]) / 1e3,
                number(&row["length_mm"]) / 1e3,
            )
            .unwrap();
        close(mass_kg * 1e6, number(&row["mass_mg"]), SHARE);
        let (current_a, life_s) = (
            number(&row["current_ua"]) / 1e6,
            number(&row["days"]) * DAY_S,
        );
        close(of.life_s(mass_kg, current_a).unwrap(), life_s, SHARE);
        close(of.dissolved_kg(current_a, life_s).unwrap(), mass_kg, SHARE);
        let floor_ohm = of
            .least_insulation_ohm(mass_kg, life_s, number(&row["volts"]))
            .unwrap();
        close(floor_ohm, number(&row["floor_ohm"]), SHARE);
    }
}

/// The silver coulometer: 1.118 00 mg/C by the international ampere of 1908, and 0.3294 mg/C of copper as old tables print, with the atomic weight of 63.57 of their time
/// (from memory). That ampere is 0.015 % less than today's.
#[test]
fn val_electrochemical_equivalents() {
    let each_coulomb_mg = |metal: Metal| metal.dissolved_kg(1.0, 1.0).unwrap() * 1e6;
    close(each_coulomb_mg(SILVER), 1.118, 2e-4);
    close(each_coulomb_mg(Metal::new(63.57, 2, 8960.0)), 0.3294, 2e-4);
}

/// A copper pin of 1 x 8 mm has 56 mg; as cupric ions 8.2 uA consume it in 240 d, and 24 V need 2.9 Mohm. As cuprous ions half the current does, and 5.8 Mohm are needed.
#[test]
fn val_a_copper_pin() {
    let mass_kg = COPPER.pin_kg(1e-3, 8e-3).unwrap();
    close(mass_kg * 1e6, 56.3, 1e-3);
    close(
        COPPER.charge_c(mass_kg).unwrap() / (240.0 * DAY_S) * 1e6,
        8.24,
        1e-3,
    );
    let floor_ohm = |metal: Metal| {
        metal
            .least_insulation_ohm(mass_kg, 240.0 * DAY_S, 24.0)
            .unwrap()
    };
    close(floor_ohm(COPPER), 2.91e6, 1e-3);
    close(floor_ohm(COPPER_IN_SEA_WATER), 5.82e6, 1e-3);
    assert!(floor_ohm(COPPER_IN_SEA_WATER) < Soaked::InSaltWater.accepted_ohm());
    assert_eq!(Soaked::New.accepted_ohm(), 100e6);
}

fn parts(value: &Value) -> Vec<Insulated> {
    let part = |row: &Value| {
        let (ohm, read_degc) = (number(&row[0]), number(&row[1]));
        match row[2].as_f64() {
            Some(length_m) => Insulated::Cable {
                one_km_ohm: ohm,
                read_degc,
                length_m,
            },
            None => Insulated::Place { ohm, read_degc },
        }
    };
    value.as_array().unwrap().iter().map(part).collect()
}

/// Nodal analysis by `numpy.linalg`.
#[test]
fn val_conductors_against_the_water() {
    let document = truth::json("power/scipy-leaks.json");
    let rows = document["lines"].as_array().unwrap();
    assert_eq!(rows.len(), 36);
    for row in rows {
        let ohm = |which: &str| {
            conductor_to_water_ohm(&parts(&row[which]), number(&row["degc"]))
                .unwrap()
                .unwrap()
        };
        let (positive_ohm, negative_ohm) = (ohm("positive"), ohm("negative"));
        close(positive_ohm, number(&row["positive_ohm"]), SHARE);
        close(negative_ohm, number(&row["negative_ohm"]), SHARE);
        let pole = match row["pole"].as_str().unwrap() {
            "neither" => PoleInWater::Neither,
            "positive" => PoleInWater::Positive,
            _ => PoleInWater::Negative,
        };
        let leak = leak_to_water(number(&row["volts"]), positive_ohm, negative_ohm, pole).unwrap();
        for (found, name, least) in [
            (leak.positive_v, "positive_v", POLE_V),
            (leak.negative_v, "negative_v", POLE_V),
            (leak.positive_a, "positive_a", POLE_V / positive_ohm),
            (leak.negative_a, "negative_a", POLE_V / negative_ohm),
        ] {
            let expected = number(&row[name]);
            assert!(
                (found - expected).abs() <= least + SHARE * expected.abs(),
                "{name}: {found} is not {expected}"
            );
        }
    }
}

/// A meter's manual: 150 Mohm at 20 degC read 75 at 30; another page: 3 Mohm at 70 degC are near 7 times as much at 40 (8 by the rule).
#[test]
fn val_insulation_halves_in_ten_degrees() {
    close(insulation_at_ohm(150e6, 20.0, 30.0).unwrap(), 75e6, 1e-15);
    close(insulation_at_ohm(3e6, 70.0, 40.0).unwrap(), 24e6, 1e-15);
}

#[test]
fn verif_mistakes_are_named() {
    let refused = |found: Result<f64, LeakError>| found.unwrap_err().to_string();
    assert_eq!(
        refused(COPPER.life_s(1.0, 0.0)),
        "current_a is 0, must be finite and above zero"
    );
    assert!(refused(Metal::new(50.0, 0, 1.0).charge_c(1.0)).starts_with("the charge number is 0"));
    assert!(refused(insulation_at_ohm(1.0, 20.0, 151.0)).contains("at_degc is 151"));
    assert!(refused(insulation_at_ohm(1.0, f64::NAN, 20.0)).contains("read_degc"));
    leak_to_water(24.0, 0.0, 1.0, PoleInWater::Neither).unwrap_err();
    assert_eq!(conductor_to_water_ohm(&[], 20.0), Ok(None));
}

proptest! {
    #![proptest_config(crate::cases())]

    /// What goes out comes in where nothing else is in the water, and both conductors are a supply apart.
    #[test]
    fn verif_a_floating_line_loses_no_charge(
        voltage_v in 1.0..600.0_f64,
        positive_ohm in 1e3..1e10_f64,
        negative_ohm in 1e3..1e10_f64,
    ) {
        let leak = leak_to_water(voltage_v, positive_ohm, negative_ohm, PoleInWater::Neither).unwrap();
        close(leak.positive_a, leak.negative_a, 1e-6);
        close(leak.positive_a, voltage_v / (positive_ohm + negative_ohm), 1e-12);
        close(leak.positive_v - leak.negative_v, voltage_v, 1e-14);
        let earthed = leak_to_water(voltage_v, positive_ohm, negative_ohm, PoleInWater::Negative).unwrap();
        prop_assert!(earthed.positive_a >= leak.positive_a);
    }

    /// Cables at the temperature at which they were read are what a tester reads of them.
    #[test]
    fn verif_cables_alone_are_as_read(spans in prop::collection::vec((1.0..5e3_f64, 1e5..1e10_f64), 1..6), degc in -5.0..40.0_f64) {
        let cables: Vec<Insulated> = spans
            .iter()
            .map(|&(length_m, one_km_ohm)| Insulated::Cable { one_km_ohm, read_degc: degc, length_m })
            .collect();
        let found = conductor_to_water_ohm(&cables, degc).unwrap().unwrap();
        close(found, insulation_reading_ohm(&spans).unwrap().unwrap(), 1e-12);
        let warm = conductor_to_water_ohm(&cables, degc + 10.0).unwrap().unwrap();
        close(warm, 0.5 * found, 1e-12);
    }
}
