//! What stages ask of a processor, against counts by hand.
//!
//! A count is that of `docs/method/detect.md`: additions and multiplications of each sample, cell or frame, from the numbers of the
//! stage alone: windows, hops, taps, sections, cells. All at 1000 Hz.

use detect::{BackgroundKind, ContourPoint, Detector, LevelKind, Spec, Stage};
use signal::Decimator;

use crate::support::{likeness_trigger, upcall_ridge};

/// Share of the rate after decimation that it passes, `docs/method/detect.md`.
const PASS: f64 = 0.4;

fn per_s(stages: Vec<Stage>) -> Vec<(&'static str, f64)> {
    let spec = Spec {
        rate_hz: 1000.0,
        stages,
    };
    let detector = Detector::new(&spec).unwrap();
    detector
        .costs()
        .iter()
        .map(|cost| (cost.word, cost.operations_per_s.unwrap()))
        .collect()
}

#[track_caller]
fn check(stages: Vec<Stage>, expected: &[(&str, f64)]) {
    let found = per_s(stages);
    let words: Vec<_> = found.iter().map(|f| f.0).collect();
    let named: Vec<_> = expected.iter().map(|e| e.0).collect();
    assert_eq!(words, named);
    for ((word, found), (_, by_hand)) in found.iter().zip(expected) {
        assert!(
            (found / by_hand - 1.0).abs() < 1e-9,
            "{word}: {found}, by hand {by_hand}"
        );
    }
}

fn level(kind: LevelKind) -> Stage {
    Stage::Level {
        kind,
        window_s: 0.5,
        hop_s: Some(0.1),
    }
}

fn background(kind: BackgroundKind, over_s: f64) -> Stage {
    Stage::Background {
        kind,
        over_s,
        guard_s: 0.0,
    }
}

fn band() -> Stage {
    Stage::Band {
        low_hz: 60.0,
        high_hz: 260.0,
        order: 4,
    }
}

fn spectrogram() -> Stage {
    Stage::Spectrogram {
        window_s: 0.256,
        hop_s: Some(0.064),
    }
}

/// Ten cells a second, each 30 for its level; 20 for the decision on it.
#[test]
fn verif_levels_cost_what_their_samples_and_cells_do() {
    // A square and an addition a sample, five sums of 100 a window; the energy operator has two more.
    for (kind, samples) in [
        (LevelKind::MeanSquare, 2.0 * 1000.0 + 5.0 * 10.0),
        (LevelKind::TeagerKaiser, 4.0 * 1000.0 + 5.0 * 10.0),
        (LevelKind::Exponential, 4.0 * 1000.0),
    ] {
        check(
            vec![level(kind), likeness_trigger()],
            &[("level", samples + 300.0), ("trigger", 200.0)],
        );
    }
    // Of 63 cells: six levels of a tree.
    for (kind, cell) in [
        (BackgroundKind::Median, 8.0 * 6.0),
        (BackgroundKind::Ordered { rank: 0.75 }, 8.0 * 6.0),
        (BackgroundKind::Mean, 6.0 + 20.0),
    ] {
        check(
            vec![
                level(LevelKind::MeanSquare),
                background(kind, 6.3),
                likeness_trigger(),
            ],
            &[
                ("level", 2350.0),
                ("background", 10.0 * cell),
                ("trigger", 200.0),
            ],
        );
    }
    let pulses = Stage::Pulses {
        rise_db: 10.0,
        prominence_db: 10.0,
        min_interval_s: 0.0,
        max_interval_s: 1.5,
        at_least: 2,
        of_last: None,
        within_s: None,
        steady: None,
        hold_off_s: 0.0,
    };
    check(
        vec![
            level(LevelKind::TeagerKaiser),
            background(BackgroundKind::Mean, 6.3),
            pulses,
        ],
        &[("level", 4350.0), ("background", 260.0), ("pulses", 200.0)],
    );
}

/// Nine for each section of a band-pass; two for each tap of a filter before a fifth of the rate, as long as twice its delay
/// and one, filled up to whole fours. What follows runs at that fifth.
#[test]
fn verif_filters_cost_what_their_taps_and_sections_do() {
    check(
        vec![band(), level(LevelKind::MeanSquare), likeness_trigger()],
        &[
            ("band", 9.0 * 4.0 * 1000.0),
            ("level", 2350.0),
            ("trigger", 200.0),
        ],
    );
    let taps = 2.0 * Decimator::new(5, PASS * 200.0, 1000.0).unwrap().reach() as f64 + 1.0;
    assert!(taps > 20.0, "{taps}");
    let taps = 4.0 * (taps / 4.0).ceil();
    check(
        vec![
            Stage::Decimate { factor: 5 },
            level(LevelKind::MeanSquare),
            likeness_trigger(),
        ],
        &[
            ("decimate", 2.0 * taps * 200.0),
            ("level", 2.0 * 200.0 + 50.0 + 300.0),
            ("trigger", 200.0),
        ],
    );
}

/// Two templates in quadrature, a product and a sum for each tap, at every sample; twenty cells a second.
#[test]
fn verif_a_matched_filter_costs_what_its_template_does() {
    for length in [64_usize, 256] {
        let template: Vec<f32> = (0..length)
            .map(|i| libm::sin(1.3 * i as f64 + 0.7) as f32)
            .collect();
        let stage = Stage::Matched {
            template,
            hop_s: Some(0.05),
        };
        check(
            vec![stage, likeness_trigger()],
            &[
                ("matched", 4.0 * length as f64 * 1000.0 + 600.0),
                ("trigger", 400.0),
            ],
        );
    }
}

/// Beyond, all places of a cell at once: of 4000 samples and 500 places 8192 points, thirteen passes of ten operations for two points, twice;
/// a product of six for each; three for the power of each place. Two cells a second.
#[test]
fn verif_a_long_matched_filter_costs_two_transforms_a_cell() {
    let template: Vec<f32> = (0..4000)
        .map(|i| libm::sin(1.3 * f64::from(i) + 0.7) as f32)
        .collect();
    let stage = Stage::Matched {
        template,
        hop_s: Some(0.5),
    };
    let cell = 2.0 * 10.0 * 4096.0 * 13.0 + 6.0 * 8192.0 + 3.0 * 500.0;
    check(
        vec![stage, likeness_trigger()],
        &[("matched", 2.0 * cell + 60.0), ("trigger", 40.0)],
    );
}

/// 256 samples a frame, 15.625 frames a second, lines of 3.90625 Hz: 16 to 66 of them lie in 60 to 260 Hz.
#[test]
fn verif_frames_cost_what_their_points_and_cells_do() {
    let (frames, cells) = (15.625, 51.0);
    // The window; 128 complex points of seven doublings; the levels of the cells.
    let transform = 256.0 + 4.25 * 128.0 * 7.0 + 18.0 * cells;
    // Of 128 frames, each kept: to place one of them, twice seven steps and a third of them moved.
    let ordered = (1.0 + 2.0 * libm::log2(129.0) + 128.0 / 3.0) * cells;
    // Of 128 frames, 32 sums of four.
    let mean = (2.0 + 36.0 / 4.0) * cells;
    for (kind, ground) in [
        (BackgroundKind::Median, ordered),
        (BackgroundKind::Mean, mean),
    ] {
        check(
            vec![
                band(),
                spectrogram(),
                background(kind, 128.0 * 0.064),
                upcall_ridge(),
            ],
            &[
                ("spectrogram", (transform + 3.0 * cells + 120.0) * frames),
                ("background", ground * frames),
                ("ridge", 20.0 * frames),
            ],
        );
    }
    // A level line at 160 Hz for five frames: cells within 30 Hz of it, of which there are 15.
    let contour = [0.0, 0.256]
        .map(|after_s| ContourPoint {
            after_s,
            frequency_hz: 160.0,
        })
        .to_vec();
    check(
        vec![
            band(),
            spectrogram(),
            background(BackgroundKind::Mean, 128.0 * 0.064),
            Stage::Likeness {
                contour,
                width_hz: 20.0,
            },
            likeness_trigger(),
        ],
        &[
            ("spectrogram", transform * frames),
            ("background", mean * frames),
            ("likeness", (4.0 * 5.0 * 15.0 + 20.0 * cells) * frames),
            ("trigger", 20.0 * frames),
        ],
    );
}
