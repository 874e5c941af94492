//! What verdicts on messages read: every way that a message may take, and what shares the links with it.

use network::{Filter, TopicName};
use plan::{DelayEnd, WrittenBehaviour, WrittenStart};

use super::{Parts, Reach};

impl Reach<'_> {
    fn behaviours(&self) -> &[WrittenBehaviour] {
        self.reading.spoilt.behaviours()
    }

    /// Behaviours of which it is not known what they do: every verdict on messages may rest on them.
    fn hidden(&self) -> impl Iterator<Item = String> {
        let hidden = self.behaviours().iter().filter(|b| b.hidden);
        hidden
            .map(|b| b.path.clone())
            .chain(["topic".to_owned(), "behaviour".to_owned()])
            .chain(self.all(|kind, _| matches!(kind, "vote" | "request")))
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
    pub(super) fn streams(&self) -> Parts {
        let mut parts: Parts = self.hidden().collect();
        parts.extend(self.all(|kind, _| kind == "stream"));
        parts.insert("time-sync".to_owned());
        let clock = |m: &plan::Module| format!("module.{}.clock", m.id);
        parts.extend(self.line.modules.iter().map(clock));
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

    /// What the events of a month rest on, where a share of the months is asked for.
    pub(crate) fn events(&self, r: &plan::Requirement) -> Parts {
        match (&r.that, r.share) {
            (plan::That::UplinkCost { .. }, Some(_)) | (plan::That::UplinkWait { .. }, _) => {
                self.all(|kind, _| matches!(kind, "detector" | "vote" | "behaviour" | "topic"))
            }
            _ => Parts::new(),
        }
    }

    /// What an uplink is given to send, and how often.
    pub(super) fn uplink(&self, id: &str) -> Parts {
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
        parts.extend(["uplink".to_owned(), path.clone()]);
        // Its chance of success depends on the winds or waves of the months.
        let by_sea = |u: &plan::Uplink| u.id == id && (!u.success_by.is_empty() || u.sea.is_some());
        if self.line.uplinks.iter().any(by_sea) {
            parts.insert("site".to_owned());
        }
        // Below which charge it is off, in the worst month of the deployment.
        let by_charge = |u: &plan::Uplink| u.id == id && u.off_below.is_some();
        if self.line.uplinks.iter().any(by_charge) {
            parts.insert("deployment".to_owned());
            parts.extend(self.energy());
        }
        parts
    }

    /// Every way from notices or a vote to an end, with what else is read of these, and what shares the links with it.
    pub(super) fn delay(&self, starts: &[WrittenStart], read: &[String], to: DelayEnd) -> Parts {
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
