//! Windows of samples through a model that was learned elsewhere: the seam behind which any runtime may stand.
//!
//! Window `k` holds band samples `k hop` to `k hop + window` (the end excluded), numbered from the origin of the stretch, so
//! that cutting into blocks changes nothing that the model is given. The model gives one number for each; as a probability
//! `p` or as log-odds `z = ln(p / (1 - p))` it becomes a level in decibels, `10 lg(p / (1 - p)) = 10 z / ln 10`: 0 dB where
//! both answers are as likely, and each further 10 dB is ten times the odds. The cell's power is the odds themselves.
//!
//! A probability of exactly 1 is what single precision makes of anything above `1 - 2^-25`; it is told as that, 75.3 dB. A
//! probability of exactly 0 is minus infinity, as silence is.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;
use core::fmt::Debug;

use signal::Block;

use crate::error::{PushError, SpecError};
use crate::resolve::LearnedSpec;

/// Most samples that a window may hold.
const MOST_SAMPLES: u64 = 1 << 22;
/// Beyond so much, natural units, odds are no number that could be told (3000 dB).
const MOST_LOG_ODDS: f64 = 690.0;
/// Odds of a probability that single precision rounds to 1: `(1 - 2^-25) / 2^-25`.
const ODDS_AT_ONE: f64 = 33_554_431.0;
/// Operations that bring a sample to the model's unit.
const OPERATIONS_PER_SAMPLE: f64 = 4.0;

/// A learned model, before it is known how many samples its window holds.
pub trait Model: Debug + Send + Sync {
    /// What tells it from every other one, such as the SHA-256 of its file.
    fn digest(&self) -> &str;

    /// The model made ready for windows of so many samples, or why it cannot be, in the words of the runtime.
    ///
    /// # Errors
    /// When it takes windows of another length only, or cannot run at all.
    fn ready(&self, samples: usize) -> Result<Arc<dyn Network>, String>;
}

/// A model at work. The same samples give the same number, whatever it was given before.
pub trait Network: Debug + Send + Sync {
    /// The one number that it makes of a window.
    ///
    /// # Errors
    /// When the runtime fails, in its words.
    fn value(&self, window: &[f32]) -> Result<f64, String>;

    /// Additions and multiplications for one window; `None` where the runtime cannot tell.
    fn operations(&self) -> Option<f64>;

    /// Memory that it holds, bytes.
    fn state_bytes(&self) -> usize;
}

/// A model as a stage holds it. Two are equal when their digests are.
#[derive(Clone)]
pub struct Learned(Arc<dyn Model>);

/// The digest alone: what a runtime makes of a model is not the same text twice, and evidence is kept under the text of a spec.
impl Debug for Learned {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_tuple("Learned").field(&self.0.digest()).finish()
    }
}

impl Learned {
    /// A stage's share of a model.
    #[must_use]
    pub fn new(model: Arc<dyn Model>) -> Self {
        Self(model)
    }
}

impl PartialEq for Learned {
    fn eq(&self, other: &Self) -> bool {
        self.0.digest() == other.0.digest()
    }
}

/// In which unit a model takes its samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ModelInput {
    /// Each window divided by its own root mean square; a silent window stays zero.
    UnitRms,
    /// Sound pressure over a reference.
    Pressure {
        /// The reference, uPa, greater than zero.
        reference_upa: f64,
    },
}

/// What the number that a model gives is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ModelGives {
    /// A probability, 0 to 1.
    Probability,
    /// `ln(p / (1 - p))`, what a model gives ahead of its logistic function.
    LogOdds,
}

/// The windows of a stretch, and the model that is held against each.
#[derive(Clone, Debug)]
pub(crate) struct LearnedMeter {
    network: Arc<dyn Network>,
    input: ModelInput,
    gives: ModelGives,
    window: usize,
    hop: usize,
    /// The samples of the window at hand, and room for them in the model's unit.
    buffer: Vec<f32>,
    scaled: Vec<f32>,
    /// Number of the buffer's first sample; `None` before the first of the stretch.
    place: Option<u64>,
}

/// The odds of one window.
pub(crate) struct Odds {
    pub(crate) k: u64,
    pub(crate) odds: f64,
    pub(crate) last: u64,
}

/// A window of which no odds can be told: its number, its last sample, and why where the samples are not to blame.
pub(crate) struct Fault {
    pub(crate) k: u64,
    pub(crate) last: u64,
    pub(crate) why: Option<String>,
}

impl LearnedMeter {
    /// Window and hop in band samples.
    pub(crate) fn new(spec: &LearnedSpec<'_>, window: u64, hop: u64) -> Result<Self, SpecError> {
        let stage = spec.level.stage;
        if window > MOST_SAMPLES {
            return Err(SpecError::ModelWindow {
                stage,
                samples: window,
                most: MOST_SAMPLES,
            });
        }
        let window = window as usize;
        let network = spec
            .model
            .0
            .ready(window)
            .map_err(|why| SpecError::Model { stage, why })?;
        Ok(Self {
            network,
            input: spec.input,
            gives: spec.gives,
            window,
            hop: hop as usize,
            buffer: Vec::with_capacity(window),
            scaled: Vec::with_capacity(window),
            place: None,
        })
    }

    /// Take band samples and hand out the odds of each window that they complete. The caller has checked that blocks follow
    /// each other.
    pub(crate) fn process(&mut self, block: Block<'_>, mut sink: impl FnMut(Result<Odds, Fault>)) {
        let hop = self.hop as u64;
        let mut place = self
            .place
            .unwrap_or_else(|| block.first.div_ceil(hop) * hop);
        // Only ahead of the first window of a stretch are there samples to pass over: a hop is no longer than a window.
        let ahead = place.saturating_sub(block.first);
        let passed = ahead.min(block.x.len() as u64) as usize;
        let mut x = &block.x[passed..];
        while !x.is_empty() {
            let room = (self.window - self.buffer.len()).min(x.len());
            self.buffer.extend_from_slice(&x[..room]);
            x = &x[room..];
            if self.buffer.len() == self.window {
                let (k, last) = (place / hop, place + self.window as u64 - 1);
                sink(match self.odds() {
                    Ok(odds) => Ok(Odds { k, odds, last }),
                    Err(why) => Err(Fault { k, last, why }),
                });
                self.buffer.copy_within(self.hop.., 0);
                self.buffer.truncate(self.window - self.hop);
                place += hop;
            }
        }
        self.place = Some(place);
    }

    fn odds(&mut self) -> Result<f64, Option<String>> {
        let scale = match self.input {
            ModelInput::Pressure { reference_upa } => 1.0 / reference_upa,
            ModelInput::UnitRms => {
                let energy = self.buffer.iter().map(|&x| f64::from(x) * f64::from(x));
                let rms = libm::sqrt(energy.sum::<f64>() / self.window as f64);
                if rms == 0.0 { 0.0 } else { 1.0 / rms }
            }
        };
        self.scaled.clear();
        let scaled = self.buffer.iter().map(|&x| (f64::from(x) * scale) as f32);
        self.scaled.extend(scaled);
        if self.scaled.iter().any(|x| !x.is_finite()) {
            return Err(None);
        }
        let value = self.network.value(&self.scaled).map_err(Some)?;
        odds(value, self.gives).ok_or_else(|| {
            let told = match self.gives {
                ModelGives::Probability => "a probability lies between 0 and 1",
                ModelGives::LogOdds => "log-odds lie between -690 and 690",
            };
            Some(alloc::format!("it gives {value}, and {told}"))
        })
    }

    pub(crate) fn reset(&mut self) {
        self.buffer.clear();
        self.place = None;
    }

    pub(crate) fn operations_per_window(&self) -> Option<f64> {
        let scaling = OPERATIONS_PER_SAMPLE * self.window as f64;
        Some(self.network.operations()? + scaling)
    }

    pub(crate) fn state_bytes(&self) -> usize {
        size_of::<Self>()
            + (self.buffer.capacity() + self.scaled.capacity()) * size_of::<f32>()
            + self.network.state_bytes()
    }
}

/// `p / (1 - p)`; `None` for a number that is not what the model is said to give.
fn odds(value: f64, gives: ModelGives) -> Option<f64> {
    match gives {
        ModelGives::Probability if value == 1.0 => Some(ODDS_AT_ONE),
        ModelGives::Probability => (0.0..1.0).contains(&value).then(|| value / (1.0 - value)),
        ModelGives::LogOdds => (value.abs() <= MOST_LOG_ODDS).then(|| libm::exp(value)),
    }
}

impl Fault {
    /// The same as an error of the samples from `begin_sample` to `end_sample`.
    pub(crate) fn told(self, begin_sample: u64, end_sample: u64) -> PushError {
        match self.why {
            None => PushError::NotFinite {
                begin_sample,
                end_sample,
            },
            Some(why) => PushError::Model {
                begin_sample,
                end_sample,
                why,
            },
        }
    }
}
