//! A vote: several detectors that must hear the same sound.
//!
//! Each detector tells the instant at which it heard; the latest of each counts. A vote is carried when at least so many of them
//! lie within so short a time of the newest one to arrive, whichever way round: a report by a slow line may be older than one
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
        let near: Vec<usize> = (0..self.spec.members)
            .filter(|m| self.heard[*m].is_some_and(|at| at.abs_diff(heard_at) <= self.spec.within))
            .collect();
        if near.len() < self.spec.at_least || !self.agree(&near) {
            return Vec::new();
        }
        for member in &near {
            self.heard[*member] = None;
        }
        self.hold_until = known_at.saturating_add(self.spec.hold_off);
        near
    }

    /// Whether so many of these as are asked for lie within the time of each other, not only of the newest.
    fn agree(&self, near: &[usize]) -> bool {
        let mut at: Vec<u64> = near.iter().filter_map(|m| self.heard[*m]).collect();
        at.sort_unstable();
        at.windows(self.spec.at_least)
            .any(|w| w[w.len() - 1] - w[0] <= self.spec.within)
    }

    /// Begin anew: nobody has heard anything, and no hold-off runs.
    pub fn reset(&mut self) {
        self.heard.fill(None);
        self.hold_until = 0;
    }
}
