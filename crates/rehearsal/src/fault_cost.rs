//! What a fault cost: of messages, streams, questions, notices, voltages, uplinks and stores, and when all was well again.
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

use plan::{FaultKind, ModuleIx, Recovery, RequestIx, StorageIx, StreamIx, TopicIx, UplinkIx};
use timeline::Ns;

use crate::ashore::Ashore;
use crate::engine::StoreCount;
use crate::packets::PacketEnd;
use crate::record::JoinStep;

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
    /// The other faults that held while it did, by their index in the cue sheet, rising: what they disturbed together counts to each.
    pub held_with: Vec<usize>,
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

/// A fault while the rehearsal runs, and what it has cost so far.
#[derive(Default)]
pub(crate) struct Watched {
    restarts: Option<ModuleIx>,
    /// It is over as it begins, and disturbs nothing on the line.
    at_once: bool,
    /// It takes what is heard, and disturbs nothing on the line.
    deafens: bool,
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
    held_with: BTreeSet<usize>,
}

#[derive(Clone, Copy, Default)]
struct Pair {
    published_since: bool,
    told_again: Option<Ns>,
    /// Whether a bound says that this was in time.
    bounded: bool,
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
    pub(crate) fn new(what: &FaultKind) -> Watched {
        Watched {
            restarts: match what {
                FaultKind::Restart { module, .. } => Some(*module),
                _ => None,
            },
            swaps: matches!(what, FaultKind::Swapped { .. }),
            at_once: matches!(what, FaultKind::ClockStep { .. }),
            deafens: matches!(what, FaultKind::Deaf(_)),
            ..Watched::default()
        }
    }

    /// It begins, while these questions are open and the modules have these voltages.
    pub(crate) fn begins<'a>(
        &mut self,
        at: Ns,
        open: impl Iterator<Item = &'a u64>,
        voltages_v: &[f64],
    ) {
        if !self.deafens {
            self.asks.extend(open);
        }
        self.before_v = voltages_v.to_vec();
        self.came.began = Some(at);
        self.holds = !self.deafens;
        if self.restarts.is_some() || self.at_once {
            self.came.over = Some(at);
            self.holds = self.restarts.is_some();
        }
    }

    /// It is over; `works` says of each module whether it works then.
    pub(crate) fn ends(&mut self, at: Ns, works: &[bool]) {
        self.holds = self.on_links > 0;
        self.came.over = Some(at);
        for (module, up) in &mut self.modules {
            *up = works[module.0].then_some(at);
        }
    }

    /// Whether it disturbs now: of a restart and of a flood beyond its end.
    pub(crate) fn disturbs_now(&self) -> bool {
        self.holds
    }

    /// Whether it began at this instant.
    pub(crate) fn began_at(&self, at: Ns) -> bool {
        self.came.began == Some(at)
    }

    /// Another holds while it does, or did not after all.
    pub(crate) fn holds_with(&mut self, other: usize, does: bool) {
        if does {
            self.held_with.insert(other);
        } else {
            self.held_with.remove(&other);
        }
    }

    /// A message of its flood goes on the links.
    pub(crate) fn on_links(&mut self) {
        self.on_links += 1;
    }

    /// The last copy of a message of its flood has left the links.
    pub(crate) fn off_links(&mut self, at: Ns) {
        self.on_links -= 1;
        if self.on_links == 0 && self.came.over.is_some() {
            self.holds = false;
            self.gone = Some(at);
        }
    }

    /// The counts of the store that it fills, as it begins and as it is over.
    pub(crate) fn stored(&mut self, storage: StorageIx, count: StoreCount, begins: bool) {
        let store = &mut self.came.store;
        let (_, so_far) = store.get_or_insert((storage, Unstored::default()));
        let sign = if begins { -1.0 } else { 1.0 };
        so_far.dropped_bytes += sign * count.dropped_bytes;
        so_far.lost_bytes += sign * count.lost_bytes;
    }

    /// The store that it still fills.
    pub(crate) fn fills_at_the_end(&self) -> Option<StorageIx> {
        let store = self.came.store.filter(|_| self.came.over.is_none());
        store.map(|(storage, _)| storage)
    }

    /// Whether a module that stops does so while it holds; a restart has one module alone.
    pub(crate) fn is_hit_by(&self, module: ModuleIx) -> bool {
        self.held() && self.restarts.is_none_or(|m| m == module)
    }

    /// A module stops while it holds, and with it these streams, and these topics at modules that hear them.
    pub(crate) fn stops(
        &mut self,
        module: ModuleIx,
        streams: impl Iterator<Item = StreamIx>,
        pairs: impl Iterator<Item = (TopicIx, ModuleIx)>,
    ) {
        self.modules.insert(module, None);
        self.told.insert(module, 0);
        for stream in streams {
            self.streams.entry(stream).or_default();
        }
        for pair in pairs {
            self.pairs.entry(pair).or_default();
        }
    }

    /// A module works again.
    pub(crate) fn works_again(&mut self, at: Ns, module: ModuleIx) {
        if self.came.over.is_some()
            && let Some(up @ None) = self.modules.get_mut(&module)
        {
            *up = Some(at);
        }
        // A restart disturbs until its module works again.
        if self.restarts == Some(module) {
            self.holds = false;
        }
    }

    /// A message of a topic is published.
    pub(crate) fn published(&mut self, topic: TopicIx) {
        if self.came.over.is_some() {
            for (_, pair) in self.pairs.iter_mut().filter(|((t, _), _)| *t == topic) {
                pair.published_since = true;
            }
        }
    }

    /// A copy for a module waits for a way, or has to be sent again.
    pub(crate) fn waits(&mut self, topic: TopicIx, module: ModuleIx) {
        if self.holds {
            self.pairs.entry((topic, module)).or_default();
        }
    }

    /// A module has more than its highest voltage.
    pub(crate) fn over_voltage(&mut self, module: ModuleIx, voltage_v: f64, highest_v: f64) {
        if !self.held() {
            return;
        }
        let before_v = self.before_v[module.0];
        if before_v <= highest_v || (self.swaps && voltage_v > before_v) {
            let had_v = self.over.entry(module).or_insert(voltage_v);
            *had_v = had_v.max(voltage_v);
        }
    }

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

    pub(crate) fn delivered(
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

    pub(crate) fn lost(&mut self, topic: TopicIx, module: ModuleIx) {
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

    pub(crate) fn packet(&mut self, at: Ns, stream: StreamIx, end: PacketEnd) {
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
    pub(crate) fn is_asked(&mut self, ask: u64, request: RequestIx, asker: ModuleIx, to: ModuleIx) {
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
    pub(crate) fn amiss(
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

    /// A question is answered in time.
    pub(crate) fn is_answered(&mut self, ask: u64, request: RequestIx, asker: ModuleIx) {
        if self.came.over.is_some() && !self.held() {
            self.answered.insert((request, asker), Some(ask));
        }
    }

    /// Nothing more comes of a question.
    pub(crate) fn forgets(&mut self, ask: u64) {
        self.asks.remove(&ask);
        self.asks_after.remove(&ask);
    }

    /// A step of a joining notice of a module.
    pub(crate) fn joins(&mut self, of: ModuleIx, what: JoinStep) {
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

    pub(crate) fn finish(self) -> FaultCame {
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
            held_with: self.held_with.into_iter().collect(),
            ..self.came
        }
    }
}
