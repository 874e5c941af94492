//! Levels of underwater sound.
//!
//! Source: ISO 18405:2017 (definitions; wording from memory). Sound pressure level `10 lg(<p^2>/p0^2)`, sound exposure level
//! `10 lg(int p^2 dt / (p0^2 1 s))`, zero-to-peak level `20 lg(max|p|/p0)`, with `p0` = 1 micropascal in water.

use crate::error::{FilterError, checked_rate};
use crate::mean_square::SquareSum;

/// Reference sound pressure in water, uPa (ISO 18405).
pub const WATER_REFERENCE_UPA: f64 = 1.0;
/// Reference sound pressure in air, uPa (20 uPa).
pub const AIR_REFERENCE_UPA: f64 = 20.0;

/// Level in dB of a mean square against `reference` (a pressure or voltage in the unit whose square `mean_square` has).
///
/// A mean square of 0 is -infinity; a negative one or not-a-number is not-a-number.
pub fn level_db(mean_square: f64, reference: f64) -> f64 {
    10.0 * libm::log10(mean_square / (reference * reference))
}

/// Exposure level in dB re `reference`^2 times 1 s, of a mean square lasting `duration_s`. Zero is -infinity.
pub fn exposure_level_db(mean_square: f64, duration_s: f64, reference: f64) -> f64 {
    level_db(mean_square * duration_s, reference)
}

/// Peak level in dB of the magnitude `peak` against `reference`. Zero is -infinity.
pub fn peak_level_db(peak: f64, reference: f64) -> f64 {
    20.0 * libm::log10(peak / reference)
}

const LANES: usize = 8;
/// Samples that are summed in single precision.
const RUN: u64 = 2048;

fn total(run: &[f32; LANES]) -> f64 {
    run.iter().map(|&v| f64::from(v)).sum()
}

/// Running levels of a stretch: mean square, exposure, zero-to-peak and peak-to-peak, merged block by block.
///
/// Not-a-number among the samples makes every figure not-a-number. Before the first sample the mean square is
/// not-a-number too: nothing has been heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Levels {
    rate_hz: f64,
    sum: SquareSum,
    /// Sum of the samples up to the last whole run.
    runs: f64,
    /// Sums of the run at hand in lanes by position.
    run: [f32; LANES],
    highest: f32,
    lowest: f32,
}

impl Levels {
    /// Nothing heard yet, of samples at `rate_hz`.
    ///
    /// # Errors
    /// [`FilterError::Rate`] for a rate that is not a finite positive number.
    pub fn new(rate_hz: f64) -> Result<Self, FilterError> {
        checked_rate(rate_hz)?;
        Ok(Self {
            rate_hz,
            sum: SquareSum::default(),
            runs: 0.0,
            run: [0.0; LANES],
            highest: f32::NEG_INFINITY,
            lowest: f32::INFINITY,
        })
    }

    /// Takes the next samples.
    pub fn push(&mut self, x: &[f32]) {
        let mut at = self.sum.count;
        self.sum.add(x);
        let mut rest = x;
        while !rest.is_empty() {
            let to_end = (RUN - at % RUN).min(rest.len() as u64);
            let (piece, after) = rest.split_at(to_end as usize);
            self.follow(piece, at);
            at += to_end;
            rest = after;
            if at.is_multiple_of(RUN) {
                self.runs += total(&self.run);
                self.run = [0.0; LANES];
            }
        }
    }

    /// Takes a piece of a run, from sample `at` on, into extremes and sum. Lanes go by the position of a sample, so that the
    /// sum has the same bits however the samples were cut.
    fn follow(&mut self, piece: &[f32], at: u64) {
        let lanes = LANES as u64;
        let head = ((lanes - at % lanes) % lanes).min(piece.len() as u64) as usize;
        let (head, aligned) = piece.split_at(head);
        let (body, tail) = aligned.as_chunks::<LANES>();
        let (mut high, mut low, mut run) = ([self.highest; LANES], [self.lowest; LANES], self.run);
        for (i, &v) in head.iter().enumerate() {
            run[(at as usize + i) % LANES] += v;
        }
        for c in body {
            for i in 0..LANES {
                high[i] = if c[i] > high[i] { c[i] } else { high[i] };
                low[i] = if c[i] < low[i] { c[i] } else { low[i] };
                run[i] += c[i];
            }
        }
        for (lane, &v) in tail.iter().enumerate() {
            run[lane] += v;
        }
        self.run = run;
        for &v in high.iter().chain(head).chain(tail) {
            self.highest = if v > self.highest { v } else { self.highest };
        }
        for &v in low.iter().chain(head).chain(tail) {
            self.lowest = if v < self.lowest { v } else { self.lowest };
        }
    }

    /// Samples heard.
    pub fn count(&self) -> u64 {
        self.sum.count
    }

    /// Time heard, s.
    pub fn duration_s(&self) -> f64 {
        self.sum.count as f64 / self.rate_hz
    }

    /// Mean square, in the square of the samples' unit; not-a-number before the first sample.
    pub fn mean_square(&self) -> f64 {
        self.sum.total() / self.sum.count as f64
    }

    /// Mean (the offset of a recorder), in the samples' unit; not-a-number before the first sample. Runs of 2048 samples are
    /// summed in single precision: good to a hundred-thousandth of the largest sample.
    pub fn mean(&self) -> f64 {
        (self.runs + total(&self.run)) / self.sum.count as f64
    }

    /// Exposure: the time integral of the square, in the samples' unit squared times s.
    pub fn exposure(&self) -> f64 {
        self.sum.total() / self.rate_hz
    }

    /// Largest magnitude (zero-to-peak), in the samples' unit; not-a-number before the first sample.
    pub fn peak(&self) -> f64 {
        self.known(f64::from(self.highest.abs().max(self.lowest.abs())))
    }

    /// Highest less lowest sample (peak-to-peak); not-a-number before the first sample.
    pub fn peak_to_peak(&self) -> f64 {
        self.known(f64::from(self.highest) - f64::from(self.lowest))
    }

    /// Sound pressure level, dB re `reference`.
    pub fn level_db(&self, reference: f64) -> f64 {
        level_db(self.mean_square(), reference)
    }

    /// Sound exposure level, dB re `reference`^2 s.
    pub fn exposure_level_db(&self, reference: f64) -> f64 {
        level_db(self.exposure(), reference)
    }

    /// Zero-to-peak level, dB re `reference`.
    pub fn peak_level_db(&self, reference: f64) -> f64 {
        peak_level_db(self.peak(), reference)
    }

    /// Peak-to-peak level, dB re `reference`.
    pub fn peak_to_peak_level_db(&self, reference: f64) -> f64 {
        peak_level_db(self.peak_to_peak(), reference)
    }

    /// Forgets everything heard.
    pub fn reset(&mut self) {
        self.sum = SquareSum::default();
        self.runs = 0.0;
        self.run = [0.0; LANES];
        self.highest = f32::NEG_INFINITY;
        self.lowest = f32::INFINITY;
    }

    fn known(&self, value: f64) -> f64 {
        if self.sum.count == 0 || self.sum.total().is_nan() {
            f64::NAN
        } else {
            value
        }
    }
}
