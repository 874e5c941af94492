//! The shape of a JSON document and its values, held to those of a committed one.

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

/// Numbers that differ by less than this of the greater one are alike: builds of other optimisation differ in the last digits.
const ALIKE: f64 = 1e-6;
/// So are numbers this close to each other: what is left of zero.
const NOTHING: f64 = 1e-12;

/// Keys whose text names the program itself: only that it is a text is held.
fn names_the_program(key: &str) -> bool {
    key == "program"
}

/// Hexadecimal digits from which on they are a digest.
const DIGEST: usize = 16;

/// A text with its digests, which stand for inputs to their last digit, left out.
fn without_digests(text: &str) -> String {
    let mut kept = String::new();
    let mut rest = text;
    while !rest.is_empty() {
        let is_hex = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
        let run = rest.find(|c| !is_hex(c)).unwrap_or(rest.len());
        let (hex, behind) = rest.split_at(run);
        kept.push_str(if run < DIGEST { hex } else { "DIGEST" });
        let other = behind.find(is_hex).unwrap_or(behind.len());
        kept.push_str(&behind[..other]);
        rest = &behind[other..];
    }
    kept
}

/// A text in which every temporary folder has one name.
fn without_drawn_names(text: &str) -> String {
    const BEGINS: &str = ".tmp";
    const DRAWN: usize = 6;
    let mut parts = text.split(BEGINS);
    let mut kept = parts.next().unwrap_or("").to_owned();
    for part in parts {
        let is_drawn = part.bytes().take(DRAWN).all(|b| b.is_ascii_alphanumeric());
        let named = part.get(DRAWN..).filter(|_| is_drawn);
        kept.push_str(BEGINS);
        kept.push_str(named.map_or("", |_| "folder"));
        kept.push_str(named.unwrap_or(part));
    }
    let elsewhere = std::env::temp_dir().join(format!("{BEGINS}folder"));
    kept.replace(&elsewhere.display().to_string(), "ELSEWHERE")
}

fn alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= NOTHING.max(ALIKE * a.abs().max(b.abs()))
}

/// Where the values of two documents of one shape differ, in words.
fn differing(was: &Value, is: &Value, place: &str, found: &mut Vec<String>) {
    match (was, is) {
        (Value::Object(was), Value::Object(is)) => {
            for (key, value) in was.iter().filter(|(key, _)| !names_the_program(key)) {
                let now = is.get(key).unwrap_or(&Value::Null);
                differing(value, now, &format!("{place}/{key}"), found);
            }
        }
        (Value::Array(was), Value::Array(is)) if was.len() == is.len() => {
            for (i, (was, is)) in was.iter().zip(is).enumerate() {
                differing(was, is, &format!("{place}/{i}"), found);
            }
        }
        (Value::Array(was), Value::Array(is)) => {
            found.push(format!("{place}: {} items, now {}", was.len(), is.len()));
        }
        (Value::Number(a), Value::Number(b)) if alike(a.as_f64().unwrap(), b.as_f64().unwrap()) => {
        }
        (Value::String(a), Value::String(b)) if without_digests(a) == without_digests(b) => {}
        _ if was == is => {}
        _ => found.push(format!("{place}: {was}, now {is}")),
    }
}

/// A document with the numbers of the committed one where they are alike, so that a renewal shows what really changed.
fn settled(was: &Value, is: &Value) -> Value {
    match (was, is) {
        (Value::Object(was), Value::Object(is)) => {
            let each = is.iter().map(|(key, value)| {
                let before = was.get(key).unwrap_or(&Value::Null);
                (key.clone(), settled(before, value))
            });
            Value::Object(each.collect())
        }
        (Value::Array(was), Value::Array(is)) => {
            let before = was.iter().chain(std::iter::repeat(&Value::Null));
            let each = is.iter().zip(before);
            Value::Array(each.map(|(value, before)| settled(before, value)).collect())
        }
        (Value::Number(a), Value::Number(b)) if alike(a.as_f64().unwrap(), b.as_f64().unwrap()) => {
            was.clone()
        }
        (Value::String(a), Value::String(b)) if without_digests(a) == without_digests(b) => {
            was.clone()
        }
        _ => is.clone(),
    }
}

/// Compares a document with the committed one; `folder` is where its files lay.
#[track_caller]
pub(crate) fn compare(name: &str, document: &Value, folder: &Path) {
    let path = committed(name);
    let known: Value = fs::read_to_string(&path)
        .ok()
        .map_or(Value::Null, |text| serde_json::from_str(&text).unwrap());
    let text = serde_json::to_string(document).unwrap();
    let text = text.replace(&folder.display().to_string(), "FOLDER");
    let document: Value = serde_json::from_str(&without_drawn_names(&text)).unwrap();
    let (was, is) = (shape(&known), shape(&document));
    let (lost, new) = (lacking(&was, &is), lacking(&is, &was));
    let mut other = Vec::new();
    differing(&known, &document, "", &mut other);
    let is_same = lost.is_empty() && new.is_empty() && other.is_empty();
    if std::env::var_os("SOUNDLINE_RENEW").is_some() && (known.is_null() || lost.is_empty()) {
        if !is_same {
            let text = serde_json::to_string_pretty(&settled(&known, &document)).unwrap();
            fs::write(&path, text + "\n").unwrap();
        }
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
    assert!(
        other.is_empty(),
        "{name}: {} values are others than in the committed document; read why, and where they are right renew it (see the head of documents.rs):\n{}",
        other.len(),
        other[..other.len().min(40)].join("\n")
    );
}

/// The comparison sees a key that is renamed or lost, a unit that is another, and a type that is; and another number, text or list apart from those.
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
    // Another number is of the same shape, and no longer the same document.
    let value = good["requirements"][0]["verdicts"][0]["value"]["value"].to_string();
    let value: f64 = value.parse().unwrap();
    let of = |number: f64| {
        let mut other = good.clone();
        other["requirements"][0]["verdicts"][0]["value"]["value"] = number.into();
        assert!(lacking(&shape(&good), &shape(&other)).is_empty());
        let mut found = Vec::new();
        differing(&good, &other, "", &mut found);
        found
    };
    assert_eq!(of(value * 1.000_01).len(), 1);
    assert!(of(value * (1.0 + 1e-9)).is_empty());
    let digest = "48d7acc7a3768287";
    let named = |digest: &str| without_digests(&format!("a face of draws-{digest}.json, 1.25"));
    assert_eq!(named(digest), named(&digest.replace('4', "0")));
    assert_eq!(named(""), "a face of draws-.json, 1.25");
    for (place, with) in [
        ("/requirements/0/ruling", Value::from("other")),
        ("/requirements/0/verdicts", Value::Array(Vec::new())),
        ("/counts", Value::Null),
    ] {
        let mut other = good.clone();
        *other.pointer_mut(place).unwrap() = with;
        let mut found = Vec::new();
        differing(&good, &other, "", &mut found);
        assert_eq!(found.len(), 1, "{place}: {found:?}");
    }
}
