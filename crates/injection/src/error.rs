//! Why nothing comes of an injection.

use thiserror::Error;

/// Why nothing comes of an injection.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum InjectionError {
    /// A figure that cannot be.
    #[error("{what} must be {expected}, not {value}")]
    Value {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        expected: &'static str,
    },
    /// A call of exact silence.
    #[error("the call is silent")]
    Silent,
    /// A call without energy in the band of the detector.
    #[error(
        "the call has no energy between {low_hz} Hz and {high_hz} Hz, where the detector listens"
    )]
    OutsideBand {
        /// Lower edge of the detector's band, Hz.
        low_hz: f64,
        /// Upper edge, Hz.
        high_hz: f64,
    },
    /// A call does not fit into its stretch of noise with what is heard after it, or overlaps the one before.
    #[error(
        "call {index} of {samples} samples cannot begin at sample {begin} of {noise} samples of noise"
    )]
    Place {
        /// Which call, from 0.
        index: usize,
        /// Where it was to begin.
        begin: u64,
        /// Its samples with those after it.
        samples: u64,
        /// Samples of the stretch.
        noise: usize,
    },
    /// Signal-to-noise ratios that do not rise, or none.
    #[error("signal-to-noise ratios must be finite and rise")]
    Ratios,
    /// Noise without a level: silence.
    #[error("the noise about call {index} is silent: there is no ratio to it")]
    NoiseLevel {
        /// Which call, from 0.
        index: usize,
    },
    /// Other numbers of levels and of calls.
    #[error("{calls} calls cannot lie in noise of {levels} levels")]
    NoiseLevels {
        /// How many calls were to be put.
        calls: usize,
        /// How many levels of noise were given.
        levels: usize,
    },
    /// A detector that cannot be.
    #[error("the detector: {0}")]
    Detector(#[from] detect::SpecError),
    /// Samples that no level can be formed of.
    #[error("the detector: {0}")]
    Push(#[from] detect::PushError),
    /// A converter that cannot be.
    #[error("the converter: {0}")]
    Chain(#[from] signal::ChainError),
    /// A spectrum that cannot be formed.
    #[error("the spectrum: {0}")]
    Spectrum(#[from] signal::SpectrumError),
    /// Samples of which no spectrum can be formed.
    #[error("the noise: {0}")]
    Stream(#[from] signal::StreamError),
    /// A law outside its range.
    #[error(transparent)]
    Law(#[from] chance::LawError),
    /// Limits that cannot be given.
    #[error(transparent)]
    Limit(#[from] chance::LimitError),
}
