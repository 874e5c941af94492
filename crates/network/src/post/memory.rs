//! What a receiver remembers of a publisher's messages.

use std::collections::BTreeSet;

/// What a number is to a receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Seen {
    New,
    Again,
    TooOld,
}

/// The numbers that were received of one publisher on one topic, back to a limit.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    start: u64,
    highest: u64,
    had: BTreeSet<u64>,
}

impl Memory {
    /// With the first message that is heard.
    pub(super) fn new(start: u64, number: u64) -> Memory {
        Memory {
            start,
            highest: number,
            had: BTreeSet::from([number]),
        }
    }

    /// Takes a number in, and tells what it is.
    pub(super) fn take(&mut self, start: u64, number: u64, remembers: u32) -> Seen {
        if start < self.start {
            return Seen::TooOld;
        }
        if start > self.start {
            *self = Memory::new(start, number);
            return Seen::New;
        }
        if self.highest.saturating_sub(number) >= u64::from(remembers) {
            return Seen::TooOld;
        }
        if !self.had.insert(number) {
            return Seen::Again;
        }
        self.highest = self.highest.max(number);
        let lowest = self.highest.saturating_sub(u64::from(remembers) - 1);
        self.had = self.had.split_off(&lowest);
        Seen::New
    }
}
