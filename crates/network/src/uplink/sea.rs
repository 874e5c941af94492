//! How long a message waits for the sea to let it ashore.
//!
//! A wet or rolling antenna fails for hours at a time, so that attempts are not independent: each step (an hour, say) is good or bad as a chain of two states goes
//! ([`TwoState`]), and in each the attempts of that step bring a message ashore with a chance of their own. With `s` these chances and `P` the chain, what is still at
//! sea after step n is `v_n = (1 - s) v'_n`, `v'_(n+1) = v_n P` (exact, a recursion over both states); the mean number of steps is `v'_0 (I - (1 - s) P)^-1 1`.
//! Where good always succeeds and bad never does, this is `1 - (1 - g) (1 - b)^n`.
//!
//! Attempts within a step succeed each on its own: `1 - (1 - p)^m` for `m` of them. Counted in whole steps: 0 is ashore in the step of the offer.
//!
//! Left out: other messages in the queue, windows and expiry, for which see [`lone_delay`](super::lone_delay); a battery that falls while attempts fail.

use chance::{TwoState, Wait};

use crate::loss::frame_loss;

/// Steps that are followed at most: ten years of hours.
const MOST_STEPS: usize = 87_660;

/// The link through the sea, by steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeaLink {
    /// How good and bad steps follow each other.
    pub chain: TwoState,
    /// Chance that the attempts of a good step succeed, 0 to 1.
    pub good_succeeds: f64,
    /// Chance that those of a bad step do, 0 to 1.
    pub bad_succeeds: f64,
}

/// In which state a message is offered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OfferedIn {
    /// At any time: as in the long run.
    AnyStep,
    /// In a good step.
    Good,
    /// In a bad step, as what the storm itself causes.
    Bad,
}

/// A link through the sea that cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SeaLinkError {
    /// Not a chance.
    #[error("the chance of success in a {step} step must lie from 0 to 1, not at {value}")]
    NotAChance {
        /// Good or bad.
        step: &'static str,
        /// What was given.
        value: f64,
    },
    /// Too many steps.
    #[error("{steps} steps are more than the {MOST_STEPS} that are followed")]
    TooLong {
        /// Steps asked for.
        steps: usize,
    },
}

/// Chance that one of so many attempts succeeds, each on its own with the same chance, 0 to 1.
#[must_use]
pub fn of_attempts(success: f64, attempts: u32) -> f64 {
    // The law of a frame that one wrong bit spoils.
    frame_loss(u64::from(attempts), success)
}

impl SeaLink {
    /// The wait of a message until it is ashore, in whole steps, followed up to so many.
    ///
    /// # Errors
    /// [`SeaLinkError`].
    pub fn wait(&self, offered: OfferedIn, most_steps: usize) -> Result<Wait, SeaLinkError> {
        self.check()?;
        if most_steps > MOST_STEPS {
            return Err(SeaLinkError::TooLong { steps: most_steps });
        }
        let mut at_sea = self.begin(offered);
        let mut ashore_by = Vec::with_capacity(most_steps + 1);
        let mut ashore: f64 = 0.0;
        for step in 0..=most_steps {
            if step > 0 {
                at_sea = self.chain.step(at_sea);
            }
            ashore += at_sea[0] * self.good_succeeds + at_sea[1] * self.bad_succeeds;
            at_sea[0] *= 1.0 - self.good_succeeds;
            at_sea[1] *= 1.0 - self.bad_succeeds;
            ashore_by.push(ashore.min(1.0));
        }
        Ok(Wait::new(ashore_by).expect("chances of what only ever comes ashore"))
    }

    /// The mean wait in steps; `None` where some never come ashore.
    ///
    /// # Errors
    /// [`SeaLinkError::NotAChance`].
    pub fn mean_steps(&self, offered: OfferedIn) -> Result<Option<f64>, SeaLinkError> {
        self.check()?;
        let [good, bad] = self.begin(offered);
        let (stays_good, stays_bad) = (1.0 - self.good_succeeds, 1.0 - self.bad_succeeds);
        let (a, b) = (self.chain.leaves_good(), self.chain.leaves_bad());
        // n = (1 - s) (1 + P n) of the further steps n from each state, by Cramer's rule, with the differences written out so that nothing cancels.
        let (from_good, from_bad) = (self.good_succeeds, self.bad_succeeds);
        let whole = from_good * from_bad + from_good * stays_bad * b + from_bad * stays_good * a;
        if whole > 0.0 {
            let after_good = stays_good * (from_bad + stays_bad * (a + b)) / whole;
            let after_bad = stays_bad * (from_good + stays_good * (a + b)) / whole;
            return Ok(Some(good * after_good + bad * after_bad));
        }
        // One state keeps for ever what comes into it; what is offered in the other and cannot come into it has a mean still.
        let alone = |succeeds: f64, stays: f64, leaves: f64| {
            (succeeds > 0.0 && stays * leaves == 0.0).then(|| stays / succeeds)
        };
        Ok(if bad == 0.0 {
            alone(from_good, stays_good, a)
        } else if good == 0.0 {
            alone(from_bad, stays_bad, b)
        } else {
            None
        })
    }

    fn begin(&self, offered: OfferedIn) -> [f64; 2] {
        match offered {
            OfferedIn::AnyStep => self.chain.at_rest(),
            OfferedIn::Good => [1.0, 0.0],
            OfferedIn::Bad => [0.0, 1.0],
        }
    }

    fn check(&self) -> Result<(), SeaLinkError> {
        for (step, value) in [("good", self.good_succeeds), ("bad", self.bad_succeeds)] {
            if !(0.0..=1.0).contains(&value) {
                return Err(SeaLinkError::NotAChance { step, value });
            }
        }
        Ok(())
    }
}
