//! The canonical content of a file, whatever its layout, and digests of it.

use std::collections::BTreeMap;
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
use crate::spreads::Spread;

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

/// Tables of a plan that no rehearsal reads.
const NEVER_REHEARSED: [&str; 8] = [
    "requirement",
    "call",
    "spare",
    "weak_link",
    "recovery",
    "metal",
    "anode",
    "watch",
];

/// Keys that no rehearsal reads, of tables of which it reads others; of a table within one, behind a dot. Its wind is the cue sheet's, and its supplies are what their
/// outputs say; when it begins `deployment.start` may say. Modules are where the line hangs, so of its mechanics only what bears on its shape counts.
pub(crate) const NOT_REHEARSED: [(&str, &[&str]); 8] = [
    (
        "deployment",
        &[
            "name",
            "duration",
            "start_slip",
            "recovery_slip",
            "deploying",
            "recovering",
            "dead_on_deck",
        ],
    ),
    (
        "site",
        &[
            "clearness",
            "horizon",
            "weather",
            "waves",
            "swell",
            "loss_measured.nearest",
            "loss_measured.farthest",
            "loss_measured.band",
            "loss_measured.document",
            "loss_measured.by",
            "loss_measured.date",
        ],
    ),
    ("supply", &["panels", "battery", "hold"]),
    ("section", &["fairing", "heave_share"]),
    ("case", &["strongest_at"]),
    (
        "module",
        &[
            "drift_alarm",
            "clock.holds",
            "housing.rated_depth",
            "sensor.pick_up",
            "sensor.no_pick_up",
            "sensor.adc.anti_alias",
            "sensor.adc.oversampling",
        ],
    ),
    ("float", &["rated_depth"]),
    ("anchor", &["holding", "holding_factor", "safety_factor"]),
];

/// Keys that no draw of a plan reads, of tables of which it reads others, and the limits of requirements, each of which is read by the draws of its own requirement.
pub(crate) const NOT_DRAWN: [(&str, &[&str]); 2] = [
    ("deployment", &["name"]),
    (
        "requirement",
        &["source", "share_of_draws", LIMITS[0], LIMITS[1]],
    ),
];

/// Limits of a requirement.
pub(crate) const LIMITS: [&str; 2] = ["at_least", "at_most"];

/// Digests of what draws of a plan read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DrawnDigests {
    /// Of all but the limits of requirements.
    pub but_limits: String,
    /// Of the limits of each requirement, by its id.
    pub limits: BTreeMap<String, String>,
}

impl DrawnDigests {
    /// Of all limits together.
    #[must_use]
    pub fn all_limits(&self) -> String {
        hex(&Sha256::digest(format!("{:?}", self.limits).as_bytes()))
    }
}

/// Digests of what draws read, and of what is drawn together: not who asks for what, nor in how many draws, nor what the deployment is called.
pub(crate) fn drawn_digests(
    fields: &Fields,
    catalogue: &Catalogue,
    weather: Option<&str>,
    line: Option<&Line>,
    spreads: &[Spread],
) -> DrawnDigests {
    let mut text = "drawn/1".to_owned();
    write_tables_but(&mut text, fields, catalogue, (&[], &NOT_DRAWN));
    write_files(&mut text, weather, line);
    write_drawn_together(&mut text, spreads);
    let mut limits = BTreeMap::new();
    let requirements = fields.entries().find(|(key, _)| *key == "requirement");
    if let Some((_, item)) = requirements
        && let Read::Keyed(all) = &item.value
    {
        for (id, table) in &all.right {
            let mut text = String::new();
            for (key, item) in table.entries().filter(|(key, _)| LIMITS.contains(key)) {
                text.push_str(key);
                text.push('=');
                write_item(&mut text, item, catalogue);
                text.push(';');
            }
            limits.insert(id.clone(), hex(&Sha256::digest(text.as_bytes())));
        }
    }
    DrawnDigests {
        but_limits: hex(&Sha256::digest(text.as_bytes())),
        limits,
    }
}

/// Digest of what a rehearsal reads of a plan; of the rest any may change and the rehearsal stays as it was.
pub(crate) fn rehearsed_digest(
    fields: &Fields,
    catalogue: &Catalogue,
    line: Option<&Line>,
) -> String {
    let mut text = "rehearsed/1".to_owned();
    let but = (&NEVER_REHEARSED[..], &NOT_REHEARSED[..]);
    write_tables_but(&mut text, fields, catalogue, but);
    write_templates(&mut text, line);
    write_routines(&mut text, line);
    hex(&Sha256::digest(text.as_bytes()))
}

/// The tables of a plan but for some, and but for some keys of others.
fn write_tables_but(
    out: &mut String,
    fields: &Fields,
    catalogue: &Catalogue,
    (never, keys): (&[&str], &[(&str, &[&str])]),
) {
    out.push('{');
    for (key, item) in counted(fields, never) {
        out.push_str(key);
        out.push('=');
        let unread = keys.iter().find(|(table, _)| *table == key);
        match (unread, &item.value) {
            (Some((_, but)), Read::Table(table)) => {
                write_fields_but(out, table, catalogue, but);
            }
            (Some((_, but)), Read::Keyed(all)) => {
                for (id, table) in &all.right {
                    let _ = write!(out, "{id:?}=");
                    write_fields_but(out, table, catalogue, but);
                }
            }
            _ => write_item(out, item, catalogue),
        }
        out.push(';');
    }
    out.push('}');
}

/// Digest of the content: keys sorted, quantities in SI, catalogue parts filled in; comments and layout do not count. A
/// weather file counts by its text, line ends normalised, the recording that a stage is held against by its bytes, a routine by its text.
pub(crate) fn digest(
    version: &str,
    fields: &Fields,
    catalogue: &Catalogue,
    weather: Option<&str>,
    line: Option<&Line>,
    spreads: &[Spread],
) -> String {
    let mut text = String::new();
    text.push_str(version);
    write_fields(&mut text, fields, catalogue);
    write_files(&mut text, weather, line);
    write_drawn_together(&mut text, spreads);
    hex(&Sha256::digest(text.as_bytes()))
}

/// Which values are drawn as one, because a part is shared: that stands in no field. Nothing where each is drawn by itself.
fn write_drawn_together(out: &mut String, spreads: &[Spread]) {
    let mut seen = BTreeMap::new();
    for spread in spreads {
        let Some(number) = spread.drawn_by else {
            continue;
        };
        match seen.get(&number) {
            None => {
                seen.insert(number, &spread.path);
            }
            Some(first) => {
                let _ = write!(out, "{:?} as {first:?};", spread.path);
            }
        }
    }
}

/// What other files say.
fn write_files(out: &mut String, weather: Option<&str>, line: Option<&Line>) {
    if let Some(weather) = weather {
        out.push_str(&weather.replace("\r\n", "\n"));
    }
    write_templates(out, line);
    let calls = line.into_iter().flat_map(|l| &l.calls);
    for call in calls.filter_map(|call| call.recording.as_ref()?.bytes.as_deref()) {
        out.push_str(&hex(&Sha256::digest(call)));
    }
    write_routines(out, line);
}

/// The recordings and models that stages are held against.
fn write_templates(out: &mut String, line: Option<&Line>) {
    let stages = line.into_iter().flat_map(|l| &l.detectors);
    let of_stages = stages
        .flat_map(|d| &d.stages)
        .filter_map(|stage| stage.template()?.bytes.as_deref());
    for template in of_stages {
        out.push_str(&hex(&Sha256::digest(template)));
    }
}

/// The texts of routines, line ends normalised.
fn write_routines(out: &mut String, line: Option<&Line>) {
    let behaviours = line.into_iter().flat_map(|l| &l.behaviours);
    for routine in behaviours.filter_map(|b| b.routine.as_ref()?.text.as_deref()) {
        let routine = routine.replace("\r\n", "\n");
        out.push_str(&hex(&Sha256::digest(routine.as_bytes())));
    }
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
    write_fields_but(out, fields, catalogue, &[]);
}

/// The same without some keys.
fn write_fields_but(out: &mut String, fields: &Fields, catalogue: &Catalogue, but: &[&str]) {
    out.push('{');
    for (key, item) in counted(fields, but) {
        out.push_str(key);
        out.push('=');
        if !write_within(out, (key, item), catalogue, but) {
            write_item(out, item, catalogue);
        }
        out.push(';');
    }
    out.push('}');
}

/// A table within one, or each of those by id, without those keys of it that stand behind a dot; whether it was that.
fn write_within(
    out: &mut String,
    (key, item): (&str, &Item),
    catalogue: &Catalogue,
    but: &[&str],
) -> bool {
    let within: Vec<&str> = but
        .iter()
        .filter_map(|but| but.strip_prefix(key)?.strip_prefix('.'))
        .collect();
    match &item.value {
        Read::Table(table) if !within.is_empty() => {
            write_fields_but(out, table, catalogue, &within);
            true
        }
        Read::Keyed(all) if !within.is_empty() => {
            out.push('{');
            for (id, table) in &all.right {
                let _ = write!(out, "{id:?}=");
                write_fields_but(out, table, catalogue, &within);
            }
            out.push('}');
            true
        }
        _ => false,
    }
}

/// The keys of a table that count. Which catalogue file a part came from does not change what the plan says, nor does what could be had
/// instead.
fn counted<'f>(
    fields: &'f Fields,
    but: &'f [&'f str],
) -> impl Iterator<Item = (&'static str, &'f Item)> {
    let left_out =
        move |key: &str| ["part", "include", "remedy"].contains(&key) || but.contains(&key);
    fields.entries().filter(move |(key, _)| !left_out(key))
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

#[cfg(test)]
mod tests {
    use super::{NEVER_REHEARSED, NOT_DRAWN, NOT_REHEARSED};
    use crate::field::Shape;
    use crate::tables::PLAN;

    /// A key that is renamed would count again, and one that is new in the deployment counts until somebody says that it does not.
    #[test]
    fn verif_what_no_rehearsal_and_no_draw_reads_are_keys_of_the_plan() {
        let table = |name: &str| PLAN.fields.iter().find(|f| f.key == name);
        for name in NEVER_REHEARSED {
            assert!(table(name).is_some(), "{name}");
        }
        for (name, keys) in NOT_REHEARSED.into_iter().chain(NOT_DRAWN) {
            let (Shape::Table(section) | Shape::Keyed(section)) = &table(name).unwrap().shape
            else {
                panic!("{name} is no table");
            };
            for key in keys {
                let mut fields = section.fields;
                let mut parts = key.split('.').peekable();
                while let Some(part) = parts.next() {
                    let found = fields.iter().find(|f| f.key == part);
                    let found = found.unwrap_or_else(|| panic!("{name}.{key}"));
                    if parts.peek().is_some() {
                        let (Shape::Table(within) | Shape::Keyed(within)) = &found.shape else {
                            panic!("{name}.{key}");
                        };
                        fields = within.fields;
                    }
                }
            }
        }
    }
}
