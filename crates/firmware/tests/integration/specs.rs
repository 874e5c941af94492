//! Detectors of every kind that can be written down.

use detect::{BackgroundKind, Confirm, KOfN, LevelKind, Spec, Stage};

pub(crate) fn band(low_hz: f64, high_hz: f64) -> Stage {
    Stage::Band {
        low_hz,
        high_hz,
        order: 4,
    }
}

pub(crate) fn level(kind: LevelKind, window_s: f64) -> Stage {
    Stage::Level {
        kind,
        window_s,
        hop_s: None,
    }
}

pub(crate) fn background(kind: BackgroundKind, over_s: f64, guard_s: f64) -> Stage {
    Stage::Background {
        kind,
        over_s,
        guard_s,
    }
}

pub(crate) fn trigger(on_above_db: f64, confirm: Confirm, k_of_n: Option<KOfN>) -> Stage {
    Stage::Trigger {
        on_above_db,
        off_below_db: on_above_db - 3.0,
        shortest_s: 0.3,
        longest_s: Some(4.0),
        bridge_s: 0.2,
        k_of_n,
        hold_off_s: 2.0,
        confirm,
    }
}

pub(crate) fn pulses(steady: Option<f64>) -> Stage {
    Stage::Pulses {
        rise_db: 8.0,
        prominence_db: 5.0,
        min_interval_s: 0.1,
        max_interval_s: 0.9,
        at_least: 4,
        of_last: None,
        within_s: Some(4.0),
        steady,
        hold_off_s: 1.0,
    }
}

/// Name, and detector: each measure, each background, each way to decide.
pub(crate) fn all() -> Vec<(&'static str, Spec)> {
    let k_of_n = Some(KOfN {
        at_least: 3,
        of_last: 5,
    });
    let spec = |rate_hz: f64, stages: Vec<Stage>| Spec { rate_hz, stages };
    vec![
        (
            "call",
            spec(
                48_000.0,
                vec![
                    band(60.0, 260.0),
                    level(LevelKind::MeanSquare, 0.25),
                    background(BackgroundKind::Median, 10.0, 0.0),
                    trigger(9.0, Confirm::Early, None),
                ],
            ),
        ),
        (
            "loud",
            spec(
                24_000.0,
                vec![
                    level(LevelKind::MeanSquare, 0.1),
                    trigger(140.0, Confirm::AtEnd, k_of_n),
                ],
            ),
        ),
        (
            "slow",
            spec(
                8_000.0,
                vec![
                    band(100.0, 1_000.0),
                    level(LevelKind::Exponential, 0.125),
                    background(BackgroundKind::Ordered { rank: 0.75 }, 6.0, 0.5),
                    trigger(10.0, Confirm::AtEnd, None),
                ],
            ),
        ),
        (
            "strike",
            spec(
                32_000.0,
                vec![
                    Stage::Decimate { factor: 4 },
                    Stage::Exposure {
                        window_s: 0.3,
                        hop_s: Some(0.07),
                    },
                    trigger(150.0, Confirm::Early, None),
                ],
            ),
        ),
        (
            "clicks",
            spec(
                96_000.0,
                vec![
                    band(5_000.0, 30_000.0),
                    level(LevelKind::TeagerKaiser, 0.02),
                    background(BackgroundKind::Mean, 2.0, 0.1),
                    pulses(None),
                ],
            ),
        ),
        (
            "train",
            spec(
                48_000.0,
                vec![
                    Stage::Decimate { factor: 2 },
                    band(200.0, 2_000.0),
                    level(LevelKind::MeanSquare, 0.05),
                    background(BackgroundKind::Median, 5.0, 0.3),
                    pulses(Some(0.3)),
                ],
            ),
        ),
    ]
}
