//! `failures`: text, JSON, exit statuses and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

fn told(plan: &str, status: i32) -> Value {
    let output = run(&["--format", "json", "failures", plan]);
    expect_status(&output, status);
    serde_json::from_str(&stdout(&output)).unwrap()
}

fn failure<'v>(document: &'v Value, of: &str, breakage: &str) -> &'v Value {
    let mut all = document["failures"].as_array().unwrap().iter();
    all.find(|f| f["of"] == of && f["breakage"] == breakage)
        .unwrap()
}

/// The demo's lamp is lit to warn, so that its own darkness is the worst; nothing leaves the shore with a quiet sea.
#[test]
fn verif_failures_of_the_demo_are_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let json = told(&demo.plan, 0);
    assert_eq!(json, told(&demo.plan, 0));
    assert_eq!(json["format"], "failures/1");
    assert_eq!(json["plan_digest"].as_str().unwrap().len(), 64);
    let all = json["failures"].as_array().unwrap();
    // Five modules in three ways, four spans in three ways, a supply, an uplink.
    assert_eq!(all.len(), 5 * 3 + 4 * 3 + 2);
    assert!(all.iter().all(|f| f["shore_sees"] != "quiet"));
    let cut = failure(&json, "span.probe-lower", "cut");
    assert_eq!(cut["lost_to_shore"][0], "module.lower.sensor.ear");
    // Ten minutes, a day, two hours of expiry and a session of 20 s, and some milliseconds on the links.
    let notices_s = cut["shore_notices_s"].as_f64().unwrap();
    assert!(
        (notices_s - (600.0 + 86_400.0 + 7200.0 + 20.0)).abs() < 0.1,
        "{notices_s}"
    );
    let text = run(&["failures", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    for what in [
        "Single failures with aged contacts, the worst first",
        "after 0 of them the shore takes the silence for a quiet sea",
        "module.marker.output.lamp is off without power; nothing brings it to its fail-safe",
        "a short in span.buoy-marker",
        "What this rests on",
    ] {
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(what), "{what}: {text}");
    }
    for failure in all {
        let called = failure["called"].as_str().unwrap();
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(called), "{called}: {text}");
    }
}

#[test]
fn verif_without_heartbeats_the_sea_seems_quiet_and_what_is_not_said_is_unknown() {
    let demo = demo("harrow-sound", false);
    edit(
        &demo.plan,
        "[module.buoy.heartbeat]\ntopic = \"health/buoy\"\nevery = \"1 d\"\nby = \"uplink.shore\"\n",
        "",
    );
    edit(
        &demo.plan,
        "fail_safe = \"on\"\nfails_safe_within = \"25 min\"\n",
        "",
    );
    let json = told(&demo.plan, 3);
    assert_eq!(
        failure(&json, "span.probe-lower", "cut")["shore_sees"],
        "quiet"
    );
    let marker = &failure(&json, "module.marker", "hung")["outputs"][1];
    assert_eq!(marker["fail_safe"], "unknown");
    let text = stdout(&run(&["failures", &demo.plan]));
    assert!(
        text.contains("takes the silence for a quiet sea: no heartbeat"),
        "{text}"
    );
}

#[test]
fn verif_a_line_that_says_too_little_is_refused() {
    let demo = demo("harrow-sound", false);
    edit(&demo.plan, "through = { resistance = \"0.2 ohm\" }\n", "");
    let output = run(&["failures", &demo.plan]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(
        said.contains("module.buoy says nothing of its through-resistance"),
        "{said}"
    );
}
