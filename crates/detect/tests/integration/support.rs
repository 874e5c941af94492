//! Sounds and detectors that several checks share.

use detect::{BackgroundKind, Confirm, LevelKind, Sense, Spec, Stage};

/// Irwin-Hall noise of unit variance from a 64-bit linear congruential generator, as in `detect_twin.py`.
pub(crate) fn noise(seed: u64, count: usize) -> Vec<f64> {
    let mut state = seed;
    (0..count)
        .map(|_| {
            let mut sum = 0.0;
            for _ in 0..12 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 40) as f64 / 16_777_216.0;
            }
            sum - 6.0
        })
        .collect()
}

/// A linear upsweep under half a sine, added to `x`.
pub(crate) fn add_sweep(
    x: &mut [f64],
    rate_hz: f64,
    begin: usize,
    length: usize,
    hz: (f64, f64),
    amplitude_upa: f64,
) {
    use std::f64::consts::PI;
    let total_s = length as f64 / rate_hz;
    for (i, v) in x[begin..begin + length].iter_mut().enumerate() {
        let t_s = i as f64 / rate_hz;
        let phase = 2.0 * PI * (hz.0 * t_s + 0.5 * (hz.1 - hz.0) / total_s * t_s * t_s);
        *v += amplitude_upa * libm::sin(PI * t_s / total_s) * libm::sin(phase);
    }
}

/// A tone burst under a Gaussian cut at five widths, added to `x`.
pub(crate) fn add_click(
    x: &mut [f64],
    rate_hz: f64,
    centre: usize,
    tone_hz: f64,
    width_s: f64,
    amplitude_upa: f64,
) {
    let half = (5.0 * width_s * rate_hz).round() as isize;
    for n in -half..=half {
        let t_s = n as f64 / rate_hz;
        let u = t_s / width_s;
        x[(centre as isize + n) as usize] += amplitude_upa
            * libm::exp(-0.5 * u * u)
            * libm::cos(2.0 * std::f64::consts::PI * tone_hz * t_s);
    }
}

pub(crate) fn single(x: &[f64]) -> Vec<f32> {
    x.iter().map(|&v| v as f32).collect()
}

/// The up-call detector of the twin.
pub(crate) fn upcall(rate_hz: f64, confirm: Confirm) -> Spec {
    Spec {
        rate_hz,
        stages: vec![
            Stage::Band {
                low_hz: 60.0,
                high_hz: 260.0,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.25,
                hop_s: Some(0.0625),
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 30.0,
                guard_s: 0.0,
            },
            Stage::Trigger {
                on_above_db: 9.0,
                off_below_db: 6.0,
                shortest_s: 0.4,
                longest_s: Some(2.5),
                hold_off_s: 10.0,
                confirm,
                bridge_s: 0.0,
                k_of_n: None,
            },
        ],
    }
}

/// Spectrogram and background for up-calls, and what follows them.
pub(crate) fn upcall_frames(rate_hz: f64, kind: BackgroundKind, rest: Vec<Stage>) -> Spec {
    let mut stages = vec![
        Stage::Band {
            low_hz: 60.0,
            high_hz: 260.0,
            order: 4,
        },
        Stage::Spectrogram {
            window_s: 0.128,
            hop_s: Some(0.032),
        },
        Stage::Background {
            kind,
            over_s: 12.0,
            guard_s: 0.5,
        },
    ];
    stages.extend(rest);
    Spec { rate_hz, stages }
}

/// A ridge that rises as up-calls do.
pub(crate) fn upcall_ridge() -> Stage {
    Stage::Ridge {
        sense: Sense::Rising,
        above_db: 10.0,
        least_slope_hz_per_s: 30.0,
        most_slope_hz_per_s: 400.0,
        gap_s: 0.07,
        shortest_s: 0.4,
        longest_s: Some(2.5),
        hold_off_s: 0.0,
    }
}

/// A trigger on a likeness, 5 dB.
pub(crate) fn likeness_trigger() -> Stage {
    Stage::Trigger {
        on_above_db: 5.0,
        off_below_db: 4.0,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 1.0,
        confirm: Confirm::Early,
    }
}

/// The click detector of the twin.
pub(crate) fn clicks() -> Spec {
    Spec {
        rate_hz: 96_000.0,
        stages: vec![
            Stage::Band {
                low_hz: 10_000.0,
                high_hz: 40_000.0,
                order: 2,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.001,
                hop_s: Some(0.000_25),
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 0.5,
                guard_s: 0.0,
            },
            Stage::Pulses {
                rise_db: 10.0,
                prominence_db: 10.0,
                min_interval_s: 0.008,
                max_interval_s: 0.1,
                at_least: 5,
                of_last: None,
                within_s: Some(0.3),
                hold_off_s: 0.0,
                steady: None,
            },
        ],
    }
}

/// A level of 1000 samples a second with windows and hops of whole samples, and a trigger on it.
pub(crate) fn plain(window: u32, hop: u32, trigger: Stage) -> Spec {
    let (window_s, hop_s) = (f64::from(window) / 1000.0, Some(f64::from(hop) / 1000.0));
    Spec {
        rate_hz: 1000.0,
        stages: vec![
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s,
                hop_s,
            },
            trigger,
        ],
    }
}

/// The size of a sampled check: `small` in every test run, `large` in `make soak`.
pub(crate) fn sized<T>(small: T, large: T) -> T {
    match std::env::var_os("SOUNDLINE_SOAK") {
        None => small,
        Some(_) => large,
    }
}
