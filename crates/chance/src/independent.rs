//! Independent things of which some must work: means of recovery, hydrophones, spares.
//!
//! Chance that at least k of several work, each with its own chance: the weights of how many work so far are taken on by one thing at a time (the law of a sum of independent
//! trials, Poisson-binomial; textbook probability). With one chance for all it is the binomial law, by which spares are counted: the least `n` with
//! `P(X >= k) >= confidence`.
//!
//! Independence is the caller's claim. Two means that one flooded housing, one flat battery or one net takes away are not independent.

use crate::binomial;
use crate::limits::{LimitError, MOST_TRIALS};

/// Things that are counted one by one at most.
const MOST_THINGS: usize = 10_000;

/// Chance that at least `needed` of independent things work, by the chance of each, 0 to 1.
///
/// # Errors
/// [`LimitError::BadShare`] for a chance outside 0 to 1, [`LimitError::TooMany`] for more than 10,000 things.
pub fn at_least(needed: usize, chances: &[f64]) -> Result<f64, LimitError> {
    if chances.len() > MOST_THINGS {
        return Err(LimitError::TooMany {
            count: chances.len() as u64,
        });
    }
    for &share in chances {
        if !(0.0..=1.0).contains(&share) {
            return Err(LimitError::BadShare { share });
        }
    }
    if needed > chances.len() {
        return Ok(0.0);
    }
    // By how many have failed, so that the sum is over few terms where nearly all must work.
    let may_fail = chances.len() - needed;
    let mut failed = vec![0.0; may_fail + 1];
    failed[0] = 1.0;
    for &chance in chances {
        for j in (0..=may_fail).rev() {
            let before = if j == 0 { 0.0 } else { failed[j - 1] };
            failed[j] = failed[j] * chance + before * (1.0 - chance);
        }
    }
    let works: f64 = failed.iter().sum();
    Ok(works.min(1.0))
}

/// Chance that none of independent things works, by the chance of each: the small number that is left where several means are counted on.
///
/// # Errors
/// As [`at_least`].
pub fn none_of(chances: &[f64]) -> Result<f64, LimitError> {
    at_least(1, chances)?;
    Ok(chances.iter().map(|chance| 1.0 - chance).product())
}

/// The least number of spares with which `needed` of alike things work with a confidence, where each works with a chance of `works`.
///
/// Every thing, spare or not, is tried: it works or does not, for good. Zero for none needed.
///
/// # Errors
/// A chance that does not lie above 0 and up to 1, a confidence not between 0 and 1, counts beyond [`MOST_TRIALS`].
pub fn spares_needed(needed: u64, works: f64, confidence: f64) -> Result<u64, LimitError> {
    if !(works > 0.0 && works <= 1.0) {
        return Err(LimitError::BadShare { share: works });
    }
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(LimitError::BadConfidence { confidence });
    }
    if needed > MOST_TRIALS {
        return Err(LimitError::TooMany { count: needed });
    }
    if needed == 0 {
        return Ok(0);
    }
    let enough = |things: u64| binomial::tails(needed - 1, things, works).1 >= confidence;
    let (mut low, mut high) = (needed - 1, needed);
    while !enough(high) {
        low = high;
        high = high.saturating_mul(2);
        if high > MOST_TRIALS {
            return Err(LimitError::TooMany { count: high });
        }
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high - needed)
}
