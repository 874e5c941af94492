//! `faults`: text, JSON and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

fn told(arguments: &[&str]) -> Value {
    let output = run(&[&["--format", "json", "faults"], arguments].concat());
    expect_status(&output, 0);
    serde_json::from_str(&stdout(&output)).unwrap()
}

#[test]
fn verif_faults_are_told_in_text_and_json() {
    let demo = demo("reef-light", false);
    let json = told(&[&demo.plan]);
    assert_eq!(json, told(&[&demo.plan]));
    assert_eq!(json["format"], "faults/1");
    assert_eq!(json["plan_digest"].as_str().unwrap().len(), 64);
    let text = run(&["faults", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    for short in json["shorts"].as_array().unwrap() {
        // Every short of this plan takes its feed to the limit.
        assert!((short["current_a"].as_f64().unwrap() - 9.0).abs() < 1e-9);
        assert_eq!(short["at_limit"][0], "supply.feed");
        assert!(text.contains(short["place"].as_str().unwrap()));
    }
    for weakest in json["weakest_behind_fuses"].as_array().unwrap() {
        let times = weakest["fuse"]["times_rating"].as_f64().unwrap();
        assert!(text.contains(&format!("{times:.2} times its")), "{text}");
    }
    for what in [
        "A bolted short at",
        "A broken span: without power",
        "span.to-east at the rating of its fuse",
        "module.camera switched off by its lock-out",
        "A leak to the water at the far end of a span",
        "An insulation tester reads",
        "An insulation tester destroys converters",
        "No voltage is called safe here",
        "conductors at",
    ] {
        assert!(text.contains(what), "{what}: {text}");
    }
}

/// With nine tenths of what a contact is told to bear the plan keeps its voltages and the limit of its feed; with eleven tenths it
/// does not: modules switch off by their lock-outs, which keeps the feed below its limit.
#[test]
fn verif_what_a_contact_is_told_to_bear_is_what_check_finds() {
    let poor = told(&[&demo("reef-light", false).plan])["poor_contacts"].clone();
    let surf = poor
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["span"] == "span.surf")
        .unwrap();
    for (share, holds) in [(0.9, true), (1.1, false)] {
        let demo = demo("reef-light", false);
        // Two pins of 20 mohm each.
        let each_ohm = 0.02 + share * surf["bears_ohm"].as_f64().unwrap() / 2.0;
        edit(
            &demo.plan,
            "contacts = { mated_pins_in_loop = 2, resistance = \"4 mohm\", aged = \"20 mohm\" }",
            &format!(
                "contacts = {{ mated_pins_in_loop = 2, resistance = \"4 mohm\", aged = \"{each_ohm} ohm\" }}"
            ),
        );
        let check = run(&["check", &demo.plan]);
        let text = stdout(&check);
        let kept = |id: &str| {
            text.contains(&format!("  met      {id} (shall)"))
                || text.contains(&format!("  marginal {id} (shall)"))
        };
        assert_eq!(kept("voltage") && kept("feed"), holds, "{share}: {text}");
    }
}

#[test]
fn verif_what_cannot_be_told_is_refused() {
    let demo = demo("reef-light", false);
    for bad in ["0", "-1", "x", "1e13"] {
        expect_status(&run(&["faults", &demo.plan, "--leak", bad]), 2);
    }
    let less = &told(&[&demo.plan, "--leak", "10000"])["leaks"][0];
    let more = &told(&[&demo.plan])["leaks"][0];
    assert!(less["current_a"].as_f64().unwrap() < 0.2 * more["current_a"].as_f64().unwrap());
    edit(
        &demo.plan,
        "contacts = { mated_pins_in_loop = 2, resistance = \"4 mohm\", aged = \"20 mohm\" }\n",
        "",
    );
    let output = run(&["faults", &demo.plan]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("says nothing of its contacts"),
        "{}",
        stderr(&output)
    );
}
