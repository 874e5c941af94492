//! Level definitions and time weighting.

use signal::{
    AIR_REFERENCE_UPA, Exponential, FAST_S, Levels, SLOW_S, WATER_REFERENCE_UPA, exposure_level_db,
    level_db, peak_level_db,
};

use crate::support::{close, lcg, sine};

/// ISO 18405:2017 definitions (wording from memory): a sine of amplitude 1 Pa for 2 s.
#[test]
fn val_levels_of_a_sine_by_definition() {
    let mut levels = Levels::new(48_000.0).unwrap();
    levels.push(&sine(1_000.0, 48_000.0, 1e6, 96_000));
    close(
        levels.level_db(WATER_REFERENCE_UPA),
        120.0 - 3.0103,
        1e-4,
        "sound pressure level",
    );
    close(
        levels.exposure_level_db(WATER_REFERENCE_UPA),
        120.0 - 3.0103 + 3.0103,
        1e-4,
        "sound exposure level",
    );
    close(
        levels.peak_level_db(WATER_REFERENCE_UPA),
        120.0,
        1e-4,
        "zero-to-peak level",
    );
    close(
        levels.peak_to_peak_level_db(WATER_REFERENCE_UPA),
        126.0206,
        1e-4,
        "peak-to-peak level",
    );
    close(levels.duration_s(), 2.0, 0.0, "duration");
    close(
        exposure_level_db(levels.mean_square(), 2.0, 1.0),
        levels.exposure_level_db(1.0),
        1e-9,
        "exposure",
    );
}

#[test]
fn val_air_and_water_references_differ_by_26_db() {
    // Methods section 5: 20 lg 20 = 26.0206 dB.
    close(
        level_db(400.0, WATER_REFERENCE_UPA) - level_db(400.0, AIR_REFERENCE_UPA),
        26.0206,
        1e-4,
        "references",
    );
}

#[test]
fn verif_nothing_is_hidden() {
    assert_eq!(level_db(0.0, 1.0), f64::NEG_INFINITY);
    assert_eq!(peak_level_db(0.0, 1.0), f64::NEG_INFINITY);
    assert!(level_db(-1.0, 1.0).is_nan());
    let mut levels = Levels::new(10.0).unwrap();
    assert!(levels.mean_square().is_nan() && levels.peak().is_nan());
    levels.push(&[1.0, f32::NAN, -3.0]);
    assert!(
        levels.mean_square().is_nan() && levels.peak().is_nan() && levels.peak_to_peak().is_nan()
    );
}

#[test]
fn verif_peaks_of_an_uneven_wave() {
    let mut levels = Levels::new(10.0).unwrap();
    levels.push(&[0.5, -2.0, 1.0]);
    assert_eq!((levels.peak(), levels.peak_to_peak()), (2.0, 3.0));
    let x = lcg(1001);
    levels.reset();
    levels.push(&x);
    let highest = x.iter().fold(f32::MIN, |m, v| m.max(*v));
    let lowest = x.iter().fold(f32::MAX, |m, v| m.min(*v));
    assert_eq!(
        levels.peak_to_peak(),
        f64::from(highest) - f64::from(lowest)
    );
}

/// IEC 61672-1:2013 Table 4, 4 kHz tone bursts with weighting F: duration ms, maximum less steady level, upper and lower
/// class 1 limits (secondary transcription, methods section 5).
const BURSTS_F: [(f64, f64, f64, f64); 12] = [
    (1000.0, 0.0, 0.5, -0.5),
    (500.0, -0.1, 0.5, -0.5),
    (200.0, -1.0, 0.5, -0.5),
    (100.0, -2.6, 1.0, -1.0),
    (50.0, -4.8, 1.0, -1.0),
    (20.0, -8.3, 1.0, -1.0),
    (10.0, -11.1, 1.0, -1.0),
    (5.0, -14.1, 1.0, -1.0),
    (2.0, -18.0, 1.0, -1.5),
    (1.0, -21.0, 1.0, -2.0),
    (0.5, -24.0, 1.0, -2.5),
    (0.25, -27.0, 1.0, -3.0),
];

fn burst_maximum_db(tau_s: f64, duration_ms: f64) -> f64 {
    let rate_hz = 192_000.0;
    let mut weighting = Exponential::new(tau_s, rate_hz).unwrap();
    let burst = sine(
        4_000.0,
        rate_hz,
        1.0,
        (rate_hz * duration_ms / 1000.0).round() as usize,
    );
    let maximum = burst.iter().map(|&v| weighting.step(v)).fold(0.0, f64::max);
    level_db(maximum, 1.0) - level_db(0.5, 1.0)
}

#[test]
fn val_tone_bursts_keep_class_1() {
    for (duration_ms, target_db, over, under) in BURSTS_F {
        let found = burst_maximum_db(FAST_S, duration_ms);
        assert!(
            (target_db + under..=target_db + over).contains(&found),
            "{duration_ms} ms: {found} dB"
        );
        close(
            found,
            target_db,
            0.06,
            "the table's value, printed to 0.1 dB",
        );
    }
    // Weighting S, computed from the standard's formula 10 lg(1 - exp(-T/tau)) (methods section 5).
    for (duration_ms, expected) in [
        (1000.0, -1.99),
        (500.0, -4.05),
        (200.0, -7.42),
        (100.0, -10.22),
        (20.0, -17.03),
    ] {
        close(
            burst_maximum_db(SLOW_S, duration_ms),
            expected,
            0.01,
            "weighting S",
        );
    }
}

#[test]
fn val_weightings_decay_as_the_standard_says() {
    // IEC 61672-1: exact 34.7436 and 4.3429 dB/s (methods section 5).
    for (tau_s, expected) in [(FAST_S, 34.7436), (SLOW_S, 4.3429)] {
        let mut weighting = Exponential::new(tau_s, 48_000.0).unwrap();
        let start = weighting.process(&[1.0; 48_000]);
        let end = weighting.process(&[0.0; 48_000]);
        close(
            level_db(start, 1.0) - level_db(end, 1.0),
            expected,
            1e-4,
            "decay in a second",
        );
    }
}
