//! Mistakes key by key: which keys of a table they leave open, and which they do not touch.
//!
//! A table such as `[site]` holds what many verdicts read, each a little of it. The keys are told as `site.water_depth`,
//! `deployment.duration`, `module.upper.position`.

use std::collections::BTreeMap;

use crate::field::{Need, Section};
use crate::mistake::{Code, Mistake};
use crate::node::{Entry, Node, Table, Value};
use crate::read::Fields;
use crate::site::Site;

/// The keys of a table that mistakes in it leave open, each with the place of its first mistake.
///
/// `written` is the table as it stands in the plan, `fields` what could be read of it. A mistake of which it cannot be said
/// where in the table it lies leaves all keys open.
pub(crate) fn open_keys(
    section: &'static Section,
    written: &Table,
    fields: Option<&Fields>,
    mistakes: &[&Mistake],
) -> BTreeMap<&'static str, Site> {
    let mut open = BTreeMap::new();
    let all = || section.fields.iter().map(|f| f.key);
    for mistake in mistakes {
        let keys: Vec<&'static str> = match (mistake.code, place_in(written, mistake.site)) {
            (Code::Duplicate, _) => match all().find(|key| stands_at(written, key, mistake)) {
                Some(key) => vec![key],
                None => all().collect(),
            },
            (Code::UnknownKey, Some((key, true))) if section.field(key).is_none() => {
                meant(section, written, fields)
            }
            (_, Some((key, _))) => match section.field(key) {
                Some(field) => vec![field.key],
                None => all().collect(),
            },
            (Code::MissingKey, None) if fields.is_some() => section
                .fields
                .iter()
                .filter(|f| f.need == Need::Required && !written.contains_key(f.key))
                .map(|f| f.key)
                .collect(),
            _ => all().collect(),
        };
        for key in keys {
            open.entry(key).or_insert(mistake.site);
        }
    }
    open
}

/// The keys that an unknown one may have been meant to be: the nearest, or any that is not written.
fn meant(section: &'static Section, written: &Table, fields: Option<&Fields>) -> Vec<&'static str> {
    let unwritten = section.fields.iter().map(|f| f.key);
    let unwritten: Vec<&'static str> = unwritten.filter(|k| !written.contains_key(*k)).collect();
    let near: Vec<&'static str> = unwritten
        .iter()
        .copied()
        .filter(|k| fields.is_some_and(|f| f.is_wrong(k)))
        .collect();
    if near.is_empty() { unwritten } else { near }
}

/// Whether a key is the one that is written twice: the first of the two is in the table.
fn stands_at(written: &Table, key: &str, twice: &Mistake) -> bool {
    let places = || {
        twice
            .related
            .iter()
            .map(|(site, _)| *site)
            .chain([twice.site])
    };
    written
        .get(key)
        .is_some_and(|e| places().any(|site| holds(e, site)))
}

/// The key of a table under which a place lies, and whether it is the key itself.
fn place_in(table: &Table, site: Site) -> Option<(&str, bool)> {
    let found = table.iter().find(|(_, entry)| holds(entry, site));
    found.map(|(key, entry)| (key.as_str(), covers(entry.key, site)))
}

fn covers(whole: Site, site: Site) -> bool {
    whole.file == site.file && whole.start <= site.start && site.end <= whole.end
}

fn holds(entry: &Entry, site: Site) -> bool {
    covers(entry.key, site) || holds_in(&entry.node, site)
}

/// Tables with headings of their own lie anywhere.
fn holds_in(node: &Node, site: Site) -> bool {
    covers(node.site, site)
        || match &node.value {
            Value::Table(table) => table.values().any(|e| holds(e, site)),
            Value::List(list) => list.iter().any(|n| holds_in(n, site)),
            _ => false,
        }
}
