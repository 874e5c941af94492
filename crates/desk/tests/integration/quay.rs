//! Readings of the quay: judged as they are typed, and as a file.

use std::path::Path;

use serde_json::{Value, json};

use crate::bench_plan::{Desk, EXAMPLE};

fn kelp_gate() -> Desk {
    Desk::of(&Path::new(EXAMPLE).with_file_name("kelp-gate"), None)
}

fn rows(document: &Value, more: &[&str], by: f64) -> Vec<[String; 5]> {
    let metered = ["open.", "loop.", "joined.", "volts.", "amps."];
    let steps = document["steps"].as_array().unwrap().iter();
    let read = steps.filter_map(|step| {
        let id = step["step"].as_str().unwrap();
        let value = step["expected"]["value"].as_f64()?;
        let more = if more.contains(&id) { by } else { 0.0 };
        let unit = step["unit"].as_str().unwrap();
        let row = [id, &(value + more).to_string(), unit, "ab", ""].map(str::to_owned);
        metered
            .iter()
            .any(|begin| id.starts_with(begin))
            .then_some(row)
    });
    read.collect()
}

fn with<'d>(document: &'d Value, found: &str) -> Vec<&'d str> {
    let steps = document["steps"].as_array().unwrap().iter();
    let those = steps.filter(|step| step["found"] == found);
    those.map(|step| step["step"].as_str().unwrap()).collect()
}

/// Every reading in the middle of its band is within it, one that is not is told as off, and a leg whose loop alone reads too much is no fault of the network; what is
/// typed reads the same as the file that is made of it.
#[test]
fn verif_typed_readings_are_judged_and_read_the_same_from_their_file() {
    let desk = kelp_gate();
    let text = desk.text();
    let ask = |more: Value| {
        let mut body = json!({ "text": text });
        body.as_object_mut()
            .unwrap()
            .extend(more.as_object().unwrap().clone());
        desk.post("/api/quay", &body)
    };
    let sheet = ask(json!({})).ok();
    assert_eq!(sheet["format"], "dockside/1");
    let steps = sheet["steps"].as_array().unwrap().len();
    assert_eq!(with(&sheet, "not-taken").len(), steps);
    assert_eq!(sheet["faults"], Value::Null);
    assert_eq!(sheet["csv"].as_str().unwrap().lines().count(), steps + 1);
    let good = rows(&sheet, &[], 0.0);
    let told = ask(json!({ "rows": good })).ok();
    assert_eq!(with(&told, "within").len(), good.len());
    assert_eq!(told["faults"]["calls_for_none"], true);
    assert_eq!(told["row_faults"], json!([]));
    let first = good[0][0].clone();
    let bad = rows(&sheet, &[&first], 3.0);
    let told = ask(json!({ "rows": bad })).ok();
    assert_eq!(with(&told, "off"), [first.as_str()]);
    assert!(!told["faults"]["classes"][0].as_array().unwrap().is_empty());
    let again = ask(json!({ "csv": told["csv"] })).ok();
    for key in ["steps", "faults"] {
        assert_eq!(again[key], told[key], "{key}");
    }
}

/// What cannot be used is told with its box and stays in it, and what nobody could mean is refused.
#[test]
fn verif_what_cannot_be_used_is_told_and_kept() {
    let desk = Desk::open();
    let text = desk.text();
    let ask = |more: Value| {
        let mut body = json!({ "text": text });
        body.as_object_mut()
            .unwrap()
            .extend(more.as_object().unwrap().clone());
        desk.post("/api/quay", &body)
    };
    let rows = json!([
        ["open.sun", "24,1", "V", "ab", ""],
        ["nowhere.sun", "24", "V", "ab", ""],
        ["loop.buoy-marker", "OL", "ohm", "", "plug is wet"],
    ]);
    let told = ask(json!({ "rows": rows })).ok();
    let faults = told["row_faults"].as_array().unwrap();
    assert_eq!(faults.len(), 2);
    assert_eq!(
        (&faults[0]["step"], &faults[0]["line"]),
        (&json!("open.sun"), &json!(1))
    );
    assert_eq!(
        (&faults[1]["step"], &faults[1]["line"]),
        (&Value::Null, &json!(2))
    );
    assert_eq!(with(&told, "off"), ["loop.buoy-marker"]);
    let kept = told["rows"].as_array().unwrap();
    assert!(
        kept.contains(&json!(["open.sun", "24,1", "V", "ab", ""])),
        "{kept:?}"
    );
    assert_eq!(told["oddities"], json!(["1 reading has no initials"]));
    let warm = ask(json!({ "quay": { "temperature_degc": 31.5, "meter_ohms": "1,0.02" } })).ok();
    assert_eq!(warm["quay"]["temperature_degc"], 31.5);
    assert_eq!(
        warm["quay"]["meter_ohms"],
        json!({ "share": 0.01, "offset": 0.02 })
    );
    for (more, code) in [
        (
            json!({ "quay": { "temperature_degc": 300.0 } }),
            "cannot-be",
        ),
        (json!({ "quay": { "meter_volts": "much" } }), "bad-ask"),
        (
            json!({ "quay": { "calibrator_level_db_re_1upa": 150.0 } }),
            "bad-ask",
        ),
        (json!({ "csv": "step,reading\n" }), "no-readings"),
        (
            json!({ "csv": "step,reading,unit\n", "rows": rows }),
            "bad-ask",
        ),
        (json!({ "rows": [["open.sun", "24"]] }), "bad-body"),
    ] {
        assert_eq!(ask(more.clone()).error(), code, "{more}");
    }
}
