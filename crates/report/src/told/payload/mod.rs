//! What messages look like, what a record is packed to and what a message says, for people and for programs.

mod json;

use std::fmt::Write as _;

use jiff::Timestamp;
use network::{
    FieldKind, Layout, Numbers, Packed, Place, Unpacked, Value, cobs_encode, record_to_cbor,
};
use plan::hex;
use quantity::{Dimension, show, show_bare};

use json::json_record;
pub(super) use json::values_json;
pub use json::{read_json, sent_json, topics_json};

/// A topic whose messages are packed.
#[derive(Clone, Debug)]
pub struct PackedTopic {
    /// Its name.
    pub topic: String,
    /// How they are packed.
    pub layout: Layout,
    /// A record by which the sizes of other forms are told.
    example: Vec<Value>,
}

impl PackedTopic {
    /// A topic with an example of a record: each number one step below its greatest, the longest text of each choice, flags that say no, the time
    /// `at_ns` (nanoseconds since 1970), or the epoch where there is none.
    #[must_use]
    pub fn new(topic: &str, layout: Layout, at_ns: Option<i64>) -> PackedTopic {
        let example = layout.places().iter().map(|p| example(p, at_ns)).collect();
        PackedTopic {
            topic: topic.to_owned(),
            layout,
            example,
        }
    }
}

fn example(place: &Place, at_ns: Option<i64>) -> Value {
    match &place.field.kind {
        FieldKind::Scaled { from, to, step, .. } => {
            Value::Number(on_grid(place, (to - step).max(*from)))
        }
        FieldKind::Choice { values } => {
            let longest = values.iter().enumerate().rev().max_by_key(|(_, v)| v.len());
            Value::Choice(longest.map_or(0, |(choice, _)| choice as u32))
        }
        FieldKind::Flag => Value::Flag(false),
        FieldKind::Time { epoch_ns, .. } => Value::Time(at_ns.unwrap_or(*epoch_ns)),
    }
}

/// A record that was packed.
#[derive(Clone, Debug)]
pub struct SentMessage {
    topic: PackedTopic,
    numbers: Numbers,
    values: Vec<Value>,
    packed: Packed,
}

impl SentMessage {
    /// Of these numbers and values the packed message is this.
    #[must_use]
    pub fn new(
        topic: &PackedTopic,
        numbers: Numbers,
        values: Vec<Value>,
        packed: Packed,
    ) -> SentMessage {
        SentMessage {
            topic: topic.clone(),
            numbers,
            values,
            packed,
        }
    }
}

impl SentMessage {
    /// The numbers as they are sent: their lowest bits.
    fn sent_numbers(&self) -> Numbers {
        let frame = self.topic.layout.frame();
        let lowest = |number: Option<u32>, bits: Option<u32>| {
            let bits = bits.unwrap_or(u32::BITS);
            number.map(|n| n & (u32::MAX >> (u32::BITS - bits)))
        };
        Numbers {
            sequence: lowest(self.numbers.sequence, frame.sequence_bits),
            starts: lowest(self.numbers.starts, frame.starts_bits),
        }
    }
}

/// A message that was read.
#[derive(Clone, Debug)]
pub struct ReadMessage {
    topic: PackedTopic,
    unpacked: Unpacked,
}

impl ReadMessage {
    /// A message of this topic says this.
    #[must_use]
    pub fn new(topic: &PackedTopic, mut unpacked: Unpacked) -> ReadMessage {
        let places = topic.layout.places().iter();
        for (place, value) in places.zip(&mut unpacked.values) {
            *value = decimal(place, *value);
        }
        ReadMessage {
            topic: topic.clone(),
            unpacked,
        }
    }
}

/// Bytes of a record in three forms; `None` where it has no such form.
struct Sizes {
    packed: u32,
    cbor: Option<Vec<u8>>,
    json: String,
}

fn sizes(layout: &Layout, values: &[Value]) -> Sizes {
    Sizes {
        packed: layout.bytes(),
        // Only times in steps of less than a microsecond have none.
        cbor: record_to_cbor(layout, values).ok(),
        json: json_record(layout, values),
    }
}

impl Sizes {
    fn text(&self) -> String {
        let cbor = self.cbor.as_ref().map_or_else(
            || "CBOR has no times in steps below 1 us".to_owned(),
            |cbor| format!("CBOR {}", cbor.len()),
        );
        format!("packed {}, {cbor}, JSON {}", self.packed, self.json.len())
    }
}

/// The layout of each topic as a table.
#[must_use]
pub fn topics_text(name: &str, topics: &[PackedTopic], sized: &[(String, u32)]) -> String {
    let mut out = format!("{name}\n");
    for topic in topics {
        let layout = &topic.layout;
        let _ = writeln!(
            out,
            "\ntopic {}: {} bits in {} bytes",
            topic.topic,
            layout.bits(),
            layout.bytes()
        );
        let rows = rows(layout);
        let width = |column: usize| {
            let cells = rows.iter().map(|row| row[column].chars().count());
            cells.max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..HEADINGS.len()).map(width).collect();
        for row in &rows {
            let mut text = format!("{:1$}", row[0], widths[0]);
            for column in 1..HEADINGS.len() - 1 {
                let _ = write!(text, "  {:>1$}", row[column], widths[column]);
            }
            let _ = writeln!(
                out,
                "  {}",
                format!("{text}  {}", row[HEADINGS.len() - 1]).trim_end()
            );
        }
        let sizes = sizes(layout, &topic.example);
        let _ = writeln!(
            out,
            "  bytes of {}:\n    {}",
            record_text(layout, &topic.example),
            sizes.text()
        );
    }
    for (i, (topic, bytes)) in sized.iter().enumerate() {
        let gap = if i == 0 { "\n" } else { "" };
        let _ = writeln!(out, "{gap}topic {topic}: {bytes} bytes, no fields");
    }
    if topics.is_empty() && sized.is_empty() {
        out.push_str("\nthe plan has no topics\n");
    }
    out
}

const HEADINGS: [&str; 8] = [
    "field", "offset", "bits", "no data", "from", "to", "step", "unit",
];

/// The table of a layout, headings first.
fn rows(layout: &Layout) -> Vec<[String; 8]> {
    let frame = layout.frame();
    let row = |field: &str, offset: u64, bits: u64, says: String| {
        let mut row = [const { String::new() }; 8];
        row[0] = field.to_owned();
        row[1] = offset.to_string();
        row[2] = bits.to_string();
        row[7] = says;
        row
    };
    let mut rows = vec![HEADINGS.map(str::to_owned)];
    let mut next = 0;
    if let Some(id) = frame.schema {
        rows.push(row("(schema id)", 0, 8, id.to_string()));
        next += 8;
    }
    if let Some(bits) = frame.sequence_bits {
        rows.push(row("(sequence)", next, bits.into(), String::new()));
        next += u64::from(bits);
    }
    if let Some(bits) = frame.starts_bits {
        rows.push(row("(starts)", next, bits.into(), String::new()));
    }
    for place in layout.places() {
        let mut cells = row(
            &place.field.name,
            place.offset_bits,
            place.bits.into(),
            String::new(),
        );
        match &place.field.kind {
            FieldKind::Scaled {
                unit,
                from,
                to,
                step,
            } => {
                cells[3] = place
                    .no_data_code()
                    .map_or_else(String::new, |c| c.to_string());
                cells[4] = show_bare(*from);
                cells[5] = show_bare(*to);
                cells[6] = show_bare(*step);
                cells[7].clone_from(unit);
            }
            FieldKind::Choice { values } => cells[7] = values.join(", "),
            FieldKind::Flag => "no, yes".clone_into(&mut cells[7]),
            FieldKind::Time {
                bits,
                step_s,
                epoch_ns,
            } => {
                cells[6] = show(*step_s, Dimension::Time);
                cells[7] = format!(
                    "since {}{}",
                    time_text(*epoch_ns),
                    read_within(*bits, *step_s)
                );
            }
        }
        rows.push(cells);
    }
    let filling = 8 * layout.bits().div_ceil(8) - layout.bits();
    if filling > 0 {
        rows.push(row("(filling)", layout.bits(), filling, "zeros".to_owned()));
    }
    if frame.crc {
        let says = "CRC-16/CCITT-FALSE of all before".to_owned();
        rows.push(row("(check)", layout.bits() + filling, 16, says));
    }
    rows
}

/// How old a message may be when its time is read, where that is less than all of 64 bits of nanoseconds.
fn read_within(bits: u32, step_s: f64) -> String {
    const ALL_S: f64 = 9.2e9;
    let half_s = step_s * (1u64 << (bits - 1)) as f64;
    if half_s > ALL_S {
        return String::new();
    }
    format!("; to be read within {}", show(half_s, Dimension::Time))
}

/// A record packed: the message, what each field became, and the bytes of other forms.
#[must_use]
pub fn sent_text(name: &str, sent: &SentMessage) -> String {
    let layout = &sent.topic.layout;
    let bytes = &sent.packed.bytes;
    let mut out = format!(
        "{name}\n\ntopic {}\n  message  {}\n  framed   {} 00   (COBS, for a stream of bytes)\n\n",
        sent.topic.topic,
        hex(bytes),
        hex(&cobs_encode(bytes))
    );
    let given = layout.places().iter().zip(&sent.values);
    let as_sent = sent.sent_numbers();
    let numbers: Vec<(&str, u32, u32)> = [
        ("(sequence)", sent.numbers.sequence, as_sent.sequence),
        ("(starts)", sent.numbers.starts, as_sent.starts),
    ]
    .into_iter()
    .filter_map(|(name, given, sent)| Some((name, given?, sent?)))
    .collect();
    let width = layout.places().iter().map(|p| p.field.name.chars().count());
    let width = width.chain(numbers.iter().map(|(name, ..)| name.len()));
    let width = width.max().unwrap_or(0);
    for (name, given, sent) in numbers {
        let _ = write!(out, "  {name:width$}  {given}");
        if sent != given {
            let _ = write!(out, ": more than its bits hold, is sent as {sent}");
        }
        out.push('\n');
    }
    for (number, (place, value)) in given.enumerate() {
        let _ = write!(
            out,
            "  {:width$}  {}",
            place.field.name,
            value_text(place, *value)
        );
        let becomes = sent_as(place, *value);
        if sent.packed.clamped.contains(&number)
            && let FieldKind::Scaled { from, to, .. } = &place.field.kind
        {
            let (from, to) = (show_bare(*from), show_bare(*to));
            let _ = write!(out, ": outside of {from} to {to}, clamped,");
        }
        if becomes != *value {
            let _ = write!(out, " is sent as {}", value_text(place, becomes));
        }
        out.push('\n');
    }
    let _ = writeln!(out, "\n  bytes: {}", sizes(layout, &sent.values).text());
    out
}

/// What a value reads as on the other side.
fn sent_as(place: &Place, value: Value) -> Value {
    place
        .as_read(value)
        .map_or(value, |value| decimal(place, value))
}

/// A number as the decimal that people mean by its step.
fn decimal(place: &Place, value: Value) -> Value {
    match value {
        Value::Number(v) => Value::Number(on_grid(place, v)),
        other => other,
    }
}

/// What a message says.
#[must_use]
pub fn read_text(name: &str, read: &ReadMessage) -> String {
    let layout = &read.topic.layout;
    let mut rows: Vec<(&str, String)> = Vec::new();
    let numbers = read.unpacked.numbers;
    for (name, number) in [
        ("(sequence)", numbers.sequence),
        ("(starts)", numbers.starts),
    ] {
        rows.extend(number.map(|n| (name, n.to_string())));
    }
    let said = layout.places().iter().zip(&read.unpacked.values);
    rows.extend(said.map(|(place, value)| (place.field.name.as_str(), value_text(place, *value))));
    let width = rows.iter().map(|(name, _)| name.chars().count()).max();
    let width = width.unwrap_or(0);
    let mut out = format!("{name}\n\ntopic {}\n", read.topic.topic);
    for (name, value) in rows {
        let _ = writeln!(out, "  {name:width$}  {value}");
    }
    out
}

/// A value on the grid of its field, as the decimal number that people mean: 47.3, and not what 473 tenths are in a double.
fn on_grid(place: &Place, value: f64) -> f64 {
    let text = format!("{value:.*}", place.decimals());
    text.parse().unwrap_or(value)
}

fn value_text(place: &Place, value: Value) -> String {
    match (value, &place.field.kind) {
        (Value::NoData, _) => "no data".to_owned(),
        (Value::Number(v), FieldKind::Scaled { unit, .. }) => {
            format!("{} {unit}", show_bare(v)).trim_end().to_owned()
        }
        (Value::Number(v), _) => show_bare(v),
        (Value::Choice(choice), FieldKind::Choice { values }) => values
            .get(choice as usize)
            .cloned()
            .unwrap_or_else(|| choice.to_string()),
        (Value::Choice(choice), _) => choice.to_string(),
        (Value::Flag(yes), _) => if yes { "yes" } else { "no" }.to_owned(),
        (Value::Time(at_ns), _) => time_text(at_ns),
    }
}

/// Values as they are read, each number with the digits of its field.
pub(super) fn as_read(layout: &Layout, values: &[Value]) -> Vec<Value> {
    let places = layout.places().iter().zip(values);
    places
        .map(|(place, value)| decimal(place, *value))
        .collect()
}

pub(super) fn record_text(layout: &Layout, values: &[Value]) -> String {
    let named = layout.places().iter().zip(values);
    let all: Vec<String> = named
        .map(|(place, value)| format!("{}={}", place.field.name, value_text(place, *value)))
        .collect();
    all.join(", ")
}

fn time_text(at_ns: i64) -> String {
    Timestamp::from_nanosecond(at_ns.into())
        .map_or_else(|_| format!("{at_ns} ns since 1970"), |t| t.to_string())
}
