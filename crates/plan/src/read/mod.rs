//! Reads a tree against the field tables: everything that is wrong is told, what is right is kept, typed.

mod fields;
mod values;

use std::collections::{BTreeMap, BTreeSet};

use quantity::{
    Amount, EventRate, Fault, FaultKind, Money, nearest, parse_conductor, parse_event_rate,
    parse_money,
};

use crate::catalogue::Catalogue;
use crate::field::{Field, ID_RULE, Need, RefKind, Section, Shape, amount_example, is_id};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{Entry, Node, Table, Value};
use crate::site::Site;
use crate::topic_name;

pub(crate) use fields::{Fields, Item, Keyed, Read};

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
        self.parsed(node, "an amount of money", sum, "60 EUR")
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
            return Fields::none(root.site);
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

    pub(crate) fn value(&mut self, field: &'static Field, node: &Node, top: bool) -> Option<Read> {
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
            Shape::Figure(scale, bounds) => self.figure(scale, bounds, node).map(Read::Amount),
            Shape::Figures(scale, bounds, least, most) => {
                let list = self.list(node, least, most, "0.34")?;
                let all: Vec<Option<(Amount, Site)>> = list
                    .iter()
                    .map(|n| self.figure(scale, bounds, n).map(|a| (a, n.site)))
                    .collect();
                all.into_iter().collect::<Option<_>>().map(Read::Amounts)
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
                .parsed(node, "an amount of money", sum, "0.12 EUR")
                .map(Read::Money),
            Shape::EventRate => self
                .parsed(node, "a rate of events", parse_event_rate, "6 per hour")
                .map(Read::EventRate),
            Shape::Date => self.date(node).map(Read::Date),
            Shape::Reference(kinds) => self.reference(kinds, node),
            Shape::References(kinds, least) => {
                let list = self.list(node, least, usize::MAX, kinds[0].example())?;
                let all: Vec<Option<(RefKind, String, Site)>> = list
                    .iter()
                    .map(|n| match self.reference(kinds, n)? {
                        Read::Reference(kind, path) => Some((kind, path, n.site)),
                        _ => unreachable!("a reference is read as one"),
                    })
                    .collect();
                all.into_iter().collect::<Option<_>>().map(Read::References)
            }
            Shape::Load => self.load(node),
            Shape::Topic => self.topic(node, topic_name::check_name),
            Shape::Filter => self.topic(node, topic_name::check_filter),
            Shape::Limit => Some(Read::Limit(node.clone())),
            Shape::Content => match node.value {
                Value::Table(_) => Some(Read::Limit(node.clone())),
                _ => self.wrong_type(
                    node,
                    "a table of values by field",
                    Some("write `values = { level = \"event.level\" }`".to_owned()),
                ),
            },
            Shape::Table(section) => self.section(section, node).map(Read::Table),
            Shape::Tables(section) => {
                let list = self.list(node, 1, usize::MAX, "{ ... }")?;
                let all: Vec<Option<Fields>> =
                    list.iter().map(|n| self.section(section, n)).collect();
                all.into_iter().collect::<Option<_>>().map(Read::Tables)
            }
            Shape::Keyed(section) => self.keyed(field.key, section, node, top, false),
            Shape::KeyedTopics(section) => self.keyed(field.key, section, node, top, true),
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

    fn keyed(
        &mut self,
        key: &str,
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
            self.part = if top {
                format!("{outer}.{id}")
            } else {
                format!("{outer}.{key}.{id}")
            };
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

/// A line that shows how a key is written.
pub(crate) fn example_line(field: &Field, top: bool) -> String {
    let value = match field.shape {
        Shape::Amount(d, bounds) => format!("\"{}\"", amount_example(d, bounds)),
        Shape::Amounts(d, bounds, ..) => format!("[\"{}\", ...]", amount_example(d, bounds)),
        Shape::Number(_) | Shape::Figure(..) => "0.5".to_owned(),
        Shape::Figures(..) => "[0.5, ...]".to_owned(),
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
        Shape::References(kinds, _) => format!("[\"{}\", ...]", kinds[0].example()),
        Shape::Load => "\"0.55 W\"".to_owned(),
        Shape::Topic => "\"alert/call\"".to_owned(),
        Shape::Filter => "\"alert/#\"".to_owned(),
        Shape::Limit => "\"...\"".to_owned(),
        Shape::Content => "{ level = \"event.level\" }".to_owned(),
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

/// An amount of money of a plan: nobody is paid for a message, and no limit on a cost lies below nothing.
fn sum(text: &str) -> Result<Money, Fault> {
    let money = parse_money(text)?;
    if money.minor < 0 {
        let what = "sum of money";
        return Err(Fault {
            kind: FaultKind::Negative { what },
            range: 0..text.len(),
        });
    }
    Ok(money)
}
