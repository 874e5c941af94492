//! CBOR items: RFC 8949 (2020), the data model of a message that describes itself.
//!
//! Encoding is in the preferred form (section 4.1): the shortest head, the shortest of half, single and double precision that is exact, definite lengths.
//! Decoding takes any well-formed item of definite or indefinite length (section 3.2), up to a depth; simple values other than false, true and null are
//! refused. Heads and text are read and written by the library `minicbor`.

use minicbor::data::{Int, Tag, Type};
use minicbor::{Decoder, Encoder};

/// An item.
#[derive(Clone, Debug, PartialEq)]
pub enum CborItem {
    /// A whole number; the format holds -2^64 to 2^64 - 1.
    Whole(i128),
    /// A floating-point number.
    Float(f64),
    /// A truth value.
    Bool(bool),
    /// Nothing.
    Null,
    /// A text.
    Text(String),
    /// Bytes.
    Bytes(Vec<u8>),
    /// A list.
    List(Vec<CborItem>),
    /// Pairs in their order.
    Map(Vec<(CborItem, CborItem)>),
    /// An item with a tag that says what it means.
    Tagged(u64, Box<CborItem>),
}

/// Items that cannot be written, and bytes that are none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CborError {
    /// A whole number beyond what the format holds.
    #[error("{value} is outside of -2^64 to 2^64 - 1")]
    Beyond {
        /// The number.
        value: i128,
    },
    /// The bytes are not well formed, or end early.
    #[error("the bytes from {at_byte} on are no well-formed item, or are cut short")]
    Malformed {
        /// Where, from 0.
        at_byte: usize,
    },
    /// A simple value without a meaning here.
    #[error("byte {at_byte} begins a simple value other than false, true and null")]
    Simple {
        /// Where, from 0.
        at_byte: usize,
    },
    /// Items within items, too many.
    #[error("the item at byte {at_byte} lies more than {limit} deep")]
    TooDeep {
        /// Where, from 0.
        at_byte: usize,
        /// The limit.
        limit: usize,
    },
    /// Bytes behind the item.
    #[error("{bytes} bytes follow the item, which ends before byte {at_byte}")]
    Behind {
        /// Where the item ends.
        at_byte: usize,
        /// How many follow.
        bytes: usize,
    },
}

const DEEPEST: usize = 32;

/// Writes an item in the preferred form.
///
/// # Errors
/// [`CborError::Beyond`].
pub fn cbor_encode(item: &CborItem) -> Result<Vec<u8>, CborError> {
    let mut out = Encoder::new(Vec::new());
    write(&mut out, item)?;
    Ok(out.into_writer())
}

/// Reads the one item that these bytes are.
///
/// # Errors
/// [`CborError`] for anything else.
pub fn cbor_decode(bytes: &[u8]) -> Result<CborItem, CborError> {
    let mut input = Decoder::new(bytes);
    let item = read(&mut input, 0)?;
    let at_byte = input.position();
    if at_byte < bytes.len() {
        return Err(CborError::Behind {
            at_byte,
            bytes: bytes.len() - at_byte,
        });
    }
    Ok(item)
}

const WRITES: &str = "a vector takes every byte";

fn write(out: &mut Encoder<Vec<u8>>, item: &CborItem) -> Result<(), CborError> {
    match item {
        CborItem::Whole(value) => {
            let whole = Int::try_from(*value).map_err(|_| CborError::Beyond { value: *value })?;
            out.int(whole).expect(WRITES);
        }
        CborItem::Float(value) => float(out, *value),
        CborItem::Bool(yes) => {
            out.bool(*yes).expect(WRITES);
        }
        CborItem::Null => {
            out.null().expect(WRITES);
        }
        CborItem::Text(text) => {
            out.str(text).expect(WRITES);
        }
        CborItem::Bytes(bytes) => {
            out.bytes(bytes).expect(WRITES);
        }
        CborItem::List(items) => {
            out.array(items.len() as u64).expect(WRITES);
            for item in items {
                write(out, item)?;
            }
        }
        CborItem::Map(pairs) => {
            out.map(pairs.len() as u64).expect(WRITES);
            for (key, value) in pairs {
                write(out, key)?;
                write(out, value)?;
            }
        }
        CborItem::Tagged(tag, item) => {
            out.tag(Tag::new(*tag)).expect(WRITES);
            write(out, item)?;
        }
    }
    Ok(())
}

/// The shortest of half, single and double precision that holds the value; not a number has one form.
fn float(out: &mut Encoder<Vec<u8>>, value: f64) {
    let single = value as f32;
    if f64::from(single) != value && !value.is_nan() {
        out.f64(value).expect(WRITES);
        return;
    }
    if value.is_nan() || in_half_precision(single) {
        out.f16(single).expect(WRITES);
    } else {
        out.f32(single).expect(WRITES);
    }
}

/// Whether half precision holds the value: 11 significant bits, least bit 2^-24, below 65 520 (IEEE 754-2019, binary16).
fn in_half_precision(single: f32) -> bool {
    const LARGEST: f32 = 65_504.0;
    const TO_LEAST_BITS: f64 = 16_777_216.0;
    if single.is_infinite() || single == 0.0 {
        return true;
    }
    let least_bits = f64::from(single.abs()) * TO_LEAST_BITS;
    // A double shows all bits of the product: those below the eleventh of its significand must be zero.
    let low_bits = least_bits.to_bits() & ((1 << (52 - 10)) - 1);
    single.abs() <= LARGEST && least_bits.fract() == 0.0 && low_bits == 0
}

fn read(input: &mut Decoder<'_>, depth: usize) -> Result<CborItem, CborError> {
    let at_byte = input.position();
    if depth > DEEPEST {
        return Err(CborError::TooDeep {
            at_byte,
            limit: DEEPEST,
        });
    }
    let malformed = |_| CborError::Malformed { at_byte };
    let item = match input.datatype().map_err(malformed)? {
        Type::U8
        | Type::U16
        | Type::U32
        | Type::U64
        | Type::I8
        | Type::I16
        | Type::I32
        | Type::I64
        | Type::Int => CborItem::Whole(input.int().map_err(malformed)?.into()),
        Type::F16 => CborItem::Float(input.f16().map_err(malformed)?.into()),
        Type::F32 => CborItem::Float(input.f32().map_err(malformed)?.into()),
        Type::F64 => CborItem::Float(input.f64().map_err(malformed)?),
        Type::Bool => CborItem::Bool(input.bool().map_err(malformed)?),
        Type::Null => {
            input.null().map_err(malformed)?;
            CborItem::Null
        }
        Type::Undefined | Type::Simple => return Err(CborError::Simple { at_byte }),
        Type::String | Type::StringIndef => {
            let pieces = input.str_iter().map_err(malformed)?;
            CborItem::Text(pieces.collect::<Result<_, _>>().map_err(malformed)?)
        }
        Type::Bytes | Type::BytesIndef => {
            let mut bytes = Vec::new();
            for piece in input.bytes_iter().map_err(malformed)? {
                bytes.extend_from_slice(piece.map_err(malformed)?);
            }
            CborItem::Bytes(bytes)
        }
        Type::Array | Type::ArrayIndef => {
            let mut left = input.array().map_err(malformed)?;
            let mut items = Vec::new();
            while another(input, &mut left)? {
                items.push(read(input, depth + 1)?);
            }
            CborItem::List(items)
        }
        Type::Map | Type::MapIndef => {
            let mut left = input.map().map_err(malformed)?;
            let mut pairs = Vec::new();
            while another(input, &mut left)? {
                let key = read(input, depth + 1)?;
                pairs.push((key, read(input, depth + 1)?));
            }
            CborItem::Map(pairs)
        }
        Type::Tag => {
            let tag = input.tag().map_err(malformed)?;
            CborItem::Tagged(tag.as_u64(), Box::new(read(input, depth + 1)?))
        }
        Type::Break | Type::Unknown(_) => return Err(CborError::Malformed { at_byte }),
    };
    Ok(item)
}

/// Whether a list or map has one more item: counted down, or until the break (0xFF) where its length is indefinite.
fn another(input: &mut Decoder<'_>, left: &mut Option<u64>) -> Result<bool, CborError> {
    if let Some(left) = left {
        let more = *left > 0;
        *left = left.saturating_sub(1);
        return Ok(more);
    }
    let at_byte = input.position();
    match input.datatype() {
        Ok(Type::Break) => {
            input.set_position(at_byte + 1);
            Ok(false)
        }
        Ok(_) => Ok(true),
        Err(_) => Err(CborError::Malformed { at_byte }),
    }
}
