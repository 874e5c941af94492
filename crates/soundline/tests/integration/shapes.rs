//! The shape of a JSON document, held to that of a committed one.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

/// What stands at each place of a document: types, and the texts that say what a number is.
type Shape = BTreeMap<String, BTreeSet<String>>;

/// Keys whose text counts like a key.
fn says_what_a_number_is(key: &str) -> bool {
    matches!(key, "format" | "unit" | "arithmetic") || key.ends_with("_reference")
}

fn shape(value: &Value) -> Shape {
    let mut found = Shape::new();
    add(value, "", &mut found);
    found
}

fn add(value: &Value, place: &str, found: &mut Shape) {
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "bool",
        Value::Number(_) => "number",
        Value::String(_) => "text",
        Value::Array(_) => "list",
        Value::Object(_) => "object",
    };
    let key = place.rsplit('/').next().unwrap();
    let kind = match value {
        Value::String(text) if says_what_a_number_is(key) => text.as_str(),
        _ => kind,
    };
    found
        .entry(place.to_owned())
        .or_default()
        .insert(kind.to_owned());
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                add(value, &format!("{place}/{key}"), found);
            }
        }
        Value::Array(items) => {
            for item in items {
                // What bears a name is compared with what bears the same.
                let name = ["what", "id", "subject"]
                    .iter()
                    .find_map(|key| item[*key].as_str())
                    .unwrap_or("");
                add(item, &format!("{place}[{name}]"), found);
            }
        }
        _ => {}
    }
}

/// What the first has and the second has not. Where a key is, that nothing stands there in one of the two is no difference.
fn lacking(first: &Shape, second: &Shape) -> Vec<String> {
    let has = |place: &str, kind: &str| {
        let kinds = second.get(place);
        kinds.is_some_and(|kinds| kind == "null" || kinds.contains(kind))
    };
    first
        .iter()
        .flat_map(|(place, kinds)| kinds.iter().map(move |kind| (place, kind)))
        .filter(|(place, kind)| !has(place, kind))
        .map(|(place, kind)| format!("{place}: {kind}"))
        .collect()
}

fn committed(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/documents")
        .join(name)
}

/// Compares a document with the committed one; `folder` is where its files lay.
#[track_caller]
pub(crate) fn compare(name: &str, document: &Value, folder: &Path) {
    let path = committed(name);
    let known: Value = fs::read_to_string(&path)
        .ok()
        .map_or(Value::Null, |text| serde_json::from_str(&text).unwrap());
    let (was, is) = (shape(&known), shape(document));
    let (lost, new) = (lacking(&was, &is), lacking(&is, &was));
    if std::env::var_os("SOUNDLINE_RENEW").is_some() && (known.is_null() || lost.is_empty()) {
        let text = serde_json::to_string_pretty(document).unwrap();
        let text = text.replace(&folder.display().to_string(), "FOLDER");
        fs::write(&path, text + "\n").unwrap();
        return;
    }
    assert!(
        lost.is_empty(),
        "{name}: lost, which needs a new version:\n{}\n(new: {new:#?})",
        lost.join("\n")
    );
    assert!(
        new.is_empty(),
        "{name}: new, and not yet in the committed document (see the head of documents.rs):\n{}",
        new.join("\n")
    );
}

/// The comparison sees a key that is renamed or lost, a unit that is another, and a type that is.
#[test]
fn verif_a_document_that_differs_is_seen() {
    let text = fs::read_to_string(committed("verdicts-1.json")).unwrap();
    let good: Value = serde_json::from_str(&text).unwrap();
    assert!(lacking(&shape(&good), &shape(&good)).is_empty());
    for (from, to) in [
        ("\"plan_digest\"", "\"digest\""),
        ("\"margin\"", "\"room\""),
        ("\"unit\": \"V\"", "\"unit\": \"mV\""),
        ("\"verdicts/1\"", "\"verdicts/2\""),
        ("\"marginal\": 0", "\"marginal\": \"0\""),
    ] {
        assert!(text.contains(from), "{from}");
        let other: Value = serde_json::from_str(&text.replace(from, to)).unwrap();
        assert!(!lacking(&shape(&good), &shape(&other)).is_empty(), "{from}");
    }
    // Another number is no other document.
    let value = good["requirements"][0]["verdicts"][0]["value"]["value"].to_string();
    let other = text.replace(&format!("\"value\": {value}"), "\"value\": 1.5");
    assert_ne!(other, text);
    let other = serde_json::from_str(&other).unwrap();
    assert!(lacking(&shape(&good), &shape(&other)).is_empty());
}
