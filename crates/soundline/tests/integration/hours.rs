//! `hours`: what each hydrophone hears, in text and JSON, and what is refused.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

/// The demo with its springs and neaps said.
pub(crate) fn tides() -> crate::support::Demo {
    let demo = demo("harrow-sound", false);
    for (case, when) in [("neap", "neaps"), ("spring", "springs")] {
        edit(
            &demo.plan,
            &format!("[case.{case}]\n"),
            &format!("[case.{case}]\nstrongest_at = \"{when}\"\n"),
        );
    }
    demo
}

/// The same seed gives the same hours; shares lie between 0 and 1 and in their order; what is lost lies between the largest cause and their sum.
#[test]
fn verif_hours_are_told_in_text_and_json() {
    let demo = tides();
    let json = || {
        let output = run(&["--format", "json", "hours", &demo.plan, "--years", "5"]);
        expect_status(&output, 0);
        stdout(&output)
    };
    let told: Value = serde_json::from_str(&json()).unwrap();
    assert_eq!(json(), json());
    assert_eq!(told["format"], "hours/1");
    assert_eq!(told["plan_digest"].as_str().unwrap().len(), 64);
    let ears = told["hydrophones"].as_array().unwrap();
    assert_eq!(ears.len(), 2);
    for ear in ears {
        assert!(ear["unknown"].as_array().unwrap().is_empty(), "{ear}");
        let share = |value: &Value| value.as_f64().unwrap();
        for month in ear["heard"]["months"].as_array().unwrap() {
            let [p10, p50, p90] = ["p10_share", "p50_share", "p90_share"].map(|k| share(&month[k]));
            assert!(
                0.0 <= p10 && p10 <= p50 && p50 <= p90 && p90 <= 1.0 + 1e-12,
                "{month}"
            );
        }
        let alone: Vec<f64> = ear["causes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| share(&c["alone_share"]))
            .collect();
        assert_eq!(alone.len(), 7);
        let lost = 1.0 - share(&ear["heard"]["mean_share"]);
        let largest = alone.iter().copied().fold(0.0, f64::max);
        assert!(lost >= largest - 1e-9 && lost <= alone.iter().sum::<f64>() + 1e-9);
    }
    assert_eq!(told["at_once"].as_array().unwrap().len(), 2);
    let text = run(&["hours", &demo.plan, "--years", "5"]);
    expect_status(&text, 0);
    for what in [
        "Hours of hearing over 5 generated years, seed 1",
        "module.upper.sensor.ear: hears",
        "longest without",
        "together",
        "2 of 2",
        "Assumed",
    ] {
        assert!(stdout(&text).contains(what), "{what}");
    }
}

/// What the plan does not say is told as unknown and ends with 3; a plan without a hydrophone is refused.
#[test]
fn verif_what_is_not_said_is_unknown() {
    let demo = demo("harrow-sound", false);
    let text = run(&["hours", &demo.plan, "--years", "2"]);
    expect_status(&text, 3);
    for what in ["unknown", "strongest_at", "at most what is told"] {
        assert!(stdout(&text).contains(what), "{what}");
    }
    let none = run(&["hours", &demo.plan, "--years", "0"]);
    expect_status(&none, 2);
    let deaf = crate::support::demo("cold-wake", false);
    let output = run(&["hours", &deaf.plan, "--years", "1"]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("no hydrophone"),
        "{}",
        stderr(&output)
    );
}

/// The fields of a message on health can be written into the plan as they are told: they are carried then, and take the bytes that were told.
#[test]
fn verif_messages_on_health_are_ready_to_be_written() {
    let demo = tides();
    let told = || -> Value {
        let args = [
            "--format", "json", "hours", &demo.plan, "--years", "1", "--health",
        ];
        let output = run(&args);
        expect_status(&output, 0);
        serde_json::from_str(&stdout(&output)).unwrap()
    };
    let of = |told: &Value, module: &str| -> Value {
        let all = told["health"].as_array().unwrap().iter();
        all.clone().find(|m| m["module"] == module).unwrap().clone()
    };
    let before = of(&told(), "module.upper");
    let names: Vec<&str> = before["fields"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["name"].as_str().unwrap())
        .collect();
    for name in [
        "voltage",
        "current",
        "leak",
        "humidity",
        "restarts",
        "free-space",
    ] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    let written: Vec<&str> = before["fields"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["written"].as_str().unwrap())
        .collect();
    edit(
        &demo.plan,
        "[topic.\"health/upper\"]\npriority = 2\nsize = \"8 B\"",
        &format!(
            "[topic.\"health/upper\"]\npriority = 2\nfields = [{}]",
            written.join(", ")
        ),
    );
    let after = of(&told(), "module.upper");
    assert_eq!(after["size_b"], before["size_b"]);
    assert_eq!(after["topic"]["size_b"], before["size_b"]);
    let fields = after["fields"].as_array().unwrap();
    assert!(fields.iter().all(|f| f["carried"] == true), "{after}");
    // By hand: each field's bits, filled up to whole bytes.
    let bits: u64 = fields.iter().map(|f| f["bits"].as_u64().unwrap()).sum();
    assert_eq!(after["size_b"].as_u64().unwrap(), bits.div_ceil(8));
    let text = run(&["hours", &demo.plan, "--years", "1", "--health"]);
    expect_status(&text, 0);
    assert!(stdout(&text).contains("module.upper: its health takes"));
}
