//! Synthetic sounds have the levels they state.

use signal::{ClickTrain, Hum, PulseTrain, Sweep, SynthError, Tonal, Tone, level_db};

use crate::support::close;

fn sampled(value: impl Fn(f64) -> f64, from_s: f64, duration_s: f64, rate_hz: f64) -> Vec<f64> {
    (0..(duration_s * rate_hz) as usize)
        .map(|i| value(from_s + i as f64 / rate_hz))
        .collect()
}

/// Mean square between the instants at which 5 % and 95 % of the energy have passed, and the time between, in samples.
fn energy_window(x: &[f64]) -> (f64, usize) {
    let total: f64 = x.iter().map(|v| v * v).sum();
    let (mut sum, mut from, mut to) = (0.0, 0, x.len());
    for (i, v) in x.iter().enumerate() {
        sum += v * v;
        if sum < 0.05 * total {
            from = i + 1;
        }
        if sum < 0.95 * total {
            to = i + 1;
        }
    }
    (
        x[from..to].iter().map(|v| v * v).sum::<f64>() / (to - from) as f64,
        to - from,
    )
}

#[test]
fn verif_sweeps_have_their_level_over_the_energy_duration() {
    for (from, to, duration, edge) in [
        (90.0, 150.0, 0.7, 0.1),
        (50.0, 200.0, 1.0, 0.5),
        (23.0, 18.0, 1.0, 0.0),
        (90.0, 90.0, 0.5, 0.02),
    ] {
        let sweep = Sweep::new(from, to, duration, edge, 172.0).unwrap();
        let x = sampled(|t| sweep.value(t), 0.0, duration, 48_000.0);
        let (mean_square, samples) = energy_window(&x);
        close(
            level_db(mean_square, 1.0),
            172.0,
            0.1,
            "level over the energy duration",
        );
        close(
            samples as f64 / 48_000.0,
            sweep.energy_duration_s(),
            0.01 * duration,
            "energy duration",
        );
        assert_eq!(
            (sweep.value(-1e-9), sweep.value(duration + 1e-9)),
            (0.0, 0.0)
        );
    }
}

#[test]
fn verif_sweep_frequency_is_linear_in_time() {
    let sweep = Sweep::new(100.0, 200.0, 1.0, 0.0, 0.0).unwrap();
    // Cycles passed by t: 100 t + 50 t^2. Rising zeros of the sine are where that is whole.
    for cycles in [1.0, 37.0, 100.0, 149.0] {
        let t = -1.0 + (1.0_f64 + cycles / 50.0).sqrt();
        close(sweep.value(t), 0.0, 1e-6, "rising zero");
        assert!(sweep.value(t + 1e-4) > 0.0);
    }
}

#[test]
fn verif_the_samples_of_a_sweep_are_its_values() {
    let sweep = Sweep::new(90.0, 150.0, 0.7, 0.05, 170.0).unwrap();
    let samples = sweep.samples(1000.0);
    assert_eq!(samples.len(), 700);
    for (i, sample) in samples.iter().enumerate() {
        assert_eq!(*sample, sweep.value(i as f64 / 1000.0) as f32, "sample {i}");
    }
}

#[test]
fn verif_pulses_repeat() {
    let pulse = Sweep::new(23.0, 18.0, 1.0, 0.2, 189.0).unwrap();
    let train = PulseTrain::new(pulse.clone(), 12.0, 3).unwrap();
    for t in [0.3, 0.5, 0.9, 1.5] {
        for n in 0..3 {
            close(
                train.value(t + 12.0 * f64::from(n)),
                pulse.value(t),
                1e-3 * pulse.amplitude_upa() * 1e-6,
                "pulse",
            );
        }
    }
    assert_eq!(train.value(36.3), 0.0);
    assert!(matches!(
        PulseTrain::new(pulse, 0.5, 3),
        Err(SynthError::Value { .. })
    ));
}

#[test]
fn verif_clicks_have_their_peak_to_peak_level_and_duration() {
    // Lengths of a porpoise's click, and one of few cycles.
    for (f_hz, duration_s) in [(130_000.0, 80e-6), (50_000.0, 40e-6)] {
        let train = ClickTrain::new(f_hz, duration_s, 191.0, 0.06, 5).unwrap();
        let x = sampled(
            |t| train.value(t),
            0.03 - 5.0 * duration_s,
            10.0 * duration_s,
            50e6,
        );
        let highest = x.iter().fold(f64::MIN, |m, v| m.max(*v));
        let lowest = x.iter().fold(f64::MAX, |m, v| m.min(*v));
        close(
            20.0 * (highest - lowest).log10(),
            191.0,
            1e-3,
            "peak-to-peak level",
        );
        close(train.value(0.15), highest, 1e-6 * highest, "third click");
        // The carrier is at a peak a whole number of periods after the middle.
        let period = (0.5 * duration_s * f_hz).round() / f_hz;
        let fall_db = 20.0 * (train.value(0.03 + period) / highest).log10();
        close(
            fall_db,
            -10.0 * (2.0 * period / duration_s).powi(2),
            1e-6,
            "envelope",
        );
    }
}

#[test]
fn verif_tones_and_hum_have_their_levels() {
    let tone = Tone::new(250.0, 140.0, 0.3).unwrap();
    let x = sampled(|t| tone.value(t), 1_000.0, 1.0, 8_000.0);
    close(
        level_db(x.iter().map(|v| v * v).sum::<f64>() / 8_000.0, 1.0),
        140.0,
        1e-6,
        "tone",
    );
    let hum = Hum::blade_lines(10.0, 8, 150.0, 3.0, 0.5).unwrap();
    let x = sampled(|t| hum.value(t), 0.0, 1.0, 8_000.0);
    close(
        level_db(x.iter().map(|v| v * v).sum::<f64>() / 8_000.0, 1.0),
        hum.tonal_level_db_re_1upa_m(),
        1e-6,
        "hum",
    );
    let m = sampled(|t| hum.modulation(t), 0.0, 1.0, 8_000.0);
    close(
        m.iter().map(|v| v * v).sum::<f64>() / 8_000.0,
        1.0,
        1e-9,
        "mean square of the swelling",
    );
}

#[test]
fn verif_bad_sounds_are_refused() {
    assert!(Sweep::new(0.0, 10.0, 1.0, 0.1, 100.0).is_err());
    assert!(Sweep::new(10.0, 10.0, 1.0, 0.6, 100.0).is_err());
    assert!(Sweep::new(10.0, 10.0, 1.0, 0.1, f64::NAN).is_err());
    assert!(ClickTrain::new(1e5, 1e-4, 190.0, 1e-4, 3).is_err());
    let lost = Tonal {
        frequency_hz: -1.0,
        source_level_db_re_1upa_m: 100.0,
    };
    assert!(Hum::new(&[lost], None).is_err());
}
