//! Convolution with a long filter by overlap-save.
//!
//! Blocks of `step` outputs are anchored at multiples of `step` of the absolute index; each is computed from one transform,
//! so that its bits depend neither on how the samples were cut nor, with [`Arithmetic::Scalar`], on the processor.

use rustfft::num_complex::Complex64;

use crate::error::SpectrumError;
use crate::fft::{Arithmetic, RealFft};

const LONGEST: usize = 1 << 20;

/// One transform of overlap-save: filter lines and buffers.
#[derive(Debug, Clone)]
pub(crate) struct Convolver {
    pub(crate) taps: usize,
    pub(crate) step: usize,
    fft: RealFft,
    filter: Vec<Complex64>,
    lines: Vec<Complex64>,
    /// `taps - 1` samples before the block, then the block.
    pub(crate) input: Vec<f64>,
    output: Vec<f64>,
}

impl Convolver {
    pub(crate) fn new(taps: &[f64], arithmetic: Arithmetic) -> Result<Self, SpectrumError> {
        if !(1..=LONGEST).contains(&taps.len()) {
            return Err(SpectrumError::Length {
                what: "filter",
                samples: taps.len(),
                min: 1,
                max: LONGEST,
            });
        }
        let n = (4 * taps.len()).next_power_of_two().max(64);
        let mut fft = RealFft::new(n, arithmetic);
        let mut padded = vec![0.0; n];
        padded[..taps.len()].copy_from_slice(taps);
        let mut filter = vec![Complex64::default(); n / 2 + 1];
        fft.forward(&padded, &mut filter);
        Ok(Self {
            taps: taps.len(),
            step: n - taps.len() + 1,
            fft,
            lines: vec![Complex64::default(); filter.len()],
            filter,
            input: vec![0.0; n],
            output: padded,
        })
    }

    /// The `step` outputs of the block in `input`.
    pub(crate) fn run(&mut self) -> &[f64] {
        self.fft.forward(&self.input, &mut self.lines);
        for (l, f) in self.lines.iter_mut().zip(&self.filter) {
            *l *= f;
        }
        self.fft.inverse(&self.lines, &mut self.output);
        &self.output[self.taps - 1..]
    }

    /// Moves the last `taps - 1` samples to the front: they come before the next block.
    pub(crate) fn shift(&mut self) {
        self.input.copy_within(self.step.., 0);
    }
}
