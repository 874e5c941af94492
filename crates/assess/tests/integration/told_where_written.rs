//! What a discipline refuses is a mistake of the plan, told where it is written: the plan and the discipline agree on it.

use assess::input::detector_spec;
use plan::{Code, DetectorIx};

use crate::support::{changed, read};

/// The plan does not know the power discipline: both hold the list.
#[test]
fn verif_the_cross_sections_of_the_plan_are_those_with_a_resistance() {
    assert_eq!(
        quantity::CROSS_SECTIONS_MM2,
        power::conductor::LISTED_AREAS_MM2
    );
}

/// The plan does not know the detector: for windows, backgrounds and shortest events of many lengths both say the same.
#[test]
fn verif_a_background_is_too_short_for_the_plan_when_it_is_for_the_detector() {
    let (mut refused, mut taken) = (0, 0);
    for window_s in [0.2, 1.0, 4.0] {
        for shortest_s in [0.1, 0.3, 1.0] {
            for over_s in [0.1, 0.3, 0.55, 0.7, 1.5, 2.1, 2.4, 2.6, 8.0] {
                let text = changed(&[
                    ("window = \"0.2 s\"", &format!("window = \"{window_s} s\"")),
                    ("over = \"10 s\"", &format!("over = \"{over_s} s\"")),
                    (
                        "shortest = \"0.3 s\"",
                        &format!("shortest = \"{shortest_s} s\""),
                    ),
                ]);
                let reading = read(&text);
                let told = reading
                    .mistakes
                    .iter()
                    .any(|m| m.is_error() && m.code == Code::BadStages);
                let line = reading.line.as_ref().unwrap();
                let spec = detector_spec(line, DetectorIx(0), None).unwrap();
                let built = detect::Detector::new(&spec);
                assert_eq!(told, built.is_err(), "{window_s} {shortest_s} {over_s}");
                *(if told { &mut refused } else { &mut taken }) += 1;
            }
        }
    }
    assert!(refused > 20 && taken > 20, "{refused} {taken}");
}

/// Stages are counted as one counts them in the text: the third of three is number 3.
#[test]
fn verif_stages_are_counted_from_one() {
    let reading = read(&changed(&[]));
    let mut spec = detector_spec(reading.line.as_ref().unwrap(), DetectorIx(0), None).unwrap();
    let detect::Stage::Background { over_s, .. } = &mut spec.stages[2] else {
        panic!("{:?}", spec.stages);
    };
    *over_s = 0.1;
    let error = detect::Detector::new(&spec).unwrap_err().to_string();
    assert!(
        error.starts_with("stage 3: background over 0.1 s"),
        "{error}"
    );
}
