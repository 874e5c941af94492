//! False alarms over backgrounds of independent exponential cells, and crossings of an envelope.
//!
//! Windows of two samples of white Gaussian noise, one after another, have exponential mean squares, independent of each other.

use detect::{BackgroundKind, Confirm, Detector, Front, LevelKind, Notice, Spec, Stage};
use signal::Block;

use crate::urkowitz::{Gaussian, holds};

fn at(threshold_db: f64) -> Stage {
    Stage::Trigger {
        on_above_db: threshold_db,
        off_below_db: threshold_db,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::Early,
    }
}

/// Cells that alarm, of so many.
fn alarms(
    kind: BackgroundKind,
    cells: usize,
    guard: usize,
    alpha: f64,
    trials: usize,
    seed: u64,
) -> usize {
    let cell_s = 0.002;
    let spec = Spec {
        rate_hz: 1000.0,
        stages: vec![
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: cell_s,
                hop_s: Some(cell_s),
            },
            Stage::Background {
                kind,
                over_s: (cells + guard) as f64 * cell_s,
                guard_s: guard as f64 * cell_s,
            },
            at(10.0 * libm::log10(alpha)),
        ],
    };
    let mut detector = Detector::new(&spec).unwrap();
    let mut gaussian = Gaussian::new(seed);
    let mut told = Vec::new();
    let mut block = vec![0.0_f32; 4096];
    // Until the background is full it runs over fewer cells.
    let from = 2 * (cells + guard) as u64;
    let (mut first, mut found) = (0, 0);
    while first < from + 2 * trials as u64 {
        block.fill_with(|| gaussian.next() as f32);
        detector
            .push(Block { first, x: &block }, &mut told)
            .unwrap();
        first += block.len() as u64;
        for told in told.drain(..) {
            if let Notice::Ended(event) = told.notice
                && event.begin_sample >= from
                && event.begin_sample < from + 2 * trials as u64
            {
                found += (event.end_sample - event.begin_sample) / 2;
            }
        }
    }
    found as usize
}

fn kind(cells: f64, order: f64) -> BackgroundKind {
    if order == 0.0 {
        BackgroundKind::Mean
    } else if 2.0 * order == cells + 1.0 {
        BackgroundKind::Median
    } else {
        BackgroundKind::Ordered {
            rank: order / cells,
        }
    }
}

#[test]
fn val_false_alarms_over_running_backgrounds_follow_their_closed_forms() {
    let rows = truth::numbers::<5>("detect/scipy-cfar.csv");
    let mut red = 0;
    for (i, [cells, order, pfa, alpha, wrong]) in rows.into_iter().enumerate() {
        if pfa < 1e-3 {
            continue;
        }
        let trials = (200.0 / pfa) as usize;
        let run = |guard, alpha, seed| {
            alarms(
                kind(cells, order),
                cells as usize,
                guard,
                alpha,
                trials,
                seed,
            )
        };
        for guard in [0, 5] {
            let found = run(guard, alpha, 5000 + i as u64);
            assert!(
                holds(found, trials, pfa),
                "{cells} cells, order {order}: {found} of {trials}, expected {pfa} of them"
            );
        }
        // Red: the threshold over a background that is known, where it differs by enough to be told.
        if (wrong / alpha - 1.0).abs() > 0.1 {
            let found = run(0, wrong, 6000 + i as u64);
            assert!(
                !holds(found, trials, pfa),
                "{cells} cells, order {order}: {found}"
            );
            red += 1;
        }
    }
    assert!(red >= 3, "{red}");
}

/// S. O. Rice 1944/45: up-crossings of the envelope of noise, here that of a matched filter at every sample.
#[test]
fn val_crossings_of_an_envelope_follow_rice() {
    use std::f64::consts::PI;
    let (rate_hz, length) = (1000.0, 800);
    let template: Vec<f32> = (0..length)
        .map(|i| {
            let t_s = (f64::from(i) - f64::from(length - 1) / 2.0) / rate_hz;
            let x = PI * 40.0 * t_s;
            let sinc = if x == 0.0 { 1.0 } else { libm::sin(x) / x };
            let window = libm::cos(PI * t_s * rate_hz / f64::from(length));
            (sinc * window * libm::cos(2.0 * PI * 125.0 * t_s)) as f32
        })
        .collect();
    let seconds = 500.0;
    for (i, [share, per_s, rectangular_per_s, decisions_per_s]) in
        truth::numbers::<4>("detect/numpy-rice.csv")
            .into_iter()
            .enumerate()
    {
        // White noise of unit variance has a mean power of 2/N in the envelope; the power is exponential.
        let threshold = -2.0 / f64::from(length) * libm::log(share);
        let spec = Spec {
            rate_hz,
            stages: vec![
                Stage::Matched {
                    template: template.clone(),
                    hop_s: Some(1.0 / rate_hz),
                },
                at(10.0 * libm::log10(threshold)),
            ],
        };
        let mut gaussian = Gaussian::new(7000 + i as u64);
        let x: Vec<f32> = (0..(seconds * rate_hz) as usize)
            .map(|_| gaussian.next() as f32)
            .collect();
        let mut told = Vec::new();
        let mut detector = Detector::new(&spec).unwrap();
        detector.push(Block { first: 0, x: &x }, &mut told).unwrap();
        let events = told
            .iter()
            .filter(|t| matches!(t.notice, Notice::Onset(_)))
            .count() as u64;
        let (low, high) = chance::garwood(events, seconds, 1.0 - 1e-6).unwrap();
        assert!(
            (low..=high).contains(&per_s),
            "{events} in {seconds} s, expected {per_s} a second"
        );
        assert!((rectangular_per_s / per_s - 1.0).abs() < 0.02);
        // Red: as many independent decisions a second as the band is wide.
        assert!(!(low..=high).contains(&decisions_per_s));
    }
}

/// A known sound of unknown phase in white noise: the envelope at its place follows Marcum's Q of order 1 (J. I. Marcum 1960;
/// values by SciPy 1.17.1, `ncx2.sf(b*b, 2, a*a)`), with `a^2` twice its energy over the density of the noise.
#[test]
fn val_detections_by_a_matched_filter_follow_marcum() {
    use std::f64::consts::PI;
    let (length, apart, trials) = (64_usize, 192, 20_000);
    let template: Vec<f32> = (0..length)
        .map(|i| {
            let window = libm::sin(PI * (i as f64 + 0.5) / length as f64);
            (window * libm::sin(2.0 * PI * 0.21 * i as f64 + 0.4)) as f32
        })
        .collect();
    let energy: f64 = template.iter().map(|&v| f64::from(v) * f64::from(v)).sum();
    for (i, (a, b, expected)) in [
        (1.0, 1.0, 0.732_879_8),
        (2.0, 3.0, 0.214_362_1),
        (3.0, 3.0, 0.567_479_8),
    ]
    .into_iter()
    .enumerate()
    {
        let spec = Spec {
            rate_hz: 1000.0,
            stages: vec![
                Stage::Matched {
                    template: template.clone(),
                    hop_s: Some(0.001),
                },
                at(0.0),
            ],
        };
        let mut front = Front::new(&spec).unwrap();
        let mut gaussian = Gaussian::new(8000 + i as u64);
        let amplitude = a / energy.sqrt();
        let mut cells = Vec::new();
        let mut found = 0;
        for trial in 0..trials {
            let x: Vec<f32> = (0..apart)
                .map(|i| {
                    let call = template.get(i).map_or(0.0, |v| amplitude * f64::from(*v));
                    (gaussian.next() + call) as f32
                })
                .collect();
            let first = (trial * apart) as u64;
            front.push(Block { first, x: &x }, &mut cells).unwrap();
            let place = first + length as u64 / 2;
            let cell = cells.iter().find(|c| c.begin_sample == place).unwrap();
            found += usize::from(cell.power * length as f64 >= b * b);
            cells.clear();
        }
        assert!(
            holds(found, trials, expected),
            "{found} of {trials}, expected {expected}"
        );
        // Red: as if the phase were known, one quadrature only: Q((b - a)) both ways.
        let normal = |z: f64| 0.5 * libm::erfc(z / 2.0_f64.sqrt());
        assert!(!holds(found, trials, normal(b - a) + normal(b + a)));
    }
}
