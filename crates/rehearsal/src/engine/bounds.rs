//! The delay bounds of `check`, held against each delivery.
//!
//! A bound holds while no fault does, every module works, and nothing is under way that a fault had held up. A delivery later than its bound
//! says would show that the bound or the run is wrong.

use std::collections::BTreeMap;

use assess::input::{Streams, Traffic, at_most, streams};
use network::{DelayBound, Delivery, Flow, Post, delay_bounds};
use plan::{CueSheet, ExpectKind, FaultKind, Line, ModuleIx, TopicIx};
use timeline::Ns;

use super::Engine;
use crate::error::RehearsalError;

/// The bounds, and since when they hold.
pub(super) struct BoundsNow {
    /// As `check` has them: by publishing module, topic and module that hears it.
    of_check: BTreeMap<(usize, usize, usize), Ns>,
    /// With what the cue sheet publishes besides.
    of_run: BTreeMap<(usize, usize, usize), Ns>,
    /// Since when nothing has been amiss.
    calm_since: Option<Ns>,
}

impl BoundsNow {
    pub(super) fn new(
        line: &Line,
        cues: &CueSheet,
        traffic: Option<&Traffic>,
    ) -> Result<BoundsNow, RehearsalError> {
        let mut now = BoundsNow {
            of_check: BTreeMap::new(),
            of_run: BTreeMap::new(),
            calm_since: Some(Ns::ZERO),
        };
        let Some(traffic) = traffic else {
            return Ok(now);
        };
        let mut all = streams(line, traffic)?;
        now.of_check = bounds(traffic, &all.of, &all.flows);
        now.knows_what_is_late(line, cues, &all)?;
        let mut more = false;
        for cue in &cues.inputs {
            let topic = &line.topics[cue.topic.0];
            let known = all.of.iter().position(|of| *of == (cue.module, cue.topic));
            let limit = match topic.at_most {
                Some(rate) => Some(at_most(|| format!("topic \"{}\"", topic.name), rate)?),
                // Nothing limits what comes from outside.
                None => None,
            };
            match known {
                Some(flow) => {
                    more |= all.flows[flow].at_most != limit;
                    all.flows[flow].at_most = limit;
                }
                None => {
                    more = true;
                    let flow = Flow {
                        node: cue.module.0,
                        targets: hearers(traffic, cue.module, cue.topic),
                        bytes: traffic.bytes[cue.topic.0],
                        priority: topic.priority,
                        at_most: limit,
                    };
                    // Topics stand before what else flows.
                    all.flows.insert(all.of.len(), flow);
                    all.of.push((cue.module, cue.topic));
                }
            }
        }
        if more {
            // What goes back follows what comes, and that is more now.
            for flow in &mut all.flows[all.of.len()..] {
                flow.at_most = None;
            }
        }
        now.of_run = match more {
            true => bounds(traffic, &all.of, &all.flows),
            false => now.of_check.clone(),
        };
        Ok(now)
    }

    /// The bound that `check` gives a topic from one module to another, where it knows one.
    pub(super) fn of_check(&self, from: ModuleIx, topic: TopicIx, to: ModuleIx) -> Option<Ns> {
        self.of_check.get(&(from.0, topic.0, to.0)).copied()
    }

    /// An expectation on what is late by the bound of `check` needs one.
    fn knows_what_is_late(
        &self,
        line: &Line,
        cues: &CueSheet,
        all: &Streams,
    ) -> Result<(), RehearsalError> {
        let mut what = Vec::new();
        for expect in &cues.expects {
            let ExpectKind::Late {
                topic,
                to,
                beyond_s: None,
                ..
            } = expect.what
            else {
                continue;
            };
            let of_topic = all
                .of
                .iter()
                .zip(&all.flows)
                .filter(|((_, t), _)| *t == topic);
            for ((from, _), flow) in of_topic {
                for target in flow.targets.iter().map(|m| ModuleIx(*m)) {
                    if to.is_none_or(|to| to == target)
                        && self.of_check(*from, topic, target).is_none()
                    {
                        what.push(format!(
                            "expect.{} asks what is late, and `check` knows no bound for {} from {} to {}: write `beyond`",
                            expect.id,
                            line.topics[topic.0].name,
                            line.module_path(*from),
                            line.module_path(target)
                        ));
                    }
                }
            }
        }
        if what.is_empty() {
            Ok(())
        } else {
            Err(RehearsalError::NotSaid { what })
        }
    }

    /// A message comes from outside, which no bound counts: from now on nothing is held against them.
    pub(super) fn broken_from_outside(&mut self) {
        self.of_run.clear();
    }

    /// Something is amiss, or has just been.
    pub(super) fn disturbed(&mut self) {
        self.calm_since = None;
    }
}

/// The bounds that are known. A flow that cannot be bounded leaves out what `check` calls unknown too.
fn bounds(
    traffic: &Traffic,
    of: &[(ModuleIx, TopicIx)],
    flows: &[Flow],
) -> BTreeMap<(usize, usize, usize), Ns> {
    let mut known = BTreeMap::new();
    let Ok(found) = delay_bounds(&traffic.topology, flows) else {
        return known;
    };
    for (((module, topic), flow), bounds) in of.iter().zip(flows).zip(found) {
        for (target, bound) in flow.targets.iter().zip(bounds) {
            if let DelayBound::Known { total, .. } = bound {
                known.insert((module.0, topic.0, *target), total);
            }
        }
    }
    known
}

/// The modules that hear each topic.
pub(super) fn all_hearers(line: &Line, traffic: Option<&Traffic>) -> Vec<Vec<ModuleIx>> {
    let hears = |t: usize| -> Vec<ModuleIx> {
        let Some(traffic) = traffic else {
            return Vec::new();
        };
        let all = traffic.subscriptions.iter();
        let told = all.filter(|(_, filter)| filter.matches(&traffic.names[t]));
        let mut hearers: Vec<ModuleIx> = told.map(|(node, _)| ModuleIx(*node)).collect();
        hearers.sort_unstable();
        hearers.dedup();
        hearers
    };
    (0..line.topics.len()).map(hears).collect()
}

/// Modules that hear a topic and can be reached from its publisher, ascending.
fn hearers(traffic: &Traffic, from: ModuleIx, topic: TopicIx) -> Vec<usize> {
    let mut all: Vec<usize> = traffic
        .subscriptions
        .iter()
        .filter(|(_, filter)| filter.matches(&traffic.names[topic.0]))
        .map(|(node, _)| *node)
        .filter(|&n| n != from.0 && traffic.topology.route(from.0, n).is_some())
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

impl Engine<'_> {
    /// Before a publication: whether the line is calm again.
    pub(super) fn calm(&mut self) {
        if self.bounds.calm_since.is_some() {
            return;
        }
        let ashore = |f: FaultKind| matches!(f, FaultKind::NoUplink(_) | FaultKind::StorageFull(_));
        let amiss = self.holding().any(|f| !ashore(f));
        let works = self.modules.iter().all(|m| m.works());
        let idle = |m: &Post| m.stats().in_flight == 0;
        if !amiss && works && self.machine.as_ref().is_none_or(idle) {
            self.bounds.calm_since = Some(self.now);
        }
    }

    /// The bound that a delivery breaks although nothing is amiss.
    pub(super) fn broken_bound(
        &self,
        delivery: &Delivery,
        from: ModuleIx,
        topic: TopicIx,
    ) -> Option<Ns> {
        let calm = self
            .bounds
            .calm_since
            .is_some_and(|s| s <= delivery.published);
        let key = (from.0, topic.0, delivery.node);
        let bound = self.bounds.of_run.get(&key).copied().filter(|_| calm)?;
        let took = delivery.at.checked_sub(delivery.published)?;
        (took > bound).then_some(bound)
    }
}
