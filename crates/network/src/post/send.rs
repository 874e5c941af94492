//! Publishing on terms.

use std::collections::BTreeMap;

use timeline::{Class, Ns};

use super::{Copy, FIRST_ANSWER_STREAM, Fate, Letter, NoteKind, Post, Timer};
use crate::machine::{DropReason, MachineError, MessageId, Sent, StreamId, TopicId};

impl Post {
    /// As [`Machine::publish`](crate::Machine::publish), on the topic's terms. `stream` is below [`FIRST_ANSWER_STREAM`].
    ///
    /// # Errors
    /// As there; [`MachineError::StreamTooHigh`].
    #[expect(
        clippy::too_many_arguments,
        reason = "the message is these eight facts; a struct would only name them twice"
    )]
    pub fn publish(
        &mut self,
        now: Ns,
        node: usize,
        topic: TopicId,
        bytes: u32,
        priority: u8,
        stream: u32,
        seq: u64,
    ) -> Result<MessageId, MachineError> {
        if stream >= FIRST_ANSWER_STREAM {
            return Err(MachineError::StreamTooHigh { stream });
        }
        let Some(&terms) = self.terms.get(&topic) else {
            if !self.letters.is_empty() || !self.terms.is_empty() {
                self.check(now)?;
                self.reached = now;
            }
            let id = self
                .machine
                .publish(now, node, topic, bytes, priority, stream, seq)?;
            self.absorb(now);
            return Ok(id);
        };
        self.check(now)?;
        let message = self.machine.announce(now, node, topic, bytes)?;
        self.reached = now;
        let next = self.numbers.entry((node, topic)).or_insert(0);
        let number = *next;
        *next += 1;
        let sent = Sent {
            id: message,
            topic,
            published: now,
            bytes,
            priority,
            stream,
            seq,
        };
        self.letters.insert(
            message,
            Letter {
                node,
                sent,
                terms,
                start: self.starts[node],
                number,
                copies: BTreeMap::new(),
                held: false,
            },
        );
        let subscribers = self.machine.subscribers(topic).unwrap_or_default();
        let targets: Vec<usize> = subscribers.iter().copied().filter(|&n| n != node).collect();
        if terms.retained && self.machine.works(node) {
            self.hold(message, node, topic, &targets);
        }
        for &target in &targets {
            self.open(message, target);
        }
        let mut at_once = Vec::new();
        for target in targets {
            let waiting = self.kept.get(&(node, topic, target));
            let others = waiting.is_some_and(|queue| !queue.is_empty());
            let works = self.machine.works(node);
            if works && terms.keep.is_some() && (others || !self.reaches(node, target)) {
                self.keep(now, message, target);
            } else {
                at_once.push(target);
            }
        }
        self.transmit(now, message, &at_once);
        self.close_letter(message);
        Ok(message)
    }

    /// As [`Machine::start_stream`](crate::Machine::start_stream); packets are delivered at most once.
    ///
    /// # Errors
    /// As there.
    pub fn start_stream(
        &mut self,
        now: Ns,
        stream: StreamId,
        first: Ns,
    ) -> Result<(), MachineError> {
        self.check(now)?;
        self.machine.start_stream(now, stream, first)?;
        self.reached = now;
        Ok(())
    }

    /// As [`Machine::stop_stream`](crate::Machine::stop_stream).
    ///
    /// # Errors
    /// As there.
    pub fn stop_stream(&mut self, now: Ns, stream: StreamId) -> Result<(), MachineError> {
        self.check(now)?;
        self.machine.stop_stream(now, stream)?;
        self.reached = now;
        Ok(())
    }

    /// Sends a message from one node to another, whoever subscribes, at most once.
    ///
    /// # Errors
    /// As [`publish`](Self::publish).
    #[expect(
        clippy::too_many_arguments,
        reason = "the message is these nine facts; a struct would only name them twice"
    )]
    pub fn send(
        &mut self,
        now: Ns,
        node: usize,
        to: usize,
        topic: TopicId,
        bytes: u32,
        priority: u8,
        stream: u32,
        seq: u64,
    ) -> Result<MessageId, MachineError> {
        self.check(now)?;
        if stream >= FIRST_ANSWER_STREAM {
            return Err(MachineError::StreamTooHigh { stream });
        }
        let nodes = self.machine.topology().node_count();
        if to >= nodes {
            return Err(MachineError::NoSuchNode { node: to, nodes });
        }
        let id = self.machine.announce(now, node, topic, bytes)?;
        self.reached = now;
        let sent = Sent {
            id,
            topic,
            published: now,
            bytes,
            priority,
            stream,
            seq,
        };
        self.machine.send(now, node, &[to], sent)?;
        self.absorb(now);
        Ok(id)
    }

    /// The publisher holds a message instead of the one before.
    fn hold(&mut self, message: MessageId, node: usize, topic: TopicId, targets: &[usize]) {
        let away = targets
            .iter()
            .copied()
            .filter(|&target| !self.reaches(node, target))
            .collect();
        if let Some(letter) = self.letters.get_mut(&message) {
            letter.held = true;
        }
        let before = self.held.insert((node, topic), (message, away));
        if let Some((before, _)) = before {
            if let Some(letter) = self.letters.get_mut(&before) {
                letter.held = false;
            }
            self.close_letter(before);
        }
    }

    /// One more copy is due.
    pub(super) fn open(&mut self, message: MessageId, target: usize) {
        self.counts.due += 1;
        let copy = Copy {
            fate: Fate::Open,
            flying: 0,
            answers: 0,
            sendings: 0,
            acknowledged: false,
            due: None,
            waits: false,
        };
        if let Some(letter) = self.letters.get_mut(&message) {
            letter.copies.insert(target, copy);
        }
    }

    /// A copy waits at its publisher, among others in the order of their publication.
    pub(super) fn keep(&mut self, now: Ns, message: MessageId, target: usize) {
        let letter = &self.letters[&message];
        let (node, topic, published) = (letter.node, letter.sent.topic, letter.sent.published);
        let keep = letter.terms.keep.expect("only what may wait is kept");
        let copy = self.copy(message, target);
        copy.waits = true;
        copy.due = None;
        copy.sendings = 0;
        self.note(now, message, target, NoteKind::Kept);
        let queue = self.kept.entry((node, topic, target)).or_default();
        let before = queue.partition_point(|other| *other < message);
        queue.insert(before, message);
        let over = if queue.len() > keep.messages as usize {
            queue.pop_front()
        } else {
            None
        };
        if let Some(oldest) = over {
            self.give_up_waiting(now, oldest, target, DropReason::KeptTooMany);
            if oldest == message {
                return;
            }
        }
        // What would be too old only after the end of time never is.
        if let Some(at) = published.checked_add(keep.longest) {
            let timer = Timer::Stale {
                message,
                node: target,
            };
            self.timers
                .push(at.max(now), Class::Publish, target as u32, timer);
        }
    }

    pub(super) fn give_up_waiting(
        &mut self,
        now: Ns,
        message: MessageId,
        target: usize,
        reason: DropReason,
    ) {
        let copy = self.copy(message, target);
        copy.waits = false;
        match (copy.fate, copy.flying) {
            (Fate::Open, 0) => self.drop_copy(now, message, target, reason),
            // One that was sent before may still arrive.
            (Fate::Open, _) => {}
            _ => self.unconfirmed(now, message, target),
        }
        self.close(message, target);
        self.close_letter(message);
    }

    /// A publisher gives up waiting for the acknowledgement of a copy that was delivered.
    pub(super) fn unconfirmed(&mut self, now: Ns, message: MessageId, target: usize) {
        self.counts.unconfirmed += 1;
        self.note(now, message, target, NoteKind::Unconfirmed);
    }

    /// Sends a message to some of its subscribers, as one message.
    pub(super) fn transmit(&mut self, now: Ns, message: MessageId, targets: &[usize]) {
        if targets.is_empty() {
            return;
        }
        let letter = &self.letters[&message];
        let (node, sent, retry) = (letter.node, letter.sent, letter.terms.retry);
        let due = retry.and_then(|retry| now.checked_add(retry.after));
        let works = self.machine.works(node);
        for &target in targets {
            let copy = self.copy(message, target);
            copy.flying += 1;
            copy.sendings += 1;
            if let Some(at) = due
                && works
            {
                copy.due = Some(at);
                let timer = Timer::Answer {
                    message,
                    node: target,
                };
                self.timers.push(at, Class::Publish, target as u32, timer);
            }
        }
        self.counts.carried.0 += targets.len() as u64;
        self.machine
            .send(now, node, targets, sent)
            .expect("its size and its node were checked when it was published, and nothing is pending before now");
        self.absorb(now);
    }
}
