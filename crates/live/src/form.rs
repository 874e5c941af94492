//! What messages look like at the broker: packed bytes, CBOR or JSON, and how they are read.
//!
//! Packed bytes are those on the line ([`network::Layout`]). CBOR and JSON are maps of the fields by name; what they give is put on the
//! steps of the field's packed form, so that a rehearsal holds what a module could have sent. A topic that gives its size and no fields
//! has no bytes that are known: its messages are mirrored empty, and taken empty or of that size.

use network::{
    Layout, Numbers, PackError, RecordError, UnpackError, Value, record_from_cbor, record_to_cbor,
};
use rehearsal::Content;

use crate::json::{self, JsonError};

/// How payloads are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// As on the line.
    Packed,
    /// A CBOR map of the fields.
    Cbor,
    /// A JSON object of the fields.
    Json,
}

/// A payload that is none of its topic's, or a message that has no such form.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FormError {
    /// Of a topic that gives its size.
    #[error(
        "{found} bytes were given; the topic says {expected}, and an empty payload is taken for as many"
    )]
    Size {
        /// Bytes given.
        found: usize,
        /// Bytes of the topic.
        expected: u32,
    },
    /// No packed message.
    #[error("{0}")]
    Unpack(#[from] UnpackError),
    /// Values that cannot be packed.
    #[error("{0}")]
    Pack(#[from] PackError),
    /// No CBOR of the topic's fields.
    #[error("{0}")]
    Record(#[from] RecordError),
    /// No JSON of the topic's fields.
    #[error("{0}")]
    Json(#[from] JsonError),
    /// Nothing says when the rehearsal begins, and the message tells an instant.
    #[error(
        "it tells an instant, and neither the cue sheet nor the plan says when the rehearsal begins"
    )]
    NoStart,
    /// An instant too far from the rehearsal's.
    #[error(
        "the field `{field}` tells an instant that its bits cannot tell at this time of the rehearsal"
    )]
    Instant {
        /// The field.
        field: String,
    },
    /// A content type that is none of the three.
    #[error(
        "its content type is `{content_type}`; there are application/octet-stream, application/cbor and application/json"
    )]
    ContentType {
        /// As it was given.
        content_type: String,
    },
}

/// What a payload says.
#[derive(Clone, Debug, PartialEq)]
pub struct Read {
    /// One value a field; `None` of a topic without fields.
    pub values: Option<Vec<Value>>,
    /// Numbers of the fields whose value lay outside their range and became the end of it.
    pub clamped: Vec<usize>,
}

impl Form {
    /// Its media type (IANA; RFC 8949 for CBOR, RFC 8259 for JSON).
    #[must_use]
    pub fn content_type(self) -> &'static str {
        match self {
            Form::Packed => "application/octet-stream",
            Form::Cbor => "application/cbor",
            Form::Json => "application/json",
        }
    }

    /// The form of a content type.
    ///
    /// # Errors
    /// [`FormError::ContentType`].
    pub fn of(content_type: &str) -> Result<Form, FormError> {
        [Form::Packed, Form::Cbor, Form::Json]
            .into_iter()
            .find(|f| f.content_type() == content_type)
            .ok_or_else(|| FormError::ContentType {
                content_type: content_type.to_owned(),
            })
    }

    /// The payload of a message; empty where nothing is known of what it holds.
    ///
    /// # Errors
    /// [`FormError::Record`] for instants in steps finer than CBOR tells.
    pub fn write(
        self,
        layout: Option<&Layout>,
        content: Option<&Content>,
    ) -> Result<Vec<u8>, FormError> {
        let (Some(layout), Some(content)) = (layout, content) else {
            return Ok(Vec::new());
        };
        Ok(match self {
            Form::Packed => content.bytes.to_vec(),
            Form::Cbor => record_to_cbor(layout, &content.values)?,
            Form::Json => json::write(layout, &content.values),
        })
    }

    /// Reads a payload. `size` is that of a topic without fields; `received_ns` the instant of the rehearsal, ns since 1970.
    ///
    /// # Errors
    /// [`FormError`].
    pub fn read(
        self,
        layout: Option<&Layout>,
        size: u32,
        payload: &[u8],
        received_ns: Option<i64>,
    ) -> Result<Read, FormError> {
        let Some(layout) = layout else {
            let found = payload.len();
            if found != 0 && found != size as usize {
                let expected = size;
                return Err(FormError::Size { found, expected });
            }
            return Ok(Read {
                values: None,
                clamped: Vec::new(),
            });
        };
        if layout.has_time() && received_ns.is_none() {
            return Err(FormError::NoStart);
        }
        let given = match self {
            Form::Packed => {
                let read = layout.unpack(payload, received_ns)?;
                return Ok(Read {
                    values: Some(read.values),
                    clamped: Vec::new(),
                });
            }
            Form::Cbor => record_from_cbor(layout, payload)?,
            Form::Json => json::read(layout, payload)?,
        };
        let frame = layout.frame();
        let numbers = Numbers {
            sequence: frame.sequence_bits.map(|_| 0),
            starts: frame.starts_bits.map(|_| 0),
        };
        let packed = layout.pack(numbers, &given)?;
        let values = layout.unpack(&packed.bytes, received_ns)?.values;
        if let Some(field) = received_ns.and_then(|at| layout.misread_instant(&given, at)) {
            let field = field.to_owned();
            return Err(FormError::Instant { field });
        }
        Ok(Read {
            values: Some(values),
            clamped: packed.clamped,
        })
    }
}

#[cfg(test)]
mod tests {
    use network::{Field, FieldKind, Frame};
    use proptest::prelude::*;

    use super::*;

    const START_NS: i64 = 1_767_225_600_000_000_000;

    /// The alert of `network`'s own reference: packed to e1338f4f6d93b2.
    pub(crate) fn alert(crc: bool) -> Layout {
        let words = ["none", "vessel", "whistle", "click", "impulse", "other"];
        let scaled = |unit: &str, from, to, step| FieldKind::Scaled {
            unit: unit.to_owned(),
            from,
            to,
            step,
        };
        let fields = [
            (
                "t",
                FieldKind::Time {
                    bits: 24,
                    step_s: 1.0,
                    epoch_ns: 1_735_689_600_000_000_000,
                },
            ),
            (
                "class",
                FieldKind::Choice {
                    values: words.map(str::to_owned).to_vec(),
                },
            ),
            ("level", scaled("dB", 60.0, 180.0, 0.5)),
            ("bearing", scaled("deg", 0.0, 359.0, 1.0)),
            ("depth", scaled("m", 0.0, 204.6, 0.1)),
            ("batt_low", FieldKind::Flag),
        ];
        let fields = fields.map(|(name, kind)| Field {
            name: name.to_owned(),
            kind,
        });
        let frame = Frame {
            crc,
            ..Frame::default()
        };
        Layout::new(frame, fields.to_vec()).unwrap()
    }

    fn values() -> Vec<Value> {
        vec![
            Value::Time(1_767_225_615_000_000_000),
            Value::Choice(2),
            Value::Number(121.5),
            Value::Number(217.0),
            Value::NoData,
            Value::Flag(false),
        ]
    }

    #[test]
    fn verif_each_form_is_read_back() {
        let layout = alert(true);
        let packed = layout.pack(Numbers::NONE, &values()).unwrap();
        let read = layout.unpack(&packed.bytes, Some(START_NS)).unwrap();
        let content = Content {
            values: read.values,
            bytes: packed.bytes.into(),
            clamped: Vec::new(),
        };
        for form in [Form::Packed, Form::Cbor, Form::Json] {
            let payload = form.write(Some(&layout), Some(&content)).unwrap();
            let read = form
                .read(Some(&layout), 0, &payload, Some(START_NS))
                .unwrap();
            assert_eq!(read.values, Some(values()), "{form:?}");
            assert_eq!(Form::of(form.content_type()), Ok(form));
            assert_eq!(
                form.read(Some(&layout), 0, &payload, None),
                Err(FormError::NoStart)
            );
        }
        let json = Form::Json.write(Some(&layout), Some(&content)).unwrap();
        assert_eq!(
            String::from_utf8(json).unwrap(),
            r#"{"t":"2026-01-01T00:00:15Z","class":"whistle","level":121.5,"bearing":217,"depth":null,"batt_low":false}"#
        );
        assert!(Form::of("text/plain").is_err());
    }

    #[test]
    fn verif_values_are_put_on_the_steps_and_what_lay_outside_is_told() {
        let text = r#"{"t":"2026-01-01T00:00:15Z","class":"whistle","level":999,"bearing":217,"depth":47.26,"batt_low":true}"#;
        let layout = alert(false);
        let read = Form::Json
            .read(Some(&layout), 0, text.as_bytes(), Some(START_NS))
            .unwrap();
        let got = read.values.unwrap();
        assert_eq!(got[2], Value::Number(180.0));
        assert_eq!(read.clamped, [2]);
        let Value::Number(depth_m) = got[4] else {
            panic!("{got:?}")
        };
        assert!((depth_m - 47.3).abs() < 1e-9);
    }

    #[test]
    fn verif_malformed_payloads_are_refused() {
        let layout = alert(true);
        let good = layout.pack(Numbers::NONE, &values()).unwrap().bytes;
        let read = |form: Form, bytes: &[u8]| {
            let read = form.read(Some(&layout), 0, bytes, Some(START_NS));
            read.unwrap_err().to_string()
        };
        assert!(read(Form::Packed, &good[1..]).contains("a message has 9"));
        assert!(read(Form::Packed, &[]).contains("0 bytes"));
        let mut flipped = good.clone();
        flipped[3] ^= 0x10;
        assert!(read(Form::Packed, &flipped).contains("the check says"));
        assert!(read(Form::Cbor, &[0xa1]).len() > 5);
        for (text, part) in [
            ("{", "no JSON"),
            ("[]", "no JSON object"),
            (r#"{"level":1,"level":2}"#, "`level` twice"),
            (r#"{"colour":1}"#, "no field `colour`"),
            (r#"{"level":100}"#, "lacks the field `t`"),
            (r#"{"level":"loud"}"#, "`level` cannot be \"loud\""),
            (r#"{"class":"whale"}"#, "`class` cannot be \"whale\""),
            (r#"{"batt_low":1}"#, "`batt_low` cannot be 1"),
            (r#"{"t":"yesterday"}"#, "`t` cannot be \"yesterday\""),
        ] {
            let error = read(Form::Json, text.as_bytes());
            assert!(error.contains(part), "{text}: {error}");
        }
        // An instant of another year would be read as one of this.
        let far = r#"{"t":"2031-01-01T00:00:15Z","class":"whistle","level":100,"bearing":217,"depth":null,"batt_low":true}"#;
        assert!(read(Form::Json, far.as_bytes()).contains("its bits cannot tell"));
    }

    #[test]
    fn verif_a_topic_with_a_size_takes_that_size_or_nothing() {
        for (bytes, good) in [(0, true), (200, true), (199, false), (201, false)] {
            let read = Form::Packed.read(None, 200, &vec![0; bytes], None);
            assert_eq!(read.is_ok(), good, "{bytes}");
        }
        assert_eq!(Form::Json.write(None, None), Ok(Vec::new()));
    }

    proptest! {
        /// Whatever comes in is read or refused; what is read can be written and is read as the same.
        #[test]
        fn verif_any_bytes_are_read_or_refused(
            bytes in prop::collection::vec(any::<u8>(), 0..40),
            bent in 0usize..200,
            to in any::<u8>(),
            crc in any::<bool>(),
        ) {
            let layout = alert(crc);
            let packed = layout.pack(Numbers::NONE, &values()).unwrap().bytes;
            let content = Content { values: values(), bytes: packed.into(), clamped: Vec::new() };
            for form in [Form::Packed, Form::Cbor, Form::Json] {
                let mut good = form.write(Some(&layout), Some(&content)).unwrap();
                let at = bent % good.len();
                good[at] = to;
                for bytes in [&bytes, &good] {
                    if let Ok(read) = form.read(Some(&layout), 0, bytes, Some(START_NS)) {
                        let values = read.values.unwrap();
                        let packed = layout.pack(Numbers::NONE, &values).unwrap();
                        prop_assert!(packed.clamped.is_empty());
                        let again = layout.unpack(&packed.bytes, Some(START_NS)).unwrap();
                        prop_assert_eq!(again.values, values);
                    }
                }
            }
        }
    }
}
