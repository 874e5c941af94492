//! Detectors that cannot be written down are refused with the stage.

use detect::{BackgroundKind, Confirm, LevelKind, Sense, Spec, Stage, WorkingsError};
use firmware::detector_c;

use crate::specs::{background, level, trigger};

fn refused(stages: Vec<Stage>) -> String {
    let spec = Spec {
        rate_hz: 48_000.0,
        stages,
    };
    match detector_c(&spec, "it") {
        Err(WorkingsError::Stage { word }) => word.to_owned(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn verif_the_first_stage_that_cannot_be_written_is_named() {
    let frames = Stage::Spectrogram {
        window_s: 0.1,
        hop_s: None,
    };
    let ridge = Stage::Ridge {
        sense: Sense::Rising,
        above_db: 8.0,
        least_slope_hz_per_s: 10.0,
        most_slope_hz_per_s: 500.0,
        gap_s: 0.2,
        shortest_s: 0.3,
        longest_s: None,
        hold_off_s: 1.0,
    };
    let over = || background(BackgroundKind::Median, 10.0, 0.0);
    assert_eq!(refused(vec![frames, over(), ridge]), "spectrogram");
    let matched = Stage::Matched {
        template: vec![0.5; 400],
        hop_s: None,
    };
    assert_eq!(
        refused(vec![matched, over(), trigger(9.0, Confirm::Early, None)]),
        "matched"
    );
    let likely = Stage::Likely {
        at_least: 0.5,
        constant: 0.0,
        weights: vec![(detect::Feature::Length, 1.0)],
    };
    let stages = vec![
        level(LevelKind::MeanSquare, 0.25),
        trigger(140.0, Confirm::AtEnd, None),
        likely,
    ];
    assert_eq!(refused(stages), "likely");
    let none = Spec {
        rate_hz: 48_000.0,
        stages: Vec::new(),
    };
    assert!(matches!(
        detector_c(&none, "it"),
        Err(WorkingsError::Spec(_))
    ));
}
