//! Which stages a decimator has, and their taps.
//!
//! Sources: windowed ideal low-pass with the window of J. F. Kaiser (1974) and his rules for shape and length; running means
//! as a first stage after E. B. Hogenauer (1981); all formulas from memory, the responses are checked.

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;

use super::{LANES, MAX_STAGE};

const STOP_DB: f64 = 90.0;
/// Most running means one after another.
const MOST_MEANS: usize = 8;
/// What the last stage may leave of the droop of running means, dB.
const DROOP_LEFT_DB: f64 = 0.0003;
/// What an output costs beside its multiplications, in multiplications (measured).
const OUTPUT_COST: f64 = 13.0;

/// Taps of the windowed low-pass of a stage that divides by `m` and stops by `stop_db`; their sum is 1.
fn low_pass(m: usize, pass_hz: f64, rate_hz: f64, stop_db: f64) -> Vec<f64> {
    let half = half_length(m, pass_hz, rate_hz, stop_db);
    let beta = kaiser_beta(stop_db);
    let cut = 0.5 / m as f64;
    let mut taps: Vec<f64> = (0..2 * half + 1)
        .map(|i| {
            let t = i as f64 - half as f64;
            let sinc = if t == 0.0 {
                2.0 * cut
            } else {
                libm::sin(2.0 * PI * cut * t) / (PI * t)
            };
            let u = t / (half as f64 + 1.0);
            sinc * bessel_i0(beta * libm::sqrt(1.0 - u * u))
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    for h in &mut taps {
        *h /= sum;
    }
    taps
}

/// Half the length (the filter has `2 * half + 1` taps) by Kaiser's rule, at least 3.
fn half_length(m: usize, pass_hz: f64, rate_hz: f64, stop_db: f64) -> usize {
    let transition = 2.0 * PI * (rate_hz / m as f64 - 2.0 * pass_hz) / rate_hz;
    let length = (stop_db - 7.95) / (2.285 * transition) + 1.0;
    (libm::ceil(0.5 * length) as usize).max(3)
}

fn kaiser_beta(stop_db: f64) -> f64 {
    0.1102 * (stop_db - 8.7)
}

/// Modified Bessel function of the first kind, order 0, by its power series (arguments up to about 12 here).
fn bessel_i0(x: f64) -> f64 {
    let q = 0.25 * x * x;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-18 * sum {
        term *= q / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// `n` running means of `m` samples, one after another.
#[derive(Debug, Clone, Copy)]
struct Means {
    m: usize,
    n: usize,
}

impl Means {
    /// As many means of `m` samples as stop what folds into the pass band; `None` when more than a few are needed.
    fn stopping(m: usize, pass_hz: f64, rate_hz: f64) -> Option<Self> {
        let one_db =
            -20.0 * libm::log10(Self { m, n: 1 }.gain(rate_hz / m as f64 - pass_hz, rate_hz));
        let enough = libm::ceil(STOP_DB / one_db);
        (1.0..=MOST_MEANS as f64)
            .contains(&enough)
            .then_some(enough as usize)
            // An odd number of taps in all.
            .map(|n| n + n * (m - 1) % 2)
            .map(|n| Self { m, n })
    }

    fn length(self) -> usize {
        self.n * (self.m - 1) + 1
    }

    fn gain(self, f_hz: f64, rate_hz: f64) -> f64 {
        let x = PI * f_hz / rate_hz;
        if x == 0.0 {
            return 1.0;
        }
        let one = libm::sin(self.m as f64 * x) / (self.m as f64 * libm::sin(x));
        libm::pow(one.abs(), self.n as f64)
    }

    fn taps(self) -> Vec<f64> {
        let one = vec![1.0 / self.m as f64; self.m];
        (1..self.n).fold(one.clone(), |all, _| folded(&all, &one))
    }
}

/// `1 + a (1 - cos w) + b (1 - cos w)^2`, which undoes the droop of running means over a pass band.
#[derive(Debug, Clone, Copy)]
struct Lift {
    a: f64,
    b: f64,
}

impl Lift {
    /// The lift at `rate_out_hz` of means at `rate_hz`; `None` when it leaves too much droop.
    fn of(means: Means, pass_hz: f64, rate_hz: f64, rate_out_hz: f64) -> Option<Self> {
        let bend = |f_hz: f64| 1.0 - libm::cos(2.0 * PI * f_hz / rate_out_hz);
        let wanted = |f_hz: f64| 1.0 / means.gain(f_hz, rate_hz) - 1.0;
        // Exact at two frequencies well apart, so that what is left swings evenly between them.
        let (f1_hz, f2_hz) = (0.6 * pass_hz, 0.95 * pass_hz);
        let (c1, c2) = (bend(f1_hz), bend(f2_hz));
        let (w1, w2) = (wanted(f1_hz) / c1, wanted(f2_hz) / c2);
        let b = (w2 - w1) / (c2 - c1);
        let lift = Self { a: w1 - b * c1, b };
        let left_db = |f_hz: f64| {
            let c = bend(f_hz);
            20.0 * libm::log10((1.0 + lift.a * c + lift.b * c * c) * means.gain(f_hz, rate_hz))
        };
        (0..=64)
            .all(|i| left_db(pass_hz * f64::from(i) / 64.0).abs() <= DROOP_LEFT_DB)
            .then_some(lift)
    }

    /// Most that it raises anything, dB.
    fn most_db(self) -> f64 {
        20.0 * libm::log10(1.0 + 2.0 * self.a.abs() + 4.0 * self.b.abs())
    }

    fn taps(self) -> Vec<f64> {
        // (1 - cos w)^2 = 3/2 - 2 cos w + cos(2 w)/2, and cos w is taps of 1/2 on both sides.
        let Self { a, b } = self;
        let (side, far) = (-0.5 * a - b, 0.25 * b);
        vec![far, side, 1.0 + a + 1.5 * b, side, far]
    }
}

/// The convolution of two rows of taps.
fn folded(x: &[f64], y: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; x.len() + y.len() - 1];
    for (i, a) in x.iter().enumerate() {
        for (j, b) in y.iter().enumerate() {
            out[i + j] += a * b;
        }
    }
    out
}

/// Stages one after another.
#[derive(Debug)]
pub(super) struct Design {
    first: Option<(Means, Lift)>,
    /// Factors of the windowed low-passes; the last carries the lift.
    rest: Vec<usize>,
}

impl Design {
    /// Factor and taps of each stage.
    pub(super) fn taps(&self, pass_hz: f64, rate_hz: f64) -> Vec<(usize, Vec<f64>)> {
        let mut rate = rate_hz;
        let mut stages = Vec::with_capacity(1 + self.rest.len());
        if let Some((means, _)) = self.first {
            stages.push((means.m, means.taps()));
            rate /= means.m as f64;
        }
        for (i, &m) in self.rest.iter().enumerate() {
            let taps = match self.first {
                Some((_, lift)) if i + 1 == self.rest.len() => folded(
                    &low_pass(m, pass_hz, rate, STOP_DB + lift.most_db()),
                    &lift.taps(),
                ),
                _ => low_pass(m, pass_hz, rate, STOP_DB),
            };
            stages.push((m, taps));
            rate /= m as f64;
        }
        stages
    }
}

/// Multiplications per input sample of a stage of `taps` that divides by `m`, with those of the stages behind it.
fn cost(taps: usize, m: usize, later: f64) -> f64 {
    (taps.next_multiple_of(LANES) as f64 + OUTPUT_COST + later) / m as f64
}

/// The stages with the fewest multiplications per input sample; `None` if a prime divisor is too large.
pub(super) fn cheapest(factor: usize, pass_hz: f64, rate_hz: f64) -> Option<Design> {
    let (mut least, rest) = cheapest_low_passes(factor, pass_hz, rate_hz)?;
    let mut best = Design { first: None, rest };
    for m in (2..factor).filter(|&m| m <= MAX_STAGE && factor.is_multiple_of(m)) {
        let Some(means) = Means::stopping(m, pass_hz, rate_hz) else {
            continue;
        };
        let rate_out_hz = rate_hz / m as f64;
        let Some((later, rest)) = cheapest_low_passes(factor / m, pass_hz, rate_out_hz) else {
            continue;
        };
        let total = cost(means.length(), m, later);
        if total >= least {
            continue;
        }
        // The lift works at the rate of the last stage.
        let before_last: usize = rest[..rest.len() - 1].iter().product();
        let rate_last_hz = rate_out_hz / before_last as f64;
        if let Some(lift) = Lift::of(means, pass_hz, rate_hz, rate_last_hz) {
            least = total;
            best = Design {
                first: Some((means, lift)),
                rest,
            };
        }
    }
    Some(best)
}

fn cheapest_low_passes(factor: usize, pass_hz: f64, rate_hz: f64) -> Option<(f64, Vec<usize>)> {
    if factor == 1 {
        return Some((0.0, Vec::new()));
    }
    let mut best: Option<(f64, Vec<usize>)> = None;
    for m in (2..=factor.min(MAX_STAGE)).filter(|m| factor.is_multiple_of(*m)) {
        let taps = 2 * half_length(m, pass_hz, rate_hz, STOP_DB) + 1;
        let Some((later, rest)) = cheapest_low_passes(factor / m, pass_hz, rate_hz / m as f64)
        else {
            continue;
        };
        let total = cost(taps, m, later);
        if best.as_ref().is_none_or(|(least, _)| total < *least) {
            let mut plan = vec![m];
            plan.extend(rest);
            best = Some((total, plan));
        }
    }
    best
}
