//! All that a plan declares, with its place, right or wrong.

use std::collections::{BTreeMap, BTreeSet};

use crate::read::Fields;
use crate::site::Site;

/// Tables of a plan that hold things by id.
pub const DECLARED_KINDS: [&str; 25] = [
    "anchor",
    "section",
    "float",
    "weight",
    "weak_link",
    "recovery",
    "case",
    "supply",
    "module",
    "span",
    "bus",
    "exclusive",
    "detector",
    "call",
    "vote",
    "topic",
    "request",
    "stream",
    "behaviour",
    "uplink",
    "storage",
    "spare",
    "metal",
    "anode",
    "watch",
];

/// Everything that has an id, with its place: whether or not the rest of it could be read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Declared {
    pub(super) paths: BTreeMap<String, Site>,
    /// Paths of things that are written, but of no use; all that lies below them may be declared.
    wrong: BTreeSet<String>,
}

impl Declared {
    pub(crate) fn add(&mut self, path: String, site: Site) {
        self.paths.insert(path, site);
    }

    /// Adds the things below a key of a table.
    pub(crate) fn add_below(&mut self, before: &str, key: &'static str, table: &Fields) {
        if table.is_wrong(key) {
            self.wrong.insert(format!("{before}{key}"));
        }
        for id in table.wrong_ids(key) {
            self.wrong.insert(format!("{before}{key}.{id}"));
        }
        for (id, fields) in table.keyed(key) {
            self.add(format!("{before}{key}.{id}"), fields.site);
        }
    }

    pub(super) fn of(root: &Fields) -> Declared {
        let mut declared = Declared::default();
        for key in DECLARED_KINDS {
            declared.add_below("", key, root);
        }
        for (id, module) in root.keyed("module") {
            let before = format!("module.{id}.");
            declared.add_below(&before, "sensor", module);
            declared.add_below(&before, "output", module);
        }
        declared
    }

    /// Paths of all things, right or wrong; not of the states of modules.
    pub(crate) fn things(&self) -> impl Iterator<Item = &str> {
        let all = self.paths.keys().chain(&self.wrong).map(String::as_str);
        all.filter(|p| {
            let steps: Vec<&str> = p.split('.').collect();
            match steps.as_slice() {
                ["topic", ..] => *p != "topic",
                ["module", _] => true,
                ["module", _, key, _] => *key != "loads",
                ["module", ..] => false,
                _ => steps.len() == 2,
            }
        })
    }

    /// Whether something with this path is written, right or wrong.
    pub(super) fn has(&self, path: &str) -> bool {
        let above = |p: &str| {
            path.starts_with(p) && matches!(path.as_bytes().get(p.len()), None | Some(b'.'))
        };
        self.paths.contains_key(path) || self.wrong.iter().any(|p| above(p))
    }

    pub(super) fn has_topic(&self, name: &str) -> bool {
        let path = format!("topic.{name}");
        self.paths.contains_key(&path) || self.wrong.contains(&path) || self.wrong.contains("topic")
    }

    /// Whether some of the things of a kind have mistakes that keep them out of the line, which holds `left` of them.
    pub(super) fn lost(&self, kind: &str, left: usize) -> bool {
        let of_kind = |p: &&String| p.split_once('.').is_some_and(|(k, _)| k == kind);
        let deeper = |p: &&String| kind != "topic" && p.matches('.').count() > 1;
        let declared = self
            .paths
            .keys()
            .filter(of_kind)
            .filter(|p| !deeper(p))
            .count();
        declared != left || self.wrong.contains(kind) || self.wrong.iter().any(|p| of_kind(&p))
    }
}
