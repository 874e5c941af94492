//! Which parts of a plan a verdict reads, and so which mistakes leave it unknown.
//!
//! The parts are those from which the inputs of the verdict's calculation are built, whether or not the line still has them:
//! a part that is lost to a mistake counts as read wherever it would have been.

use std::collections::BTreeSet;

use network::{Filter, TopicName};
use plan::{
    DelayEnd, DelayFrom, LiesIn, Line, ModuleIx, Must, NoticeKind, Position, Reading, SectionEnd,
    Spoilt, That, WrittenBehaviour, WrittenStart,
};

use crate::verdict::{Judged, Verdict, unknown};

/// Paths of parts, and names of top-level tables.
pub(crate) type Parts = BTreeSet<String>;

/// The depth of the seabed.
const FLOOR: &str = "site.water_depth";

/// A plan that has been read, its line, and what its mistakes reach.
#[derive(Clone, Copy)]
pub(crate) struct Reach<'a> {
    pub(crate) reading: &'a Reading,
    pub(crate) line: &'a Line,
}

impl Reach<'_> {
    /// The verdict for a mistake in one of these parts; `None` when none of them has any.
    pub(crate) fn spoilt(&self, parts: &Parts) -> Option<Verdict> {
        let reached = &self.reading.spoilt;
        if let Some(spoilt) = reached.whole() {
            return Some(mistaken(self.reading, "the plan", spoilt));
        }
        // The part that has the mistake itself says more than one that is lost with it.
        let mut all = parts
            .iter()
            .filter_map(|p| reached.of(p).map(|mistake| (p, mistake)));
        let own = all.clone().find(|(p, spoilt)| spoilt.part == **p);
        own.or_else(|| all.next())
            .map(|(part, spoilt)| mistaken(self.reading, part, spoilt))
    }

    /// What a requirement reads.
    pub(crate) fn of(&self, that: &That) -> Parts {
        match that {
            That::Voltage { .. }
            | That::SupplyCurrent { .. }
            | That::StartUp { .. }
            | That::CollapseFactor { .. }
            | That::Reserve { .. }
            | That::ShortCircuit { .. } => self.electric(),
            That::Delay { from, to, .. } => match from {
                DelayFrom::Notice(detector, notice) => {
                    let detector = &self.line.detectors[detector.0];
                    let path = format!("detector.{}", detector.id);
                    let start = WrittenStart::Heard(path.clone(), *notice);
                    self.delay(&[start], &[path, self.line.sensor_path(detector.on)], *to)
                }
                DelayFrom::Vote(vote) => {
                    let vote = &self.line.votes[vote.0];
                    let path = format!("vote.{}", vote.id);
                    let mut starts = vec![WrittenStart::Voted(path.clone())];
                    let mut read = vec![path, "site.profile".to_owned()];
                    for detector in vote.of.iter().map(|d| &self.line.detectors[d.0]) {
                        let path = format!("detector.{}", detector.id);
                        let heard = WrittenStart::Heard(path.clone(), NoticeKind::Confirmed);
                        starts.push(heard);
                        read.extend([path, self.line.sensor_path(detector.on)]);
                    }
                    self.delay(&starts, &read, *to)
                }
            },
            That::LinkLoad { .. } => {
                let mut parts = self.network();
                parts.extend(self.streams());
                parts
            }
            That::UplinkMessages { of, .. } | That::UplinkCost { of, .. } => {
                self.uplink(&self.line.uplinks[of.0].id)
            }
            That::StorageTime { of, at_least_s } => {
                let storage = &self.line.storages[of.0];
                let mut parts = some(["storage".to_owned(), format!("storage.{}", storage.id)]);
                parts.extend(
                    storage
                        .records
                        .iter()
                        .map(|r| self.line.sensor_path(r.sensor)),
                );
                if at_least_s.is_none() {
                    parts.extend(
                        ["duration", "recovery_slip"].map(|key| format!("deployment.{key}")),
                    );
                }
                parts
            }
            That::OutageHours { .. }
            | That::LowestCharge { .. }
            | That::Autonomy { .. }
            | That::CellLife { .. }
            | That::SensorEnergy { .. } => {
                let mut parts =
                    self.all(|kind, _| !matches!(kind, "storage" | "requirement" | "call"));
                for table in ["deployment", "site", "traffic"] {
                    parts.insert(table.to_owned());
                }
                parts
            }
            That::SelfNoise { .. } | That::Overload { .. } => self.chains(),
            That::DetectionRange { of, call, .. } => {
                let detector = &self.line.detectors[of.0];
                let ear = detector.on.module;
                let mut parts = self.depth(&self.line.module_path(ear));
                parts.extend([
                    "site".to_owned(),
                    format!("detector.{}", detector.id),
                    format!("call.{}", self.line.calls[call.0].id),
                    self.line.sensor_path(detector.on),
                ]);
                parts
            }
            That::Recall { of, .. } | That::FalseAlarms { of, .. } => {
                let detector = &self.line.detectors[of.0];
                some([
                    "detector".to_owned(),
                    format!("detector.{}", detector.id),
                    self.line.sensor_path(detector.on),
                ])
            }
            That::Rehearsed { .. } => {
                let mut parts = self.all(|kind, _| !matches!(kind, "storage" | "call"));
                for table in ["deployment", "site", "traffic"] {
                    parts.insert(table.to_owned());
                }
                parts
            }
        }
    }

    /// All that is declared of some kinds, and the kinds themselves. The second argument of `wanted` is whether it stands below a
    /// module, as sensors and outputs do.
    fn all(&self, wanted: impl Fn(&str, Option<&str>) -> bool) -> Parts {
        let mut parts = Parts::new();
        for path in self.reading.spoilt.declared() {
            let kind = path.split('.').next().unwrap_or(path);
            let below = match kind {
                "module" => path.split('.').nth(2),
                _ => None,
            };
            if wanted(kind, below) {
                parts.insert(path.to_owned());
            }
        }
        for kind in [
            "section",
            "supply",
            "module",
            "span",
            "exclusive",
            "detector",
            "call",
            "vote",
            "topic",
            "behaviour",
            "uplink",
        ] {
            if wanted(kind, None) {
                parts.insert(kind.to_owned());
            }
        }
        parts
    }

    /// Noise and full scale of sensor chains: sensors and detectors, the sea, the months of the deployment.
    pub(crate) fn chains(&self) -> Parts {
        let mut parts = self.all(|kind, below| kind == "detector" || below == Some("sensor"));
        for table in ["deployment", "site"] {
            parts.insert(table.to_owned());
        }
        parts
    }

    /// A detector and its sensor.
    pub(crate) fn detector(&self, path: &str) -> Parts {
        let own = self
            .line
            .detectors
            .iter()
            .find(|d| path == format!("detector.{}", d.id));
        let sensor = own.map(|d| self.line.sensor_path(d.on));
        [path.to_owned()].into_iter().chain(sensor).collect()
    }

    /// What detectors ask of the processors that run them.
    pub(crate) fn processors(&self) -> Parts {
        self.all(|kind, below| {
            matches!(kind, "detector" | "module") && below.is_none_or(|b| b == "sensor")
        })
    }

    /// The direct-current network: every supply, every load, every conductor at the temperature of its depth.
    pub(crate) fn electric(&self) -> Parts {
        let mut parts = self.all(|kind, below| {
            matches!(kind, "supply" | "module" | "span" | "section" | "exclusive")
                && below != Some("sensor")
        });
        parts.insert("site.profile".to_owned());
        let in_air = |s: &plan::Span| s.heat.is_some_and(|h| matches!(h.lies_in, LiesIn::Air));
        if self.line.spans.iter().any(in_air) {
            parts.insert("site.air_temperature".to_owned());
        }
        // In water that is as warm at every depth no depth is read.
        if self.line.sea.profile.len() > 1 {
            let ends = self.line.spans.iter().filter(|s| s.conductor.is_some());
            let mut ends = ends.flat_map(|s| [s.from, s.to]);
            if ends.any(|m| self.reads_the_floor(m)) {
                parts.insert(FLOOR.to_owned());
            }
        }
        parts
    }

    /// Whether the depth of a module rests on that of the water: by the sections on which it hangs it comes to an anchor, or to
    /// what could not be settled.
    fn reads_the_floor(&self, module: ModuleIx) -> bool {
        let mut on_the_way = vec![module];
        let mut next = 0;
        while let Some(m) = on_the_way.get(next).copied() {
            next += 1;
            let section = match self.line.modules[m.0].position {
                Position::Depth(q) if q.si.is_finite() => continue,
                Position::Depth(_) => return true,
                Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => section,
            };
            let section = &self.line.sections[section.0];
            for end in [section.from, section.to] {
                match end {
                    SectionEnd::Anchor(_) => return true,
                    SectionEnd::Module(m) if on_the_way.contains(&m) => {}
                    SectionEnd::Module(m) => on_the_way.push(m),
                }
            }
        }
        false
    }

    /// The links: every span and every module, and the sections where they give a length.
    fn network(&self) -> Parts {
        let derived = self.line.spans.iter().any(|s| s.written_length_m.is_none());
        let mut parts = self.all(|kind, below| match kind {
            "module" => below.is_none(),
            "section" => derived,
            _ => kind == "span",
        });
        parts.insert("traffic".to_owned());
        parts
    }

    /// Depth of a module and that of its housing: the sections on which it hangs, and what they hang on.
    pub(crate) fn depth(&self, module: &str) -> Parts {
        let own = ["position", "housing"].map(|key| format!("{module}.{key}"));
        let mut parts = Parts::from_iter(own);
        parts.insert("module".to_owned());
        let Some(m) = module
            .strip_prefix("module.")
            .and_then(|id| self.line.module_by_id(id))
        else {
            return parts;
        };
        let plain =
            matches!(self.line.modules[m.0].position, Position::Depth(q) if q.si.is_finite());
        if !plain {
            parts.extend(self.places());
        }
        if self.reads_the_floor(m) {
            parts.insert(FLOOR.to_owned());
        }
        parts
    }

    /// Where everything hangs: every section, and the position of every module.
    fn places(&self) -> Parts {
        let mut parts = self.all(|kind, _| kind == "section");
        parts.insert("module".to_owned());
        let modules = self.all(|kind, below| kind == "module" && below.is_none());
        parts.extend(modules.iter().map(|m| format!("{m}.position")));
        parts
    }

    /// Length of a span as written, or along the sections.
    pub(crate) fn length(&self, span: &str) -> Parts {
        let mut parts = some(["span".to_owned(), span.to_owned()]);
        let id = span.strip_prefix("span.").unwrap_or(span);
        let derived = self
            .line
            .spans
            .iter()
            .any(|s| s.id == id && s.written_length_m.is_none());
        if derived {
            parts.extend(self.places());
        }
        parts
    }

    fn behaviours(&self) -> &[WrittenBehaviour] {
        self.reading.spoilt.behaviours()
    }

    /// Behaviours of which it is not known what they do: every verdict on messages may rest on them.
    fn hidden(&self) -> impl Iterator<Item = String> {
        let hidden = self.behaviours().iter().filter(|b| b.hidden);
        hidden
            .map(|b| b.path.clone())
            .chain(["topic".to_owned(), "behaviour".to_owned()])
            .chain(self.all(|kind, _| kind == "vote"))
    }

    /// Whether a behaviour tells another on another module of this topic.
    fn goes_from_to(&self, topic: &str, from: &WrittenBehaviour, to: &WrittenBehaviour) -> bool {
        from.publishes.iter().any(|t| t == topic)
            && (from.on != to.on || from.on.is_none())
            && matches!(&to.start, WrittenStart::Told(filter) if hears(filter, topic))
    }

    /// Whether messages of this topic leave the module on which they are published.
    fn travels(&self, topic: &str) -> bool {
        let all = self.behaviours();
        let counts = |v: &plan::Vote| {
            let elsewhere =
                v.of.iter()
                    .filter(|d| self.line.detectors[d.0].on.module != v.on);
            elsewhere
                .flat_map(|d| self.line.tellers(*d))
                .any(|(_, t)| self.line.topics[t.0].name == topic)
        };
        if self.line.votes.iter().any(counts) {
            return true;
        }
        all.iter()
            .any(|from| all.iter().any(|to| self.goes_from_to(topic, from, to)))
    }

    /// All that is published and told over the links, and what limits it.
    fn streams(&self) -> Parts {
        let mut parts: Parts = self.hidden().collect();
        let all = self.behaviours();
        for from in all {
            for topic in &from.publishes {
                let hearers: Vec<&WrittenBehaviour> = all
                    .iter()
                    .filter(|to| self.goes_from_to(topic, from, to))
                    .collect();
                if hearers.is_empty() && !self.travels(topic) {
                    continue;
                }
                parts.insert(from.path.clone());
                parts.insert(format!("topic.{topic}"));
                parts.extend(hearers.iter().map(|b| b.path.clone()));
                let limited = self
                    .line
                    .topics
                    .iter()
                    .any(|t| t.name == *topic && t.at_most.is_some());
                if !limited {
                    parts.extend(limits(from));
                }
            }
        }
        parts
    }

    /// What an uplink is given to send, and how often.
    fn uplink(&self, id: &str) -> Parts {
        let path = format!("uplink.{id}");
        let mut parts: Parts = self.hidden().collect();
        let mut told = false;
        for b in self.behaviours() {
            for (_, topic) in b.sends_up.iter().filter(|(u, _)| *u == path) {
                parts.insert(b.path.clone());
                parts.insert(format!("topic.{topic}"));
                parts.extend(limits(b));
                told |= !b.limited && matches!(b.start, WrittenStart::Told(_));
            }
        }
        if told {
            parts.extend(self.network());
            parts.extend(self.streams());
        }
        parts.extend(["uplink".to_owned(), path]);
        parts
    }

    /// Every way from notices or a vote to an end, with what else is read of these, and what shares the links with it.
    fn delay(&self, starts: &[WrittenStart], read: &[String], to: DelayEnd) -> Parts {
        let mut parts: Parts = self.hidden().collect();
        parts.insert("detector".to_owned());
        parts.extend(read.iter().cloned());
        match to {
            DelayEnd::Output(o) => {
                parts.insert(self.line.output_path(o));
            }
            DelayEnd::Module(m) => {
                parts.insert(self.line.module_path(m));
            }
            DelayEnd::Uplink(u) => parts.extend(self.uplink(&self.line.uplinks[u.0].id)),
        }
        // Without [traffic] no message gets anywhere, and the links are not looked at.
        parts.insert("traffic".to_owned());
        if self.line.traffic.is_some() {
            parts.extend(self.network());
        }
        let all = self.behaviours();
        let mut on_the_way: Vec<&WrittenBehaviour> =
            all.iter().filter(|b| starts.contains(&b.start)).collect();
        let mut next = 0;
        while let Some(b) = on_the_way.get(next).copied() {
            next += 1;
            parts.insert(b.path.clone());
            for topic in b.publishes.iter().filter(|t| self.travels(t)) {
                parts.insert(format!("topic.{topic}"));
                parts.extend(self.streams());
                let told = all.iter().filter(|to| self.goes_from_to(topic, b, to));
                for to in told {
                    if !on_the_way.iter().any(|known| known.path == to.path) {
                        on_the_way.push(to);
                    }
                }
            }
        }
        parts
    }

    /// Verdicts on each thing of a kind: those whose parts have a mistake are unknown, also where the line lost the thing.
    pub(crate) fn each(
        &self,
        verdicts: Vec<Verdict>,
        kind: &str,
        parts: impl Fn(&str) -> Parts,
    ) -> Vec<Verdict> {
        let things = self.reading.spoilt.declared().filter(|p| {
            p.split_once('.')
                .is_some_and(|(k, id)| k == kind && !id.contains('.'))
        });
        let wrong: Vec<(&str, Verdict)> = things
            .filter_map(|p| Some((p, self.spoilt(&parts(p))?)))
            .collect();
        if wrong.is_empty() {
            return self
                .spoilt(&some([kind.to_owned()]))
                .map_or(verdicts, |v| vec![v]);
        }
        let mut all: Vec<Verdict> = verdicts
            .into_iter()
            .filter(|v| wrong.iter().all(|(p, _)| v.subject() != *p))
            .collect();
        all.extend(wrong.into_iter().map(|(path, verdict)| match verdict {
            Verdict::Unknown { why, .. } => unknown(path, why),
            known => known,
        }));
        all
    }
}

/// What limits how often a behaviour starts that does not say so itself.
fn limits(b: &WrittenBehaviour) -> Option<String> {
    match &b.start {
        WrittenStart::Heard(path, _) | WrittenStart::Voted(path) if !b.limited => {
            Some(path.clone())
        }
        _ => None,
    }
}

fn hears(filter: &str, topic: &str) -> bool {
    match (Filter::parse(filter), TopicName::parse(topic)) {
        (Ok(filter), Ok(topic)) => filter.matches(&topic),
        // What is no filter or no name may have meant anything.
        _ => true,
    }
}

fn some<const N: usize>(parts: [String; N]) -> Parts {
    parts.into_iter().collect()
}

/// What is told of a part of the plan that a mistake reaches.
pub(crate) fn mistaken(reading: &Reading, part: &str, spoilt: &Spoilt) -> Verdict {
    let place = reading.sources.place(spoilt.at);
    let why = if spoilt.part == part {
        format!("the plan has a mistake in it, at {place}")
    } else if matches!(spoilt.part.as_str(), "file" | "include") {
        format!("the plan has a mistake at {place}")
    } else {
        format!("the plan has a mistake in {}, at {place}", spoilt.part)
    };
    unknown(part, why)
}

/// What is told of a requirement when the plan gives no line, or loses it without a trace.
fn too_little(reading: &Reading, requirement: String) -> Verdict {
    let parts = &reading.spoilt;
    let table = ["deployment", "site"].into_iter().find_map(|t| parts.of(t));
    let first = reading
        .mistakes
        .iter()
        .find(|m| m.is_error())
        .map(|m| m.site);
    let at = table.map(|spoilt| spoilt.at).or(first);
    let place = at.map_or_else(String::new, |at| {
        format!(", for the mistake at {}", reading.sources.place(at))
    });
    unknown(
        requirement,
        format!("too little of the plan can be read{place}"),
    )
}

/// The requirements that are written and of which the line has none: they are lost to a mistake, their own or another's.
pub(crate) fn lost(reading: &Reading) -> Vec<Judged> {
    let held = reading.line.iter().flat_map(|l| &l.requirements);
    let held: BTreeSet<&str> = held.map(|r| r.id.as_str()).collect();
    let parts = &reading.spoilt;
    let missing = parts
        .requirements()
        .iter()
        .filter(|r| !held.contains(r.id.as_str()));
    missing
        .map(|r| {
            let own = format!("requirement.{}", r.id);
            let named = || {
                r.names
                    .iter()
                    .find_map(|n| Some((n.as_str(), parts.of(n)?)))
            };
            let found = match (parts.of(&own), named(), parts.whole()) {
                (Some(spoilt), ..) => mistaken(reading, &own, spoilt),
                (_, Some((part, spoilt)), _) => mistaken(reading, part, spoilt),
                (_, _, Some(spoilt)) => mistaken(reading, "the plan", spoilt),
                _ => too_little(reading, own),
            };
            let about = match (r.that, r.names.is_empty()) {
                (None, _) => "it cannot be read what this requires".to_owned(),
                (Some(that), true) => format!("a requirement on {that}"),
                (Some(that), false) => format!("a requirement on {that}: {}", r.names.join(", ")),
            };
            Judged::new(
                r.id.clone(),
                r.must.unwrap_or(Must::Shall),
                r.source.clone(),
                about,
                vec![found],
            )
        })
        .collect()
}
