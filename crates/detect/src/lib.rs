//! Detector stages from samples to notices and events.
//!
//! A [`Spec`] is a list of stages. [`Front`] holds those that are pure functions of the samples (band, level,
//! background) and gives [`Cell`]s; [`Logic`] holds the one that decides (threshold with hysteresis, or a train of
//! pulses) and gives [`Told`] notices; [`Detector`] is the two together. [`match_events`] compares what was found
//! with what was labelled.
//!
//! The crate needs `alloc` only; memory is taken in constructors and in the caller's output vectors. Results are
//! bit for bit the same however the samples are cut into blocks. The method page is `docs/method/detect.md`.
#![no_std]

extern crate alloc;

mod background;
mod decibels;
mod envelope;
mod error;
mod features;
mod finder;
mod frames;
mod ground;
mod judge;
mod learned;
mod likeness;
mod matching;
mod mean;
mod median;
mod meter;
mod notice;
mod pulses;
mod resolve;
mod ridge;
mod spec;
mod trigger;
mod vote;
mod workings;

mod cell;
mod detector;
mod front;
mod logic;
mod matched;
mod sampler;

/// Version of what this crate makes of samples: stages, decisions, matching. Evidence names it, so that a build that comes to
/// something else leaves older evidence out: raise it with every change of the frozen counts (`tests/integration/frozen.rs`).
pub const METHOD: u32 = 1;

pub use cell::{Cell, Peak, Peaks};
pub use detector::{Cost, Detector, StageCost};
pub use error::{PushError, SpecError};
pub use features::{Feature, Features};
pub use front::Front;
pub use learned::{Learned, Model, ModelGives, ModelInput, Network};
pub use logic::Logic;
pub use matching::{Matching, Rule, Sounding, match_events};
pub use median::RunningMedian;
pub use notice::{Ending, Event, EventId, Intervals, Notice, Reason, Sweep, Told};
pub use spec::{BackgroundKind, Confirm, ContourPoint, KOfN, LevelKind, Sense, Spec, Stage};
pub use vote::{Vote, VoteError, VoteSpec};
pub use workings::{
    BackgroundWorkings, DecisionWorkings, LoweringWorkings, MeasureWorkings, Workings,
    WorkingsError,
};
