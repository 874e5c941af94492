//! Packed payloads of topics.

use network::{Field, FieldKind, Frame, Layout};
use plan::{Payload, Request, Topic, TopicField};

use super::InputError;

/// The packed form of a topic's messages; `None` for a topic that gives a size and no fields.
///
/// # Errors
/// [`InputError::Payload`].
pub fn layout(topic: &Topic) -> Result<Option<Layout>, InputError> {
    if topic.size_bytes.is_some() {
        return Ok(None);
    }
    let frame = Frame {
        schema: topic.schema_id,
        sequence_bits: topic.sequence_bits,
        starts_bits: topic.starts_bits,
        crc: topic.crc,
    };
    packed(frame, &topic.fields, || format!("topic \"{}\"", topic.name)).map(Some)
}

fn packed(
    frame: Frame,
    fields: &[TopicField],
    what: impl FnOnce() -> String,
) -> Result<Layout, InputError> {
    let fields = fields.iter().map(field).collect();
    Layout::new(frame, fields).map_err(|source| InputError::Payload {
        what: what(),
        source,
    })
}

/// The packed forms of a request's question and answer, with nothing around their fields; `None` for one that gives a size only.
///
/// # Errors
/// [`InputError::Payload`].
pub fn request_layouts(request: &Request) -> Result<[Option<Layout>; 2], InputError> {
    let packed = |payload: &Payload, which: &str| match payload {
        Payload::Size(_) => Ok(None),
        Payload::Fields(fields) => {
            let what = || format!("the {which} of request.{}", request.id);
            packed(Frame::default(), fields, what).map(Some)
        }
    };
    Ok([
        packed(&request.question, "question")?,
        packed(&request.answer, "answer")?,
    ])
}

/// Payload sizes of a request's question and answer, bytes: as written, or of the packed fields.
///
/// # Errors
/// [`InputError::Payload`].
pub fn request_bytes(request: &Request) -> Result<[u32; 2], InputError> {
    let [question, answer] = request_layouts(request)?;
    let bytes = |payload: &Payload, layout: Option<Layout>| match payload {
        Payload::Size(bytes) => *bytes,
        Payload::Fields(_) => layout.map_or(0, |l| l.bytes()),
    };
    Ok([
        bytes(&request.question, question),
        bytes(&request.answer, answer),
    ])
}

/// Payload size of a topic, bytes: as written with what its numbering adds, or of its packed fields.
///
/// # Errors
/// [`InputError::Payload`].
pub fn payload_bytes(topic: &Topic) -> Result<u32, InputError> {
    if let Some(size) = topic.size_bytes {
        let numbering = topic.numbering_bytes.map_or(0.0, |q| q.si);
        return Ok((size.si + numbering) as u32);
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
