//! What happens at one instant above the frames.

use std::collections::BTreeMap;

use timeline::{Class, Ns};

use super::memory::{Memory, Seen};
use super::{FIRST_ANSWER_STREAM, Fate, NoteKind, Post, Timer};
use crate::machine::{Delivery, DropReason, Dropped, HopRecord, MessageId, Sent};

impl Post {
    /// As [`Machine::step`](crate::Machine::step): all arrivals, all that publishers send of themselves, or all service starts of the next instant.
    pub fn step(&mut self, out: &mut Vec<Delivery>) {
        self.step_traced(out, |_| {});
    }

    /// As [`step`](Self::step), and tells `trace` of every frame that has crossed a link.
    pub fn step_traced(&mut self, out: &mut Vec<Delivery>, trace: impl FnMut(&HopRecord)) {
        let Some((now, class)) = self.next() else {
            return;
        };
        self.reached = now;
        if class == Class::Publish {
            let own = [self.timers.peek(), self.look.map(|at| (at, class))];
            if own.into_iter().flatten().any(|due| due == (now, class)) {
                self.send_waiting(now);
            } else {
                self.machine.step(out);
                self.absorb(now);
            }
            return;
        }
        if self.terms.is_empty() && self.letters.is_empty() {
            self.machine.step_traced(out, trace);
            return;
        }
        let mut arrived = std::mem::take(&mut self.arrived);
        arrived.clear();
        self.machine.step_traced(&mut arrived, trace);
        self.look_at_changes(now);
        // Before anything is answered: a copy that is lost at this instant is not one that its answer could be lost of.
        self.absorb(now);
        for delivery in &arrived {
            if delivery.stream >= FIRST_ANSWER_STREAM {
                self.answered(now, delivery);
            } else if self.letters.contains_key(&delivery.message) {
                self.received(now, delivery, out);
            } else {
                out.push(*delivery);
            }
        }
        self.arrived = arrived;
    }

    /// An acknowledgement comes in.
    fn answered(&mut self, now: Ns, delivery: &Delivery) {
        self.counts.carried.1 += 1;
        let node = (delivery.stream - FIRST_ANSWER_STREAM) as usize;
        let message = delivery.message;
        let letter = &self.letters[&message];
        // One that started again knows nothing of it.
        let knows = letter.start == self.starts[letter.node];
        let copy = self.copy(message, node);
        copy.answers -= 1;
        if knows && !copy.acknowledged {
            copy.acknowledged = true;
            copy.due = None;
            let waited = std::mem::take(&mut copy.waits);
            if std::mem::take(&mut copy.given_up) {
                self.counts.unconfirmed -= 1;
                self.counts.acknowledged_late += 1;
            }
            self.counts.acknowledged += 1;
            self.note(now, message, node, NoteKind::Acknowledged);
            if waited {
                self.unqueue(message, node);
            }
        }
        self.close(message, node);
        self.close_letter(message);
    }

    /// What was to be sent again needs no more to wait for a path.
    pub(super) fn unqueue(&mut self, message: MessageId, node: usize) {
        let letter = &self.letters[&message];
        let key = (letter.node, letter.sent.topic, node);
        if let Some(queue) = self.kept.get_mut(&key) {
            queue.retain(|other| *other != message);
        }
    }

    /// A copy comes in.
    fn received(&mut self, now: Ns, delivery: &Delivery, out: &mut Vec<Delivery>) {
        self.counts.carried.1 += 1;
        let (message, node) = (delivery.message, delivery.node);
        let letter = &self.letters[&message];
        let (publisher, terms, topic) = (letter.node, letter.terms, letter.sent.topic);
        let (start, number) = (letter.start, letter.number);
        let remembers = terms
            .retry
            .map_or(super::REMEMBERS, |retry| retry.remembers);
        let seen = if terms.retry.is_none() && !terms.retained {
            Seen::New
        } else if let Some(memory) = self.memories.get_mut(&(node, publisher, topic)) {
            memory.take(start, number, remembers)
        } else {
            let memory = Memory::new(start, number);
            self.memories.insert((node, publisher, topic), memory);
            Seen::New
        };
        let copy = self.copy(message, node);
        copy.flying -= 1;
        let fate = copy.fate;
        match (seen, fate) {
            (Seen::New, Fate::Open) => {
                copy.fate = Fate::Delivered;
                self.counts.delivered += 1;
                out.push(*delivery);
            }
            (Seen::New, _) => {
                self.counts.repeated += 1;
                self.note(now, message, node, NoteKind::Repeated);
                out.push(*delivery);
            }
            (Seen::Again, Fate::Open) => {
                copy.fate = Fate::Had;
                self.counts.had += 1;
                self.counts.duplicates += 1;
                self.note(now, message, node, NoteKind::Had);
            }
            (Seen::TooOld, Fate::Open) => {
                self.drop_copy(now, message, node, DropReason::TooOld);
            }
            (Seen::Again | Seen::TooOld, _) => {
                self.counts.duplicates += 1;
                self.note(now, message, node, NoteKind::Duplicate);
            }
        }
        // Of one below what it remembers a receiver cannot say that it had it.
        if let Some(retry) = terms.retry
            && seen != Seen::TooOld
        {
            self.answer(now, message, node, retry.acknowledgement_bytes);
        }
        self.close(message, node);
        self.close_letter(message);
    }

    /// A receiver acknowledges a copy.
    fn answer(&mut self, now: Ns, message: MessageId, node: usize, bytes: u32) {
        self.copy(message, node).answers += 1;
        let letter = &self.letters[&message];
        let (publisher, seq) = (letter.node, self.answers[node]);
        let sent = Sent {
            bytes,
            published: now,
            stream: FIRST_ANSWER_STREAM + node as u32,
            seq,
            ..letter.sent
        };
        self.answers[node] += 1;
        self.counts.answers += 1;
        self.counts.carried.0 += 1;
        self.machine
            .send(now, node, &[publisher], sent)
            .expect("its size was checked with the terms, and nothing is pending before now");
        self.absorb(now);
    }

    /// Takes what the machine dropped, and finds out what that means.
    pub(super) fn absorb(&mut self, now: Ns) {
        if self.terms.is_empty() && self.letters.is_empty() {
            return;
        }
        let dropped: Vec<Dropped> = self.machine.drain_drops().collect();
        for drop in dropped {
            if drop.stream >= FIRST_ANSWER_STREAM {
                self.counts.carried.2 += 1;
                self.counts.answers_lost += 1;
                let node = (drop.stream - FIRST_ANSWER_STREAM) as usize;
                self.copy(drop.message, node).answers -= 1;
                let reason = drop.reason;
                self.note(now, drop.message, node, NoteKind::AnswerLost { reason });
                self.close(drop.message, node);
                self.close_letter(drop.message);
            } else if self.letters.contains_key(&drop.message) {
                self.counts.carried.2 += 1;
                self.lost(now, &drop);
            } else {
                self.drops.push(drop);
            }
        }
    }

    /// A copy was lost on its way.
    fn lost(&mut self, now: Ns, drop: &Dropped) {
        let (message, node, reason) = (drop.message, drop.node, drop.reason);
        let copy = self.copy(message, node);
        copy.flying -= 1;
        let (again, last) = (copy.due.is_some() || copy.waits, copy.flying == 0);
        if copy.fate == Fate::Open {
            if again {
                self.note(now, message, node, NoteKind::Missed { reason });
            } else if last {
                self.drop_copy(now, message, node, reason);
            }
        }
        self.close(message, node);
        self.close_letter(message);
    }

    /// All that publishers send of themselves at an instant: what waited and has a way now, what they hold for those who are back,
    /// what is not acknowledged; a message goes once, to all who are to have it.
    fn send_waiting(&mut self, now: Ns) {
        let mut going: BTreeMap<MessageId, Vec<usize>> = BTreeMap::new();
        if self.look.take().is_some() {
            self.release(now, &mut going);
            self.greet(now, &mut going);
        }
        while let Some(entry) = self.timers.pop_if(now, Class::Publish) {
            match entry.payload {
                Timer::Stale { queue } => self.drop_stale(now, queue),
                Timer::Answer { message, node } => {
                    if self.followed(message, node, |copy| copy.due == Some(now))
                        && self.unanswered(now, message, node)
                    {
                        going.entry(message).or_default().push(node);
                    }
                }
            }
        }
        for (message, mut targets) in going {
            targets.sort_unstable();
            self.transmit(now, message, &targets);
        }
    }

    fn followed(&self, message: MessageId, node: usize, is: impl Fn(&super::Copy) -> bool) -> bool {
        let letter = self.letters.get(&message);
        letter
            .and_then(|letter| letter.copies.get(&node))
            .is_some_and(is)
    }

    /// What waits for subscribers that can be reached now.
    fn release(&mut self, now: Ns, going: &mut BTreeMap<MessageId, Vec<usize>>) {
        let queues: Vec<_> = self.kept.keys().copied().collect();
        for key in queues {
            let (publisher, _, target) = key;
            if !self.reaches(publisher, target) {
                continue;
            }
            for message in self.kept.remove(&key).unwrap_or_default() {
                self.copy(message, target).waits = false;
                self.note(now, message, target, NoteKind::Released);
                going.entry(message).or_default().push(target);
            }
        }
    }

    /// What is held for subscribers that can be reached again.
    fn greet(&mut self, now: Ns, going: &mut BTreeMap<MessageId, Vec<usize>>) {
        let held: Vec<_> = self
            .held
            .iter()
            .map(|(key, value)| (*key, value.0))
            .collect();
        for ((publisher, topic), message) in held {
            let subscribers = self.machine.subscribers(topic).unwrap_or_default().to_vec();
            for target in subscribers.into_iter().filter(|&n| n != publisher) {
                let reached = self.reaches(publisher, target);
                let (_, away) = self
                    .held
                    .get_mut(&(publisher, topic))
                    .expect("what is held stays so while publishers look");
                if !reached {
                    away.insert(target);
                } else if away.remove(&target) && !self.followed(message, target, |_| true) {
                    self.open(message, target);
                    self.counts.retained += 1;
                    self.note(now, message, target, NoteKind::Retained);
                    going.entry(message).or_default().push(target);
                }
            }
        }
    }

    /// The acknowledgement of a copy is due and not there. Whether the copy is to be sent again now.
    fn unanswered(&mut self, now: Ns, message: MessageId, node: usize) -> bool {
        let letter = &self.letters[&message];
        let (publisher, terms) = (letter.node, letter.terms);
        let retry = terms
            .retry
            .expect("only what is sent again has a time for it");
        let copy = self.copy(message, node);
        copy.due = None;
        let sendings = copy.sendings;
        if sendings > retry.at_most {
            let (fate, flying) = (copy.fate, copy.flying);
            if fate == Fate::Delivered {
                self.unconfirmed(now, message, node);
            } else if fate == Fate::Open && flying == 0 {
                self.drop_copy(now, message, node, DropReason::Unanswered);
            }
            self.close(message, node);
            self.close_letter(message);
            return false;
        }
        if terms.keep.is_some() && !self.reaches(publisher, node) {
            self.keep(now, message, node);
            return false;
        }
        self.counts.again += 1;
        let sending = sendings + 1;
        self.note(now, message, node, NoteKind::Again { sending });
        true
    }
}
