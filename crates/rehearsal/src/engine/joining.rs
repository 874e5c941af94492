//! Joining notices: what a module tells of itself when it has come up, who learns of it, and how long that may take.

use std::collections::BTreeMap;

use assess::input::{Traffic, ns, streams};
use network::{AtMost, DelayBound, Delivery, Flow, delay_bounds};
use plan::{Line, ModuleIx};
use timeline::Ns;

use super::content::Led;
use super::{Engine, Origin};
use crate::error::RehearsalError;
use crate::record::{JoinStep, RecordId, What};

/// Whether a module learnt what another is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Acquaintance {
    /// Which module told what it is.
    pub of: ModuleIx,
    /// Which was to learn it.
    pub by: ModuleIx,
    /// The first time that it did, and how long the notice had been on its way; `None` where it never did.
    pub learnt: Option<(Ns, Ns)>,
    /// The longest that a notice of that module may be on its way, with all that `check` counts besides and all other notices; where there is such a bound.
    pub bound: Option<Ns>,
}

/// Bounds of the joining notices, by who tells and who hears: of each module no more than one in the time of its boot.
pub(super) fn joining_bounds(
    line: &Line,
    traffic: Option<&Traffic>,
) -> Result<BTreeMap<(ModuleIx, ModuleIx), Option<Ns>>, RehearsalError> {
    let mut all = BTreeMap::new();
    let (Some(traffic), Some(joining)) = (traffic, line.joining) else {
        return Ok(all);
    };
    let mut flows = streams(line, traffic)?.flows;
    let before = flows.len();
    let mut of = Vec::new();
    for (m, notice) in traffic.joining.iter().enumerate() {
        let hears = |node: usize| {
            let mut subscriptions = traffic.subscriptions.iter();
            node != m && subscriptions.any(|(n, f)| *n == node && f.matches(&notice.name))
        };
        let targets: Vec<usize> = (0..line.modules.len())
            .filter(|node| hears(*node) && traffic.topology.route(m, *node).is_some())
            .collect();
        let boot_s = line.modules[m].boot.map_or(0.0, |boot| boot.time_s.si);
        let boot = ns(|| line.module_path(ModuleIx(m)), boot_s)?;
        flows.push(Flow {
            node: m,
            targets: targets.clone(),
            bytes: notice.bytes,
            priority: joining.priority,
            at_most: AtMost::new(1, boot).ok(),
            late: Some(Ns::ZERO),
        });
        of.push(targets);
    }
    let bounds = delay_bounds(&traffic.topology, &flows).unwrap_or_default();
    for (m, targets) in of.into_iter().enumerate() {
        for (t, node) in targets.into_iter().enumerate() {
            let bound = match bounds.get(before + m).and_then(|b| b.get(t)) {
                Some(DelayBound::Known { total, .. }) => Some(*total),
                _ => None,
            };
            all.insert((ModuleIx(m), ModuleIx(node)), bound);
        }
    }
    Ok(all)
}

impl Engine<'_> {
    /// A module that has come up tells what it is.
    pub(super) fn join(
        &mut self,
        module: ModuleIx,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        let Some(joining) = self.line.joining else {
            return Ok(());
        };
        let count = 2 * self.modules.len() * self.line.requests.len();
        let stream = self.side_stream(count + module.0);
        let (Some(post), Some(traffic)) = (&mut self.machine, &self.traffic) else {
            return Err(Self::no_traffic());
        };
        // No bound counts it.
        self.bounds.disturbed();
        let topic = self.asks.notices[module.0];
        let bytes = traffic.joining[module.0].bytes;
        let number = self.asks.joins[module.0].notices;
        let message = post
            .publish(
                self.now,
                network::Publication {
                    node: module.0,
                    topic,
                    bytes,
                    priority: joining.priority,
                    stream,
                    seq: number,
                },
            )
            .map_err(|source| RehearsalError::Machine {
                at: self.now,
                source,
            })?;
        let subscribers = post.subscribers(topic).unwrap_or_default();
        let copies = subscribers.iter().filter(|n| **n != module.0).count();
        self.asks.joins[module.0].notices += 1;
        let began = self.asks.booting_since[module.0];
        self.asks.booted_since[module.0].push(began);
        let what = JoinStep::Told { message };
        let record = self.record(Some(parent), None, What::Joining { module, what });
        self.follow(message, record, None, copies);
        self.drain_drops();
        Ok(())
    }

    /// A module learns of another by its notice.
    pub(super) fn learns_of(
        &mut self,
        of: ModuleIx,
        module: ModuleIx,
        delivery: &Delivery,
        origin: Origin,
    ) {
        // It may have begun to boot once more since.
        let began = self.asks.booted_since[of.0][delivery.seq as usize];
        let after = self.now.0 - began.0;
        let way = Ns(delivery.at.0 - delivery.published.0);
        let first = (delivery.at, way);
        self.asks.learnt.entry((of, module)).or_insert(first);
        let count = &mut self.asks.joins[of.0];
        count.learnt += 1;
        count.longest = count.longest.max(Some(Ns(after)));
        let what = JoinStep::Learnt {
            by: module,
            after: Ns(after),
        };
        let what = What::Joining { module: of, what };
        let record = self.record(Some(origin.record), origin.root, what);
        let traffic = self.traffic.as_ref();
        let name = traffic.map(|t| t.joining[of.0].name.clone());
        let told = |i: &usize| {
            let filter = self.filters[*i].as_ref();
            self.line.behaviours[*i].on == module
                && filter.zip(name.as_ref()).is_some_and(|(f, n)| f.matches(n))
        };
        let told: Vec<usize> = (0..self.line.behaviours.len()).filter(told).collect();
        for behaviour in told {
            self.start(behaviour, Led::Nothing, record, origin.root);
        }
    }
}
