//! A vote: several detectors that must hear the same sound.
//!
//! Each detector tells the instant at which it heard; the latest of each counts. A vote is carried when at least so many of them
//! lie within so short a time of each other, the newest one to arrive among them: a report by a slow line may be older than one
//! that came before it. What has carried a vote does not count again, and nothing is carried until the hold-off is over, counted
//! from the instant at which the last vote was carried.
//!
//! In detection theory this is the second threshold of "k of n" (binary integration) over sensors instead of over time.

use alloc::vec;
use alloc::vec::Vec;

/// What a vote asks for. Instants and times are in one unit of the caller's choice, whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VoteSpec {
    /// How many detectors vote, 2 or more.
    pub members: usize,
    /// How many of them must have heard, 1 to `members`.
    pub at_least: usize,
    /// Longest time between two of them.
    pub within: u64,
    /// Quiet time after a vote.
    pub hold_off: u64,
}

/// Why a vote cannot be held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VoteError {
    /// Fewer than two detectors, or more asked for than there are, or none.
    #[error("of {members} detectors at least {at_least} cannot be counted")]
    Count {
        /// How many there are.
        members: usize,
        /// How many are asked for.
        at_least: usize,
    },
}

/// A vote that is going on.
#[derive(Clone, Debug)]
pub struct Vote {
    spec: VoteSpec,
    heard: Vec<Option<u64>>,
    hold_until: u64,
}

impl Vote {
    /// A vote in which nobody has heard anything yet.
    ///
    /// # Errors
    /// [`VoteError::Count`].
    pub fn new(spec: VoteSpec) -> Result<Self, VoteError> {
        let VoteSpec {
            members, at_least, ..
        } = spec;
        if members < 2 || at_least == 0 || at_least > members {
            return Err(VoteError::Count { members, at_least });
        }
        Ok(Self {
            spec,
            heard: vec![None; members],
            hold_until: 0,
        })
    }

    /// A detector has heard at an instant, which becomes known at another; known instants do not fall from call to call.
    /// Gives the detectors, in order, whose reports carry the vote; an empty list when it is not carried, and for a member
    /// that does not exist.
    pub fn heard(&mut self, member: usize, heard_at: u64, known_at: u64) -> Vec<usize> {
        let Some(own) = self.heard.get_mut(member) else {
            return Vec::new();
        };
        *own = Some(heard_at);
        if known_at < self.hold_until {
            return Vec::new();
        }
        let carried = self.agreed(heard_at);
        if carried.len() < self.spec.at_least {
            return Vec::new();
        }
        for member in &carried {
            self.heard[*member] = None;
        }
        self.hold_until = known_at.saturating_add(self.spec.hold_off);
        carried
    }

    /// The most detectors whose latest reports lie within the time of each other, one of them heard at this instant; of equally
    /// many those that heard first.
    fn agreed(&self, heard_at: u64) -> Vec<usize> {
        let within = self.spec.within;
        let from = |first: u64| -> Vec<usize> {
            let until = first.saturating_add(within);
            (0..self.spec.members)
                .filter(|m| self.heard[*m].is_some_and(|at| (first..=until).contains(&at)))
                .collect()
        };
        let mut firsts: Vec<u64> = self
            .heard
            .iter()
            .flatten()
            .copied()
            .filter(|at| *at <= heard_at && heard_at - *at <= within)
            .collect();
        firsts.sort_unstable();
        let mut most = Vec::new();
        for first in firsts {
            let group = from(first);
            if group.len() > most.len() {
                most = group;
            }
        }
        most
    }

    /// Begin anew: nobody has heard anything, and no hold-off runs.
    pub fn reset(&mut self) {
        self.heard.fill(None);
        self.hold_until = 0;
    }
}
