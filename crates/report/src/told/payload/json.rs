//! Layouts, packed records and messages for programs, and a record as the JSON text that would be sent instead.

use network::{FieldKind, Layout, Place, Value, cobs_encode};
use plan::hex;
use serde_json::{Value as Json, json};

use super::{PackedTopic, ReadMessage, SentMessage, Sizes, sent_as, sizes, time_text, value_text};

const NS_PER_S: i64 = 1_000_000_000;

impl Sizes {
    fn json(&self) -> Json {
        json!({
            "packed_bytes": self.packed,
            "cbor_bytes": self.cbor.as_ref().map(Vec::len),
            "json_bytes": self.json.len(),
        })
    }
}

/// The record as the JSON text that would be sent instead: no spaces, times in seconds since 1970.
pub(super) fn json_record(layout: &Layout, values: &[Value]) -> String {
    let named = layout.places().iter().zip(values);
    let pairs: Vec<String> = named
        .map(|(place, value)| {
            let value = match *value {
                Value::Number(v) if v.fract() == 0.0 && v.abs() < 1e15 => json!(v as i64),
                Value::Time(at_ns) if at_ns % NS_PER_S == 0 => json!(at_ns / NS_PER_S),
                Value::Time(at_ns) => json!(at_ns as f64 / NS_PER_S as f64),
                value => value_json(place, value),
            };
            format!("{}:{value}", json!(place.field.name))
        })
        .collect();
    format!("{{{}}}", pairs.join(","))
}

fn value_json(place: &Place, value: Value) -> Json {
    match value {
        Value::NoData => Json::Null,
        Value::Number(v) => json!(v),
        Value::Choice(_) | Value::Time(_) => json!(value_text(place, value)),
        Value::Flag(yes) => json!(yes),
    }
}

fn kind_word(kind: &FieldKind) -> &'static str {
    match kind {
        FieldKind::Scaled { .. } => "number",
        FieldKind::Choice { .. } => "choice",
        FieldKind::Flag => "flag",
        FieldKind::Time { .. } => "time",
    }
}

fn unit(kind: &FieldKind) -> Option<&str> {
    match kind {
        FieldKind::Scaled { unit, .. } => Some(unit),
        _ => None,
    }
}

/// The layouts as one JSON object.
#[must_use]
pub fn topics_json(name: &str, topics: &[PackedTopic], sized: &[(String, u32)]) -> Json {
    let sized = sized
        .iter()
        .map(|(topic, bytes)| json!({ "topic": topic, "bytes": bytes }));
    json!({
        "format": "payload/1",
        "name": name,
        "topics": topics.iter().map(topic_json).collect::<Vec<_>>(),
        "topics_without_fields": sized.collect::<Vec<_>>(),
    })
}

fn topic_json(topic: &PackedTopic) -> Json {
    let layout = &topic.layout;
    let frame = layout.frame();
    let fields: Vec<Json> = layout.places().iter().map(field_json).collect();
    json!({
        "topic": topic.topic,
        "bits": layout.bits(),
        "bytes": layout.bytes(),
        "schema_id": frame.schema,
        "sequence_bits": frame.sequence_bits,
        "starts_bits": frame.starts_bits,
        "crc": frame.crc,
        "fields": fields,
        "example": values_json(layout, &topic.example),
        "example_bytes": sizes(layout, &topic.example).json(),
    })
}

fn field_json(place: &Place) -> Json {
    let kind = &place.field.kind;
    let mut field = json!({
        "id": place.field.name,
        "kind": kind_word(kind),
        "offset_bits": place.offset_bits,
        "bits": place.bits,
        "no_data_code": place.no_data_code(),
    });
    match kind {
        FieldKind::Scaled {
            unit,
            from,
            to,
            step,
        } => {
            field["unit"] = json!(unit);
            field["from"] = json!(from);
            field["to"] = json!(to);
            field["step"] = json!(step);
        }
        FieldKind::Choice { values } => field["values"] = json!(values),
        FieldKind::Flag => {}
        FieldKind::Time {
            step_s, epoch_ns, ..
        } => {
            field["step_s"] = json!(step_s);
            field["epoch"] = json!(time_text(*epoch_ns));
        }
    }
    field
}

pub(in crate::told) fn values_json(layout: &Layout, values: &[Value]) -> Vec<Json> {
    let named = layout.places().iter().zip(values);
    let one = |(place, value): (&Place, &Value)| {
        json!({
            "id": place.field.name,
            "value": value_json(place, *value),
            "unit": unit(&place.field.kind),
        })
    };
    named.map(one).collect()
}

/// A packed record as a JSON object.
#[must_use]
pub fn sent_json(sent: &SentMessage) -> Json {
    let layout = &sent.topic.layout;
    let bytes = &sent.packed.bytes;
    let becomes: Vec<Value> = layout
        .places()
        .iter()
        .zip(&sent.values)
        .map(|(place, value)| sent_as(place, *value))
        .collect();
    let clamped = sent.packed.clamped.iter();
    let clamped: Vec<&str> = clamped
        .map(|number| layout.places()[*number].field.name.as_str())
        .collect();
    let sizes = sizes(layout, &sent.values);
    json!({
        "topic": sent.topic.topic,
        "sequence": sent.numbers.sequence,
        "sequence_sent_as": sent.sent_numbers().sequence,
        "starts": sent.numbers.starts,
        "starts_sent_as": sent.sent_numbers().starts,
        "message_hex": hex(bytes),
        "framed_hex": hex(&cobs_encode(bytes)) + "00",
        "cbor_hex": sizes.cbor.as_ref().map(|cbor| hex(cbor)),
        "given": values_json(layout, &sent.values),
        "sent_as": values_json(layout, &becomes),
        "clamped": clamped,
        "bytes": sizes.json(),
    })
}

/// What a message says as a JSON object.
#[must_use]
pub fn read_json(read: &ReadMessage) -> Json {
    json!({
        "topic": read.topic.topic,
        "sequence": read.unpacked.numbers.sequence,
        "starts": read.unpacked.numbers.starts,
        "values": values_json(&read.topic.layout, &read.unpacked.values),
    })
}
