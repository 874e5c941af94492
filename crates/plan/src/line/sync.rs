//! Streams, and time along the line.

use super::{ModuleIx, Q, SensorIx};
use crate::site::Site;

/// Video or raw sound from one module to another.
#[derive(Clone, Debug)]
pub struct Stream {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module that sends it.
    pub from: ModuleIx,
    /// The sensor whose samples it carries, where the plan names one.
    pub sensor: Option<SensorIx>,
    /// The module that gets it.
    pub to: ModuleIx,
    /// Rate of its contents, b/s.
    pub rate_bps: Q,
    /// Contents of a packet, bytes.
    pub packet_bytes: u32,
    /// Most packets at once.
    pub burst: u32,
    /// A smaller one goes first.
    pub priority: u8,
    /// Longest time of a packet on its way, s.
    pub within_s: Option<Q>,
    /// Index into the loads of the sending module: the state in which it runs; whenever the module works when absent.
    pub in_state: Option<usize>,
}

/// Where times are taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Stamps {
    /// In the program.
    Software,
    /// At the wire, with each module on the way telling how long it held the frame.
    Wire,
}

/// How modules set their clocks.
#[derive(Clone, Debug)]
pub struct TimeSync {
    /// Where it was written.
    pub at: Site,
    /// The module whose time is the line's.
    pub master: ModuleIx,
    /// From one exchange of a module to its next, s.
    pub every_s: Q,
    /// Where times are taken.
    pub stamps: Stamps,
    /// How far such a time may lie from its instant, s.
    pub jitter_s: Q,
    /// Bytes of a request, and of an answer.
    pub size_bytes: u32,
    /// Of requests and answers.
    pub priority: u8,
}

/// How a module's own clock runs.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    /// By how much it runs wrong at most, as a ratio.
    pub drift: Q,
    /// What the change of temperature into the water adds, as a ratio.
    pub temperature_step: Option<Q>,
    /// How long its time is good enough after it was set, s.
    pub holds_s: Option<Q>,
}
