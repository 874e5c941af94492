//! The evidence that `tune` leaves, and what `check` makes of it.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde_json::Value;

use super::{SENSOR, json, labelled, plan};
use crate::shapes::compare;
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
    // Clopper-Pearson of 3 of 5 begins at 14.7 %; Garwood of 2 in 10 s ends at 0.72 a second, and so few days do not show that each came by itself.
    assert_eq!(words(), ["met", "unknown"]);
    // Ten seconds across midnight are two days, five seconds each but for the first window: none of them has an hour.
    let why = figures(plan)[1].1.clone();
    assert!(
        why.contains("0 days of which 60 min or more was judged are too few to draw days whole"),
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
    assert_eq!(words(), ["met", "unknown"]);
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
    assert_eq!(words(), ["met", "unknown"]);
}

/// The record that is left beside a plan, with its folder.
fn record_of(text: &str, json: bool) -> (Value, Value) {
    let steps = labelled();
    let plan = steps.folder.path().join("plan.toml");
    fs::write(&plan, text).unwrap();
    let output = soundline()
        .arg("tune")
        .arg(&plan)
        .arg(&steps.wav)
        .args(["--as", SENSOR, "--detector", "orca"])
        .args(["--start", "2027-03-15T23:59:55Z", "--labels"])
        .arg(&steps.labels)
        .args(["--format", if json { "json" } else { "text" }])
        .output()
        .unwrap();
    expect_status(&output, 0);
    let told = match json {
        true => self::json(&output),
        false => Value::Null,
    };
    let mut shelf = fs::read_dir(steps.folder.path().join("plan.evidence")).unwrap();
    let left = fs::read_to_string(shelf.next().unwrap().unwrap().path()).unwrap();
    (serde_json::from_str(&left).unwrap(), told)
}

/// The record keeps the whole curve of the document; and what it says of another threshold is what a detector with that threshold, and its other
/// level moved as far, is found to do when it is held against the same recording.
#[test]
fn verif_the_curve_of_a_record_is_that_of_detectors_of_their_own() {
    let text = fs::read_to_string(plan()).unwrap() + FIGURES;
    let (record, told) = record_of(&text, true);
    assert_eq!(record["method"], "tune/4");
    let points = record["curve"]["points"].as_array().unwrap();
    let curve = told["curve"].as_array().unwrap();
    assert_eq!(points.len(), curve.len());
    for (kept, told) in points.iter().zip(curve) {
        for key in ["threshold_db", "hits", "false_alarms"] {
            assert_eq!(kept[key], told[key], "{key}");
        }
        let by_day = kept["by_day"].as_array().unwrap();
        let of_days: u64 = by_day.iter().map(|n| n.as_u64().unwrap()).sum();
        assert_eq!(kept["false_alarms"], of_days);
    }
    let kinds: BTreeSet<String> = points
        .iter()
        .map(|p| format!("{} {}", p["hits"], p["false_alarms"]))
        .collect();
    assert!(kinds.len() > 2, "{kinds:?}");
    let mut document = record.clone();
    document["curve"]["points"]
        .as_array_mut()
        .unwrap()
        .truncate(2);
    compare("evidence-1-tune.json", &document, Path::new("FOLDER"));
    for db in [130, 141, 150] {
        let levels = "on_above = \"138 dB re 1 uPa\", off_below = \"135 dB re 1 uPa\"";
        assert!(text.contains(levels));
        let moved = format!(
            "on_above = \"{db} dB re 1 uPa\", off_below = \"{} dB re 1 uPa\"",
            db - 3
        );
        let (own, _) = record_of(&text.replace(levels, &moved), false);
        let point = points
            .iter()
            .find(|p| p["threshold_db"] == f64::from(db))
            .unwrap();
        for key in ["hits", "false_alarms"] {
            assert_eq!(own[key], point[key], "{key} at {db} dB");
        }
        assert_eq!(
            own["curve"]["steady_digest"],
            record["curve"]["steady_digest"]
        );
        assert_ne!(own["chain_digest"], record["chain_digest"]);
    }
}
