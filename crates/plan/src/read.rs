//! Reads a tree against the field tables: everything that is wrong is told, what is right is kept, typed.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use quantity::{
    Amount, Conductor, Dimension, EventRate, Fault, FaultKind, LevelAmount, LevelKind, Money,
    article, nearest, parse_amount, parse_conductor, parse_event_rate, parse_level, parse_money,
};

use crate::catalogue::Catalogue;
use crate::field::{Bounds, Field, ID_RULE, Need, RefKind, Section, Shape, amount_example, is_id};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{Entry, Node, Table, Value};
use crate::site::Site;
use crate::topic_name;

/// A section that has been read: the keys that are there and right.
#[derive(Clone, Debug)]
pub(crate) struct Fields {
    pub(crate) site: Site,
    entries: BTreeMap<&'static str, Item>,
    /// Keys that are written but wrong: their mistakes have been told.
    wrong: BTreeSet<&'static str>,
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
    Numbers(Vec<(f64, Site)>),
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
    Load(Dimension, Amount),
    /// A limit as it was written; its dimension is settled later.
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

/// What reading needs on the way.
pub(crate) struct Reader<'a> {
    pub(crate) catalogue: &'a Catalogue,
    pub(crate) mistakes: &'a mut Mistakes,
    /// The part of the file under way: `module.upper`.
    part: String,
    /// A catalogue part need not be whole: what it lacks, the plan writes.
    partial: bool,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(catalogue: &'a Catalogue, mistakes: &'a mut Mistakes) -> Reader<'a> {
        Reader::within(catalogue, mistakes, String::new())
    }

    /// A reader for values that belong to one part of the file.
    pub(crate) fn within(
        catalogue: &'a Catalogue,
        mistakes: &'a mut Mistakes,
        part: String,
    ) -> Reader<'a> {
        Reader {
            catalogue,
            mistakes,
            part,
            partial: false,
        }
    }

    /// Reads a catalogue part, which need not be whole.
    pub(crate) fn part(
        &mut self,
        section: &'static Section,
        table: &Table,
        site: Site,
        part: &str,
    ) -> Fields {
        part.clone_into(&mut self.part);
        self.partial = true;
        let fields = self.table(section, table, site, false);
        self.partial = false;
        fields
    }

    pub(crate) fn event_rate(&mut self, node: &Node) -> Option<EventRate> {
        self.parsed(node, "a rate of events", parse_event_rate, "300 per 30 d")
    }

    pub(crate) fn money(&mut self, node: &Node) -> Option<Money> {
        self.parsed(node, "an amount of money", parse_money, "60 EUR")
    }

    /// A count of things seen.
    pub(crate) fn whole(&mut self, node: &Node) -> Option<u32> {
        self.count(0, i64::from(u32::MAX), node)
            .and_then(|n| u32::try_from(n).ok())
    }

    pub(crate) fn tell(&mut self, mistake: Mistake) {
        let mistake = mistake.part(self.part.clone());
        self.mistakes.push(mistake);
    }

    /// Tells a mistake at a node, with the place that brought the node in when it came from a catalogue.
    fn tell_at(&mut self, node: &Node, mistake: Mistake) {
        let mistake = match node.used_at {
            Some(used) => mistake.related(used, "the part is used here"),
            None => mistake,
        };
        self.tell(mistake);
    }

    /// Reads a whole file: each top-level table, and each id below it, is a part of its own.
    pub(crate) fn file(&mut self, section: &'static Section, root: &Node) -> Fields {
        let Value::Table(table) = &root.value else {
            return Fields {
                site: root.site,
                entries: BTreeMap::new(),
                wrong: BTreeSet::new(),
            };
        };
        self.part = "file".to_owned();
        self.table(section, table, root.site, true)
    }

    fn section(&mut self, section: &'static Section, node: &Node) -> Option<Fields> {
        let Value::Table(table) = &node.value else {
            return self.wrong_type(node, "a table", None);
        };
        if section.takes_a_part() && table.contains_key("part") {
            let filled = self
                .catalogue
                .fill(section, table, self.mistakes, &self.part);
            let Some(filled) = filled else {
                // What the part would have given is not known to be missing.
                let partial = std::mem::replace(&mut self.partial, true);
                self.table(section, table, node.site, false);
                self.partial = partial;
                return None;
            };
            return Some(self.table(section, &filled, node.site, false));
        }
        Some(self.table(section, table, node.site, false))
    }

    fn table(&mut self, section: &'static Section, table: &Table, site: Site, top: bool) -> Fields {
        let mut entries = BTreeMap::new();
        let mut wrong = BTreeSet::new();
        for (key, entry) in table {
            let Some(field) = section.field(key) else {
                if let Some(meant) = self.unknown_key(section, table, key, entry) {
                    wrong.insert(meant);
                }
                continue;
            };
            if top {
                field.key.clone_into(&mut self.part);
            }
            match self.value(field, &entry.node, top) {
                Some(value) => {
                    let site = entry.node.site;
                    entries.insert(field.key, Item { site, value });
                }
                None => {
                    wrong.insert(field.key);
                }
            }
            if top {
                "file".clone_into(&mut self.part);
            }
        }
        for field in section.fields {
            if field.need == Need::Required
                && !self.partial
                && !table.contains_key(field.key)
                && !wrong.contains(field.key)
            {
                let mut mistake = Mistake::error(
                    Code::MissingKey,
                    site,
                    format!("{} needs `{}`", section.name, field.key),
                )
                .label(format!("`{}` is missing here", field.key))
                .help(format!("add {}: {}", example_line(field, top), field.doc));
                if top {
                    mistake.label = format!("`{}` is missing in this file", field.key);
                }
                self.tell(mistake);
            }
        }
        Fields {
            site,
            entries,
            wrong,
        }
    }

    /// Tells an unknown key, and gives the known one that was meant, if that is not written too.
    fn unknown_key(
        &mut self,
        section: &'static Section,
        table: &Table,
        key: &str,
        entry: &Entry,
    ) -> Option<&'static str> {
        let keys = section.fields.iter().map(|f| f.key);
        let near = nearest(key, keys.clone());
        let help = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("{} may have: {}", section.name, join(keys)),
        };
        let mistake = Mistake::error(
            Code::UnknownKey,
            entry.key,
            format!("{} has no `{key}`", section.name),
        )
        .label("unknown key")
        .help(help);
        self.tell_at(&entry.node, mistake);
        near.filter(|n| !table.contains_key(*n))
    }

    fn value(&mut self, field: &'static Field, node: &Node, top: bool) -> Option<Read> {
        match field.shape {
            Shape::Amount(dimension, bounds) => {
                self.amount(dimension, bounds, node).map(Read::Amount)
            }
            Shape::Amounts(dimension, bounds, least, most) => {
                let list = self.list(
                    node,
                    least,
                    most,
                    &format!("\"{}\"", amount_example(dimension, bounds)),
                )?;
                let all: Vec<Option<(Amount, Site)>> = list
                    .iter()
                    .map(|n| self.amount(dimension, bounds, n).map(|a| (a, n.site)))
                    .collect();
                all.into_iter().collect::<Option<_>>().map(Read::Amounts)
            }
            Shape::Number(bounds) => self.number(bounds, node).map(Read::Number),
            Shape::Numbers(bounds, least, most) => {
                let list = self.list(node, least, most, "0.34")?;
                let all: Vec<Option<(f64, Site)>> = list
                    .iter()
                    .map(|n| self.number(bounds, n).map(|x| (x, n.site)))
                    .collect();
                all.into_iter().collect::<Option<_>>().map(Read::Numbers)
            }
            Shape::Count(least, most) => self.count(least, most, node).map(Read::Count),
            Shape::Flag => match node.value {
                Value::Flag(b) => Some(Read::Flag(b)),
                _ => self.wrong_type(node, "true or false", None),
            },
            Shape::Text => self.text(node).map(|t| Read::Text(t.to_owned())),
            Shape::Texts => {
                let list = self.list(node, 1, usize::MAX, "\"...\"")?;
                let all: Vec<Option<(String, Site)>> = list
                    .iter()
                    .map(|n| self.text(n).map(|t| (t.to_owned(), n.site)))
                    .collect();
                all.into_iter().collect::<Option<_>>().map(Read::Texts)
            }
            Shape::Choice(words) => self.choice(words, node).map(Read::Choice),
            Shape::Level(kinds, bounds) => self.level(kinds, bounds, node),
            Shape::Conductor => self
                .parsed(node, "a conductor", parse_conductor, "1.0 mm2 class 5")
                .map(Read::Conductor),
            Shape::Money => self
                .parsed(node, "an amount of money", parse_money, "0.12 EUR")
                .map(Read::Money),
            Shape::EventRate => self
                .parsed(node, "a rate of events", parse_event_rate, "6 per hour")
                .map(Read::EventRate),
            Shape::Date => self.date(node).map(Read::Date),
            Shape::Reference(kinds) => self.reference(kinds, node),
            Shape::Load => self.load(node),
            Shape::Topic => self.topic(node, topic_name::check_name),
            Shape::Filter => self.topic(node, topic_name::check_filter),
            Shape::Limit => Some(Read::Limit(node.clone())),
            Shape::Table(section) => self.section(section, node).map(Read::Table),
            Shape::Tables(section) => {
                let list = self.list(node, 1, usize::MAX, "{ ... }")?;
                let all: Vec<Option<Fields>> =
                    list.iter().map(|n| self.section(section, n)).collect();
                all.into_iter().collect::<Option<_>>().map(Read::Tables)
            }
            Shape::Keyed(section) => self.keyed(section, node, top, false),
            Shape::KeyedTopics(section) => self.keyed(section, node, top, true),
            Shape::KeyedLoads => self.loads(node),
            Shape::Parts => None,
        }
    }

    fn wrong_type<T>(&mut self, node: &Node, wanted: &str, help: Option<String>) -> Option<T> {
        let mut mistake = Mistake::error(
            Code::WrongType,
            node.site,
            format!("expected {wanted}, found {}", node.what()),
        )
        .label(format!("this is {}", node.what()));
        mistake.help = help;
        self.tell_at(node, mistake);
        None
    }

    fn text<'n>(&mut self, node: &'n Node) -> Option<&'n str> {
        match &node.value {
            Value::Text(t) if t.trim().is_empty() => {
                let m = Mistake::error(Code::OutOfRange, node.site, "this text is empty")
                    .label("write something here");
                self.tell_at(node, m);
                None
            }
            Value::Text(t) => Some(t),
            _ => self.wrong_type(node, "a text in quotes", None),
        }
    }

    fn list<'n>(
        &mut self,
        node: &'n Node,
        least: usize,
        most: usize,
        example: &str,
    ) -> Option<&'n [Node]> {
        let Value::List(list) = &node.value else {
            return self.wrong_type(
                node,
                "a list",
                Some(format!("write it as [{example}, ...]")),
            );
        };
        if (least..=most).contains(&list.len()) {
            return Some(list);
        }
        let wanted = if least == most {
            format!("{least} values are needed")
        } else {
            format!("at least {least} needed")
        };
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!("this list has {}; {wanted}", list.len()),
        )
        .label(wanted);
        self.tell_at(node, m);
        None
    }

    /// Text of a value that must be written with a unit; a bare number gets its own message.
    fn with_unit<'n>(&mut self, node: &'n Node, what: &str, example: &str) -> Option<&'n str> {
        match &node.value {
            Value::Text(t) => Some(t),
            Value::Integer(_) | Value::Float(_) => {
                let m =
                    Mistake::error(Code::MissingUnit, node.site, format!("{what} needs a unit"))
                        .label("a bare number")
                        .help(format!(
                            "write it in quotes with its unit, for example \"{example}\""
                        ));
                self.tell_at(node, m);
                None
            }
            _ => self.wrong_type(
                node,
                &format!("{what} in quotes"),
                Some(format!("for example \"{example}\"")),
            ),
        }
    }

    pub(crate) fn amount(
        &mut self,
        dimension: Dimension,
        bounds: Bounds,
        node: &Node,
    ) -> Option<Amount> {
        let name = format!("{} {}", article(dimension.name()), dimension.name());
        let text = self.with_unit(node, &name, &amount_example(dimension, bounds))?;
        match parse_amount(text, dimension) {
            Ok(amount) => self
                .bounded(amount.si, bounds, &name, node, Some(dimension))
                .then_some(amount),
            Err(fault) => self.fault(node, text, &fault),
        }
    }

    fn level(&mut self, kinds: &[LevelKind], bounds: Bounds, node: &Node) -> Option<Read> {
        let text = self.with_unit(node, LEVEL, kinds[0].example())?;
        let mut first = None;
        for &kind in kinds {
            match parse_level(text, kind) {
                Ok(level) => {
                    return self
                        .bounded(level.db, bounds, LEVEL, node, None)
                        .then_some(Read::Level(kind, level));
                }
                Err(fault) => {
                    first.get_or_insert(fault);
                }
            }
        }
        let fault = first.expect("every level field names a kind");
        self.fault(node, text, &fault)
    }

    fn load(&mut self, node: &Node) -> Option<Read> {
        let text = self.with_unit(node, "a load", "0.55 W")?;
        for dimension in [Dimension::Power, Dimension::Current, Dimension::Resistance] {
            match parse_amount(text, dimension) {
                Ok(amount) => {
                    let bounds = match dimension {
                        Dimension::Resistance => crate::field::POSITIVE,
                        _ => crate::field::NOT_NEGATIVE,
                    };
                    let name = format!("{} {}", article(dimension.name()), dimension.name());
                    return self
                        .bounded(amount.si, bounds, &name, node, Some(dimension))
                        .then_some(Read::Load(dimension, amount));
                }
                Err(Fault {
                    kind: FaultKind::WrongDimension { .. },
                    ..
                }) => {}
                Err(fault) => return self.fault(node, text, &fault),
            }
        }
        let m = Mistake::error(Code::WrongDimension, node.site, format!("\"{text}\" is no load"))
            .label("neither a power, a supply current nor a resistance")
            .help("write a power (\"0.55 W\"), a constant supply current (\"20 mA\") or a resistor (\"240 ohm\")");
        self.tell_at(node, m);
        None
    }

    fn bounded(
        &mut self,
        x: f64,
        bounds: Bounds,
        name: &str,
        node: &Node,
        dimension: Option<Dimension>,
    ) -> bool {
        if (bounds.least..=bounds.most).contains(&x) {
            return true;
        }
        let shown = match dimension {
            Some(d) => quantity::show(x, d),
            None if name == LEVEL => format!("{x} dB"),
            None => format!("{x}"),
        };
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!("{shown} is out of range"),
        )
        .label(format!("{name} here is {}", bounds.why));
        self.tell_at(node, m);
        false
    }

    fn number(&mut self, bounds: Bounds, node: &Node) -> Option<f64> {
        let x = match node.value {
            Value::Float(x) => x,
            Value::Integer(Some(i)) => i as f64,
            Value::Integer(None) => {
                let m = Mistake::error(Code::OutOfRange, node.site, "this number is out of range")
                    .label("too large to hold")
                    .help("write it with a decimal point or an exponent, if it is meant");
                self.tell_at(node, m);
                return None;
            }
            _ => {
                return self.wrong_type(
                    node,
                    "a bare number",
                    Some("this key has no unit: write the number without quotes".to_owned()),
                );
            }
        };
        if !x.is_finite() {
            let m = Mistake::error(Code::OutOfRange, node.site, "this number is not finite")
                .label("not finite");
            self.tell_at(node, m);
            return None;
        }
        self.bounded(x, bounds, "a number", node, None).then_some(x)
    }

    fn count(&mut self, least: i64, most: i64, node: &Node) -> Option<i64> {
        match node.value {
            Value::Integer(Some(i)) if (least..=most).contains(&i) => Some(i),
            Value::Integer(_) => {
                let m = Mistake::error(Code::OutOfRange, node.site, "this number is out of range")
                    .label(if least == most {
                        format!("must be {least}")
                    } else {
                        format!("a whole number from {least} to {most}")
                    });
                self.tell_at(node, m);
                None
            }
            _ => self.wrong_type(node, "a whole number", None),
        }
    }

    fn choice(&mut self, words: &'static [&'static str], node: &Node) -> Option<&'static str> {
        let text = self.text(node)?;
        if let Some(word) = words.iter().find(|w| **w == text) {
            return Some(word);
        }
        let help = match nearest(text, words.iter().copied()) {
            Some(near) => format!(
                "did you mean \"{near}\"? the words are: {}",
                join(words.iter().copied())
            ),
            None => format!("the words are: {}", join(words.iter().copied())),
        };
        let m = Mistake::error(
            Code::UnknownWord,
            node.site,
            format!("\"{text}\" is none of the words that may stand here"),
        )
        .label("unknown word")
        .help(help);
        self.tell_at(node, m);
        None
    }

    fn date(&mut self, node: &Node) -> Option<Timestamp> {
        let bad = |label: &str, help: &str| {
            Mistake::error(Code::BadDate, node.site, "this date cannot be used")
                .label(label)
                .help(help)
        };
        let Value::Date(text) = &node.value else {
            return self.wrong_type(
                node,
                "a date",
                Some(
                    "write it without quotes: 2027-03-15 (00:00 UTC) or 2027-03-15T06:30:00Z"
                        .to_owned(),
                ),
            );
        };
        let has_time = text.contains([':']);
        let parsed = if has_time {
            text.parse::<Timestamp>().ok()
        } else {
            text.parse::<Date>()
                .ok()
                .and_then(|d| TimeZone::UTC.to_timestamp(d.at(0, 0, 0, 0)).ok())
        };
        if parsed.is_none() {
            let m = if has_time && !text.contains('-') {
                bad(
                    "a time without its date",
                    "write year-month-dayThour:minute:secondZ: 2027-03-15T06:30:00Z",
                )
            } else if has_time {
                bad(
                    "a date-time needs its offset",
                    "end it with Z for UTC, or with an offset such as +02:00",
                )
            } else {
                bad("no such date", "write year-month-day: 2027-03-15")
            };
            self.tell_at(node, m);
        }
        parsed
    }

    fn reference(&mut self, kinds: &[RefKind], node: &Node) -> Option<Read> {
        let text = self.text(node)?;
        let wanted = join(kinds.iter().map(|k| k.example()));
        match RefKind::of_path(text) {
            Some(kind) if kinds.contains(&kind) => {
                return Some(Read::Reference(kind, text.to_owned()));
            }
            Some(_) => {
                let m = Mistake::error(
                    Code::BadReference,
                    node.site,
                    format!("`{text}` cannot stand here"),
                )
                .label("another kind of thing")
                .help(format!("expected {wanted}"));
                self.tell_at(node, m);
            }
            None if kinds.contains(&RefKind::Notice) && wrong_notice(text).is_some() => {
                let word = wrong_notice(text).unwrap_or_default();
                let m = Mistake::error(
                    Code::BadReference,
                    node.site,
                    format!("a detector tells no `{word}`"),
                )
                .label("unknown notice")
                .help("the notices of a detector are: onset, confirmed, ended");
                self.tell_at(node, m);
            }
            None => {
                let m = Mistake::error(Code::BadReference, node.site, format!("`{text}` is no path"))
                    .label("expected a typed path")
                    .help(format!("write the whole path: {wanted} (ids are lower-case letters, digits and hyphens)"));
                self.tell_at(node, m);
            }
        }
        None
    }

    fn topic(&mut self, node: &Node, check: fn(&str) -> Result<(), &'static str>) -> Option<Read> {
        let text = self.text(node)?;
        match check(text) {
            Ok(()) => Some(Read::Text(text.to_owned())),
            Err(why) => {
                let m = Mistake::error(
                    Code::BadTopic,
                    node.site,
                    format!("`{text}` breaks the rules for topics: {why}"),
                )
                .label("here")
                .help("see OASIS MQTT 5.0 section 4.7");
                self.tell_at(node, m);
                None
            }
        }
    }

    fn parsed<T>(
        &mut self,
        node: &Node,
        what: &str,
        parse: fn(&str) -> Result<T, Fault>,
        example: &str,
    ) -> Option<T> {
        let text = self.with_unit(node, what, example)?;
        match parse(text) {
            Ok(value) => Some(value),
            Err(fault) => self.fault(node, text, &fault),
        }
    }

    fn fault<T>(&mut self, node: &Node, text: &str, fault: &Fault) -> Option<T> {
        let code = match fault.kind {
            FaultKind::MissingUnit { .. } => Code::MissingUnit,
            FaultKind::UnknownUnit { .. } => Code::UnknownUnit,
            FaultKind::WrongDimension { .. } | FaultKind::WrongLevelKind { .. } => {
                Code::WrongDimension
            }
            _ => Code::BadQuantity,
        };
        let site = node.within(text, fault.range.clone());
        let mut mistake = Mistake::error(code, site, format!("\"{text}\": {fault}")).label("here");
        mistake.help = fault.help();
        self.tell_at(node, mistake);
        None
    }

    fn keyed(
        &mut self,
        section: &'static Section,
        node: &Node,
        top: bool,
        topics: bool,
    ) -> Option<Read> {
        let Value::Table(table) = &node.value else {
            return self.wrong_type(node, "tables keyed by id", None);
        };
        let outer = self.part.clone();
        let mut all = Keyed::default();
        for (id, entry) in table {
            if top {
                self.part = format!("{outer}.{id}");
            }
            if topics {
                if let Err(why) = topic_name::check_name(id) {
                    let m = Mistake::error(
                        Code::BadTopic,
                        entry.key,
                        format!("`{id}` is no topic name: {why}"),
                    )
                    .label("here")
                    .help("see OASIS MQTT 5.0 section 4.7");
                    self.tell_at(&entry.node, m);
                    all.wrong.insert(id.clone());
                    continue;
                }
            } else if !is_id(id) {
                let m = Mistake::error(Code::BadId, entry.key, format!("`{id}` is no id"))
                    .label(ID_RULE);
                self.tell_at(&entry.node, m);
                all.wrong.insert(id.to_lowercase());
                continue;
            }
            match self.section(section, &entry.node) {
                Some(mut fields) => {
                    fields.site = entry.key;
                    all.right.insert(id.clone(), fields);
                }
                None => {
                    all.wrong.insert(id.clone());
                }
            }
        }
        self.part = outer;
        Some(Read::Keyed(all))
    }

    fn loads(&mut self, node: &Node) -> Option<Read> {
        let Value::Table(table) = &node.value else {
            return self.wrong_type(
                node,
                "loads keyed by state",
                Some("for example { listening = \"0.55 W\", asleep = \"12 mW\" }".to_owned()),
            );
        };
        let mut all = Keyed::default();
        for (state, entry) in table {
            if !is_id(state) {
                let m = Mistake::error(
                    Code::BadId,
                    entry.key,
                    format!("`{state}` is no name for a state"),
                )
                .label(ID_RULE);
                self.tell_at(&entry.node, m);
                all.wrong.insert(state.to_lowercase());
                continue;
            }
            let site = entry.node.site;
            match self.load(&entry.node) {
                Some(value) => {
                    all.right.insert(state.clone(), Item { site, value });
                }
                None => {
                    all.wrong.insert(state.clone());
                }
            }
        }
        Some(Read::Loads(all))
    }
}

/// How a level is called in a sentence.
const LEVEL: &str = "a level";

/// The last step of a path that would be a notice if that were one.
fn wrong_notice(path: &str) -> Option<&str> {
    let (head, word) = path.rsplit_once('.')?;
    (RefKind::of_path(head) == Some(RefKind::Detector)).then_some(word)
}

/// A line that shows how a key is written.
pub(crate) fn example_line(field: &Field, top: bool) -> String {
    let value = match field.shape {
        Shape::Amount(d, bounds) => format!("\"{}\"", amount_example(d, bounds)),
        Shape::Amounts(d, bounds, ..) => format!("[\"{}\", ...]", amount_example(d, bounds)),
        Shape::Number(_) => "0.5".to_owned(),
        Shape::Numbers(..) => "[0.5, ...]".to_owned(),
        Shape::Count(least, _) => format!("{least}"),
        Shape::Flag => "true".to_owned(),
        Shape::Text => "\"...\"".to_owned(),
        Shape::Texts => "[\"...\"]".to_owned(),
        Shape::Choice(words) => format!("\"{}\"", words[0]),
        Shape::Level(kinds, _) => format!("\"{}\"", kinds[0].example()),
        Shape::Conductor => "\"1.0 mm2 class 5\"".to_owned(),
        Shape::Money => "\"0.12 EUR\"".to_owned(),
        Shape::EventRate => "\"6 per hour\"".to_owned(),
        Shape::Date => "2027-03-15".to_owned(),
        Shape::Reference(kinds) => format!("\"{}\"", kinds[0].example()),
        Shape::Load => "\"0.55 W\"".to_owned(),
        Shape::Topic => "\"alert/whale\"".to_owned(),
        Shape::Filter => "\"alert/#\"".to_owned(),
        Shape::Limit => "\"...\"".to_owned(),
        Shape::Tables(_) => "[{ ... }]".to_owned(),
        Shape::Keyed(_) | Shape::KeyedTopics(_) | Shape::Parts => {
            return format!("`[{}.ID]`", field.key);
        }
        Shape::Table(_) if top => return format!("`[{}]`", field.key),
        Shape::Table(_) | Shape::KeyedLoads => "{ ... }".to_owned(),
    };
    format!("`{} = {value}`", field.key)
}

pub(crate) fn join<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    words.into_iter().collect::<Vec<_>>().join(", ")
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
    getter!(numbers, Numbers, Vec<(f64, Site)>);
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

    pub(crate) fn entries(&self) -> impl Iterator<Item = (&'static str, &Item)> {
        self.entries.iter().map(|(k, v)| (*k, v))
    }
}
