//! Sample indices and instants: a clock that ticks at a rational rate.

use crate::Ns;

/// When sample `k` of a stream is known: `origin + k * num / den` nanoseconds, rounded *up* to a whole nanosecond.
///
/// Rounding up keeps cause before effect: nothing can be known from a sample before the sample exists. `num / den` is the sample period in
/// nanoseconds; 48 kHz is 1 000 000 000 / 48 000. All arithmetic is exact in 128 bits, so the clock does not drift however long it runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SampleClock {
    /// The instant of sample 0.
    pub origin: Ns,
    /// Numerator of the sample period in nanoseconds; at least 1.
    pub num: u64,
    /// Denominator of the sample period; at least 1.
    pub den: u64,
}

/// A clock that cannot tick, or an answer that does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ClockError {
    /// Numerator or denominator is zero.
    #[error("a sample period of {num}/{den} ns is not a positive duration")]
    NoPeriod {
        /// Numerator given.
        num: u64,
        /// Denominator given.
        den: u64,
    },
    /// The sample lies beyond [`Ns::MAX`].
    #[error("sample {index} lies beyond the last representable nanosecond")]
    BeyondTime {
        /// Sample index asked for.
        index: u64,
    },
    /// The first sample at or after the instant has an index beyond `u64`.
    #[error("the first sample at or after {at} has an index beyond 64 bits")]
    BeyondIndex {
        /// Instant asked for.
        at: Ns,
    },
}

impl SampleClock {
    /// A clock with the sample period `num / den` nanoseconds.
    ///
    /// # Errors
    /// [`ClockError::NoPeriod`] when `num` or `den` is zero.
    pub fn new(origin: Ns, num: u64, den: u64) -> Result<SampleClock, ClockError> {
        let clock = SampleClock { origin, num, den };
        clock.check().map(|()| clock)
    }

    /// A clock of `rate_hz` samples a second.
    ///
    /// # Errors
    /// [`ClockError::NoPeriod`] when the rate is zero.
    pub fn from_rate_hz(origin: Ns, rate_hz: u64) -> Result<SampleClock, ClockError> {
        SampleClock::new(origin, 1_000_000_000, rate_hz)
    }

    /// The instant at which sample `index` is known (rounded up).
    ///
    /// # Errors
    /// [`ClockError::NoPeriod`] for fields set to zero by hand, [`ClockError::BeyondTime`] past [`Ns::MAX`].
    pub fn time_of(&self, index: u64) -> Result<Ns, ClockError> {
        self.check()?;
        let since = (u128::from(index) * u128::from(self.num)).div_ceil(u128::from(self.den));
        u64::try_from(since)
            .ok()
            .and_then(|since| self.origin.checked_add(Ns(since)))
            .ok_or(ClockError::BeyondTime { index })
    }

    /// The first index whose [`time_of`](Self::time_of) is at or after `at`; 0 for every instant up to the origin.
    ///
    /// # Errors
    /// [`ClockError::NoPeriod`] for fields set to zero by hand, [`ClockError::BeyondIndex`] when the index does not fit.
    pub fn first_at_or_after(&self, at: Ns) -> Result<u64, ClockError> {
        self.check()?;
        let Some(before_last) =
            at.0.checked_sub(self.origin.0)
                .and_then(|since| since.checked_sub(1))
        else {
            return Ok(0);
        };
        // ceil(k num/den) >= m  <=>  k num/den > m - 1  <=>  k > (m - 1) den/num
        let index = u128::from(before_last) * u128::from(self.den) / u128::from(self.num) + 1;
        u64::try_from(index).map_err(|_| ClockError::BeyondIndex { at })
    }

    fn check(&self) -> Result<(), ClockError> {
        if self.num == 0 || self.den == 0 {
            return Err(ClockError::NoPeriod {
                num: self.num,
                den: self.den,
            });
        }
        Ok(())
    }
}
