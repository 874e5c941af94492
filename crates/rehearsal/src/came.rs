//! What came of a rehearsal: topic by topic, and which record tells which fault what it cost (`fault_cost`).

use std::collections::BTreeMap;

use network::{MessageId, NoteKind};
use plan::{Action, CueSheet, FaultKind, Line, ModuleIx, RequestIx, StorageIx, StreamIx, TopicIx};
use timeline::Ns;

use crate::ashore::Shores;
use crate::engine::StoreCount;
use crate::fault_cost::{FaultCame, Watched};
use crate::latency::{Latencies, Latency};
use crate::packets::PacketEnd;
use crate::record::{AskStep, Loss, Record, What};

/// What came of a topic.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct TopicCame {
    /// Messages published.
    pub published: u64,
    /// Messages that the topic's `at_most` held back.
    pub held_back: u64,
    /// Copies asked for: one for each message and module that hears it, and one for each held value that is sent to a module that can be reached again.
    /// `copies = delivered + lost + had + kept_at_end + under_way`.
    pub copies: u64,
    /// Held values whose receiver had them already.
    pub had: u64,
    /// Copies that wait for a way at the end.
    pub kept_at_end: u64,
    /// Copies under way, or to be sent again, at the end.
    pub under_way: u64,
    /// Copies delivered, those once more to a receiver that had forgotten them left out.
    pub delivered: u64,
    /// Copies delivered once more to a receiver that had forgotten them.
    pub repeated: u64,
    /// Copies lost, by reason, in the order in which the reasons came.
    pub lost: Vec<(Loss, u64)>,
    /// Copies delivered later than the bound of `check` says.
    pub late: u64,
    /// Copies delivered for which `check` knows no bound.
    pub unbounded: u64,
    /// Copies that waited at their publisher for a way.
    pub kept: u64,
    /// Of these, those that went.
    pub sent_later: u64,
    /// Sendings after the first.
    pub sent_again: u64,
    /// Copies that came in once more and were removed.
    pub duplicates: u64,
    /// From publication to delivery; `None` when nothing was delivered.
    pub latency: Option<Latency>,
}

/// Counts while the rehearsal runs. Its memory is fixed by the line, the cue sheet, what waits to go ashore and what floods have on the links.
pub(crate) struct Came {
    topics: Vec<(TopicCame, Latencies)>,
    faults: Vec<Watched>,
    /// By topic: the modules that publish it, and those that hear it.
    publishers: Vec<Vec<ModuleIx>>,
    hearers: Vec<Vec<ModuleIx>>,
    works: Vec<bool>,
    /// By stream: the modules at its ends.
    ends: Vec<[ModuleIx; 2]>,
    /// The questions that are open, and who asked them.
    asks: BTreeMap<u64, ModuleIx>,
    /// By request: the module that is asked.
    asked_of: Vec<ModuleIx>,
    /// The messages of floods that are on the links: of which fault, and how many copies.
    floods: BTreeMap<MessageId, (usize, usize)>,
    /// By module: the highest voltage that it bears, and that which it had when the voltages last settled, V.
    highest_v: Vec<f64>,
    voltages_v: Vec<f64>,
    shores: Shores,
}

impl Came {
    /// `hearers` are the modules that hear each topic.
    pub(crate) fn new(line: &Line, cues: &CueSheet, hearers: Vec<Vec<ModuleIx>>) -> Came {
        let publishers = (0..line.topics.len()).map(|t| {
            let publishes = |a: &Action| matches!(a, Action::Publish { topic, .. } if topic.0 == t);
            let mut all: Vec<ModuleIx> = line
                .behaviours
                .iter()
                .filter(|b| b.actions.iter().any(publishes))
                .map(|b| b.on)
                .chain(from_cues(cues, TopicIx(t)))
                .collect();
            all.sort_unstable();
            all.dedup();
            all
        });
        Came {
            topics: vec![(TopicCame::default(), Latencies::default()); line.topics.len()],
            faults: cues.faults.iter().map(|f| Watched::new(&f.what)).collect(),
            publishers: publishers.collect(),
            hearers,
            works: vec![true; line.modules.len()],
            ends: line.streams.iter().map(|s| [s.from, s.to]).collect(),
            asks: BTreeMap::new(),
            asked_of: line.requests.iter().map(|q| q.to).collect(),
            floods: BTreeMap::new(),
            highest_v: line
                .modules
                .iter()
                .map(|m| m.input.as_ref().map_or(f64::INFINITY, |i| i.maximum_v.si))
                .collect(),
            voltages_v: vec![0.0; line.modules.len()],
            shores: Shores::new(line, cues),
        }
    }

    /// So many copies of a message are asked for.
    pub(crate) fn copies(&mut self, topic: TopicIx, copies: usize) {
        self.topics[topic.0].0.copies += copies as u64;
    }

    /// A flood publishes a message, of which so many copies go on the links.
    pub(crate) fn floods(&mut self, fault: usize, message: MessageId, copies: usize) {
        if copies > 0 {
            self.floods.insert(message, (fault, copies));
            self.faults[fault].on_links();
        }
    }

    /// A copy has left the links.
    fn left(&mut self, message: MessageId, at: Ns) {
        let Some((fault, copies)) = self.floods.get_mut(&message) else {
            return;
        };
        *copies -= 1;
        if *copies > 0 {
            return;
        }
        self.faults[*fault].off_links(at);
        self.floods.remove(&message);
    }

    /// A topic's limit has held back a message.
    pub(crate) fn held_back(&mut self, topic: TopicIx) {
        self.topics[topic.0].0.held_back += 1;
    }

    /// A fault and those others of which this is so hold together, or do not.
    fn hold_together(&mut self, fault: usize, does: bool, so: impl Fn(&Watched) -> bool) {
        for other in (0..self.faults.len()).filter(|o| *o != fault) {
            if so(&self.faults[other]) {
                self.faults[fault].holds_with(other, does);
                self.faults[other].holds_with(fault, does);
            }
        }
    }

    /// A fault that fills a store begins or is over, with the store's counts at that instant.
    pub(crate) fn stored(
        &mut self,
        fault: usize,
        storage: StorageIx,
        count: StoreCount,
        begins: bool,
    ) {
        self.faults[fault].stored(storage, count, begins);
    }

    pub(crate) fn see(&mut self, record: &Record) {
        let at = record.at;
        self.shores.see(record);
        match record.what {
            What::Published { topic, .. } => {
                self.topics[topic.0].0.published += 1;
                for fault in &mut self.faults {
                    fault.published(topic);
                }
            }
            What::Delivered {
                module,
                topic,
                message,
                after,
                late,
                ..
            } => {
                let (came, latencies) = &mut self.topics[topic.0];
                latencies.add(after);
                came.delivered += 1;
                came.late += u64::from(late == Some(true));
                came.unbounded += u64::from(late.is_none());
                for fault in &mut self.faults {
                    fault.delivered(topic, module, late, (at, after));
                }
                self.left(message, at);
            }
            What::Lost {
                module,
                topic,
                message,
                why,
            } => {
                let lost = &mut self.topics[topic.0].0.lost;
                match lost.iter_mut().find(|(w, _)| *w == why) {
                    Some((_, n)) => *n += 1,
                    None => lost.push((why, 1)),
                }
                for fault in &mut self.faults {
                    fault.lost(topic, module);
                }
                self.left(message, at);
            }
            What::Posted {
                module,
                topic,
                message,
                what,
            } => {
                let came = &mut self.topics[topic.0].0;
                match what {
                    NoteKind::Kept => came.kept += 1,
                    NoteKind::Released => came.sent_later += 1,
                    NoteKind::Again { .. } => came.sent_again += 1,
                    NoteKind::Duplicate => came.duplicates += 1,
                    NoteKind::Had => {
                        came.duplicates += 1;
                        came.had += 1;
                    }
                    NoteKind::Retained => came.copies += 1,
                    NoteKind::Repeated => came.repeated += 1,
                    _ => {}
                }
                if matches!(what, NoteKind::Kept | NoteKind::Missed { .. }) {
                    for fault in &mut self.faults {
                        fault.waits(topic, module);
                    }
                }
                // What waits for a way is not on a link.
                if matches!(what, NoteKind::Kept) {
                    self.left(message, at);
                }
            }
            What::Asking {
                request,
                ask,
                module,
                what: AskStep::Asked { .. },
                ..
            } => {
                self.asks.insert(ask, module);
                let to = self.asked_of[request.0];
                for fault in &mut self.faults {
                    fault.is_asked(ask, request, module, to);
                }
            }
            What::Asking {
                request, ask, what, ..
            } => self.asked(request, ask, what),
            What::Joining { module, what } => {
                for fault in &mut self.faults {
                    fault.joins(module, what);
                }
            }
            What::Settled { ref voltages_v } => self.settled(voltages_v),
            What::FaultBegins { fault } => {
                self.faults[fault].begins(at, self.asks.keys(), &self.voltages_v);
                if self.faults[fault].disturbs_now() {
                    self.hold_together(fault, true, Watched::disturbs_now);
                }
            }
            What::FaultEnds { fault } => {
                self.faults[fault].ends(at, &self.works);
                // One that begins as it is over does not hold beside it.
                if !self.faults[fault].disturbs_now() {
                    self.hold_together(fault, false, |other| other.began_at(at));
                }
            }
            What::Down { module, .. } => {
                self.works[module.0] = false;
                for fault in 0..self.faults.len() {
                    if self.faults[fault].is_hit_by(module) {
                        self.stops(fault, module);
                    }
                }
            }
            What::Up { module } => {
                self.works[module.0] = true;
                for fault in &mut self.faults {
                    fault.works_again(at, module);
                }
            }
            _ => {}
        }
    }

    /// A module stops while a fault holds: the streams that end there, and the topics that it hears or publishes, are disturbed.
    fn stops(&mut self, fault: usize, module: ModuleIx) {
        let ends = self.ends.iter().enumerate();
        let streams = ends.filter(|(_, e)| e.contains(&module));
        let topics = self.publishers.iter().zip(&self.hearers).enumerate();
        let pairs = topics.flat_map(|(t, (publish, hear))| {
            let touched = hear
                .iter()
                .filter(|h| **h == module || publish.contains(&module));
            touched.map(move |hearer| (TopicIx(t), *hearer))
        });
        self.faults[fault].stops(module, streams.map(|(s, _)| StreamIx(s)), pairs);
    }

    /// What comes of a question once it is asked.
    fn asked(&mut self, request: RequestIx, ask: u64, what: AskStep) {
        let Some(asker) = self.asks.get(&ask).copied() else {
            return;
        };
        let (lost, unanswered) = match what {
            AskStep::Lost { .. } => (1, 0),
            AskStep::NoWay | AskStep::Forgotten | AskStep::Unanswered => (0, 1),
            _ => (0, 0),
        };
        let returned = matches!(what, AskStep::Returned { .. });
        let ends = unanswered > 0 || returned;
        for fault in &mut self.faults {
            if lost + unanswered > 0 {
                fault.amiss(ask, request, asker, (lost, unanswered));
            }
            if returned {
                fault.is_answered(ask, request, asker);
            }
            if ends {
                fault.forgets(ask);
            }
        }
        if ends {
            self.asks.remove(&ask);
        }
    }

    fn settled(&mut self, voltages_v: &[f64]) {
        for (m, (voltage_v, highest_v)) in voltages_v.iter().zip(&self.highest_v).enumerate() {
            self.voltages_v[m] = *voltage_v;
            if voltage_v > highest_v {
                for fault in &mut self.faults {
                    fault.over_voltage(ModuleIx(m), *voltage_v, *highest_v);
                }
            }
        }
    }

    /// A module is off from the beginning.
    pub(crate) fn is_off(&mut self, module: ModuleIx) {
        self.works[module.0] = false;
    }

    /// A packet of a stream comes to an end of its way.
    pub(crate) fn packet(&mut self, at: Ns, stream: StreamIx, end: PacketEnd) {
        for fault in &mut self.faults {
            fault.packet(at, stream, end);
        }
    }

    /// What came of the topics and of the faults, with what the stores took in the end and which copies of each topic then wait or are under way.
    pub(crate) fn finish(
        mut self,
        stores: &[StoreCount],
        open: &[(u64, u64)],
    ) -> (Vec<TopicCame>, Vec<FaultCame>) {
        for fault in &mut self.faults {
            if let Some(storage) = fault.fills_at_the_end() {
                fault.stored(storage, stores[storage.0], false);
            }
        }
        let uplinks = self.shores.finish();
        let topics = self.topics.into_iter().enumerate();
        let topics = topics.map(|(topic, (came, latencies))| {
            let (kept_at_end, under_way) = open.get(topic).copied().unwrap_or_default();
            TopicCame {
                latency: latencies.told(),
                delivered: came.delivered - came.repeated,
                kept_at_end,
                under_way,
                ..came
            }
        });
        let faults = self.faults.into_iter().zip(uplinks);
        let faults = faults.map(|(fault, uplinks)| FaultCame {
            uplinks,
            ..fault.finish()
        });
        (topics.collect(), faults.collect())
    }
}

/// The modules at which a cue sheet publishes a topic.
fn from_cues(cues: &CueSheet, topic: TopicIx) -> impl Iterator<Item = ModuleIx> {
    let inputs = cues.inputs.iter().map(|i| (i.module, i.topic));
    let floods = cues.faults.iter().filter_map(|f| match f.what {
        FaultKind::Flood { module, topic, .. } => Some((module, topic)),
        _ => None,
    });
    inputs
        .chain(floods)
        .filter(move |(_, t)| *t == topic)
        .map(|(module, _)| module)
}
