//! Keys that are written twice: where the first one stands, and to which part of the file both belong.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::field::{Section, Shape};

/// A key that is written twice.
pub(crate) struct Twice {
    /// Place of the first one.
    pub(crate) first: Range<usize>,
    /// The part of the file in which both stand; `None` when they are a table of things, or nothing that a section knows.
    pub(crate) part: Option<String>,
    /// Whether they are headings of tables.
    pub(crate) headings: bool,
    /// Names on the way to both, with their own.
    pub(crate) path: Vec<String>,
}

/// Looks for the first of two keys of which the second stands at `again`.
///
/// The parser tells only of the second. Under a name of its own it is read as its neighbour.
pub(crate) fn twice(text: &str, again: Range<usize>, root: &'static Section) -> Option<Twice> {
    let mut name = "again".to_owned();
    while text.contains(&name) {
        name.push('-');
    }
    let mut renamed = text.to_owned();
    renamed.replace_range(again.clone(), &name);
    let (table, _) = DeTable::parse_recoverable(&renamed);
    let mut path = Vec::new();
    let around = find(table.get_ref(), &name, &mut path)?;
    let written = text[again.clone()].trim_matches(['"', '\'']);
    let (key, _) = around.get_key_value(written)?;
    let first = key.span();
    if first.start >= again.start {
        return None;
    }
    path.push(written.to_owned());
    Some(Twice {
        first,
        part: part_of(root, &path),
        headings: text[again.end..].trim_start().starts_with(']'),
        path,
    })
}

/// The table that has a key of this name, and the names on the way to it.
fn find<'t, 'i>(
    table: &'t DeTable<'i>,
    name: &str,
    path: &mut Vec<String>,
) -> Option<&'t DeTable<'i>> {
    if table.contains_key(name) {
        return Some(table);
    }
    for (key, value) in table {
        path.push(key.get_ref().to_string());
        if let Some(found) = find_in(value.get_ref(), name, path) {
            return Some(found);
        }
        path.pop();
    }
    None
}

fn find_in<'t, 'i>(
    value: &'t DeValue<'i>,
    name: &str,
    path: &mut Vec<String>,
) -> Option<&'t DeTable<'i>> {
    match value {
        DeValue::Table(table) => find(table, name, path),
        DeValue::Array(list) => list.iter().find_map(|v| find_in(v.get_ref(), name, path)),
        _ => None,
    }
}

/// The part of the file in which a path lies, as mistakes name it.
fn part_of(root: &'static Section, path: &[String]) -> Option<String> {
    let mut part: Option<String> = None;
    let mut section = root;
    let mut steps = path.iter();
    while let Some(key) = steps.next() {
        let before = part.as_ref().map_or(String::new(), |p| format!("{p}."));
        match section.field(key)?.shape {
            Shape::Table(inner) if part.is_none() => {
                part = Some(key.clone());
                section = inner;
            }
            Shape::Keyed(inner) | Shape::KeyedTopics(inner) => {
                part = Some(format!("{before}{key}.{}", steps.next()?));
                section = inner;
            }
            Shape::Parts => return Some(format!("{key}.{}", steps.next()?)),
            _ => break,
        }
    }
    part
}
