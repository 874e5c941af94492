//! A part held over the line.

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

/// The part goes into the text where it was held, by what an editor would have done: the rest stays as it is, line by line, and what comes
/// of it is what was told of that place.
#[test]
fn verif_a_part_is_put_where_it_was_held() {
    let desk = Desk::open();
    let text = desk.text();
    let mut held = json!({ "text": text, "part": "part.flow-meter", "name": "flow", "silent": true, "without_years": true });
    let told = desk.post("/api/places", &held).ok();
    let places = told["places"].as_array().unwrap();
    let mut kinds = std::collections::BTreeSet::new();
    for (number, place) in places.iter().enumerate() {
        let asked = json!({ "held": held, "number": number });
        let answer = desk.post("/api/place", &asked).ok();
        assert_eq!(answer["module"], "module.flow");
        let new = answer["text"].as_str().unwrap();
        let lost = text.lines().filter(|line| !new.lines().any(|n| n == *line));
        let kind = place["way"]["kind"].as_str().unwrap();
        kinds.insert(kind.to_owned());
        // A span that is cut in two ends elsewhere, and may have another length.
        assert!(
            lost.count() <= if kind == "within" { 2 } else { 0 },
            "{kind}"
        );
        let told = desk.consequences(new, "quick");
        let mistakes = told["mistakes"].as_array().unwrap();
        assert!(
            mistakes.iter().all(|m| m["severity"] == "warning"),
            "{mistakes:?}"
        );
        let modules = told["line"]["modules"].as_array().unwrap();
        let own = modules.iter().find(|m| m["path"] == "module.flow").unwrap();
        assert_eq!(own["depth_m"], place["depth_m"], "{place}");
        assert_eq!(modules.len(), 6);
    }
    assert!(
        kinds.contains("beside") && kinds.contains("within"),
        "{kinds:?}"
    );
    // What it publishes comes with it.
    held["silent"] = json!(false);
    held["brings"] = json!("[topic.\"log/flow\"]\nat_most = \"1 per 1 min\"\nsize = \"24 B\"");
    let asked = json!({ "held": held, "number": 0 });
    let new = desk.post("/api/place", &asked).ok()["text"].clone();
    assert!(
        new.as_str()
            .unwrap()
            .ends_with("[topic.\"log/flow\"]\nat_most = \"1 per 1 min\"\nsize = \"24 B\"\n")
    );
    // Nothing was written.
    assert_eq!(desk.text(), text);
    held["name"] = json!("upper");
    for asked in [
        json!({ "held": held, "number": 0 }),
        json!({ "held": { "text": text, "part": "part.flow-meter", "silent": true }, "number": places.len() }),
        json!({ "held": { "text": text, "part": "part.none", "silent": true }, "number": 0 }),
        json!({ "held": { "text": text, "part": "part.line-cable", "silent": true }, "number": 0 }),
    ] {
        assert_eq!(
            desk.post("/api/place", &asked).error(),
            "no-place",
            "{}",
            asked["number"]
        );
    }
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
