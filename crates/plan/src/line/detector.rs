//! Detectors, their stages and their notices.

use quantity::EventRate;

use super::{Decibels, Q, SensorIx};
use crate::site::Site;

/// A detector: a named chain of stages on a sensor.
#[derive(Clone, Debug)]
pub struct Detector {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The sensor it hears through.
    pub on: SensorIx,
    /// Stages from samples to events; the last is a trigger.
    pub stages: Vec<Stage>,
    /// Events that it is expected to tell, false ones among them.
    pub expects: Option<EventRate>,
}

/// The level that a stage makes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LevelStage {
    /// Mean square over a window.
    Rms,
    /// Exponential average (IEC 61672-1).
    Exponential,
    /// Sound exposure over a window.
    Exposure,
}

/// A stage of a detector.
#[derive(Clone, Debug)]
pub enum Stage {
    /// Band-pass filter.
    Band {
        /// Lower -3 dB corner, Hz.
        low_hz: Q,
        /// Upper -3 dB corner, Hz.
        high_hz: Q,
        /// Order of the low-pass prototype.
        order: u32,
    },
    /// Level over time.
    Level {
        /// Which level.
        kind: LevelStage,
        /// Window, or time constant of the exponential average, s.
        window_s: Q,
    },
    /// Running background: the median of the level.
    Background {
        /// Over how long, s.
        over_s: Q,
    },
    /// Train of pulses.
    Pulses {
        /// Rise of a pulse over the background, dB.
        rise_db: Decibels,
        /// Shortest interval between pulses, s.
        least_interval_s: Q,
        /// Longest interval between pulses, s.
        most_interval_s: Q,
        /// Pulses that make a train.
        at_least: u32,
        /// Quiet time after a train, s.
        hold_off_s: Q,
    },
    /// Event logic on the level, or on its excess over the background.
    Trigger {
        /// Begins above: dB over the background, or dB re the level's reference.
        on_above_db: Decibels,
        /// Ends below, in the same terms.
        off_below_db: Decibels,
        /// Shortest event, s.
        shortest_s: Q,
        /// Longest event, s.
        longest_s: Option<Q>,
        /// Quiet time after an event, s.
        hold_off_s: Q,
        /// When an event counts as confirmed.
        confirm: Confirm,
    },
}

impl Stage {
    /// Whether it makes the sound exposure.
    #[must_use]
    pub fn is_exposure(&self) -> bool {
        matches!(
            self,
            Stage::Level {
                kind: LevelStage::Exposure,
                ..
            }
        )
    }

    /// Whether it makes the running background.
    #[must_use]
    pub fn is_background(&self) -> bool {
        matches!(self, Stage::Background { .. })
    }
}

impl Detector {
    /// Whether its levels are those of sound exposure.
    #[must_use]
    pub fn of_exposure(&self) -> bool {
        self.stages.iter().any(Stage::is_exposure)
    }

    /// Whether it holds its level against a running background.
    #[must_use]
    pub fn over_background(&self) -> bool {
        self.stages.iter().any(Stage::is_background)
    }
}

/// When an event counts as confirmed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Confirm {
    /// As soon as it has lasted the shortest time.
    Early,
    /// At its end, once it is known not to be too long.
    AtEnd,
}

/// A notice of a detector.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum NoticeKind {
    /// The level has crossed the threshold.
    Onset,
    /// It has lasted long enough.
    Confirmed,
    /// It is over.
    Ended,
}

impl NoticeKind {
    /// The notice of a word that a path may end in.
    pub(crate) fn of_word(word: &str) -> NoticeKind {
        match word {
            "onset" => NoticeKind::Onset,
            "confirmed" => NoticeKind::Confirmed,
            _ => NoticeKind::Ended,
        }
    }
}
