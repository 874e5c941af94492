//! Limits of a rate whose events come in bursts: a bootstrap of whole days.
//!
//! Events of one day are not independent (a storm, a ship, a crab on the housing), so days are drawn and not events or hours. With `x`
//! events in the exposure `e` of each of D days, the rate `r = sum x / sum e`, the remainders `z = x - r e` and the standard error
//! `s = sqrt(D/(D-1) sum z^2) / sum e` (a ratio estimator; W. G. Cochran, "Sampling Techniques", 1977, chapter 6, from memory), D days are
//! drawn with replacement again and again, and the values `(r* - r) / s*` give the quantiles `t` of the limits `r - t s` (the studentised
//! bootstrap: B. Efron and R. J. Tibshirani, "An Introduction to the Bootstrap", 1993, chapter 12, from memory). Draws in which all
//! days are alike have no remainders; they are kept, with a standard error that is never below that of as many single events, or of one:
//! `s >= sqrt(max(sum x, 1)) / sum e`. Left out, the quiet draws would be missing, which are those that make the upper limit wide.
//!
//! The limits told are the wider of these and those of Garwood, on either side: days that happen to be alike show no less than counts do,
//! and a bootstrap of nothing but zeros says little.
//!
//! Validity: [`FEWEST_DAYS`] days and more. Accuracy: measured, not exact (`docs/method/evaluation.md`): of ten days of a heavy law
//! ([`COVERED_OF_TEN_DAYS`]) an upper limit that promises 97.5 % covers less.

use std::num::NonZeroU64;

use crate::limits::{LimitError, garwood};
use crate::stream::Stream;

/// Fewest days of which limits are drawn: with fewer the upper limit at 95 % was seen to cover days of negative-binomial counts in less
/// than nine of ten cases (`reference/make/chance_days.py`).
pub const FEWEST_DAYS: usize = 10;
/// Share of sets of [`FEWEST_DAYS`] days of a negative binomial law of mean 10 and shape 0.3, the heaviest that was looked at, whose mean lies at or
/// below an upper limit that promises 0.975 (`reference/make/chance_days.py`).
pub const COVERED_OF_TEN_DAYS: f64 = 0.925;
/// Time that must be judged of a day for it to count among these, s: a choice of ours, as minutes of ten days say nothing of what comes in days.
pub const LEAST_OF_DAY_S: f64 = 3600.0;
/// How often the days are drawn.
pub const DAY_DRAWS: usize = 2000;
/// Name of the stream they are drawn from.
const STREAM: &str = "days of false alarms";

/// Events of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Time (or other exposure) in which they could come, above zero.
    pub exposure: f64,
    /// Their number.
    pub events: u64,
}

/// Seed of the draws where limits of false alarms are told.
pub const DAYS_SEED: u64 = 1;

/// What the limits of a rate rest on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LimitsFrom {
    /// Days drawn whole: so many.
    Days(usize),
    /// Single events, since there are too few days of which enough was judged: so many.
    FewDays(usize),
    /// Single events, since it is not known on which days they came.
    NoDays,
}

impl LimitsFrom {
    /// Of days of which so much was judged each, s; `None` where they are not known.
    #[must_use]
    pub fn days(judged_s: Option<&[f64]>) -> LimitsFrom {
        let Some(judged_s) = judged_s else {
            return LimitsFrom::NoDays;
        };
        let there = judged_s.iter().filter(|s| **s > 0.0).count();
        match enough(judged_s.iter().copied(), LEAST_OF_DAY_S) {
            few if few < FEWEST_DAYS => LimitsFrom::FewDays(few),
            _ => LimitsFrom::Days(there),
        }
    }
}

/// How many days have so much exposure or more.
fn enough(exposures: impl Iterator<Item = f64>, least: f64) -> usize {
    exposures.filter(|e| *e >= least).count()
}

/// Two-sided limits (low, high) of the rate of events, per unit of exposure: of their days where these are known and are
/// [`FEWEST_DAYS`] or more of at least so much exposure (drawn with [`DAYS_SEED`], all of them), else those of Garwood, which take each event as single.
///
/// # Errors
/// An exposure or a confidence out of range, more events than are counted.
pub fn rate_limits(
    days: Option<&[Day]>,
    least_exposure: f64,
    events: u64,
    exposure: f64,
    confidence: f64,
) -> Result<(f64, f64), LimitError> {
    let many =
        |days: &&[Day]| enough(days.iter().map(|d| d.exposure), least_exposure) >= FEWEST_DAYS;
    let by_days = match days.filter(many) {
        Some(days) => day_limits(days, confidence, DAYS_SEED)?,
        None => None,
    };
    by_days.map_or_else(|| garwood(events, exposure, confidence), Ok)
}

/// Two-sided limits (low, high) of the rate of events, per unit of exposure, from days drawn whole with this `seed`; `None` of fewer
/// than [`FEWEST_DAYS`].
///
/// # Errors
/// An exposure or a confidence out of range, more events than are counted.
pub fn day_limits(
    days: &[Day],
    confidence: f64,
    seed: u64,
) -> Result<Option<(f64, f64)>, LimitError> {
    if let Some(bad) = days
        .iter()
        .find(|d| !(d.exposure > 0.0 && d.exposure.is_finite()))
    {
        return Err(LimitError::BadExposure {
            exposure: bad.exposure,
        });
    }
    if days.len() < FEWEST_DAYS {
        return Ok(None);
    }
    let events: u64 = days.iter().map(|d| d.events).sum();
    let exposure: f64 = days.iter().map(|d| d.exposure).sum();
    let counted = garwood(events, exposure, confidence)?;
    let (rate, error) = estimate(days.iter());
    let mut draws = Stream::named(seed, STREAM, 0);
    let of = NonZeroU64::new(days.len() as u64).expect("there are days");
    let mut ratios = Vec::with_capacity(DAY_DRAWS);
    let mut drawn = Vec::with_capacity(days.len());
    for _ in 0..DAY_DRAWS {
        drawn.clear();
        drawn.extend((0..days.len()).map(|_| days[draws.below(of) as usize]));
        let (drawn_rate, drawn_error) = estimate(drawn.iter());
        ratios.push((drawn_rate - rate) / drawn_error);
    }
    ratios.sort_unstable_by(f64::total_cmp);
    let side = 0.5 * (1.0 - confidence);
    let at = |share: f64| {
        let place = (share * ratios.len() as f64).ceil() as usize;
        ratios[place.clamp(1, ratios.len()) - 1]
    };
    let low = rate - at(1.0 - side) * error;
    let high = rate - at(side) * error;
    Ok(Some((low.max(0.0).min(counted.0), high.max(counted.1))))
}

/// Rate of some days and its standard error, never below that of as many events, or of one.
fn estimate<'d>(days: impl Iterator<Item = &'d Day> + Clone) -> (f64, f64) {
    let (mut events, mut exposure, mut count) = (0.0, 0.0, 0.0);
    for day in days.clone() {
        events += day.events as f64;
        exposure += day.exposure;
        count += 1.0;
    }
    let rate = events / exposure;
    let squares: f64 = days
        .map(|d| {
            let left = d.events as f64 - rate * d.exposure;
            left * left
        })
        .sum();
    let of_days = libm::sqrt(count / (count - 1.0) * squares);
    (rate, of_days.max(libm::sqrt(events.max(1.0))) / exposure)
}
