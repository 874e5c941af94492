//! Attempts that succeed by the state of the sea, one after another.
//!
//! The sea goes between two states as a chain ([`TwoState`]) whose steps (an hour, say) only look at it: what is left of a state after a time `t` falls as `r^(t / step)`, r the persistence of a
//! step, so that attempts at any distance in time hang together as their distance says, and those a step apart as the chain does. In each state an attempt succeeds with a chance of its own.
//! Where both chances are equal the sea says nothing, and attempts are each on its own.

use chance::TwoState;

/// How attempts succeed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tries {
    /// How the two states of the sea follow each other: good is calm, bad is high.
    pub chain: TwoState,
    /// Length of a step of the chain, s; above zero.
    pub step_s: f64,
    /// Chance that an attempt succeeds in a calm sea, 0 to 1.
    pub calm_succeeds: f64,
    /// Chance that one succeeds in a high sea, 0 to 1.
    pub high_succeeds: f64,
}

impl Tries {
    /// Attempts that succeed with one chance, each on its own; `None` for what is no chance.
    #[must_use]
    pub fn steady(success: f64) -> Option<Tries> {
        let chain = TwoState::from_share_and_persistence(1.0, 0.0).ok()?;
        let tries = Tries {
            chain,
            step_s: 1.0,
            calm_succeeds: success,
            high_succeeds: success,
        };
        tries.is_sane().then_some(tries)
    }

    /// Whether the chances are chances, some attempt ever succeeds, and the chain has a persistence that is not negative.
    #[must_use]
    pub fn is_sane(&self) -> bool {
        let chance = |p: f64| (0.0..=1.0).contains(&p);
        chance(self.calm_succeeds)
            && chance(self.high_succeeds)
            && self.mean_success() > 0.0
            && self.step_s > 0.0
            && self.step_s.is_finite()
            && self.chain.persistence() >= 0.0
    }

    /// Whether attempts are each on its own with one chance.
    #[must_use]
    pub fn is_steady(&self) -> bool {
        self.calm_succeeds == self.high_succeeds || self.chain.good_share() == 1.0
    }

    /// Chance of an attempt at an instant of which nothing is known.
    #[must_use]
    pub fn mean_success(&self) -> f64 {
        let [calm, high] = self.chain.at_rest();
        calm * self.calm_succeeds + high * self.high_succeeds
    }

    /// What of the weights of calm and high comes ashore by an attempt, and what of each stays.
    pub(super) fn attempt(&self, [calm, high]: [f64; 2]) -> (f64, [f64; 2]) {
        let ashore = calm * self.calm_succeeds + high * self.high_succeeds;
        let stays = [
            calm * (1.0 - self.calm_succeeds),
            high * (1.0 - self.high_succeeds),
        ];
        (ashore, stays)
    }

    /// What is left of a state of the sea after a time, 0 to 1.
    pub(super) fn left_after(&self, time_s: f64) -> f64 {
        if self.is_steady() {
            return 1.0;
        }
        libm::pow(self.chain.persistence(), time_s / self.step_s)
    }

    /// The same on average over times that lie evenly between two.
    pub(super) fn left_between(&self, least_s: f64, most_s: f64) -> f64 {
        let (first, last) = (self.left_after(least_s), self.left_after(most_s));
        let falls = -libm::log(self.chain.persistence()) * (most_s - least_s) / self.step_s;
        // Where it hardly falls the middle of the two is better than a difference of near numbers.
        if self.is_steady() || falls.is_nan() || falls <= 1e-6 || first == 0.0 {
            return 0.5 * (first + last);
        }
        if falls.is_infinite() {
            return 0.0;
        }
        (first - last) / falls
    }
}

/// The sea at one attempt after another, drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeaDrawn {
    tries: Tries,
    /// Instant of the latest attempt, s, and whether the sea was calm.
    latest: Option<(f64, bool)>,
}

impl SeaDrawn {
    /// A sea of which nothing is known yet.
    #[must_use]
    pub fn new(tries: Tries) -> SeaDrawn {
        SeaDrawn {
            tries,
            latest: None,
        }
    }

    /// Whether the attempt at an instant, not before the latest, succeeds. `uniform` gives draws from 0 to 1: one for the sea where its state matters, one for the attempt.
    pub fn succeeds(&mut self, at_s: f64, mut uniform: impl FnMut() -> f64) -> bool {
        let tries = self.tries;
        if tries.is_steady() {
            return uniform() < tries.calm_succeeds;
        }
        let chain = &tries.chain;
        let [calm, _] = match self.latest {
            None => chain.at_rest(),
            Some((before_s, calm)) => {
                let was = if calm { [1.0, 0.0] } else { [0.0, 1.0] };
                chain.with_left(was, tries.left_after(at_s - before_s))
            }
        };
        let calm = uniform() < calm;
        self.latest = Some((at_s, calm));
        let success = match calm {
            true => tries.calm_succeeds,
            false => tries.high_succeeds,
        };
        uniform() < success
    }
}
