//! The JSON Schema against the reader: what one accepts the other accepts.

use serde_json::Value;

use crate::support::{CUES, Files, SMALL};

/// A small walker for the words of JSON Schema that ours uses.
fn accepts(schema: &Value, value: &toml::Value) -> Result<(), String> {
    if let Some(words) = schema.get("enum").and_then(Value::as_array) {
        let text = value.as_str().unwrap_or("");
        return if words.iter().any(|w| w == text) {
            Ok(())
        } else {
            Err(format!("`{text}` is none of the words"))
        };
    }
    if let Some(word) = schema.get("const") {
        return if value.as_str() == word.as_str() {
            Ok(())
        } else {
            Err(format!("not {word}"))
        };
    }
    if let Some(all) = schema.get("oneOf").and_then(Value::as_array) {
        return match all.iter().filter(|s| accepts(s, value).is_ok()).count() {
            1 => Ok(()),
            n => Err(format!("{n} of the choices fit")),
        };
    }
    let found = match value {
        toml::Value::String(_) => "string",
        toml::Value::Integer(_) => "integer",
        toml::Value::Float(_) => "number",
        toml::Value::Boolean(_) => "boolean",
        toml::Value::Datetime(_) => "object",
        toml::Value::Array(_) => "array",
        toml::Value::Table(_) => "object",
    };
    let types: Vec<&str> = match &schema["type"] {
        Value::String(s) => vec![s],
        Value::Array(list) => list.iter().filter_map(Value::as_str).collect(),
        _ => return Err("a schema without a type".to_owned()),
    };
    let whole_as_number = found == "integer" && types.contains(&"number");
    if !types.contains(&found) && !whole_as_number {
        return Err(format!("{found} is not {types:?}"));
    }
    match value {
        toml::Value::Array(list) => {
            let size = list.len() as u64;
            if schema["minItems"].as_u64().is_some_and(|n| size < n)
                || schema["maxItems"].as_u64().is_some_and(|n| size > n)
            {
                return Err(format!("{size} items"));
            }
            list.iter().try_for_each(|v| accepts(&schema["items"], v))
        }
        toml::Value::Table(table) => {
            let needed = |list: &Value| {
                list.as_array().is_none_or(|keys| {
                    keys.iter()
                        .all(|k| table.contains_key(k.as_str().unwrap_or("")))
                })
            };
            if !needed(&schema["required"]) {
                return Err(format!("lacks one of {}", schema["required"]));
            }
            if let Some(any) = schema["anyOf"].as_array()
                && !any.iter().any(|s| needed(&s["required"]))
            {
                return Err("lacks what is required".to_owned());
            }
            for (key, inner) in table {
                match (&schema["properties"][key], &schema["additionalProperties"]) {
                    (Value::Null, Value::Bool(false)) => {
                        return Err(format!("unknown key `{key}`"));
                    }
                    (Value::Null, other) => {
                        accepts(other, inner).map_err(|e| format!("{key}: {e}"))?
                    }
                    (own, _) => accepts(own, inner).map_err(|e| format!("{key}: {e}"))?,
                }
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

fn by_schema(schema: &Value, text: &str) -> Result<(), String> {
    let value: toml::Value = toml::from_str(text).map_err(|e| e.to_string())?;
    accepts(schema, &value)
}

#[test]
fn verif_the_schema_accepts_what_the_reader_accepts() {
    by_schema(&plan::plan_schema(), SMALL).unwrap();
    by_schema(&plan::cues_schema(), CUES).unwrap();
    let plans = concat!(env!("CARGO_MANIFEST_DIR"), "/../../plans/");
    for name in [
        "harrow-sound/plan.toml",
        "pile-watch/plan.toml",
        "cold-wake/plan.toml",
        "long-reach/plan.toml",
        "gannet-stack/plan.toml",
    ] {
        by_schema(
            &plan::plan_schema(),
            &std::fs::read_to_string(format!("{plans}{name}")).unwrap(),
        )
        .unwrap();
    }
    for name in [
        "harrow-sound/cues/ferry-night.toml",
        "pile-watch/cues/soft-start.toml",
    ] {
        by_schema(
            &plan::cues_schema(),
            &std::fs::read_to_string(format!("{plans}{name}")).unwrap(),
        )
        .unwrap();
    }
}

/// Each line of the small plan in turn: a misspelt key, and a key left out, are refused by both or by neither.
#[test]
fn verif_the_schema_refuses_what_the_reader_refuses() {
    let schema = plan::plan_schema();
    let lines: Vec<&str> = SMALL.lines().collect();
    let mut refused = 0;
    for (i, line) in lines.iter().enumerate() {
        let Some((key, rest)) = line
            .split_once(" = ")
            .filter(|(k, _)| !k.starts_with(['#', ' ']))
        else {
            continue;
        };
        for new in [
            format!("{key}x = {rest}"),
            String::new(),
            format!("{key} = true"),
        ] {
            let mut changed = lines.clone();
            changed[i] = &new;
            let text = changed.join("\n");
            let reading = Files::one(text.clone()).read();
            // A key that is missing may be filled by a part, and what a key holds is checked more closely by the reader: of
            // these the schema says less. Unknown keys both refuse.
            let by_reader = reading
                .mistakes
                .iter()
                .any(|m| m.code == plan::Code::UnknownKey);
            let by_schema = by_schema(&schema, &text);
            if by_schema.is_err() {
                refused += 1;
                assert!(
                    reading.has_errors(),
                    "the schema alone refuses line {}: `{new}`: {by_schema:?}",
                    i + 1
                );
            }
            if by_reader {
                assert!(
                    by_schema.is_err(),
                    "the reader alone refuses line {}: `{new}`: {:?}",
                    i + 1,
                    reading.mistakes
                );
            }
        }
    }
    assert!(refused > 60, "{refused}");
}
