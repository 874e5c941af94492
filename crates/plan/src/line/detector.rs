//! Detectors, their stages and their notices.

use std::sync::Arc;

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
    /// What behaviours may set its trigger to.
    pub settable: Settable,
}

/// What behaviours may set a detector's trigger to; nothing where absent.
#[derive(Clone, Copy, Debug, Default)]
pub struct Settable {
    /// Lowest and highest threshold, dB, re the reference of the trigger's own.
    pub threshold_db: Option<(Decibels, Decibels)>,
    /// Shortest and longest hold-off, s.
    pub hold_off_s: Option<(Q, Q)>,
    /// Unit of the thresholds, with their reference; empty where none is settable.
    pub threshold_unit: &'static str,
}

/// A file that a stage holds the sound against: a recording, or a learned model.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Template {
    /// Its path under the plan's folder, as written.
    pub path: String,
    /// Where it was written.
    pub at: Site,
    /// The file's bytes; `None` when it could not be read, which is a mistake of the plan.
    pub bytes: Option<Arc<[u8]>>,
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
    /// Energy operator of Teager and Kaiser, averaged over a window.
    TeagerKaiser,
}

/// What a learned model gives.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ModelGives {
    /// A probability p.
    Probability,
    /// ln(p / (1 - p)).
    LogOdds,
}

/// What a running background is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum BackgroundStage {
    /// Median.
    Median,
    /// The value below which this share of the values lies, 0 to 1.
    Ordered(Q),
    /// Mean power.
    Mean,
}

/// Which way the frequency of a ridge moves.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RidgeWay {
    /// Upwards.
    Rising,
    /// Downwards.
    Falling,
    /// Either.
    Any,
}

/// A stage of a detector.
#[derive(Clone, Debug)]
pub enum Stage {
    /// Lower sample rate.
    Decimate {
        /// By how much.
        factor: u32,
        /// Where it was written.
        at: Site,
    },
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
        /// From one value to the next, s; a quarter of the window when absent.
        hop_s: Option<Q>,
    },
    /// Level of the envelope of a matched filter.
    Matched {
        /// What it is matched to.
        template: Template,
        /// From one value to the next, s; an eighth of the recording when absent.
        hop_s: Option<Q>,
    },
    /// What a learned model says of each window.
    Learned {
        /// The model.
        model: Template,
        /// Window, s.
        window_s: Q,
        /// From one window to the next, s; a quarter of the window when absent.
        hop_s: Option<Q>,
        /// Level whose sound pressure the model is given as 1, dB re 1 uPa (in air re 20 uPa); absent where each window is divided
        /// by its own root mean square.
        reference_db: Option<Decibels>,
        /// What it gives.
        gives: ModelGives,
    },
    /// Spectra in time, Hann window.
    Spectrogram {
        /// Window, s.
        window_s: Q,
        /// From one spectrum to the next, s; a quarter of the window when absent.
        hop_s: Option<Q>,
    },
    /// Running background of the level, or of each frequency of a spectrogram.
    Background {
        /// What it is.
        kind: BackgroundStage,
        /// Over how long, s.
        over_s: Q,
        /// Time just before the present that it leaves out, s.
        guard_s: Option<Q>,
    },
    /// Likeness of a spectrogram to a contour.
    Likeness {
        /// Points of the contour: time after its begin in s, rising, and frequency in Hz.
        contour: Vec<(Q, Q)>,
        /// Width of the contour, Hz.
        width_hz: Q,
    },
    /// Likeness of a spectrogram to that of a recording.
    LikenessTo {
        /// The recording.
        template: Template,
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
        /// Of how many in a row; `None` where none may be missed.
        of_last: Option<u32>,
        /// Quiet time after a train, s.
        hold_off_s: Q,
        /// Most by which an interval differs from the one before, as a share of it.
        steady: Option<Q>,
    },
    /// A frequency that moves.
    Ridge {
        /// Which way.
        way: RidgeWay,
        /// Its peaks over the background, dB.
        above_db: Decibels,
        /// Slowest change of its frequency, Hz/s.
        slowest_hz_per_s: Q,
        /// Fastest change of its frequency, Hz/s.
        fastest_hz_per_s: Q,
        /// Longest time without a peak, s.
        gap_s: Option<Q>,
        /// Shortest ridge, s.
        shortest_s: Q,
        /// Longest ridge, s.
        longest_s: Q,
        /// Quiet time after a ridge, s.
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
        /// Longest dip that does not end an event, s.
        bridge_s: Option<Q>,
        /// An event begins when so many of so many last values lie above.
        k_of_n: Option<(u32, u32)>,
    },
    /// Judgement of a finished event by a logistic model of its features.
    Likely {
        /// Least probability, 0 to 1.
        least: Q,
        /// Constant of the model.
        constant: f64,
        /// Weight of each feature that counts, by the name of the feature, sorted.
        weights: Vec<(&'static str, f64)>,
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

    /// Whether it gives a likeness in dB.
    #[must_use]
    pub fn is_likeness(&self) -> bool {
        matches!(self, Stage::Likeness { .. } | Stage::LikenessTo { .. })
    }

    /// Whether a learned model gives its track.
    #[must_use]
    pub fn is_learned(&self) -> bool {
        matches!(self, Stage::Learned { .. })
    }

    /// The file that it holds the sound against.
    #[must_use]
    pub fn template(&self) -> Option<&Template> {
        match self {
            Stage::Matched { template, .. }
            | Stage::LikenessTo { template }
            | Stage::Learned {
                model: template, ..
            } => Some(template),
            _ => None,
        }
    }

    pub(crate) fn template_mut(&mut self) -> Option<&mut Template> {
        match self {
            Stage::Matched { template, .. }
            | Stage::LikenessTo { template }
            | Stage::Learned {
                model: template, ..
            } => Some(template),
            _ => None,
        }
    }

    /// Quiet time after an event, of a stage that decides, s.
    #[must_use]
    pub fn hold_off_s(&self) -> Option<Q> {
        match self {
            Stage::Pulses { hold_off_s, .. }
            | Stage::Ridge { hold_off_s, .. }
            | Stage::Trigger { hold_off_s, .. } => Some(*hold_off_s),
            _ => None,
        }
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

    /// Whether it gives a likeness in dB.
    #[must_use]
    pub fn of_likeness(&self) -> bool {
        self.stages.iter().any(Stage::is_likeness)
    }

    /// Whether a learned model gives its track.
    #[must_use]
    pub fn of_learned(&self) -> bool {
        self.stages.iter().any(Stage::is_learned)
    }

    /// Quiet time after an event, s.
    #[must_use]
    pub fn hold_off_s(&self) -> Option<Q> {
        self.stages.iter().find_map(Stage::hold_off_s)
    }

    /// The shortest quiet time after an event that it may have, whatever it is set to, s.
    #[must_use]
    pub fn shortest_hold_off_s(&self) -> Option<f64> {
        let own = self.hold_off_s()?.si;
        let set = self.settable.hold_off_s;
        Some(set.map_or(own, |(shortest, _)| own.min(shortest.si)))
    }

    /// The thresholds of its trigger, dB: on above, off below.
    #[must_use]
    pub fn thresholds_db(&self) -> Option<(f64, f64)> {
        self.stages.iter().find_map(|stage| match stage {
            Stage::Trigger {
                on_above_db,
                off_below_db,
                ..
            } => Some((on_above_db.db, off_below_db.db)),
            _ => None,
        })
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
