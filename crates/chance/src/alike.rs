//! Trials that come together and are alike: calls of one encounter, which one noise, one range and one animal make easy or hard to find.
//!
//! The chance of each trial is the same and itself drawn once for all of them by a beta law of mean p; of the variance of one trial the share `rho` is common to them (the correlation of any two). How many succeed follows the
//! beta-binomial law (Skellam 1948, from memory), and none of n does with
//!
//! ```text
//! (1 - p) prod_{i = 1}^{n - 1} ((1 - p) (1 - rho) + i rho) / ((1 - rho) + i rho)
//! ```
//!
//! which is `(1 - p)^n` at rho = 0, and `1 - p` at rho = 1: then a second call tells nothing new.

use crate::limits::LimitError;

/// Most trials of one encounter.
const MOST_ALIKE: u64 = 10_000;
/// Halvings of a share: beyond these nothing moves in an `f64`.
const HALVINGS: usize = 60;

fn shares(all: [f64; 2]) -> Result<(), LimitError> {
    match all.into_iter().find(|s| !(0.0..=1.0).contains(s)) {
        Some(share) => Err(LimitError::BadShare { share }),
        None => Ok(()),
    }
}

/// Chance that some of `count` trials succeeds, each with the chance `each`, 0 to 1, of whose variance the share `common`, 0 to 1, is common to all of them; 0 of no trials.
///
/// # Errors
/// [`LimitError::BadShare`] for a share outside 0 to 1, [`LimitError::TooMany`] for more than 10,000 trials.
pub fn any_of_alike(each: f64, count: u64, common: f64) -> Result<f64, LimitError> {
    shares([each, common])?;
    if count > MOST_ALIKE {
        return Err(LimitError::TooMany { count });
    }
    if count == 0 {
        return Ok(0.0);
    }
    // In logarithms, so that a chance near one keeps its digits.
    let mut none_ln = libm::log1p(-each);
    for i in 1..count {
        let i = i as f64;
        let part = each * (1.0 - common) / ((1.0 - common) + i * common);
        none_ln += libm::log1p(-part);
    }
    Ok(-libm::expm1(none_ln))
}

/// The least chance of each of `count` trials, of whose variance the share `common` is common to all, with which some of them succeeds with the chance `wanted`.
///
/// # Errors
/// As [`any_of_alike`]; [`LimitError::BadShare`] too of no trials, which never succeed.
pub fn each_for_any_of_alike(wanted: f64, count: u64, common: f64) -> Result<f64, LimitError> {
    shares([wanted, common])?;
    if count == 0 {
        return Err(LimitError::BadShare { share: wanted });
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if any_of_alike(middle, count, common)? < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}
