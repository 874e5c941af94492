//! Decimation by a whole factor: a cascade of linear-phase low-pass filters, each computed only where its output is kept.
//!
//! Source: windowed ideal low-pass with the window of J. F. Kaiser (1974) and his rules for its shape parameter and length
//! (formulas from memory; the responses are checked, see `tests/integration/decimation.rs`).
//!
//! A stage that divides a rate `r` by `m` passes up to `pass_hz` and stops from `r/m - pass_hz`, so that whatever folds into
//! the pass band has been stopped first. Every filter has odd length and is symmetric: output `j` represents input sample
//! `j * factor` exactly and is complete when input sample `j * factor + reach` has arrived.
//!
//! Where that is cheaper, the first stage is `n` running means of `m` samples one after another, whose zeros lie just where
//! something folds (E. B. Hogenauer 1981, from memory): `|sin(pi m f/r) / (m sin(pi f/r))|^n`. What they take from the
//! pass band the last stage gives back, by `1 + a (1 - cos w) + b (1 - cos w)^2` folded into its taps, `a` and `b` such that
//! the product is 1 at two frequencies of the pass band.
//!
//! Validity: `pass_hz` below 0.45 of the output rate. Accuracy: ripple in the pass band at most 0.01 dB, folded components
//! at least 80 dB down.

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;

mod design;

use self::design::cheapest;
use crate::block::{Block, Cursor};
use crate::error::{FilterError, StreamError, checked_rate};

const MAX_FACTOR: usize = 65_536;
const MAX_STAGE: usize = 64;
const CHUNK: usize = 2048;
const LANES: usize = 4;
const LARGEST_PASS: f64 = 0.45;
/// Output rate kept above the highest line of a spectrum.
const RATE_OVER_LINES: f64 = 3.0;

/// Lowers the sampling rate by a whole factor.
#[derive(Debug, Clone)]
pub struct Decimator {
    factor: usize,
    rate_hz: f64,
    pass_hz: f64,
    reach: u64,
    cursor: Cursor,
    stages: Vec<Stage>,
}

impl Decimator {
    /// A decimator by `factor` of samples at `rate_hz` that passes 0 to `pass_hz`.
    ///
    /// # Errors
    /// [`FilterError`] for a factor outside 2 to 65 536 or with a prime divisor above 64, a rate that is not positive, or a
    /// pass band not inside 0 to 0.45 of the output rate.
    pub fn new(factor: usize, pass_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        checked_rate(rate_hz)?;
        if !(2..=MAX_FACTOR).contains(&factor) {
            return Err(FilterError::Factor {
                factor,
                max: MAX_FACTOR,
            });
        }
        let limit_hz = LARGEST_PASS * rate_hz / factor as f64;
        if !(pass_hz > 0.0 && pass_hz <= limit_hz) {
            return Err(FilterError::Corner {
                corner_hz: pass_hz,
                nyquist_hz: limit_hz,
            });
        }
        let design = cheapest(factor, pass_hz, rate_hz).ok_or(FilterError::Factor {
            factor,
            max: MAX_STAGE,
        })?;
        let (mut spacing, mut reach, mut room) = (1, 0, CHUNK);
        let mut stages = Vec::new();
        for (m, taps) in design.taps(pass_hz, rate_hz) {
            let stage = Stage::new(m, &taps, room);
            reach += spacing * stage.half as u64;
            spacing *= m as u64;
            room = stage.output.len();
            stages.push(stage);
        }
        Ok(Self {
            factor,
            rate_hz,
            pass_hz,
            reach,
            cursor: Cursor::default(),
            stages,
        })
    }

    /// The decimator for lines of a spectrum up to `high_hz`: the largest factor with divisors 2, 3 and 5 that keeps the output
    /// rate at 3 times `high_hz` or more, passing up to `high_hz`. `None` when the rate is too low to gain anything.
    ///
    /// # Errors
    /// [`FilterError`] for a rate or a frequency that is not a finite positive number.
    pub fn for_lines(high_hz: f64, rate_hz: f64) -> Result<Option<Self>, FilterError> {
        Self::for_band(high_hz, rate_hz, RATE_OVER_LINES, 1.0)
    }

    /// The factor of [`Self::for_lines`], 1 without one.
    pub fn factor_for_lines(high_hz: f64, rate_hz: f64) -> usize {
        largest_factor(high_hz, rate_hz, RATE_OVER_LINES).unwrap_or(1)
    }

    /// The decimator for a band that ends at `high_hz`: as [`Self::for_lines`] with the output rate at `rate_over_high` times
    /// `high_hz` or more, passing up to `pass_over_high` times it.
    pub(crate) fn for_band(
        high_hz: f64,
        rate_hz: f64,
        rate_over_high: f64,
        pass_over_high: f64,
    ) -> Result<Option<Self>, FilterError> {
        checked_rate(rate_hz)?;
        if !(high_hz.is_finite() && high_hz > 0.0) {
            return Err(FilterError::Corner {
                corner_hz: high_hz,
                nyquist_hz: 0.5 * rate_hz,
            });
        }
        largest_factor(high_hz, rate_hz, rate_over_high)
            .map(|m| Self::new(m, pass_over_high * high_hz, rate_hz))
            .transpose()
    }

    /// Input samples to one of the output.
    pub fn factor(&self) -> usize {
        self.factor
    }

    /// Rate of the output, Hz.
    pub fn rate_out_hz(&self) -> f64 {
        self.rate_hz / self.factor as f64
    }

    /// Upper end of the pass band, Hz.
    pub fn pass_hz(&self) -> f64 {
        self.pass_hz
    }

    /// Input samples after `j * factor` that output `j` still needs: the filter's exact group delay in input samples.
    pub fn reach(&self) -> u64 {
        self.reach
    }

    /// Takes the next block and hands out decimated samples as they become complete; `first` counts decimated samples.
    ///
    /// Samples before the first block of the stretch count as zero. Output `j` exists for every `j * factor` at or after the
    /// first sample.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Block<'_>),
    ) -> Result<(), StreamError> {
        if self.cursor.accept(block.first, block.x.len())? {
            let mut first = block.first;
            for stage in &mut self.stages {
                first = stage.start(first);
            }
        }
        for piece in block.x.chunks(CHUNK) {
            run_stages(&mut self.stages, piece, &mut sink);
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        for stage in &mut self.stages {
            stage.buffer.fill(0.0);
        }
    }

    /// Additions and multiplications per second of sound: two for each tap of each output of each stage.
    pub fn operations_per_s(&self) -> f64 {
        let mut rate_hz = self.rate_hz;
        let mut operations = 0.0;
        for stage in &self.stages {
            rate_hz /= stage.m as f64;
            operations += 2.0 * stage.taps.len() as f64 * rate_hz;
        }
        operations
    }

    /// Memory that it holds, bytes.
    pub fn state_bytes(&self) -> usize {
        let stages = self.stages.iter().map(|stage| {
            let samples = stage.taps.capacity() + stage.buffer.capacity() + stage.output.capacity();
            size_of::<Stage>() + samples * size_of::<f32>()
        });
        size_of::<Self>() + stages.sum::<usize>()
    }

    /// Its filters, in the order in which the samples pass them.
    pub fn lowerings(&self) -> impl Iterator<Item = Lowering<'_>> {
        self.stages.iter().map(|stage| Lowering {
            factor: stage.m,
            half: stage.half,
            taps: &stage.taps,
        })
    }

    /// Gain at `f_hz` of the input, linear: what a tone of that frequency keeps before it is folded.
    pub fn gain(&self, f_hz: f64) -> f64 {
        let mut rate = self.rate_hz;
        let mut gain = 1.0;
        for stage in &self.stages {
            gain *= stage.gain(f_hz, rate);
            rate /= stage.m as f64;
        }
        gain
    }
}

fn run_stages(stages: &mut [Stage], x: &[f32], sink: &mut impl FnMut(Block<'_>)) {
    let Some((stage, rest)) = stages.split_first_mut() else {
        return;
    };
    let first = stage.next_out;
    let n = stage.run(x);
    if n == 0 {
        return;
    }
    let y = &stage.output[..n];
    if rest.is_empty() {
        sink(Block { first, x: y });
    } else {
        run_stages(rest, y, sink);
    }
}

/// One filter of a [`Decimator`]: output `j` is the sum of `taps` times the samples that end with `j * factor + half`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lowering<'a> {
    /// Samples in to one out.
    pub factor: usize,
    /// Samples after the one that an output stands for.
    pub half: usize,
    /// Oldest sample first, zeros in front to a whole number of lanes of four.
    pub taps: &'a [f32],
}

/// One linear-phase filter and divider.
#[derive(Debug, Clone)]
struct Stage {
    m: usize,
    half: usize,
    /// Oldest sample first, zeros in front to a whole number of lanes.
    taps: Vec<f32>,
    /// The last `taps.len() - 1` samples, then the piece at hand.
    buffer: Vec<f32>,
    output: Vec<f32>,
    next_in: u64,
    next_out: u64,
}

impl Stage {
    /// A stage of `taps`, symmetric and odd in number, for pieces of at most `room` samples.
    fn new(m: usize, taps: &[f64], room: usize) -> Self {
        let padded = taps.len().next_multiple_of(LANES);
        let mut single = vec![0.0_f32; padded - taps.len()];
        single.extend(taps.iter().map(|&h| h as f32));
        Self {
            m,
            half: taps.len() / 2,
            buffer: vec![0.0; padded - 1 + room],
            output: vec![0.0; room / m + 1],
            taps: single,
            next_in: 0,
            next_out: 0,
        }
    }

    /// Begins a stretch at absolute input index `first`; tells the first output index.
    fn start(&mut self, first: u64) -> u64 {
        self.next_in = first;
        self.next_out = first.div_ceil(self.m as u64);
        self.next_out
    }

    /// Filters a piece no longer than the room; tells how many outputs were written.
    fn run(&mut self, x: &[f32]) -> usize {
        let l = self.taps.len();
        let keep = l - 1;
        self.buffer[keep..keep + x.len()].copy_from_slice(x);
        let end = self.next_in + x.len() as u64;
        let newest = self.next_out * self.m as u64 + self.half as u64;
        let mut n = 0;
        if newest < end {
            let mut oldest = (newest - self.next_in) as usize;
            let outputs = (x.len() - 1 - oldest) / self.m + 1;
            let taps = self.taps.as_chunks::<LANES>().0;
            let (fours, rest) = self.output[..outputs].as_chunks_mut::<4>();
            for y in fours {
                *y = four_dots(taps, &self.buffer[oldest..oldest + l + 3 * self.m], self.m);
                oldest += 4 * self.m;
            }
            for y in rest {
                *y = dot(taps, &self.buffer[oldest..oldest + l]);
                oldest += self.m;
            }
            n = outputs;
        }
        self.buffer.copy_within(x.len()..x.len() + keep, 0);
        self.next_in = end;
        self.next_out += n as u64;
        n
    }

    fn gain(&self, f_hz: f64, rate_hz: f64) -> f64 {
        let centre = self.taps.len() - 1 - self.half;
        let omega = 2.0 * PI * f_hz / rate_hz;
        self.taps
            .iter()
            .enumerate()
            .map(|(i, &h)| f64::from(h) * libm::cos(omega * (i as f64 - centre as f64)))
            .sum()
    }
}

type Lanes = [f32; LANES];

/// Sum of products in four lanes.
fn dot(taps: &[Lanes], x: &[f32]) -> f32 {
    let mut lanes = [0.0; LANES];
    for (h, a) in taps.iter().zip(x.as_chunks::<LANES>().0) {
        for i in 0..LANES {
            lanes[i] += h[i] * a[i];
        }
    }
    fold(&lanes)
}

/// Four outputs side by side, `step` samples apart, each summed in the same order as by [`dot`].
fn four_dots(taps: &[Lanes], x: &[f32], step: usize) -> [f32; 4] {
    let chunks = |j: usize| x[j * step..].as_chunks::<LANES>().0.iter();
    let mut lanes = [[0.0; LANES]; 4];
    for ((((h, a), b), c), d) in taps
        .iter()
        .zip(chunks(0))
        .zip(chunks(1))
        .zip(chunks(2))
        .zip(chunks(3))
    {
        for i in 0..LANES {
            lanes[0][i] += h[i] * a[i];
            lanes[1][i] += h[i] * b[i];
            lanes[2][i] += h[i] * c[i];
            lanes[3][i] += h[i] * d[i];
        }
    }
    fold_four(&lanes)
}

/// Adds the lanes of four outputs. Not inlined: else the compiler lays lanes across outputs and shuffles in the inner loop.
#[inline(never)]
fn fold_four(lanes: &[Lanes; 4]) -> [f32; 4] {
    [
        fold(&lanes[0]),
        fold(&lanes[1]),
        fold(&lanes[2]),
        fold(&lanes[3]),
    ]
}

#[inline(always)]
fn fold(l: &Lanes) -> f32 {
    (l[0] + l[2]) + (l[1] + l[3])
}

/// The largest factor with divisors 2, 3 and 5 that keeps the rate at `rate_over_high` times `high_hz` or more.
fn largest_factor(high_hz: f64, rate_hz: f64, rate_over_high: f64) -> Option<usize> {
    let limit = (rate_hz / (rate_over_high * high_hz)).min(MAX_FACTOR as f64) as usize;
    (2..=limit).rev().find(|&m| is_smooth(m))
}

fn is_smooth(mut m: usize) -> bool {
    for p in [2, 3, 5] {
        while m.is_multiple_of(p) {
            m /= p;
        }
    }
    m == 1
}
