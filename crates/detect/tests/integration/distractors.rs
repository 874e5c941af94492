//! What three detectors of up-calls make of sounds that are none: our own figures, kept so that a change of them is seen, and
//! so that `docs/method/detect.md` says what they are.
//!
//! Ten minutes each at 4 kHz: white noise, 20 up-calls of 6 dB within 50 to 300 Hz, and an invented distractor.

use std::f64::consts::PI;

use detect::{
    BackgroundKind, Confirm, Detector, LevelKind, Notice, Rule, Sounding, Spec, Stage, match_events,
};
use signal::Block;

use crate::support::{add_click, add_sweep, noise, single, upcall, upcall_frames, upcall_ridge};

const RATE_HZ: f64 = 4000.0;
const SECONDS: f64 = 600.0;
const CALL_S: f64 = 0.9;
const CALLS: usize = 20;

fn call_begin(i: usize) -> usize {
    ((42.0 + 27.3 * i as f64) * RATE_HZ) as usize
}

/// Noise with a gain that changes, and the calls in it at 6 dB over the noise without the gain.
fn sea(seed: u64, gain: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut x: Vec<f64> = noise(seed, (SECONDS * RATE_HZ) as usize)
        .iter()
        .enumerate()
        .map(|(i, v)| 1000.0 * v * gain(i as f64 / RATE_HZ))
        .collect();
    // Noise within 250 Hz of 2000; under half a sine the mean square is a quarter of the amplitude's square.
    let amplitude = (4.0 * 4.0 * 1e6 * 250.0 / 2000.0_f64).sqrt();
    for i in 0..CALLS {
        let length = (CALL_S * RATE_HZ) as usize;
        add_sweep(
            &mut x,
            RATE_HZ,
            call_begin(i),
            length,
            (90.0, 170.0),
            amplitude,
        );
    }
    x
}

/// A number from 0 to 1, the next of a row.
fn uniform(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 40) as f64 / 16_777_216.0
}

/// A ferry that passes within five minutes: six tonals with the beat of the blades, and broadband noise.
fn ferry() -> Vec<f64> {
    let near = |t_s: f64| 1.0 / (1.0 + ((t_s - 300.0) / 60.0) * ((t_s - 300.0) / 60.0)).sqrt();
    let mut x = sea(21, |t_s| 1.0 + 1.5 * near(t_s));
    for (i, v) in x.iter_mut().enumerate() {
        let t_s = i as f64 / RATE_HZ;
        let beat = 1.0 + 0.3 * libm::sin(2.0 * PI * 2.3 * t_s);
        for hz in [61.0, 92.0, 123.0, 153.0, 184.0, 245.0] {
            *v += 500.0 * near(t_s) * beat * libm::sin(2.0 * PI * hz * t_s);
        }
    }
    x
}

/// A chain that rattles for 1 to 4 s every 12 s or so: 8 to 25 knocks a second, each of three dying tones.
fn chain() -> Vec<f64> {
    let mut x = sea(22, |_| 1.0);
    let (mut state, mut at_s) = (5, 20.0);
    while at_s < SECONDS - 6.0 {
        let end_s = at_s + 1.0 + 3.0 * uniform(&mut state);
        let every_s = 1.0 / (8.0 + 17.0 * uniform(&mut state));
        while at_s < end_s {
            let amplitude = 3000.0 + 5000.0 * uniform(&mut state);
            let tones = [0; 3].map(|_| 100.0 + 1400.0 * uniform(&mut state));
            let begin = (at_s * RATE_HZ) as usize;
            for (n, v) in x[begin..begin + 400].iter_mut().enumerate() {
                let t_s = n as f64 / RATE_HZ;
                let sum: f64 = tones.iter().map(|hz| libm::sin(2.0 * PI * hz * t_s)).sum();
                *v += amplitude / 3.0 * libm::exp(-t_s / 0.015) * sum;
            }
            at_s += every_s * (0.6 + 0.8 * uniform(&mut state));
        }
        at_s += 6.0 + 12.0 * uniform(&mut state);
    }
    x
}

/// Trains of loud clicks, 3 to 10 s long, 4 to 20 a second.
fn clicks() -> Vec<f64> {
    let mut x = sea(23, |_| 1.0);
    let (mut state, mut at_s) = (9, 25.0);
    while at_s < SECONDS - 20.0 {
        let end_s = at_s + 3.0 + 7.0 * uniform(&mut state);
        let every_s = 1.0 / (4.0 + 16.0 * uniform(&mut state));
        while at_s < end_s {
            add_click(
                &mut x,
                RATE_HZ,
                (at_s * RATE_HZ) as usize,
                900.0,
                0.4e-3,
                15_000.0,
            );
            at_s += every_s;
        }
        at_s += 5.0 + 10.0 * uniform(&mut state);
    }
    x
}

/// Two showers, 10 dB and 6 dB over the sea, coming and going within 10 s.
fn rain() -> Vec<f64> {
    let ramp = |t_s: f64, from_s: f64, to_s: f64| {
        ((t_s - from_s) / 10.0).clamp(0.0, 1.0) * ((to_s - t_s) / 10.0).clamp(0.0, 1.0)
    };
    sea(24, move |t_s| {
        let over_db = 10.0 * ramp(t_s, 150.0, 300.0) + 6.0 * ramp(t_s, 400.0, 500.0);
        libm::pow(10.0, over_db / 20.0)
    })
}

/// By level, matched filter and ridge.
fn detectors() -> [Spec; 3] {
    let trigger = |on_above_db, off_below_db, shortest_s, longest_s| Stage::Trigger {
        on_above_db,
        off_below_db,
        shortest_s,
        longest_s: Some(longest_s),
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::AtEnd,
    };
    let background = Stage::Background {
        kind: BackgroundKind::Median,
        over_s: 30.0,
        guard_s: 0.0,
    };
    let band = upcall(RATE_HZ, Confirm::AtEnd).stages.remove(0);
    let level = Stage::Level {
        kind: LevelKind::MeanSquare,
        window_s: 0.5,
        hop_s: None,
    };
    let mut call = vec![0.0; (CALL_S * RATE_HZ) as usize];
    let length = call.len();
    add_sweep(&mut call, RATE_HZ, 0, length, (90.0, 170.0), 1.0);
    let matched = Stage::Matched {
        template: single(&call),
        hop_s: None,
    };
    let of = |stages| Spec {
        rate_hz: RATE_HZ,
        stages,
    };
    [
        of(vec![
            band.clone(),
            level,
            background.clone(),
            trigger(2.6, 1.6, 0.3, 3.0),
        ]),
        of(vec![band, matched, background, trigger(9.0, 6.0, 0.0, 1.0)]),
        upcall_frames(RATE_HZ, BackgroundKind::Median, vec![upcall_ridge()]),
    ]
}

/// Calls found and false alarms.
fn tally(spec: &Spec, x: &[f32]) -> (usize, usize) {
    let mut told = Vec::new();
    let mut detector = Detector::new(spec).unwrap();
    detector.push(Block { first: 0, x }, &mut told).unwrap();
    detector.finish(&mut told);
    let found: Vec<Sounding> = told
        .iter()
        .filter_map(|t| match t.notice {
            Notice::Ended(event) => Some(Sounding {
                begin_s: event.begin_sample as f64 / RATE_HZ,
                end_s: event.end_sample as f64 / RATE_HZ,
                score: event.score_db,
                band_hz: None,
            }),
            _ => None,
        })
        .collect();
    let calls: Vec<Sounding> = (0..CALLS)
        .map(|i| Sounding {
            begin_s: call_begin(i) as f64 / RATE_HZ,
            end_s: call_begin(i) as f64 / RATE_HZ + CALL_S,
            score: 0.0,
            band_hz: None,
        })
        .collect();
    let matching = match_events(&found, &calls, Rule::Overlap { least_s: 0.0 });
    (matching.hits.len(), matching.false_alarms.len())
}

#[test]
fn regress_what_distractors_do() {
    let scenes = [
        ("noise", sea(20, |_| 1.0)),
        ("ferry", ferry()),
        ("chain", chain()),
        ("clicks", clicks()),
        ("rain", rain()),
    ];
    // Calls found of 20 and false alarms in ten minutes, by level, matched filter and ridge.
    let expected = [
        ("noise", [(20, 0), (20, 0), (20, 0)]),
        ("ferry", [(18, 0), (20, 0), (20, 0)]),
        ("chain", [(20, 56), (20, 4), (20, 0)]),
        ("clicks", [(20, 0), (20, 0), (20, 0)]),
        ("rain", [(16, 0), (20, 8), (19, 9)]),
    ];
    let found: Vec<_> = scenes
        .into_iter()
        .map(|(scene, x)| {
            let x = single(&x);
            (scene, detectors().map(|spec| tally(&spec, &x)))
        })
        .collect();
    assert_eq!(found, expected);
}
