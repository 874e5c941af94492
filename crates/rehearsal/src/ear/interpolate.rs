//! Values between samples by a windowed sinc.
//!
//! `x(u) = sum x[j] h(u - j)`, `h(v) = 2 c sinc(2 c v) w(v)`, `c` the cutoff in cycles per sample and `w` the Kaiser window
//! over `reach` samples to each side (J. F. Kaiser 1974; window and rules from memory, as in `signal`'s decimators:
//! `beta = 0.1102 (A - 8.7)`, transition `(A - 8) / (14.36 * 2 reach)` cycles per sample for an attenuation of A dB). The
//! response is held within the ripple 10^(-A/20) of 1 below and of 0 above the transition around the cutoff. `h` is tabulated at
//! phases of a sample and read linearly between them: at 256 phases to a sample and cutoff 0.5 that costs -104 dB.

use std::f64::consts::PI;

/// Attenuation of what lies beyond the transition, dB.
pub(crate) const ATTENUATION_DB: f64 = 80.0;
const PHASES: f64 = 256.0;
const FEWEST_PHASES: f64 = 16.0;

/// Tabulated windowed sinc.
#[derive(Clone, Debug)]
pub(crate) struct Kernel {
    /// Samples to each side.
    reach: usize,
    phases: usize,
    /// `phases + 1` rows of `2 reach` weights, for samples `floor(u) - reach + 1` to `floor(u) + reach`.
    rows: Vec<f64>,
}

/// Width of the transition in cycles per sample for a reach in samples.
pub(crate) fn transition(reach: f64) -> f64 {
    (ATTENUATION_DB - 8.0) / (14.36 * 2.0 * reach)
}

impl Kernel {
    /// A kernel that passes up to `cutoff - transition/2` and stops from `cutoff + transition/2`, cycles per sample.
    pub(crate) fn new(reach: usize, cutoff: f64) -> Self {
        let phases = (2.0 * PHASES * cutoff).ceil().max(FEWEST_PHASES) as usize;
        let beta = 0.1102 * (ATTENUATION_DB - 8.7);
        let width = 2 * reach;
        let mut rows = Vec::with_capacity((phases + 1) * width);
        for phase in 0..=phases {
            let share = phase as f64 / phases as f64;
            for tap in 0..width {
                let v = share + reach as f64 - 1.0 - tap as f64;
                rows.push(weight(v, reach as f64, cutoff, beta));
            }
        }
        Self {
            reach,
            phases,
            rows,
        }
    }

    /// Samples needed to each side of a place.
    pub(crate) fn reach(&self) -> usize {
        self.reach
    }

    /// Value at `share` (0 to 1) of a sample after sample `reach - 1` of the `2 reach` samples of `x`.
    pub(crate) fn between(&self, x: &[f64], share: f64) -> f64 {
        let width = 2 * self.reach;
        let at = share * self.phases as f64;
        let phase = (at.floor() as usize).min(self.phases - 1);
        let rows = &self.rows[phase * width..(phase + 2) * width];
        let (low, high) = rows.split_at(width);
        let (a, b) = (dot(low, x), dot(high, x));
        a + (at - phase as f64) * (b - a)
    }
}

/// Four partial sums, in one fixed order.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (fours_a, rest_a) = a.as_chunks::<4>();
    let (fours_b, rest_b) = b.as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (x, y) in fours_a.iter().zip(fours_b) {
        for i in 0..4 {
            sums[i] += x[i] * y[i];
        }
    }
    let mut rest = 0.0;
    for (x, y) in rest_a.iter().zip(rest_b) {
        rest += x * y;
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
}

pub(crate) fn weight(v: f64, reach: f64, cutoff: f64, beta: f64) -> f64 {
    let inside = 1.0 - (v / reach) * (v / reach);
    if inside <= 0.0 {
        return 0.0;
    }
    let x = 2.0 * PI * cutoff * v;
    let sinc = if x == 0.0 { 1.0 } else { libm::sin(x) / x };
    2.0 * cutoff * sinc * bessel_i0(beta * inside.sqrt()) / bessel_i0(beta)
}

/// Modified Bessel function of order 0 by its power series `sum (x^2/4)^k / k!^2`.
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-17 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}
