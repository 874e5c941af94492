//! Level definitions and time weighting.

use signal::{
    AIR_REFERENCE_UPA, Block, Exponential, FAST_S, Levels, Moments, SLOW_S, TeagerKaiser,
    WATER_REFERENCE_UPA, exposure_level_db, level_db, peak_level_db,
};

use crate::support::{close, lcg, number, sine, standards};

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
    close(
        level_db(400.0, WATER_REFERENCE_UPA) - level_db(400.0, AIR_REFERENCE_UPA),
        number(&standards(), "water_less_air_reference_db"),
        1e-9,
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
    // IEC 61672-1:2013 Table 4, weighting F.
    let bursts = truth::numbers("signal/iec61672-1-bursts.csv");
    assert_eq!(bursts.len(), 12);
    for [duration_ms, target_db, over, under] in bursts {
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
    // Both weightings, by the formula 10 lg(1 - exp(-T/tau)) of the same standard.
    let standards = standards();
    for (name, tau_s, count) in [("bursts_f", FAST_S, 12), ("bursts_s", SLOW_S, 9)] {
        let bursts = standards[name].as_array().unwrap();
        assert_eq!(bursts.len(), count);
        for burst in bursts {
            close(
                burst_maximum_db(tau_s, number(burst, "duration_ms")),
                number(burst, "largest_less_steady_db"),
                0.01,
                name,
            );
        }
    }
}

#[test]
fn val_exposures_of_tone_bursts_keep_class_1() {
    // IEC 61672-1:2013 Table 4, the column of sound exposure levels.
    let bursts = truth::numbers("signal/iec61672-1-burst-exposures.csv");
    assert_eq!(bursts.len(), 12);
    let rate_hz = 192_000.0;
    for [duration_ms, target_db, over, under] in bursts {
        let samples = (rate_hz * duration_ms / 1000.0).round() as usize;
        let mut levels = Levels::new(rate_hz).unwrap();
        levels.push(&[0.0; 4_800]);
        levels.push(&sine(4_000.0, rate_hz, 1.0, samples));
        levels.push(&[0.0; 9_600]);
        let found = levels.exposure_level_db(1.0) - level_db(0.5, 1.0);
        assert!(
            (target_db + under..=target_db + over).contains(&found),
            "{duration_ms} ms: {found} dB"
        );
        close(found, target_db, 0.06, "printed to 0.1 dB");
    }
}

#[test]
fn val_moments_equal_scipy_whole_and_in_parts() {
    let reference = truth::json("signal/scipy-moments.json");
    let noise = lcg(10_007);
    let clicks: Vec<f32> = noise
        .iter()
        .enumerate()
        .map(|(i, v)| if i % 500 == 0 { 40.0 * v } else { *v })
        .collect();
    let offset: Vec<f32> = noise.iter().map(|v| v + 512.0).collect();
    let rows = reference["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    for (row, x) in rows.iter().zip([noise, clicks, offset]) {
        let parts = x.chunks(1_234).map(Moments::of);
        for found in [
            Moments::of(&x),
            parts.fold(Moments::default(), Moments::with),
        ] {
            assert_eq!(found.count(), 10_007);
            close(found.mean(), number(row, "mean"), 512e-12, "mean");
            let (variance, kurtosis) = (number(row, "variance"), number(row, "kurtosis"));
            close(found.variance(), variance, 1e-9 * variance, "variance");
            close(
                found.kurtosis().unwrap(),
                kurtosis,
                1e-9 * kurtosis,
                "kurtosis",
            );
        }
    }
    // A sine over whole periods has 1.5, by its moments 1/2 and 3/8.
    let found = Moments::of(&sine(100.0, 8_000.0, 1.0, 8_000));
    close(found.kurtosis().unwrap(), 1.5, 1e-6, "a sine");
    assert_eq!(Moments::of(&[2.0; 9]).kurtosis(), None);
    let same = Moments::of(&[0.1; 1_001]);
    assert_eq!(same.with(Moments::of(&[0.1; 7])).kurtosis(), None);
    // One sample that differs in its last bit is seen.
    let mut odd = vec![0.1_f32; 100_000];
    odd[7] = f32::from_bits(0.1_f32.to_bits() + 1);
    let found = Moments::of(&odd).kurtosis().unwrap();
    close(found, 1e5, 1e2, "one of a hundred thousand");
    assert!(Moments::of(&[]).mean_square().is_nan());
    assert_eq!(Moments::of(&[3.0, -1.0]).mean_square(), 5.0);
}

#[test]
fn val_weightings_decay_as_the_standard_says() {
    let standards = standards();
    for (tau_s, decay) in [FAST_S, SLOW_S]
        .into_iter()
        .zip(standards["decays"].as_array().unwrap())
    {
        assert_eq!(tau_s, number(decay, "time_constant_s"));
        let mut weighting = Exponential::new(tau_s, 48_000.0).unwrap();
        let start = weighting.process(&[1.0; 48_000]);
        let end = weighting.process(&[0.0; 48_000]);
        close(
            level_db(start, 1.0) - level_db(end, 1.0),
            number(decay, "db_per_s"),
            1e-4,
            "decay in a second",
        );
    }
}

/// J. F. Kaiser, ICASSP 1990: a tone has the energy `A^2 sin^2(2 pi f / r)` at every sample but the first; each is known with
/// the sample after it, however the samples are cut.
#[test]
fn val_teager_kaiser_energy_of_a_tone() {
    use std::f64::consts::PI;
    let x: Vec<f32> = (0..5000)
        .map(|n| (3.0 * libm::cos(2.0 * PI * 0.07 * f64::from(n) + 0.3)) as f32)
        .collect();
    let expected = 9.0 * libm::sin(2.0 * PI * 0.07).powi(2);
    for cut in [1, 2, 3, 700, 4999, 5000] {
        let mut operator = TeagerKaiser::new();
        let mut energies = Vec::new();
        for (i, piece) in x.chunks(cut).enumerate() {
            let first = 10 + (i * cut) as u64;
            operator
                .process(Block { first, x: piece }, |block| {
                    assert_eq!(block.first, 11 + energies.len() as u64);
                    energies.extend_from_slice(block.x);
                })
                .unwrap();
            let known = ((i + 1) * cut).min(x.len()).saturating_sub(2);
            assert_eq!(energies.len(), known);
        }
        for energy in &energies {
            assert!((f64::from(*energy) - expected).abs() < 1e-5, "{energy}");
        }
    }
}
