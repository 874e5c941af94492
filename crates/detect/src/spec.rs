//! The stages of a detector as resolved numbers, and what may follow what.
//!
//! Three paths lead from samples to events, each stage at most once:
//!
//! ```text
//! [Decimate] [Band] (Level | Exposure | Matched) [Background] (Trigger | Pulses) [Likely]
//! [Decimate] [Band] Learned Trigger [Likely]
//! [Decimate] [Band] Spectrogram Background ((Likeness | LikenessTo) Trigger | Ridge) [Likely]
//! ```

use alloc::vec::Vec;

use crate::features::Feature;
use crate::learned::{Learned, ModelGives, ModelInput};

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
    /// Mean over a sliding window of the energy `x[n]^2 - x[n-1] x[n+1]` (Kaiser 1990), scaled so that a tone at the
    /// centre of the band (without a band: at a quarter of the rate) reads its own sound pressure level.
    TeagerKaiser,
}

/// How the background is taken from the cells before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BackgroundKind {
    /// Running median of the cell levels in dB.
    Median,
    /// Order statistic: the `ceil(rank n)`-th smallest of the `n` cells.
    Ordered {
        /// Share of the cells, more than 0 and at most 1.
        rank: f64,
    },
    /// Energy mean of the cells (cell averaging).
    Mean,
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

/// How many of the latest cells a sound needs to begin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KOfN {
    /// At least so many cells, 1 to `of_last`.
    pub at_least: u32,
    /// ... of so many latest ones, the one at hand included.
    pub of_last: u32,
}

/// Which way the frequency of a ridge goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// It rises.
    Rising,
    /// It falls.
    Falling,
    /// It may do either.
    Any,
}

/// A point of a contour: a frequency at a time after its begin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContourPoint {
    /// Time after the begin of the contour, s.
    pub after_s: f64,
    /// Frequency, Hz.
    pub frequency_hz: f64,
}

/// One step from samples to decision.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// Lower the rate by a whole factor, with a filter of its own that passes 0 to 0.4 of the new rate.
    Decimate {
        /// The factor, 2 to 65 536, no prime divisor above 64.
        factor: usize,
    },
    /// Butterworth band-pass.
    Band {
        /// Lower corner (-3 dB), Hz, greater than zero.
        low_hz: f64,
        /// Upper corner (-3 dB), Hz, below half the rate; after [`Stage::Decimate`] at most 0.4 of its rate.
        high_hz: f64,
        /// Order of the low-pass prototype, 1 to 8; the band-pass has twice as many poles.
        order: usize,
    },
    /// Level of the sound pressure.
    Level {
        /// Sliding mean square, exponential, or Teager-Kaiser energy.
        kind: LevelKind,
        /// Length of the window, or the time constant, s.
        window_s: f64,
        /// From one cell to the next, s, at most the window. `None`: a quarter of the window, at least one sample of the
        /// band.
        hop_s: Option<f64>,
    },
    /// Sound exposure level of a sliding window, for single strikes: dB re 1 uPa^2 s.
    Exposure {
        /// Length of the window, s.
        window_s: f64,
        /// As of [`Stage::Level`].
        hop_s: Option<f64>,
    },
    /// Envelope of the filter matched to a recorded sound. Its level is scaled so that the sound itself, played alone, reads
    /// its own mean-square level (as the band passes it) over its own length.
    Matched {
        /// The sound: samples at the detector's input rate, one after another, in any unit.
        template: Vec<f32>,
        /// From one cell to the next, s, at most the length of the template. `None`: an eighth of it.
        hop_s: Option<f64>,
    },
    /// What a learned model says of each window: its level is the log-odds in dB, 0 dB where both answers are as likely.
    Learned {
        /// The model, as a crate that runs models has read it.
        model: Learned,
        /// Length of the window, s: as many samples as the model takes, at the rate after decimate and band.
        window_s: f64,
        /// From one window to the next, s, at most the window. `None`: a quarter of the window.
        hop_s: Option<f64>,
        /// The unit in which the model takes its samples.
        input: ModelInput,
        /// What the model gives.
        gives: ModelGives,
    },
    /// Spectra in time, with a Hann window.
    Spectrogram {
        /// Length of the window, s.
        window_s: f64,
        /// From one frame to the next, s, at most the window. `None`: a quarter of the window.
        hop_s: Option<f64>,
    },
    /// Running background, over which the excess is taken; after a spectrogram for each frequency by itself.
    Background {
        /// The statistic.
        kind: BackgroundKind,
        /// The time over which it runs, s: at least twice the shortest sound, at least three cells beyond the guard.
        over_s: f64,
        /// Of that the latest time that is left out, s (0: only the cell at hand is).
        guard_s: f64,
    },
    /// Likeness of the excess to a contour of frequency against time, dB: mean excess on the contour less mean excess on
    /// its flanks. Needs a spectrogram and a background.
    Likeness {
        /// At least two points, times rising from 0; straight lines between.
        contour: Vec<ContourPoint>,
        /// Width of the contour, Hz.
        width_hz: f64,
    },
    /// Likeness of the excess to a recorded sound, dB. Needs a spectrogram and a background.
    LikenessTo {
        /// The sound: samples at the detector's input rate, one after another, in any unit.
        template: Vec<f32>,
    },
    /// Decide on a ridge: a frequency that moves. Needs a spectrogram and a background.
    Ridge {
        /// Which way it must go.
        sense: Sense,
        /// Peaks at least so far above their background are linked, dB.
        above_db: f64,
        /// Least steepness of the straight line through it, Hz/s, zero or more.
        least_slope_hz_per_s: f64,
        /// Greatest steepness, Hz/s, more than the least.
        most_slope_hz_per_s: f64,
        /// It may be unheard for so long in between, s.
        gap_s: f64,
        /// Shorter ones are dropped, s.
        shortest_s: f64,
        /// Longer ones are dropped, s. `None`: no limit.
        longest_s: Option<f64>,
        /// No new onset is told for so long after the end of a confirmed ridge, s.
        hold_off_s: f64,
    },
    /// Decide on a train of pulses. Needs a background.
    Pulses {
        /// A pulse lies at least so far above the background, dB.
        rise_db: f64,
        /// ... and rises at least so far above the valleys on both of its sides, dB, greater than zero.
        prominence_db: f64,
        /// A pulse that follows the last one sooner than this is not counted, s.
        min_interval_s: f64,
        /// A train is over when no pulse has followed within this time, s; with `of_last` within as many times it as pulses may be missed in a row, and once more.
        max_interval_s: f64,
        /// Number of pulses that make a train, at least 2.
        at_least: u32,
        /// ... of so many in a row, `at_least` or more: the others may be missed. `None`: none may.
        of_last: Option<u32>,
        /// The last `at_least` pulses must lie within this time, first to last, s. `None`: no such limit.
        within_s: Option<f64>,
        /// Each interval of the last `at_least` pulses differs from the one before by at most this share of that, 0 to 1;
        /// needs `at_least` of 3 or more, and no `of_last`. `None`: no such limit.
        steady: Option<f64>,
        /// No new onset is told for so long after the end of a confirmed train, s.
        hold_off_s: f64,
    },
    /// Decide on a level (without background), an excess (with background) or a likeness.
    Trigger {
        /// An event begins at or above this, dB.
        on_above_db: f64,
        /// ... and ends below this, dB, at most `on_above_db`.
        off_below_db: f64,
        /// Shorter ones are dropped, s.
        shortest_s: f64,
        /// Longer ones are dropped, s. `None`: no limit.
        longest_s: Option<f64>,
        /// A dip below `off_below_db` shorter than this does not end it, s.
        bridge_s: f64,
        /// It begins when so many of the latest cells are at or above `on_above_db`. `None`: with the first.
        k_of_n: Option<KOfN>,
        /// No new onset is told for so long after the end of a confirmed event, s.
        hold_off_s: f64,
        /// When to confirm.
        confirm: Confirm,
    },
    /// Judge the finished event: it is likely when `1 / (1 + exp(-(constant + sum weight * feature)))` is at least
    /// `at_least`; otherwise it is dropped. Nothing is confirmed before it has ended.
    Likely {
        /// Least probability, more than 0 and less than 1.
        at_least: f64,
        /// The constant of the logistic model.
        constant: f64,
        /// A weight for each feature that counts, each at most once.
        weights: Vec<(Feature, f64)>,
    },
}

impl Stage {
    /// The word for the stage in messages.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Decimate { .. } => "decimate",
            Self::Band { .. } => "band",
            Self::Level { .. } => "level",
            Self::Exposure { .. } => "exposure",
            Self::Matched { .. } => "matched",
            Self::Learned { .. } => "learned",
            Self::Spectrogram { .. } => "spectrogram",
            Self::Background { .. } => "background",
            Self::Likeness { .. } => "likeness",
            Self::LikenessTo { .. } => "likeness-to",
            Self::Ridge { .. } => "ridge",
            Self::Pulses { .. } => "pulses",
            Self::Trigger { .. } => "trigger",
            Self::Likely { .. } => "likely",
        }
    }

    fn threshold_db(&self) -> Option<f64> {
        match self {
            Self::Trigger { on_above_db, .. } => Some(*on_above_db),
            Self::Pulses { rise_db, .. } => Some(*rise_db),
            Self::Ridge { above_db, .. } => Some(*above_db),
            _ => None,
        }
    }
}

impl Spec {
    /// The one threshold that decides, dB: `on_above_db` of a trigger, `rise_db` of pulses, `above_db` of a ridge. `None`
    /// where nothing decides.
    #[must_use]
    pub fn threshold_db(&self) -> Option<f64> {
        self.stages.iter().find_map(Stage::threshold_db)
    }

    /// The same detector with another deciding threshold, dB. What goes with it moves by as much: `off_below_db` of a
    /// trigger (its hysteresis is kept), `prominence_db` of pulses. `None` where nothing decides; whether the numbers are
    /// possible is found by [`crate::Logic::new`].
    #[must_use]
    pub fn with_threshold_db(&self, threshold_db: f64) -> Option<Self> {
        let mut spec = self.clone();
        let stage = spec
            .stages
            .iter_mut()
            .find(|stage| stage.threshold_db().is_some())?;
        match stage {
            Stage::Trigger {
                on_above_db: threshold,
                off_below_db: follows,
                ..
            }
            | Stage::Pulses {
                rise_db: threshold,
                prominence_db: follows,
                ..
            } => {
                *follows += threshold_db - *threshold;
                *threshold = threshold_db;
            }
            Stage::Ridge { above_db, .. } => *above_db = threshold_db,
            _ => unreachable!("only these have a threshold"),
        }
        Some(spec)
    }
}
