//! What the mistakes of a plan reach: its parts that are wrong, its parts that are lost with them, and what is written of both.
//!
//! A part is *wrong* when a mistake is told of it. It is *lost* when it is declared and not in the line, because it is wrong
//! itself or names something that is. Whoever reads neither from the line nor beyond it a part that is wrong or lost reads
//! what the plan without the mistake says.

use std::collections::{BTreeMap, BTreeSet};

use crate::catalogue::Catalogue;
use crate::field::RefKind;
use crate::keys::open_keys;
use crate::line::{Line, Must, NoticeKind};
use crate::mistake::{Code, Mistake};
use crate::node::{Node, Table, Value};
use crate::read::Fields;
use crate::resolve::Declared;
use crate::site::Site;
use crate::tables::{DEPLOYMENT, MODULE, SITE};

/// The mistake that a part of the plan rests on.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Spoilt {
    /// The part in which the mistake is.
    pub part: String,
    /// Its place.
    pub at: Site,
}

/// What is written of a behaviour, whether or not the line has it.
#[derive(Clone, Debug)]
pub struct WrittenBehaviour {
    /// Its path.
    pub path: String,
    /// A mistake hides what starts it or what it does.
    pub hidden: bool,
    /// Path of the module on which it runs.
    pub on: Option<String>,
    /// What starts it.
    pub start: WrittenStart,
    /// Whether it says how often it may start.
    pub limited: bool,
    /// Names of the topics that it publishes.
    pub publishes: Vec<String>,
    /// Paths of the uplinks on which it sends, each with the name of the topic that is sent.
    pub sends_up: Vec<(String, String)>,
}

/// What is written of the start of a behaviour.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum WrittenStart {
    /// A notice of a detector, by its path.
    Heard(String, NoticeKind),
    /// A vote, by its path.
    Voted(String),
    /// A message whose topic this filter matches.
    Told(String),
    /// Time, or nothing that could be read.
    Else,
}

/// What is written of a requirement, whether or not the line has it.
#[derive(Clone, Debug)]
pub struct WrittenRequirement {
    /// Its id as written.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Shall or should, when it says so.
    pub must: Option<Must>,
    /// Permit, clause or document, when it says so.
    pub source: Option<String>,
    /// What it is about, when that can be read.
    pub that: Option<&'static str>,
    /// The things that it names.
    pub names: Vec<String>,
}

/// How binding a limit is that is written, and whose, whether or not the line has it.
#[derive(Clone, Debug)]
struct WrittenLimit {
    must: Option<Must>,
    source: Option<String>,
}

impl WrittenLimit {
    fn of(f: Option<&Fields>) -> WrittenLimit {
        WrittenLimit {
            must: f
                .and_then(|f| f.choice("must"))
                .map(|(w, _)| Must::of_word(w)),
            source: f.and_then(|f| f.text("source")).map(|(t, _)| t.clone()),
        }
    }
}

/// All parts of a plan that mistakes reach.
#[derive(Clone, Debug, Default)]
pub struct SpoiltParts {
    whole: Option<Spoilt>,
    declared: BTreeSet<String>,
    of: BTreeMap<String, Spoilt>,
    behaviours: Vec<WrittenBehaviour>,
    requirements: Vec<WrittenRequirement>,
    watches: BTreeMap<String, WrittenLimit>,
    batteries: BTreeSet<String>,
}

impl SpoiltParts {
    /// Whether mistakes reach nothing at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.whole.is_none() && self.of.is_empty()
    }

    /// The mistake that leaves open what else the plan says: no valid TOML, or a table that nobody knows.
    #[must_use]
    pub fn whole(&self) -> Option<&Spoilt> {
        self.whole.as_ref()
    }

    /// The mistake for which nothing can be said of a part, named by its path or as a top-level table. Of the site, of the
    /// deployment and of each module also key by key: `site.water_depth`, `module.upper.position`. A mistake in the link of a span that is
    /// otherwise right is one of `span.top.link` alone.
    #[must_use]
    pub fn of(&self, path: &str) -> Option<&Spoilt> {
        self.of.get(path)
    }

    /// Everything that the plan declares, as typed paths, right or wrong.
    pub fn declared(&self) -> impl Iterator<Item = &str> {
        self.declared.iter().map(String::as_str)
    }

    /// The supplies whose battery says its voltage at rest, or may by their part, as typed paths, right or wrong.
    pub fn batteries(&self) -> impl Iterator<Item = &str> {
        self.batteries.iter().map(String::as_str)
    }

    /// Every behaviour that is written, by path.
    #[must_use]
    pub fn behaviours(&self) -> &[WrittenBehaviour] {
        &self.behaviours
    }

    /// Every requirement that is written, by id.
    #[must_use]
    pub fn requirements(&self) -> &[WrittenRequirement] {
        &self.requirements
    }

    /// Whether a limit on the world, by its path, is a shall or a should, and its source, where it says so.
    #[must_use]
    pub fn watch(&self, path: &str) -> (Option<Must>, Option<&str>) {
        let written = self.watches.get(path);
        (
            written.and_then(|w| w.must),
            written.and_then(|w| w.source.as_deref()),
        )
    }
}

/// Keys of a span that say nothing but how data crosses it.
const OF_A_LINK: [&str; 8] = [
    "link",
    "bus",
    "link_rate",
    "link_longest",
    "bit_error_rate",
    "errors_apart",
    "frame",
    "polled_by",
];

/// Parts that are told of a whole file.
const WHOLE: &str = "file";

pub(crate) fn spoilt_parts(
    root: &Table,
    fields: &Fields,
    declared: &Declared,
    catalogue: &Catalogue,
    line: Option<&Line>,
    mistakes: &[Mistake],
) -> SpoiltParts {
    let held = line.map(paths_of).unwrap_or_default();
    let mut wrong: BTreeMap<String, Vec<&Mistake>> = BTreeMap::new();
    for mistake in mistakes.iter().filter(|m| m.is_error()) {
        for part in mistake.parts() {
            let of_link = held.contains(part) && is_of_link(root, part, mistake.site);
            let part = match of_link {
                true => format!("{part}.link"),
                false => part.to_owned(),
            };
            wrong.entry(part).or_default().push(mistake);
        }
    }
    let search = Search {
        root,
        catalogue,
        lost: declared
            .things()
            .filter(|p| line.is_some() && !held.contains(*p))
            .collect(),
        wrong: &wrong,
        first: mistakes.iter().find(|m| m.is_error()),
    };
    let all: BTreeSet<String> = declared.things().map(str::to_owned).collect();
    let mut of: BTreeMap<String, Spoilt> = wrong
        .keys()
        .filter_map(|part| Some((part.clone(), search.own(part)?)))
        .collect();
    for path in &all {
        if let Some(spoilt) = search.spoilt(path) {
            of.insert(path.clone(), spoilt);
        }
    }
    let modules = all.iter().filter(|p| p.split('.').count() == 2);
    let modules = modules.filter(|p| p.starts_with("module.")).cloned();
    for part in ["site".to_owned(), "deployment".to_owned()]
        .into_iter()
        .chain(modules)
    {
        let Some(spoilt) = of.get(&part).cloned() else {
            continue;
        };
        for (key, at) in search.open_keys(&part, &spoilt, fields) {
            let key = format!("{part}.{key}");
            let part = spoilt.part.clone();
            of.insert(key, Spoilt { part, at });
        }
    }
    SpoiltParts {
        whole: search.own(WHOLE),
        of,
        behaviours: all
            .iter()
            .flat_map(|p| behaviour(p, fields, &wrong))
            .chain(heartbeats(fields))
            .collect(),
        requirements: requirements(root, fields),
        watches: fields
            .keyed("watch")
            .map(|(id, f)| (format!("watch.{id}"), WrittenLimit::of(Some(f))))
            .collect(),
        batteries: all
            .iter()
            .filter(|p| p.starts_with("supply.") && may_come_back(root, p))
            .cloned()
            .collect(),
        declared: all,
    }
}

/// Whether a battery of a supply says its voltage at rest, or may by the supply's part.
fn may_come_back(root: &Table, path: &str) -> bool {
    let Some(supply) = written(root, path) else {
        return true;
    };
    let battery = supply.get("battery").map(|e| &e.node.value);
    supply.contains_key("part")
        || matches!(battery, Some(Value::Table(b)) if b.contains_key("open_voltage"))
}

/// Looks for the mistake on which a part rests.
struct Search<'a> {
    root: &'a Table,
    catalogue: &'a Catalogue,
    lost: BTreeSet<&'a str>,
    wrong: &'a BTreeMap<String, Vec<&'a Mistake>>,
    first: Option<&'a Mistake>,
}

impl Search<'_> {
    /// The first mistake that is told of a part itself.
    fn own(&self, part: &str) -> Option<Spoilt> {
        let first = self.wrong.get(part)?.first()?;
        Some(Spoilt {
            part: part.to_owned(),
            at: first.site,
        })
    }

    /// The keys that mistakes in a table leave open, each with the place of a mistake.
    fn open_keys(
        &self,
        path: &str,
        spoilt: &Spoilt,
        fields: &Fields,
    ) -> BTreeMap<&'static str, Site> {
        let (section, read) = match path.strip_prefix("module.") {
            Some(id) => (
                &MODULE,
                fields
                    .keyed("module")
                    .find(|(i, _)| *i == id)
                    .map(|(_, f)| f),
            ),
            None if path == "site" => (&SITE, fields.table("site").map(|(f, _)| f)),
            None => (&DEPLOYMENT, fields.table("deployment").map(|(f, _)| f)),
        };
        let names = self.names(path);
        let mut parts = names.iter().filter(|n| n.starts_with("part."));
        let elsewhere = self.lost.contains(path)
            || spoilt.part != path
            || parts.any(|part| self.unusable(part).is_some());
        match written(self.root, path).filter(|_| !elsewhere) {
            Some(table) => open_keys(
                section,
                table,
                read,
                self.wrong.get(path).map_or(&[], Vec::as_slice),
            ),
            None => section.fields.iter().map(|f| (f.key, spoilt.at)).collect(),
        }
    }

    fn spoilt(&self, path: &str) -> Option<Spoilt> {
        self.direct(path).or_else(|| {
            self.lost
                .contains(path)
                .then(|| self.cause(path, &mut BTreeSet::new()))
                .flatten()
                .or_else(|| self.any(path))
        })
    }

    /// A part that is lost rests on some mistake, even when no way to it is found.
    fn any(&self, path: &str) -> Option<Spoilt> {
        self.first
            .filter(|_| self.lost.contains(path))
            .map(|m| Spoilt {
                part: m.part.clone(),
                at: m.site,
            })
    }

    /// The mistake in a part, or in a catalogue part that it uses.
    fn direct(&self, path: &str) -> Option<Spoilt> {
        self.own(path).or_else(|| {
            self.names(path)
                .iter()
                .filter(|n| n.starts_with("part."))
                .find_map(|part| self.unusable(part))
        })
    }

    /// The mistake for which a catalogue part is not what it is meant to be. What is wrong with its values is told of each
    /// part that uses them.
    fn unusable(&self, part: &str) -> Option<Spoilt> {
        let told = self.wrong.get(part).into_iter().flatten();
        let meant = |m: &&&Mistake| matches!(m.code, Code::Duplicate | Code::KeyConflict);
        if let Some(mistake) = told.clone().find(meant) {
            return Some(Spoilt {
                part: part.to_owned(),
                at: mistake.site,
            });
        }
        if self.catalogue.get(part).is_some() {
            return None;
        }
        self.own(part)
            .or_else(|| self.own("part"))
            .or_else(|| self.own("include"))
    }

    /// The nearest mistake along the names that a lost part holds.
    fn cause(&self, path: &str, seen: &mut BTreeSet<String>) -> Option<Spoilt> {
        if !seen.insert(path.to_owned()) {
            return None;
        }
        let names = self.names(path);
        let above = |p: &str| {
            let steps = p.match_indices('.').map(|(i, _)| p[..i].to_owned());
            steps.collect::<Vec<_>>()
        };
        let near = names.iter().find_map(|n| self.direct(n));
        near.or_else(|| names.iter().find_map(|n| self.cause(n, seen)))
            .or_else(|| {
                let all = names.iter().map(String::as_str).chain([path]);
                all.flat_map(above).rev().find_map(|p| self.own(&p))
            })
    }

    /// What a part names: other things, catalogue parts, topics; also by the catalogue parts that it uses.
    fn names(&self, path: &str) -> Vec<String> {
        let mut names = Vec::new();
        if let Some(table) = written(self.root, path) {
            let own = names_below(table, path.split('.').count() == 2);
            for name in own {
                if let Some(part) = self
                    .catalogue
                    .get(&name)
                    .filter(|_| name.starts_with("part."))
                {
                    names.extend(names_below(&part.table, true));
                }
                names.push(name);
            }
        }
        names
    }
}

/// Whether a place in a span is one of its link, which carries no power.
fn is_of_link(root: &Table, part: &str, site: Site) -> bool {
    fn holds(node: &Node, site: Site) -> bool {
        let own = node.site;
        let here = own.file == site.file && own.start <= site.start && site.end <= own.end;
        here || match &node.value {
            Value::Table(inner) => inner
                .values()
                .any(|e| e.key == site || holds(&e.node, site)),
            _ => false,
        }
    }
    let Some(table) = written(root, part).filter(|_| part.starts_with("span.")) else {
        return false;
    };
    OF_A_LINK.iter().any(|key| {
        table
            .get(*key)
            .is_some_and(|e| e.key == site || holds(&e.node, site))
    })
}

/// The table of a thing as it is written.
fn written<'t>(root: &'t Table, path: &str) -> Option<&'t Table> {
    fn table<'t>(table: &'t Table, key: &str) -> Option<&'t Table> {
        match &table.get(key)?.node.value {
            Value::Table(inner) => Some(inner),
            _ => None,
        }
    }
    if let Some(topic) = path.strip_prefix("topic.") {
        return table(table(root, "topic")?, topic);
    }
    let mut at = root;
    for step in path.split('.') {
        at = table(at, step)?;
    }
    Some(at)
}

/// Keys of a module below which things of their own stand.
const OWN_THINGS: [&str; 2] = ["sensor", "output"];

fn names_below(table: &Table, is_thing: bool) -> Vec<String> {
    let mut names = Vec::new();
    for (key, entry) in table {
        if !(is_thing && OWN_THINGS.contains(&key.as_str())) {
            names_in(key, &entry.node, &mut names);
        }
    }
    names
}

fn names_in(key: &str, node: &Node, names: &mut Vec<String>) {
    match &node.value {
        Value::Text(text) if matches!(key, "publish" | "about") => {
            names.push(format!("topic.{text}"));
        }
        Value::Text(text) => match RefKind::of_path(text) {
            Some(RefKind::Notice) => {
                let detector = text
                    .rsplit_once('.')
                    .map_or(text.as_str(), |(head, _)| head);
                names.push(detector.to_owned());
            }
            Some(_) => names.push(text.clone()),
            None => {}
        },
        Value::List(list) => list.iter().for_each(|n| names_in(key, n, names)),
        Value::Table(table) => {
            for (key, entry) in table {
                names_in(key, &entry.node, names);
            }
        }
        _ => {}
    }
}

/// Paths of all that the line holds.
fn paths_of(line: &Line) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let mut add = |kind: &str, ids: &mut dyn Iterator<Item = &String>| {
        all.extend(ids.map(|id| format!("{kind}.{id}")));
    };
    add("anchor", &mut line.anchors.iter().map(|x| &x.id));
    add("float", &mut line.floats.iter().map(|x| &x.id));
    add("weight", &mut line.weights.iter().map(|x| &x.id));
    add("weak_link", &mut line.weak_links.iter().map(|x| &x.id));
    add("recovery", &mut line.means.iter().map(|x| &x.id));
    add("spare", &mut line.spares.iter().map(|x| &x.id));
    add("case", &mut line.cases.iter().map(|x| &x.id));
    add("section", &mut line.sections.iter().map(|x| &x.id));
    add("supply", &mut line.supplies.iter().map(|x| &x.id));
    add("module", &mut line.modules.iter().map(|x| &x.id));
    add("span", &mut line.spans.iter().map(|x| &x.id));
    add("bus", &mut line.buses.iter().map(|x| &x.id));
    add("exclusive", &mut line.exclusives.iter().map(|x| &x.id));
    add("detector", &mut line.detectors.iter().map(|x| &x.id));
    add("vote", &mut line.votes.iter().map(|x| &x.id));
    add("topic", &mut line.topics.iter().map(|x| &x.name));
    add("request", &mut line.requests.iter().map(|x| &x.id));
    add("stream", &mut line.streams.iter().map(|x| &x.id));
    add("behaviour", &mut line.behaviours.iter().map(|x| &x.id));
    add("uplink", &mut line.uplinks.iter().map(|x| &x.id));
    add("call", &mut line.calls.iter().map(|x| &x.id));
    add("storage", &mut line.storages.iter().map(|x| &x.id));
    add("metal", &mut line.metals.iter().map(|x| &x.id));
    add("anode", &mut line.anodes.iter().map(|x| &x.id));
    add("watch", &mut line.watches.iter().map(|x| &x.id));
    for module in &line.modules {
        let below = |key| format!("module.{}.{key}", module.id);
        add(&below("sensor"), &mut module.sensors.iter().map(|x| &x.id));
        add(&below("output"), &mut module.outputs.iter().map(|x| &x.id));
    }
    all
}

fn behaviour(
    path: &str,
    root: &Fields,
    wrong: &BTreeMap<String, Vec<&Mistake>>,
) -> Vec<WrittenBehaviour> {
    let Some(id) = path.strip_prefix("behaviour.") else {
        return Vec::new();
    };
    let mut behaviour = WrittenBehaviour {
        path: path.to_owned(),
        hidden: true,
        on: None,
        start: WrittenStart::Else,
        limited: false,
        publishes: Vec::new(),
        sends_up: Vec::new(),
    };
    let Some((_, f)) = root.keyed("behaviour").find(|(i, _)| *i == id) else {
        return vec![behaviour];
    };
    let actions = f.tables("do");
    // A value out of range hides nothing of what starts it or what it does.
    let only_values = wrong.get(path).into_iter().flatten().all(|m| {
        matches!(
            m.code,
            Code::MissingUnit
                | Code::UnknownUnit
                | Code::WrongDimension
                | Code::BadQuantity
                | Code::OutOfRange
        )
    });
    behaviour.hidden = !only_values
        || [
            "on",
            "when_heard",
            "when_voted",
            "when_told",
            "when_asked",
            "when_answered",
            "routine",
            "do",
        ]
        .iter()
        .any(|k| f.is_wrong(k))
        || actions.iter().any(|a| {
            ["publish", "send_up", "about", "ask", "answer"]
                .iter()
                .any(|k| a.is_wrong(k))
        });
    behaviour.on = f.reference("on").map(|(_, path, _)| path.to_owned());
    behaviour.limited = f.has("at_most");
    for action in actions {
        if let Some((topic, _)) = action.text("publish") {
            behaviour.publishes.push(topic.clone());
        }
        if let Some((_, uplink, _)) = action.reference("send_up")
            && let Some((topic, _)) = action.text("about")
        {
            behaviour.sends_up.push((uplink.to_owned(), topic.clone()));
        }
    }
    // A routine may be started by several things.
    let mut starts = Vec::new();
    if let Some((filter, _)) = f.text("when_told") {
        starts.push(WrittenStart::Told(filter.clone()));
    }
    if let Some((_, vote, _)) = f.reference("when_voted") {
        starts.push(WrittenStart::Voted(vote.to_owned()));
    }
    if let Some((_, notice, _)) = f.reference("when_heard")
        && let Some((detector, word)) = notice.rsplit_once('.')
    {
        let notice = NoticeKind::of_word(word);
        starts.push(WrittenStart::Heard(detector.to_owned(), notice));
    }
    if starts.is_empty() {
        return vec![behaviour];
    }
    let one = |start| WrittenBehaviour {
        start,
        ..behaviour.clone()
    };
    starts.into_iter().map(one).collect()
}

/// Heartbeats, which the line has as behaviours of their modules.
fn heartbeats(root: &Fields) -> impl Iterator<Item = WrittenBehaviour> {
    root.keyed("module").filter_map(|(id, f)| {
        if !f.has("heartbeat") {
            return None;
        }
        let path = format!("module.{id}");
        let mut behaviour = WrittenBehaviour {
            path: path.clone(),
            hidden: true,
            on: Some(path),
            start: WrittenStart::Else,
            limited: false,
            publishes: Vec::new(),
            sends_up: Vec::new(),
        };
        if let Some((t, _)) = f.table("heartbeat") {
            behaviour.hidden = t.is_wrong("topic") || t.is_wrong("by");
            let topic = t.text("topic").map(|(name, _)| name.clone());
            if let (Some((_, uplink, _)), Some(topic)) = (t.reference("by"), &topic) {
                behaviour.sends_up.push((uplink.to_owned(), topic.clone()));
            }
            behaviour.publishes.extend(topic);
        }
        Some(behaviour)
    })
}

fn requirements(root: &Table, fields: &Fields) -> Vec<WrittenRequirement> {
    let Some(Value::Table(table)) = root.get("requirement").map(|e| &e.node.value) else {
        return Vec::new();
    };
    table
        .iter()
        .map(|(id, entry)| {
            let f = fields
                .keyed("requirement")
                .find(|(i, _)| i == id)
                .map(|(_, f)| f);
            let mut names = Vec::new();
            names_in("requirement", &entry.node, &mut names);
            let WrittenLimit { must, source } = WrittenLimit::of(f);
            WrittenRequirement {
                id: id.clone(),
                at: entry.key,
                must,
                source,
                that: f.and_then(|f| f.choice("that")).map(|(w, _)| *w),
                names,
            }
        })
        .collect()
}
