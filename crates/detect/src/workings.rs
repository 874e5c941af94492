//! The numbers by which a detector works, laid open for those who write it down in another language.
//!
//! Laid open are detectors of the stages `[decimate] [band] (level | exposure) [background] (trigger | pulses)`; of others
//! [`Workings::of`] names the stage that it has no numbers for.

use alloc::vec::Vec;

use signal::Exponential;

use crate::background::Background;
use crate::error::SpecError;
use crate::meter::level_shape;
use crate::resolve::{Decision, LevelSpec, Measure, Measured, Resolved, resolve};
use crate::sampler::Sampler;
use crate::spec::{BackgroundKind, Confirm, KOfN, Spec};

/// A detector as numbers: filters as coefficients, times as whole samples of the input unless said otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Workings {
    /// Samples per second of the input, Hz.
    pub rate_hz: f64,
    /// Filters that lower the rate, in the order in which the samples pass them; none where the rate stays.
    pub lowerings: Vec<LoweringWorkings>,
    /// Band-pass at the lowered rate as sections `[b0, b1, b2, a1, a2]`, the gain in the first, every numerator a multiple of
    /// `1 - z^-2`; none without a band.
    pub sections: Vec<[f64; 5]>,
    /// How the band samples become powers.
    pub measure: MeasureWorkings,
    /// Samples of the input to one band sample.
    pub factor: u64,
    /// Length of the window and from one window to the next, band samples.
    pub window: u64,
    /// As [`Self::window`].
    pub hop: u64,
    /// Samples of the input after `j * factor` that band sample `j` needs, and one band sample more for a Teager-Kaiser energy.
    pub reach: u64,
    /// Samples from the first of the window to the first of the tile, before `delay` is taken off.
    pub lead: i64,
    /// Samples that the band-pass and the width of a band sample delay a sound.
    pub delay: u64,
    /// What a mean square (or energy) is multiplied by to give the power of a cell.
    pub scale: f64,
    /// The background, where there is one.
    pub background: Option<BackgroundWorkings>,
    /// What decides.
    pub decision: DecisionWorkings,
}

/// A linear-phase filter that lowers the rate, see [`signal::Lowering`].
#[derive(Clone, Debug, PartialEq)]
pub struct LoweringWorkings {
    /// Samples in to one out.
    pub factor: usize,
    /// Samples after the one that an output stands for.
    pub half: usize,
    /// Oldest sample first, zeros in front to a whole number of lanes of four.
    pub taps: Vec<f32>,
}

/// How band samples become powers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MeasureWorkings {
    /// Mean of the squares over the window.
    MeanSquare,
    /// Running mean of the squares, read at the last sample of each hop.
    Exponential {
        /// What a sample leaves of the mean before it.
        keep: f64,
        /// What it adds of its own square.
        take: f64,
    },
    /// Mean over the window of `x[n]^2 - x[n-1] x[n+1]`, zero where it is negative.
    TeagerKaiser,
}

/// A background: a statistic of `cells` cells before the cell at hand and the `guard` cells before that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BackgroundWorkings {
    /// The statistic.
    pub kind: BackgroundKind,
    /// Cells over which it runs; known once half of them, rounded up, are held.
    pub cells: usize,
    /// Latest cells that are left out.
    pub guard: usize,
}

/// What decides, as of [`crate::Stage::Trigger`] and [`crate::Stage::Pulses`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "the fields of the stages, times in samples")]
pub enum DecisionWorkings {
    /// A level, or an excess over the background.
    Trigger {
        on_above_db: f64,
        off_below_db: f64,
        shortest: u64,
        longest: Option<u64>,
        bridge: u64,
        k_of_n: KOfN,
        hold_off: u64,
        confirm: Confirm,
    },
    /// A train of pulses over the background.
    Pulses {
        rise_db: f64,
        prominence_db: f64,
        min_interval: u64,
        max_interval: u64,
        at_least: u32,
        within: Option<u64>,
        steady: Option<f64>,
        hold_off: u64,
    },
}

/// Why a detector has no workings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WorkingsError {
    /// It is none.
    #[error(transparent)]
    Spec(#[from] SpecError),
    /// Pulses of which some may be missed.
    #[error(
        "pulses of which some may be missed (`of_last`) are not among what can be written down: without `of_last` they are"
    )]
    Missed,
    /// A stage that is not laid open.
    #[error(
        "stage `{word}` is not among those that can be written down: decimate, band, level, exposure, background, trigger, pulses"
    )]
    Stage {
        /// Word of the stage, as of [`crate::Stage::word`].
        word: &'static str,
    },
}

impl Workings {
    /// The numbers of a detector.
    ///
    /// # Errors
    /// Whatever [`Spec`] may have wrong, and [`WorkingsError::Stage`] for the first stage that is not laid open.
    pub fn of(spec: &Spec) -> Result<Self, WorkingsError> {
        let resolved = resolve(spec)?;
        let (level, decision) = laid_open(&resolved)?;
        let sampler = Sampler::new(&resolved)?;
        let shape = level_shape(level, &sampler, resolved.rate_hz)?;
        let hop_s = (shape.hop * shape.factor) as f64 / shape.rate_hz;
        let background = match &resolved.background {
            Some(background) => Some(Background::new(background, hop_s)?.workings(background.kind)),
            None => None,
        };
        let band_rate_hz = shape.rate_hz / shape.factor as f64;
        let measure = match level.measure {
            Measure::MeanSquare | Measure::Exposure => MeasureWorkings::MeanSquare,
            Measure::TeagerKaiser => MeasureWorkings::TeagerKaiser,
            Measure::Exponential => {
                let average = Exponential::new(level.window_s, band_rate_hz).map_err(|source| {
                    SpecError::Filter {
                        stage: level.stage,
                        source,
                    }
                })?;
                let (keep, take) = average.weights();
                MeasureWorkings::Exponential { keep, take }
            }
            Measure::Learned => return Err(WorkingsError::Stage { word: "learned" }),
        };
        Ok(Self {
            rate_hz: resolved.rate_hz,
            lowerings: sampler
                .lowerings()
                .map(|lowering| LoweringWorkings {
                    factor: lowering.factor,
                    half: lowering.half,
                    taps: lowering.taps.to_vec(),
                })
                .collect(),
            sections: sampler.sections().to_vec(),
            measure,
            factor: shape.factor,
            window: shape.window,
            hop: shape.hop,
            reach: shape.reach,
            lead: shape.lead,
            delay: shape.delay,
            scale: shape.scale,
            background,
            decision,
        })
    }

    /// Rate of the band samples, Hz.
    #[must_use]
    pub fn band_rate_hz(&self) -> f64 {
        self.rate_hz / self.factor as f64
    }
}

/// The level and the decision of a detector all of whose stages are laid open.
fn laid_open<'a>(
    resolved: &'a Resolved<'a>,
) -> Result<(&'a LevelSpec, DecisionWorkings), WorkingsError> {
    let closed = |word| Err(WorkingsError::Stage { word });
    let level = match &resolved.measured {
        Measured::Level(level) => level,
        Measured::Matched(_) => return closed("matched"),
        Measured::Learned(_) => return closed("learned"),
        Measured::Frames(_) => return closed("spectrogram"),
    };
    if resolved.judge.waits() {
        return closed("likely");
    }
    let decision = match &resolved.decision {
        Decision::Trigger(trigger) => DecisionWorkings::Trigger {
            on_above_db: trigger.on_above_db,
            off_below_db: trigger.off_below_db,
            shortest: trigger.shortest_samples,
            longest: trigger.longest_samples,
            bridge: trigger.bridge_samples,
            k_of_n: trigger.k_of_n,
            hold_off: trigger.hold_off_samples,
            confirm: trigger.confirm,
        },
        Decision::Pulses(pulses) if pulses.of_last > pulses.at_least => {
            return Err(WorkingsError::Missed);
        }
        Decision::Pulses(pulses) => DecisionWorkings::Pulses {
            rise_db: pulses.rise_db,
            prominence_db: pulses.prominence_db,
            min_interval: pulses.min_interval_samples,
            max_interval: pulses.max_interval_samples,
            at_least: pulses.at_least,
            within: pulses.within_samples,
            steady: pulses.steady,
            hold_off: pulses.hold_off_samples,
        },
        Decision::Ridge(_) => return closed("ridge"),
    };
    Ok((level, decision))
}
