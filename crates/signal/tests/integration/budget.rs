//! The noise budget of a chain against the same chain in volts at its converter, by NumPy and SciPy.

use serde_json::Value;
use signal::{ChainError, ChainNoise, HighPass, NoiseParts, SensorChain, clipped_share};

use crate::support::{close, number};

const DENSITY_DB: f64 = 1e-7;
const BAND_DB: f64 = 1e-5;
/// The worked example is printed with three decimals.
const PRINTED_DB: f64 = 6e-4;

fn reference() -> Value {
    truth::json("signal/scipy-chain.json")
}

fn of(case: &Value) -> ChainNoise {
    let high_pass = case["corner_hz"].as_f64().map(|corner_hz| HighPass {
        corner_hz,
        poles: case["poles"].as_u64().unwrap() as usize,
    });
    let chain = SensorChain::new(
        number(case, "sensitivity_db"),
        number(case, "gain_db"),
        high_pass,
        number(case, "full_scale_v"),
        case["bits"].as_u64().unwrap() as u32,
        number(case, "rate_hz"),
    )
    .unwrap();
    let table: Vec<(f64, f64)> = case["table"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (row[0].as_f64().unwrap(), row[1].as_f64().unwrap()))
        .collect();
    ChainNoise::new(
        &chain,
        case["effective_bits"].as_f64(),
        case["amplifier_v"].as_f64(),
        &table,
    )
    .unwrap()
}

#[track_caller]
fn same(found: NoiseParts, expected: &Value, tolerance_db: f64, what: &str) {
    let found = [
        found.self_noise_db,
        found.amplifier_db,
        Some(found.converter_db),
        Some(found.total_db),
    ];
    for (part, found) in found.iter().enumerate() {
        let expected = expected[part].as_f64();
        assert_eq!(found.is_some(), expected.is_some(), "{what}, part {part}");
        if let (Some(found), Some(expected)) = (found, expected) {
            close(
                *found,
                expected,
                tolerance_db,
                &format!("{what}, part {part}"),
            );
        }
    }
}

#[test]
fn val_densities_and_bands_by_scipy() {
    let reference = reference();
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 3);
    for (n, case) in cases.iter().enumerate() {
        let noise = of(&case["chain"]);
        for row in case["densities"].as_array().unwrap() {
            let f_hz = number(row, "f_hz");
            same(
                noise.density(f_hz),
                &row["db"],
                DENSITY_DB,
                &format!("chain {n}, {f_hz} Hz"),
            );
        }
        for row in case["bands"].as_array().unwrap() {
            let (low, high) = (number(row, "low_hz"), number(row, "high_hz"));
            let found = noise.band(low, high).unwrap();
            same(
                found,
                &row["db"],
                BAND_DB,
                &format!("chain {n}, {low} to {high} Hz"),
            );
        }
    }
    for row in reference["clipped"].as_array().unwrap() {
        let (found, share) = (
            clipped_share(number(row, "headroom_db")),
            number(row, "share"),
        );
        close(found / share, 1.0, 1e-7, "clipped share");
    }
}

/// The worked example of a hydrophone of -180 dB re 1 V/uPa with a gain of 20 dB and a converter of 2.5 V, 24 bit (18 effective)
/// at 96 kHz behind an amplifier of 5 nV/rtHz: figures worked out by hand, three decimals.
#[test]
fn verif_worked_example_of_the_budget() {
    let chain = SensorChain::new(-180.0, 20.0, None, 2.5, 24, 96_000.0).unwrap();
    for (bits, level_db, density_db) in [
        (None, 18.693, -28.119),
        (Some(16.0), 66.858, 20.046),
        (Some(18.0), 54.817, 8.004),
        (Some(20.0), 42.776, -4.037),
    ] {
        let noise = ChainNoise::new(&chain, bits, None, &[]).unwrap();
        close(
            noise.converter_level_db_re_1upa(),
            level_db,
            PRINTED_DB,
            "level",
        );
        close(
            noise.converter_density_db_re_1upa2_hz(),
            density_db,
            PRINTED_DB,
            "density",
        );
        assert_eq!(
            noise.density(1000.0).total_db,
            noise.density(1000.0).converter_db
        );
    }
    let noise = ChainNoise::new(&chain, Some(18.0), Some(5e-9), &[]).unwrap();
    let at = noise.density(1000.0);
    close(at.amplifier_db.unwrap(), 13.979, PRINTED_DB, "amplifier");
    close(at.total_db, 14.958, PRINTED_DB, "with 18 effective bits");
    close(
        chain.overload_peak_level_db_re_1upa(),
        167.959,
        PRINTED_DB,
        "overload, peak",
    );
    close(
        chain.overload_sine_level_db_re_1upa(),
        164.949,
        PRINTED_DB,
        "overload, sine",
    );
    close(
        chain.sine_dynamic_range_db(),
        146.255,
        PRINTED_DB,
        "dynamic range",
    );
    close(chain.full_scale_upa(), 2.5e8, 1.0, "full scale");
    // All of the band: white noise of the density over half the rate.
    let band = noise.band(1.0, 48_000.0).unwrap();
    close(
        band.total_db,
        at.total_db + 10.0 * 47_999_f64.log10(),
        1e-5,
        "band",
    );
}

/// Red test: a converter's noise that is not taken back through the high-pass does not hold against SciPy.
#[test]
fn val_converter_noise_ahead_of_the_high_pass_fails() {
    let reference = reference();
    let case = &reference["cases"][1];
    let noise = of(&case["chain"]);
    let row = &case["densities"][0];
    let expected_db = row["db"][2].as_f64().unwrap();
    let wrong_db = noise.converter_density_db_re_1upa2_hz();
    assert!(
        (wrong_db - expected_db).abs() > 10.0,
        "{wrong_db} {expected_db}"
    );
}

/// The high-pass as it stands ahead of the converter, against the filter with which a rehearsal stands in for it.
#[test]
fn verif_the_high_pass_is_that_of_a_rehearsal() {
    let high_pass = HighPass {
        corner_hz: 40.0,
        poles: 3,
    };
    let chain = SensorChain::new(-168.0, 26.0, Some(high_pass), 1.25, 16, 16_000.0).unwrap();
    let filter = chain.high_pass_filter().unwrap().unwrap();
    let mut f_hz = 2.0;
    while f_hz < 1600.0 {
        let (re, im) = filter.response(f_hz);
        let filtered_db = 10.0 * (re * re + im * im).log10();
        close(
            10.0 * high_pass.power_gain(f_hz).log10(),
            filtered_db,
            1e-3,
            "high-pass",
        );
        f_hz *= 1.3;
    }
}

#[test]
fn verif_bad_noise_is_refused() {
    let chain = SensorChain::new(-168.0, 26.0, None, 1.25, 16, 16_000.0).unwrap();
    let refused = |bits, amplifier, table: &[(f64, f64)]| {
        ChainNoise::new(&chain, bits, amplifier, table).unwrap_err()
    };
    for bits in [0.0, -1.0, 16.1, f64::NAN, f64::INFINITY] {
        let error = refused(Some(bits), None, &[]);
        assert!(
            matches!(error, ChainError::EffectiveBits { bits: 16, .. }),
            "{bits}"
        );
    }
    for volts in [0.0, -5e-9, f64::NAN, f64::INFINITY] {
        let error = refused(None, Some(volts), &[]);
        assert!(matches!(error, ChainError::Amplifier { .. }), "{volts}");
    }
    for (table, at) in [
        (&[(0.0, 40.0)][..], 0),
        (&[(10.0, 40.0), (10.0, 41.0)], 1),
        (&[(10.0, f64::NAN)], 0),
        (&[(10.0, 40.0), (f64::NAN, 41.0)], 1),
    ] {
        let error = refused(None, None, table);
        assert!(matches!(error, ChainError::SelfNoise { row, .. } if row == at));
    }
    let noise = ChainNoise::new(&chain, None, None, &[]).unwrap();
    for (low, high) in [
        (0.0, 1.0),
        (2.0, 2.0),
        (3.0, 2.0),
        (f64::NAN, 2.0),
        (1.0, f64::INFINITY),
    ] {
        assert_eq!(noise.band(low, high), None);
    }
}
