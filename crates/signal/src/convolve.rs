//! Convolution with a long filter by overlap-save.
//!
//! Blocks of `step` outputs are anchored at multiples of `step` of the absolute index; each is computed from one transform,
//! so that its bits depend neither on how the samples were cut nor, with [`Arithmetic::Scalar`], on the processor.

use rustfft::num_complex::Complex64;

use crate::block::{Block, Cursor};
use crate::error::{SpectrumError, StreamError};
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

/// A streaming filter of many taps: `y[n] = sum h[k] x[n-k]`, samples before the stretch counting as zero.
#[derive(Debug, Clone)]
pub struct OverlapSave {
    convolver: Convolver,
    cursor: Cursor,
    /// Absolute index of the block at hand.
    block: u64,
    filled: usize,
    /// First index of the stretch: nothing is told before it.
    origin: u64,
    ready: Vec<f32>,
}

impl OverlapSave {
    /// A filter with the given taps.
    ///
    /// # Errors
    /// [`SpectrumError::Length`] for no taps or more than 2^20.
    pub fn new(taps: &[f64], arithmetic: Arithmetic) -> Result<Self, SpectrumError> {
        let convolver = Convolver::new(taps, arithmetic)?;
        let ready = vec![0.0; convolver.step];
        Ok(Self {
            convolver,
            cursor: Cursor::default(),
            block: 0,
            filled: 0,
            origin: 0,
            ready,
        })
    }

    /// Outputs computed at once: an output is told when the block of `step` inputs that holds its index is complete.
    pub fn step(&self) -> usize {
        self.convolver.step
    }

    /// Takes the next block of samples and hands out filtered ones as they become known.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Block<'_>),
    ) -> Result<(), StreamError> {
        let step = self.convolver.step;
        if self.cursor.accept(block.first, block.x.len())? {
            self.origin = block.first;
            self.block = block.first / step as u64;
            self.filled = (block.first % step as u64) as usize;
            self.convolver.input.fill(0.0);
        }
        let mut x = block.x;
        let before = self.convolver.taps - 1;
        while !x.is_empty() {
            let n = (step - self.filled).min(x.len());
            let room = &mut self.convolver.input[before + self.filled..before + self.filled + n];
            for (r, v) in room.iter_mut().zip(x) {
                *r = f64::from(*v);
            }
            self.filled += n;
            x = &x[n..];
            if self.filled == step {
                for (r, y) in self.ready.iter_mut().zip(self.convolver.run()) {
                    *r = *y as f32;
                }
                let first = self.block * step as u64;
                let hidden = self.origin.saturating_sub(first) as usize;
                sink(Block {
                    first: first + hidden as u64,
                    x: &self.ready[hidden..],
                });
                self.convolver.shift();
                self.block += 1;
                self.filled = 0;
            }
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.filled = 0;
    }
}
