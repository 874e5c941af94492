//! The stages of a detector as resolved numbers, and what may follow what.
//!
//! Order: at most one [`Stage::Band`], then one [`Stage::Level`] or [`Stage::Exposure`], then at most one
//! [`Stage::Background`], then one [`Stage::Trigger`] or [`Stage::Pulses`], which is last.

use alloc::vec::Vec;

/// A detector: the rate of its samples and its stages in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Spec {
    /// Samples per second of the input, Hz, greater than zero.
    pub rate_hz: f64,
    /// Stages in the order in which the sound passes them.
    pub stages: Vec<Stage>,
}

/// How a level is averaged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelKind {
    /// Mean square over a sliding window ("rms"), ISO 18405 sound pressure level of the window.
    MeanSquare,
    /// Exponential averaging of the squared pressure as in IEC 61672-1; the window is the time constant.
    Exponential,
}

/// How the background is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BackgroundKind {
    /// Running median of the cell levels in dB.
    Median,
}

/// When a trigger confirms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confirm {
    /// As soon as the sound has lasted `shortest_s`. If it then exceeds `longest_s` it is dropped as too long,
    /// after it was confirmed.
    Early,
    /// When the sound is over and its length lies within `shortest_s` and `longest_s`.
    AtEnd,
}

/// One step from samples to decision.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// Butterworth band-pass.
    Band {
        /// Lower corner (-3 dB), Hz, greater than zero.
        low_hz: f64,
        /// Upper corner (-3 dB), Hz, below half the rate.
        high_hz: f64,
        /// Order of the low-pass prototype, 1 to 8; the band-pass has twice as many poles.
        order: usize,
    },
    /// Level of the sound pressure.
    Level {
        /// Sliding mean square, or exponential.
        kind: LevelKind,
        /// Length of the window, or the time constant, s.
        window_s: f64,
        /// From one cell to the next, s, at most the window. `None`: a quarter of the window, at least one sample of the
        /// band.
        hop_s: Option<f64>,
    },
    /// Sound exposure level of a sliding window, for single strikes: dB re 1 uPa^2 s.
    Exposure {
        /// Length of the window, s. Cells follow each other by a quarter of it.
        window_s: f64,
    },
    /// Running background, over which the excess is taken.
    Background {
        /// The statistic.
        kind: BackgroundKind,
        /// The time over which it runs, s: at least twice the shortest sound, at least three cells.
        over_s: f64,
    },
    /// Decide on a train of pulses. Needs a background.
    Pulses {
        /// A pulse lies at least so far above the background, dB.
        rise_db: f64,
        /// ... and rises at least so far above the valleys on both of its sides, dB, greater than zero.
        prominence_db: f64,
        /// A pulse that follows the last one sooner than this is not counted, s.
        min_interval_s: f64,
        /// A train is over when no pulse has followed within this time, s.
        max_interval_s: f64,
        /// Number of pulses that make a train, at least 2.
        at_least: u32,
        /// The last `at_least` pulses must lie within this time, first to last, s. `None`: no such limit.
        within_s: Option<f64>,
        /// No new onset is told for so long after the end of a confirmed train, s.
        hold_off_s: f64,
    },
    /// Decide on a level (without background) or an excess (with background).
    Trigger {
        /// An event begins at or above this, dB.
        on_above_db: f64,
        /// ... and ends below this, dB, at most `on_above_db`.
        off_below_db: f64,
        /// Shorter ones are dropped, s.
        shortest_s: f64,
        /// Longer ones are dropped, s. `None`: no limit.
        longest_s: Option<f64>,
        /// No new onset is told for so long after the end of a confirmed event, s.
        hold_off_s: f64,
        /// When to confirm.
        confirm: Confirm,
    },
}

impl Stage {
    /// The word for the stage in messages.
    pub(crate) fn word(&self) -> &'static str {
        match self {
            Self::Band { .. } => "band",
            Self::Level { .. } => "level",
            Self::Exposure { .. } => "exposure",
            Self::Background { .. } => "background",
            Self::Pulses { .. } => "pulses",
            Self::Trigger { .. } => "trigger",
        }
    }
}
