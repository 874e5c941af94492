//! False alarms over backgrounds of independent exponential cells, and crossings of an envelope.
//!
//! Windows of two samples of white Gaussian noise, one after another, have exponential mean squares, independent of each other;
//! windows of 2 m samples are means of m such looks.

use detect::{BackgroundKind, Confirm, Detector, Front, LevelKind, Notice, Spec, Stage};
use signal::Block;

use crate::support::sized;
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
    // The rarer ones are held by the test below.
    let rows = truth::numbers::<6>("detect/scipy-cfar.csv")
        .into_iter()
        .filter(|&[_, _, looks, pfa, ..]| looks == 1.0 && pfa >= 1e-3);
    let (mut red, mut held) = (0, 0);
    for (i, [cells, order, _, pfa, alpha, wrong]) in rows.enumerate() {
        held += 1;
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
    assert!(red >= 3 && held == 6, "{red} of {held}");
}

/// Mean share of the cells that lie over `alpha` times the background before them, by the law of the cells: of each background
/// that the stage tells, the share of the chi-square law of 2 m degrees of freedom above `2 m alpha` times it. A cell is
/// independent of the cells before it, so this has the expectation of a count of alarms, and far less spread. Last the mean square
/// of the first of the two.
fn mean_share(
    kind: BackgroundKind,
    (cells, guard, looks): (usize, usize, usize),
    alphas: [f64; 2],
    trials: usize,
    seed: u64,
) -> [f64; 3] {
    let cell_s = 0.002 * looks as f64;
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
            at(0.0),
        ],
    };
    let mut front = Front::new(&spec).unwrap();
    let mut gaussian = Gaussian::new(seed);
    let mut block = vec![0.0_f32; 4096];
    let mut heard = Vec::new();
    let (mut first, mut sums, mut count) = (0, [0.0; 3], 0);
    let degrees = 2.0 * looks as f64;
    while count < trials {
        block.fill_with(|| gaussian.next() as f32);
        front.push(Block { first, x: &block }, &mut heard).unwrap();
        first += block.len() as u64;
        for cell in heard.drain(..) {
            // Until the background is full it runs over fewer cells.
            if cell.index < (cells + guard) as u64 || count == trials {
                continue;
            }
            let background = libm::pow(10.0, cell.background_db.unwrap() / 10.0);
            let [share, other] = alphas.map(|alpha| share_over(degrees, alpha * background));
            for (sum, more) in sums.iter_mut().zip([share, other, share * share]) {
                *sum += more;
            }
            count += 1;
        }
    }
    sums.map(|sum| sum / trials as f64)
}

/// Share of the cells of `degrees` degrees of freedom that lie over `times` their mean.
fn share_over(degrees: f64, times: f64) -> f64 {
    if degrees == 2.0 {
        return libm::exp(-times);
    }
    chance::chi_square_share_above(degrees * times, degrees).unwrap()
}

/// The closed form of the share of alarms over `alpha` times the background of exponential cells; the second route to the file.
fn closed_share(cells: f64, order: f64, alpha: f64) -> f64 {
    if order == 0.0 {
        return libm::pow(1.0 + alpha / cells, -cells);
    }
    // Gamma(n + 1) Gamma(n - k + 1 + a) / (Gamma(n - k + 1) Gamma(n + 1 + a)).
    let least = cells - order + 1.0;
    libm::exp(
        libm::lgamma(cells + 1.0) + libm::lgamma(least + alpha)
            - libm::lgamma(least)
            - libm::lgamma(cells + 1.0 + alpha),
    )
}

#[test]
fn val_multipliers_of_rare_alarms_hold_over_running_backgrounds() {
    let trials = sized(400_000, 4_000_000);
    let rows = truth::numbers::<6>("detect/scipy-cfar.csv");
    assert_eq!(rows.len(), 16);
    let mut red = 0;
    for (i, [cells, order, looks, pfa, alpha, wrong]) in rows.into_iter().enumerate() {
        // Of a single background: the mean square of the share over it. Of one look, `exp(-a b)` squared is `exp(-2 a b)`.
        let square = (looks == 1.0).then(|| {
            let found = closed_share(cells, order, alpha);
            assert!((found / pfa - 1.0).abs() < 1e-7, "{found} is not {pfa}");
            closed_share(cells, order, 2.0 * alpha)
        });
        // By turns in every test run.
        for guard in sized([i % 2 * 5].as_slice(), &[0, 5]) {
            let size = (cells as usize, *guard, looks as usize);
            let seed = 9000 + 10 * i as u64 + *guard as u64;
            let [found, off, seen] =
                mean_share(kind(cells, order), size, [alpha, wrong], trials, seed);
            let square = square.unwrap_or(seen);
            // Backgrounds `cells` apart share no cell, and those between do not spread more.
            let spread = (square * cells / trials as f64).sqrt();
            assert!(spread < 0.25 * pfa, "{spread} of {pfa}");
            assert!(
                (found - pfa).abs() < 5.0 * spread,
                "{cells} cells, order {order}, {looks} looks: {found} +- {spread}, expected {pfa}"
            );
            // Red: the threshold over a background that is known, where it differs by enough to be told.
            if (wrong / alpha - 1.0).abs() > 0.05 {
                assert!(
                    (off - pfa).abs() > 5.0 * spread,
                    "{cells} cells, order {order}: {off} +- {spread}"
                );
                red += 1;
            }
        }
    }
    assert!(red >= 10, "{red}");
}

/// S. O. Rice 1944/45: how often a second the envelope of noise of an rms bandwidth rises over a level that it exceeds for a
/// share of the time.
fn crossings_per_s(rms_hz: f64, share: f64) -> f64 {
    let level_over_sigma = (-2.0 * libm::log(share)).sqrt();
    (2.0 * std::f64::consts::PI).sqrt() * rms_hz * level_over_sigma * share
}

/// Bandwidth of a sound about the middle of its spectrum, by summing up the spectrum in steps of a quarter of a hertz.
fn rms_bandwidth_hz(x: &[f32], rate_hz: f64) -> f64 {
    let moments = (0..(2.0 * rate_hz) as usize).fold([0.0; 3], |sums, i| {
        let f_hz = 0.25 * i as f64;
        let w = 2.0 * std::f64::consts::PI * f_hz / rate_hz;
        let (re, im) = x.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, v)| {
            let phase = w * n as f64;
            let v = f64::from(*v);
            (re + v * libm::cos(phase), im + v * libm::sin(phase))
        });
        let power = re * re + im * im;
        [
            sums[0] + power,
            sums[1] + f_hz * power,
            sums[2] + f_hz * f_hz * power,
        ]
    });
    let centre_hz = moments[1] / moments[0];
    (moments[2] / moments[0] - centre_hz * centre_hz).sqrt()
}

/// A rectangular band of so many hertz, rms bandwidth that over the root of twelve: alarms a day, worked out apart with numpy, beside one
/// decision for each hertz and second.
#[test]
fn verif_alarms_of_an_envelope_a_day() {
    for (band_hz, share, a_day, decisions_a_day) in [
        (100.0, 1e-6, 32.863, 8.640),
        (150.0, 1e-5, 449.9996, 129.6),
        (2000.0, 1e-8, 7.5895, 1.728),
    ] {
        let found = 86_400.0 * crossings_per_s(band_hz / 12.0_f64.sqrt(), share);
        assert!((found / a_day - 1.0).abs() < 1e-5, "{found} {a_day}");
        let apart = 86_400.0 * band_hz * share;
        assert!((apart / decisions_a_day - 1.0).abs() < 1e-9, "{apart}");
    }
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
    let rms_hz = rms_bandwidth_hz(&template, rate_hz);
    for (i, [share, per_s, rectangular_per_s, decisions_per_s]) in
        truth::numbers::<4>("detect/numpy-rice.csv")
            .into_iter()
            .enumerate()
    {
        // A second route to both columns of the file.
        let found = crossings_per_s(rms_hz, share);
        assert!((found / per_s - 1.0).abs() < 1e-5, "{found} {per_s}");
        let found = crossings_per_s(40.0 / 12.0_f64.sqrt(), share);
        assert!(
            (found / rectangular_per_s - 1.0).abs() < 1e-7,
            "{found} {rectangular_per_s}"
        );
        let seconds = if share < 0.005 { 2000.0 } else { 500.0 } * sized(1.0, 10.0);
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
        let mut told = Vec::new();
        let mut detector = Detector::new(&spec).unwrap();
        let mut events = 0;
        for second in 0..seconds as u64 {
            let x: Vec<f32> = (0..rate_hz as usize)
                .map(|_| gaussian.next() as f32)
                .collect();
            let first = second * rate_hz as u64;
            detector.push(Block { first, x: &x }, &mut told).unwrap();
            events += told
                .drain(..)
                .filter(|t| matches!(t.notice, Notice::Onset(_)))
                .count() as u64;
        }
        let (low, high) = chance::garwood(events, seconds, 1.0 - 1e-6).unwrap();
        assert!(
            (low..=high).contains(&per_s),
            "{events} in {seconds} s, expected {per_s} a second"
        );
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
