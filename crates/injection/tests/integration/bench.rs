//! Noise, calls and detectors that the checks share.

use chance::Stream;
use detect::{BackgroundKind, Confirm, LevelKind, Sense, Spec, Stage};
use injection::{
    CallSound, Curve, Injection, NoiseLevel, Tally, inject, settling_samples, tail_samples,
};
use signal::{Ends, ShapedNoise, Sweep};

/// Rate of the checks, Hz: low, so that hours are cheap.
pub(crate) const RATE_HZ: f64 = 1000.0;
pub(crate) const LOW_HZ: f64 = 50.0;
pub(crate) const HIGH_HZ: f64 = 300.0;
/// Density of white noise, dB re 1 uPa2/Hz.
const DENSITY_DB: f64 = 60.0;
const TAPS: usize = 512;

/// A background of noise: rows of frequency and density, and its level in the band.
#[derive(Clone)]
pub(crate) struct Sea {
    pub(crate) table: Vec<(f64, f64)>,
    pub(crate) level_db: f64,
}

pub(crate) fn white() -> Sea {
    Sea {
        table: vec![(1.0, DENSITY_DB), (500.0, DENSITY_DB)],
        level_db: DENSITY_DB + 10.0 * libm::log10(HIGH_HZ - LOW_HZ),
    }
}

/// The noise of a sea with ships and wind (the four-term formula).
pub(crate) fn shaped(wind_m_s: f64, shipping: f64) -> Sea {
    let table = (0..=60)
        .map(|i| {
            let f_hz = libm::pow(500.0, f64::from(i) / 60.0);
            let noise = seawater::ambient_noise(f_hz, wind_m_s, shipping)
                .expect("figures of the checks that can be");
            (f_hz, noise.total_db_re_1upa2_per_hz)
        })
        .collect();
    let level_db = seawater::band_level_db_re_1upa(LOW_HZ, HIGH_HZ, wind_m_s, shipping)
        .expect("figures of the checks that can be");
    Sea { table, level_db }
}

impl Sea {
    pub(crate) fn samples(&self, seed: u64, name: &str, stretch: u64, count: usize) -> Vec<f32> {
        let mut noise = ShapedNoise::new(&self.table, Ends::Hold, TAPS, RATE_HZ)
            .expect("figures of the checks that can be");
        let mut stream = Stream::named(seed, name, stretch);
        let mut out = vec![0.0; count];
        noise.fill(0, &mut out, |_| stream.gaussian());
        out
    }
}

/// A sweep of a length with short edges, at a level of 0 dB.
pub(crate) fn sweep_samples(from_hz: f64, to_hz: f64, length_s: f64) -> Vec<f32> {
    Sweep::new(from_hz, to_hz, length_s, 0.02, 0.0)
        .expect("figures of the checks that can be")
        .samples(RATE_HZ)
}

/// The same as a call.
pub(crate) fn sweep(from_hz: f64, to_hz: f64, length_s: f64) -> CallSound {
    let samples = sweep_samples(from_hz, to_hz, length_s);
    CallSound::new(&samples, RATE_HZ, None, (LOW_HZ, HIGH_HZ))
        .expect("figures of the checks that can be")
}

/// Band, level, perhaps a background, and a trigger without hysteresis that takes a single cell.
pub(crate) fn level_detector(window_s: f64, threshold_db: f64, over_s: Option<f64>) -> Spec {
    let mut stages = vec![
        Stage::Band {
            low_hz: LOW_HZ,
            high_hz: HIGH_HZ,
            order: 4,
        },
        Stage::Level {
            kind: LevelKind::MeanSquare,
            window_s,
            hop_s: None,
        },
    ];
    stages.extend(over_s.map(|over_s| Stage::Background {
        kind: BackgroundKind::Median,
        over_s,
        guard_s: 0.0,
    }));
    stages.push(trigger(threshold_db, threshold_db, 0.0, None));
    Spec {
        rate_hz: RATE_HZ,
        stages,
    }
}

pub(crate) fn trigger(
    on_above_db: f64,
    off_below_db: f64,
    shortest_s: f64,
    longest_s: Option<f64>,
) -> Stage {
    Stage::Trigger {
        on_above_db,
        off_below_db,
        shortest_s,
        longest_s,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::AtEnd,
    }
}

/// Puts `calls` calls for each ratio into noise, in stretches of 50, and adds hours of noise alone.
pub(crate) fn run(
    sea: &Sea,
    detector: &Spec,
    call: &CallSound,
    snr_db: &[f64],
    calls: usize,
    alone_h: f64,
    seed: u64,
) -> Tally {
    const EACH: usize = 50;
    let what = Injection {
        detector,
        converter: None,
        call,
        noise_level: NoiseLevel::Same(sea.level_db),
        snr_db,
    };
    let settling = settling_samples(detector).expect("figures of the checks that can be");
    let tail = tail_samples(detector).expect("figures of the checks that can be");
    let gap = call.samples() + (0.5 * RATE_HZ) as u64;
    let mut tally = Tally::default();
    for stretch in 0..calls.div_ceil(EACH) as u64 {
        let begins: Vec<u64> = (0..EACH as u64).map(|i| settling + i * gap).collect();
        let whole = settling + EACH as u64 * gap + tail + 1000;
        let noise = sea.samples(seed, "calls", stretch, whole as usize);
        tally.add(
            &inject(&what, &noise, &begins, settling).expect("figures of the checks that can be"),
        );
    }
    let hour = 3600 * RATE_HZ as u64;
    for stretch in 0..alone_h.ceil() as u64 {
        let part = ((alone_h - stretch as f64).min(1.0) * hour as f64) as u64;
        let noise = sea.samples(seed, "alone", stretch, (settling + part) as usize);
        tally
            .add(&inject(&what, &noise, &[], settling).expect("figures of the checks that can be"));
    }
    tally
}

pub(crate) fn curve(tally: &Tally, snr_db: &[f64]) -> Curve {
    let counts: Vec<(f64, u64)> = snr_db
        .iter()
        .copied()
        .zip(tally.found.iter().copied())
        .collect();
    Curve::new(&counts, tally.calls).expect("figures of the checks that can be")
}

pub(crate) fn alarms_per_h(tally: &Tally) -> f64 {
    tally.false_alarms as f64 / (tally.listened_samples as f64 / RATE_HZ / 3600.0)
}

/// The size of a sampled check: `small` in every test run, `large` in `make soak`.
pub(crate) fn sized<T>(small: T, large: T) -> T {
    match std::env::var_os("SOUNDLINE_SOAK") {
        None => small,
        Some(_) => large,
    }
}

/// Half a second of the band against its median of half a minute.
pub(crate) fn upcalls() -> Spec {
    let mut spec = level_detector(0.5, 0.0, Some(30.0));
    spec.stages.pop();
    spec.stages.push(trigger(2.6, 1.6, 0.3, Some(3.0)));
    spec
}

/// A frequency that rises by 40 to 400 Hz a second for 0.3 s to 2 s.
pub(crate) fn ridges() -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: LOW_HZ,
                high_hz: HIGH_HZ,
                order: 4,
            },
            Stage::Spectrogram {
                window_s: 0.128,
                hop_s: None,
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 30.0,
                guard_s: 0.0,
            },
            Stage::Ridge {
                sense: Sense::Rising,
                above_db: 11.0,
                least_slope_hz_per_s: 40.0,
                most_slope_hz_per_s: 400.0,
                gap_s: 0.07,
                shortest_s: 0.3,
                longest_s: Some(2.0),
                hold_off_s: 2.0,
            },
        ],
    }
}
