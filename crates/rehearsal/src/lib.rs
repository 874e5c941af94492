//! The whole line in time: sound, samples, notices, behaviours, messages, outputs, energy.
//!
//! [`run`], or a master of its own with [`Steps`], steps the ears, the detectors' logic, the links, the uplinks and the voltages in one
//! order that [`timeline`] fixes. Every record names the record that caused it, so that a lamp or a message ashore can be
//! traced back to the sound.

mod ashore;
mod came;
pub mod ear;
mod engine;
mod error;
mod expect;
mod fault_cost;
mod hearing;
mod latency;
mod modules;
mod order;
mod packets;
mod reach;
mod record;

/// Version of what a rehearsal makes of a plan and a cue sheet, with all that it computes with beside the cores by which sounds are heard: raised
/// when it comes to something else, so that older evidence counts no longer.
pub const METHOD: u32 = 8;

pub use ashore::Ashore;
pub use came::TopicCame;
pub use engine::{
    Acquaintance, AnswerFromOutside, BusCame, Copies, FromOutside, JoinCount, LONGEST_PAUSE,
    NoQuestion, Outcome, RequestCount, RoutineCount, RoutineLog, SWITCHES_ON_AGAIN, SettingCount,
    StationCame, Steps, StoreCount, TRIP, UplinkCount, answer_id, input_id, run,
};
pub use error::RehearsalError;
pub use expect::Expectation;
pub use fault_cost::{AskHarm, FaultCame, Harm, Recovered, Unstored};
pub use latency::Latency;
pub use order::in_order;
pub use packets::{StreamCame, WayCame};
pub use reach::{Above, above};
pub use record::{
    AskStep, Collapse, Content, FailSafeStep, JoinStep, KeptBack, Loss, Record, RecordId, Refusal,
    Root, Silence, StreamStep, What,
};
