//! Votes: detectors that must hear the same sound.

use super::{DetectorIx, ModuleIx, Q};
use crate::site::Site;

/// Several detectors that must hear the same sound.
#[derive(Clone, Debug)]
pub struct Vote {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module that counts.
    pub on: ModuleIx,
    /// The detectors, each once.
    pub of: Vec<DetectorIx>,
    /// How many of them must hear it.
    pub at_least: u32,
    /// Longest time from the first that has heard it to the last, s.
    pub within_s: Option<Q>,
    /// Quiet time after a vote, s.
    pub hold_off_s: Q,
}
