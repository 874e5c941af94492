//! What goes aboard, and what the work at sea needs.

use super::{ModuleIx, Q, SpanIx};
use crate::site::Site;

/// A stretch of time with low waves.
#[derive(Clone, Copy, Debug)]
pub struct Work {
    /// Significant height up to which it goes on, m.
    pub wave_m: Q,
    /// How long it takes without a break, s.
    pub lasts_s: Q,
}

/// How significant heights spread in a month, and their memory.
#[derive(Clone, Copy, Debug)]
pub struct Spells {
    /// Shape of their Weibull law.
    pub shape: Q,
    /// Time after which 1/e of what was known of calm or rough is left, s.
    pub memory_s: Q,
}

/// How a battery lies between its last charge and the planned start.
#[derive(Clone, Copy, Debug)]
pub struct InHold {
    /// How long, s.
    pub lasts_s: Q,
    /// What is drawn meanwhile, W.
    pub draws_w: Q,
    /// Share of its content that it loses by itself in a month of 730 h, 0 to 1.
    pub self_discharge: Option<Q>,
}

/// Spares of things that are alike.
#[derive(Clone, Debug)]
pub struct Spare {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Of what.
    pub of: SpareOf,
    /// How many are aboard.
    pub carried: u32,
    /// Chance that one does not work, 0 to 1.
    pub dead_on_deck: Option<Q>,
}

/// What spares stand for.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum SpareOf {
    /// All modules and spans of a catalogue part, by its path.
    Part(String),
    /// One module without a part.
    Module(ModuleIx),
    /// One span without a part.
    Span(SpanIx),
}
