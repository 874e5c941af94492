//! Instants and durations as whole nanoseconds.

use std::fmt;

const NS_PER_S: u64 = 1_000_000_000;

/// An instant (since the start of the run) or a duration, in whole nanoseconds. Reaches 584 years.
///
/// There are no operators: every sum can overflow, so every sum is checked and the caller says what an overflow means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ns(pub u64);

/// A number of seconds that is no [`Ns`].
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum TimeError {
    /// Not a number, or infinite.
    #[error("a time of {seconds_s} s is not a finite number")]
    NotFinite {
        /// The value given, in seconds.
        seconds_s: f64,
    },
    /// Below zero; instants and durations start at zero.
    #[error("a time of {seconds_s} s is below zero")]
    Negative {
        /// The value given, in seconds.
        seconds_s: f64,
    },
    /// Past the last representable nanosecond.
    #[error("a time of {seconds_s} s is beyond the largest of 18446744073.709551615 s")]
    TooLarge {
        /// The value given, in seconds.
        seconds_s: f64,
    },
}

impl Ns {
    /// The start of the run, or no duration at all.
    pub const ZERO: Ns = Ns(0);
    /// The last representable instant.
    pub const MAX: Ns = Ns(u64::MAX);

    /// The whole nanoseconds nearest to `seconds_s` times 1e9 (one double-precision product, halves away from zero).
    ///
    /// Above 2^53 ns (104 days) a double no longer separates neighbouring nanoseconds; the result is then the nearest that the double can say.
    ///
    /// # Errors
    /// [`TimeError`] for a value that is not finite, below zero (minus zero is zero) or beyond [`Ns::MAX`].
    pub fn from_s_f64(seconds_s: f64) -> Result<Ns, TimeError> {
        if !seconds_s.is_finite() {
            return Err(TimeError::NotFinite { seconds_s });
        }
        if seconds_s < 0.0 {
            return Err(TimeError::Negative { seconds_s });
        }
        let ns = (seconds_s * 1e9).round();
        // 2^64 is a double; every double below it is at most 2^64 - 2048.
        if ns >= 18_446_744_073_709_551_616.0 {
            return Err(TimeError::TooLarge { seconds_s });
        }
        Ok(Ns(ns as u64))
    }

    /// This many whole seconds, or `None` past [`Ns::MAX`].
    #[must_use]
    pub fn checked_from_s(seconds_s: u64) -> Option<Ns> {
        seconds_s.checked_mul(NS_PER_S).map(Ns)
    }

    /// The time in seconds as the nearest double; for showing and for physics, never for ordering.
    #[must_use]
    pub fn as_s_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }

    /// The sum, or `None` past [`Ns::MAX`].
    #[must_use]
    pub fn checked_add(self, other: Ns) -> Option<Ns> {
        self.0.checked_add(other.0).map(Ns)
    }

    /// The difference, or `None` when `other` is the larger.
    #[must_use]
    pub fn checked_sub(self, other: Ns) -> Option<Ns> {
        self.0.checked_sub(other.0).map(Ns)
    }

    /// The product with a count, or `None` past [`Ns::MAX`].
    #[must_use]
    pub fn checked_mul(self, count: u64) -> Option<Ns> {
        self.0.checked_mul(count).map(Ns)
    }
}

impl fmt::Display for Ns {
    /// Exact decimal seconds: nine decimals and the unit, such as `1.000000250 s`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{:09} s", self.0 / NS_PER_S, self.0 % NS_PER_S)
    }
}
