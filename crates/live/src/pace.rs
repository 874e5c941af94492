//! The pace of a rehearsal along the wall clock. Pure: the time that has passed is an argument.

use std::time::Duration;

use timeline::Ns;

/// Time of a rehearsal as a function of the time passed since it began: as fast as the wall clock or a number of times faster, and
/// held while it waits.
#[derive(Clone, Debug, PartialEq)]
pub struct Pace {
    speed: f64,
    held: Duration,
    latest: Duration,
}

impl Pace {
    /// Slowest speed: an hour a second of the rehearsal is a pace, less is not.
    pub const SLOWEST: f64 = 1.0 / 3600.0;
    /// Fastest speed.
    pub const FASTEST: f64 = 1e6;

    /// A pace; `None` for a speed that is no number from [`Pace::SLOWEST`] to [`Pace::FASTEST`].
    #[must_use]
    pub fn new(speed: f64) -> Option<Pace> {
        (Self::SLOWEST..=Self::FASTEST)
            .contains(&speed)
            .then_some(Pace {
                speed,
                held: Duration::ZERO,
                latest: Duration::ZERO,
            })
    }

    /// Speed, times real time.
    #[must_use]
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// What may have happened once `passed` has passed: never more.
    #[must_use]
    pub fn due(&self, passed: Duration) -> Ns {
        let ran_s = passed.saturating_sub(self.held).as_secs_f64();
        Ns((ran_s * self.speed * 1e9).floor() as u64)
    }

    /// The wall time still to pass until `at` is due; zero where it is.
    #[must_use]
    pub fn until(&self, at: Ns, passed: Duration) -> Duration {
        let due = self.held + Duration::from_secs_f64(at.as_s_f64() / self.speed);
        due.saturating_sub(passed)
    }

    /// How late a rehearsal is that has come to `at`, on the wall clock. Remembers the latest that it was.
    pub fn late(&mut self, at: Ns, passed: Duration) -> Duration {
        let was_due = self.held + Duration::from_secs_f64(at.as_s_f64() / self.speed);
        let late = passed.saturating_sub(was_due);
        self.latest = self.latest.max(late);
        late
    }

    /// The latest that it was.
    #[must_use]
    pub fn latest(&self) -> Duration {
        self.latest
    }

    /// Holds the rehearsal: this much of the time passed does not count.
    pub fn hold(&mut self, waited: Duration) {
        self.held += waited;
    }

    /// How long it was held altogether.
    #[must_use]
    pub fn held(&self) -> Duration {
        self.held
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const S: Duration = Duration::from_secs(1);

    #[test]
    fn verif_pace_by_hand() {
        let mut pace = Pace::new(4.0).unwrap();
        assert_eq!(pace.due(Duration::ZERO), Ns(0));
        assert_eq!(pace.due(3 * S), Ns(12_000_000_000));
        assert_eq!(pace.until(Ns(14_000_000_000), 3 * S), S / 2);
        assert_eq!(pace.until(Ns(12_000_000_000), 4 * S), Duration::ZERO);
        assert_eq!(pace.late(Ns(8_000_000_000), 3 * S), S);
        assert_eq!(pace.late(Ns(12_000_000_000), 3 * S), Duration::ZERO);
        assert_eq!(pace.latest(), S);
        pace.hold(2 * S);
        assert_eq!(pace.due(3 * S), Ns(4_000_000_000));
        assert_eq!(pace.until(Ns(4_000_000_000), 2 * S), S);
        assert_eq!(pace.late(Ns(4_000_000_000), 4 * S), S);
        // Held for longer than has passed.
        assert_eq!(pace.due(S), Ns(0));
    }

    #[test]
    fn verif_a_speed_is_a_number_within_bounds() {
        for speed in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-4, 1.1e6] {
            assert_eq!(Pace::new(speed), None, "{speed}");
        }
        for speed in [Pace::SLOWEST, 1.0, Pace::FASTEST] {
            assert!(Pace::new(speed).is_some(), "{speed}");
        }
    }

    proptest! {
        /// What is due is never ahead of the clock, by another route: whole-number arithmetic on a speed that is a ratio.
        #[test]
        fn verif_never_ahead(passed_ns in 0u64..1_000_000_000_000_000, over in 1u64..1000, under in 1u64..100) {
            let pace = Pace::new(over as f64 / under as f64).unwrap();
            let due = pace.due(Duration::from_nanos(passed_ns)).0;
            let exact = u128::from(passed_ns) * u128::from(over) / u128::from(under);
            // A double of nanoseconds has 53 bits.
            let rounding = exact / (1 << 50) + 1;
            prop_assert!(u128::from(due) <= exact + rounding && u128::from(due) + rounding >= exact);
        }
    }
}
