//! A threshold moved: both levels of the trigger, and what follows from records of labelled recordings.

use std::fs;

use assess::tuning::{TunedCurve, TunedDay, TunedPoint, Tuning, chain_digest, steady_digest};
use plan::DetectorIx;
use serde_json::{Value, json};

use crate::bench_plan::Desk;

const LABELS: &str = "
[requirement.finds]
that = \"recall\"
of = \"detector.upcall-upper\"
at_least = \"50 %\"
labels = \"labels.csv\"
";
const DAY_S: f64 = 86_400.0;
/// Days of the record.
const DAYS: usize = 10;

/// The example with a requirement on labels, and nothing that holds back what goes ashore.
fn asking(desk: &Desk) -> String {
    let text = desk.text();
    let held = "when_told = \"alert/call\"\nat_most = \"11 per d\"\n";
    assert!(text.contains(held));
    text.replace(held, "when_told = \"alert/call\"\n") + LABELS
}

/// A record of 100 labels in 10 d: hits and false alarms at 4, 6 and 8 dB.
fn leave_a_record(desk: &Desk, text: &str) {
    fs::write(
        desk.folder.path().join("labels.csv"),
        "recording,from_s,to_s\n",
    )
    .unwrap();
    fs::write(desk.plan(), text).unwrap();
    let path = desk.plan();
    let reading = assess::read(&path, &plan::from_folder_of(&path));
    let line = reading.line.as_ref().unwrap();
    let of = line.detectors.iter().position(|d| d.id == "upcall-upper");
    let of = DetectorIx(of.unwrap());
    let point = |(threshold_db, hits, false_alarms): (f64, u64, u64)| TunedPoint {
        threshold_db,
        hits,
        false_alarms,
        by_day: Some(vec![false_alarms / DAYS as u64; DAYS]),
    };
    let record = Tuning {
        program: beside::computed_by(),
        detector: "upcall-upper".to_owned(),
        chain_digest: chain_digest(line, of, None).unwrap(),
        labels: "labels.csv".to_owned(),
        labels_digest: beside::recordings::digest(&desk.folder.path().join("labels.csv")).unwrap(),
        matched: "by overlap".to_owned(),
        labelled: 100,
        hits: 80,
        false_alarms: 100,
        judged_s: 10.0 * DAY_S,
        days: Some(
            (0..DAYS as i64)
                .map(|d| TunedDay {
                    day: 20_000 + d,
                    judged_s: DAY_S,
                    false_alarms: 10,
                })
                .collect(),
        ),
        curve: Some(TunedCurve {
            steady_digest: steady_digest(line, of, None).unwrap(),
            points: [(4.0, 95, 400), (6.0, 80, 100), (8.0, 60, 20)]
                .map(point)
                .to_vec(),
        }),
        ..Tuning::begun()
    };
    let file = record.path(&path);
    fs::create_dir_all(file.parent().unwrap()).unwrap();
    fs::write(file, record.to_json()).unwrap();
}

fn moved(desk: &Desk, text: &str, on_above_db: f64) -> Value {
    let asked = json!({ "text": text, "detector": "upcall-upper", "on_above_db": on_above_db });
    desk.post("/api/threshold", &asked).ok()
}

#[track_caller]
fn close(told: &Value, expected: f64) {
    let value = told["value"].as_f64();
    let value = value.unwrap_or_else(|| panic!("{told} has no value"));
    assert!((value - expected).abs() < 1e-6, "{value} and {expected}");
}

/// By hand: the plan expects 40 events a day of which 10 are false and four fifths of the real ones are found, so that 37.5 real ones come. At 8 dB
/// `37.5 * 0.6 + 2 = 24.5` are told; the other ear tells 40, and the buoy sends one more a day of its own: 65.5 messages a day at 0.12 EUR.
#[test]
fn val_misses_false_alarms_messages_cost_and_charge_move() {
    let desk = Desk::open();
    let text = asking(&desk);
    leave_a_record(&desk, &text);
    let told = moved(&desk, &text, 8.0);
    assert_eq!(told["format"], "threshold/2");
    close(&told["real_per_d"], 37.5);
    let (before, after) = (&told["before"], &told["after"]);
    for (side, missed, cried, events, messages, cost) in [
        (before, 20.0, 10.0, 40.0, 2430.0, 291.6),
        (after, 40.0, 2.0, 24.5, 1965.0, 235.8),
    ] {
        close(&side["misses"], missed);
        assert_eq!(side["misses"]["unit"], "of 100 labels");
        close(&side["false_alarms"], cried);
        close(&side["events"], events);
        close(&side["messages"], messages);
        close(&side["cost"], cost);
        assert_eq!(side["cost"]["unit"], "EUR");
        assert!(
            side["delay"]["value"].as_f64().unwrap() >= 20.0,
            "{}",
            side["delay"]
        );
    }
    let charge = |side: &Value| side["charge"]["value"].as_f64().unwrap();
    assert!(charge(after) > charge(before), "{before} {after}");
    // The second route: the checks of both texts.
    for (text, side) in [
        (&text, before),
        (
            &told["text_with_expects"].as_str().unwrap().to_owned(),
            after,
        ),
    ] {
        let checked = desk.consequences(text, "quick");
        let all = checked["verdicts"]["requirements"].as_array().unwrap();
        let own = all
            .iter()
            .find(|r| r["id"] == side["charge"]["requirement"])
            .unwrap();
        let value = own["verdicts"][0]["value"]["value"].as_f64().unwrap();
        assert!((value - charge(side)).abs() < 1e-9, "{value} {side}");
    }
    // Beyond what was tried nothing is told but what cannot be more.
    let beyond = moved(&desk, &text, 9.0);
    for key in [
        "misses",
        "false_alarms",
        "events",
        "messages",
        "cost",
        "delay",
        "charge",
    ] {
        let why = beyond["after"][key]["unknown"].as_str().unwrap();
        assert!(why.contains("from 4 to 8 dB"), "{key}: {why}");
        assert!(beyond["before"][key]["value"].is_number(), "{key}");
    }
    assert!(beyond["after"]["messages"]["at_most"].is_number());
}

/// Both levels of the text move, by as much, and nothing else does.
#[test]
fn verif_both_levels_are_moved_and_both_sides_tell_what_they_know() {
    let desk = Desk::open();
    let text = desk.text();
    for (db, on, off) in [
        (11.5, "on_above = \"11.5 dB\"", "off_below = \"9.5 dB\""),
        (1.0, "on_above = \"1 dB\"", "off_below = \"-1 dB\""),
    ] {
        let told = moved(&desk, &text, db);
        let new = told["text"].as_str().unwrap();
        let lines = text.lines().zip(new.lines());
        let changed: Vec<_> = lines.filter(|(a, b)| a != b).collect();
        assert_eq!(changed.len(), 1, "{changed:?}");
        assert!(
            changed[0].1.contains(on) && changed[0].1.contains(off),
            "{changed:?}"
        );
        let paths: Vec<_> = told["sets"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| s["path"].clone())
            .collect();
        assert_eq!(
            paths,
            [
                "detector.upcall-upper.stages[3].on_above",
                "detector.upcall-upper.stages[3].off_below",
            ]
        );
        assert_eq!(
            (&told["unit"], &told["over"]),
            (&json!("dB"), &json!("the background"))
        );
        for side in ["before", "after"] {
            for key in [
                "misses",
                "false_alarms",
                "events",
                "messages",
                "cost",
                "delay",
                "charge",
            ] {
                let one = &told[side][key];
                let known = one["value"].is_number() && one["unit"].is_string();
                assert!(known != one["unknown"].is_string(), "{side} {key}: {one}");
            }
            // Nothing was ever held against labels.
            assert!(told[side]["misses"]["unknown"].is_string());
        }
        assert!(told["before"]["messages"]["value"].as_f64().unwrap() > 0.0);
        // How often it tells at another threshold nobody knows.
        assert!(told["after"]["charge"]["unknown"].is_string());
    }
    for (asked, code) in [
        (
            json!({ "text": text, "detector": "none", "on_above_db": 9.0 }),
            "no-threshold",
        ),
        (
            json!({ "text": text, "detector": "detector.none", "on_above_db": 9.0 }),
            "no-threshold",
        ),
        (
            json!({ "text": text, "detector": "upcall-upper", "on_above_db": 1e6 }),
            "bad-body",
        ),
        (
            json!({ "text": text, "detector": "upcall-upper", "on_above_db": 9.0, "real_per_d": -1.0 }),
            "bad-body",
        ),
    ] {
        assert_eq!(desk.post("/api/threshold", &asked).error(), code, "{asked}");
    }
}

/// A threshold over a background lies above the background itself: the document says so, and one that does not is refused with its reason.
#[test]
fn verif_a_threshold_ends_where_its_key_does() {
    let desk = Desk::open();
    let ask = |db: f64| {
        let asked =
            json!({ "text": desk.text(), "detector": "detector.upcall-lower", "on_above_db": db });
        desk.post("/api/threshold", &asked)
    };
    let told = ask(0.5).ok();
    let least = told["lies_above_db"].as_f64().unwrap();
    assert!(least < 0.5);
    let refused = ask(least);
    assert_eq!(refused.error(), "mistakes");
    let said = refused.json()["error"].to_string();
    assert!(
        said.contains("a threshold of 0 dB here") && said.contains("the background itself"),
        "{said}"
    );
    assert!(!said.contains("underlined"), "{said}");
}
