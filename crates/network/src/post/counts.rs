//! What the post counts.

use std::collections::BTreeMap;

use super::{Fate, Post};
use crate::machine::{DropReason, Stats, TopicId};

/// Counts of the copies of messages on terms. `due = delivered + dropped + had + kept + under_way` at every instant.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct PostStats {
    /// Copies asked for: one for each message and subscriber, and one for each retained message that is sent to a subscriber.
    pub due: u64,
    /// Copies delivered.
    pub delivered: u64,
    /// Copies dropped, by reason.
    pub dropped: BTreeMap<DropReason, u64>,
    /// Retained messages whose receiver had them already.
    pub had: u64,
    /// Copies that wait for a path.
    pub kept: u64,
    /// Copies under way, or to be sent again.
    pub under_way: u64,
    /// Second deliveries, at receivers that had stopped in between. They are not among `delivered`.
    pub repeated: u64,
    /// Sendings after the first.
    pub again: u64,
    /// Copies that came in once more and were removed.
    pub duplicates: u64,
    /// Copies acknowledged.
    pub acknowledged: u64,
    /// Of these, those that their publisher had given up before.
    pub acknowledged_late: u64,
    /// Copies delivered that their publisher gave up, and never learned of.
    pub unconfirmed: u64,
    /// Acknowledgements sent.
    pub answers: u64,
    /// Acknowledgements lost.
    pub answers_lost: u64,
    /// Retained messages sent to subscribers that came back.
    pub retained: u64,
    /// What the machine has carried for all this: copies asked for, delivered and dropped there.
    pub(super) carried: (u64, u64, u64),
}

impl Post {
    /// Counts of what has terms.
    #[must_use]
    pub fn terms_stats(&self) -> PostStats {
        let copies = || self.letters.values().flat_map(|l| l.copies.values());
        let open = |waits: bool| {
            let of = copies().filter(|c| c.fate == Fate::Open && c.waits == waits);
            of.count() as u64
        };
        PostStats {
            kept: open(true),
            under_way: open(false),
            ..self.counts.clone()
        }
    }

    /// Copies of the messages on a topic that wait for a path, and those under way or to be sent again. The acknowledgements of a topic on terms are not among them.
    #[must_use]
    pub fn open_copies(&self, topic: TopicId) -> (u64, u64) {
        let letters = self.letters.values().filter(|l| l.sent.topic == topic);
        let open = letters
            .flat_map(|l| l.copies.values())
            .filter(|c| c.fate == Fate::Open);
        let (waiting, going): (Vec<_>, Vec<_>) = open.partition(|c| c.waits);
        let plain = match !self.terms.contains_key(&topic) {
            true => self.machine.under_way(topic),
            false => 0,
        };
        (waiting.len() as u64, going.len() as u64 + plain)
    }

    /// Counters of the machine, with each copy on terms counted once, whatever the sendings and acknowledgements that it took;
    /// what waits and what is to be sent again is in flight.
    #[must_use]
    pub fn stats(&self) -> Stats {
        let frames = self.machine.stats();
        let on_terms = self.terms_stats();
        let (due, delivered, dropped) = self.counts.carried;
        let flying = due - delivered - dropped;
        Stats {
            copies_due: frames.copies_due - due + on_terms.due - on_terms.had,
            delivered: frames.delivered - delivered + on_terms.delivered,
            dropped: frames.dropped - dropped + on_terms.dropped.values().sum::<u64>(),
            in_flight: frames.in_flight - flying + on_terms.kept + on_terms.under_way,
            ..frames
        }
    }
}
