//! What is required of a detector's figures: the small good plan with a requirement that cannot be, and what is said of it.

use crate::support::{Files, SMALL, bad, changed};

const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";

bad! {
    recall_without_labels: VOLTS => "that = \"recall\"\nof = \"detector.call\"\nat_least = \"80 %\"";
    recall_of_a_module: VOLTS => "that = \"recall\"\nof = \"module.upper\"\nat_least = \"80 %\"\nlabels = \"labels.csv\"";
    recall_labels_outside_the_folder: VOLTS => "that = \"recall\"\nof = \"detector.call\"\nat_least = \"80 %\"\nlabels = \"../labels.csv\"";
    recall_of_more_than_all: VOLTS => "that = \"recall\"\nof = \"detector.call\"\nat_least = \"120 %\"\nlabels = \"labels.csv\"";
    false_alarms_as_a_share: VOLTS => "that = \"false-alarms\"\nof = \"detector.call\"\nat_most = \"5 %\"\nlabels = \"labels.csv\"";
    false_alarms_without_a_detector: VOLTS => "that = \"false-alarms\"\nat_most = \"1 per d\"\nlabels = \"labels.csv\"";
}

#[test]
fn verif_figures_of_a_detector_resolve_to_what_they_say() {
    let text = changed(
        SMALL,
        VOLTS,
        "that = \"recall\"\nof = \"detector.call\"\nat_least = \"80 %\"\nlabels = \"labels/day.csv\"\nconfidence = \"90 %\"\n[requirement.quiet]\nthat = \"false-alarms\"\nof = \"detector.call\"\nat_most = \"2 per d\"\nlabels = \"labels/day.csv\"",
    );
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let mut found = 0;
    for r in &line.requirements {
        match &r.that {
            plan::That::Recall {
                of,
                at_least,
                labels,
                confidence,
            } => {
                found += 1;
                assert_eq!(*of, plan::DetectorIx(0));
                assert_eq!((at_least.si, labels.as_str()), (0.8, "labels/day.csv"));
                assert_eq!(confidence.unwrap().si, 0.9);
            }
            plan::That::FalseAlarms {
                at_most,
                confidence,
                ..
            } => {
                found += 1;
                assert_eq!((at_most.count, at_most.per_s), (2.0, 86_400.0));
                assert!(confidence.is_none());
            }
            _ => {}
        }
    }
    assert_eq!(found, 2);
}
