//! Records to packed messages and back.
//!
//! A number becomes `floor((value - from) / step + 0.5)`, held between the first and the last code; what lay outside is told. An instant becomes
//! `floor((instant - epoch) / step)` modulo 2^bits, and is read as the candidate nearest to the time of reception, both counted in steps; of two as near, the
//! earlier. A message must therefore be read before it is older than half of 2^bits steps.

use super::check::crc16;
use super::field::FieldKind;
use super::layout::{Codes, Layout, Place, ones};

/// What a field of a record holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// Of a scaled field: nothing was measured.
    NoData,
    /// Of a scaled field, in its unit.
    Number(f64),
    /// Of a choice: which, from 0.
    Choice(u32),
    /// Yes or no.
    Flag(bool),
    /// An instant, nanoseconds since 1970-01-01T00:00:00Z.
    Time(i64),
}

/// The numbers that stand before the fields of a message, where its layout has them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Numbers {
    /// Which of its publisher's messages it is.
    pub sequence: Option<u32>,
    /// Which of its publisher's starts it is of.
    pub starts: Option<u32>,
}

impl Numbers {
    /// No numbers.
    pub const NONE: Numbers = Numbers {
        sequence: None,
        starts: None,
    };

    /// A sequence number alone.
    #[must_use]
    pub fn sequence(sequence: u32) -> Numbers {
        Numbers {
            sequence: Some(sequence),
            starts: None,
        }
    }
}

/// A packed message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packed {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// The fields whose value lay outside their range and was sent as the end of it, by number from 0.
    pub clamped: Vec<usize>,
}

/// What a packed message says.
#[derive(Clone, Debug, PartialEq)]
pub struct Unpacked {
    /// Its numbers, where the layout has them.
    pub numbers: Numbers,
    /// One value a field.
    pub values: Vec<Value>,
}

/// A record that cannot be packed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PackError {
    /// Another number of values than fields.
    #[error("{given} values were given for {fields} fields")]
    Count {
        /// Values given.
        given: usize,
        /// Fields of the layout.
        fields: usize,
    },
    /// A value of another kind than its field.
    #[error("the field {field:?} cannot hold {value:?}")]
    Kind {
        /// The field's name.
        field: String,
        /// The value given.
        value: Value,
    },
    /// A number that is none. What was not measured is [`Value::NoData`].
    #[error("the field {field:?} was given what is not a number; say no data instead")]
    NotANumber {
        /// The field's name.
        field: String,
    },
    /// A thing that the choice does not have.
    #[error("the field {field:?} has {count} values, numbered from 0; there is no {choice}")]
    NoSuchChoice {
        /// The field's name.
        field: String,
        /// The number given.
        choice: u32,
        /// How many there are.
        count: u64,
    },
    /// The layout has a sequence number and none was given.
    #[error("the layout carries a sequence number of {bits} bits, and none was given")]
    NoSequence {
        /// Bits of it.
        bits: u32,
    },
    /// The layout has no sequence number and one was given.
    #[error("the layout carries no sequence number, and {sequence} was given")]
    SequenceNotCarried {
        /// The number given.
        sequence: u32,
    },
    /// The layout has a count of starts and none was given.
    #[error("the layout carries a count of starts of {bits} bits, and none was given")]
    NoStarts {
        /// Bits of it.
        bits: u32,
    },
    /// The layout has no count of starts and one was given.
    #[error("the layout carries no count of starts, and {starts} was given")]
    StartsNotCarried {
        /// The number given.
        starts: u32,
    },
}

/// Bytes that are no message of a layout.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UnpackError {
    /// Another length than every message of the layout has.
    #[error("{found} bytes were given; a message has {expected}")]
    Length {
        /// Bytes given.
        found: usize,
        /// Bytes of a message.
        expected: usize,
    },
    /// The check does not fit the bytes before it.
    #[error("the check says {said:04x}, of the bytes before it it would be {computed:04x}")]
    Check {
        /// What the message says.
        said: u16,
        /// What its bytes give.
        computed: u16,
    },
    /// A message of another layout.
    #[error("the message has the schema id {found}, not {expected}")]
    Schema {
        /// What the message says.
        found: u8,
        /// The id of this layout.
        expected: u8,
    },
    /// Bits that fill the last byte up and are not zero.
    #[error("the last {bits} bits before the end are filling and should be zero, not {found:#x}")]
    Filling {
        /// How many they are.
        bits: u32,
        /// What stands there.
        found: u64,
    },
    /// A code that stands for nothing.
    #[error("the field {field:?} holds the code {code}; the last that means a value is {last}")]
    Code {
        /// The field's name.
        field: String,
        /// The code.
        code: u64,
        /// The greatest code of a value.
        last: u64,
    },
    /// An instant cannot be read without the time of reception.
    #[error(
        "the field {field:?} tells an instant only together with the time at which the message was received"
    )]
    NoReception {
        /// The field's name.
        field: String,
    },
    /// The instant lies outside of what 64 bits of nanoseconds hold.
    #[error("the field {field:?} tells an instant outside of the years 1677 to 2262")]
    Instant {
        /// The field's name.
        field: String,
    },
}

impl Layout {
    /// Packs a record: one value a field.
    ///
    /// A number outside its range (an infinite one too) is sent as the end of the range, and told in [`Packed::clamped`]; within half a step of the end it is
    /// not outside. Of a sequence number and a count of starts the lowest bits are sent.
    ///
    /// # Errors
    /// [`PackError`] for a record that this layout cannot hold.
    pub fn pack(&self, numbers: Numbers, values: &[Value]) -> Result<Packed, PackError> {
        let coded = self.coded(values)?;
        let mut bytes = vec![0; self.body_bytes()];
        if let Some(schema) = self.frame().schema {
            bytes[0] = schema;
        }
        match (self.sequence_place(), numbers.sequence) {
            (Some((offset, bits)), Some(sequence)) => {
                put(&mut bytes, offset, bits, u64::from(sequence) & ones(bits));
            }
            (Some((_, bits)), None) => return Err(PackError::NoSequence { bits }),
            (None, Some(sequence)) => return Err(PackError::SequenceNotCarried { sequence }),
            (None, None) => {}
        }
        match (self.starts_place(), numbers.starts) {
            (Some((offset, bits)), Some(starts)) => {
                put(&mut bytes, offset, bits, u64::from(starts) & ones(bits));
            }
            (Some((_, bits)), None) => return Err(PackError::NoStarts { bits }),
            (None, Some(starts)) => return Err(PackError::StartsNotCarried { starts }),
            (None, None) => {}
        }
        let mut clamped = Vec::new();
        for (number, (place, (code, outside))) in self.places().iter().zip(coded).enumerate() {
            put(&mut bytes, place.offset_bits, place.bits, code);
            if outside {
                clamped.push(number);
            }
        }
        if self.frame().crc {
            bytes.extend_from_slice(&crc16(&bytes).to_be_bytes());
        }
        Ok(Packed { bytes, clamped })
    }

    /// Reads a packed message.
    ///
    /// `received_ns` is when it was received, nanoseconds since 1970-01-01T00:00:00Z; a layout without times needs none.
    ///
    /// What this accepts is byte for byte what [`Layout::pack`] makes of the values that it gives.
    ///
    /// # Errors
    /// [`UnpackError`] for bytes that [`Layout::pack`] never makes.
    pub fn unpack(&self, bytes: &[u8], received_ns: Option<i64>) -> Result<Unpacked, UnpackError> {
        let expected = self.bytes() as usize;
        if bytes.len() != expected {
            return Err(UnpackError::Length {
                found: bytes.len(),
                expected,
            });
        }
        let (body, check) = bytes.split_at(self.body_bytes());
        if let [high, low] = *check {
            let (said, computed) = (u16::from_be_bytes([high, low]), crc16(body));
            if said != computed {
                return Err(UnpackError::Check { said, computed });
            }
        }
        if let Some(expected) = self.frame().schema
            && body[0] != expected
        {
            return Err(UnpackError::Schema {
                found: body[0],
                expected,
            });
        }
        let filling = (8 * body.len() as u64 - self.bits()) as u32;
        let found = take(body, self.bits(), filling);
        if found != 0 {
            return Err(UnpackError::Filling {
                bits: filling,
                found,
            });
        }
        let number =
            |place: Option<(u64, u32)>| place.map(|(offset, bits)| take(body, offset, bits) as u32);
        let numbers = Numbers {
            sequence: number(self.sequence_place()),
            starts: number(self.starts_place()),
        };
        let values = self
            .places()
            .iter()
            .map(|place| {
                let code = take(body, place.offset_bits, place.bits);
                place.value(code, received_ns)
            })
            .collect::<Result<_, _>>()?;
        Ok(Unpacked { numbers, values })
    }

    /// The first field whose instant is read as another one from a message that is received at this instant, ns since 1970: its bits do not reach so far.
    /// `None` also of values that cannot be packed.
    #[must_use]
    pub fn misread_instant(&self, values: &[Value], received_ns: i64) -> Option<&str> {
        let codes = self.codes(values).ok()?;
        let mut all = self.places().iter().zip(values).zip(codes);
        let misread = all.find(|((place, value), code)| {
            let read = || place.value(*code, Some(received_ns)).ok();
            match (&place.field.kind, value) {
                (FieldKind::Time { step_s, .. }, Value::Time(given)) => {
                    matches!(read(), Some(Value::Time(read)) if given.abs_diff(read) as f64 > step_s * 1e9)
                }
                _ => false,
            }
        });
        misread.map(|((place, _), _)| place.field.name.as_str())
    }

    /// The codes of a record, one a field, as [`Layout::pack`] sends them.
    ///
    /// # Errors
    /// As [`Layout::pack`].
    pub fn codes(&self, values: &[Value]) -> Result<Vec<u64>, PackError> {
        let coded = self.coded(values)?.into_iter();
        Ok(coded.map(|(code, _)| code).collect())
    }

    /// The code of each value, and whether the value lay outside of its range.
    fn coded(&self, values: &[Value]) -> Result<Vec<(u64, bool)>, PackError> {
        if values.len() != self.places().len() {
            return Err(PackError::Count {
                given: values.len(),
                fields: self.places().len(),
            });
        }
        let places = self.places().iter().zip(values);
        places.map(|(place, value)| place.code(*value)).collect()
    }
}

impl Place {
    /// What a value reads as when its message comes in at once: a number on its step within the range, an instant at the beginning of its step.
    ///
    /// `None` for a value that the field cannot hold, and an instant whose step begins before the year 1678.
    #[must_use]
    pub fn as_read(&self, value: Value) -> Option<Value> {
        let (code, _) = self.code(value).ok()?;
        let received_ns = match value {
            Value::Time(time_ns) => Some(time_ns),
            _ => None,
        };
        self.value(code, received_ns).ok()
    }

    /// The code of a value, and whether it lay outside the field's range.
    fn code(&self, value: Value) -> Result<(u64, bool), PackError> {
        let field = || self.field.name.clone();
        match (self.codes, &self.field.kind, value) {
            (Codes::Steps { .. }, _, Value::NoData) => Ok((ones(self.bits), false)),
            (Codes::Steps { last }, FieldKind::Scaled { from, step, .. }, Value::Number(v)) => {
                if v.is_nan() {
                    return Err(PackError::NotANumber { field: field() });
                }
                let steps = ((v - from) / step + 0.5).floor();
                Ok(if steps < 0.0 {
                    (0, true)
                } else if steps > last as f64 {
                    (last, true)
                } else {
                    (steps as u64, false)
                })
            }
            (Codes::Things { count }, _, Value::Choice(choice)) => {
                if u64::from(choice) >= count {
                    return Err(PackError::NoSuchChoice {
                        field: field(),
                        choice,
                        count,
                    });
                }
                Ok((u64::from(choice), false))
            }
            (Codes::Flag, _, Value::Flag(yes)) => Ok((u64::from(yes), false)),
            (Codes::Ticks { step_ns, epoch_ns }, _, Value::Time(time_ns)) => {
                let ticks = ticks(time_ns, epoch_ns, step_ns);
                Ok((ticks as u64 & ones(self.bits), false))
            }
            _ => Err(PackError::Kind {
                field: field(),
                value,
            }),
        }
    }

    /// What a code of the field's bits says.
    fn value(&self, code: u64, received_ns: Option<i64>) -> Result<Value, UnpackError> {
        let field = || self.field.name.clone();
        let beyond = |last: u64| UnpackError::Code {
            field: field(),
            code,
            last,
        };
        match (self.codes, &self.field.kind) {
            (Codes::Steps { .. }, _) if code == ones(self.bits) => Ok(Value::NoData),
            (Codes::Steps { last }, FieldKind::Scaled { from, step, .. }) if code <= last => {
                Ok(Value::Number(from + code as f64 * step))
            }
            (Codes::Steps { last }, _) => Err(beyond(last)),
            (Codes::Things { count }, _) if code < count => Ok(Value::Choice(code as u32)),
            (Codes::Things { count }, _) => Err(beyond(count - 1)),
            (Codes::Flag, _) => Ok(Value::Flag(code == 1)),
            (Codes::Ticks { step_ns, epoch_ns }, _) => {
                let received_ns =
                    received_ns.ok_or_else(|| UnpackError::NoReception { field: field() })?;
                let now = ticks(received_ns, epoch_ns, step_ns);
                let cycle = 1i128 << self.bits;
                let ahead = (i128::from(code) - now).rem_euclid(cycle);
                let nearest = now
                    + if ahead < cycle / 2 {
                        ahead
                    } else {
                        ahead - cycle
                    };
                let time_ns = nearest
                    .checked_mul(i128::from(step_ns))
                    .and_then(|since_ns| since_ns.checked_add(i128::from(epoch_ns)))
                    .and_then(|time_ns| i64::try_from(time_ns).ok());
                time_ns
                    .map(Value::Time)
                    .ok_or_else(|| UnpackError::Instant { field: field() })
            }
        }
    }
}

/// Whole steps from the epoch to an instant, rounded down.
fn ticks(time_ns: i64, epoch_ns: i64, step_ns: i64) -> i128 {
    (i128::from(time_ns) - i128::from(epoch_ns)).div_euclid(i128::from(step_ns))
}

/// Writes a code at its place, most significant bit first; the place holds zeros.
fn put(bytes: &mut [u8], offset_bits: u64, bits: u32, code: u64) {
    for bit in 0..bits {
        if code >> (bits - 1 - bit) & 1 == 1 {
            let at = offset_bits + u64::from(bit);
            bytes[(at / 8) as usize] |= 0x80 >> (at % 8);
        }
    }
}

/// Reads a code from its place.
fn take(bytes: &[u8], offset_bits: u64, bits: u32) -> u64 {
    (offset_bits..offset_bits + u64::from(bits)).fold(0, |code, at| {
        let bit = bytes[(at / 8) as usize] >> (7 - at % 8) & 1;
        code << 1 | u64::from(bit)
    })
}
