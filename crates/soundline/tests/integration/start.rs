//! `start`: text, JSON, pictures and refusals; and the two examples that fail on purpose.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, repository, run, stderr, stdout};

/// What an example's README shows of its check is what the program prints, word by word.
#[test]
fn regress_the_examples_that_fail_print_what_their_readme_shows() {
    for name in ["cold-wake", "long-reach"] {
        let demo = demo(name, false);
        let output = run(&["check", &demo.plan]);
        expect_status(&output, 1);
        let readme = fs::read_to_string(repository(&format!("plans/{name}/README.md"))).unwrap();
        let shown: Vec<&str> = readme
            .lines()
            .filter_map(|l| l.strip_prefix("    "))
            .filter(|l| l.starts_with(' '))
            .collect();
        assert!(shown[0].starts_with("  broken   "), "{shown:?}");
        assert!(
            stdout(&output).contains(&shown.join("\n")),
            "{}",
            stdout(&output)
        );
    }
}

/// With the delays that the README names the example is met; with the voltage that is told the other one is no longer broken.
#[test]
fn verif_what_the_readmes_name_mends_the_examples() {
    let cold = demo("cold-wake", false);
    for (module, time) in [("middle", "8.5 s"), ("outer", "17 s")] {
        let table = format!("[module.{module}]\n");
        edit(
            &cold.plan,
            &table,
            &format!("{table}wakes_after = \"{time}\"\n"),
        );
    }
    expect_status(&run(&["check", &cold.plan]), 0);
    let started = run(&["start", &cold.plan, "--contacts", "new"]);
    expect_status(&started, 0);
    assert!(stdout(&started).contains("the line is at rest"));
    let long = demo("long-reach", false);
    edit(&long.plan, "voltage = \"48 V\"", "voltage = \"55.2 V\"");
    expect_status(&run(&["check", &long.plan]), 0);
}

#[test]
fn verif_a_start_is_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let json = || {
        let output = run(&["--format", "json", "start", &demo.plan]);
        expect_status(&output, 0);
        stdout(&output)
    };
    assert_eq!(json(), json());
    let told: Value = serde_json::from_str(&json()).unwrap();
    assert_eq!(told["format"], "start/1");
    assert_eq!(told["outcome"], "started");
    assert_eq!(told["contacts"], "aged");
    assert!(told["remedy"].is_null());
    assert_eq!(told["plan_digest"].as_str().unwrap().len(), 64);
    let modules = told["modules"].as_array().unwrap();
    assert_eq!(modules.len(), 5);
    let samples = told["sample_times_s"].as_array().unwrap().len();
    for m in modules {
        assert!(m["booted_s"].as_f64().unwrap() <= told["ready_s"].as_f64().unwrap());
        let boots = m["booted_s"].as_f64().unwrap() - m["switched_on_s"][0].as_f64().unwrap();
        assert!((boots - m["boot_s"].as_f64().unwrap()).abs() < 1e-9);
        assert_eq!(m["voltage_v"].as_array().unwrap().len(), samples);
    }
    // The buoy boots for 12 s, and the rest of the line is quicker.
    assert!((told["ready_s"].as_f64().unwrap() - 12.0).abs() < 0.1);
    let sun = &told["supplies"][0];
    assert_eq!(sun["subject"], "supply.sun");
    assert!(sun["peak_a"].as_f64().unwrap() <= sun["limit_a"].as_f64().unwrap() * (1.0 + 1e-9));
    let text = run(&["start", &demo.plan]);
    expect_status(&text, 0);
    for what in [
        "Start with aged contacts, from empty capacitors: started",
        "module.buoy",
        "leaves its current limit",
        "has booted and runs",
        "the line is at rest",
    ] {
        assert!(stdout(&text).contains(what), "{what}");
    }
}

#[test]
fn verif_a_start_that_fails_or_is_left_says_so_in_its_exit_status() {
    let cold = demo("cold-wake", false);
    let output = run(&["start", &cold.plan]);
    expect_status(&output, 1);
    let text = stdout(&output);
    for what in [
        ": deadlock",
        "give module.middle `wakes_after",
        "goes on like this",
        "does not run",
    ] {
        assert!(text.contains(what), "{what}");
    }
    let harrow = demo("harrow-sound", false);
    let output = run(&["start", &harrow.plan, "--longest", "3"]);
    expect_status(&output, 3);
    assert!(stdout(&output).contains("not at rest after 3.00 s"));
    for bad in ["0", "-1", "nan", "2e6", "soon"] {
        expect_status(&run(&["start", &harrow.plan, "--longest", bad]), 2);
    }
}

#[test]
fn verif_what_a_start_needs_and_the_plan_does_not_say_is_named() {
    let demo = demo("pile-watch", false);
    edit(&demo.plan, "capacitance = \"680 uF\", ", "");
    let output = run(&["start", &demo.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("module.deck says nothing of its input's capacitance"));
    expect_status(&run(&["check", &demo.plan]), 3);
}

#[test]
fn verif_both_pictures_are_drawn_and_nothing_is_replaced() {
    let demo = demo("cold-wake", false);
    let folder = Path::new(&demo.plan).parent().unwrap().join("drawn");
    let draw = |more: &[&str]| {
        let mut args = vec!["start", &demo.plan, "--picture", folder.to_str().unwrap()];
        args.extend(more);
        run(&args)
    };
    expect_status(&draw(&[]), 1);
    let png = fs::read(folder.join("start.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
    let svg = fs::read_to_string(folder.join("start.svg")).unwrap();
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    for what in [
        "1 module.middle",
        "switches on",
        "has booted",
        "falls out",
        "on at 32 V",
        "off below 22 V",
        "supply current, A: quay, limit 0.6 A",
        "ms after power came on",
        "s after power came on",
        "goes on like this",
        "stroke-dasharray",
    ] {
        assert!(svg.contains(what), "{what}");
    }
    let again = draw(&[]);
    expect_status(&again, 2);
    assert!(stderr(&again).contains("exists"));
    expect_status(&draw(&["--force"]), 1);
    assert_eq!(fs::read(folder.join("start.png")).unwrap(), png);
}
