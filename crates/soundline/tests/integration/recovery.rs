//! `recovery`: text, JSON, exit statuses and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

/// The lift of each place in the text is that of the JSON; what the plan does not say ends with 3 and its key.
#[test]
fn verif_recovery_is_told_in_text_and_json() {
    let demo = demo("vennick-ledge", false);
    let output = run(&["--format", "json", "recovery", &demo.plan]);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "recovery/1");
    let text = run(&["recovery", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    let partings = told["lines"][0]["partings"].as_array().unwrap();
    assert!(partings.len() > 8);
    for parting in partings {
        let place = parting["place"].as_str().unwrap();
        let lift_n = parting["clean"]["lift_n"].as_f64().unwrap();
        let row = text.lines().find(|l| l.trim_start().starts_with(place));
        assert!(row.unwrap().contains(&format!("{lift_n:.0}")), "{place}");
    }
    for what in [
        "Chance to come back",
        "drift alarm",
        "weak_link.foot",
        "Cautions",
    ] {
        assert!(text.contains(what), "{what}: {text}");
    }
    edit(&demo.plan, "flooding_adds = \"2.5 kN\"\n", "");
    let output = run(&["recovery", &demo.plan]);
    expect_status(&output, 3);
    assert!(stdout(&output).contains("module.buoy.hull.flooding_adds"));
}

#[test]
fn verif_a_plan_that_hangs_on_nothing_is_refused() {
    let demo = demo("gannet-stack", false);
    let output = run(&["recovery", &demo.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("no `section`"));
}
