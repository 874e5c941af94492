//! What came of a rehearsal: topic by topic, and fault by fault.
//!
//! A fault disturbs a topic at a module that hears it when, while the fault holds, a copy for that module is lost or late, waits for a way or has to be sent again, or
//! that module or one that publishes the topic stops. What is lost or late there after the fault is over counts to it until the first delivery in time, or the first
//! one where no bound says what is in time: then the topic has recovered there. Faults that hold at one time share what they disturb; which of them did it is not asked.
//!
//! A flood disturbs until the last of its messages has left the links; what was published before then, and comes late behind them, counts to it.
//!
//! A question is touched by a fault that holds while it is open. Its messages that are lost count to that fault until it is answered or its time is over, and so does
//! that it was not answered. So do those of questions that are asked once the fault is over: while its flood is on the links or a module that stopped while it held does not
//! work yet; and, of a module whose question was lost or not answered by it, or one end of which had stopped, until it has an answer in time to one.
//!
//! A joining notice that is not heard counts to a fault while it holds, while a module that it stopped does not work yet, and when it is the first of such a module.
//!
//! A fault disturbs an uplink that cannot be reached by it, or whose module stops while it holds. What waits there then, or is queued while it holds, is followed until it is
//! ashore or given up. A fault that fills a store costs what goes and what finds no room while it holds.

use std::collections::{BTreeMap, BTreeSet};

use network::{MessageId, NoteKind};
use plan::{
    Action, CueSheet, FaultKind, Line, ModuleIx, Recovery, RequestIx, StorageIx, StreamIx, TopicIx,
    UplinkIx,
};
use timeline::Ns;

use crate::ashore::{Ashore, Shores};
use crate::engine::StoreCount;
use crate::latency::{Latencies, Latency};
use crate::packets::PacketEnd;
use crate::record::{AskStep, JoinStep, Loss, Record, What};

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

/// What came of a fault.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct FaultCame {
    /// When it began; `None` for one that never did.
    pub began: Option<Ns>,
    /// When it was over; a restart at once. `None` while it holds at the end.
    pub over: Option<Ns>,
    /// Copies lost or late while it held and afterwards, topic by topic.
    pub topics: Vec<(TopicIx, Harm)>,
    /// Packets lost or late while it held and afterwards, stream by stream.
    pub streams: Vec<(StreamIx, Harm)>,
    /// The modules that stopped while it held, and the topics that it disturbed at the modules that hear them.
    pub recovered: Vec<(Recovery, Recovered)>,
    /// What it cost of the questions that were open while it held and of those asked afterwards, request by request.
    pub requests: Vec<(RequestIx, AskHarm)>,
    /// Joining notices that did not reach a module while it held.
    pub notices_missed: u64,
    /// The same afterwards: of the modules that came up, or to those that had not yet.
    pub notices_missed_after: u64,
    /// The modules that came to more than their highest voltage while it held, or that had more already and rose by its swap, with the highest that they had, V.
    pub over_voltages: Vec<(ModuleIx, f64)>,
    /// What it cost at the uplinks that it disturbed.
    pub uplinks: Vec<(UplinkIx, Ashore)>,
    /// What it cost of the store that it filled.
    pub store: Option<(StorageIx, Unstored)>,
}

/// Bytes that a store lost or could not take while a fault held.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Unstored {
    /// Of logs and old recordings that went to make room.
    pub dropped_bytes: f64,
    /// That found no room.
    pub lost_bytes: f64,
}

/// Copies of a topic, or packets of a stream.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Harm {
    /// Lost while the fault held.
    pub lost: u64,
    /// Late while it held.
    pub late: u64,
    /// Lost afterwards, before the topic had recovered.
    pub lost_after: u64,
    /// Late afterwards.
    pub late_after: u64,
    /// Delivered while it held where no bound says whether in time.
    pub unbounded: u64,
}

/// Questions of a request.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct AskHarm {
    /// Questions and answers lost on their way, of the questions that were open while it held.
    pub lost: u64,
    /// Of these questions, those not answered in time.
    pub unanswered: u64,
    /// Questions and answers lost on their way, of the questions that were asked afterwards, before one was answered in time again.
    pub lost_after: u64,
    /// Of these questions, those not answered in time.
    pub unanswered_after: u64,
}

/// Whether something recovered.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Recovered {
    /// So long after the fault was over; zero for a module that worked then.
    After(Ns),
    /// So long after the fault was over something was delivered, and `check` knows no bound by which to say whether in time.
    Unbounded(Ns),
    /// Not by the end of the rehearsal.
    NotByTheEnd,
    /// Nothing was published since the fault was over.
    NothingPublished,
    /// The fault was not over.
    NotOver,
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

#[derive(Default)]
struct Watched {
    restarts: Option<ModuleIx>,
    /// It is over as it begins, and disturbs nothing on the line.
    at_once: bool,
    /// It disturbs: a restart, and a flood, beyond its end.
    holds: bool,
    /// Of a flood: how many of its messages are on the links, and when the last of them had left these, or one that came late behind it.
    on_links: usize,
    gone: Option<Ns>,
    came: FaultCame,
    harm: BTreeMap<TopicIx, Harm>,
    modules: BTreeMap<ModuleIx, Option<Ns>>,
    pairs: BTreeMap<(TopicIx, ModuleIx), Pair>,
    /// Streams that it disturbed.
    streams: BTreeMap<StreamIx, (Harm, Pair)>,
    /// The open questions that it touched while it held, and those asked afterwards.
    asks: BTreeSet<u64>,
    asks_after: BTreeSet<u64>,
    asked: BTreeMap<RequestIx, AskHarm>,
    /// The last question that was answered in time since it was over, by who asked; `None` where one went amiss since.
    answered: BTreeMap<(RequestIx, ModuleIx), Option<u64>>,
    /// Of the modules that stopped while it held: how many notices each has told since.
    told: BTreeMap<ModuleIx, u32>,
    /// Another supply stands somewhere while it holds, so that a voltage that was too high may rise by it.
    swaps: bool,
    /// By module: the voltage before it began, V.
    before_v: Vec<f64>,
    over: BTreeMap<ModuleIx, f64>,
}

#[derive(Clone, Copy, Default)]
struct Pair {
    published_since: bool,
    told_again: Option<Ns>,
    /// Whether a bound says that this was in time.
    bounded: bool,
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
            faults: cues
                .faults
                .iter()
                .map(|f| Watched {
                    restarts: match f.what {
                        FaultKind::Restart { module, .. } => Some(module),
                        _ => None,
                    },
                    swaps: matches!(f.what, FaultKind::Swapped { .. }),
                    at_once: matches!(f.what, FaultKind::ClockStep { .. }),
                    ..Watched::default()
                })
                .collect(),
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
            self.faults[fault].on_links += 1;
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
        let fault = &mut self.faults[*fault];
        self.floods.remove(&message);
        fault.on_links -= 1;
        if fault.on_links == 0 && fault.came.over.is_some() {
            fault.holds = false;
            fault.gone = Some(at);
        }
    }

    /// A topic's limit has held back a message.
    pub(crate) fn held_back(&mut self, topic: TopicIx) {
        self.topics[topic.0].0.held_back += 1;
    }

    /// A fault that fills a store begins or is over, with the store's counts at that instant.
    pub(crate) fn stored(
        &mut self,
        fault: usize,
        storage: StorageIx,
        count: StoreCount,
        begins: bool,
    ) {
        let (_, so_far) = self.faults[fault]
            .came
            .store
            .get_or_insert((storage, Unstored::default()));
        let sign = if begins { -1.0 } else { 1.0 };
        so_far.dropped_bytes += sign * count.dropped_bytes;
        so_far.lost_bytes += sign * count.lost_bytes;
    }

    pub(crate) fn see(&mut self, record: &Record) {
        let at = record.at;
        self.shores.see(record);
        match record.what {
            What::Published { topic, .. } => {
                self.topics[topic.0].0.published += 1;
                for fault in self.faults.iter_mut().filter(|f| f.came.over.is_some()) {
                    for (_, pair) in fault.pairs.iter_mut().filter(|((t, _), _)| *t == topic) {
                        pair.published_since = true;
                    }
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
                    for fault in self.faults.iter_mut().filter(|f| f.holds) {
                        fault.pairs.entry((topic, module)).or_default();
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
                let f = &mut self.faults[fault];
                f.asks.extend(self.asks.keys());
                f.before_v.clone_from(&self.voltages_v);
                f.came.began = Some(at);
                f.holds = true;
                if f.restarts.is_some() || f.at_once {
                    f.came.over = Some(at);
                    f.holds = f.restarts.is_some();
                }
            }
            What::FaultEnds { fault } => {
                let f = &mut self.faults[fault];
                f.holds = f.on_links > 0;
                f.came.over = Some(at);
                for (module, up) in &mut f.modules {
                    *up = self.works[module.0].then_some(at);
                }
            }
            What::Down { module, .. } => {
                self.works[module.0] = false;
                for fault in self.faults.iter_mut().filter(|f| f.held()) {
                    if fault.restarts.is_some_and(|m| m != module) {
                        continue;
                    }
                    for (stream, _) in self
                        .ends
                        .iter()
                        .enumerate()
                        .filter(|(_, e)| e.contains(&module))
                    {
                        fault.streams.entry(StreamIx(stream)).or_default();
                    }
                    fault.modules.insert(module, None);
                    fault.told.insert(module, 0);
                    for (t, (publish, hear)) in
                        self.publishers.iter().zip(&self.hearers).enumerate()
                    {
                        for hearer in hear {
                            let from_there = *hearer != module && publish.contains(&module);
                            if *hearer == module || from_there {
                                fault.pairs.entry((TopicIx(t), *hearer)).or_default();
                            }
                        }
                    }
                }
            }
            What::Up { module } => {
                self.works[module.0] = true;
                for fault in &mut self.faults {
                    if fault.came.over.is_some()
                        && let Some(up @ None) = fault.modules.get_mut(&module)
                    {
                        *up = Some(at);
                    }
                    // A restart disturbs until its module works again.
                    if fault.restarts == Some(module) {
                        fault.holds = false;
                    }
                }
            }
            _ => {}
        }
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
            if returned && fault.came.over.is_some() && !fault.held() {
                fault.answered.insert((request, asker), Some(ask));
            }
            if ends {
                fault.asks.remove(&ask);
                fault.asks_after.remove(&ask);
            }
        }
        if ends {
            self.asks.remove(&ask);
        }
    }

    fn settled(&mut self, voltages_v: &[f64]) {
        for (m, (voltage_v, highest_v)) in voltages_v.iter().zip(&self.highest_v).enumerate() {
            self.voltages_v[m] = *voltage_v;
            let over = voltage_v > highest_v;
            for fault in self.faults.iter_mut().filter(|f| over && f.held()) {
                let before_v = fault.before_v[m];
                if before_v <= *highest_v || (fault.swaps && *voltage_v > before_v) {
                    let had_v = fault.over.entry(ModuleIx(m)).or_insert(*voltage_v);
                    *had_v = had_v.max(*voltage_v);
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
        for fault in 0..self.faults.len() {
            let came = &self.faults[fault].came;
            if let (None, Some((storage, _))) = (came.over, came.store) {
                self.stored(fault, storage, stores[storage.0], false);
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

impl Pair {
    /// Something came, by its bound in time, where it has one.
    fn is_told(&mut self, at: Ns, bounded: bool) {
        if self.told_again.is_none() {
            (self.told_again, self.bounded) = (Some(at), bounded);
        }
    }
}

impl Watched {
    /// Whether it counts what happens to a topic at a module: while it holds, and there until the topic has recovered.
    fn disturbs(&self, topic: TopicIx, module: ModuleIx) -> bool {
        let unsettled = |p: &Pair| p.told_again.is_none();
        let pair = self.pairs.get(&(topic, module));
        self.holds || (self.came.over.is_some() && pair.is_some_and(unsettled))
    }

    /// Whether what happens now happens while it holds, and not afterwards; a restart holds until its module works again.
    fn held(&self) -> bool {
        self.holds && (self.came.over.is_none() || self.restarts.is_some())
    }

    /// Whether a module that stopped while it held does not work yet.
    fn keeps_one_down(&self) -> bool {
        self.came.over.is_some() && self.modules.values().any(Option::is_none)
    }

    /// Whether something that took so long was published before its flood had left the links.
    fn behind(&self, at: Ns, after: Ns) -> bool {
        self.gone.is_some_and(|gone| at.0 - after.0 <= gone.0)
    }

    fn delivered(
        &mut self,
        topic: TopicIx,
        module: ModuleIx,
        late: Option<bool>,
        (at, after): (Ns, Ns),
    ) {
        let is_late = late == Some(true);
        let behind = is_late && self.behind(at, after);
        if !self.disturbs(topic, module) && !behind {
            return;
        }
        let held = self.held();
        if held && late.is_none() {
            self.harm.entry(topic).or_default().unbounded += 1;
        }
        if is_late {
            let harm = self.harm.entry(topic).or_default();
            if held {
                harm.late += 1;
            } else {
                harm.late_after += 1;
            }
            let over = self.came.over;
            let pair = self.pairs.entry((topic, module)).or_default();
            pair.told_again = None;
            pair.published_since |= over.is_some_and(|over| at.0 - after.0 >= over.0);
            if behind {
                self.gone = Some(at);
            }
        } else if !held && let Some(pair) = self.pairs.get_mut(&(topic, module)) {
            pair.is_told(at, late.is_some());
        }
    }

    fn lost(&mut self, topic: TopicIx, module: ModuleIx) {
        if !self.disturbs(topic, module) {
            return;
        }
        let held = self.held();
        let harm = self.harm.entry(topic).or_default();
        if held {
            harm.lost += 1;
        } else {
            harm.lost_after += 1;
        }
        self.pairs.entry((topic, module)).or_default().told_again = None;
    }

    fn packet(&mut self, at: Ns, stream: StreamIx, end: PacketEnd) {
        let over = self.came.over.is_some();
        let known = self.streams.get(&stream);
        let unsettled = known.is_some_and(|(_, pair)| pair.told_again.is_none());
        let (lost, late, behind) = match end {
            PacketEnd::Lost(_) => (1, 0, false),
            PacketEnd::Delivered { after, late } => {
                let is_late = late == Some(true);
                (0, u64::from(is_late), is_late && self.behind(at, after))
            }
        };
        if !(self.holds || (over && unsettled) || behind) {
            return;
        }
        let held = self.held();
        if lost + late > 0 {
            let (harm, pair) = self.streams.entry(stream).or_default();
            if held {
                harm.lost += lost;
                harm.late += late;
            } else {
                harm.lost_after += lost;
                harm.late_after += late;
            }
            pair.told_again = None;
            pair.published_since |= !held;
            if behind {
                self.gone = Some(at);
            }
        } else if !held && let Some((_, pair)) = self.streams.get_mut(&stream) {
            // A stream runs only with a bound.
            pair.is_told(at, true);
        }
    }

    /// A question is asked.
    fn is_asked(&mut self, ask: u64, request: RequestIx, asker: ModuleIx, to: ModuleIx) {
        let stopped = |m: &ModuleIx| self.modules.contains_key(m);
        let unsettled = match self.answered.get(&(request, asker)) {
            Some(again) => again.is_none(),
            None => stopped(&asker) || stopped(&to),
        };
        if self.held() {
            self.asks.insert(ask);
        } else if self.holds || self.keeps_one_down() || (self.came.over.is_some() && unsettled) {
            self.asks_after.insert(ask);
        }
    }

    /// Messages of a question are lost, or it is not answered in time.
    fn amiss(
        &mut self,
        ask: u64,
        request: RequestIx,
        asker: ModuleIx,
        (lost, unanswered): (u64, u64),
    ) {
        let (touched, after) = (self.asks.contains(&ask), self.asks_after.contains(&ask));
        if !touched && !after {
            return;
        }
        let harm = self.asked.entry(request).or_default();
        if touched {
            harm.lost += lost;
            harm.unanswered += unanswered;
        } else {
            harm.lost_after += lost;
            harm.unanswered_after += unanswered;
        }
        let answered = self.answered.entry((request, asker)).or_insert(None);
        // One that was asked before the last that was answered tells nothing new.
        *answered = answered.filter(|later| *later > ask);
    }

    /// A step of a joining notice of a module.
    fn joins(&mut self, of: ModuleIx, what: JoinStep) {
        match what {
            JoinStep::Told { .. } => {
                if let Some(told) = self.told.get_mut(&of) {
                    *told += 1;
                }
            }
            JoinStep::Learnt { .. } => {}
            JoinStep::Missed { .. } => {
                if self.held() {
                    self.came.notices_missed += 1;
                } else if self.keeps_one_down()
                    || (self.came.over.is_some() && self.told.get(&of) == Some(&1))
                {
                    self.came.notices_missed_after += 1;
                }
            }
        }
    }

    fn finish(self) -> FaultCame {
        let over = self.came.over;
        let since = |at: Ns, over: Ns| Recovered::After(at.checked_sub(over).unwrap_or(Ns::ZERO));
        let modules = self.modules.iter().map(|(m, up)| {
            let how = match (over, up) {
                (None, _) => Recovered::NotOver,
                (Some(_), None) => Recovered::NotByTheEnd,
                (Some(over), Some(at)) => since(*at, over),
            };
            (Recovery::Module(*m), how)
        });
        let told = |pair: &Pair| match (over, pair.told_again) {
            (None, _) => Recovered::NotOver,
            (Some(over), Some(at)) if pair.bounded => since(at, over),
            (Some(over), Some(at)) => {
                Recovered::Unbounded(at.checked_sub(over).unwrap_or(Ns::ZERO))
            }
            (Some(_), None) if !pair.published_since => Recovered::NothingPublished,
            (Some(_), None) => Recovered::NotByTheEnd,
        };
        let pairs = self.pairs.iter().map(|((topic, to), pair)| {
            let what = Recovery::Topic {
                topic: *topic,
                to: *to,
            };
            (what, told(pair))
        });
        let streams = self.streams.iter();
        let streams = streams.map(|(stream, (_, pair))| (Recovery::Stream(*stream), told(pair)));
        let harm = self
            .streams
            .iter()
            .map(|(stream, (harm, _))| (*stream, *harm));
        FaultCame {
            recovered: modules.chain(pairs).chain(streams).collect(),
            streams: harm.collect(),
            topics: self.harm.into_iter().collect(),
            requests: self.asked.into_iter().collect(),
            over_voltages: self.over.into_iter().collect(),
            ..self.came
        }
    }
}
