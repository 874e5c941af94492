//! An encoder and a decoder in C99 for the messages of a layout.
//!
//! Only `stdint.h`, `stdbool.h`, `stddef.h`, `float.h` and `math.h` (for `NAN` and `isnan`, both macros) are used: no heap, no library, no global state.
//! Numbers are `double`, which must be that of IEEE 754 without excess precision (anything else is a compile error); instants `int64_t`; choices
//! `uint32_t`; sums are held in `volatile` variables, so that no fused multiply-add gives other codes or values than ours.

use std::fmt::Write as _;

use super::field::FieldKind;
use super::identifier::{Names, comment, identifier};
use super::layout::{Codes, Layout, Place, ones};

/// The two files of an encoder and decoder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CSource {
    /// Name of the header, `alert_call.h`.
    pub header_name: String,
    /// Text of the header.
    pub header: String,
    /// Name of the source, `alert_call.c`.
    pub source_name: String,
    /// Text of the source.
    pub source: String,
}

const DOUBLES: &str = include_str!("parts/doubles.c");
const PUT: &str = include_str!("parts/put.c");
const TAKE: &str = include_str!("parts/take.c");
const CRC: &str = include_str!("parts/crc.c");
const STEPS: &str = include_str!("parts/steps.c");
const TICKS: &str = include_str!("parts/ticks.c");

/// Writes an encoder and a decoder for messages of this topic.
#[must_use]
pub fn c99(layout: &Layout, topic: &str) -> CSource {
    let name = identifier(topic, "topic");
    let words = Words::of(layout, &name);
    CSource {
        header_name: format!("{name}.h"),
        header: header(layout, topic, &words),
        source_name: format!("{name}.c"),
        source: source(layout, topic, &words),
    }
}

/// The names that the two files use.
struct Words {
    /// What leads every function.
    low: String,
    /// What leads every constant.
    high: String,
    /// One a number before the fields.
    sequence: String,
    starts: String,
    /// One a field.
    members: Vec<String>,
    /// One a value of a choice.
    constants: Vec<Vec<String>>,
}

impl Words {
    fn of(layout: &Layout, name: &str) -> Words {
        let high = name.to_ascii_uppercase();
        let (mut members, mut constants) = (Names::default(), Names::default());
        for (status, _) in STATUSES {
            constants.take(format!("{high}_{status}"));
        }
        constants.take(format!("{high}_BYTES"));
        constants.take(format!("{high}_H"));
        let (sequence, starts) = ("sequence".to_owned(), "starts".to_owned());
        if layout.frame().sequence_bits.is_some() {
            members.take(sequence.clone());
        }
        if layout.frame().starts_bits.is_some() {
            members.take(starts.clone());
        }
        let of_fields = layout.places().iter();
        let members: Vec<String> = of_fields
            .map(|place| members.take(identifier(&place.field.name, "field")))
            .collect();
        let of_choices = layout.places().iter().zip(&members);
        let constants = of_choices
            .map(|(place, member)| {
                let FieldKind::Choice { values } = &place.field.kind else {
                    return Vec::new();
                };
                let one = |value: &String| {
                    let value = identifier(value, "value");
                    let all = format!(
                        "{high}_{}_{}",
                        member.trim_end_matches('_'),
                        value.trim_end_matches('_')
                    );
                    constants.take(all.to_ascii_uppercase())
                };
                values.iter().map(one).collect()
            })
            .collect();
        Words {
            low: name.to_owned(),
            high,
            sequence,
            starts,
            members,
            constants,
        }
    }
}

impl Words {
    /// Where the numbers before the fields lie, and their names.
    fn numbers(&self, layout: &Layout) -> impl Iterator<Item = ((u64, u32), &str)> {
        let sequence = layout.sequence_place().map(|at| (at, &*self.sequence));
        let starts = layout.starts_place().map(|at| (at, &*self.starts));
        [sequence, starts].into_iter().flatten()
    }
}

/// What the functions return: names and meanings, from 0.
const STATUSES: [(&str, &str); 8] = [
    ("OK", "done"),
    ("LENGTH", "another length than a message has"),
    ("CHECK", "the check does not fit the bytes before it"),
    ("SCHEMA", "a message of another layout"),
    (
        "FILLING",
        "the bits that fill the last byte up are not zero",
    ),
    ("CODE", "a code that stands for no value"),
    ("INSTANT", "an instant outside of the years 1677 to 2262"),
    ("CHOICE", "of the encoder: a choice that is none"),
];

fn header(layout: &Layout, topic: &str, words: &Words) -> String {
    let Words { low, high, .. } = words;
    let topic = comment(topic);
    let bytes = layout.bytes();
    let mut out = format!(
        "/* Packed messages of the topic {topic}. Made from its layout by soundline; C99, no heap, no library. */\n\
         #ifndef {high}_H\n#define {high}_H\n\n#include <stdbool.h>\n#include <stddef.h>\n#include <stdint.h>\n\n\
         #ifdef __cplusplus\nextern \"C\" {{\n#endif\n\n\
         /* Length of every message. */\n#define {high}_BYTES {bytes}\n\n/* What the functions return. */\nenum {{\n"
    );
    for (number, (status, meaning)) in STATUSES.iter().enumerate() {
        let _ = writeln!(out, "    {high}_{status} = {number}, /* {meaning} */");
    }
    // A comma behind the last is allowed in C99.
    out.push_str("};\n");
    for (place, constants) in layout.places().iter().zip(&words.constants) {
        if constants.is_empty() {
            continue;
        }
        let _ = writeln!(
            out,
            "\n/* Values of {}. */\nenum {{",
            comment(&place.field.name)
        );
        for (number, constant) in constants.iter().enumerate() {
            let _ = writeln!(out, "    {constant} = {number},");
        }
        out.push_str("};\n");
    }
    let _ = writeln!(out, "\ntypedef struct {low} {{");
    if let Some(bits) = layout.frame().sequence_bits {
        let what = format!("the lowest {bits} bits are sent");
        let _ = writeln!(out, "    uint32_t {}; /* {what} */", words.sequence);
    }
    if let Some(bits) = layout.frame().starts_bits {
        let what = format!("counts the publisher's starts; the lowest {bits} bits are sent");
        let _ = writeln!(out, "    uint32_t {}; /* {what} */", words.starts);
    }
    for (place, member) in layout.places().iter().zip(&words.members) {
        let (kind, says) = member_of(place);
        let _ = writeln!(out, "    {kind} {member}; /* {says} */");
    }
    if !has_members(layout) {
        out.push_str("    char nothing; /* the message has no fields */\n");
    }
    let received = received(layout);
    let _ = write!(
        out,
        "}} {low};\n\n\
         /* Packs a record into {high}_BYTES bytes. The number of values that lay outside their range and were sent as its end is added to *clamped. */\n\
         int {low}_encode(const {low} *record, uint8_t *message, unsigned *clamped);\n\n\
         /* Reads a message of so many bytes. {}On anything but {high}_OK the record is not to be used. */\n\
         int {low}_decode(const uint8_t *message, size_t length, {received}{low} *record);\n\n\
         #ifdef __cplusplus\n}}\n#endif\n\n#endif\n",
        if layout.has_time() {
            "received_ns is when it came in, ns since 1970-01-01T00:00:00Z. "
        } else {
            ""
        }
    );
    out
}

fn received(layout: &Layout) -> &'static str {
    if layout.has_time() {
        "int64_t received_ns, "
    } else {
        ""
    }
}

/// Type of a member, and what it holds.
fn member_of(place: &Place) -> (&'static str, String) {
    match &place.field.kind {
        FieldKind::Scaled {
            unit,
            from,
            to,
            step,
        } => {
            let unit = comment(unit);
            let of = if unit.is_empty() {
                String::new()
            } else {
                format!("{unit}, ")
            };
            (
                "double",
                format!("{of}{from:?} to {to:?} in steps of {step:?}; NAN is no data"),
            )
        }
        FieldKind::Choice { values } => ("uint32_t", format!("0 to {}", values.len() - 1)),
        FieldKind::Flag => ("bool", "yes or no".to_owned()),
        FieldKind::Time { bits, step_s, .. } => (
            "int64_t",
            format!("ns since 1970-01-01T00:00:00Z, sent in steps of {step_s:?} s in {bits} bits"),
        ),
    }
}

fn source(layout: &Layout, topic: &str, words: &Words) -> String {
    let low = &words.low;
    let steps = has_steps(layout);
    let mut out = format!(
        "/* Packed messages of the topic {}. Made from its layout by soundline; C99, no heap, no library. */\n#include \"{low}.h\"\n",
        comment(topic)
    );
    if steps {
        out.push_str(DOUBLES);
    }
    let coded = has_members(layout);
    let filled = 8 * layout.body_bytes() as u64 > layout.bits();
    for (wanted, text) in [
        (coded || layout.frame().schema.is_some(), PUT),
        (coded || filled, TAKE),
        (layout.frame().crc, CRC),
        (steps, STEPS),
        (layout.has_time(), TICKS),
    ] {
        if wanted {
            out.push_str(text);
        }
    }
    encoder(layout, words, &mut out);
    decoder(layout, words, &mut out);
    out
}

fn encoder(layout: &Layout, words: &Words, out: &mut String) {
    let Words { low, high, .. } = words;
    let frame = layout.frame();
    let body = layout.body_bytes();
    let steps = has_steps(layout);
    let _ = writeln!(
        out,
        "\nint {low}_encode(const {low} *record, uint8_t *message, unsigned *clamped)\n{{"
    );
    if steps || frame.crc {
        out.push_str("    uint64_t code;\n");
    }
    if body > 0 {
        let _ = write!(
            out,
            "    size_t i;\n\n    for (i = 0; i < {body}; i++) {{\n        message[i] = 0;\n    }}\n"
        );
    }
    unused(
        out,
        &[
            ("record", has_members(layout)),
            ("message", layout.bytes() > 0),
            ("clamped", steps),
        ],
    );
    if let Some(schema) = frame.schema {
        let _ = writeln!(out, "    put(message, 0, 8, {schema}u);");
    }
    for ((offset, bits), word) in words.numbers(layout) {
        let _ = writeln!(out, "    put(message, {offset}, {bits}, record->{word});");
    }
    for (place, member) in layout.places().iter().zip(&words.members) {
        let (offset, bits) = (place.offset_bits, place.bits);
        let _ = match (place.codes, &place.field.kind) {
            (Codes::Steps { last }, FieldKind::Scaled { from, step, .. }) => writeln!(
                out,
                "    *clamped += steps_of(record->{member}, {from:?}, {step:?}, UINT64_C({last}), UINT64_C({}), &code);\n    put(message, {offset}, {bits}, code);",
                ones(bits)
            ),
            (Codes::Things { count }, _) => writeln!(
                out,
                "    if (record->{member} > {}u) {{\n        return {high}_CHOICE;\n    }}\n    put(message, {offset}, {bits}, record->{member});",
                count - 1
            ),
            (Codes::Ticks { step_ns, epoch_ns }, _) => writeln!(
                out,
                "    put(message, {offset}, {bits}, ticks_of(record->{member}, {}, {}));",
                int64(step_ns),
                int64(epoch_ns)
            ),
            _ => writeln!(
                out,
                "    put(message, {offset}, {bits}, record->{member} ? 1u : 0u);"
            ),
        };
    }
    if frame.crc {
        let _ = writeln!(
            out,
            "    code = crc16(message, {body});\n    message[{body}] = (uint8_t)(code >> 8);\n    message[{}] = (uint8_t)(code & 0xFFu);",
            body + 1
        );
    }
    let _ = writeln!(out, "    return {high}_OK;\n}}");
}

fn decoder(layout: &Layout, words: &Words, out: &mut String) {
    let Words { low, high, .. } = words;
    let frame = layout.frame();
    let body = layout.body_bytes();
    let received = received(layout);
    let _ = writeln!(
        out,
        "\nint {low}_decode(const uint8_t *message, size_t length, {received}{low} *record)\n{{"
    );
    if !layout.places().is_empty() {
        out.push_str("    uint64_t code;\n\n");
    }
    unused(
        out,
        &[
            ("record", has_members(layout)),
            ("message", layout.bytes() > 0),
        ],
    );
    let _ = writeln!(
        out,
        "    if (length != {high}_BYTES) {{\n        return {high}_LENGTH;\n    }}"
    );
    if frame.crc {
        let _ = writeln!(
            out,
            "    if (crc16(message, {body}) != ((unsigned)message[{body}] << 8 | message[{}])) {{\n        return {high}_CHECK;\n    }}",
            body + 1
        );
    }
    if let Some(schema) = frame.schema {
        let _ = writeln!(
            out,
            "    if (message[0] != {schema}u) {{\n        return {high}_SCHEMA;\n    }}"
        );
    }
    let filling = 8 * body as u64 - layout.bits();
    if filling > 0 {
        let _ = writeln!(
            out,
            "    if (take(message, {}, {filling}) != 0) {{\n        return {high}_FILLING;\n    }}",
            layout.bits()
        );
    }
    for ((offset, bits), word) in words.numbers(layout) {
        let _ = writeln!(
            out,
            "    record->{word} = (uint32_t)take(message, {offset}, {bits});"
        );
    }
    for (place, member) in layout.places().iter().zip(&words.members) {
        let (offset, bits) = (place.offset_bits, place.bits);
        let _ = writeln!(out, "    code = take(message, {offset}, {bits});");
        let _ = match (place.codes, &place.field.kind) {
            (Codes::Steps { last }, FieldKind::Scaled { from, step, .. }) => writeln!(
                out,
                "    if (code == UINT64_C({})) {{\n        record->{member} = NAN;\n    }} else if (code > UINT64_C({last})) {{\n        return {high}_CODE;\n    }} else {{\n        \
                 record->{member} = value_of(code, {from:?}, {step:?});\n    }}",
                ones(bits)
            ),
            (Codes::Things { count }, _) => writeln!(
                out,
                "    if (code > {}u) {{\n        return {high}_CODE;\n    }}\n    record->{member} = (uint32_t)code;",
                count - 1
            ),
            (Codes::Ticks { step_ns, epoch_ns }, _) => writeln!(
                out,
                "    if (!instant_of(code, {bits}, {}, {}, received_ns, &record->{member})) {{\n        return {high}_INSTANT;\n    }}",
                int64(step_ns),
                int64(epoch_ns)
            ),
            _ => writeln!(out, "    record->{member} = code == 1;"),
        };
    }
    let _ = writeln!(out, "    return {high}_OK;\n}}");
}

fn has_steps(layout: &Layout) -> bool {
    let mut codes = layout.places().iter().map(|p| p.codes);
    codes.any(|c| matches!(c, Codes::Steps { .. }))
}

/// Whether the record has anything in it.
fn has_members(layout: &Layout) -> bool {
    let frame = layout.frame();
    !layout.places().is_empty() || frame.sequence_bits.is_some() || frame.starts_bits.is_some()
}

/// Says of parameters that they are not used, where they are not.
fn unused(out: &mut String, parameters: &[(&str, bool)]) {
    for (name, used) in parameters {
        if !used {
            let _ = writeln!(out, "    (void){name};");
        }
    }
}

/// A constant of 64 bits; the least has no literal of its own in C.
fn int64(value: i64) -> String {
    if value == i64::MIN {
        "INT64_MIN".to_owned()
    } else {
        format!("INT64_C({value})")
    }
}
