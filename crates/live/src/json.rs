//! A message as a JSON object of its fields by name (RFC 8259): numbers, the words of choices, true and false, instants as
//! `2027-03-15T04:15:00Z` (RFC 3339), null for no data.

use std::fmt::Write as _;

use jiff::Timestamp;
use network::{FieldKind, Layout, Place, Value};
use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value as Json;

/// Bytes that are no JSON of a topic's fields.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JsonError {
    /// No JSON object.
    #[error("it is no JSON object: {why}")]
    Syntax {
        /// Why.
        why: String,
    },
    /// A name that no field has.
    #[error("there is no field `{name}`")]
    Unknown {
        /// The name.
        name: String,
    },
    /// A field twice.
    #[error("it holds the field `{name}` twice")]
    Twice {
        /// The field.
        name: String,
    },
    /// A field that is missing.
    #[error("it lacks the field `{name}`")]
    Missing {
        /// The field.
        name: String,
    },
    /// A value that its field cannot have.
    #[error("the field `{name}` cannot be {value}")]
    Kind {
        /// The field.
        name: String,
        /// What stands there.
        value: String,
    },
}

/// The names and values of an object, as they stand in it.
struct Pairs(Vec<(String, Json)>);

impl<'de> Deserialize<'de> for Pairs {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Object;
        impl<'de> Visitor<'de> for Object {
            type Value = Pairs;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("an object of the fields by name")
            }
            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Pairs, M::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }
        deserializer.deserialize_map(Object)
    }
}

pub(crate) fn write(layout: &Layout, values: &[Value]) -> Vec<u8> {
    let mut text = String::from("{");
    for (place, value) in layout.places().iter().zip(values) {
        if text.len() > 1 {
            text.push(',');
        }
        let name = Json::from(place.field.name.as_str());
        write!(text, "{name}:{}", json(place, *value)).expect("a string takes text");
    }
    text.push('}');
    text.into_bytes()
}

fn json(place: &Place, value: Value) -> Json {
    match (value, &place.field.kind) {
        (Value::Number(x), _) if place.is_whole() && x.fract() == 0.0 && x.abs() < 1e15 => {
            Json::from(x as i64)
        }
        (Value::Number(x), _) => Json::from(x),
        (Value::Choice(choice), FieldKind::Choice { values }) => {
            Json::from(values.get(choice as usize).map(String::as_str))
        }
        (Value::Flag(yes), _) => Json::from(yes),
        (Value::Time(ns), _) => {
            let time = Timestamp::from_nanosecond(i128::from(ns));
            Json::from(time.ok().map(|t| t.to_string()))
        }
        (Value::NoData | Value::Choice(_), _) => Json::Null,
    }
}

pub(crate) fn read(layout: &Layout, bytes: &[u8]) -> Result<Vec<Value>, JsonError> {
    let pairs: Pairs = serde_json::from_slice(bytes).map_err(|error| JsonError::Syntax {
        why: error.to_string(),
    })?;
    let places = layout.places();
    let mut values: Vec<Option<Value>> = vec![None; places.len()];
    for (name, json) in pairs.0 {
        let Some(number) = places.iter().position(|p| p.field.name == name) else {
            return Err(JsonError::Unknown { name });
        };
        if values[number].is_some() {
            return Err(JsonError::Twice { name });
        }
        let Some(value) = value(&places[number], &json) else {
            let value = json.to_string();
            return Err(JsonError::Kind { name, value });
        };
        values[number] = Some(value);
    }
    let named = places.iter().zip(values);
    named
        .map(|(place, value)| {
            value.ok_or_else(|| JsonError::Missing {
                name: place.field.name.clone(),
            })
        })
        .collect()
}

fn value(place: &Place, json: &Json) -> Option<Value> {
    match (&place.field.kind, json) {
        (FieldKind::Scaled { .. }, Json::Null) => Some(Value::NoData),
        (FieldKind::Scaled { .. }, Json::Number(n)) => n.as_f64().map(Value::Number),
        (FieldKind::Choice { values }, Json::String(word)) => {
            let choice = values.iter().position(|v| v == word)?;
            u32::try_from(choice).ok().map(Value::Choice)
        }
        (FieldKind::Flag, Json::Bool(yes)) => Some(Value::Flag(*yes)),
        (FieldKind::Time { .. }, Json::String(text)) => {
            let time: Timestamp = text.parse().ok()?;
            i64::try_from(time.as_nanosecond()).ok().map(Value::Time)
        }
        _ => None,
    }
}
