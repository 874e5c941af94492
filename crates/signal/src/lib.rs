//! Blocks of samples, levels, filters, spectra and synthesis; streaming, without the standard library.
//!
//! Everything here streams: a result does not depend on how the samples were cut into blocks, bit for bit, because every
//! hop, frame and partial sum is anchored at the absolute sample index. Memory is taken in constructors only and does not
//! grow with the length of a recording.
//!
//! Features: `fft` (default) adds [`Welch`], [`Spectrogram`] and [`ShapedNoise`], which need the standard
//! library and an FFT. Without it the crate is `no_std` with `alloc`; [`Frames`] bring a transform of their own.
#![cfg_attr(not(any(test, feature = "fft")), no_std)]

extern crate alloc;

mod band;
mod bank;
mod block;
mod budget;
mod butterworth;
mod chain;
mod decidecade;
mod decimate;
mod error;
mod fourier;
mod frames;
mod front;
mod level;
mod mean_square;
mod moments;
mod pick_up;
mod sos;
mod synth;
mod table;
mod teager;
mod transform;
mod weighting;
mod wide;

#[cfg(feature = "fft")]
mod convolve;
#[cfg(feature = "fft")]
mod delay;
#[cfg(feature = "fft")]
mod fft;
#[cfg(feature = "fft")]
mod noise;
#[cfg(feature = "fft")]
mod spectrogram;
#[cfg(feature = "fft")]
mod transient;
#[cfg(feature = "fft")]
mod welch;

/// Version of what this crate makes of samples: filters, levels, spectra, chains, synthesised noise. Evidence names it, so that a build that comes to
/// something else leaves older evidence out: raise it with every change of the frozen counts (`tests/integration/frozen.rs`).
pub const METHOD: u32 = 1;

pub use band::{band_levels_db, band_power};
pub use bank::{BandBlock, DecidecadeBank};
pub use block::Block;
pub use budget::{ChainNoise, NoiseParts, clipped_share, power_sum_db};
pub use butterworth::{butterworth_bandpass, butterworth_highpass, butterworth_lowpass};
pub use chain::{HighPass, SensorChain};
pub use decidecade::{Decidecade, decidecades};
pub use decimate::{Decimator, Lowering};
pub use error::{BankError, ChainError, FilterError, SpectrumError, StreamError, SynthError};
pub use frames::{Frame, Frames};
pub use front::BandFront;
pub use level::{
    AIR_REFERENCE_UPA, Levels, WATER_REFERENCE_UPA, exposure_level_db, level_db, peak_level_db,
};
pub use mean_square::{Cell, Mean, MeanSquare, Windows};
pub use moments::Moments;
pub use pick_up::{
    Folded, KeptOut, LowPass, Oversampling, folded_hz, folded_noise_upa2, folds, passes_for_db,
    shown_passes_for_db, tick_share,
};
pub use sos::Sos;
pub use synth::{BladeModulation, ClickTrain, Hum, PulseTrain, Sweep, Tonal, Tone};
pub use table::table_level_db;
pub use teager::TeagerKaiser;
pub use transform::{Complex, Transform};
pub use weighting::{Exponential, FAST_S, SLOW_S};
pub use wide::{Widest, Work};

#[cfg(feature = "fft")]
pub use delay::{
    DelayError, TimeDifference, likeness_by_chance, time_difference, time_difference_bound_s,
};
#[cfg(feature = "fft")]
pub use fft::Arithmetic;
#[cfg(feature = "fft")]
pub use noise::{Ends, ShapedNoise, design_shaping_fir};
#[cfg(feature = "fft")]
pub use spectrogram::{Spectrogram, SpectrogramColumn};
#[cfg(feature = "fft")]
pub use transient::{BandEnergy, band_energies, band_energy, energy_band_hz};
#[cfg(feature = "fft")]
pub use welch::{Psd, Welch};
