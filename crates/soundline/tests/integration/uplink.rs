//! `uplink`: text, JSON, exit statuses and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

/// The text tells the times of the JSON; what the plan does not say ends with 3 and its key, a plan without an uplink with 2.
#[test]
fn verif_an_uplink_is_told_in_text_and_json() {
    let demo = demo("petrel-bank", false);
    let output = run(&["--format", "json", "uplink", &demo.plan]);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "uplink/1");
    let text = run(&["uplink", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    let uplink = &told["uplinks"][0];
    let months = uplink["months"].as_array().unwrap();
    assert_eq!(months.len(), 12);
    for (name, month) in ["Jan", "Feb", "Mar", "Apr"].into_iter().zip(months) {
        let row = text
            .lines()
            .find(|l| l.trim_start().starts_with(name))
            .unwrap();
        let hours = month["p99_s"].as_f64().unwrap() / 3600.0;
        assert!(row.contains(&format!("{hours:.1} h")), "{row}");
        let all = [("p50_s", 0.5), ("p90_s", 0.9), ("p99_s", 0.99)];
        assert!(
            all.windows(2)
                .all(|w| month[w[0].0].as_f64() <= month[w[1].0].as_f64())
        );
    }
    for what in ["registering", "position fixes", "so look", "longer tails"] {
        assert!(text.contains(what), "{what}: {text}");
    }
    edit(&demo.plan, "wind = [", "# wind = [");
    let unknown = run(&["uplink", &demo.plan]);
    expect_status(&unknown, 3);
    assert!(
        stdout(&unknown).contains("`wind` of the site's months"),
        "{}",
        stdout(&unknown)
    );
}

#[test]
fn verif_a_plan_without_an_uplink_is_refused() {
    let demo = demo("reef-light", false);
    let output = run(&["uplink", &demo.plan]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("no `uplink`"),
        "{}",
        stderr(&output)
    );
}
