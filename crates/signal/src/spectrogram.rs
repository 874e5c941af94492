//! Windowed power spectral densities, frame by frame.
//!
//! Frame `k` covers samples `k * hop` to `k * hop + segment` (the end excluded), anchored at the absolute sample index. Hann
//! window, density scaling: `2 |X|^2 / (rate sum w^2)`, single at 0 and at half the rate. The mean is not removed.

use rustfft::num_complex::Complex64;

use crate::block::{Block, Cursor};
use crate::error::{SpectrumError, StreamError};
use crate::fft::{Arithmetic, RealFft, hann};

const SHORTEST: usize = 4;
const LONGEST: usize = 1 << 24;

/// The power spectral density of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectrogramColumn<'a> {
    /// Number of the frame: it begins at sample `k * hop`.
    pub k: u64,
    /// Index of the last sample of the frame.
    pub last: u64,
    /// One-sided density, lines 0 to `segment / 2`, in the square of the samples' unit per Hz.
    pub density: &'a [f64],
}

/// Frames of `segment` samples every `hop` samples, told as they become complete.
#[derive(Debug, Clone)]
pub struct Spectrogram {
    rate_hz: f64,
    hop: usize,
    window: Vec<f64>,
    scale: f64,
    fft: RealFft,
    cursor: Cursor,
    /// Samples still to pass before the frame at hand begins.
    skip: u64,
    k: u64,
    filled: usize,
    frame: Vec<f32>,
    windowed: Vec<f64>,
    lines: Vec<Complex64>,
    density: Vec<f64>,
}

impl Spectrogram {
    /// Frames of `segment` samples (even) at `rate_hz`, one every `hop` samples.
    ///
    /// # Errors
    /// [`SpectrumError`] for a rate that is not positive, a segment that is odd or outside 4 to 2^24, or a hop of 0 or above 2^24.
    pub fn new(
        segment: usize,
        hop: usize,
        rate_hz: f64,
        arithmetic: Arithmetic,
    ) -> Result<Self, SpectrumError> {
        if !(rate_hz.is_finite() && rate_hz > 0.0) {
            return Err(SpectrumError::Rate { rate_hz });
        }
        if !(SHORTEST..=LONGEST).contains(&segment) {
            return Err(SpectrumError::Length {
                what: "segment",
                samples: segment,
                min: SHORTEST,
                max: LONGEST,
            });
        }
        if !segment.is_multiple_of(2) {
            return Err(SpectrumError::Odd { segment });
        }
        if !(1..=LONGEST).contains(&hop) {
            return Err(SpectrumError::Length {
                what: "hop",
                samples: hop,
                min: 1,
                max: LONGEST,
            });
        }
        let window = hann(segment);
        let energy: f64 = window.iter().map(|w| w * w).sum();
        Ok(Self {
            rate_hz,
            hop,
            scale: 1.0 / (rate_hz * energy),
            window,
            fft: RealFft::new(segment, arithmetic),
            cursor: Cursor::default(),
            skip: 0,
            k: 0,
            filled: 0,
            frame: vec![0.0; segment],
            windowed: vec![0.0; segment],
            lines: vec![Complex64::default(); segment / 2 + 1],
            density: vec![0.0; segment / 2 + 1],
        })
    }

    /// Distance between lines, Hz.
    pub fn bin_hz(&self) -> f64 {
        self.rate_hz / self.segment() as f64
    }

    /// Samples in a frame.
    pub fn segment(&self) -> usize {
        self.frame.len()
    }

    /// Samples between the beginnings of frames.
    pub fn hop(&self) -> usize {
        self.hop
    }

    /// Takes the next block and hands out the frames that it completes. Frames that begin before the stretch are not told.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(SpectrogramColumn<'_>),
    ) -> Result<(), StreamError> {
        if self.cursor.accept(block.first, block.x.len())? {
            self.k = block.first.div_ceil(self.hop as u64);
            self.skip = self.k * self.hop as u64 - block.first;
        }
        let mut x = block.x;
        while !x.is_empty() {
            let skipped = self.skip.min(x.len() as u64);
            self.skip -= skipped;
            x = &x[skipped as usize..];
            let n = (self.segment() - self.filled).min(x.len());
            self.frame[self.filled..self.filled + n].copy_from_slice(&x[..n]);
            self.filled += n;
            x = &x[n..];
            if self.filled == self.segment() {
                self.transform();
                let last = self.k * self.hop as u64 + self.segment() as u64 - 1;
                sink(SpectrogramColumn {
                    k: self.k,
                    last,
                    density: &self.density,
                });
                self.advance();
            }
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.filled = 0;
        self.skip = 0;
    }

    fn transform(&mut self) {
        for ((v, w), x) in self.windowed.iter_mut().zip(&self.window).zip(&self.frame) {
            *v = w * f64::from(*x);
        }
        self.fft.forward(&self.windowed, &mut self.lines);
        for (d, c) in self.density.iter_mut().zip(&self.lines) {
            *d = 2.0 * self.scale * c.norm_sqr();
        }
        let last = self.density.len() - 1;
        self.density[0] *= 0.5;
        self.density[last] *= 0.5;
    }

    fn advance(&mut self) {
        self.k += 1;
        if self.hop < self.segment() {
            self.frame.copy_within(self.hop.., 0);
            self.filled -= self.hop;
        } else {
            self.skip = (self.hop - self.segment()) as u64;
            self.filled = 0;
        }
    }
}
