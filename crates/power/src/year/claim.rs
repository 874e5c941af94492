//! What many years show: distributions of outage and of the lowest charge, and a claim with the confidence that their
//! number supports.
//!
//! A claim is "at most so many hours off in such a share of years", or "never below such a charge in such a share". It is shown with a confidence when the one-sided
//! upper limit of the share of bad years (Clopper and Pearson 1934) is at most what the claim allows: 299 years without
//! a bad one for 99 % of years at 95 %. One number of hours is never the answer.

use super::account::{Settled, YearAccount};
use super::error::{YearError, YearQuantity};

/// The outage of many years.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outages {
    hours_off: Vec<u32>,
    asked_wh: f64,
    unserved_wh: f64,
    unsettled: u64,
}

impl Outages {
    /// No years yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a year; add them in the order of their numbers, so that sums have the same bits whatever computed them.
    pub fn add(&mut self, year: &YearAccount) {
        self.hours_off.push(year.hours_off);
        self.asked_wh += year.asked_wh;
        self.unserved_wh += year.unserved_wh;
        self.unsettled += u64::from(matches!(year.settled, Settled::NotAfter(_)));
    }

    /// Years added.
    #[must_use]
    pub fn years(&self) -> u64 {
        self.hours_off.len() as u64
    }

    /// Years that were to repeat themselves and did not ([`Settled::NotAfter`]).
    #[must_use]
    pub fn unsettled(&self) -> u64 {
        self.unsettled
    }

    /// Hours off of each year, in the order added.
    #[must_use]
    pub fn hours_off(&self) -> &[u32] {
        &self.hours_off
    }

    /// Mean hours off a year; `None` without years.
    #[must_use]
    pub fn mean_hours_off(&self) -> Option<f64> {
        let sum: f64 = self.hours_off.iter().map(|&hours| f64::from(hours)).sum();
        (!self.hours_off.is_empty()).then(|| sum / self.hours_off.len() as f64)
    }

    /// The fewest hours off that at least a `share` (0 to 1) of the years do not exceed; `None` without years or with a
    /// share out of range.
    #[must_use]
    pub fn hours_off_in(&self, share: f64) -> Option<u32> {
        if self.hours_off.is_empty() || !(0.0..=1.0).contains(&share) {
            return None;
        }
        let mut sorted = self.hours_off.clone();
        sorted.sort_unstable();
        Some(sorted[rank(share, sorted.len()) - 1])
    }

    /// The fewest hours off that all but `bad` of the years do not exceed; `None` with no more years than that.
    #[must_use]
    pub fn hours_off_but(&self, bad: u64) -> Option<u32> {
        let mut sorted = self.hours_off.clone();
        sorted.sort_unstable_by(|a, b| b.cmp(a));
        sorted.get(usize::try_from(bad).ok()?).copied()
    }

    /// Share of all hours in which the load did not get all; `None` without years.
    #[must_use]
    pub fn lolp_time(&self) -> Option<f64> {
        self.mean_hours_off()
            .map(|hours| hours / crate::sun::HOURS as f64)
    }

    /// Share of the energy asked for that was not given; `None` when nothing was asked for.
    #[must_use]
    pub fn lolp_energy(&self) -> Option<f64> {
        (self.asked_wh > 0.0).then(|| self.unserved_wh / self.asked_wh)
    }

    /// Years with more hours off than `at_most_hours`.
    #[must_use]
    pub fn bad_years(&self, at_most_hours: u32) -> u64 {
        self.hours_off
            .iter()
            .filter(|&&hours| hours > at_most_hours)
            .count() as u64
    }

    /// Share of bad years: two-sided exact limits (low, high) with a confidence (0 to 1).
    ///
    /// # Errors
    /// No years; a confidence out of range.
    pub fn bad_share_limits(
        &self,
        at_most_hours: u32,
        confidence: f64,
    ) -> Result<(f64, f64), YearError> {
        let bad = self.bad_years(at_most_hours);
        Ok(chance::clopper_pearson(bad, self.years(), confidence)?)
    }

    /// Share of bad years: one-sided exact upper limit with a confidence (0 to 1).
    ///
    /// # Errors
    /// As [`Outages::bad_share_limits`].
    pub fn bad_share_bound(&self, at_most_hours: u32, confidence: f64) -> Result<f64, YearError> {
        let bad = self.bad_years(at_most_hours);
        Ok(chance::bad_share_bound(bad, self.years(), confidence)?)
    }
}

/// The lowest usable state of charge of many years.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LowestCharges {
    charges: Vec<f64>,
}

impl LowestCharges {
    /// No years yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds the lowest charge of a year, 0 to 1.
    ///
    /// # Errors
    /// A charge outside 0 to 1.
    pub fn add(&mut self, lowest_charge: f64) -> Result<(), YearError> {
        self.charges
            .push(YearQuantity::LowestCharge.check(lowest_charge)?);
        Ok(())
    }

    /// Years added.
    #[must_use]
    pub fn years(&self) -> u64 {
        self.charges.len() as u64
    }

    /// Lowest charge of each year, in the order added.
    #[must_use]
    pub fn charges(&self) -> &[f64] {
        &self.charges
    }

    /// The highest charge below which at least a `share` (0 to 1) of the years do not fall; `None` without years or with
    /// a share out of range.
    #[must_use]
    pub fn charge_in(&self, share: f64) -> Option<f64> {
        if self.charges.is_empty() || !(0.0..=1.0).contains(&share) {
            return None;
        }
        let mut sorted = self.charges.clone();
        sorted.sort_by(|a, b| b.total_cmp(a));
        Some(sorted[rank(share, sorted.len()) - 1])
    }

    /// The highest charge below which all but `bad` of the years do not fall; `None` with no more years than that.
    #[must_use]
    pub fn charge_but(&self, bad: u64) -> Option<f64> {
        let mut sorted = self.charges.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(usize::try_from(bad).ok()?).copied()
    }

    /// Years that fall below `at_least` (0 to 1).
    #[must_use]
    pub fn bad_years(&self, at_least: f64) -> u64 {
        let below = self.charges.iter().filter(|&&charge| charge < at_least);
        below.count() as u64
    }

    /// Share of years that fall below `at_least`: two-sided exact limits (low, high) with a confidence (0 to 1).
    ///
    /// # Errors
    /// No years; a confidence out of range.
    pub fn bad_share_limits(
        &self,
        at_least: f64,
        confidence: f64,
    ) -> Result<(f64, f64), YearError> {
        let bad = self.bad_years(at_least);
        Ok(chance::clopper_pearson(bad, self.years(), confidence)?)
    }

    /// Share of years that fall below `at_least`: one-sided exact upper limit with a confidence (0 to 1).
    ///
    /// # Errors
    /// As [`LowestCharges::bad_share_limits`].
    pub fn bad_share_bound(&self, at_least: f64, confidence: f64) -> Result<f64, YearError> {
        let bad = self.bad_years(at_least);
        Ok(chance::bad_share_bound(bad, self.years(), confidence)?)
    }
}

/// Rank of a share of so many, from 1; a product that is whole but for rounding counts as whole.
fn rank(share: f64, of: usize) -> usize {
    (share * of as f64 * (1.0 - 1e-12)).ceil().max(1.0) as usize
}

/// Such a share of years, with such a confidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShareOfYears {
    /// Share of years that must be good, 0 to 1.
    pub share: f64,
    /// Confidence, 0 to 1.
    pub confidence: f64,
}

impl ShareOfYears {
    /// Fewest years that can show it: that many without a bad one do.
    ///
    /// # Errors
    /// A share or confidence that does not lie between 0 and 1.
    pub fn years_needed(&self) -> Result<u64, YearError> {
        Ok(chance::clean_trials_needed(self.share, self.confidence)?)
    }

    /// Whether so many bad years of so many show it.
    ///
    /// # Errors
    /// As [`ShareOfYears::years_needed`]; no years; more bad ones than there are.
    pub fn is_shown_by(&self, bad: u64, years: u64) -> Result<bool, YearError> {
        let needed = self.years_needed()?;
        let bound = chance::bad_share_bound(bad, years, self.confidence)?;
        // Without bad years the bound is that of `years_needed`, which forgives decimal inputs their rounding.
        Ok((bad == 0 && years >= needed) || bound <= 1.0 - self.share)
    }

    /// Whether so many bad years of so many show that it does not hold: that with this confidence more years are bad than it
    /// allows.
    ///
    /// # Errors
    /// As [`ShareOfYears::is_shown_by`].
    pub fn is_refuted_by(&self, bad: u64, years: u64) -> Result<bool, YearError> {
        self.years_needed()?;
        let good = years.saturating_sub(bad);
        let fewest_bad = 1.0 - chance::bad_share_bound(good, years, self.confidence)?;
        Ok(fewest_bad > 1.0 - self.share)
    }

    /// Most bad years of so many that still show it; `None` when even none does not.
    ///
    /// # Errors
    /// As [`ShareOfYears::is_shown_by`].
    pub fn most_bad(&self, years: u64) -> Result<Option<u64>, YearError> {
        numerics::bisect_last_true(0, years, |bad| self.is_shown_by(bad, years))
    }
}

/// At most so many hours off a year, in such a share of years.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Claim {
    /// Hours off of a year that still is good.
    pub at_most_hours: u32,
    /// In how many of the years.
    pub years: ShareOfYears,
}
