//! Panels against battery: the smallest battery for each peak power that shows one claim.
//!
//! The energy of the panels is proportional to their peak power, so the years' yields are worked out once; for each
//! peak power the battery is found by halving. More battery is taken to be never worse; a controller with hysteresis
//! may break that by single hours, and then the answer is a size that shows the claim while the next smaller one does
//! not.

use super::claim::Claim;
use super::error::{YearError, YearQuantity};
use super::load::Load;
use super::plan::{PowerSystem, Scratch, YearPlan};

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
    let needed = claim.years_needed()?;
    if years < needed {
        return Err(YearError::TooFewYears { years, needed });
    }
    let allowed = claim
        .most_bad(years)?
        .expect("as many years as are needed show the claim when none is bad");
    let steps = search.steps()?;
    let mut system = system.clone();
    let mut scratch = Scratch::default();
    let mut rows = Vec::with_capacity(peak_powers_w.len());
    for &peak_power_w in peak_powers_w {
        system.peak_power_w = peak_power_w;
        let mut bad_at = |step: u64| {
            system.battery.capacity_wh = search.at(step);
            let plan = YearPlan::new(&system, load)?;
            bad_years(&plan, yields, claim, allowed, &mut scratch)
        };
        let too_small = numerics::bisect_last_true(0, steps, |step| {
            Ok::<_, YearError>(bad_at(step)? > allowed)
        })?;
        let enough = too_small.map_or(0, |step| step + 1);
        rows.push(SizeRow {
            peak_power_w,
            battery_wh: (enough <= steps).then(|| search.at(enough)),
            bad_years: bad_at(enough.min(steps))?,
        });
    }
    Ok(rows)
}

/// Bad years, counted until they are more than allowed.
fn bad_years(
    plan: &YearPlan,
    yields: &[Vec<f64>],
    claim: &Claim,
    allowed: u64,
    scratch: &mut Scratch,
) -> Result<u64, YearError> {
    let mut bad = 0;
    for year in yields {
        bad += u64::from(plan.run(year, scratch)?.hours_off > claim.at_most_hours);
        if bad > allowed {
            break;
        }
    }
    Ok(bad)
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
