//! Where the detections of a hydrophone, and what runs at intervals, lead: outputs, uplinks, and modules that learn of them.

use std::collections::BTreeSet;

use network::{Filter, How, Medium, PastBroken, StillPasses, reaching};
use plan::{
    Action, BehaviourIx, DetectorIx, Line, ModuleIx, OutputIx, PassWhen, RequestIx, SensorIx,
    SpanIx, TopicIx, UplinkIx, VoteIx, When,
};

use super::CopyAfter;
use crate::input::{Carrier, Streams, Traffic};

/// The network of messages of the whole line; `None` where the plan has no links.
pub(super) struct Talk<'a> {
    pub(super) line: &'a Line,
    pub(super) net: Option<(Traffic, Streams)>,
}

/// Who works, who reaches whom, and what goes ashore.
pub(super) struct Now {
    pub(super) works: Vec<bool>,
    /// By target, which modules reach it.
    reaches: Vec<Vec<bool>>,
    pub(super) up: Vec<bool>,
    /// Modules whose clock is wrong.
    pub(super) wrong_clock: Vec<bool>,
    /// A hydrophone whose detectors hear nothing.
    pub(super) deaf: Option<SensorIx>,
}

impl Now {
    pub(super) fn reach(&self, from: usize, to: usize) -> bool {
        self.works[from] && self.works[to] && (from == to || self.reaches[to][from])
    }
}

/// Where detections lead.
#[derive(Clone, Debug, Default)]
pub(super) struct Led {
    pub(super) outputs: BTreeSet<(usize, usize)>,
    pub(super) uplinks: BTreeSet<usize>,
    /// Other modules that are told.
    pub(super) told: BTreeSet<usize>,
    /// Which behaviour starts which.
    steps: Vec<(usize, usize)>,
    /// Behaviours that switch an output.
    switches: Vec<(usize, (usize, usize))>,
}

impl Led {
    /// Modules that have a part in switching an output, its own left out.
    pub(super) fn askers(&self, line: &Line, output: (usize, usize)) -> BTreeSet<usize> {
        let of_it = self.switches.iter().filter(|(_, o)| *o == output);
        let mut on_the_way: Vec<usize> = of_it.map(|(b, _)| *b).collect();
        let mut next = 0;
        while let Some(&b) = on_the_way.get(next) {
            next += 1;
            for (from, _) in self.steps.iter().filter(|(_, to)| *to == b) {
                if !on_the_way.contains(from) {
                    on_the_way.push(*from);
                }
            }
        }
        let modules = on_the_way.iter().map(|b| line.behaviours[*b].on.0);
        modules.filter(|m| *m != output.0).collect()
    }
}

impl Talk<'_> {
    /// Who works and reaches whom, with these nodes and spans broken.
    pub(super) fn now(
        &self,
        nodes: &[Option<How>],
        cut: Option<SpanIx>,
        uplink: Option<UplinkIx>,
        wrong_clock: Vec<bool>,
    ) -> Now {
        let count = self.line.modules.len();
        let works: Vec<bool> = nodes.iter().map(Option::is_none).collect();
        let reaches = match &self.net {
            None => vec![vec![false; count]; count],
            Some((traffic, _)) => {
                let passes: Vec<StillPasses> = (0..count).map(|m| self.passes(m)).collect();
                let media: Vec<Medium> =
                    cut.map_or_else(Vec::new, |s| media_of(self.line, traffic, s));
                (0..count)
                    .map(|to| {
                        reaching(&traffic.topology, &[to], nodes, &media, &passes)
                            .expect("lists are as long as the line has modules")
                    })
                    .collect()
            }
        };
        Now {
            works,
            reaches,
            up: (0..self.line.uplinks.len())
                .map(|u| uplink != Some(UplinkIx(u)))
                .collect(),
            wrong_clock,
            deaf: None,
        }
    }

    /// What goes past a module that is broken, as its plan says; one that says nothing passes nothing.
    fn passes(&self, m: usize) -> StillPasses {
        let data = self.line.modules[m]
            .passes
            .map_or(PassWhen::Never, |p| p.data);
        let past = |passes: bool| match passes {
            true => PastBroken::Passes,
            false => PastBroken::Stops,
        };
        StillPasses {
            unpowered: past(data == PassWhen::Always),
            hung: past(matches!(data, PassWhen::Always | PassWhen::Powered)),
        }
    }

    pub(super) fn filter_matches(&self, filter: &str, topic: TopicIx) -> bool {
        match (&self.net, Filter::parse(filter)) {
            (Some((traffic, _)), Ok(filter)) => filter.matches(&traffic.names[topic.0]),
            _ => false,
        }
    }

    /// Modules that hear a topic of a module while the line is whole.
    pub(super) fn hearers(&self, from: ModuleIx, topic: TopicIx) -> &[usize] {
        let Some((_, streams)) = &self.net else {
            return &[];
        };
        let flow = streams.of.iter().position(|of| *of == (from, topic));
        flow.map_or(&[], |flow| &streams.flows[flow].targets)
    }

    /// Every copy of a message that the whole line asks for, and whether it comes now.
    pub(super) fn copies(&self, now: &Now) -> Vec<CopyAfter> {
        let Some((_, streams)) = &self.net else {
            return Vec::new();
        };
        let each = streams.of.iter().zip(&streams.flows);
        let copies = each.flat_map(|((from, topic), flow)| {
            flow.targets.iter().map(|to| CopyAfter {
                from: *from,
                topic: *topic,
                to: ModuleIx(*to),
                comes: now.reach(from.0, *to),
                steady: true,
            })
        });
        copies.collect()
    }

    /// Where the detections of a hydrophone lead.
    pub(super) fn led(&self, now: &Now, sensor: SensorIx) -> Led {
        let mut walk = self.walk(now);
        for (d, detector) in self.line.detectors.iter().enumerate() {
            if detector.on == sensor && now.works[sensor.module.0] && now.deaf != Some(sensor) {
                walk.hears(DetectorIx(d));
            }
        }
        walk.finish()
    }

    /// Where each behaviour that runs at intervals leads, in the order of the plan: nowhere where its module has stopped.
    pub(super) fn led_at_intervals(&self, now: &Now) -> Vec<Led> {
        let behaviours = self.line.behaviours.iter().enumerate();
        let beats = behaviours.filter(|(_, b)| matches!(b.when, When::Each { .. }));
        let led = beats.map(|(b, behaviour)| {
            let mut walk = self.walk(now);
            if now.works[behaviour.on.0] {
                walk.started[b] = true;
                walk.open.push(b);
            }
            walk.finish()
        });
        led.collect()
    }

    fn walk<'b>(&'b self, now: &'b Now) -> Walk<'b> {
        Walk {
            talk: self,
            now,
            led: Led::default(),
            started: vec![false; self.line.behaviours.len()],
            open: Vec::new(),
        }
    }
}

/// What carries the data of a span: its own link, or all of the bus of which it is a piece.
fn media_of(line: &Line, traffic: &Traffic, span: SpanIx) -> Vec<Medium> {
    let link = traffic.link_spans.iter().position(|s| *s == span);
    let shared = traffic.shared.iter().position(|carrier| match carrier {
        Carrier::Span(s) => *s == span,
        Carrier::Bus(bus) => line.spans[span.0].bus == Some(*bus),
    });
    let own = link.map(Medium::Link).into_iter();
    own.chain(shared.map(Medium::Bus)).collect()
}

struct Walk<'a> {
    talk: &'a Talk<'a>,
    now: &'a Now,
    led: Led,
    started: Vec<bool>,
    open: Vec<usize>,
}

impl Walk<'_> {
    fn finish(mut self) -> Led {
        while let Some(b) = self.open.pop() {
            self.follow(b);
        }
        self.led
    }

    fn start(&mut self, by: Option<usize>, starts: impl Fn(&plan::Behaviour) -> bool) {
        for (b, behaviour) in self.talk.line.behaviours.iter().enumerate() {
            if !self.now.works[behaviour.on.0] || !starts(behaviour) {
                continue;
            }
            self.led.steps.extend(by.map(|by| (by, b)));
            if !std::mem::replace(&mut self.started[b], true) {
                self.open.push(b);
            }
        }
    }

    fn hears(&mut self, detector: DetectorIx) {
        let line = self.talk.line;
        self.start(
            None,
            |b| matches!(b.when, When::Heard { detector: d, .. } if d == detector),
        );
        for (v, vote) in line.votes.iter().enumerate() {
            let counted: Vec<&DetectorIx> = vote
                .of
                .iter()
                .filter(|d| self.counts(**d, vote.on))
                .collect();
            if counted.contains(&&detector) && counted.len() >= vote.at_least as usize {
                let tellers: Vec<BehaviourIx> = line.tellers(detector).map(|(b, _)| b).collect();
                let voted = |b: &plan::Behaviour| matches!(b.when, When::Voted { vote: of } if of == VoteIx(v));
                if line.detectors[detector.0].on.module == vote.on {
                    self.start(None, voted);
                } else {
                    self.led.told.insert(vote.on.0);
                    for teller in tellers {
                        self.start(Some(teller.0), voted);
                    }
                }
            }
        }
    }

    /// Whether a detector's events are counted by a vote on this module.
    fn counts(&self, detector: DetectorIx, on: ModuleIx) -> bool {
        let sensor = self.talk.line.detectors[detector.0].on;
        if self.now.deaf == Some(sensor) {
            return false;
        }
        let own = sensor.module;
        if own == on {
            return self.now.works[own.0];
        }
        let mut tellers = self.talk.line.tellers(detector);
        let told = tellers.any(|(_, topic)| self.talk.hearers(own, topic).contains(&on.0));
        told && self.now.reach(own.0, on.0)
            && !self.now.wrong_clock[own.0]
            && !self.now.wrong_clock[on.0]
    }

    fn follow(&mut self, b: usize) {
        let line = self.talk.line;
        let on = line.behaviours[b].on;
        for action in &line.behaviours[b].actions {
            match action {
                Action::Switch {
                    output: OutputIx { module, output },
                    ..
                } => {
                    self.led.outputs.insert((module.0, *output));
                    self.led.switches.push((b, (module.0, *output)));
                }
                Action::SendUp { uplink, .. } if self.now.up[uplink.0] => {
                    self.led.uplinks.insert(uplink.0);
                }
                Action::Publish { topic, .. } => self.publish(b, on, *topic),
                Action::Ask { request, .. } => self.ask(b, on, *request),
                _ => {}
            }
        }
    }

    fn publish(&mut self, b: usize, on: ModuleIx, topic: TopicIx) {
        let talk = self.talk;
        for &target in talk.hearers(on, topic) {
            if !self.now.reach(on.0, target) {
                continue;
            }
            self.led.told.insert(target);
            self.start(Some(b), |told| {
                told.on.0 == target
                    && matches!(&told.when, When::Told { filter } if talk.filter_matches(filter, topic))
            });
        }
    }

    fn ask(&mut self, b: usize, on: ModuleIx, request: RequestIx) {
        let to = self.talk.line.requests[request.0].to;
        if self.now.reach(on.0, to.0) {
            self.led.told.insert(to.0);
            self.start(
                Some(b),
                |a| matches!(a.when, When::Asked { request: r } if r == request),
            );
            self.start(Some(b), |a| {
                a.on == on && matches!(a.when, When::Answered { request: r } if r == request)
            });
        } else {
            self.start(Some(b), |a| {
                a.on == on && matches!(a.when, When::Unanswered { request: r } if r == request)
            });
        }
    }
}
