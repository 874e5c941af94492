//! Means of recovery, weak links and drift alarms.

use super::{Position, Q, SectionEnd};
use crate::site::Site;

/// What a means of recovery does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MeansKind {
    /// Parts the line just above what it is at.
    Release,
    /// Takes hold of the top at the surface.
    Haul,
    /// Takes the line from the bed.
    Drag,
}

/// A means of recovery.
#[derive(Clone, Debug)]
pub struct Means {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it does.
    pub kind: MeansKind,
    /// Where it acts; always of a release and a haul, never of a drag.
    pub acts_at: Option<SectionEnd>,
    /// Chance that it works, 0 to 1.
    pub works: Q,
    /// What it cannot do without.
    pub relies_on: Vec<String>,
}

/// Where a line is to part first.
#[derive(Clone, Debug)]
pub struct WeakLink {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Where it is; on a section.
    pub position: Position,
    /// Least tension at which it may part, N.
    pub parts_from_n: Q,
    /// Tension at which it has parted, N.
    pub parts_by_n: Q,
    /// How many times the greatest tension it must hold.
    pub safety_factor: Option<Q>,
}

/// When a buoy counts as adrift.
#[derive(Clone, Copy, Debug)]
pub struct DriftAlarmSaid {
    /// Distance at which it goes off, m.
    pub radius_m: Q,
    /// Time between fixes, s.
    pub every_s: Q,
    /// Circle of 95 % of fixes, m.
    pub fix_error_m: Q,
    /// Circle of 95 % of the anchor's place, m.
    pub place_error_m: Q,
    /// Chance of any false alarm, 0 to 1.
    pub false_alarms: Q,
}
