//! The schema against the reader: documents made from the schema alone are read, and bent ones are refused.

use std::collections::BTreeMap;

use quantity::{Dimension, LevelKind};
use regex_lite::Regex;
use serde_json::{Map, Value as Json, json};

use super::{Forms, cues_schema, field, plan_schema};
use crate::catalogue::Catalogue;
use crate::field::{Field, Section, Shape};
use crate::mistake::{Code, Mistakes};
use crate::node::{Entry, Node, Table, Value};
use crate::read::Reader;
use crate::site::{FileId, Site};
use crate::tables::{CUE_SHEET, PART_KINDS, PLAN};

/// Marks a text that stands for a TOML date.
const DATE: &str = "date:";

/// A document that the schema accepts: with every key, or with those alone that must be there.
fn sample(schema: &Json, whole: bool) -> Json {
    if let Some(words) = schema["enum"].as_array() {
        return words[0].clone();
    }
    match &schema["type"] {
        Json::Array(types) if types.contains(&json!("object")) => {
            json!(format!("{DATE}{}", schema["examples"][0].as_str().unwrap()))
        }
        // A figure: a number, or a text with its spread.
        Json::Array(types)
            if types.contains(&json!("number")) && schema.get("examples").is_some() =>
        {
            schema["minimum"].clone()
        }
        Json::Array(_) => json!("1"),
        Json::String(kind) => match kind.as_str() {
            "string" => json!(
                schema["examples"][0]
                    .as_str()
                    .unwrap_or("some text")
                    .replace("ID", "x")
            ),
            "integer" => schema["minimum"].clone(),
            "number" => json!(
                schema["minimum"]
                    .as_f64()
                    .or(schema["exclusiveMinimum"].as_f64().map(|x| x + 0.5))
                    .unwrap_or(1.5)
            ),
            "boolean" => json!(true),
            "array" => {
                let size = schema["minItems"].as_u64().unwrap();
                Json::Array((0..size).map(|_| sample(&schema["items"], whole)).collect())
            }
            _ => object(schema, whole),
        },
        _ => panic!("a schema without a type: {schema}"),
    }
}

fn object(schema: &Json, whole: bool) -> Json {
    let Some(properties) = schema["properties"].as_object() else {
        let key = match schema["propertyNames"]["pattern"].as_str() {
            Some("^[^+#]+$") => "alert/call",
            _ => "x",
        };
        return json!({ key: sample(&schema["additionalProperties"], whole) });
    };
    let needed = needed(schema);
    let keys = properties
        .iter()
        // The reader of fields alone knows no parts and fetches no files.
        .filter(|(key, _)| !["part", "include"].contains(&key.as_str()))
        .filter(|(key, _)| whole || needed.contains(key));
    let object: Map<String, Json> = keys
        .map(|(key, inner)| (key.clone(), sample(inner, whole)))
        .collect();
    Json::Object(object)
}

fn needed(schema: &Json) -> Vec<&String> {
    let list = match schema["anyOf"].as_array() {
        Some(any) => &any[1]["required"],
        None => &schema["required"],
    };
    let properties = schema["properties"].as_object().unwrap();
    list.as_array()
        .into_iter()
        .flatten()
        .map(|key| properties.keys().find(|k| key == *k).unwrap())
        .collect()
}

fn node(value: &Json) -> Node {
    let site = Site::new(FileId(0), 0..0);
    let value = match value {
        Json::String(text) => match text.strip_prefix(DATE) {
            Some(date) => Value::Date(date.to_owned()),
            None => Value::Text(text.clone()),
        },
        Json::Bool(flag) => Value::Flag(*flag),
        Json::Number(n) if n.is_i64() => Value::Integer(n.as_i64()),
        Json::Number(n) => Value::Float(n.as_f64().unwrap()),
        Json::Array(list) => Value::List(list.iter().map(node).collect()),
        Json::Object(map) => Value::Table(
            map.iter()
                .map(|(key, inner)| {
                    let node = node(inner);
                    (key.clone(), Entry { key: site, node })
                })
                .collect::<Table>(),
        ),
        Json::Null => panic!("no null in TOML"),
    };
    Node {
        site,
        used_at: None,
        value,
    }
}

/// The codes of what the reader of fields finds wrong.
fn told(section: &'static Section, document: &Json) -> Vec<(Code, String)> {
    let catalogue = Catalogue::default();
    let mut mistakes = Mistakes::default();
    Reader::new(&catalogue, &mut mistakes).file(section, &node(document));
    mistakes
        .into_sorted()
        .into_iter()
        .map(|m| (m.code, m.message))
        .collect()
}

/// Every place of the schema that a sample document holds: the pointer into the document, and the schema there.
fn places<'s>(schema: &'s Json, document: &Json, at: &str, found: &mut Vec<(String, &'s Json)>) {
    found.push((at.to_owned(), schema));
    match document {
        Json::Object(map) => {
            for (key, inner) in map {
                let own = match schema["properties"].get(key) {
                    Some(own) => own,
                    None => &schema["additionalProperties"],
                };
                let key = key.replace('~', "~0").replace('/', "~1");
                places(own, inner, &format!("{at}/{key}"), found);
            }
        }
        Json::Array(list) => places(&schema["items"], &list[0], &format!("{at}/0"), found),
        _ => {}
    }
}

fn bent(document: &Json, at: &str, bend: impl FnOnce(&mut Json)) -> Json {
    let mut document = document.clone();
    bend(document.pointer_mut(at).unwrap());
    document
}

fn check(section: &'static Section, schema: &Json) -> usize {
    assert_eq!(
        told(section, &sample(schema, false)),
        [],
        "the least document"
    );
    let whole = sample(schema, true);
    assert_eq!(told(section, &whole), [], "the whole document");
    let mut found = Vec::new();
    places(schema, &whole, "", &mut found);
    let mut bends = 0;
    let mut refuses = |document: Json, code: Code, why: &str| {
        let told = told(section, &document);
        assert!(told.iter().any(|(c, _)| *c == code), "{why}: {told:?}");
        bends += 1;
    };
    for (at, schema) in &found {
        if let Some(words) = schema["enum"].as_array() {
            for word in words {
                let document = bent(&whole, at, |v| *v = word.clone());
                assert_eq!(told(section, &document), [], "{at}: {word}");
            }
            let strange = bent(&whole, at, |v| *v = json!("zz"));
            refuses(strange, Code::UnknownWord, at);
            continue;
        }
        let strange = if schema["type"] == "boolean" {
            json!("zz")
        } else {
            json!(true)
        };
        if at.is_empty() {
            // The whole document: a file is always a table.
        } else if !schema["type"].is_array() || schema.get("examples").is_some() {
            refuses(bent(&whole, at, |v| *v = strange), Code::WrongType, at);
        }
        if schema["type"] == "object" && schema.get("properties").is_some() {
            for key in needed(schema) {
                let less = bent(&whole, at, |v| {
                    v.as_object_mut().unwrap().remove(key);
                });
                refuses(less, Code::MissingKey, &format!("{at} without {key}"));
            }
            let more = bent(&whole, at, |v| v["zz"] = json!(1));
            refuses(more, Code::UnknownKey, at);
        }
        let limits = [("minimum", -1), ("exclusiveMinimum", 0), ("maximum", 1)];
        for (limit, past) in limits {
            let Some(most) = schema.get(limit) else {
                continue;
            };
            let document = match most.as_i64().map(|n| n.checked_add(past)) {
                Some(Some(n)) => bent(&whole, at, |v| *v = json!(n)),
                Some(None) => continue,
                None => bent(&whole, at, |v| {
                    *v = json!(most.as_f64().unwrap() + past as f64)
                }),
            };
            refuses(
                document,
                Code::OutOfRange,
                &format!("{at} past its {limit}"),
            );
        }
        if schema["type"] == "array" {
            let less = bent(&whole, at, |v| drop(v.as_array_mut().unwrap().pop()));
            refuses(less, Code::OutOfRange, &format!("{at} with an item less"));
            if schema.get("maxItems").is_some() {
                let more = bent(&whole, at, |v| {
                    let list = v.as_array_mut().unwrap();
                    list.push(list[0].clone());
                });
                refuses(more, Code::OutOfRange, &format!("{at} with an item more"));
            }
        }
    }
    bends
}

/// Keys, words, counts and bounds of the schema are those of the reader, in both directions.
#[test]
fn verif_the_schema_of_plans_says_what_the_reader_does() {
    let bends = check(&PLAN, &without_parts(plan_schema()));
    assert!(bends > 300, "{bends}");
}

#[test]
fn verif_the_schema_of_cue_sheets_says_what_the_reader_does() {
    let bends = check(&CUE_SHEET, &cues_schema());
    assert!(bends >= 100, "{bends}");
}

/// Parts have their own check below: each is one of several kinds.
fn without_parts(mut schema: Json) -> Json {
    schema["properties"].as_object_mut().unwrap().remove("part");
    schema
}

#[test]
fn verif_the_schema_of_parts_says_what_the_reader_does() {
    let schema = plan_schema();
    let kinds = schema["properties"]["part"]["additionalProperties"]["oneOf"]
        .as_array()
        .unwrap();
    assert_eq!(kinds.len(), PART_KINDS.len());
    let mut bends = 0;
    for (kind, section) in kinds.iter().zip(PART_KINDS) {
        let word = kind["properties"]["is"]["const"].as_str();
        assert_eq!(word, section.part);
        let mut own = kind.clone();
        for of_the_part in ["is", "shared"] {
            let properties = own["properties"].as_object_mut().unwrap();
            assert!(properties.remove(of_the_part).is_some());
        }
        own["required"] = json!([]);
        let whole = sample(&own, true);
        let read = |document: &Json| {
            let catalogue = Catalogue::default();
            let mut mistakes = Mistakes::default();
            let Value::Table(table) = node(document).value else {
                panic!("a part is a table");
            };
            Reader::new(&catalogue, &mut mistakes).part(
                section,
                &table,
                Site::new(FileId(0), 0..0),
                "part.x",
            );
            mistakes.into_sorted()
        };
        assert_eq!(read(&whole), []);
        assert_eq!(read(&json!({})), []);
        let mut found = Vec::new();
        places(&own, &whole, "", &mut found);
        for (at, schema) in found {
            if schema["type"] == "object" && schema.get("properties").is_some() {
                let more = bent(&whole, &at, |v| v["zz"] = json!(1));
                assert_eq!(read(&more)[0].code, Code::UnknownKey, "{at}");
                bends += 1;
            }
        }
    }
    assert!(bends >= 15, "{bends}");
}

/// Every field of a section and of those below it.
fn fields(section: &'static Section, found: &mut Vec<Field>) {
    for field in section.fields {
        found.push(*field);
        match field.shape {
            Shape::Table(s) | Shape::Tables(s) | Shape::Keyed(s) | Shape::KeyedTopics(s) => {
                fields(s, found);
            }
            Shape::Parts => PART_KINDS.iter().for_each(|s| fields(s, found)),
            Shape::KeyedLoads => found.push(Field {
                shape: Shape::Load,
                ..*field
            }),
            _ => {}
        }
    }
}

/// Texts of every kind of quantity, right and wrong in turn: every unit there is, in all the ways to write a number and a spread.
fn texts() -> Vec<String> {
    let numbers = [
        "3",
        "0.5",
        "-3",
        "0",
        "-1e-8",
        "+2",
        "1e-3",
        "\u{2212}4",
        "1,300",
        "1 300",
        "1.",
        ".5",
        "x",
        "",
    ];
    let spreads = [
        "",
        " \u{b1} 10 %",
        " +/- 1 % of the value",
        " \u{b1} 0.1 points",
        " \u{b1} 0.1",
        " \u{b1} 0.1 % uniform",
        " \u{b1} -1 %",
        " \u{b1}",
    ];
    let mut units: Vec<&str> = Dimension::ALL.iter().flat_map(|d| d.units()).collect();
    units.extend(LevelKind::ALL.map(LevelKind::unit));
    units.extend([
        "",
        "\u{b5}m",
        "\u{3bc}s",
        "\u{3a9}",
        "\u{b0}",
        "\u{2103}",
        "m\u{b2}",
        "m^2",
        "nV/\u{221a}Hz",
        "nV/sqrt(Hz)",
        "month",
        "zz",
        "dB re 1 uPa @ 1 m",
        "dB re 1 uPa2\u{b7}s",
        "dB re1 uPa",
        "db",
        "EUR",
        "JPY",
        "XYZ",
        "AWG",
        "mm2 class 5",
        "mm2 class 2 tinned",
        "mm2 class 3",
        "per hour",
        "per 10 s",
        "per month",
        "per 0 s",
        "m m",
    ]);
    let mut texts: Vec<String> = Vec::new();
    for unit in &units {
        texts.extend(numbers.iter().map(|n| format!("{n} {unit}")));
        texts.extend(spreads.iter().map(|spread| format!("3 {unit}{spread}")));
        texts.push(format!("3{unit}"));
        texts.push(format!("  3 {unit} "));
        let own = unit.split(' ').next().unwrap();
        texts.push(format!("3 {unit} \u{b1} 0.1 {own}"));
        texts.push(format!("3 {unit} +/- 0.1 {own} uniform"));
    }
    let more = [
        "16 AWG",
        "4/0 AWG",
        "5/0 AWG",
        "41 AWG",
        "AWG 16",
        "18AWG",
        "1.50 mm2 class 5",
        "1.1 mm2 class 5",
        "0.12 EUR",
        "0.123 EUR",
        "-0.12 EUR",
        "0.1 JPY",
        "1e2 EUR",
        "300 per 30 d",
    ];
    texts.extend(more.map(str::to_owned));
    texts
}

/// What an editor underlines in a quantity is what the reader refuses of it, but for how large it may be.
#[test]
fn verif_forms_of_quantities_in_the_schema_are_those_of_the_reader() {
    let mut all = Vec::new();
    fields(&PLAN, &mut all);
    fields(&CUE_SHEET, &mut all);
    let mut of_kind = BTreeMap::new();
    for one in all {
        let mut forms = Forms::new();
        let place = field(Box::leak(Box::new(one)), false, &mut forms);
        if let Some(name) = place["allOf"][0]["$ref"].as_str() {
            let form = &forms[name.strip_prefix("#/$defs/").unwrap()];
            let form = form["pattern"].as_str().unwrap().to_owned();
            of_kind.entry(form).or_insert(one);
        }
    }
    assert!(of_kind.len() > 40, "{}", of_kind.len());
    let texts = texts();
    let (mut accepted, mut refused) = (0, 0);
    for (form, one) in of_kind {
        let form = Regex::new(&form).unwrap();
        let section = Box::leak(Box::new(Section {
            name: "a table",
            doc: "",
            part: None,
            fields: Box::leak(Box::new([one])),
        }));
        for text in &texts {
            let told = told(section, &json!({ one.key: text }));
            let out_of_range = told.iter().any(|(code, _)| *code == Code::OutOfRange);
            // A number that is hardly below zero, or zero, is out of range for its sign alone; not on a scale with another zero.
            let of_sign =
                !text.contains("degF") && ["-1e-8 ", "0 "].iter().any(|n| text.starts_with(n));
            if form.is_match(text) {
                let passes = told.is_empty() || (out_of_range && !of_sign);
                assert!(
                    passes,
                    "{}: \"{text}\" passes the schema: {told:?}",
                    one.key
                );
                accepted += 1;
            } else {
                let key = one.key;
                assert!(
                    !told.is_empty(),
                    "{key}: \"{text}\" is read, and the schema refuses it"
                );
                refused += 1;
            }
        }
    }
    assert!(accepted > 2000 && refused > 20_000, "{accepted}, {refused}");
}

/// A limit on a cost and one on a number of messages have a form of their own, and it is the reader's: nothing below zero, and no bare number.
#[test]
fn verif_limits_of_money_and_of_rates_in_the_schema_are_those_of_the_reader() {
    type Read = fn(&mut Reader<'_>, &Node) -> bool;
    let money: Read = |reader, node| reader.money(node).is_some();
    let rate: Read = |reader, node| reader.event_rate(node).is_some();
    let of_kinds = [
        ("uplink-messages", rate),
        ("uplink-cost", money),
        ("false-alarms", rate),
    ];
    let schema = plan_schema();
    let conditions = schema["properties"]["requirement"]["additionalProperties"]["allOf"]
        .as_array()
        .unwrap();
    assert_eq!(conditions.len(), of_kinds.len());
    let form_of = |word: &str| {
        let of = |c: &&Json| c["if"]["properties"]["that"]["const"] == word;
        let limit = &conditions.iter().find(of).unwrap()["then"]["properties"]["at_most"];
        assert_eq!(limit["type"], "string");
        let name = limit["allOf"][0]["$ref"].as_str().unwrap();
        let form = &schema["$defs"][name.strip_prefix("#/$defs/").unwrap()];
        Regex::new(form["pattern"].as_str().unwrap()).unwrap()
    };
    let catalogue = Catalogue::default();
    for (word, read) in of_kinds {
        let form = form_of(word);
        let mut accepted = 0;
        for text in texts() {
            let mut mistakes = Mistakes::default();
            let reads = read(
                &mut Reader::new(&catalogue, &mut mistakes),
                &node(&json!(text)),
            );
            assert_eq!(form.is_match(&text), reads, "{word}: \"{text}\"");
            accepted += u32::from(reads);
        }
        assert!(accepted > 0, "{word}");
    }
    let cost = form_of("uplink-cost");
    assert!(cost.is_match("60 EUR") && !cost.is_match("-60 EUR"));
}
