//! What cannot be built is refused, with the reason.

use detect::{BackgroundKind, Confirm, Detector, Front, LevelKind, Logic, Spec, SpecError, Stage};

use crate::support::{clicks, upcall};

fn refused(change: impl FnOnce(&mut Spec)) -> SpecError {
    let mut spec = upcall(2000.0, Confirm::Early);
    change(&mut spec);
    let error = Detector::new(&spec).unwrap_err();
    assert!(!error.to_string().is_empty());
    error
}

fn trigger(spec: &mut Spec, on: f64, off: f64, shortest: f64, longest: Option<f64>) {
    spec.stages[3] = Stage::Trigger {
        on_above_db: on,
        off_below_db: off,
        shortest_s: shortest,
        longest_s: longest,
        hold_off_s: 10.0,
        confirm: Confirm::Early,
        bridge_s: 0.0,
        k_of_n: None,
    };
}

#[test]
fn verif_order_of_stages() {
    assert!(matches!(refused(|s| s.stages.clear()), SpecError::Empty));
    assert!(matches!(
        refused(|s| s.stages.truncate(3)),
        SpecError::NoDecision
    ));
    for (a, b) in [(0, 1), (1, 2), (2, 3)] {
        let error = refused(|s| s.stages.swap(a, b));
        assert!(matches!(error, SpecError::Misplaced { .. }), "{error}");
    }
    let twice = |i: usize| {
        refused(|s| {
            let stage = s.stages[i].clone();
            s.stages.insert(i, stage);
        })
    };
    for i in 0..4 {
        assert!(matches!(twice(i), SpecError::Misplaced { stage, .. } if stage == i + 1));
    }
    let error = refused(|s| {
        s.stages.remove(1);
    });
    assert!(matches!(
        error,
        SpecError::Misplaced {
            stage: 1,
            found: "background",
            ..
        }
    ));
    let mut spec = clicks();
    spec.stages.remove(2);
    assert!(matches!(
        Logic::new(&spec),
        Err(SpecError::Misplaced {
            stage: 2,
            found: "pulses",
            ..
        })
    ));
}

#[test]
fn verif_numbers_of_a_band() {
    let band = |low_hz, high_hz, order| {
        refused(|s| {
            s.stages[0] = Stage::Band {
                low_hz,
                high_hz,
                order,
            }
        })
    };
    assert!(matches!(
        band(60.0, 1000.0, 4),
        SpecError::BandAboveNyquist {
            stage: 0,
            nyquist_hz: 1000.0,
            ..
        }
    ));
    assert!(matches!(band(260.0, 60.0, 4), SpecError::BandEmpty { .. }));
    assert!(matches!(
        band(0.0, 60.0, 4),
        SpecError::NotPositive { name: "low", .. }
    ));
    assert!(matches!(
        band(60.0, f64::NAN, 4),
        SpecError::NotPositive { name: "high", .. }
    ));
    assert!(matches!(band(60.0, 260.0, 0), SpecError::BandOrder { .. }));
    assert!(matches!(band(60.0, 260.0, 9), SpecError::BandOrder { .. }));
    for rate_hz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            refused(|s| s.rate_hz = rate_hz),
            SpecError::Rate { .. }
        ));
    }
}

#[test]
fn verif_numbers_of_a_level_and_a_background() {
    let level = |window_s, hop_s| {
        refused(|s| {
            s.stages[1] = Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s,
                hop_s,
            }
        })
    };
    assert!(matches!(
        level(0.0, None),
        SpecError::NotPositive { name: "window", .. }
    ));
    assert!(matches!(
        level(f64::INFINITY, None),
        SpecError::TimeTooLong { name: "window", .. }
    ));
    assert!(matches!(
        level(1e-4, None),
        SpecError::WindowTooShort { .. }
    ));
    assert!(matches!(
        level(0.25, Some(0.3)),
        SpecError::HopTooLong { .. }
    ));
    assert!(matches!(
        level(0.25, Some(1e-4)),
        SpecError::HopTooShort { .. }
    ));
    assert!(matches!(
        level(0.25, Some(-0.1)),
        SpecError::NotPositive { name: "hop", .. }
    ));
    let over = |over_s| {
        refused(|s| {
            s.stages[2] = Stage::Background {
                kind: BackgroundKind::Median,
                over_s,
                guard_s: 0.0,
            }
        })
    };
    assert!(matches!(over(0.1), SpecError::BackgroundTooShort { .. }));
    // Long enough for three cells, but a call of the shortest length would fill it by half.
    assert!(matches!(
        over(0.7),
        SpecError::BackgroundTooShort {
            stage: 2,
            least_s: 0.8,
            ..
        }
    ));
    assert!(matches!(
        over(3e7),
        SpecError::BackgroundTooLong { stage: 2, .. }
    ));
    assert!(matches!(
        over(-1.0),
        SpecError::NotPositive { name: "over", .. }
    ));
}

#[test]
fn verif_numbers_of_a_trigger() {
    assert!(matches!(
        refused(|s| trigger(s, 6.0, 9.0, 0.4, None)),
        SpecError::OffAboveOn { stage: 3, .. }
    ));
    assert!(matches!(
        refused(|s| trigger(s, f64::NAN, 9.0, 0.4, None)),
        SpecError::NotFinite { .. }
    ));
    assert!(matches!(
        refused(|s| trigger(s, 9.0, 6.0, -0.4, None)),
        SpecError::Negative {
            name: "shortest",
            ..
        }
    ));
    assert!(matches!(
        refused(|s| trigger(s, 9.0, 6.0, 0.4, Some(0.3))),
        SpecError::LongestBelowShortest { .. }
    ));
    let mut logic = Logic::new(&upcall(2000.0, Confirm::Early)).unwrap();
    assert!(logic.set_threshold(12.0, 9.0).is_ok());
    assert!(matches!(
        logic.set_threshold(6.0, 9.0),
        Err(SpecError::OffAboveOn { stage: 3, .. })
    ));
    assert!(matches!(
        Logic::new(&clicks()).unwrap().set_threshold(9.0, 6.0),
        Err(SpecError::NoTrigger)
    ));
}

#[test]
fn verif_numbers_of_pulses() {
    let refused = |min_interval_s, at_least, within_s, prominence_db| {
        let mut spec = clicks();
        spec.stages[3] = Stage::Pulses {
            rise_db: 10.0,
            prominence_db,
            min_interval_s,
            max_interval_s: 0.1,
            at_least,
            of_last: None,
            within_s,
            hold_off_s: 0.0,
            steady: None,
        };
        Front::new(&spec).unwrap_err()
    };
    assert!(matches!(
        refused(0.1, 5, None, 10.0),
        SpecError::IntervalsCrossed { .. }
    ));
    assert!(matches!(
        refused(0.01, 1, None, 10.0),
        SpecError::PulseCount { .. }
    ));
    assert!(matches!(
        refused(0.01, 1_000_000, None, 10.0),
        SpecError::PulseCount { .. }
    ));
    assert!(matches!(
        refused(0.01, 5, Some(0.039), 10.0),
        SpecError::WithinTooShort { .. }
    ));
    assert!(matches!(
        refused(0.01, 5, None, 0.0),
        SpecError::NotPositive {
            name: "prominence",
            ..
        }
    ));
}
