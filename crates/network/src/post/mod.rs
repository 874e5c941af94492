//! How messages are delivered: what the publisher and the receivers do beyond handing frames to the [`Machine`].
//!
//! Rules. A topic without [`Terms`] is delivered at most once, and this layer adds nothing to it. On a topic with terms a publisher numbers its messages
//! 0, 1, 2 ... from each of its starts, and counts its starts; a message carries both. For each message and each subscriber:
//!
//! *Retry.* The receiver answers every copy that comes in, also one that it has, with an acknowledgement to the publisher, a message of its own and of the
//! topic's priority. A publisher that has no acknowledgement `after` the message left it sends the message again to those who owe one, as one message, up to
//! `at_most` times; `after` the last it gives up. An acknowledgement that comes in at that very instant is in time.
//!
//! *Duplicates.* A receiver remembers, for each publisher and topic with retry or a retained value, which of the last `remembers` numbers below the highest it has
//! (RFC 4303, section 3.4.3). What it has is no delivery; nor is a number below those, or one of an earlier start than the last it heard from. A later start
//! begins the memory anew. A receiver that stops forgets.
//!
//! *Keep.* A copy for which no way leads to its subscriber when it should be sent, or before which others wait already, waits at the publisher. When a way is
//! there, all that wait go, oldest first. Above `messages` the oldest is dropped; a copy older than `longest` is dropped, of just that age it still goes.
//!
//! *Retained.* A publisher holds the last message that it published on the topic: it is the node that surely has it, and no other need be there. When a way
//! to a subscriber is there again (it came up, or a cut is mended) it sends that message, unless the message waits, is under way or is to be
//! sent again.
//!
//! A copy that is given up while it is still under way is dropped only when it is lost there.
//!
//! A publisher that stops forgets its numbers, what waits, what it would send again and what it holds. Publishers learn of ways at once, when all faults and
//! supplies of an instant are done.
//!
//! Copies due = delivered + dropped + had already + kept + under way, at every instant.

mod counts;
mod memory;
mod notes;
mod send;
mod step;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use timeline::{Class, Ns, Queue};

use crate::machine::{
    Delivery, DropReason, Dropped, LinkState, Machine, MachineError, MessageId, NodeState, Sent,
    TopicId,
};
use crate::topic::TopicName;
use memory::Memory;

pub use counts::PostStats;
pub use notes::{Note, NoteKind};

/// Streams from this number on are those of acknowledgements: this and the number of the node that answers.
pub const FIRST_ANSWER_STREAM: u32 = 1 << 31;

/// How many numbers a receiver remembers below the highest when nothing else is said: RFC 4303, section 3.4.3 prefers 64.
pub const REMEMBERS: u32 = 64;

/// On which terms the messages of a topic are delivered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Terms {
    /// At least once instead of at most once.
    pub retry: Option<Retry>,
    /// The publisher holds the last message for those who come later.
    pub retained: bool,
    /// What cannot go waits.
    pub keep: Option<Keep>,
}

/// Sending again what is not acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Retry {
    /// From a sending to the next.
    pub after: Ns,
    /// Most sendings after the first.
    pub at_most: u32,
    /// Size of an acknowledgement.
    pub acknowledgement_bytes: u32,
    /// Numbers that a receiver remembers below the highest it has.
    pub remembers: u32,
}

/// Waiting for a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keep {
    /// Most messages that wait for one subscriber.
    pub messages: u32,
    /// Longest time from the publication.
    pub longest: Ns,
}

/// What came of one copy so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Open,
    Delivered,
    Dropped,
    Had,
}

/// One message for one subscriber.
#[derive(Clone, Debug)]
struct Copy {
    fate: Fate,
    /// Times that it is in the network.
    flying: u32,
    /// Acknowledgements of it in the network.
    answers: u32,
    /// Sendings since it last waited.
    sendings: u32,
    acknowledged: bool,
    /// The publisher has given up waiting for its acknowledgement.
    given_up: bool,
    /// When the publisher looks for its acknowledgement.
    due: Option<Ns>,
    waits: bool,
}

impl Copy {
    fn ended(&self) -> bool {
        let nothing_flies = self.flying == 0 && self.answers == 0;
        self.fate != Fate::Open && nothing_flies && self.due.is_none() && !self.waits
    }
}

/// A message on terms, with copies that are not done or as the value that its publisher holds.
#[derive(Clone, Debug)]
struct Letter {
    node: usize,
    sent: Sent,
    terms: Terms,
    start: u64,
    number: u64,
    copies: BTreeMap<usize, Copy>,
    held: bool,
}

/// Whose messages on which topic wait for whom.
type KeptFor = (usize, TopicId, usize);

#[derive(Clone, Copy, Debug)]
enum Timer {
    Answer { message: MessageId, node: usize },
    Stale { queue: KeptFor },
}

/// A network in time with the terms on which messages are delivered. It is stepped like the [`Machine`] that it holds.
#[derive(Clone, Debug)]
pub struct Post {
    machine: Machine,
    /// By topic.
    terms: BTreeMap<TopicId, Terms>,
    letters: BTreeMap<MessageId, Letter>,
    /// What waits, by publisher, topic and subscriber.
    kept: BTreeMap<KeptFor, VecDeque<MessageId>>,
    /// When the next look is due at what has waited too long.
    stale: BTreeMap<KeptFor, Ns>,
    /// What each publisher holds on each topic, and who could not be reached since.
    held: BTreeMap<(usize, TopicId), (MessageId, BTreeSet<usize>)>,
    /// By receiver, publisher and topic.
    memories: BTreeMap<(usize, usize, TopicId), Memory>,
    numbers: BTreeMap<(usize, TopicId), u64>,
    starts: Vec<u64>,
    answers: Vec<u64>,
    timers: Queue<Timer>,
    /// Ways have changed at this instant, and nobody has looked yet.
    look: Option<Ns>,
    /// Who can be reached, by publisher, until something changes.
    ways: BTreeMap<usize, Vec<bool>>,
    seen_changes: u64,
    reached: Ns,
    counts: PostStats,
    drops: Vec<Dropped>,
    notes: Vec<Note>,
    done: Vec<MessageId>,
    arrived: Vec<Delivery>,
}

impl Post {
    /// A network on which every topic is delivered at most once, until [`set_terms`](Self::set_terms) says otherwise.
    #[must_use]
    pub fn new(machine: Machine) -> Post {
        let nodes = machine.topology().node_count();
        Post {
            seen_changes: machine.changes(),
            machine,
            terms: BTreeMap::new(),
            letters: BTreeMap::new(),
            kept: BTreeMap::new(),
            stale: BTreeMap::new(),
            held: BTreeMap::new(),
            memories: BTreeMap::new(),
            numbers: BTreeMap::new(),
            starts: vec![0; nodes],
            answers: vec![0; nodes],
            timers: Queue::new(),
            look: None,
            ways: BTreeMap::new(),
            reached: Ns::ZERO,
            counts: PostStats::default(),
            drops: Vec::new(),
            notes: Vec::new(),
            done: Vec::new(),
            arrived: Vec::new(),
        }
    }

    /// The machine that carries the frames.
    #[must_use]
    pub fn machine(&self) -> &Machine {
        &self.machine
    }

    /// Its machine, for what asks nothing of this layer: its own clocks, losses and loads. Links and nodes are set through this layer.
    pub fn machine_mut(&mut self) -> &mut Machine {
        &mut self.machine
    }

    /// As [`Machine::topic`].
    pub fn topic(&mut self, name: &TopicName) -> TopicId {
        self.machine.topic(name)
    }

    /// As [`Machine::subscribers`].
    #[must_use]
    pub fn subscribers(&self, topic: TopicId) -> Option<&[usize]> {
        self.machine.subscribers(topic)
    }

    /// On which terms a topic's messages are delivered from now on; those that are under way keep theirs.
    pub fn set_terms(&mut self, topic: TopicId, terms: Terms) {
        if terms == Terms::default() {
            self.terms.remove(&topic);
        } else {
            self.terms.insert(topic, terms);
        }
    }

    /// As [`Machine::set_link`].
    ///
    /// # Errors
    /// As there.
    pub fn set_link(&mut self, now: Ns, link: usize, state: LinkState) -> Result<(), MachineError> {
        self.check(now)?;
        self.machine.set_link(now, link, state)?;
        self.changed(now);
        Ok(())
    }

    /// As [`Machine::set_bus`].
    ///
    /// # Errors
    /// As there.
    pub fn set_bus(&mut self, now: Ns, bus: usize, state: LinkState) -> Result<(), MachineError> {
        self.check(now)?;
        self.machine.set_bus(now, bus, state)?;
        self.changed(now);
        Ok(())
    }

    /// As [`Machine::set_node`]. A node that stops working, or goes on as a tap, forgets what it had to send and what it has had.
    ///
    /// # Errors
    /// As there.
    pub fn set_node(&mut self, now: Ns, node: usize, state: NodeState) -> Result<(), MachineError> {
        self.check(now)?;
        let worked = self.machine.works(node);
        self.machine.set_node(now, node, state)?;
        if worked && state != NodeState::Up {
            self.forget(now, node);
        }
        self.changed(now);
        Ok(())
    }

    /// Instant and class of what comes next, or `None` when nothing is under way and nothing waits for its time.
    #[must_use]
    pub fn next(&self) -> Option<(Ns, Class)> {
        let look = self.look.map(|at| (at, Class::Publish));
        let all = [self.machine.next(), self.timers.peek(), look];
        all.into_iter().flatten().min()
    }

    /// The instant of what comes next.
    #[must_use]
    pub fn next_time(&self) -> Option<Ns> {
        self.next().map(|(at, _)| at)
    }

    /// What was dropped for good since the last call, in the order it happened.
    pub fn drain_drops(&mut self) -> std::vec::Drain<'_, Dropped> {
        if self.terms.is_empty() && self.letters.is_empty() {
            let dropped = self.machine.drain_drops();
            self.drops.extend(dropped);
        }
        self.drops.drain(..)
    }

    /// What else became of messages on terms since the last call, in the order it happened.
    pub fn drain_notes(&mut self) -> std::vec::Drain<'_, Note> {
        self.notes.drain(..)
    }

    /// Messages on terms of which nothing more will come, since the last call.
    pub fn drain_done(&mut self) -> std::vec::Drain<'_, MessageId> {
        self.done.drain(..)
    }

    /// Whether nothing is on its way, acknowledgements and repeats included, nothing waits for a way or is to be sent again unless it is delivered, and all publishers have looked
    /// whom they can reach now.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        let nothing = |stats: crate::machine::Stats| stats.in_flight == 0;
        self.look.is_none() && nothing(self.stats()) && nothing(self.machine.stats())
    }

    /// Whether a message is one on terms of which something may still come.
    #[must_use]
    pub fn follows(&self, message: MessageId) -> bool {
        self.letters.contains_key(&message)
    }

    fn check(&self, now: Ns) -> Result<(), MachineError> {
        if now < self.reached {
            return Err(MachineError::Late {
                now,
                reached: self.reached,
            });
        }
        match self.next_time() {
            Some(pending) if pending < now => Err(MachineError::Early { now, pending }),
            _ => Ok(()),
        }
    }

    /// After a call that may have changed who can be reached.
    fn changed(&mut self, now: Ns) {
        self.reached = now;
        self.look_at_changes(now);
        self.absorb(now);
    }

    /// Ways change at a call, and as a controller leaves a CAN bus or comes back.
    fn look_at_changes(&mut self, now: Ns) {
        if self.machine.changes() != self.seen_changes {
            self.seen_changes = self.machine.changes();
            self.ways.clear();
            if !self.terms.is_empty() || !self.letters.is_empty() {
                self.look = Some(now);
            }
        }
    }

    /// Whether a way leads from one node to another now, be that other one at work or not.
    #[must_use]
    pub fn leads(&self, from: usize, to: usize) -> bool {
        self.machine.leads(from, to)
    }

    fn reaches(&mut self, from: usize, to: usize) -> bool {
        let machine = &self.machine;
        let ways = self.ways.entry(from).or_insert_with(|| machine.reach(from));
        ways[to]
    }

    /// A node stops: as a publisher and as a receiver it begins anew.
    fn forget(&mut self, now: Ns, node: usize) {
        self.starts[node] += 1;
        self.numbers.retain(|(publisher, _), _| *publisher != node);
        self.memories.retain(|(receiver, ..), _| *receiver != node);
        self.kept.retain(|(publisher, ..), _| *publisher != node);
        let held: Vec<MessageId> = self
            .held
            .iter()
            .filter(|((publisher, _), _)| *publisher == node)
            .map(|(_, (message, _))| *message)
            .collect();
        self.held.retain(|(publisher, _), _| *publisher != node);
        for message in held {
            if let Some(letter) = self.letters.get_mut(&message) {
                letter.held = false;
            }
        }
        let own: Vec<(MessageId, Vec<usize>)> = self
            .letters
            .iter()
            .filter(|(_, letter)| letter.node == node)
            .map(|(message, letter)| (*message, letter.copies.keys().copied().collect()))
            .collect();
        for (message, targets) in own {
            for target in targets {
                let copy = self.copy(message, target);
                copy.due = None;
                copy.waits = false;
                if copy.fate == Fate::Open && copy.flying == 0 {
                    self.drop_copy(now, message, target, DropReason::Forgotten);
                }
                self.close(message, target);
            }
            self.close_letter(message);
        }
    }

    /// A copy that something may still come of.
    fn copy(&mut self, message: MessageId, node: usize) -> &mut Copy {
        let letter = self.letters.get_mut(&message);
        let copy = letter.and_then(|letter| letter.copies.get_mut(&node));
        copy.expect("a copy that is followed has its letter")
    }

    fn drop_copy(&mut self, now: Ns, message: MessageId, node: usize, reason: DropReason) {
        self.copy(message, node).fate = Fate::Dropped;
        let sent = self.letters[&message].sent;
        *self.counts.dropped.entry(reason).or_insert(0) += 1;
        self.drops.push(Dropped {
            message,
            node,
            at: now,
            published: sent.published,
            topic: sent.topic,
            stream: sent.stream,
            seq: sent.seq,
            reason,
        });
    }

    /// Forgets a copy of which nothing more can come.
    fn close(&mut self, message: MessageId, node: usize) {
        let Some(letter) = self.letters.get_mut(&message) else {
            return;
        };
        letter
            .copies
            .retain(|target, copy| *target != node || !copy.ended());
    }

    /// Forgets a message of which nothing more can come.
    fn close_letter(&mut self, message: MessageId) {
        let ended = |letter: &Letter| letter.copies.is_empty() && !letter.held;
        if self.letters.get(&message).is_some_and(ended) {
            self.letters.remove(&message);
            self.done.push(message);
        }
    }

    fn note(&mut self, at: Ns, message: MessageId, node: usize, kind: NoteKind) {
        let topic = self.letters[&message].sent.topic;
        self.notes.push(Note {
            at,
            message,
            topic,
            node,
            kind,
        });
    }
}
