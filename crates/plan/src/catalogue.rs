//! Catalogue parts: like things that are written once. What the plan writes itself wins over the part.

use std::collections::{BTreeMap, BTreeSet};

use quantity::nearest;

use crate::field::{ID_RULE, RefKind, Section, is_id};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{Entry, Node, Table, Value};
use crate::read::join;
use crate::site::Site;
use crate::tables::PART_KINDS;

/// The key of a part that says what its instances have in common, and the one word for it.
pub(crate) const SHARED: &str = "shared";
pub(crate) const BATCH: &str = "batch";
pub(crate) const SHARED_DOC: &str = "all that come from this part are of one batch, and each of its values that has a spread is drawn once for all of them";

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
    /// Parts that are declared, but of which nothing can be used.
    wrong: BTreeSet<String>,
    /// The places of all that parts hold.
    held: BTreeSet<Site>,
    /// Those of parts that are of one batch.
    shared: BTreeSet<Site>,
    /// A file of parts could not be read, so that a part may be declared all the same.
    incomplete: bool,
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
        if !is_id(id) {
            mistakes.push(
                Mistake::error(Code::BadId, entry.key, format!("`{id}` is no id"))
                    .label(ID_RULE)
                    .part(part_path),
            );
            self.wrong.insert(id.to_lowercase());
            return;
        }
        let words = || PART_KINDS.iter().filter_map(|s| s.part);
        let Value::Table(table) = &entry.node.value else {
            mistakes.push(
                Mistake::error(Code::WrongType, entry.node.site, "a part is a table")
                    .label("here")
                    .part(part_path),
            );
            self.wrong.insert(id.to_owned());
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
            self.wrong.insert(id.to_owned());
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
            self.wrong.insert(id.to_owned());
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
        if let Some(own) = table.remove("part") {
            mistakes.push(
                Mistake::error(
                    Code::KeyConflict,
                    own.key,
                    "a part is not built on another part",
                )
                .label("here")
                .help("write what the part holds itself")
                .part(part_path.clone()),
            );
        }
        if let Some(shared) = table.remove(SHARED) {
            if !matches!(&shared.node.value, Value::Text(word) if word == BATCH) {
                mistakes.push(
                    Mistake::error(
                        Code::UnknownWord,
                        shared.node.site,
                        format!("what a part shares is a \"{BATCH}\""),
                    )
                    .label("here")
                    .help(format!("write {SHARED} = \"{BATCH}\": {SHARED_DOC}"))
                    .part(part_path),
                );
            }
            hold(&mut self.shared, &table);
        }
        hold(&mut self.held, &table);
        self.parts.insert(
            id.to_owned(),
            Part {
                section,
                table,
                site: entry.key,
            },
        );
    }

    /// Notes that some file of parts could not be read.
    pub(crate) fn lacks_a_file(&mut self) {
        self.incomplete = true;
    }

    /// Whether a place lies in a part.
    pub(crate) fn holds(&self, site: Site) -> bool {
        self.held.contains(&site)
    }

    /// Whether what is written at a place is the same in all that the part becomes.
    pub(crate) fn is_shared(&self, site: Site) -> bool {
        self.shared.contains(&site)
    }

    pub(crate) fn get(&self, path: &str) -> Option<&Part> {
        self.parts.get(path.strip_prefix("part.").unwrap_or(path))
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
            if self.incomplete || self.wrong.contains(id) {
                return None;
            }
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
                .help(format!(
                    "a part that stands here says is = \"{}\"",
                    section.part.unwrap_or("")
                ))
                .part(user),
            );
            return None;
        }
        Some(part)
    }

    /// The table with what is missing filled in from the part that it names; `None` when there is no such part, which has
    /// been told.
    pub(crate) fn fill(
        &self,
        section: &'static Section,
        table: &Table,
        mistakes: &mut Mistakes,
        user: &str,
    ) -> Option<Table> {
        let mut filled = table.clone();
        let (path, used_at) = match table.get("part").map(|e| &e.node) {
            Some(node) => match &node.value {
                Value::Text(path) if RefKind::of_path(path) == Some(RefKind::Part) => {
                    (path, node.site)
                }
                // The reader tells what is wrong with it.
                _ => return None,
            },
            None => return Some(filled),
        };
        let part = self.part(section, path, used_at, mistakes, user)?;
        fill_in(&mut filled, &part.table, used_at);
        Some(filled)
    }
}

impl Part {
    /// What it holds, marked as used at a place.
    pub(crate) fn used_at(&self, site: Site) -> Table {
        let mut table = Table::new();
        fill_in(&mut table, &self.table, site);
        table
    }
}

fn hold(held: &mut BTreeSet<Site>, table: &Table) {
    for entry in table.values() {
        held.insert(entry.key);
        hold_node(held, &entry.node);
    }
}

fn hold_node(held: &mut BTreeSet<Site>, node: &Node) {
    held.insert(node.site);
    match &node.value {
        Value::List(list) => list.iter().for_each(|n| hold_node(held, n)),
        Value::Table(table) => hold(held, table),
        _ => {}
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
