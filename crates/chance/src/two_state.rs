//! A chain of two states, good and bad, that goes on by steps of one length (an hour, say).
//!
//! From good it goes to bad with a chance `a` at each step, from bad to good with `b`, whatever was before (Markov). In the long run the share of good is
//! `b / (a + b)`; runs of good last `1/a` steps on average and those of bad `1/b` (geometric law); what is left of a state after `n` steps falls as
//! `(1 - a - b)^n`, so that `1 - a - b` is the correlation of neighbours, the persistence (textbook probability).
//!
//! Runs of real weather have longer tails than the geometric law: chances of very long waits come out too low. Source: the model is common practice.

use thiserror::Error;

/// A chain of two states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoState {
    good_share: f64,
    leaves_good: f64,
    leaves_bad: f64,
}

/// Why there is no such chain.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum TwoStateError {
    /// A run shorter than a step.
    #[error("a run of {mean_steps} steps on average is shorter than one step, or no number")]
    ShortRun {
        /// What was given.
        mean_steps: f64,
    },
    /// A spell of no length.
    #[error("a spell of {mean_steps} steps on average is none")]
    NoSpell {
        /// What was given.
        mean_steps: f64,
    },
    /// A share or a persistence outside its range.
    #[error("{what} must lie from 0 to {most}, not at {value}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Its largest value.
        most: f64,
    },
    /// Bad runs so short that the share of good cannot be as small.
    #[error(
        "with a share of {good_share} good, bad runs last at least {least_steps} steps on average, not {mean_bad_steps}"
    )]
    RunTooShortForShare {
        /// Share of good.
        good_share: f64,
        /// Mean of bad runs that was given.
        mean_bad_steps: f64,
        /// Its least value.
        least_steps: f64,
    },
}

impl TwoState {
    /// By the mean lengths of its runs, in steps: one or more, finite.
    ///
    /// # Errors
    /// [`TwoStateError::ShortRun`].
    pub fn from_runs(mean_good_steps: f64, mean_bad_steps: f64) -> Result<Self, TwoStateError> {
        let leaves_good = 1.0 / run(mean_good_steps)?;
        let leaves_bad = 1.0 / run(mean_bad_steps)?;
        Ok(TwoState {
            good_share: leaves_bad / (leaves_good + leaves_bad),
            leaves_good,
            leaves_bad,
        })
    }

    /// By the share of good in the long run, 0 to 1, and the mean length of bad runs in steps. A share of 1 is never left, one of 0 neither.
    ///
    /// # Errors
    /// A share or a run out of range; bad runs too short for that share.
    pub fn from_share_and_bad_run(
        good_share: f64,
        mean_bad_steps: f64,
    ) -> Result<Self, TwoStateError> {
        let good_share = within("the share of good", good_share, 1.0)?;
        let mean_bad_steps = run(mean_bad_steps)?;
        if good_share == 0.0 {
            return Ok(TwoState {
                good_share,
                leaves_good: 1.0,
                leaves_bad: 0.0,
            });
        }
        let least_steps = (1.0 - good_share) / good_share;
        if mean_bad_steps < least_steps {
            return Err(TwoStateError::RunTooShortForShare {
                good_share,
                mean_bad_steps,
                least_steps,
            });
        }
        Ok(TwoState {
            good_share,
            leaves_good: least_steps / mean_bad_steps,
            leaves_bad: 1.0 / mean_bad_steps,
        })
    }

    /// By the share of good in the long run, 0 to 1, and the persistence: the correlation of neighbouring steps, 0 (each on its own) to below 1.
    ///
    /// # Errors
    /// [`TwoStateError::OutOfRange`].
    pub fn from_share_and_persistence(
        good_share: f64,
        persistence: f64,
    ) -> Result<Self, TwoStateError> {
        let good_share = within("the share of good", good_share, 1.0)?;
        let persistence = within("the persistence", persistence, 1.0 - f64::EPSILON)?;
        Ok(TwoState {
            good_share,
            leaves_good: (1.0 - good_share) * (1.0 - persistence),
            leaves_bad: good_share * (1.0 - persistence),
        })
    }

    /// By the share of good in the long run, 0 to 1, and the mean length of a bad spell in steps, above zero, where states change at any instant (exponential law) and steps only look at
    /// them: the persistence of a step is `exp(-1 / (spell g))`. Spells may be shorter than a step, whatever the share.
    ///
    /// # Errors
    /// A share out of range; a spell that is not above zero and finite.
    pub fn from_share_and_bad_spell(
        good_share: f64,
        mean_bad_steps: f64,
    ) -> Result<Self, TwoStateError> {
        let good_share = within("the share of good", good_share, 1.0)?;
        if !(mean_bad_steps > 0.0 && mean_bad_steps.is_finite()) {
            return Err(TwoStateError::NoSpell {
                mean_steps: mean_bad_steps,
            });
        }
        let persistence = libm::exp(-1.0 / (mean_bad_steps * good_share));
        Self::from_share_and_persistence(good_share, persistence.min(1.0 - f64::EPSILON))
    }

    /// Share of good in the long run.
    #[must_use]
    pub fn good_share(&self) -> f64 {
        self.good_share
    }

    /// Chance of going from good to bad at a step.
    #[must_use]
    pub fn leaves_good(&self) -> f64 {
        self.leaves_good
    }

    /// Chance of going from bad to good at a step.
    #[must_use]
    pub fn leaves_bad(&self) -> f64 {
        self.leaves_bad
    }

    /// The correlation of neighbouring steps.
    #[must_use]
    pub fn persistence(&self) -> f64 {
        1.0 - self.leaves_good - self.leaves_bad
    }

    /// Weights of good and bad a step later.
    #[must_use]
    pub fn step(&self, [good, bad]: [f64; 2]) -> [f64; 2] {
        [
            good * (1.0 - self.leaves_good) + bad * self.leaves_bad,
            good * self.leaves_good + bad * (1.0 - self.leaves_bad),
        ]
    }

    /// Weights of good and bad so many steps later, parts of a step too: what is left of where it began falls as `(1 - a - b)^steps`. For a chain whose persistence is not
    /// negative; of another only whole steps are, by [`step`](Self::step), and it is at rest here at once.
    #[must_use]
    pub fn later(&self, [good, bad]: [f64; 2], steps: f64) -> [f64; 2] {
        let left = if steps > 0.0 {
            libm::pow(self.persistence().max(0.0), steps)
        } else {
            1.0
        };
        self.with_left([good, bad], left)
    }

    /// Weights of good and bad when this share, 0 to 1, of how they differ from the long run is left.
    #[must_use]
    pub fn with_left(&self, [good, bad]: [f64; 2], left: f64) -> [f64; 2] {
        let all = good + bad;
        let [rest_good, rest_bad] = self.at_rest();
        [
            all * rest_good + (good - all * rest_good) * left,
            all * rest_bad + (bad - all * rest_bad) * left,
        ]
    }

    /// Weights of good and bad at an instant of which nothing is known.
    #[must_use]
    pub fn at_rest(&self) -> [f64; 2] {
        [self.good_share, 1.0 - self.good_share]
    }
}

fn run(mean_steps: f64) -> Result<f64, TwoStateError> {
    if mean_steps >= 1.0 && mean_steps.is_finite() {
        return Ok(mean_steps);
    }
    Err(TwoStateError::ShortRun { mean_steps })
}

fn within(what: &'static str, value: f64, most: f64) -> Result<f64, TwoStateError> {
    if (0.0..=most).contains(&value) {
        return Ok(value);
    }
    Err(TwoStateError::OutOfRange { what, value, most })
}
