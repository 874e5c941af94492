//! The packed form of a topic's messages: layout, packing, check, frames, and the self-describing alternative.

mod c99;
mod cbor;
mod check;
mod cobs;
mod field;
mod identifier;
mod layout;
mod pack;
mod python;
mod record;

pub use c99::{CSource, c99};
pub use cbor::{CborError, CborItem, cbor_decode, cbor_encode};
pub use check::crc16;
pub use cobs::{CobsError, cobs_decode, cobs_encode};
pub use field::{Field, FieldKind, PayloadError, bits};
pub use identifier::{comment, identifier};
pub use layout::{Frame, Layout, Place};
pub use pack::{Numbers, PackError, Packed, UnpackError, Unpacked, Value};
pub use python::python;
pub use record::{RecordError, record_from_cbor, record_to_cbor};
