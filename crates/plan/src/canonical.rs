//! The canonical content of a file, whatever its layout, and digests of it.

use std::fmt::Write as _;

use quantity::Law;
use sha2::{Digest, Sha256};

use crate::catalogue::Catalogue;
use crate::field::RefKind;
use crate::line::Line;
use crate::mistake::Mistakes;
use crate::node::{Node, Value};
use crate::read::{Fields, Item, Read, Reader};
use crate::site::Sources;

/// Digest of all source bytes with line ends normalised, in reading order.
pub(crate) fn source_digest(sources: &Sources) -> String {
    let mut hash = Sha256::new();
    for (_, source) in sources.iter() {
        let text = source.text.replace("\r\n", "\n");
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    hex(&hash.finalize())
}

/// Digest of the content: keys sorted, quantities in SI, catalogue parts filled in; comments and layout do not count. A
/// weather file counts by its text, line ends normalised, the recording that a stage is held against by its bytes, a routine by its text.
pub(crate) fn digest(
    version: &str,
    fields: &Fields,
    catalogue: &Catalogue,
    weather: Option<&str>,
    line: Option<&Line>,
) -> String {
    let mut text = String::new();
    text.push_str(version);
    write_fields(&mut text, fields, catalogue);
    if let Some(weather) = weather {
        text.push_str(&weather.replace("\r\n", "\n"));
    }
    let stages = line.into_iter().flat_map(|l| &l.detectors);
    let of_stages = stages
        .flat_map(|d| &d.stages)
        .filter_map(|stage| stage.template()?.bytes.as_deref());
    let calls = line.into_iter().flat_map(|l| &l.calls);
    let of_calls = calls.filter_map(|call| call.recording.as_ref()?.bytes.as_deref());
    for template in of_stages.chain(of_calls) {
        text.push_str(&hex(&Sha256::digest(template)));
    }
    let behaviours = line.into_iter().flat_map(|l| &l.behaviours);
    let of_routines = behaviours.filter_map(|b| b.routine.as_ref()?.text.as_deref());
    for routine in of_routines {
        let routine = routine.replace("\r\n", "\n");
        text.push_str(&hex(&Sha256::digest(routine.as_bytes())));
    }
    hex(&Sha256::digest(text.as_bytes()))
}

/// Bytes in hexadecimal, as every digest is written.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut s, b| {
        let _ = write!(s, "{b:02x}");
        s
    })
}

fn write_fields(out: &mut String, fields: &Fields, catalogue: &Catalogue) {
    out.push('{');
    for (key, item) in fields.entries() {
        // Which catalogue file a part came from does not change what the plan says, nor does what could be had instead.
        if ["part", "include", "remedy"].contains(&key) {
            continue;
        }
        out.push_str(key);
        out.push('=');
        write_item(out, item, catalogue);
        out.push(';');
    }
    out.push('}');
}

/// A part that is named where it stands (a rope) counts by what it holds.
fn write_part(out: &mut String, path: &str, catalogue: &Catalogue) {
    let Some(part) = catalogue.get(path) else {
        return;
    };
    let mut told = Mistakes::default();
    let fields = Reader::new(catalogue, &mut told).part(part.section, &part.table, part.site, path);
    write_fields(out, &fields, catalogue);
}

fn write_amount(out: &mut String, si: f64, law: Option<Law>) {
    let _ = write!(out, "{si:?}");
    match law {
        None => {}
        Some(Law::Normal { half_width }) => {
            let _ = write!(out, "~n{half_width:?}");
        }
        Some(Law::Uniform { half_width }) => {
            let _ = write!(out, "~u{half_width:?}");
        }
    }
}

pub(crate) fn write_item(out: &mut String, item: &Item, catalogue: &Catalogue) {
    let list = |out: &mut String, each: &mut dyn Iterator<Item = String>| {
        out.push('[');
        for x in each {
            out.push_str(&x);
            out.push(',');
        }
        out.push(']');
    };
    match &item.value {
        Read::Amount(a) => write_amount(out, a.si, a.law),
        Read::Amounts(all) => list(
            out,
            &mut all.iter().map(|(a, _)| {
                let mut s = String::new();
                write_amount(&mut s, a.si, a.law);
                s
            }),
        ),
        Read::Number(x) => {
            let _ = write!(out, "{x:?}");
        }
        Read::Count(n) => {
            let _ = write!(out, "{n}");
        }
        Read::Flag(b) => {
            let _ = write!(out, "{b}");
        }
        Read::Text(t) => {
            let _ = write!(out, "{t:?}");
        }
        Read::Texts(all) => list(out, &mut all.iter().map(|(t, _)| format!("{t:?}"))),
        Read::Choice(word) => out.push_str(word),
        Read::Level(kind, level) => {
            let _ = write!(out, "{kind:?} ");
            write_amount(out, level.db, level.law);
        }
        Read::Conductor(c) => {
            let _ = write!(out, "{c:?}");
        }
        Read::Money(m) => {
            let _ = write!(out, "{m}");
        }
        Read::EventRate(r) => {
            let _ = write!(out, "{:?}/{:?}", r.count, r.per_s);
        }
        Read::Date(t) => {
            let _ = write!(out, "{t}");
        }
        Read::Reference(RefKind::Part, path) => write_part(out, path, catalogue),
        Read::Reference(_, path) => out.push_str(path),
        Read::References(all) => {
            list(out, &mut all.iter().map(|(_, path, _)| path.clone()));
        }
        Read::Load(dimension, a) => {
            let _ = write!(out, "{dimension:?} ");
            write_amount(out, a.si, a.law);
        }
        Read::Limit(node) => write_node(out, node),
        Read::Table(fields) => write_fields(out, fields, catalogue),
        Read::Tables(all) => {
            out.push('[');
            for f in all {
                write_fields(out, f, catalogue);
            }
            out.push(']');
        }
        Read::Keyed(all) => {
            out.push('{');
            for (id, fields) in &all.right {
                let _ = write!(out, "{id:?}=");
                write_fields(out, fields, catalogue);
            }
            out.push('}');
        }
        Read::Loads(all) => {
            out.push('{');
            for (state, item) in &all.right {
                let _ = write!(out, "{state:?}=");
                write_item(out, item, catalogue);
                out.push(';');
            }
            out.push('}');
        }
    }
}

fn write_node(out: &mut String, node: &Node) {
    match &node.value {
        Value::Text(t) => {
            let _ = write!(out, "{:?}", t.trim());
        }
        Value::Integer(i) => {
            let _ = write!(out, "{i:?}");
        }
        Value::Float(x) => {
            let _ = write!(out, "{x:?}");
        }
        Value::Flag(b) => {
            let _ = write!(out, "{b}");
        }
        Value::Date(d) => out.push_str(d),
        Value::List(list) => list.iter().for_each(|n| write_node(out, n)),
        Value::Table(table) => {
            for (key, entry) in table {
                out.push_str(key);
                write_node(out, &entry.node);
            }
        }
    }
}
