//! Catalogue parts: like things that are written once. What the plan writes itself wins over the part.

use std::collections::BTreeMap;

use quantity::nearest;

use crate::field::Section;
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{Entry, Node, Table, Value};
use crate::read::join;
use crate::site::Site;
use crate::tables::PART_KINDS;

/// One part as it was written.
#[derive(Debug)]
pub(crate) struct Part {
    pub(crate) section: &'static Section,
    pub(crate) table: Table,
    pub(crate) site: Site,
}

/// All parts of a plan and of the files it includes.
#[derive(Debug, Default)]
pub(crate) struct Catalogue {
    parts: BTreeMap<String, Part>,
}

impl Catalogue {
    /// Takes in the `part` tables of one file.
    pub(crate) fn take(&mut self, root: &Table, mistakes: &mut Mistakes) {
        let Some(entry) = root.get("part") else {
            return;
        };
        let Value::Table(parts) = &entry.node.value else {
            mistakes.push(
                Mistake::error(
                    Code::WrongType,
                    entry.node.site,
                    "expected tables keyed by id",
                )
                .label("write [part.ID]")
                .part("part"),
            );
            return;
        };
        for (id, part) in parts {
            self.take_part(id, part, mistakes);
        }
    }

    fn take_part(&mut self, id: &str, entry: &Entry, mistakes: &mut Mistakes) {
        let part_path = format!("part.{id}");
        let words = || PART_KINDS.iter().filter_map(|s| s.part);
        let Value::Table(table) = &entry.node.value else {
            mistakes.push(
                Mistake::error(Code::WrongType, entry.node.site, "a part is a table")
                    .label("here")
                    .part(part_path),
            );
            return;
        };
        let is = table.get("is").and_then(|e| match &e.node.value {
            Value::Text(word) => Some((word, e.node.site)),
            _ => None,
        });
        let Some((word, word_site)) = is else {
            mistakes.push(
                Mistake::error(Code::MissingKey, entry.key, "a part must say what it is")
                    .label("`is` is missing here")
                    .help(format!("add `is = \"...\"`, one of: {}", join(words())))
                    .part(part_path),
            );
            return;
        };
        let Some(section) = PART_KINDS.iter().find(|s| s.part == Some(word.as_str())) else {
            mistakes.push(
                Mistake::error(
                    Code::UnknownWord,
                    word_site,
                    format!("\"{word}\" is no kind of part"),
                )
                .label("unknown word")
                .help(format!("the words are: {}", join(words())))
                .part(part_path),
            );
            return;
        };
        if let Some(known) = self.parts.get(id) {
            mistakes.push(
                Mistake::error(
                    Code::Duplicate,
                    entry.key,
                    format!("part `{id}` is declared twice"),
                )
                .label("again here")
                .related(known.site, "first here")
                .part(part_path),
            );
            return;
        }
        let mut table = table.clone();
        table.remove("is");
        self.parts.insert(
            id.to_owned(),
            Part {
                section,
                table,
                site: entry.key,
            },
        );
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (&str, &Part)> {
        self.parts.iter().map(|(id, part)| (id.as_str(), part))
    }

    /// The part with this path, if it is of the wanted kind; tells a mistake otherwise.
    pub(crate) fn part(
        &self,
        section: &'static Section,
        path: &str,
        used_at: Site,
        mistakes: &mut Mistakes,
        user: &str,
    ) -> Option<&Part> {
        let id = path.strip_prefix("part.").unwrap_or(path);
        let Some(part) = self.parts.get(id) else {
            let help = match nearest(id, self.parts.keys().map(String::as_str)) {
                Some(near) => format!("did you mean `part.{near}`?"),
                None => "declare it as [part.ID] here or in an included catalogue".to_owned(),
            };
            mistakes.push(
                Mistake::error(Code::NamesNothing, used_at, format!("there is no `{path}`"))
                    .label("names nothing")
                    .help(help)
                    .part(user),
            );
            return None;
        };
        if part.section.part != section.part {
            let is = part.section.part.unwrap_or("something else");
            mistakes.push(
                Mistake::error(
                    Code::WrongPart,
                    used_at,
                    format!("`{path}` is a {is}; here stands {}", section.name),
                )
                .label("a part of another kind")
                .related(part.site, "declared here")
                .part(user),
            );
            return None;
        }
        Some(part)
    }

    /// The table with what is missing filled in from the part that it names.
    pub(crate) fn fill(
        &self,
        section: &'static Section,
        table: &Table,
        mistakes: &mut Mistakes,
        user: &str,
    ) -> Table {
        let mut filled = table.clone();
        let named = table.get("part").and_then(|e| match &e.node.value {
            Value::Text(path) => Some((path, e.node.site)),
            _ => None,
        });
        let Some((path, used_at)) = named else {
            return filled;
        };
        if let Some(part) = self.part(section, path, used_at, mistakes, user) {
            fill_in(&mut filled, &part.table, used_at);
        }
        filled
    }
}

/// Copies what is absent, table by table; a list is taken whole or not at all.
fn fill_in(table: &mut Table, part: &Table, used_at: Site) {
    for (key, entry) in part {
        match table.get_mut(key) {
            None => {
                let mut node = entry.node.clone();
                mark(&mut node, used_at);
                table.insert(
                    key.clone(),
                    Entry {
                        key: entry.key,
                        node,
                    },
                );
            }
            Some(own) => {
                if let (Value::Table(own), Value::Table(theirs)) =
                    (&mut own.node.value, &entry.node.value)
                {
                    fill_in(own, theirs, used_at);
                }
            }
        }
    }
}

fn mark(node: &mut Node, used_at: Site) {
    node.used_at = Some(used_at);
    match &mut node.value {
        Value::List(list) => list.iter_mut().for_each(|n| mark(n, used_at)),
        Value::Table(table) => table.values_mut().for_each(|e| mark(&mut e.node, used_at)),
        _ => {}
    }
}
