//! `reserve`: text, JSON, exit status and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

#[test]
fn verif_a_reserve_is_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let text = run(&["reserve", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    assert!(
        text.contains("then supply.sun comes to its current limit, 2.5 A"),
        "{text}"
    );
    assert!(
        text.contains("(1)   every module at the larger of its boot"),
        "{text}"
    );
    let json = run(&["--format", "json", "reserve", &demo.plan]);
    expect_status(&json, 0);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    assert_eq!(told["format"], "reserve/1");
    for module in told["modules"].as_array().unwrap() {
        // Rounded down: what is told may be drawn.
        let told_w = (100.0 * module["reserve_w"].as_f64().unwrap()).floor() / 100.0;
        let row = format!("{told_w:.2} W  (1)");
        assert!(text.contains(&row), "{row}: {text}");
    }
    for set in told["weakest"].as_array().unwrap() {
        let share = format!("{:.1} %", 100.0 * set["collapse_factor"].as_f64().unwrap());
        assert!(text.contains(&share), "{share}: {text}");
    }
}

/// What is told to be the reserve can be drawn, and a little more cannot: the supply then gives more than its limit.
#[test]
fn verif_what_is_told_to_be_left_can_be_drawn() {
    let demo = demo("harrow-sound", false);
    let json = run(&["--format", "json", "reserve", &demo.plan]);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    let aged = |m: &&Value| m["id"] == "module.buoy" && m["contacts"] == "aged";
    let modules = told["modules"].as_array().unwrap();
    let reserve_w = modules.iter().find(aged).unwrap()["reserve_w"]
        .as_f64()
        .unwrap();
    // A module beside the buoy on a span of milliohms.
    let with = |power_w: f64| {
        let module = format!(
            "[module.more]\nposition = {{ depth = \"0 m\" }}\ninput = {{ minimum = \"5 V\", maximum = \"72 V\" }}\nloads = {{ on = \"{power_w} W\" }}\nstarts_in = \"on\"\nboot = {{ time = \"1 s\", power = \"0 W\" }}\npasses = {{ power = \"never\", data = \"never\" }}\nthrough = {{ resistance = \"0 ohm\" }}\n[span.more]\nfrom = \"module.buoy\"\nto = \"module.more\"\nlength = \"0.05 m\"\nconductor = \"16 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}\n[supply.sun]"
        );
        let more = crate::support::demo("harrow-sound", false);
        edit(&more.plan, "[supply.sun]", &module);
        let output = stdout(&run(&["check", &more.plan]));
        output.contains("broken   supply (shall)")
    };
    // The way through the buoy takes some of it: nine tenths go, a fiftieth too much does not.
    assert!(!with(0.9 * reserve_w));
    assert!(with(1.02 * reserve_w));
}

#[test]
fn verif_a_line_that_cannot_carry_its_load_has_nothing_left() {
    let demo = demo("long-reach", false);
    let output = run(&["reserve", &demo.plan]);
    expect_status(&output, 1);
    assert!(
        stdout(&output).contains("the line carries only"),
        "{}",
        stdout(&output)
    );
}

#[test]
fn verif_a_plan_with_mistakes_has_no_reserve() {
    let demo = demo("harrow-sound", false);
    edit(&demo.plan, "[supply.sun]", "[supply.sun]\nnonsense = 1");
    let output = run(&["reserve", &demo.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("nonsense"));
}
