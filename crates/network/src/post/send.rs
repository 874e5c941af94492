//! Publishing on terms.

use std::collections::BTreeMap;

use timeline::{Class, Ns};

use super::{Copy, FIRST_ANSWER_STREAM, Fate, KeptFor, Letter, NoteKind, Post, Timer};
use crate::machine::{DropReason, MachineError, MessageId, Publication, Sent, StreamId, TopicId};

impl Post {
    /// As [`Machine::publish`](crate::Machine::publish), on the topic's terms. Its stream is below [`FIRST_ANSWER_STREAM`].
    ///
    /// # Errors
    /// As there; [`MachineError::StreamTooHigh`].
    pub fn publish(
        &mut self,
        now: Ns,
        publication: Publication,
    ) -> Result<MessageId, MachineError> {
        check_stream(publication)?;
        let Publication {
            node, topic, bytes, ..
        } = publication;
        let Some(&terms) = self.terms.get(&topic) else {
            if !self.letters.is_empty() || !self.terms.is_empty() {
                self.check(now)?;
                self.reached = now;
            }
            let id = self.machine.publish(now, publication)?;
            self.absorb(now);
            return Ok(id);
        };
        self.check(now)?;
        let message = self.machine.announce(now, node, topic, bytes)?;
        self.reached = now;
        let next = self.numbers.entry((node, topic)).or_insert(0);
        let number = *next;
        *next += 1;
        let sent = Sent::new(message, now, publication);
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

    /// Sends a message to one other node, whoever subscribes, at most once.
    ///
    /// # Errors
    /// As [`publish`](Self::publish).
    pub fn send(
        &mut self,
        now: Ns,
        to: usize,
        publication: Publication,
    ) -> Result<MessageId, MachineError> {
        self.check(now)?;
        check_stream(publication)?;
        let Publication {
            node, topic, bytes, ..
        } = publication;
        let nodes = self.machine.topology().node_count();
        if to >= nodes {
            return Err(MachineError::NoSuchNode { node: to, nodes });
        }
        let id = self.machine.announce(now, node, topic, bytes)?;
        self.reached = now;
        let sent = Sent::new(id, now, publication);
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
            given_up: false,
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
            self.look_for_stale((node, topic, target), at.max(now));
        }
    }

    /// Looks at what waits for a subscriber no later than at an instant. One timer is set for all that wait for it.
    fn look_for_stale(&mut self, queue: KeptFor, at: Ns) {
        if self.stale.get(&queue).is_none_or(|set| at < *set) {
            self.stale.insert(queue, at);
            let timer = Timer::Stale { queue };
            self.timers.push(at, Class::Publish, queue.2 as u32, timer);
        }
    }

    /// Gives up what has waited too long for a subscriber, and sets the time of the next look.
    pub(super) fn drop_stale(&mut self, now: Ns, queue: KeptFor) {
        if self.stale.get(&queue) != Some(&now) {
            return;
        }
        self.stale.remove(&queue);
        let waiting: Vec<MessageId> = self
            .kept
            .get(&queue)
            .into_iter()
            .flatten()
            .copied()
            .collect();
        let mut next: Option<Ns> = None;
        for message in waiting {
            let letter = &self.letters[&message];
            let longest = letter.terms.keep.map(|keep| keep.longest);
            let Some(at) = longest.and_then(|longest| letter.sent.published.checked_add(longest))
            else {
                continue;
            };
            if at <= now {
                self.unqueue(message, queue.2);
                self.give_up_waiting(now, message, queue.2, DropReason::KeptTooLong);
            } else if next.is_none_or(|next| at < next) {
                next = Some(at);
            }
        }
        if let Some(at) = next {
            self.look_for_stale(queue, at);
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
        self.copy(message, target).given_up = true;
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

fn check_stream(publication: Publication) -> Result<(), MachineError> {
    match publication.stream {
        FIRST_ANSWER_STREAM.. => Err(MachineError::StreamTooHigh {
            stream: publication.stream,
        }),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::{LinkState, Machine};
    use crate::post::{Keep, Terms};
    use crate::topic::{Filter, TopicName};
    use crate::topology::{LinkSpec, Topology};

    /// A link that comes and goes a thousand times, each time with a message that waits and goes on when it is back: what may wait a week leaves one timer, not a thousand.
    #[test]
    fn verif_what_waited_leaves_no_timers() {
        let link = LinkSpec {
            a: 0,
            b: 1,
            rate_bps: 10_000_000,
            propagation: Ns(500),
            overhead_bytes: 86,
            min_payload_bytes: 0,
            bits_per_byte: 8,
            lead: Ns::ZERO,
        };
        let topology = Topology::new(vec![Ns::ZERO; 2], vec![link], 1400).unwrap();
        let all = Filter::parse("#").unwrap();
        let mut post = Post::new(Machine::new(topology, vec![(1, all)]).unwrap());
        let topic = post.topic(&TopicName::parse("a").unwrap());
        let keep = Keep {
            messages: 10,
            longest: Ns(604_800_000_000_000),
        };
        let terms = Terms {
            keep: Some(keep),
            ..Terms::default()
        };
        post.set_terms(topic, terms);
        let mut out = Vec::new();
        for seq in 0..1000 {
            let now = seq * 1_000_000_000;
            post.set_link(Ns(now), 0, LinkState::Down).unwrap();
            let publication = Publication {
                node: 0,
                topic,
                bytes: 10,
                priority: 0,
                stream: 0,
                seq,
            };
            step_before(&mut post, &mut out, now + 1);
            post.publish(Ns(now + 1), publication).unwrap();
            step_before(&mut post, &mut out, now + 2);
            post.set_link(Ns(now + 2), 0, LinkState::Up).unwrap();
            step_before(&mut post, &mut out, now + 1_000_000_000);
        }
        assert_eq!(out.len(), 1000);
        assert_eq!(post.timers.len(), 1);
    }

    fn step_before(post: &mut Post, out: &mut Vec<crate::Delivery>, before: u64) {
        while post.next_time().is_some_and(|at| at < Ns(before)) {
            post.step(out);
        }
    }
}
