//! The values of a plan one by one, each by its key path: what is written, what it means, and where it stands.

use crate::canonical::write_item;
use crate::field::{Field, RefKind, Section, Shape};
use crate::mistake::Mistakes;
use crate::node::{Entry, Node, Table, Value};
use crate::read::{Item, Read, Reader};
use crate::reading::Reading;
use crate::site::Site;
use crate::tables::PLAN;

/// A value of a plan.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Written {
    /// Its key path: `module.upper.input.minimum`, `detector.upcall.stages[2].hold_off`, `topic."alert/call".at_most`.
    pub path: String,
    /// As it stands in its file.
    pub text: String,
    /// What it means whatever its layout: SI values, words, paths. `None` where it has a mistake.
    pub means: Option<String>,
    /// Where it stands.
    pub at: Site,
    /// Where the catalogue part that holds it is used; `None` for what the plan writes itself, and for the part's own table.
    pub used_at: Option<Site>,
}

impl Reading {
    /// Every value of the plan, sorted by its path; those of catalogue parts where they are used and, as `part.ID.KEY`, where they
    /// stand. Values with mistakes are there too.
    #[must_use]
    pub fn written(&self) -> Vec<Written> {
        let mut walk = Walk {
            reading: self,
            found: Vec::new(),
        };
        walk.table("", &PLAN, &self.root);
        for (id, part) in self.catalogue.iter() {
            walk.table(&format!("part.{id}"), part.section, &part.table);
        }
        walk.found.sort_by(|a, b| a.path.cmp(&b.path));
        walk.found
    }
}

impl Reading {
    /// What a requirement asks, as the plan writes it: its keys but for `must` and `source`, each with what stands between its quotes, or the
    /// number, flag, list or table as it stands in the file. Those of a requirement with mistakes too; none where there is no such table.
    #[must_use]
    pub fn asks(&self, requirement: &str) -> Vec<(String, String)> {
        fn table(of: Option<&Entry>) -> Option<&Table> {
            match &of?.node.value {
                Value::Table(table) => Some(table),
                _ => None,
            }
        }
        let all = table(self.root.get("requirement"));
        let Some(own) = all.and_then(|all| table(all.get(requirement))) else {
            return Vec::new();
        };
        let asked = own
            .iter()
            .filter(|(key, _)| !matches!(key.as_str(), "must" | "source"));
        let text = |node: &Node| match &node.value {
            Value::Text(text) => text.clone(),
            _ => self.sources.get(node.site.file).text[node.site.range()].to_owned(),
        };
        asked
            .map(|(key, entry)| (key.clone(), text(&entry.node)))
            .collect()
    }
}

struct Walk<'a> {
    reading: &'a Reading,
    found: Vec<Written>,
}

impl Walk<'_> {
    fn table(&mut self, path: &str, section: &'static Section, table: &Table) {
        let names_a_part = section.takes_a_part() && table.contains_key("part");
        let filled = names_a_part
            .then(|| {
                let mut told = Mistakes::default();
                self.reading.catalogue.fill(section, table, &mut told, path)
            })
            .flatten();
        for (key, entry) in filled.as_ref().unwrap_or(table) {
            let path = below(path, key);
            match section.field(key) {
                Some(field) => self.value(&path, field, &entry.node),
                None => self.leaf(&path, &entry.node, None),
            }
        }
    }

    fn value(&mut self, path: &str, field: &'static Field, node: &Node) {
        match (field.shape, &node.value) {
            (Shape::Table(section), Value::Table(table)) => self.table(path, section, table),
            (Shape::Tables(section), Value::List(list)) => {
                for (i, node) in list.iter().enumerate() {
                    let path = format!("{path}[{i}]");
                    match &node.value {
                        Value::Table(table) => self.table(&path, section, table),
                        _ => self.leaf(&path, node, None),
                    }
                }
            }
            (Shape::Keyed(section) | Shape::KeyedTopics(section), Value::Table(table)) => {
                for (id, entry) in table {
                    let path = below(path, id);
                    match &entry.node.value {
                        Value::Table(table) => self.table(&path, section, table),
                        _ => self.leaf(&path, &entry.node, None),
                    }
                }
            }
            (Shape::KeyedLoads, Value::Table(table)) => {
                for (state, entry) in table {
                    let means = self.means(|reader| reader.load(&entry.node), entry.node.site);
                    self.leaf(&below(path, state), &entry.node, means);
                }
            }
            // Parts are gone through where they are used, and each by itself.
            (Shape::Parts, _) => {}
            (Shape::Reference([RefKind::Part]), Value::Text(part)) => {
                self.leaf(path, node, Some(part.clone()));
                if field.key != "part"
                    && let Some(held) = self.reading.catalogue.get(part)
                {
                    self.table(path, held.section, &held.used_at(node.site));
                }
            }
            _ => {
                let means = self.means(|reader| reader.value(field, node, false), node.site);
                self.leaf(path, node, means);
            }
        }
    }

    fn means(
        &self,
        read: impl FnOnce(&mut Reader<'_>) -> Option<Read>,
        site: Site,
    ) -> Option<String> {
        let mut told = Mistakes::default();
        let value = read(&mut Reader::new(&self.reading.catalogue, &mut told))?;
        let mut means = String::new();
        let item = Item { site, value };
        write_item(&mut means, &item, &self.reading.catalogue);
        Some(means)
    }

    fn leaf(&mut self, path: &str, node: &Node, means: Option<String>) {
        let source = &self.reading.sources.get(node.site.file).text;
        self.found.push(Written {
            path: path.to_owned(),
            text: source[node.site.range()].to_owned(),
            means,
            at: node.site,
            used_at: node.used_at,
        });
    }
}

/// The first key of a path as [`Reading::written`] gives them, without its quotes, and what follows it; `None` where a quote has no end.
#[must_use]
pub fn first_key(path: &str) -> Option<(String, &str)> {
    let Some(quoted) = path.strip_prefix('"') else {
        let (key, after) = path.split_at(path.find(['.', '[']).unwrap_or(path.len()));
        return Some((key.to_owned(), after));
    };
    let mut key = String::new();
    let mut characters = quoted.char_indices();
    while let Some((at, c)) = characters.next() {
        match c {
            '"' => return Some((key, &quoted[at + 1..])),
            '\\' => key.push(characters.next()?.1),
            _ => key.push(c),
        }
    }
    None
}

/// The path of a key below another; a key that is no bare key of TOML in quotes.
#[must_use]
pub fn below(path: &str, key: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    let key = if !key.is_empty() && key.chars().all(bare) {
        key.to_owned()
    } else {
        format!("\"{}\"", key.replace('\\', "\\\\").replace('"', "\\\""))
    };
    if path.is_empty() {
        key
    } else {
        format!("{path}.{key}")
    }
}
