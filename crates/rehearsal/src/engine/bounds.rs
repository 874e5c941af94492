//! The delay bounds of `check`, held against each delivery.
//!
//! A bound holds while no fault does, every module works and nothing is under way that a fault had held up. What crosses a CAN bus that sends again what bit errors hit, or shares a way with such messages, has
//! none. A delivery later than its bound says would show that the bound or the run is wrong.

use std::collections::BTreeMap;

use assess::input::{Streams, Traffic, streams, streams_with};
use network::{DelayBound, Delivery, Post, Topology, delay_bounds};
use plan::{CueSheet, ExpectKind, FaultKind, Line, ModuleIx, StreamIx, TopicIx};
use timeline::Ns;

use super::Engine;
use crate::error::RehearsalError;

/// The bounds, and since when they hold.
pub(super) struct BoundsNow {
    /// As `check` has them: by publishing module, topic and module that hears it.
    of_check: BTreeMap<(usize, usize, usize), Ns>,
    /// With what the cue sheet publishes besides.
    of_run: BTreeMap<(usize, usize, usize), Ns>,
    /// Of each stream that has room, by its index, as `check` has it, and with what the cue sheet publishes besides.
    of_streams: BTreeMap<usize, Ns>,
    of_streams_in_run: BTreeMap<usize, Ns>,
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
            of_streams: BTreeMap::new(),
            of_streams_in_run: BTreeMap::new(),
            calm_since: Some(Ns::ZERO),
        };
        let Some(traffic) = traffic else {
            return Ok(now);
        };
        let all = streams(line, traffic)?;
        (now.of_check, now.of_streams) = bounds(&traffic.topology, &all);
        // Errors are drawn as close as chance has them: a run is held to no bound that rests on a least time between two.
        let drawn = traffic.topology.clone().with_errors_apart(&[]);
        now.knows_what_is_late(line, cues, &all)?;
        let inputs: Vec<_> = cues.inputs.iter().map(|i| (i.module, i.topic)).collect();
        (now.of_run, now.of_streams_in_run) = match inputs.is_empty() {
            true => bounds(&drawn, &all),
            // Acknowledgements of what comes from outside are among them.
            false => {
                let run = streams_with(line, traffic, &inputs)?;
                let same = |a: &Streams, b: &Streams| {
                    let ids = |s: &Streams| -> Vec<_> { s.packets.iter().map(|p| p.0).collect() };
                    ids(a) == ids(b)
                };
                // A stream that would have no room beside the inputs runs all the same, and no bound counts both.
                match same(&run, &all) {
                    true => bounds(&drawn, &run),
                    false => (BTreeMap::new(), BTreeMap::new()),
                }
            }
        };
        Ok(now)
    }

    /// The bound that `check` gives a topic from one module to another, where it knows one.
    pub(super) fn of_check(&self, from: ModuleIx, topic: TopicIx, to: ModuleIx) -> Option<Ns> {
        self.of_check.get(&(from.0, topic.0, to.0)).copied()
    }

    /// The bound that `check` gives a packet of a stream; absent where it has no room for the stream.
    pub(super) fn of_stream(&self, stream: StreamIx) -> Option<Ns> {
        self.of_streams.get(&stream.0).copied()
    }

    /// The bound that a packet of a stream breaks although nothing is amiss.
    pub(super) fn broken_by_packet(&self, stream: StreamIx, sent: Ns, after: Ns) -> Option<Ns> {
        let calm = self.calm_since.is_some_and(|since| since <= sent);
        let bound = self.of_streams_in_run.get(&stream.0).copied();
        bound.filter(|bound| calm && after > *bound)
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
        self.of_streams_in_run.clear();
    }

    /// Something is amiss, or has just been.
    pub(super) fn disturbed(&mut self) {
        self.calm_since = None;
    }
}

/// Bounds of messages, by publishing module, topic and module that hears it; and of packets, by stream.
type Known = (BTreeMap<(usize, usize, usize), Ns>, BTreeMap<usize, Ns>);

/// The bounds that are known. A flow that cannot be bounded leaves out what `check` calls unknown too.
fn bounds(topology: &Topology, streams: &Streams) -> Known {
    let mut known = BTreeMap::new();
    let Ok(found) = delay_bounds(topology, &streams.flows) else {
        return (known, BTreeMap::new());
    };
    let of_packets = streams.packets.iter().filter_map(|(stream, flow)| {
        let DelayBound::Known { total, .. } = found[*flow].first()? else {
            return None;
        };
        Some((stream.0, *total))
    });
    let of_packets = of_packets.collect();
    for (((module, topic), flow), bounds) in streams.of.iter().zip(&streams.flows).zip(found) {
        for (target, bound) in flow.targets.iter().zip(bounds) {
            if let DelayBound::Known { total, .. } = bound {
                known.insert((module.0, topic.0, *target), total);
            }
        }
    }
    (known, of_packets)
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

impl Engine<'_> {
    /// Before a publication: whether the line is calm again.
    pub(super) fn calm(&mut self) {
        if self.bounds.calm_since.is_some() {
            return;
        }
        // What hears, what lies in a store and what goes ashore is nothing that crosses the line.
        let beside = |f: FaultKind| {
            matches!(
                f,
                FaultKind::NoUplink(_) | FaultKind::StorageFull(_) | FaultKind::Deaf(_)
            )
        };
        let amiss = self.holding().any(|f| !beside(f));
        let works = self.modules.iter().all(|m| m.works());
        if !amiss && works && self.machine.as_ref().is_none_or(Post::is_idle) {
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

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    const STUB: &str = include_str!("../../tests/data/stub.toml");
    const SHEET: &str = "format = 1\n[rehearsal]\nname = \"Stub\"\nduration = \"10 s\"\nseed = 1\nwind = \"4 m/s\"\n";

    /// By publishing module, topic and module that hears it: what is held to a bound with this rate of bit errors on the stub.
    fn held(rate: &str) -> Vec<(usize, usize, usize)> {
        let text = STUB.replace("rate = 0\n", &format!("rate = {rate}\n"));
        let reading = plan::read(Path::new("plan.toml"), &|_| Ok(text.clone().into()));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| Ok(SHEET.into()));
        let line = reading.line.expect("it has no errors");
        let cues = cues.cues.expect("the sheet is right");
        let traffic = assess::input::traffic(&line).expect("the line has traffic");
        let now = BoundsNow::new(&line, &cues, traffic.as_ref()).expect("it has bounds");
        now.of_run.keys().copied().collect()
    }

    /// Bit errors on a stub of CAN leave the messages along the trunk held to their bounds, and only what crosses the stub without.
    #[test]
    fn verif_bit_errors_leave_the_bounds_of_other_ways() {
        let (along, aside) = (0, 1);
        assert_eq!(held("0.0"), [(0, along, 1), (1, aside, 2)]);
        assert_eq!(held("1e-5"), [(0, along, 1)]);
        // A least time between errors is an assumption of `check`, to which no draw keeps.
        assert_eq!(held("1e-5\nerrors_apart = \"100 ms\""), [(0, along, 1)]);
    }
}
