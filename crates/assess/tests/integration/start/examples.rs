//! Example plans whose start fails: what is told to mend them does.

use std::path::{Path, PathBuf};

use assess::input::{Conditions, Contacts, electric};
use assess::{Check, Ruling, Word, start};
use plan::Reading;

use super::judged;
use crate::support::{close, known, read, requirement};

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../plans")
        .join(name)
        .join("plan.toml")
}

#[track_caller]
fn plan_with(name: &str, changes: &[(&str, &str)]) -> Check {
    judged(&reading_with(name, changes))
}

#[track_caller]
fn reading_with(name: &str, changes: &[(&str, &str)]) -> Reading {
    let mut text = std::fs::read_to_string(example(name)).unwrap();
    for (from, to) in changes {
        assert_eq!(
            text.matches(from).count(),
            1,
            "`{from}` stands once in the plan"
        );
        text = text.replace(from, to);
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

/// The delays that the message names stand in the plan's README too. With both no module falls out on the way; with one of
/// them some do.
#[test]
fn verif_the_delays_that_are_told_start_the_line() {
    let told = plan_with("cold-wake", &[]);
    let verdict = known(&told, "start");
    assert_eq!(verdict.ruling, Ruling::Broken);
    // 0.6 A of 48 V carry 28.8 W at the supply: the third boot beside the others does not go.
    assert!(
        verdict
            .why
            .contains("the current limit of supply.quay, 0.6 A, is short")
    );
    let readme = std::fs::read_to_string(example("cold-wake").with_file_name("README.md")).unwrap();
    let held = |module: &str| {
        let (_, after) = verdict
            .why
            .split_once(&format!("module.{module} `wakes_after = \""))
            .unwrap();
        let (time, _) = after.split_once('"').unwrap();
        let key = format!("wakes_after = \"{time}\"");
        assert!(
            readme.contains(&format!("`{key}` in `[module.{module}]`")),
            "{key}"
        );
        (
            format!("[module.{module}]\n"),
            format!("[module.{module}]\n{key}\n"),
        )
    };
    let (middle, outer) = (held("middle"), held("outer"));
    let both = [
        (middle.0.as_str(), middle.1.as_str()),
        (outer.0.as_str(), outer.1.as_str()),
    ];
    let falls = |changes: &[(&str, &str)]| {
        let reading = reading_with("cold-wake", changes);
        let seen = start(reading.line.as_ref().unwrap(), Contacts::Aged, None).unwrap();
        seen.modules.iter().any(|m| !m.fell_out_s.is_empty())
    };
    assert_eq!(
        requirement(&plan_with("cold-wake", &both), "start").word(),
        Word::Met
    );
    assert!(!falls(&both));
    assert!(falls(&both[..1]) && falls(&both[1..]) && falls(&[]));
}

/// Beside the deadlock: with twice the current the line comes up, but only after modules have fallen out.
#[test]
fn verif_a_start_with_falls_on_the_way_is_marginal() {
    let told = plan_with(
        "cold-wake",
        &[("current_limit = \"0.6 A\"", "current_limit = \"1.2 A\"")],
    );
    let verdict = known(&told, "start");
    assert_eq!(verdict.ruling, Ruling::Marginal);
    assert!(
        verdict
            .why
            .contains("on the way there fell out: module.outer"),
        "{}",
        verdict.why
    );
    // What spares the falls is told, and does.
    let (_, after) = verdict
        .why
        .split_once("to avoid that, give module.outer `wakes_after = \"")
        .unwrap();
    let (time, _) = after.split_once('"').unwrap();
    let held = format!("[module.outer]\nwakes_after = \"{time}\"\n");
    let mended = plan_with(
        "cold-wake",
        &[
            ("current_limit = \"0.6 A\"", "current_limit = \"1.2 A\""),
            ("[module.outer]\n", &held),
        ],
    );
    assert_eq!(requirement(&mended, "start").word(), Word::Met);
}

/// Without its lock-outs the example cannot be staged. The lock-outs and delays that are then told, all written, start it.
#[test]
fn verif_the_lock_outs_that_are_told_start_the_line() {
    let lock_out = ", lock_out = { on = \"32 V\", off = \"22 V\" }";
    let text = std::fs::read_to_string(example("cold-wake")).unwrap();
    let bare = text.replace(lock_out, "");
    assert_eq!(text.len() - bare.len(), 3 * lock_out.len());
    let check_of = |text: &str| {
        let reading = read(text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        judged(&reading)
    };
    let told = check_of(&bare);
    let why = &known(&told, "start").why;
    assert!(why.contains("no order of starting helps"), "{why}");
    let told_lock_out = "lock_out = { on = \"38 V\", off = \"20 V\" }";
    let mut mended = text.replace(lock_out, &format!(", {told_lock_out}"));
    let mut delayed = 0;
    for module in ["near", "middle", "outer"] {
        assert!(
            why.contains(&format!("module.{module} `{told_lock_out}` in its input")),
            "{why}"
        );
        let lead = format!("module.{module} `wakes_after = \"");
        if let Some((_, after)) = why.split_once(&lead) {
            let (time, _) = after.split_once('"').unwrap();
            let table = format!("[module.{module}]\n");
            mended = mended.replace(&table, &format!("{table}wakes_after = \"{time}\"\n"));
            delayed += 1;
        }
    }
    assert!(delayed > 0);
    assert_eq!(requirement(&check_of(&mended), "start").word(), Word::Met);
}

#[test]
fn verif_where_no_order_helps_it_is_told_how_far_the_longest_comes() {
    let told = plan_with(
        "cold-wake",
        &[("current_limit = \"0.6 A\"", "current_limit = \"0.5 A\"")],
    );
    let why = &known(&told, "start").why;
    assert!(why.contains("no order of starting helps"), "{why}");
    assert!(why.contains("every order was tried"), "{why}");
    assert!(!why.contains("wakes_after"), "{why}");
}

/// What the message says would just carry the load does, and a tenth of a volt less does not.
#[test]
fn verif_the_voltage_that_is_told_carries_the_load() {
    let told = plan_with("long-reach", &[]);
    let line = known(&told, "voltage");
    assert_eq!(
        (line.ruling, line.subject.as_str()),
        (Ruling::Broken, "the line")
    );
    assert!(line.why.contains("first at module.lower"), "{}", line.why);
    let (_, after) = line.why.split_once("with supply.ship at ").unwrap();
    let (volts, _) = after.split_once(" V").unwrap();
    let volts: f64 = volts.parse().unwrap();
    for (volts, carried) in [(volts, true), (volts - 0.1, false)] {
        let to = format!("voltage = \"{volts:.1} V\"");
        let check = plan_with("long-reach", &[("voltage = \"48 V\"", &to)]);
        assert_eq!(
            known(&check, "voltage").subject != "the line",
            carried,
            "{to}"
        );
    }
}

/// Once a start has come to rest, each module has the voltage that the network at rest gives it: another route, without time.
#[test]
fn verif_a_start_ends_where_the_network_rests() {
    for name in ["harrow-sound", "pile-watch"] {
        let path = example(name);
        let folder = path.parent().unwrap().to_path_buf();
        let reading = assess::read(Path::new("plan.toml"), &|p| std::fs::read(folder.join(p)));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let line = reading.line.unwrap();
        for contacts in [Contacts::New, Contacts::Aged] {
            let seen = start(&line, contacts, None).unwrap();
            assert_eq!(seen.outcome, "started");
            let rest = electric(&line)
                .unwrap()
                .input(&line, &Conditions::usual(&line, contacts))
                .unwrap();
            let solution = power::solve(&rest.network).unwrap();
            for (m, inlet) in line.modules.iter().zip(&rest.inlets) {
                let path = format!("module.{}", m.id);
                let Some(module) = seen.modules.iter().find(|s| s.path == path) else {
                    assert!(m.input.is_none());
                    continue;
                };
                close(module.end_v, solution.voltages_v[inlet.unwrap()], 1e-6);
            }
            close(seen.supplies[0].end_a, solution.source_currents_a[0], 1e-6);
        }
    }
}
