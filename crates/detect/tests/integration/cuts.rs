//! However the samples are cut, the same comes out, bit for bit, also around gaps.

use detect::{
    BackgroundKind, Cell, Confirm, ContourPoint, Detector, Feature, Front, KOfN, LevelKind,
    PushError, Spec, Stage, Told,
};
use proptest::prelude::*;
use signal::Block;

use crate::support::{
    add_click, add_sweep, clicks, likeness_trigger, noise, plain, single, upcall, upcall_frames,
    upcall_ridge,
};

fn calls(rate_hz: f64, seconds: f64) -> Vec<f32> {
    let mut x: Vec<f64> = noise(9, (rate_hz * seconds) as usize)
        .iter()
        .map(|v| 1000.0 * v)
        .collect();
    for i in 0..5 {
        let begin = ((16.0 + 4.1 * f64::from(i)) * rate_hz) as usize;
        let length = (0.9 * rate_hz) as usize;
        if begin + length < x.len() {
            add_sweep(&mut x, rate_hz, begin, length, (90.0, 170.0), 5000.0);
        }
    }
    single(&x)
}

fn click_sound() -> Vec<f32> {
    let mut x: Vec<f64> = noise(10, 96_000).iter().map(|v| 100.0 * v).collect();
    for i in 0..14 {
        add_click(&mut x, 96_000.0, 40_000 + 3300 * i, 24_000.0, 60e-6, 3000.0);
    }
    single(&x)
}

/// One detector of each kind, with a sound in which it finds something.
fn kinds() -> Vec<(Spec, Vec<f32>)> {
    let mut early = upcall(2000.0, Confirm::Early);
    if let Stage::Trigger { hold_off_s, .. } = &mut early.stages[3] {
        *hold_off_s = 2.0;
    }
    let mut exponential = early.clone();
    exponential.stages[1] = Stage::Level {
        kind: LevelKind::Exponential,
        window_s: 0.125,
        hop_s: None,
    };
    let mut strikes = upcall(2000.0, Confirm::AtEnd);
    strikes.stages[1] = Stage::Exposure {
        window_s: 0.2,
        hop_s: None,
    };
    let mut decimated = early.clone();
    decimated.rate_hz = 16_000.0;
    let level = Stage::Trigger {
        on_above_db: 60.0,
        off_below_db: 59.5,
        shortest_s: 0.005,
        longest_s: None,
        hold_off_s: 0.01,
        confirm: Confirm::Early,
        bridge_s: 0.0,
        k_of_n: None,
    };
    // Everything at once: decimated, guarded, bridged, k of n, judged.
    let mut every = upcall(16_000.0, Confirm::AtEnd);
    every.stages.insert(0, Stage::Decimate { factor: 4 });
    every.stages[3] = Stage::Background {
        kind: BackgroundKind::Ordered { rank: 0.75 },
        over_s: 20.0,
        guard_s: 0.5,
    };
    if let Stage::Trigger {
        bridge_s, k_of_n, ..
    } = &mut every.stages[4]
    {
        *bridge_s = 0.15;
        *k_of_n = Some(KOfN {
            at_least: 3,
            of_last: 5,
        });
    }
    every.stages.push(Stage::Likely {
        at_least: 0.5,
        constant: -4.0,
        weights: vec![(Feature::Excess, 0.3), (Feature::Length, 1.5)],
    });
    let mut call = vec![0.0; 1800];
    add_sweep(&mut call, 2000.0, 0, 1800, (90.0, 170.0), 1.0);
    let mut matched = upcall(2000.0, Confirm::Early);
    matched.stages[1] = Stage::Matched {
        template: single(&call),
        hop_s: Some(0.05),
    };
    matched.stages[2] = Stage::Background {
        kind: BackgroundKind::Mean,
        over_s: 10.0,
        guard_s: 1.0,
    };
    if let Stage::Trigger { shortest_s, .. } = &mut matched.stages[3] {
        *shortest_s = 0.0;
    }
    let mut energies = clicks();
    energies.stages[1] = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.001,
        hop_s: Some(0.000_25),
    };
    if let Stage::Pulses { steady, .. } = &mut energies.stages[3] {
        *steady = Some(0.2);
    }
    let mut missed = clicks();
    if let Stage::Pulses {
        max_interval_s,
        of_last,
        within_s,
        ..
    } = &mut missed.stages[3]
    {
        (*max_interval_s, *of_last, *within_s) = (0.04, Some(9), None);
    }
    let contour = Stage::Likeness {
        contour: vec![
            ContourPoint {
                after_s: 0.0,
                frequency_hz: 90.0,
            },
            ContourPoint {
                after_s: 0.9,
                frequency_hz: 170.0,
            },
        ],
        width_hz: 20.0,
    };
    let recorded = Stage::LikenessTo {
        template: single(&call),
    };
    let mean = BackgroundKind::Mean;
    let alike = |kind, likeness| upcall_frames(2000.0, kind, vec![likeness, likeness_trigger()]);
    let mut ridges = upcall_frames(16_000.0, BackgroundKind::Median, vec![upcall_ridge()]);
    ridges.stages.insert(0, Stage::Decimate { factor: 2 });
    vec![
        (alike(BackgroundKind::Median, contour), calls(2000.0, 37.0)),
        (alike(mean, recorded), calls(2000.0, 37.0)),
        (ridges, calls(16_000.0, 37.0)),
        (every, calls(16_000.0, 37.0)),
        (matched, calls(2000.0, 37.0)),
        (energies, click_sound()),
        (missed, click_sound()),
        (early, calls(2000.0, 37.0)),
        (exponential, calls(2000.0, 37.0)),
        (strikes, calls(2000.0, 37.0)),
        (decimated, calls(16_000.0, 24.0)),
        (clicks(), click_sound()),
        (
            plain(7, 3, level),
            single(
                &noise(11, 4000)
                    .iter()
                    .map(|v| 1000.0 * v)
                    .collect::<Vec<_>>(),
            ),
        ),
    ]
}

/// Cut lengths cycled through; the gap lies before sample `gap`, and the second stretch is numbered from `second`.
fn run(
    spec: &Spec,
    x: &[f32],
    cuts: &[usize],
    first: u64,
    gap: usize,
    second: u64,
) -> (Vec<Cell>, Vec<Told>) {
    // Copies, as calls are put before: nothing may rest on the room that a vector was made with.
    let mut detector = Detector::new(spec).unwrap().clone();
    let mut front = Front::new(spec).unwrap().clone();
    let (mut cells, mut told) = (Vec::new(), Vec::new());
    let mut turn = cuts.iter().cycle();
    for (part, origin) in [(&x[..gap], first), (&x[gap..], second)] {
        let mut at = 0;
        while at < part.len() {
            let n = (*turn.next().unwrap()).min(part.len() - at);
            let block = Block {
                first: origin + at as u64,
                x: &part[at..at + n],
            };
            detector.push(block, &mut told).unwrap();
            front.push(block, &mut cells).unwrap();
            at += n;
        }
        detector.gap(&mut told);
        front.gap();
    }
    (cells, told)
}

fn same(a: &[Cell], b: &[Cell]) -> bool {
    a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| {
            a == b
                && a.level_db.to_bits() == b.level_db.to_bits()
                && a.background_db.map(f64::to_bits) == b.background_db.map(f64::to_bits)
                && a.value_db.map(f64::to_bits) == b.value_db.map(f64::to_bits)
                && bits(a) == bits(b)
        })
}

fn bits(cell: &Cell) -> Vec<[u64; 3]> {
    let peaks = cell.peaks.iter();
    peaks
        .map(|p| [p.frequency_hz, p.level_db, p.excess_db].map(f64::to_bits))
        .collect()
}

/// Lengths to cut by, at least one of them not zero: with zeros alone no sample would ever be pushed.
fn cuts() -> impl Strategy<Value = Vec<usize>> {
    let some = || prop_oneof![1usize..40, 1usize..9000];
    let others = prop::collection::vec(prop_oneof![Just(0usize), some()], 0..5);
    (others, some(), any::<prop::sample::Index>()).prop_map(|(mut cuts, cut, place)| {
        cuts.insert(place.index(cuts.len() + 1), cut);
        cuts
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_cuts_change_no_bit(
        kind in 0usize..12,
        cuts in cuts(),
        first in prop_oneof![Just(0u64), 0u64..100_000, Just(1u64 << 60)],
        gap_share in prop_oneof![Just(1.0), 0.0..1.0],
        second in 0u64..100_000,
    ) {
        // Made once: the sounds take longer than the detectors.
        static KINDS: std::sync::OnceLock<Vec<(Spec, Vec<f32>)>> = std::sync::OnceLock::new();
        let (spec, x) = &KINDS.get_or_init(kinds)[kind];
        let gap = (gap_share * x.len() as f64) as usize;
        let (cells, told) = run(spec, x, &cuts, first, gap, second);
        let (whole_cells, whole_told) = run(spec, x, &[usize::MAX], first, gap, second);
        prop_assert!(same(&cells, &whole_cells));
        prop_assert_eq!(told, whole_told);
    }
}

/// A copy tells what the detector tells that it was copied from.
#[test]
fn verif_a_copy_is_the_same_detector() {
    for (i, (spec, x)) in kinds().iter().enumerate() {
        let mut first = Detector::new(spec).unwrap();
        let mut copy = first.clone();
        let (mut told, mut of_copy) = (Vec::new(), Vec::new());
        let block = Block { first: 0, x };
        for (detector, told) in [(&mut first, &mut told), (&mut copy, &mut of_copy)] {
            detector.push(block, told).unwrap();
            detector.finish(told);
        }
        assert_eq!(told, of_copy, "kind {i}");
    }
}

#[test]
fn verif_the_cut_sounds_hold_events() {
    for (i, (spec, x)) in kinds().iter().enumerate() {
        let (cells, told) = run(spec, x, &[usize::MAX], 0, x.len(), 0);
        assert!(told.len() >= 3, "kind {i}: {told:?}");
        for pair in cells.windows(2) {
            assert_eq!(pair[0].end_sample, pair[1].begin_sample);
            assert!(pair[0].known_at_sample < pair[1].known_at_sample);
        }
        assert!(
            told.windows(2)
                .all(|pair| pair[0].known_at_sample <= pair[1].known_at_sample)
        );
    }
}

#[test]
fn verif_a_restarted_stretch_is_heard_as_a_new_one() {
    for (spec, x) in kinds() {
        let gap = x.len() / 3;
        let (cells, _) = run(&spec, &x, &[1000], 0, gap, 0);
        let (alone, _) = run(&spec, &x[gap..], &[usize::MAX], 0, x.len() - gap, 0);
        assert!(same(&cells[cells.len() - alone.len()..], &alone));
    }
}

#[test]
fn verif_known_at_is_the_last_sample_needed() {
    // A cell comes with the block that holds its known_at_sample, and not before.
    for (spec, x) in kinds() {
        let mut front = Front::new(&spec).unwrap();
        let mut cells = Vec::new();
        for (i, v) in x.iter().take(9000).enumerate() {
            let before = cells.len();
            front
                .push(
                    Block {
                        first: i as u64,
                        x: std::slice::from_ref(v),
                    },
                    &mut cells,
                )
                .unwrap();
            for cell in &cells[before..] {
                assert_eq!(cell.known_at_sample, i as u64);
            }
        }
        assert!(!cells.is_empty());
    }
}

#[test]
fn verif_a_hole_is_refused_and_the_due_block_still_taken() {
    for (spec, x) in kinds() {
        let mut detector = Detector::new(&spec).unwrap();
        let mut told = Vec::new();
        detector
            .push(
                Block {
                    first: 0,
                    x: &x[..1000],
                },
                &mut told,
            )
            .unwrap();
        let error = detector
            .push(
                Block {
                    first: 1001,
                    x: &x[1001..2000],
                },
                &mut told,
            )
            .unwrap_err();
        assert!(matches!(error, PushError::Stream(_)), "{error}");
        detector
            .push(
                Block {
                    first: 1000,
                    x: &x[1000..],
                },
                &mut told,
            )
            .unwrap();
        detector.finish(&mut told);
        assert_eq!(told, run(&spec, &x, &[usize::MAX], 0, x.len(), 0).1);
    }
}

#[test]
fn verif_what_is_not_a_number_is_refused_until_a_gap() {
    for (spec, x) in kinds() {
        for bad in [f32::NAN, f32::INFINITY] {
            let mut y = x.clone();
            y[5000.min(x.len() / 2)] = bad;
            let mut detector = Detector::new(&spec).unwrap();
            let mut told = Vec::new();
            let error = detector
                .push(Block { first: 0, x: &y }, &mut told)
                .unwrap_err();
            assert!(matches!(error, PushError::NotFinite { .. }), "{error}");
            assert_eq!(
                detector.push(
                    Block {
                        first: y.len() as u64,
                        x: &x
                    },
                    &mut told
                ),
                Err(error)
            );
            detector.gap(&mut told);
            told.clear();
            detector.push(Block { first: 0, x: &x }, &mut told).unwrap();
            detector.finish(&mut told);
            let mut clean = run(&spec, &x, &[usize::MAX], 0, x.len(), 0).1;
            // Numbers go on where the broken stretch left them.
            assert_eq!(told.len(), clean.len());
            clean
                .iter_mut()
                .zip(&told)
                .for_each(|(c, t)| assert_eq!(c.known_at_sample, t.known_at_sample));
        }
    }
}

#[test]
fn verif_indices_near_the_end_of_the_number_range_are_refused() {
    let (spec, x) = &kinds()[0];
    for first in [u64::MAX, u64::MAX - 10, (1 << 62) - 10] {
        let mut detector = Detector::new(spec).unwrap();
        let error = detector
            .push(Block { first, x }, &mut Vec::new())
            .unwrap_err();
        assert!(matches!(error, PushError::Stream(_)), "{error}");
    }
}

#[test]
fn verif_exact_silence_makes_no_background_and_no_event() {
    let spec = upcall(2000.0, Confirm::Early);
    let mut x = vec![0.0_f32; 2000 * 40];
    let call = calls(2000.0, 37.0);
    x[2000 * 36..].copy_from_slice(&call[2000 * 16..2000 * 20]);
    let (cells, told) = run(&spec, &x, &[usize::MAX], 0, x.len(), 0);
    assert!(told.is_empty(), "{told:?}");
    assert_eq!(cells[300].level_db, f64::NEG_INFINITY);
    assert!(cells.iter().all(|cell| cell.background_db.is_none()));
}
