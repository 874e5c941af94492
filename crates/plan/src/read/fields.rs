//! What has been read: the keys of a table that are there, right or wrong.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use quantity::{Amount, Conductor, Dimension, EventRate, LevelAmount, LevelKind, Money};

use crate::field::RefKind;
use crate::node::Node;
use crate::site::Site;

/// A section that has been read: the keys that are there and right.
#[derive(Clone, Debug)]
pub(crate) struct Fields {
    pub(crate) site: Site,
    pub(super) entries: BTreeMap<&'static str, Item>,
    /// Keys that are written but wrong: their mistakes have been told.
    pub(super) wrong: BTreeSet<&'static str>,
}

impl Fields {
    /// A section of which nothing is written.
    pub(crate) fn none(site: Site) -> Fields {
        Fields {
            site,
            entries: BTreeMap::new(),
            wrong: BTreeSet::new(),
        }
    }
}

/// A value that is right, with its place.
#[derive(Clone, Debug)]
pub(crate) struct Item {
    pub(crate) site: Site,
    pub(crate) value: Read,
}

/// A value that is right.
#[derive(Clone, Debug)]
pub(crate) enum Read {
    Amount(Amount),
    Amounts(Vec<(Amount, Site)>),
    Number(f64),
    Count(i64),
    Flag(bool),
    Text(String),
    Texts(Vec<(String, Site)>),
    Choice(&'static str),
    Level(LevelKind, LevelAmount),
    Conductor(Conductor),
    Money(Money),
    EventRate(EventRate),
    Date(Timestamp),
    Reference(RefKind, String),
    References(Vec<(RefKind, String, Site)>),
    Load(Dimension, Amount),
    /// A limit, or the content of a message, as it was written: what it means is settled later.
    Limit(Node),
    Table(Fields),
    Tables(Vec<Fields>),
    Keyed(Keyed<Fields>),
    Loads(Keyed<Item>),
}

/// Things by id.
#[derive(Clone, Debug)]
pub(crate) struct Keyed<T> {
    pub(crate) right: BTreeMap<String, T>,
    /// Declared, but of no use: their mistakes have been told. An id that breaks the rule stands here in lower case.
    pub(crate) wrong: BTreeSet<String>,
}

impl<T> Default for Keyed<T> {
    fn default() -> Keyed<T> {
        Keyed {
            right: BTreeMap::new(),
            wrong: BTreeSet::new(),
        }
    }
}

macro_rules! getter {
    ($name:ident, $variant:ident, $type:ty) => {
        pub(crate) fn $name(&self, key: &'static str) -> Option<(&$type, Site)> {
            let item = self.entries.get(key)?;
            match &item.value {
                Read::$variant(value) => Some((value, item.site)),
                _ => unreachable!("`{key}` is read by another shape than its table says"),
            }
        }
    };
}

impl Fields {
    getter!(amount, Amount, Amount);
    getter!(amounts, Amounts, Vec<(Amount, Site)>);
    getter!(number, Number, f64);
    getter!(count, Count, i64);
    getter!(flag, Flag, bool);
    getter!(text, Text, String);
    getter!(texts, Texts, Vec<(String, Site)>);
    getter!(choice, Choice, &'static str);
    getter!(conductor, Conductor, Conductor);
    getter!(money, Money, Money);
    getter!(event_rate, EventRate, EventRate);
    getter!(date, Date, Timestamp);
    getter!(limit, Limit, Node);
    getter!(references, References, Vec<(RefKind, String, Site)>);
    getter!(table, Table, Fields);
    getter!(loads, Loads, Keyed<Item>);

    pub(crate) fn level(&self, key: &'static str) -> Option<(LevelKind, LevelAmount, Site)> {
        let item = self.entries.get(key)?;
        match item.value {
            Read::Level(kind, level) => Some((kind, level, item.site)),
            _ => unreachable!("`{key}` is read by another shape than its table says"),
        }
    }

    pub(crate) fn reference(&self, key: &'static str) -> Option<(RefKind, &str, Site)> {
        let item = self.entries.get(key)?;
        match &item.value {
            Read::Reference(kind, path) => Some((*kind, path, item.site)),
            _ => unreachable!("`{key}` is read by another shape than its table says"),
        }
    }

    pub(crate) fn tables(&self, key: &'static str) -> &[Fields] {
        match self.entries.get(key).map(|i| &i.value) {
            Some(Read::Tables(list)) => list,
            _ => &[],
        }
    }

    pub(crate) fn keyed(&self, key: &'static str) -> impl Iterator<Item = (&str, &Fields)> {
        let map = match self.entries.get(key).map(|i| &i.value) {
            Some(Read::Keyed(map)) => Some(&map.right),
            _ => None,
        };
        map.into_iter()
            .flatten()
            .map(|(id, fields)| (id.as_str(), fields))
    }

    /// The ids below a key that are declared, but of no use.
    pub(crate) fn wrong_ids(&self, key: &'static str) -> impl Iterator<Item = &str> {
        let set = match self.entries.get(key).map(|i| &i.value) {
            Some(Read::Keyed(map)) => Some(&map.wrong),
            Some(Read::Loads(map)) => Some(&map.wrong),
            _ => None,
        };
        set.into_iter().flatten().map(String::as_str)
    }

    /// Whether a key is written, but wrong.
    pub(crate) fn is_wrong(&self, key: &'static str) -> bool {
        self.wrong.contains(key)
    }

    /// Whether a key is written, right or wrong.
    pub(crate) fn has(&self, key: &'static str) -> bool {
        self.entries.contains_key(key) || self.wrong.contains(key)
    }

    /// The keys that are written, right or wrong.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.entries.keys().chain(&self.wrong).copied()
    }

    pub(crate) fn site_of(&self, key: &'static str) -> Option<Site> {
        self.entries.get(key).map(|i| i.site)
    }

    pub(crate) fn entries_mut(&mut self) -> impl Iterator<Item = (&'static str, &mut Item)> {
        self.entries.iter_mut().map(|(k, v)| (*k, v))
    }

    pub(crate) fn entries(&self) -> impl Iterator<Item = (&'static str, &Item)> {
        self.entries.iter().map(|(k, v)| (*k, v))
    }
}
