//! A wait, as a distribution over whole steps.

/// Chances that a wait is over after so many steps, from none on.
#[derive(Clone, Debug, PartialEq)]
pub struct Wait {
    over_by: Vec<f64>,
}

impl Wait {
    /// By the chance that it is over after 0, 1, 2 ... steps; `None` where there is none, one outside 0 to 1 or one below the last (but for rounding).
    #[must_use]
    pub fn new(over_by: Vec<f64>) -> Option<Wait> {
        const ROUNDING: f64 = 1e-12;
        let inside = |&chance: &f64| (0.0..=1.0 + ROUNDING).contains(&chance);
        let rises = over_by.is_sorted_by(|a, b| *b >= a - ROUNDING);
        (!over_by.is_empty() && rises && over_by.iter().all(inside)).then_some(Wait { over_by })
    }

    /// Chance that it is over after at most so many steps; for more than were followed, that of the last one followed.
    #[must_use]
    pub fn over_by(&self, steps: usize) -> f64 {
        self.over_by[steps.min(self.over_by.len() - 1)]
    }

    /// Fewest steps within which it is over with this chance: 0.5 gives the P50. `None` where these are more than were followed, or no number.
    #[must_use]
    pub fn within_steps(&self, chance: f64) -> Option<usize> {
        self.over_by.iter().position(|&by| by >= chance)
    }

    /// Most steps that were followed.
    #[must_use]
    pub fn followed_steps(&self) -> usize {
        self.over_by.len() - 1
    }
}
