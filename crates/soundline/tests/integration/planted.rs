//! Examples in which something is wrong on purpose: `check` alone finds each fault and names its cause, and what mends it leaves nothing broken.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stdout};

/// Requirements and standing checks that are broken, each with its reasons.
fn broken(plan: &str, status: i32) -> Vec<(String, String)> {
    let output = run(&["--format", "json", "check", plan]);
    expect_status(&output, status);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let lists =
        ["requirements", "watches", "standing"].map(|key| told[key].as_array().unwrap().clone());
    let all = lists.into_iter().flatten();
    let fallen = all.filter(|judged| judged["ruling"] == "broken");
    fallen
        .map(|judged| {
            let verdicts = judged["verdicts"].as_array().unwrap();
            let whys = verdicts.iter().filter(|v| v["ruling"] == "broken");
            let whys: Vec<&str> = whys.map(|v| v["why"].as_str().unwrap()).collect();
            (judged["id"].as_str().unwrap().to_owned(), whys.join("\n"))
        })
        .collect()
}

#[track_caller]
fn named(found: &[(String, String)], id: &str, cause: &str) {
    let (_, why) = found.iter().find(|(i, _)| i == id).unwrap();
    assert!(why.contains(cause), "{id}: {why}");
}

fn ids(found: &[(String, String)]) -> Vec<&str> {
    let mut ids: Vec<&str> = found.iter().map(|(id, _)| id.as_str()).collect();
    ids.sort_unstable();
    ids
}

/// The loud gain is 20 dB too high, the threshold lies on the limit without a guard band, and a message holds the green lamp for ten minutes after the radio has died.
#[test]
fn verif_the_faults_of_the_pile_line_are_found() {
    let demo = demo("kestrel-piles", false);
    let found = broken(&demo.plan, 1);
    assert_eq!(
        ids(&found),
        ["dark-when-blind", "largest-strike", "watch.strike"]
    );
    named(&found, "watch.strike", "`on_above` of 158.0 dB would do");
    named(&found, "largest-strike", "the converter is what overloads");
    named(&found, "dark-when-blind", "module.bridge hung");
    named(&found, "dark-when-blind", "10 min after");
    edit(&demo.plan, "gain = \"14 dB\"", "gain = \"-6 dB\"");
    edit(&demo.plan, "on_above = \"160 dB", "on_above = \"157.5 dB");
    edit(
        &demo.plan,
        "fail_safe = \"off\"",
        "fail_safe = \"off\"\nfails_safe_within = \"4 s\"",
    );
    assert_eq!(ids(&broken(&demo.plan, 0)), [""; 0]);
}

/// A radio that dies while the lamp is green: it stays green, and with the timer it is dark in time.
#[test]
fn verif_the_rehearsal_of_the_pile_line_shows_a_lamp_that_stays_green() {
    let demo = demo("kestrel-piles", false);
    let cues = demo.folder.path().join("cues/dead-radio.toml");
    let cues = cues.display().to_string();
    let rehearsed = || run(&["rehearse", &demo.plan, &cues]);
    let blind = rehearsed();
    expect_status(&blind, 1);
    let said = "on at 65.0000 s, expected off, its fail-safe state";
    assert!(stdout(&blind).contains(said), "{}", stdout(&blind));
    edit(
        &demo.plan,
        "fail_safe = \"off\"",
        "fail_safe = \"off\"\nfails_safe_within = \"4 s\"",
    );
    let dark = rehearsed();
    expect_status(&dark, 0);
    assert!(
        stdout(&dark).contains("module.bridge.output.go goes to its fail-safe state, off"),
        "{}",
        stdout(&dark)
    );
}

/// Four modules that boot at once have no operating point once what is in their ways onwards counts, and a rope strums in the band of the detectors for much of a tide.
#[test]
fn verif_the_faults_of_the_winter_line_are_found() {
    let demo = demo("vennick-ledge", false);
    let found = broken(&demo.plan, 1);
    assert_eq!(
        ids(&found),
        ["boots-carried", "hears", "still", "supply", "voltage"]
    );
    for cause in [
        "so that it has no operating point",
        "1.90 ohm of ways through modules",
        "without the through-resistance of its modules it would carry 115.5 %",
        "with boots staggered it would carry",
        "1 mm2 in span.first",
    ] {
        named(&found, "boots-carried", cause);
    }
    named(
        &found,
        "still",
        "0.0 h of a tide by the first, 8.3 h by the second",
    );
    named(&found, "still", "`fairing = true` on section.riser");
    named(&found, "hears", "strum takes most");
    edit(
        &demo.plan,
        "resistance = \"0.6 ohm\"",
        "resistance = \"0 ohm\"",
    );
    edit(
        &demo.plan,
        "rope = \"part.jacketed\"",
        "rope = \"part.jacketed\"\nfairing = true",
    );
    assert_eq!(ids(&broken(&demo.plan, 0)), [""; 0]);
}
