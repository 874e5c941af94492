//! Where each field of a payload lies.
//!
//! A message is, most significant bit first: a schema id of one byte, a sequence number, a count of its publisher's starts, the fields in their order, zeros up to a
//! whole byte, and a check of two bytes over all of that; id, number, count and check only where they are asked for. This is our own packing.

use super::field::{Field, FieldKind, PayloadError, bits, whole_ns, whole_steps};

/// What stands around the fields.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Frame {
    /// A byte at the front that says by which layout the rest is to be read.
    pub schema: Option<u8>,
    /// A number that counts messages, of so many bits (1 to 32): its lowest bits are sent.
    pub sequence_bits: Option<u32>,
    /// A number that counts the starts of the publisher, of so many bits (1 to 32): its lowest bits are sent.
    pub starts_bits: Option<u32>,
    /// A CRC-16 at the end, for a carrier that has no check of its own.
    pub crc: bool,
}

/// A field and where it lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// The field.
    pub field: Field,
    /// Bits before it, from the start of the message.
    pub offset_bits: u64,
    /// Bits that it takes.
    pub bits: u32,
    pub(super) codes: Codes,
}

/// What the codes of a field mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Codes {
    /// Steps above the least value, up to this one.
    Steps { last: u64 },
    /// Numbers of things, from 0 to one less than this.
    Things { count: u64 },
    /// 0 or 1.
    Flag,
    /// Steps of this length since the epoch, modulo a power of two.
    Ticks { step_ns: i64, epoch_ns: i64 },
}

/// The packed form of a topic's messages.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    frame: Frame,
    places: Vec<Place>,
    bits: u64,
    bytes: u32,
}

const CRC_BYTES: u32 = 2;
const SCHEMA_BITS: u32 = 8;
const MOST_COUNT_BITS: u32 = 32;

impl Layout {
    /// Lays fields out in their order.
    ///
    /// # Errors
    /// [`PayloadError`] of the first field that cannot be.
    pub fn new(frame: Frame, fields: Vec<Field>) -> Result<Layout, PayloadError> {
        let mut next = 0u64;
        if frame.schema.is_some() {
            next += u64::from(SCHEMA_BITS);
        }
        for bits in [frame.sequence_bits, frame.starts_bits]
            .into_iter()
            .flatten()
        {
            if !(1..=MOST_COUNT_BITS).contains(&bits) {
                return Err(PayloadError::CountBits { bits });
            }
            next += u64::from(bits);
        }
        let mut places: Vec<Place> = Vec::with_capacity(fields.len());
        for field in fields {
            if places.iter().any(|p| p.field.name == field.name) {
                return Err(PayloadError::Twice { name: field.name });
            }
            let bits = bits(&field.kind)?;
            let codes = match &field.kind {
                FieldKind::Scaled { from, to, step, .. } => Codes::Steps {
                    last: whole_steps(*from, *to, *step)?,
                },
                FieldKind::Choice { values } => Codes::Things {
                    count: values.len() as u64,
                },
                FieldKind::Flag => Codes::Flag,
                FieldKind::Time {
                    step_s, epoch_ns, ..
                } => Codes::Ticks {
                    step_ns: whole_ns(*step_s)?,
                    epoch_ns: *epoch_ns,
                },
            };
            places.push(Place {
                field,
                offset_bits: next,
                bits,
                codes,
            });
            next += u64::from(bits);
        }
        let bytes = next.div_ceil(8) + u64::from(if frame.crc { CRC_BYTES } else { 0 });
        Ok(Layout {
            frame,
            places,
            bits: next,
            bytes: u32::try_from(bytes).map_err(|_| PayloadError::TooLarge)?,
        })
    }

    /// What stands around the fields.
    #[must_use]
    pub fn frame(&self) -> Frame {
        self.frame
    }

    /// The fields and where they lie.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// Bits of a message before it is filled up to whole bytes, without its check.
    #[must_use]
    pub fn bits(&self) -> u64 {
        self.bits
    }

    /// Bytes of a message, with its check.
    #[must_use]
    pub fn bytes(&self) -> u32 {
        self.bytes
    }

    /// Whether a message tells an instant, so that it can be read only with the time at which it was received.
    #[must_use]
    pub fn has_time(&self) -> bool {
        let mut codes = self.places.iter().map(|p| p.codes);
        codes.any(|c| matches!(c, Codes::Ticks { .. }))
    }

    /// Where the sequence number lies: bits before it, and its own.
    pub(super) fn sequence_place(&self) -> Option<(u64, u32)> {
        let before = if self.frame.schema.is_some() {
            u64::from(SCHEMA_BITS)
        } else {
            0
        };
        self.frame.sequence_bits.map(|bits| (before, bits))
    }

    /// Where the count of starts lies: bits before it, and its own.
    pub(super) fn starts_place(&self) -> Option<(u64, u32)> {
        let schema = self.frame.schema.map_or(0, |_| SCHEMA_BITS);
        let before = schema + self.frame.sequence_bits.unwrap_or(0);
        self.frame.starts_bits.map(|bits| (u64::from(before), bits))
    }

    /// Bytes before the check.
    pub(super) fn body_bytes(&self) -> usize {
        self.bits.div_ceil(8) as usize
    }
}

impl Place {
    /// The code that says "no data", where the field has one: all ones.
    #[must_use]
    pub fn no_data_code(&self) -> Option<u64> {
        matches!(self.codes, Codes::Steps { .. }).then(|| ones(self.bits))
    }

    /// Whether every value of this field is a whole number.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let whole = |v: f64| v.fract() == 0.0;
        matches!(self.field.kind, FieldKind::Scaled { from, step, .. } if whole(from) && whole(step))
    }

    /// Digits after the point that the values of this field have when written in decimals.
    #[must_use]
    pub fn decimals(&self) -> usize {
        let FieldKind::Scaled { from, step, .. } = self.field.kind else {
            return 0;
        };
        let digits = |v: f64| {
            let text = format!("{v}");
            text.split_once('.').map_or(0, |(_, after)| after.len())
        };
        digits(from).max(digits(step))
    }
}

/// The largest code of so many bits, 1 to 64.
pub(super) fn ones(bits: u32) -> u64 {
    u64::MAX >> (u64::BITS - bits)
}
