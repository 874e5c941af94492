//! Packed payloads of topics.

use network::{Field, FieldKind, Frame, Layout};
use plan::{Topic, TopicField};

use super::InputError;

/// The packed form of a topic's messages; `None` for a topic that gives a size and no fields.
///
/// # Errors
/// [`InputError::Payload`].
pub fn layout(topic: &Topic) -> Result<Option<Layout>, InputError> {
    if topic.size_bytes.is_some() {
        return Ok(None);
    }
    let fields = topic.fields.iter().map(field).collect();
    let frame = Frame {
        schema: topic.schema_id,
        sequence_bits: topic.sequence_bits,
        crc: topic.crc,
    };
    Layout::new(frame, fields)
        .map(Some)
        .map_err(|source| InputError::Payload {
            what: format!("topic \"{}\"", topic.name),
            source,
        })
}

/// Payload size of a topic, bytes: as written, or of its packed fields.
///
/// # Errors
/// [`InputError::Payload`].
pub fn payload_bytes(topic: &Topic) -> Result<u32, InputError> {
    if let Some(size) = topic.size_bytes {
        return Ok(size.si as u32);
    }
    Ok(layout(topic)?.map_or(0, |l| l.bytes()))
}

fn field(field: &TopicField) -> Field {
    let (name, kind) = match field {
        TopicField::Scaled {
            name,
            unit,
            from,
            to,
            step,
        } => (
            name,
            FieldKind::Scaled {
                unit: unit.clone(),
                from: *from,
                to: *to,
                step: *step,
            },
        ),
        TopicField::Choice { name, values } => (
            name,
            FieldKind::Choice {
                values: values.clone(),
            },
        ),
        TopicField::Flag { name } => (name, FieldKind::Flag),
        TopicField::Time {
            name,
            bits,
            step_s,
            epoch_ns,
        } => (
            name,
            FieldKind::Time {
                bits: *bits,
                step_s: *step_s,
                epoch_ns: *epoch_ns,
            },
        ),
    };
    Field {
        name: name.clone(),
        kind,
    }
}
