//! Spans: conductors, contacts and links between modules.

use quantity::Conductor;

use super::{ModuleIx, Q};
use crate::site::Site;

/// An electrical cable between two modules.
#[derive(Clone, Debug)]
pub struct Span {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// One end.
    pub from: ModuleIx,
    /// Other end.
    pub to: ModuleIx,
    /// Length, m: as written, or the distance along the sections times (1 + slack).
    pub length_m: f64,
    /// The length as written.
    pub written_length_m: Option<Q>,
    /// Conductor; a span without one carries no power.
    pub conductor: Option<Conductor>,
    /// Mated contacts.
    pub contacts: Option<Contacts>,
    /// How data crosses it; a span without one carries no data.
    pub link: Option<Link>,
}

/// Mated contacts of a span.
#[derive(Clone, Copy, Debug)]
pub struct Contacts {
    /// Mated pins in the current loop (go and return).
    pub mated_pins_in_loop: u32,
    /// Resistance of each when new, ohm.
    pub resistance_ohm: Q,
    /// Resistance of each when aged, ohm.
    pub aged_ohm: Option<Q>,
}

/// A link over a span.
#[derive(Clone, Debug)]
pub struct Link {
    /// Name of the open standard, or `free`.
    pub standard: String,
    /// Rate in b/s when written (a `free` link must say it).
    pub rate_bps: Option<Q>,
    /// Where the standard was named.
    pub at: Site,
}
