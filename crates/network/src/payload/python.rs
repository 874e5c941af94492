//! A decoder in Python for the messages of a layout.

use std::fmt::Write as _;

use super::field::FieldKind;
use super::identifier::comment;
use super::layout::{Codes, Layout, ones};

const NUMBER: &str = include_str!("parts/number.py");
const CHOICE: &str = include_str!("parts/choice.py");
const INSTANT: &str = include_str!("parts/instant.py");
const CRC: &str = include_str!("parts/crc.py");

/// The text of a module without dependencies (Python 3.8 or later) with a function `decode`, for messages of this topic.
#[must_use]
pub fn python(layout: &Layout, topic: &str) -> String {
    let frame = layout.frame();
    let mut out = format!(
        "\"\"\"Reads the packed messages of the topic {}. Made from its layout by soundline; no dependencies.\"\"\"\n\n",
        comment(topic)
    );
    let _ = writeln!(out, "BYTES = {}\n\n", layout.bytes());
    let received = if layout.has_time() {
        ", received_ns"
    } else {
        ""
    };
    let _ = writeln!(out, "def decode(message{received}):");
    out.push_str(
        "    \"\"\"The fields of a message as a dictionary; ValueError for bytes that are none.\n\n    A number that was not measured is None.",
    );
    if layout.has_time() {
        out.push_str(" Instants, received_ns too, are nanoseconds since 1970-01-01T00:00:00Z.");
    }
    out.push_str("\n    \"\"\"\n");
    out.push_str(
        "    if len(message) != BYTES:\n        raise ValueError(f\"length: {len(message)} bytes, not {BYTES}\")\n",
    );
    if frame.crc {
        out.push_str(CHECK);
    } else {
        out.push_str("    body = bytes(message)\n");
    }
    if let Some(schema) = frame.schema {
        let _ = writeln!(
            out,
            "    if body[0] != {schema}:\n        raise ValueError(f\"schema: {{body[0]}}, not {schema}\")"
        );
    }
    out.push_str("    whole = int.from_bytes(body, \"big\")\n    left = 8 * len(body)\n");
    let filling = 8 * layout.body_bytes() as u64 - layout.bits();
    if filling > 0 {
        let _ = writeln!(
            out,
            "    if whole & {}:\n        raise ValueError(\"filling: not zero\")",
            (1u64 << filling) - 1
        );
    }
    out.push_str("\n    def code(offset, bits):\n        return whole >> (left - offset - bits) & (1 << bits) - 1\n\n    record = {}\n");
    let numbers = [
        ("sequence", layout.sequence_place()),
        ("starts", layout.starts_place()),
    ];
    for (word, place) in numbers {
        if let Some((offset, bits)) = place {
            let _ = writeln!(out, "    record[\"{word}\"] = code({offset}, {bits})");
        }
    }
    let mut helpers = Helpers::default();
    for place in layout.places() {
        let name = &place.field.name;
        // The frame's own numbers stand under their names.
        let taken = numbers
            .iter()
            .any(|(word, place)| place.is_some() && name == word);
        let key = if taken {
            quoted(&format!("field.{name}"))
        } else {
            quoted(name)
        };
        let (offset, bits) = (place.offset_bits, place.bits);
        let read = format!("code({offset}, {bits})");
        let value = match (&place.field.kind, place.codes) {
            (FieldKind::Scaled { from, step, .. }, Codes::Steps { last }) => {
                helpers.number = true;
                let none = ones(bits);
                format!("_number({key}, {read}, {from:?}, {step:?}, {last}, {none})")
            }
            (FieldKind::Choice { values }, _) => {
                helpers.choice = true;
                let values: Vec<String> = values.iter().map(|v| quoted(v)).collect();
                format!("_choice({key}, {read}, [{}])", values.join(", "))
            }
            (_, Codes::Ticks { step_ns, epoch_ns }) => {
                helpers.instant = true;
                format!("_instant({key}, {read}, {bits}, {step_ns}, {epoch_ns}, received_ns)")
            }
            _ => format!("{read} == 1"),
        };
        let _ = writeln!(out, "    record[{key}] = {value}");
    }
    out.push_str("    return record\n");
    for (wanted, text) in [
        (helpers.number, NUMBER),
        (helpers.choice, CHOICE),
        (helpers.instant, INSTANT),
        (frame.crc, CRC),
    ] {
        if wanted {
            out.push_str("\n\n");
            out.push_str(text);
        }
    }
    out
}

#[derive(Default)]
struct Helpers {
    number: bool,
    choice: bool,
    instant: bool,
}

/// A string of Python, in ASCII.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            ' '..='~' => out.push(c),
            c => {
                let _ = write!(out, "\\U{:08x}", u32::from(c));
            }
        }
    }
    out.push('"');
    out
}

const CHECK: &str = "    body, check = bytes(message[:-2]), int.from_bytes(message[-2:], \"big\")
    if _crc16(body) != check:
        raise ValueError(f\"check: {check:04x}, not {_crc16(body):04x}\")
";
