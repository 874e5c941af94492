//! Name, dates and slips of the deployment.

use jiff::Timestamp;

use super::{Q, Work};

/// Name, dates and slips of the deployment.
#[derive(Clone, Debug)]
pub struct Deployment {
    /// Name shown on every output; empty when a mistake hides it.
    pub name: String,
    /// Planned start; `None` when a mistake hides it.
    pub start: Option<Timestamp>,
    /// Planned time in the water, s; not a number when a mistake hides it.
    pub duration_s: Q,
    /// How much later the start may be, s.
    pub start_slip_s: Option<Q>,
    /// How much later the recovery may be, s.
    pub recovery_slip_s: Option<Q>,
    /// What laying the line needs of the sea.
    pub deploying: Option<Work>,
    /// What bringing it back needs of it.
    pub recovering: Option<Work>,
    /// Chance that a module or span does not work when it comes out of its crate, 0 to 1.
    pub dead_on_deck: Option<Q>,
}

impl Deployment {
    /// Longest time in the water: duration and recovery slip, s.
    #[must_use]
    pub fn longest_s(&self) -> f64 {
        self.duration_s.si + self.recovery_slip_s.map_or(0.0, |q| q.si)
    }
}
