//! The dockside sheet, held to a circuit simulator, to hand figures and to itself.

use std::collections::BTreeMap;

use assess::dockside::{Calibrator, Dockside, Found, QuayAsk, Step, dockside, judge_readings};
use plan::Reading;

/// Volts, amperes and ohms of reference/assess/ngspice-dockside.json.
const TOLERANCE: [(&str, f64); 3] = [("V", 1e-6), ("A", 1e-7), ("ohm", 1e-8)];

fn plan_of(name: &str) -> Reading {
    let path = truth::in_repository(&format!("plans/{name}/plan.toml"));
    assess::read(&path, &plan::from_folder_of(&path))
}

fn sheet(reading: &Reading, ask: &QuayAsk) -> Dockside {
    dockside(reading.line.as_ref().unwrap(), ask).unwrap()
}

fn step<'s>(sheet: &'s Dockside, id: &str) -> &'s Step {
    let found = sheet.steps.iter().find(|s| s.id == id);
    found.unwrap_or_else(|| panic!("no step {id}"))
}

/// reference/make/assess_dockside.py: every voltage, current and loop of two lines by ngspice 39, and none besides.
#[test]
fn val_what_a_meter_reads_agrees_with_a_circuit_simulator() {
    let truth = truth::json("assess/ngspice-dockside.json");
    let ask = QuayAsk {
        temperature_degc: truth["temperature_degc"].as_f64(),
        ..QuayAsk::default()
    };
    for (name, readings) in truth["lines"].as_object().unwrap() {
        let reading = plan_of(name);
        let sheet = sheet(&reading, &ask);
        let readings = readings.as_object().unwrap();
        assert!(readings.len() > 25);
        for (id, value) in readings {
            let step = step(&sheet, id);
            let expected = step.expected.as_ref().unwrap().value.unwrap();
            let within = TOLERANCE
                .iter()
                .find(|(unit, _)| *unit == step.unit)
                .unwrap()
                .1;
            let value = value.as_f64().unwrap();
            assert!(
                (expected - value).abs() < within,
                "{name} {id}: {expected} {value}"
            );
        }
        let metered = sheet.steps.iter().filter(|s| s.probe.is_some());
        for step in metered {
            assert!(readings.contains_key(&step.id), "{name} {}", step.id);
        }
    }
}

/// By hand: 1.0 mm2 of class 5 has 19.5 ohm/km at 20 degC (IEC 60228) and 0.393 % more each degree; 6.12 m there and back at 5 degC are 0.2246 ohm, four pins of 8 mohm
/// 0.032 ohm. Half widths: 3 % and 2 K of the wire, 4 x 4 mohm of the pins, 1 % and 0.03 ohm of the meter, as a root sum of squares.
#[test]
fn val_a_loop_and_its_band_by_hand() {
    let reading = plan_of("harrow-sound");
    let ask = QuayAsk {
        temperature_degc: Some(5.0),
        ..QuayAsk::default()
    };
    let sheet = sheet(&reading, &ask);
    let expected = step(&sheet, "loop.buoy-marker").expected.clone().unwrap();
    let wire = 2.0 * 6.12e-3 * 19.5 * (1.0 + 0.00393 * -15.0);
    let value = wire + 4.0 * 8e-3;
    assert!((expected.value.unwrap() - value).abs() < 1e-9);
    let warmth = wire * 2.0 * 0.00393 / (1.0 + 0.00393 * -15.0);
    let parts: [f64; 4] = [0.03 * wire, warmth, 16e-3, 0.01 * value + 0.03];
    let half = parts.iter().map(|p| p * p).sum::<f64>().sqrt();
    assert!((expected.high.unwrap() - value - half).abs() < 1e-6);
    assert!((value - expected.low.unwrap() - half).abs() < 1e-6);
}

/// A Butterworth high-pass of two poles at 10 Hz takes 10 lg(1 + (10/250)^4) = 1.1e-5 dB at 250 Hz; digital warping is far below the digits that are held.
/// Half width: 0.5 dB of the calibrator and 1 dB of the calibration.
#[test]
fn val_the_level_under_a_calibrator_by_hand() {
    let reading = plan_of("harrow-sound");
    let ask = QuayAsk {
        calibrator: Some(Calibrator {
            level_db: 140.0,
            frequency_hz: 250.0,
        }),
        ..QuayAsk::default()
    };
    let expected = step(&sheet(&reading, &ask), "level.upper.ear")
        .expected
        .clone()
        .unwrap();
    assert!((expected.value.unwrap() - 140.0).abs() < 1e-4);
    let half = (0.25_f64 + 1.0).sqrt();
    assert!((expected.high.unwrap() - 140.0 - half).abs() < 1e-3);
    // Full scale is 1.25 V: 20 lg(1.25/sqrt 2) + 168 - 26 = 140.93 dB of a sine.
    let loud = QuayAsk {
        calibrator: Some(Calibrator {
            level_db: 141.0,
            frequency_hz: 250.0,
        }),
        ..QuayAsk::default()
    };
    let why = step(&sheet(&reading, &loud), "level.upper.ear")
        .expected
        .clone();
    assert!(why.unwrap_err().contains("140.9"));
}

/// On every example: ids are alone, a reading in the middle of its band or at its limit is never off, one far outside is, and what is not read is not taken.
#[test]
fn verif_a_reading_in_the_middle_of_its_band_is_never_off() {
    let mut lines = 0;
    let plans = std::fs::read_dir(truth::in_repository("plans")).unwrap();
    for plan in plans {
        let name = plan.unwrap().file_name().into_string().unwrap();
        let reading = plan_of(&name);
        let line = reading.line.as_ref().unwrap();
        if line.supplies.is_empty() {
            assert!(dockside(line, &QuayAsk::default()).is_err());
            continue;
        }
        lines += 1;
        let sheet = sheet(&reading, &QuayAsk::default());
        let mut middle = BTreeMap::new();
        let mut outside = BTreeMap::new();
        for step in &sheet.steps {
            let Ok(e) = &step.expected else { continue };
            let (low, high) = (e.low.or(e.high).unwrap(), e.high.or(e.low).unwrap());
            assert!(low <= high, "{name} {}", step.id);
            assert!(middle.insert(step.id.clone(), 0.5 * (low + high)).is_none());
            let far = 1.0 + 10.0 * (high - low) + low.abs() + high.abs();
            let away = if e.high.is_some() {
                high + far
            } else {
                low - far
            };
            outside.insert(step.id.clone(), away);
        }
        let judged = judge_readings(line, &sheet, &middle).unwrap();
        for (step, (found, _)) in sheet.steps.iter().zip(&judged.found) {
            let wanted = match &step.expected {
                Ok(_) => Found::Within,
                Err(_) => Found::NotTaken,
            };
            assert_eq!(*found, wanted, "{name} {}", step.id);
        }
        if let Some(ranking) = &judged.ranking {
            assert!(ranking.calls_for_none(), "{name}");
            assert!(!ranking.unexplained(), "{name}");
        }
        let judged = judge_readings(line, &sheet, &outside).unwrap();
        for (step, (found, _)) in sheet.steps.iter().zip(&judged.found) {
            if step.expected.is_ok() {
                assert_eq!(*found, Found::Off, "{name} {}", step.id);
            }
        }
    }
    assert!(lines > 8, "{lines}");
}

/// A warmer quay has longer loops and lower voltages; the ways to be wrong of a quay are refused.
#[test]
fn verif_the_quay_counts() {
    let reading = plan_of("kelp-gate");
    let at = |degc: f64| {
        let ask = QuayAsk {
            temperature_degc: Some(degc),
            ..QuayAsk::default()
        };
        sheet(&reading, &ask)
    };
    let (cold, warm) = (at(0.0), at(30.0));
    let value = |sheet: &Dockside, id| step(sheet, id).expected.as_ref().unwrap().value.unwrap();
    assert!(value(&warm, "loop.trunk") > value(&cold, "loop.trunk"));
    assert!(value(&warm, "volts.usual.frame") < value(&cold, "volts.usual.frame"));
    let line = reading.line.as_ref().unwrap();
    for wrong in [f64::NAN, -41.0, 61.0] {
        let ask = QuayAsk {
            temperature_degc: Some(wrong),
            ..QuayAsk::default()
        };
        assert!(dockside(line, &ask).is_err());
    }
    // What nobody says is told as assumed.
    let told = sheet(&reading, &QuayAsk::default()).quay.assumed.join("\n");
    for what in [
        "20 degC",
        "voltages",
        "supply currents",
        "resistances",
        "conductor",
        "load",
        "supply",
    ] {
        assert!(told.contains(what), "{what}");
    }
}
