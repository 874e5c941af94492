//! Averaged power spectral density.
//!
//! Source: P. D. Welch (1967), averaged modified periodograms: the mean of the frames of [`crate::Spectrogram`]. Hann window,
//! density scaling, one-sided, mean not removed (checked against an independent library).

use crate::band::band_power;
use crate::block::Block;
use crate::error::{SpectrumError, StreamError};
use crate::fft::Arithmetic;
use crate::spectrogram::Spectrogram;

/// A one-sided power spectral density.
#[derive(Debug, Clone, PartialEq)]
pub struct Psd {
    /// Distance between lines, Hz; line 0 is at 0 Hz.
    pub bin_hz: f64,
    /// Density, in the square of the samples' unit per Hz.
    pub density: Vec<f64>,
    /// How many segments the density is the mean of.
    pub segments: u64,
}

impl Psd {
    /// Power in a band, edge lines cut in proportion; see [`crate::band_power`].
    ///
    /// # Errors
    /// [`SpectrumError::Band`] for a band that is not `0 <= low < high` within the spectrum.
    pub fn band_power(&self, low_hz: f64, high_hz: f64) -> Result<f64, SpectrumError> {
        band_power(&self.density, self.bin_hz, low_hz, high_hz)
    }

    /// Power of the whole spectrum: by Parseval's theorem the mean square of the samples, up to the window's weighting.
    pub fn total_power(&self) -> f64 {
        self.density.iter().sum::<f64>() * self.bin_hz
    }
}

/// Averages the density of overlapping segments.
#[derive(Debug, Clone)]
pub struct Welch {
    frames: Spectrogram,
    sum: Vec<f64>,
    segments: u64,
}

impl Welch {
    /// Segments of `segment` samples (even) at `rate_hz`, one every `hop` samples (half a segment is usual).
    ///
    /// # Errors
    /// As [`Spectrogram::new`].
    pub fn new(
        segment: usize,
        hop: usize,
        rate_hz: f64,
        arithmetic: Arithmetic,
    ) -> Result<Self, SpectrumError> {
        let frames = Spectrogram::new(segment, hop, rate_hz, arithmetic)?;
        Ok(Self {
            frames,
            sum: vec![0.0; segment / 2 + 1],
            segments: 0,
        })
    }

    /// Takes the next block.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(&mut self, block: Block<'_>) -> Result<(), StreamError> {
        let Self {
            frames,
            sum,
            segments,
        } = self;
        frames.process(block, |column| {
            for (s, d) in sum.iter_mut().zip(column.density) {
                *s += d;
            }
            *segments += 1;
        })
    }

    /// Segments heard so far.
    pub fn segments(&self) -> u64 {
        self.segments
    }

    /// The mean density so far.
    ///
    /// # Errors
    /// [`SpectrumError::NoSegment`] before the first whole segment.
    pub fn psd(&self) -> Result<Psd, SpectrumError> {
        if self.segments == 0 {
            return Err(SpectrumError::NoSegment {
                segment: self.frames.segment(),
            });
        }
        let n = self.segments as f64;
        let density = self.sum.iter().map(|s| s / n).collect();
        Ok(Psd {
            bin_hz: self.frames.bin_hz(),
            density,
            segments: self.segments,
        })
    }

    /// Forgets everything heard, the average too.
    pub fn reset(&mut self) {
        self.frames.reset();
        self.sum.fill(0.0);
        self.segments = 0;
    }

    /// Begins a new stretch (after a gap) and keeps the average.
    pub fn new_stretch(&mut self) {
        self.frames.reset();
    }
}
