//! From a curve over the signal-to-noise ratio to shares over range.
//!
//! The ratio at a range is source level, less loss, less noise. Source levels differ from call to call by a [`Spread`]; the share
//! found at a range is the mean of the curve over them (midpoints of 200 parts of equal probability). The effective area is the
//! integral `2 pi int p(r) r dr`: the area of a disc in which all calls are found that has as many of evenly spread ones. It is
//! taken by the trapezium rule over 64 ranges an octave; range is horizontal.

use crate::curve::{Bound, Curve};

const PARTS: u32 = 200;
const STEPS_PER_OCTAVE: f64 = 64.0;
const NEAREST_M: f64 = 1.0;

/// How source levels differ from call to call.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Not at all.
    None,
    /// Normal law in decibels.
    Normal {
        /// Standard deviation, dB.
        deviation_db: f64,
    },
    /// Equally likely within the mean and so much to each side.
    Uniform {
        /// Half the width, dB.
        half_width_db: f64,
    },
}

impl Spread {
    /// Decibels over the mean that stand for equally likely parts of all calls.
    fn parts(self) -> Vec<f64> {
        let share = |i: u32| (f64::from(i) + 0.5) / f64::from(PARTS);
        match self {
            Self::None => vec![0.0],
            Self::Normal { deviation_db } => (0..PARTS)
                .map(|i| deviation_db * normal_above(1.0 - share(i)))
                .collect(),
            Self::Uniform { half_width_db } => (0..PARTS)
                .map(|i| half_width_db * (2.0 * share(i) - 1.0))
                .collect(),
        }
    }
}

/// The draw of the standard normal law that a share `above` exceeds, by bisection.
fn normal_above(above: f64) -> f64 {
    let (mut low, mut high) = (-10.0, 10.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 1.0 - chance::normal_share_below(middle) > above {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Shares found against the mean ratio of calls whose levels differ, for many ways to one detector.
///
/// Where levels differ they are taken every tenth of a decibel and read on straight lines between: within what a curve changes in a tenth.
#[derive(Debug, Clone)]
pub struct Shares<'c> {
    curve: &'c Curve,
    bound: Bound,
    /// The first ratio, dB, and the shares from there on every [`TABLE_DB`]; none where all calls are alike.
    table: Option<(f64, Vec<f64>)>,
}

/// Step of a table of shares, dB.
const TABLE_DB: f64 = 0.1;

impl<'c> Shares<'c> {
    /// Of a curve, the line through it that counts, and a spread of source levels.
    #[must_use]
    pub fn new(curve: &'c Curve, bound: Bound, spread: Spread) -> Self {
        let parts = spread.parts();
        let table = (spread != Spread::None).then(|| {
            let first = curve.points().first().map_or(0.0, |p| p.snr_db);
            let last = curve.points().last().map_or(0.0, |p| p.snr_db);
            // Parts rise: below the first ratio even the loudest call is below the curve, beyond the last even the faintest above it.
            let low_db = first - parts.last().copied().unwrap_or(0.0) - TABLE_DB;
            let high_db = last - parts.first().copied().unwrap_or(0.0) + TABLE_DB;
            let count = ((high_db - low_db) / TABLE_DB).ceil() as u32 + 1;
            let share = |i: u32| mean_share(curve, bound, &parts, low_db + TABLE_DB * f64::from(i));
            (low_db, (0..count).map(share).collect())
        });
        Self {
            curve,
            bound,
            table,
        }
    }

    /// Share found at a mean ratio, dB.
    #[must_use]
    pub fn at(&self, mean_db: f64) -> f64 {
        let Some((low_db, shares)) = &self.table else {
            return self.curve.share(mean_db, self.bound);
        };
        let place = (mean_db - low_db) / TABLE_DB;
        let last = shares.len() - 1;
        if place <= 0.0 {
            shares[0]
        } else if place >= last as f64 {
            shares[last]
        } else {
            let i = place as usize;
            shares[i] + (place - i as f64) * (shares[i + 1] - shares[i])
        }
    }
}

fn mean_share(curve: &Curve, bound: Bound, parts: &[f64], mean_db: f64) -> f64 {
    let sum: f64 = parts
        .iter()
        .map(|over| curve.share(mean_db + over, bound))
        .sum();
    sum / parts.len() as f64
}

/// Shares found over range, as far as they may be computed.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Horizontal range, m, rising, and share found there.
    pub shares: Vec<(f64, f64)>,
}

/// Out to where a share is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outer {
    /// Nowhere is so much found.
    Nowhere,
    /// So far out, m.
    At(f64),
    /// As far as shares were computed, m, it is still found: the range is not known.
    Beyond(f64),
}

impl Reach {
    /// Shares from 1 m out to `farthest_m`, of a curve, the mean ratio in dB at a range, and a spread of source levels.
    ///
    /// # Errors
    /// What `snr_db` refuses.
    pub fn new<E>(
        curve: &Curve,
        bound: Bound,
        spread: Spread,
        farthest_m: f64,
        snr_db: impl Fn(f64) -> Result<f64, E>,
    ) -> Result<Self, E> {
        let parts = spread.parts();
        let share = |mean_db| mean_share(curve, bound, &parts, mean_db);
        Self::along(farthest_m, |range_m| snr_db(range_m).map(share))
    }

    /// Shares from 1 m out to `farthest_m` by a way that gives a mean ratio in dB at a range.
    ///
    /// # Errors
    /// What `snr_db` refuses.
    pub fn by_way<E>(
        shares: &Shares<'_>,
        farthest_m: f64,
        snr_db: impl Fn(f64) -> Result<f64, E>,
    ) -> Result<Self, E> {
        Self::along(farthest_m, |range_m| {
            snr_db(range_m).map(|db| shares.at(db))
        })
    }

    fn along<E>(farthest_m: f64, share: impl Fn(f64) -> Result<f64, E>) -> Result<Self, E> {
        let octaves = libm::log2(farthest_m / NEAREST_M);
        let steps = (STEPS_PER_OCTAVE * octaves).ceil().max(1.0);
        let mut shares = Vec::with_capacity(steps as usize + 1);
        for i in 0..=steps as u32 {
            let part = f64::from(i) / steps;
            let range_m = (NEAREST_M * libm::exp2(octaves * part)).min(farthest_m);
            shares.push((range_m, share(range_m)?));
        }
        Ok(Self { shares })
    }
}

/// The first range, from the source on, at which less than `share` is found: nearer there is no gap. Between two ranges as in
/// [`outer_range_m`].
#[must_use]
pub fn unbroken_range_m(reach: &Reach, share: f64) -> Outer {
    match reach.shares.iter().position(|s| s.1 < share) {
        Some(0) => Outer::Nowhere,
        Some(next) => falls_below(reach, next - 1, share),
        None => reach
            .shares
            .last()
            .map_or(Outer::Nowhere, |s| Outer::Beyond(s.0)),
    }
}

/// The greatest range at which at least `share` is found, whatever gaps there are nearer; between two ranges on a straight line over the logarithm of
/// range.
#[must_use]
pub fn outer_range_m(reach: &Reach, share: f64) -> Outer {
    let Some(last) = reach.shares.iter().rposition(|s| s.1 >= share) else {
        return Outer::Nowhere;
    };
    falls_below(reach, last, share)
}

/// Where the share falls below `share` after the range of index `last`.
fn falls_below(reach: &Reach, last: usize, share: f64) -> Outer {
    let (range_m, here) = reach.shares[last];
    match reach.shares.get(last + 1) {
        None => Outer::Beyond(range_m),
        Some(&(next_m, next)) => {
            let part = (here - share) / (here - next);
            Outer::At(range_m * libm::exp(part * libm::log(next_m / range_m)))
        }
    }
}

/// Area of the disc that has as many of evenly spread calls as are found, m2, out to the farthest range computed.
#[must_use]
pub fn effective_area_m2(reach: &Reach) -> f64 {
    let (first_m, first) = reach.shares[0];
    let inner = std::f64::consts::PI * first_m * first_m * first;
    let rings: f64 = reach
        .shares
        .windows(2)
        .map(|w| {
            let ((a_m, a), (b_m, b)) = (w[0], w[1]);
            // int p r dr with p straight over r.
            let mean = (a * (2.0 * a_m + b_m) + b * (a_m + 2.0 * b_m)) / (3.0 * (a_m + b_m));
            std::f64::consts::PI * (b_m * b_m - a_m * a_m) * mean
        })
        .sum();
    inner + rings
}
