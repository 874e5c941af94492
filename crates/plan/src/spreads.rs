//! Which values of a plan are written with a spread.

use quantity::Law;

use crate::catalogue::Catalogue;
use crate::field::RefKind;
use crate::mistake::Mistakes;
use crate::read::{Fields, Item, Read, Reader};

/// Full paths of the values that are written with a spread, sorted, those of catalogue parts where they are used.
pub(crate) fn spreads(root: &Fields, catalogue: &Catalogue) -> Vec<String> {
    let mut walk = Walk {
        catalogue,
        found: Vec::new(),
    };
    walk.fields("", root);
    walk.found.sort();
    walk.found.dedup();
    walk.found
}

struct Walk<'a> {
    catalogue: &'a Catalogue,
    found: Vec<String>,
}

impl Walk<'_> {
    fn fields(&mut self, path: &str, fields: &Fields) {
        // The values of a catalogue part are among the fields already.
        for (key, item) in fields.entries().filter(|(key, _)| *key != "part") {
            self.item(&below(path, key), item);
        }
    }

    fn law(&mut self, path: &str, law: Option<Law>) {
        if law.is_some() {
            self.found.push(path.to_owned());
        }
    }

    fn item(&mut self, path: &str, item: &Item) {
        match &item.value {
            Read::Amount(a) | Read::Load(_, a) => self.law(path, a.law),
            Read::Amounts(all) => all.iter().for_each(|(a, _)| self.law(path, a.law)),
            Read::Level(_, level) => self.law(path, level.law),
            Read::Reference(RefKind::Part, part) => self.part(path, part),
            Read::Table(fields) => self.fields(path, fields),
            Read::Tables(all) => all.iter().for_each(|f| self.fields(path, f)),
            Read::Keyed(all) => {
                for (id, fields) in &all.right {
                    self.fields(&below(path, id), fields);
                }
            }
            Read::Loads(all) => {
                for (state, load) in &all.right {
                    self.item(&below(path, state), load);
                }
            }
            // These are read without a spread; what a limit may be is told where it is settled.
            Read::Number(_)
            | Read::Numbers(_)
            | Read::Count(_)
            | Read::Flag(_)
            | Read::Text(_)
            | Read::Texts(_)
            | Read::Choice(_)
            | Read::Conductor(_)
            | Read::Money(_)
            | Read::EventRate(_)
            | Read::Date(_)
            | Read::Reference(..)
            | Read::References(_)
            | Read::Limit(_) => {}
        }
    }

    /// A part that is named where it stands (a rope) counts by what it holds.
    fn part(&mut self, path: &str, part: &str) {
        if let Some(held) = self.catalogue.get(part) {
            let mut told = Mistakes::default();
            let fields = Reader::new(self.catalogue, &mut told).part(
                held.section,
                &held.table,
                held.site,
                part,
            );
            self.fields(path, &fields);
        }
    }
}

fn below(path: &str, key: &str) -> String {
    if path.is_empty() {
        key.to_owned()
    } else {
        format!("{path}.{key}")
    }
}
