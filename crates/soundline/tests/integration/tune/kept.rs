//! The evidence that `tune` leaves, and what `check` makes of it.

use std::fs;

use serde_json::Value;

use super::{SENSOR, json, labelled, plan};
use crate::support::{expect_status, soundline, stdout};

const FIGURES: &str = r#"
[requirement.finds]
that = "recall"
of = "detector.orca"
at_least = "10 %"
labels = "labels.csv"

[requirement.quiet]
that = "false-alarms"
of = "detector.orca"
at_most = "1 per s"
labels = "labels.csv"
"#;

/// What `check` says of the figures: words and why.
fn figures(plan: &str) -> Vec<(String, String)> {
    let checked = soundline()
        .args(["check", plan, "--format", "json"])
        .output()
        .unwrap();
    let told = json(&checked);
    let all = told["requirements"].as_array().unwrap().iter();
    all.filter(|r| ["finds", "quiet"].contains(&r["id"].as_str().unwrap()))
        .map(|r| {
            let verdict = &r["verdicts"][0];
            let text = |v: &Value| v.as_str().unwrap().to_owned();
            (text(&verdict["ruling"]), text(&verdict["why"]))
        })
        .collect()
}

#[test]
fn verif_evidence_counts_while_detector_labels_and_recordings_are_the_same() {
    let steps = labelled();
    let plan = steps.folder.path().join("plan.toml");
    let text = fs::read_to_string(self::plan()).unwrap() + FIGURES;
    fs::write(&plan, &text).unwrap();
    let plan = plan.to_str().unwrap();
    let tune = || {
        let output = soundline()
            .args(["tune", plan])
            .arg(&steps.wav)
            .args(["--as", SENSOR, "--detector", "orca"])
            .args(["--start", "2027-03-15T23:59:55Z", "--labels"])
            .arg(&steps.labels)
            .output()
            .unwrap();
        expect_status(&output, 0);
        stdout(&output)
    };
    let words = || {
        figures(plan)
            .into_iter()
            .map(|(word, _)| word)
            .collect::<Vec<_>>()
    };
    assert_eq!(words(), ["unknown", "unknown"]);
    assert!(tune().contains("evidence: "));
    // Clopper-Pearson of 3 of 5 begins at 14.7 %, Garwood of 2 in 10 s ends at 0.72 a second.
    assert_eq!(words(), ["met", "met"]);
    // Ten seconds across midnight are two days, five seconds each but for the first window.
    let why = figures(plan)[1].1.clone();
    assert!(
        why.contains("2 days are too few to draw days whole"),
        "{why}"
    );
    // The same again is the same record.
    tune();
    assert_eq!(
        fs::read_dir(steps.folder.path().join("plan.evidence"))
            .unwrap()
            .count(),
        1
    );

    let why = |change: &dyn Fn()| {
        change();
        figures(plan)[0].clone()
    };
    let (word, said) = why(&|| fs::write(plan, text.replace("138 dB", "139 dB")).unwrap());
    assert_eq!(word, "unknown");
    assert!(
        said.contains("the detector or its sensor has changed"),
        "{said}"
    );
    // Another detector of the same plan is none of its business.
    fs::write(plan, text.replace("rise = \"12 dB\"", "rise = \"13 dB\"")).unwrap();
    assert_eq!(words(), ["met", "met"]);
    let labels = fs::read_to_string(&steps.labels).unwrap();
    let (word, said) = why(&|| fs::write(&steps.labels, format!("{labels}\n")).unwrap());
    assert_eq!(word, "unknown");
    assert!(said.contains("the labels have changed"), "{said}");
    fs::write(&steps.labels, &labels).unwrap();
    let mut sound = fs::read(&steps.wav).unwrap();
    let last = sound.len() - 1;
    sound[last] ^= 1;
    let (word, said) = why(&|| fs::write(&steps.wav, &sound).unwrap());
    assert_eq!(word, "unknown");
    assert!(said.contains("steps.wav is not the recording"), "{said}");
    // A record whose recordings lie elsewhere is taken at its word.
    fs::remove_file(&steps.wav).unwrap();
    assert_eq!(words(), ["met", "met"]);
}
