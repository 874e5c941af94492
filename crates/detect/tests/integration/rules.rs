//! Bridging, k of n, steady intervals and the judgement, on cells written by hand.
//!
//! The expected notices are read off the rules in `docs/method/detect.md`.

use detect::{
    BackgroundKind, Confirm, Detector, Feature, KOfN, Logic, Notice, Spec, SpecError, Stage,
};

use crate::logic::{CELL, cells, level, text, told, trigger};
use crate::support::{clicks, upcall};

fn with(confirm: Confirm, bridged_s: f64, of: Option<(u32, u32)>) -> Spec {
    let mut spec = trigger(confirm);
    if let Stage::Trigger {
        bridge_s, k_of_n, ..
    } = &mut spec.stages[1]
    {
        *bridge_s = bridged_s;
        *k_of_n = of.map(|(at_least, of_last)| KOfN { at_least, of_last });
    }
    spec
}

fn check(spec: &Spec, levels_db: &[f64], expected: &[&str]) {
    assert_eq!(
        text(&told(spec, &cells(levels_db))),
        expected,
        "{levels_db:?}"
    );
}

#[test]
fn verif_a_dip_shorter_than_the_bridge_does_not_end_a_sound() {
    let bridged = with(Confirm::AtEnd, 0.15, None);
    let levels = [0.0, 10.0, 4.0, 10.0, 4.0, 4.0, 0.0];
    check(
        &bridged,
        &levels,
        &["onset 0 @1", "confirmed 0 @5", "ended 0 1..4 @5"],
    );
    // A dip as long as the bridge ends it; without a bridge the first quiet cell does.
    for spec in [with(Confirm::AtEnd, 0.1, None), trigger(Confirm::AtEnd)] {
        check(
            &spec,
            &levels,
            &[
                "onset 0 @1",
                "dropped 0 TooShort @2",
                "onset 1 @3",
                "dropped 1 TooShort @4",
            ],
        );
    }
    // Its cells count for the mean once it is over, not otherwise.
    let event = told(&bridged, &cells(&levels))
        .into_iter()
        .find_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .unwrap();
    let mean = 10.0 * ((10.0 + 10.0_f64.powf(0.4) + 10.0) / 3.0).log10();
    assert!((event.mean_level_db - mean).abs() < 1e-12);
    assert_eq!(event.peak_sample, CELL + CELL / 2);
}

#[test]
fn verif_what_was_too_long_is_over_after_a_bridge_only() {
    let spec = with(Confirm::Early, 0.15, None);
    let mut levels = vec![10.0; 7];
    levels.extend([4.0, 10.0, 4.0, 4.0]);
    levels.extend([10.0; 3]);
    // The hold-off of eight cells runs from cell 9; the second sound is over before.
    check(
        &spec,
        &levels,
        &["onset 0 @0", "confirmed 0 @2", "dropped 0 TooLong @6"],
    );
}

#[test]
fn verif_k_of_n_begins_with_the_first_of_the_k() {
    let spec = with(Confirm::Early, 0.0, Some((3, 5)));
    check(
        &spec,
        &[0.0, 10.0, 9.0, 10.0, 0.0, 10.0, 5.0, 0.0],
        &["onset 0 @5", "confirmed 0 @5", "ended 0 1..7 @7"],
    );
    // Three, but not among five.
    check(&spec, &[10.0, 0.0, 10.0, 0.0, 0.0, 10.0, 0.0], &[]);
    // A cell that began one sound does not begin another.
    let two = with(Confirm::Early, 0.0, Some((2, 4)));
    check(
        &two,
        &[10.0, 10.0, 10.0, 0.0, 10.0, 0.0],
        &["onset 0 @1", "confirmed 0 @2", "ended 0 0..3 @3"],
    );
    let mut logic = Logic::new(&spec).unwrap();
    let mut out = Vec::new();
    for cell in cells(&[0.0, 10.0, 0.0]) {
        logic.push(&cell, &mut out);
    }
    assert_eq!(logic.undecided_from(), Some(CELL));
    for (k, n) in [(0, 3), (4, 3), (1, 2000)] {
        assert!(matches!(
            Logic::new(&with(Confirm::Early, 0.0, Some((k, n)))),
            Err(SpecError::CellCount { .. })
        ));
    }
}

/// Pulses of one cell at the given cells, 20 dB over a background of 0 dB.
fn train(at: &[usize], steady: Option<f64>, at_least: u32, likely: Option<Stage>) -> Vec<String> {
    let mut levels = vec![0.0; 90];
    for &i in at {
        levels[i] = 20.0;
    }
    let mut cells = cells(&levels);
    for cell in &mut cells {
        cell.background_db = Some(0.0);
    }
    let mut stages = vec![
        level(),
        Stage::Background {
            kind: BackgroundKind::Median,
            over_s: 1.0,
            guard_s: 0.0,
        },
        Stage::Pulses {
            rise_db: 10.0,
            prominence_db: 10.0,
            min_interval_s: 0.15,
            max_interval_s: 1.5,
            at_least,
            of_last: None,
            within_s: None,
            steady,
            hold_off_s: 4.0,
        },
    ];
    stages.extend(likely);
    let spec = Spec {
        rate_hz: 1000.0,
        stages,
    };
    text(&told(&spec, &cells))
}

#[test]
fn verif_steady_intervals_confirm_and_others_do_not() {
    // Intervals 5, 5, 5.
    let even = [10, 15, 20, 25];
    let last = "ended 0 10..26 @41";
    assert_eq!(
        train(&even, Some(0.0), 4, None),
        ["onset 0 @11", "confirmed 0 @26", last]
    );
    // Intervals 5, 6, 5: 20 % and 17 % of the one before.
    let uneven = [10, 15, 21, 26];
    let dropped = ["onset 0 @11", "dropped 0 TooFewPulses @42"];
    assert_eq!(train(&uneven, Some(0.19), 4, None), dropped);
    assert_eq!(
        train(&uneven, Some(0.2), 4, None)[1],
        "confirmed 0 @27".to_owned()
    );
    assert_eq!(train(&uneven, None, 4, None)[1], "confirmed 0 @27");
    // An odd pulse among them: confirmed by the third even pair after it.
    let odd = [10, 15, 17, 20, 25, 30, 35];
    assert_eq!(train(&odd, Some(0.1), 4, None)[1], "confirmed 0 @36");
}

#[test]
fn verif_intervals_of_a_train_are_their_mean_and_spread() {
    let mut spec = clicks();
    spec.rate_hz = 1000.0;
    spec.stages = vec![
        level(),
        Stage::Background {
            kind: BackgroundKind::Mean,
            over_s: 1.0,
            guard_s: 0.0,
        },
        Stage::Pulses {
            rise_db: 10.0,
            prominence_db: 10.0,
            min_interval_s: 0.0,
            max_interval_s: 1.5,
            at_least: 2,
            of_last: None,
            within_s: None,
            steady: None,
            hold_off_s: 0.0,
        },
    ];
    let mut levels = vec![0.0; 60];
    for i in [5, 9, 15, 17] {
        levels[i] = 20.0;
    }
    levels[15] = 21.0;
    let mut cells = cells(&levels);
    for cell in &mut cells {
        cell.background_db = Some(0.0);
    }
    let event = told(&spec, &cells)
        .into_iter()
        .find_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .unwrap();
    let intervals = event.intervals.unwrap();
    // 0.4 s, 0.6 s and 0.2 s: mean 0.4 s, variance (0 + 0.04 + 0.04)/3.
    assert!((intervals.mean_s - 0.4).abs() < 1e-12);
    assert!((intervals.spread - (0.08_f64 / 3.0).sqrt() / 0.4).abs() < 1e-12);
    assert_eq!(event.peak_sample, 15 * CELL + CELL / 2);
    let features = event.features(1000.0);
    assert_eq!(features.get(Feature::Pulses), Some(4.0));
    assert_eq!(features.get(Feature::Interval), Some(intervals.mean_s));
    assert_eq!(features.get(Feature::Slope), None);
    assert!((features.get(Feature::Length).unwrap() - 1.3).abs() < 1e-12);
    // Middle of the peak's cell: 10.5 of 13 cells.
    assert!((features.get(Feature::TimeOfPeak).unwrap() - 10.5 / 13.0).abs() < 1e-12);
    assert_eq!(features.get(Feature::Excess), Some(21.0));
}

fn likely(at_least: f64, constant: f64, weights: &[(Feature, f64)]) -> Stage {
    Stage::Likely {
        at_least,
        constant,
        weights: weights.to_vec(),
    }
}

#[test]
fn verif_judgement_is_the_logistic_of_the_features() {
    let levels = [0.0, 12.0, 14.0, 13.0, 0.0];
    let (length_s, excess_db) = (0.3, 4.0);
    let weights = [(Feature::Excess, 0.7), (Feature::Length, -2.0)];
    let z: f64 = 0.4 + 0.7 * excess_db - 2.0 * length_s;
    let p = 1.0 / (1.0 + (-z).exp());
    for (least, passes) in [(p - 1e-9, true), (p + 1e-9, false)] {
        let mut spec = trigger(Confirm::AtEnd);
        spec.stages.push(likely(least, 0.4, &weights));
        let found = text(&told(&spec, &cells(&levels)));
        if passes {
            assert_eq!(found, ["onset 0 @1", "confirmed 0 @4", "ended 0 1..4 @4"]);
        } else {
            assert_eq!(found, ["onset 0 @1", "dropped 0 Unlikely @4"]);
        }
    }
}

#[test]
fn verif_what_is_unlikely_starts_no_hold_off_and_waits_for_its_end() {
    // Long ones pass only: the first train of four is refused, the second of five, which begins within the hold-off that the
    // first would have had, is taken; both are told at their ends.
    let at = [10, 15, 20, 25, 45, 50, 55, 60, 64];
    let stage = likely(0.5, -4.5, &[(Feature::Pulses, 1.0)]);
    assert_eq!(
        train(&at, None, 4, Some(stage)),
        [
            "onset 0 @11",
            "dropped 0 Unlikely @41",
            "onset 1 @46",
            "confirmed 1 @80",
            "ended 1 45..65 @80",
        ]
    );
}

#[test]
fn verif_a_judgement_that_cannot_be_is_refused() {
    let refused = |confirm, stage: Stage| {
        let mut spec = upcall(2000.0, confirm);
        spec.stages.push(stage);
        Logic::new(&spec).unwrap_err()
    };
    assert!(matches!(
        refused(Confirm::Early, likely(0.5, 0.0, &[])),
        SpecError::JudgedTooEarly { stage: 4 }
    ));
    let at_end = |stage| refused(Confirm::AtEnd, stage);
    for least in [0.0, 1.0, f64::NAN] {
        assert!(matches!(
            at_end(likely(least, 0.0, &[])),
            SpecError::Probability { .. }
        ));
    }
    assert!(matches!(
        at_end(likely(0.5, f64::NAN, &[])),
        SpecError::NotFinite { .. }
    ));
    assert!(matches!(
        at_end(likely(0.5, 0.0, &[(Feature::Slope, 1.0)])),
        SpecError::FeatureUntold {
            feature: "slope_hz_per_s",
            ..
        }
    ));
    let twice = [(Feature::Excess, 1.0), (Feature::Excess, 1.0)];
    assert!(matches!(
        at_end(likely(0.5, 0.0, &twice)),
        SpecError::FeatureTwice { .. }
    ));
}

#[test]
fn verif_threshold_moves_with_its_hysteresis() {
    let spec = upcall(2000.0, Confirm::AtEnd);
    assert_eq!(spec.threshold_db(), Some(9.0));
    let moved = spec.with_threshold_db(12.5).unwrap();
    assert_eq!(moved.threshold_db(), Some(12.5));
    assert!(matches!(
        moved.stages[3],
        Stage::Trigger {
            off_below_db: 9.5,
            shortest_s: 0.4,
            ..
        }
    ));
    let moved = clicks().with_threshold_db(7.0).unwrap();
    assert!(matches!(
        moved.stages[3],
        Stage::Pulses {
            rise_db: 7.0,
            prominence_db: 7.0,
            ..
        }
    ));
    let none = Spec {
        rate_hz: 1000.0,
        stages: vec![level()],
    };
    assert_eq!(
        (none.threshold_db(), none.with_threshold_db(1.0)),
        (None, None)
    );
}

#[test]
fn verif_costs_are_told_stage_by_stage_and_add_up() {
    let mut spec = upcall(16_000.0, Confirm::AtEnd);
    spec.stages.insert(0, Stage::Decimate { factor: 4 });
    let detector = Detector::new(&spec).unwrap();
    let costs = detector.costs();
    let told: Vec<_> = costs.iter().map(|c| (c.stage, c.word)).collect();
    let words = ["decimate", "band", "level", "background", "trigger"];
    let expected: Vec<_> = words.iter().enumerate().map(|(i, w)| (i, *w)).collect();
    assert_eq!(told, expected);
    assert!(
        costs
            .iter()
            .all(|c| c.operations_per_s.unwrap() > 0.0 && c.state_bytes > 0)
    );
    let cost = detector.cost();
    assert_eq!(
        cost.operations_per_s,
        costs
            .iter()
            .map(|c| c.operations_per_s)
            .sum::<Option<f64>>()
    );
    assert_eq!(
        cost.state_bytes,
        costs.iter().map(|c| c.state_bytes).sum::<usize>()
    );
}

#[test]
fn verif_a_train_that_the_stretch_cuts_off_is_judged_by_what_was_heard() {
    let mut spec = clicks();
    spec.rate_hz = 1000.0;
    spec.stages = vec![
        level(),
        Stage::Background {
            kind: BackgroundKind::Median,
            over_s: 1.0,
            guard_s: 0.0,
        },
        Stage::Pulses {
            rise_db: 10.0,
            prominence_db: 10.0,
            min_interval_s: 0.0,
            max_interval_s: 1.5,
            at_least: 2,
            of_last: None,
            within_s: None,
            steady: None,
            hold_off_s: 0.0,
        },
        likely(0.5, -2.5, &[(Feature::Pulses, 1.0)]),
    ];
    let mut levels = vec![0.0; 20];
    for i in [5, 9, 15] {
        levels[i] = 20.0;
    }
    let mut cells = cells(&levels);
    for cell in &mut cells {
        cell.background_db = Some(0.0);
    }
    for (pulses, last) in [(3, "ended 0 5..16 @20"), (2, "dropped 0 Unlikely @14")] {
        let heard = &cells[..if pulses == 3 { 20 } else { 14 }];
        let mut logic = Logic::new(&spec).unwrap();
        let mut out = Vec::new();
        for cell in heard {
            logic.push(cell, &mut out);
        }
        assert_eq!(text(&out), ["onset 0 @6"]);
        logic.gap(heard.len() as u64 * CELL + 150, &mut out);
        assert_eq!(text(&out).last().unwrap(), last);
    }
}
