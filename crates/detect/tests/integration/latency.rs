//! The promised delay holds, and is not idle.

use detect::{
    BackgroundKind, Confirm, ContourPoint, Detector, KOfN, LevelKind, Notice, Sense, Spec, Stage,
};
use signal::Block;

use crate::support::{noise, upcall};

/// Tone bursts far above the noise, at all places relative to the windows; how long after the first sample each confirmed
/// notice is known, in samples.
fn delays(spec: &Spec, tone_hz: f64, tone_samples: usize, step: usize, rounds: usize) -> Vec<u64> {
    let rate_hz = spec.rate_hz;
    let mut delays = Vec::new();
    let warm = (20.0 * rate_hz) as usize;
    for round in 0..rounds {
        let begin = warm + round * step;
        let mut x: Vec<f64> = noise(3, begin + tone_samples + (4.0 * rate_hz) as usize);
        for (i, v) in x[begin..begin + tone_samples].iter_mut().enumerate() {
            *v += 100.0 * libm::sin(2.0 * std::f64::consts::PI * tone_hz * i as f64 / rate_hz);
        }
        let x: Vec<f32> = x.iter().map(|&v| v as f32).collect();
        let mut detector = Detector::new(spec).unwrap();
        let mut told = Vec::new();
        detector.push(Block { first: 0, x: &x }, &mut told).unwrap();
        let confirmed: Vec<u64> = told
            .iter()
            .filter(|t| matches!(t.notice, Notice::Confirmed(_)))
            .map(|t| t.known_at_sample - begin as u64)
            .collect();
        assert_eq!(confirmed.len(), 1);
        delays.extend(confirmed);
    }
    delays
}

fn hold(spec: &Spec, tone_hz: f64, tone_samples: usize, step: usize, rounds: usize, idle: u64) {
    let bound = Detector::new(spec).unwrap().latency_samples().unwrap();
    let worst = delays(spec, tone_hz, tone_samples, step, rounds)
        .into_iter()
        .max()
        .unwrap();
    assert!(worst <= bound, "{worst} samples, promised {bound}");
    assert!(
        worst + idle >= bound,
        "{worst} samples, promised {bound}: more than {idle} too many"
    );
}

#[test]
fn verif_latency_of_early_confirmation() {
    // 42 dB over the noise a partly filled window does, so up to a window may be gained, but no more.
    let spec = upcall(2000.0, Confirm::Early);
    hold(&spec, 150.0, 3000, 13, 12, 500 + 125);
    // A threshold that only all but whole windows meet: 100/sqrt 2 is 37.0 dB, 36.7 dB at 215 Hz after the band-pass.
    let mut absolute = spec.clone();
    absolute.stages.remove(2);
    absolute.stages[2] = Stage::Trigger {
        on_above_db: 36.4,
        off_below_db: 36.0,
        shortest_s: 0.4,
        longest_s: Some(2.5),
        hold_off_s: 1.0,
        confirm: Confirm::Early,
        bridge_s: 0.0,
        k_of_n: None,
    };
    for tone_hz in [100.0, 150.0, 215.0] {
        hold(&absolute, tone_hz, 3000, 13, 12, 125);
    }
}

#[test]
fn verif_latency_after_decimation() {
    let mut spec = upcall(16_000.0, Confirm::Early);
    spec.stages.remove(2);
    spec.stages[2] = Stage::Trigger {
        on_above_db: 36.75,
        off_below_db: 36.0,
        shortest_s: 0.4,
        longest_s: None,
        hold_off_s: 1.0,
        confirm: Confirm::Early,
        bridge_s: 0.0,
        k_of_n: None,
    };
    hold(&spec, 150.0, 24_000, 211, 6, 700);
}

#[test]
fn verif_latency_of_confirmation_at_the_end() {
    // Bursts that just pass as no longer than `longest_s`, measured between thresholds.
    let mut spec = upcall(2000.0, Confirm::AtEnd);
    spec.stages[3] = Stage::Trigger {
        on_above_db: 9.0,
        off_below_db: 6.0,
        shortest_s: 0.4,
        longest_s: Some(1.0),
        hold_off_s: 0.0,
        confirm: Confirm::AtEnd,
        bridge_s: 0.0,
        k_of_n: None,
    };
    hold(&spec, 150.0, 1400, 13, 10, 900);
    if let Stage::Trigger { longest_s, .. } = &mut spec.stages[3] {
        *longest_s = None;
    }
    assert_eq!(Detector::new(&spec).unwrap().latency_samples(), None);
}

#[test]
fn verif_latency_of_an_exponential_level() {
    let mut spec = upcall(2000.0, Confirm::Early);
    spec.stages[1] = Stage::Level {
        kind: LevelKind::Exponential,
        window_s: 0.125,
        hop_s: None,
    };
    spec.stages.remove(2);
    spec.stages[2] = Stage::Trigger {
        on_above_db: 36.0, // 1 dB below the steady level
        off_below_db: 35.0,
        shortest_s: 0.4,
        longest_s: None,
        hold_off_s: 1.0,
        confirm: Confirm::Early,
        bridge_s: 0.0,
        k_of_n: None,
    };
    hold(&spec, 150.0, 3000, 7, 12, 40);
}

#[test]
fn verif_latency_of_a_train() {
    use crate::support::{add_click, clicks};
    let spec = clicks();
    let mut detector = Detector::new(&spec).unwrap();
    let bound = detector.latency_samples().unwrap();
    let mut x: Vec<f64> = noise(4, 3 * 96_000).iter().map(|v| 100.0 * v).collect();
    // Five clicks in 0.299 s, the limit being 0.3 s.
    let first = 96_000 + 17;
    for i in 0..5 {
        add_click(&mut x, 96_000.0, first + 7176 * i, 24_000.0, 60e-6, 3000.0);
    }
    let x: Vec<f32> = x.iter().map(|&v| v as f32).collect();
    let mut told = Vec::new();
    detector.push(Block { first: 0, x: &x }, &mut told).unwrap();
    let known = told
        .iter()
        .find(|t| matches!(t.notice, Notice::Confirmed(_)))
        .unwrap()
        .known_at_sample;
    let begin = first as u64 - 29; // the click begins five widths before its centre
    assert!(known - begin <= bound, "{} promised {bound}", known - begin);
    assert!(
        known - begin + 400 >= bound,
        "{} promised {bound}",
        known - begin
    );
}

#[test]
fn verif_cost_grows_with_what_there_is_to_do() {
    let small = Detector::new(&upcall(2000.0, Confirm::Early))
        .unwrap()
        .cost();
    let mut spec = upcall(2000.0, Confirm::Early);
    spec.stages[2] = Stage::Background {
        kind: BackgroundKind::Median,
        over_s: 300.0,
        guard_s: 0.0,
    };
    let long = Detector::new(&spec).unwrap().cost();
    // 4320 more cells, each at least a value and its place.
    assert!(long.state_bytes >= small.state_bytes + 4320 * 16);
    let small_per_s = small.operations_per_s.unwrap();
    assert!(long.operations_per_s.unwrap() > small_per_s);
    // Four sections of nine operations at 2000 samples a second are the most of it.
    assert!(
        small_per_s > 72_000.0 && small_per_s < 90_000.0,
        "{small:?}"
    );
}

#[test]
fn verif_latency_of_bridging_and_of_k_of_n() {
    // As for confirmation at the end, with a dip of 0.3 s (five cells) to wait for.
    let mut spec = upcall(2000.0, Confirm::AtEnd);
    spec.stages[3] = Stage::Trigger {
        on_above_db: 9.0,
        off_below_db: 6.0,
        shortest_s: 0.4,
        longest_s: Some(1.0),
        bridge_s: 0.3,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::AtEnd,
    };
    hold(&spec, 150.0, 1400, 13, 6, 900);
    // Nine of ten cells, where the shortest asks for seven, on Teager-Kaiser energies.
    let mut spec = upcall(2000.0, Confirm::Early);
    spec.stages[1] = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.25,
        hop_s: None,
    };
    if let Stage::Trigger { k_of_n, .. } = &mut spec.stages[3] {
        *k_of_n = Some(KOfN {
            at_least: 9,
            of_last: 10,
        });
    }
    hold(&spec, 150.0, 3000, 13, 6, 500 + 125);
}

#[test]
fn verif_latency_of_a_ridge() {
    use crate::support::{upcall_frames, upcall_ridge};
    // A steady tone, with slopes that let it pass. The first frame that holds some of it is heard, up to a window early.
    let mut ridge = upcall_ridge();
    if let Stage::Ridge {
        sense,
        above_db,
        least_slope_hz_per_s,
        longest_s,
        gap_s,
        ..
    } = &mut ridge
    {
        *sense = Sense::Any;
        *above_db = 20.0;
        *least_slope_hz_per_s = 0.0;
        *longest_s = Some(1.0);
        *gap_s = 0.1;
    }
    let spec = upcall_frames(2000.0, BackgroundKind::Median, vec![ridge]);
    // 0.9 s and parts of two windows make at most 1.0 s.
    hold(&spec, 150.0, 1780, 13, 10, 256 + 3 * 64);
}

#[test]
fn verif_latency_of_a_likeness() {
    use crate::support::{likeness_trigger, upcall_frames};
    let tone = |after_s: f64| ContourPoint {
        after_s,
        frequency_hz: 150.0,
    };
    let mut trigger = likeness_trigger();
    if let Stage::Trigger {
        on_above_db,
        off_below_db,
        hold_off_s,
        ..
    } = &mut trigger
    {
        // The whole kernel reads 25.1 dB or more; what all but whole ones reach.
        (*on_above_db, *off_below_db) = (24.5, 20.0);
        *hold_off_s = 20.0;
    }
    let contour = Stage::Likeness {
        contour: vec![tone(0.0), tone(0.5)],
        width_hz: 16.0,
    };
    let spec = upcall_frames(2000.0, BackgroundKind::Median, vec![contour, trigger]);
    let bound = Detector::new(&spec).unwrap().latency_samples().unwrap();
    let worst = delays(&spec, 150.0, 3000, 13, 10)
        .into_iter()
        .max()
        .unwrap();
    assert!(
        worst <= bound && worst + 400 >= bound,
        "{worst} samples, promised {bound}"
    );
}
