//! Panels against battery: the smallest battery for each peak power that shows one claim.
//!
//! The energy of the panels is proportional to their peak power, so the years' yields are worked out once; for each
//! peak power the battery is found by halving. More battery is taken to be never worse; a controller with hysteresis
//! may break that by single hours, and then the answer is a size that shows the claim while the next smaller one does
//! not.

use super::claim::Claim;
use super::error::{YearError, YearQuantity};
use super::load::Load;
use super::plan::{PowerSystem, Scratch, YearPlan, check_yields};

/// Batteries to choose from: `lowest_wh`, then steps of `step_wh` up to `highest_wh`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CapacitySearch {
    /// Smallest, Wh.
    pub lowest_wh: f64,
    /// Largest, Wh.
    pub highest_wh: f64,
    /// Step, Wh.
    pub step_wh: f64,
}

/// One peak power and its battery.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SizeRow {
    /// Peak power of the panels, W.
    pub peak_power_w: f64,
    /// Smallest battery that shows the claim, Wh; `None` when the largest does not.
    pub battery_wh: Option<f64>,
    /// Bad years with that battery; at least so many with the largest one when there is none.
    pub bad_years: u64,
}

/// The smallest battery for each peak power with which `yields`, one row of hours for each year, show `claim`.
///
/// `system` gives all but peak power and capacity.
///
/// # Errors
/// Too few years for the claim; an empty search; whatever [`YearPlan::new`] and [`YearPlan::run`] refuse.
pub fn smallest_batteries(
    system: &PowerSystem,
    load: &Load,
    yields: &[Vec<f64>],
    claim: &Claim,
    peak_powers_w: &[f64],
    search: &CapacitySearch,
) -> Result<Vec<SizeRow>, YearError> {
    let years = yields.len() as u64;
    let needed = claim.years.years_needed()?;
    if years < needed {
        return Err(YearError::TooFewYears { years, needed });
    }
    let allowed = claim
        .years
        .most_bad(years)?
        .expect("as many years as are needed show the claim when none is bad");
    let steps = search.steps()?;
    for year in yields {
        check_yields(year)?;
    }
    let mut trial = Trial {
        system: system.clone(),
        load,
        yields,
        at_most_hours: claim.at_most_hours,
        search,
        scratch: Scratch::default(),
    };
    // Years that were bad at some size come first: in most cases they alone decide.
    let mut deciding: Vec<usize> = Vec::new();
    let mut rows = Vec::with_capacity(peak_powers_w.len());
    for &peak_power_w in peak_powers_w {
        trial.system.peak_power_w = peak_power_w;
        rows.push(trial.smallest(steps, allowed, &mut deciding)?);
    }
    Ok(rows)
}

/// One claim on the same years with different sizes.
struct Trial<'a> {
    system: PowerSystem,
    load: &'a Load,
    yields: &'a [Vec<f64>],
    at_most_hours: u32,
    search: &'a CapacitySearch,
    scratch: Scratch,
}

impl Trial<'_> {
    /// The smallest battery at the present peak power. By halving over the deciding years, then all other years at that
    /// size; one that is bad there decides too, and the halving is done again.
    fn smallest(
        &mut self,
        steps: u64,
        allowed: u64,
        deciding: &mut Vec<usize>,
    ) -> Result<SizeRow, YearError> {
        loop {
            let too_small = numerics::bisect_last_true(0, steps, |step| {
                let plan = self.plan_at(step)?;
                let mut bad = 0;
                for &year in deciding.iter() {
                    bad += u64::from(self.is_bad(&plan, year)?);
                    if bad > allowed {
                        break;
                    }
                }
                Ok::<_, YearError>(bad > allowed)
            })?;
            let enough = too_small.map_or(0, |step| step + 1);
            let plan = self.plan_at(enough.min(steps))?;
            let mut bad = 0;
            for &year in deciding.iter() {
                bad += u64::from(self.is_bad(&plan, year)?);
            }
            let known = deciding.len();
            if enough <= steps {
                for year in 0..self.yields.len() {
                    if !deciding[..known].contains(&year) && self.is_bad(&plan, year)? {
                        bad += 1;
                        deciding.push(year);
                        if bad > allowed {
                            break;
                        }
                    }
                }
                if bad > allowed {
                    continue;
                }
            }
            return Ok(SizeRow {
                peak_power_w: self.system.peak_power_w,
                battery_wh: (enough <= steps).then(|| self.search.at(enough)),
                bad_years: bad,
            });
        }
    }

    fn plan_at(&mut self, step: u64) -> Result<YearPlan, YearError> {
        self.system.battery.capacity_wh = self.search.at(step);
        YearPlan::new(&self.system, self.load)
    }

    fn is_bad(&mut self, plan: &YearPlan, year: usize) -> Result<bool, YearError> {
        plan.is_off_longer(&self.yields[year], self.at_most_hours, &mut self.scratch)
    }
}

impl CapacitySearch {
    fn at(&self, step: u64) -> f64 {
        self.lowest_wh + self.step_wh * step as f64
    }

    /// Number of the last step.
    fn steps(&self) -> Result<u64, YearError> {
        YearQuantity::SearchCapacity.check(self.lowest_wh)?;
        YearQuantity::SearchCapacity.check(self.highest_wh)?;
        YearQuantity::SearchCapacity.check(self.step_wh)?;
        if self.highest_wh < self.lowest_wh {
            return Err(YearError::EmptySearch {
                lowest_wh: self.lowest_wh,
                highest_wh: self.highest_wh,
                step_wh: self.step_wh,
            });
        }
        Ok(((self.highest_wh - self.lowest_wh) / self.step_wh + 1e-9).floor() as u64)
    }
}
