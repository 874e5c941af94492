//! Stores for recordings.

use super::{ModuleIx, Q, SensorIx};
use crate::site::Site;

/// A store for recordings and logs.
#[derive(Clone, Debug)]
pub struct Storage {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Capacity, B.
    pub capacity_bytes: Q,
    /// Share kept free, 0 to 1.
    pub keep_free: Option<Q>,
    /// What is recorded.
    pub records: Vec<Record>,
}

/// A sensor's recording.
#[derive(Clone, Copy, Debug)]
pub struct Record {
    /// The sensor.
    pub sensor: SensorIx,
    /// Share of the time recorded, 0 to 1.
    pub share: Q,
    /// Compression: raw size over stored size, at least 1.
    pub compression: Q,
}
