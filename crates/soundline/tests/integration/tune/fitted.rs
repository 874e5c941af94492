//! A judgement of events that is fitted to labels.

use std::fs;

use serde_json::Value;

use super::{RATE_HZ, SENSOR, Steps, json, labelled, plan, tune};
use crate::files::float_wav;
use crate::support::{expect_status, soundline};

/// A tone of 0.3 s in every second, and one of 0.1 s between: only the long ones are labelled. The judgement learns the length, and the
/// stage that is printed does in the plan what it promised.
#[test]
fn verif_a_fitted_judgement_can_be_pasted_into_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("two.wav");
    let seconds = 40;
    let sample = |i: u32| {
        let t_s = f64::from(i) / f64::from(RATE_HZ);
        let into_s = t_s.fract();
        let loud = (0.1..0.4).contains(&into_s) || (0.7..0.8).contains(&into_s);
        let amplitude = if loud { 0.3 } else { 1e-6 };
        (amplitude * (std::f64::consts::TAU * 1000.0 * t_s).sin()) as f32
    };
    float_wav(&wav, (0..seconds * RATE_HZ).map(sample));
    let labels = folder.path().join("labels.csv");
    let rows: String = (0..seconds)
        .map(|s| format!("two.wav,{s}.1,{s}.4\n"))
        .collect();
    fs::write(&labels, format!("recording,from_s,to_s\n{rows}")).unwrap();
    let plan = folder.path().join("plan.toml");
    let text = fs::read_to_string(self::plan()).unwrap();
    fs::write(&plan, &text).unwrap();
    let tune = |more: &[&str]| {
        let output = soundline()
            .arg("tune")
            .arg(&plan)
            .arg(&wav)
            .args([
                "--as",
                SENSOR,
                "--detector",
                "orca",
                "--format",
                "json",
                "--labels",
            ])
            .arg(&labels)
            .args(more)
            .output()
            .unwrap();
        expect_status(&output, 0);
        json(&output)
    };
    let told = tune(&["--fit"]);
    let judgement = &told["judgement"];
    assert_eq!(judgement["word"], "fitted");
    assert_eq!(judgement["parted_by"], "time");
    assert_eq!(
        (
            &judgement["fitted_on_hits"],
            &judgement["fitted_on_false_alarms"]
        ),
        (&40.into(), &40.into())
    );
    let half = &judgement["unseen"][4];
    assert_eq!(
        (&half["hits"], &half["false_alarms"]),
        (&40.into(), &0.into())
    );
    assert!(told["evidence"].is_null());
    let stage = judgement["stage_toml"].as_str().unwrap();
    let last = "hold_off = \"0 s\", confirm = \"at-end\" },\n]\n\n[detector.clicks]";
    assert!(text.contains(last));
    let pasted = text.replace(last, &last.replace("\n]", &format!("\n  {stage},\n]")));
    fs::write(&plan, pasted).unwrap();
    let told = tune(&["--no-evidence"]);
    let own = told["curve"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["threshold_db"] == 138.0)
        .unwrap();
    assert_eq!(
        (&own["hits"], &own["false_alarms"]),
        (&40.into(), &0.into())
    );
    // Too few to learn from is said, and the rest is told.
    let few = labelled();
    let few = tune_few(&few);
    assert_eq!(few["judgement"]["word"], "not-fitted");
}

fn tune_few(steps: &Steps) -> Value {
    let few = tune(&[&steps.wav], &steps.labels, &["--fit", "--format", "json"]);
    expect_status(&few, 3);
    json(&few)
}
