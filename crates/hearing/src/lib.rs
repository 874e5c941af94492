//! Files of sound, calibrated, through detectors: events and levels.
//!
//! [`survey`] looks at a file, [`line_up`] groups files that follow each other without a gap, [`hear`] takes one such
//! group through the detectors of its [`Ear`]s. Memory does not grow with the length of the recordings, but for the
//! events that were found. [`try_thresholds`] takes a stretch through one detector at many thresholds at once, [`score`] holds what
//! was found against labels, and [`curve`] gives shares and rates with their limits. [`hear_pairs`] tells when another ear hears the same sound. A [`Meter`]
//! measures the sound itself, period by period. Levels are those of the recording: what a sensor's high-pass took away is not given back.

mod channel;
mod ear;
mod error;
mod full_scale;
mod hear;
mod heard;
mod measure;
mod noise;
mod pairs;
mod survey;
mod tune;
mod view;

/// Version of what this crate makes of recordings: calibration, stretches, trials and their scores. Evidence names it, so that a build that comes to
/// something else leaves older evidence out: raise it with every change of the frozen counts (`tests/integration/frozen.rs`).
pub const METHOD: u32 = 1;

pub use ear::{Ear, Reference};
pub use error::{FileError, HearError, LineUpError};
pub use hear::{Step, hear, hear_pairs};
pub use heard::{Arrival, ChannelLevels, Found, Hearing};
pub use measure::{
    Broad, LinePercentiles, Lines, MeasureError, Measured, Meter, PERCENTILES, Percentiles, Period,
    PeriodBegin, lines_bytes, measured_bands,
};
pub use noise::{Noise, take_noise};
pub use pairs::{EarPair, TimeHeard, Untold};
pub use survey::{Survey, line_up, survey};
pub use tune::{
    Choice, Counts, Curve, DayCounts, Deaf, DeafBy, Example, Given, JudgeError, Judgement, Label,
    LabelError, LabelFault, LabelFile, Limited, Mark, OfStretch, OpenQuote, Outcome, Parts, Placed,
    Point, Records, Score, Trial, Tried, alarm_rate, curve, fit_judgement, place_labels, point,
    read_labels, score, thresholds_db, try_thresholds,
};
pub use view::{View, band_hz, view};
