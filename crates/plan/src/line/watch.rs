//! Limits on the world that the line polices.

use super::{Decibels, DetectorIx, Must, Q, Requirement};
use crate::site::Site;

/// What a limit is a level of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum WatchedLevel {
    /// Sound exposure of a sound, dB re 1 uPa^2 s.
    Exposure,
    /// Mean square, dB re 1 uPa.
    Rms,
}

/// A level that may not be passed at a distance from a source, and how the line polices it.
#[derive(Clone, Debug)]
pub struct WorldWatch {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Shall or should.
    pub must: Must,
    /// Permit, clause or document.
    pub source: Option<String>,
    /// What it is a level of.
    pub of: WatchedLevel,
    /// The limit, dB re the reference of [`Self::of`].
    pub limit_db: Decibels,
    /// Distance from the source at which it holds, m.
    pub at_m: Q,
    /// Band in which it counts, Hz.
    pub band_hz: Option<(Q, Q)>,
    /// How long such a sound lasts, s.
    pub lasts_s: Option<Q>,
    /// The detector that holds its level against a threshold.
    pub by: DetectorIx,
    /// Distance from the source to its hydrophone, m.
    pub hydrophone_at_m: Q,
    /// Level that a tenfold distance takes between the two, dB.
    pub spreading_db: Option<Q>,
    /// By how much the two differ besides, dB, 95 % of the time.
    pub varies_db: Option<Decibels>,
    /// By how much the zero-to-peak lies above the level, dB.
    pub peak_above_db: Option<Decibels>,
    /// Share of the sounds that just reach the limit of which so many may be missed, 0 to 1.
    pub missed: Q,
    /// A requirement on the delay to where it is told.
    pub told: Option<Requirement>,
}
