//! Exact confidence limits of shares and rates.
//!
//! Sources: C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
//! binomial", Biometrika 26 (1934), 404; F. Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28
//! (1936), 437. A limit is the parameter at which a count as far out as the one seen has the probability that is left
//! over on that side; it is found by bisection of that probability.
//!
//! "Exact" is the name of the method: the true confidence is at least the stated one, and usually more.
//!
//! Validity: counts up to [`MOST_TRIALS`]. Accuracy: 1e-13 of the limit where few are counted, 1e-10 up
//! to a million counted; larger counts are not checked.

use crate::{binomial, poisson};

/// Most trials or events that the limits take: their cost grows with the square root of the count.
pub const MOST_TRIALS: u64 = 10_000_000_000;

/// Why no limit can be given.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LimitError {
    /// The confidence is not between 0 and 1.
    #[error("the confidence must lie between 0 and 1, not {confidence}")]
    BadConfidence {
        /// The confidence given.
        confidence: f64,
    },
    /// The share is not between 0 and 1.
    #[error("the share must lie between 0 and 1, not {share}")]
    BadShare {
        /// The share given.
        share: f64,
    },
    /// The exposure is not a finite number above zero, or so small that the rate is not finite.
    #[error("the exposure must be finite and above zero, not {exposure}")]
    BadExposure {
        /// The exposure given.
        exposure: f64,
    },
    /// No trials: nothing is shown.
    #[error("there are no trials")]
    NoTrials,
    /// More successes than trials.
    #[error("there are {successes} of {trials} trials")]
    MoreThanTrials {
        /// The successes given.
        successes: u64,
        /// The trials given.
        trials: u64,
    },
    /// More trials or events than [`MOST_TRIALS`].
    #[error("{count} is more than the {MOST_TRIALS} that can be counted")]
    TooMany {
        /// The count given.
        count: u64,
    },
}

/// Two-sided Clopper-Pearson limits (low, high) of the share of successes, each from 0 to 1.
///
/// `confidence` lies between 0 and 1 (0.95 leaves 2.5 % on each side). The low limit of no successes is 0, the high
/// limit of nothing but successes is 1.
///
/// # Errors
/// No trials, more successes than trials, counts above [`MOST_TRIALS`], a confidence out of range.
pub fn clopper_pearson(
    successes: u64,
    trials: u64,
    confidence: f64,
) -> Result<(f64, f64), LimitError> {
    check_counts(successes, trials)?;
    let side = 0.5 * left_over(confidence)?;
    let low = if successes == 0 {
        0.0
    } else {
        bisect(1.0, |share| {
            binomial::tails(successes - 1, trials, share).1 < side
        })
    };
    Ok((low, upper_share(successes, trials, side)))
}

/// Two-sided Garwood limits (low, high) of the rate of events, per unit of `exposure`.
///
/// `exposure` (time, distance, trials) is above zero in any unit; `confidence` lies between 0 and 1. The low limit of
/// no events is 0.
///
/// # Errors
/// An exposure or a confidence out of range, more events than [`MOST_TRIALS`].
pub fn garwood(events: u64, exposure: f64, confidence: f64) -> Result<(f64, f64), LimitError> {
    if !(exposure > 0.0 && exposure.is_finite()) {
        return Err(LimitError::BadExposure { exposure });
    }
    check_size(events)?;
    let side = 0.5 * left_over(confidence)?;
    let low = if events == 0 {
        0.0
    } else {
        bisect(f64::MAX, |mean| poisson::tails(events - 1, mean).1 < side)
    };
    let high = bisect(f64::MAX, |mean| poisson::tails(events, mean).0 > side);
    let rates = (low / exposure, high / exposure);
    if !rates.1.is_finite() {
        return Err(LimitError::BadExposure { exposure });
    }
    Ok(rates)
}

/// How many trials, all of them good, show with `confidence` that at least `share` are good.
///
/// The smallest n with share^n <= 1 - confidence: 299 for a share of 0.99 at 0.95. A power that meets the bound to 1
/// part in 10^12 counts as meeting it, so that decimal inputs give the number expected of them.
///
/// # Errors
/// A share or a confidence that does not lie between 0 and 1.
pub fn clean_trials_needed(share: f64, confidence: f64) -> Result<u64, LimitError> {
    if !(share > 0.0 && share < 1.0) {
        return Err(LimitError::BadShare { share });
    }
    left_over(confidence)?;
    let trials = libm::log1p(-confidence) / libm::log(share);
    Ok((trials * (1.0 - 1e-12)).ceil().max(1.0) as u64)
}

/// Upper limit of the share of bad ones, one-sided: with `confidence` fewer than this share are bad.
///
/// For no bad ones it is 1 - (1 - confidence)^(1/trials): 0.01487 for 200 trials at 0.95.
///
/// # Errors
/// As [`clopper_pearson`].
pub fn bad_share_bound(bad: u64, trials: u64, confidence: f64) -> Result<f64, LimitError> {
    check_counts(bad, trials)?;
    Ok(upper_share(bad, trials, left_over(confidence)?))
}

fn upper_share(successes: u64, trials: u64, side: f64) -> f64 {
    if successes == trials {
        return 1.0;
    }
    bisect(1.0, |share| {
        binomial::tails(successes, trials, share).0 > side
    })
}

fn left_over(confidence: f64) -> Result<f64, LimitError> {
    if confidence > 0.0 && confidence < 1.0 {
        return Ok(1.0 - confidence);
    }
    Err(LimitError::BadConfidence { confidence })
}

fn check_counts(successes: u64, trials: u64) -> Result<(), LimitError> {
    if trials == 0 {
        return Err(LimitError::NoTrials);
    }
    if successes > trials {
        return Err(LimitError::MoreThanTrials { successes, trials });
    }
    check_size(trials)
}

fn check_size(count: u64) -> Result<(), LimitError> {
    if count > MOST_TRIALS {
        return Err(LimitError::TooMany { count });
    }
    Ok(())
}

/// The largest number from 0 to `high` that is still `below` the root.
///
/// Halves the bit patterns and not the numbers: those of positive f64 stand in the order of the numbers, so 63 steps
/// give the last bit of a root of any size.
pub(crate) fn bisect(high: f64, below: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0_u64, high.to_bits());
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if below(f64::from_bits(middle)) {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::from_bits(low)
}
