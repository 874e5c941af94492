//! A part held over the line, and a threshold moved.

use serde_json::json;

use crate::bench_plan::Desk;

/// Each place is answered as the command answers it.
#[test]
fn verif_places_are_those_of_the_command() {
    let desk = Desk::open();
    let parts = desk.get("/api/session").ok()["parts"].clone();
    let all = parts.as_array().unwrap();
    let part = all
        .iter()
        .find(|p| p["is"] == "module")
        .expect("the example has a part");
    let id = part["id"].as_str().unwrap();
    let asked = json!({ "text": desk.text(), "part": id, "silent": true, "without_years": true });
    let told = desk.post("/api/places", &asked).ok();
    assert_eq!(told["format"], "places/1");
    let path = desk.plan();
    let fetch = plan::from_folder_of(&path);
    let reading = assess::read(&path, &fetch);
    let (shelf, _) = beside::shelf(&path, &reading, &|_, _| true).unwrap();
    let ask = assess::PlaceAsk {
        part: id.to_owned(),
        catalogue: None,
        id: "added".to_owned(),
        talk: assess::Talk::Silent,
        speaks: Vec::new(),
        along: Vec::new(),
        cable: None,
        stub_m: 1.0,
        years: false,
        threads: 1,
    };
    let found = assess::places(&path, &reading, &shelf, &fetch, &ask, &|_, _| true).unwrap();
    let own = report::places_json(&found);
    let own: serde_json::Value = serde_json::from_str(&own.to_string()).unwrap();
    assert!(told["places"] == own["places"], "the places differ");
    assert!(!told["places"].as_array().unwrap().is_empty());
}

#[test]
fn verif_parts_that_cannot_be_held_are_refused() {
    let desk = Desk::open();
    let text = desk.text();
    let cases = [
        (json!({ "text": text, "part": "part.none" }), "no-places"),
        (
            json!({ "text": text, "part": "part.flow-meter", "name": "Big" }),
            "bad-ask",
        ),
        (
            json!({ "text": text, "part": "part.flow-meter", "stub": "-1 m" }),
            "bad-ask",
        ),
        (
            json!({ "text": text, "part": "part.flow-meter", "at": ["here"] }),
            "bad-ask",
        ),
        (
            json!({ "text": text, "part": "part.flow-meter", "speaks": ["smoke"] }),
            "bad-ask",
        ),
        (
            json!({ "text": text, "part": "part.flow-meter", "brings": "[site]\nx = 1" }),
            "bad-ask",
        ),
        (
            json!({ "text": "format = 1", "part": "part.flow-meter" }),
            "mistakes",
        ),
    ];
    for (asked, code) in cases {
        let answer = desk.post("/api/places", &asked);
        assert_eq!(
            (answer.status, answer.error().as_str()),
            (422, code),
            "{asked}"
        );
    }
}

/// One number of the text moves, and both sides tell what is known and what is not.
#[test]
fn verif_a_threshold_is_moved_by_one_edit() {
    let desk = Desk::open();
    let text = desk.text();
    let asked = json!({ "text": text, "detector": "detector.upcall-upper", "on_above_db": 11.5 });
    let told = desk.post("/api/threshold", &asked).ok();
    let new = told["text"].as_str().unwrap();
    let changed: Vec<(&str, &str)> = text
        .lines()
        .zip(new.lines())
        .filter(|(a, b)| a != b)
        .collect();
    assert_eq!(changed.len(), 1);
    assert!(changed[0].1.contains("11.5 dB"), "{changed:?}");
    for side in ["before", "after"] {
        for key in ["misses", "false_alarms", "messages", "cost", "charge"] {
            let one = &told[side][key];
            let known = one["value"].is_number() && one["unit"].is_string();
            assert!(known != one["unknown"].is_string(), "{side} {key}: {one}");
        }
        // Nothing was ever held against labels.
        assert!(told[side]["misses"]["unknown"].is_string());
        assert!(told[side]["messages"]["value"].as_f64().unwrap() > 0.0);
    }
    for (detector, db) in [("none", 9.0), ("detector.none", 9.0)] {
        let asked = json!({ "text": text, "detector": detector, "on_above_db": db });
        assert_eq!(desk.post("/api/threshold", &asked).error(), "no-threshold");
    }
}
