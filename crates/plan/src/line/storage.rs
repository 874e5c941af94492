//! Stores for recordings.

use super::{ModuleIx, Q, SensorIx, StreamIx};
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
    /// Length of a file, s.
    pub cut_s: Option<Q>,
    /// Least piece that a file takes, B.
    pub cluster_bytes: Option<u32>,
    /// What the log of the module takes.
    pub logs: Option<Logs>,
    /// What goes when it is full, in this order; `None` when the plan does not say, empty when nothing goes.
    pub drop: Option<Vec<Droppable>>,
}

/// Bytes that a log takes; `None` for what is not logged.
#[derive(Clone, Copy, Debug)]
pub struct Logs {
    /// For each confirmed event of the module's detectors, B.
    pub event_bytes: Option<Q>,
    /// For each message that it publishes, B.
    pub message_bytes: Option<Q>,
    /// For each line that a behaviour logs, B.
    pub line_bytes: Option<Q>,
}

/// What may go when a store is full.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Droppable {
    /// The log.
    Logs,
    /// The oldest file of a recording.
    OldestRecordings,
}

impl Droppable {
    /// The word of the plan.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Droppable::Logs => "logs",
            Droppable::OldestRecordings => "oldest-recordings",
        }
    }
}

/// A sensor's recording.
#[derive(Clone, Copy, Debug)]
pub struct Record {
    /// The sensor.
    pub sensor: SensorIx,
    /// The stream over which its samples come from another module; `None` where the sensor is on the store's own module, or a
    /// mistake has taken the stream.
    pub over: Option<StreamIx>,
    /// Share of the time recorded, 0 to 1.
    pub share: Q,
    /// Compression: raw size over stored size, at least 1.
    pub compression: Q,
}
