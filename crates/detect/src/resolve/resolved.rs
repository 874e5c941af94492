//! The stages sorted into their places, each number checked.

use crate::judge::Judge;
use crate::learned::{Learned, ModelGives, ModelInput};
use crate::spec::{BackgroundKind, Confirm, ContourPoint, KOfN, Sense};

#[derive(Clone, Copy, Debug)]
pub(crate) struct DecimateSpec {
    pub(crate) stage: usize,
    pub(crate) factor: usize,
    /// Upper end of what its filter passes, Hz.
    pub(crate) pass_hz: f64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct BandSpec {
    pub(crate) stage: usize,
    pub(crate) low_hz: f64,
    pub(crate) high_hz: f64,
    pub(crate) order: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    MeanSquare,
    Exponential,
    Exposure,
    TeagerKaiser,
    /// What a model says.
    Learned,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct LevelSpec {
    pub(crate) stage: usize,
    pub(crate) measure: Measure,
    pub(crate) window_s: f64,
    pub(crate) hop_s: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct MatchedSpec<'a> {
    pub(crate) stage: usize,
    pub(crate) template: &'a [f32],
    pub(crate) hop_s: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct LearnedSpec<'a> {
    /// Window and hop.
    pub(crate) level: LevelSpec,
    pub(crate) model: &'a Learned,
    pub(crate) input: ModelInput,
    pub(crate) gives: ModelGives,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct FrameSpec {
    pub(crate) stage: usize,
    pub(crate) window_s: f64,
    pub(crate) hop_s: Option<f64>,
}

/// What the samples become.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Measured<'a> {
    Level(LevelSpec),
    Matched(MatchedSpec<'a>),
    Learned(LearnedSpec<'a>),
    Frames(FrameSpec),
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct BackgroundSpec {
    pub(crate) stage: usize,
    pub(crate) kind: BackgroundKind,
    pub(crate) over_s: f64,
    pub(crate) guard_s: f64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) enum LikenessSpec<'a> {
    Contour {
        stage: usize,
        points: &'a [ContourPoint],
        width_hz: f64,
    },
    Template {
        stage: usize,
        template: &'a [f32],
    },
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct TriggerSpec {
    pub(crate) on_above_db: f64,
    pub(crate) off_below_db: f64,
    pub(crate) shortest_samples: u64,
    pub(crate) longest_samples: Option<u64>,
    pub(crate) bridge_samples: u64,
    pub(crate) k_of_n: KOfN,
    pub(crate) hold_off_samples: u64,
    pub(crate) confirm: Confirm,
    pub(crate) over_background: bool,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct PulsesSpec {
    pub(crate) rate_hz: f64,
    pub(crate) rise_db: f64,
    pub(crate) prominence_db: f64,
    pub(crate) min_interval_samples: u64,
    pub(crate) max_interval_samples: u64,
    pub(crate) at_least: u32,
    pub(crate) of_last: u32,
    pub(crate) within_samples: Option<u64>,
    pub(crate) steady: Option<f64>,
    pub(crate) hold_off_samples: u64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct RidgeSpec {
    pub(crate) rate_hz: f64,
    pub(crate) sense: Sense,
    pub(crate) above_db: f64,
    pub(crate) least_slope_hz_per_s: f64,
    pub(crate) most_slope_hz_per_s: f64,
    pub(crate) gap_samples: u64,
    pub(crate) shortest_samples: u64,
    pub(crate) longest_samples: Option<u64>,
    pub(crate) hold_off_samples: u64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) enum Decision {
    Trigger(TriggerSpec),
    Pulses(PulsesSpec),
    Ridge(RidgeSpec),
}

impl Decision {
    /// The word of its stage.
    pub(crate) fn word(&self) -> &'static str {
        match self {
            Self::Trigger(_) => "trigger",
            Self::Pulses(_) => "pulses",
            Self::Ridge(_) => "ridge",
        }
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Resolved<'a> {
    pub(crate) rate_hz: f64,
    pub(crate) decimate: Option<DecimateSpec>,
    pub(crate) band: Option<BandSpec>,
    pub(crate) measured: Measured<'a>,
    pub(crate) background: Option<BackgroundSpec>,
    pub(crate) likeness: Option<LikenessSpec<'a>>,
    pub(crate) decision: Decision,
    pub(crate) decision_stage: usize,
    pub(crate) judge: Judge,
}
