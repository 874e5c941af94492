//! Years of panels, battery and load of a supply: run one by one, and kept for all requirements that ask for them.

use std::collections::BTreeMap;

use plan::{Line, SupplyIx, SupplyKind, That};
use power::year::{Claim, LowestCharges, Outages, Scratch, ShareOfYears, YearAccount};

use crate::input::{EnergyInput, InputError, LightScratch, energy, year_error};
use crate::month::UnderLoad;
use crate::mooring_verdicts::Hangs;

/// Confidence that counts where none is written.
pub(crate) const CONFIDENCE: f64 = 0.95;
/// Seed of the weather: the same plan has the same years.
pub const WEATHER_SEED: u64 = 1;
/// Most years that a check draws; about half a second.
pub(crate) const MOST_YEARS: u64 = 3000;

/// What gets each year of [`run_years`].
pub type EachYear<'a> = dyn FnMut(u64, &[YearAccount], &[f64]) -> bool + 'a;

/// The years of a supply, generated or measured.
///
/// `each` gets the number of the year, its account for each of the input's starts, the planned one first, and the usable state of
/// charge at the end of each hour of the planned one, 1 January first; it says whether to go on.
///
/// # Errors
/// [`InputError`] for what the energy year refuses, and for more years than were measured.
pub fn run_years(
    line: &Line,
    input: &EnergyInput,
    seed: u64,
    years: u64,
    each: &mut EachYear<'_>,
) -> Result<(), InputError> {
    let plans = input.plans(line)?;
    let what = format!("supply.{}", line.supplies[input.supply.0].id);
    let (mut light, mut scratch) = (LightScratch::new(), Scratch::default());
    for year in 0..years {
        let yields = input.light.year(seed, year, &mut light)?;
        // The planned start last, whose hours are then still there.
        let mut accounts = Vec::with_capacity(plans.len());
        for plan in plans.iter().rev() {
            let account = plan.run(yields, &mut scratch);
            accounts.push(account.map_err(|source| year_error(&what, source))?);
        }
        accounts.reverse();
        if !each(year, &accounts, scratch.charge()) {
            return Ok(());
        }
    }
    Ok(())
}

/// Of a year's accounts that of the worse start.
pub(crate) fn worse(accounts: &[YearAccount]) -> &YearAccount {
    accounts
        .iter()
        .max_by_key(|account| account.hours_off)
        .expect("a year has at least the planned start")
}

/// Lowest charge of a year's accounts.
pub(crate) fn lowest(accounts: &[YearAccount]) -> f64 {
    let charges = accounts.iter().map(|account| account.lowest_charge);
    charges.fold(f64::INFINITY, f64::min)
}

/// The years of one supply.
pub(crate) struct SupplyYears {
    pub(crate) input: EnergyInput,
    /// Of each year the account of the worse start.
    accounts: Vec<YearAccount>,
    /// Of each year the lowest charge of any start.
    lowest: Vec<f64>,
}

impl SupplyYears {
    /// How many years a claim takes: as many as it needs when none is bad, and all that were measured.
    pub(crate) fn count(&self, needed: u64) -> u64 {
        self.input.light.measured_years().unwrap_or(needed)
    }

    /// Hours off of so many years.
    pub(crate) fn outages(&self, years: u64) -> Outages {
        let mut outages = Outages::new();
        for account in self.accounts.iter().take(years as usize) {
            outages.add(account);
        }
        outages
    }

    /// Lowest charge of so many years.
    pub(crate) fn lowest_charges(&self, years: u64) -> LowestCharges {
        let mut lowest = LowestCharges::new();
        for charge in self.lowest.iter().take(years as usize) {
            lowest
                .add(*charge)
                .expect("a usable state of charge lies between 0 and 1");
        }
        lowest
    }
}

/// The years that requirements of a plan ask for: each supply's are run once, as many as the hardest claim on it needs.
pub(crate) struct Years<'a> {
    line: &'a Line,
    run: BTreeMap<usize, Result<SupplyYears, String>>,
    /// Values that counted in them although the plan does not write them.
    pub(crate) assumed: Vec<String>,
    /// Shapes of the line in its design cases.
    pub(crate) hangs: Hangs<'a>,
    pub(crate) load: UnderLoad,
}

impl<'a> Years<'a> {
    pub(crate) fn new(line: &'a Line) -> Self {
        Self {
            line,
            run: BTreeMap::new(),
            assumed: Vec::new(),
            hangs: Hangs::new(line),
            load: UnderLoad::new(),
        }
    }

    /// Those of a supply, or why there are none.
    pub(crate) fn of(&mut self, of: SupplyIx) -> Result<&SupplyYears, String> {
        let line = self.line;
        let kept = self.run.entry(of.0).or_insert_with(|| {
            let run = run(line, of);
            if let Ok(years) = &run {
                self.assumed.extend(years.input.assumed.iter().cloned());
            }
            run
        });
        kept.as_ref().map_err(Clone::clone)
    }
}

fn run(line: &Line, of: SupplyIx) -> Result<SupplyYears, String> {
    if line.supplies[of.0].kind != SupplyKind::SolarBattery {
        return Err("the hourly year is worked out for panels with a battery only".to_owned());
    }
    let input = energy(line, of).map_err(|e| e.to_string())?;
    let needed = shares(line, of)
        .filter_map(|share| share.years_needed().ok())
        .filter(|years| *years <= MOST_YEARS);
    let years = input
        .light
        .measured_years()
        .or_else(|| needed.max())
        .unwrap_or(0);
    let (mut accounts, mut low) = (Vec::new(), Vec::new());
    run_years(line, &input, WEATHER_SEED, years, &mut |_, all, _| {
        accounts.push(worse(all).clone());
        low.push(lowest(all));
        true
    })
    .map_err(|e| e.to_string())?;
    Ok(SupplyYears {
        input,
        accounts,
        lowest: low,
    })
}

/// Shares of years that requirements on a supply claim.
fn shares(line: &Line, of: SupplyIx) -> impl Iterator<Item = ShareOfYears> {
    line.requirements.iter().filter_map(move |r| {
        let (wanted, confidence) = match &r.that {
            That::OutageHours { of, confidence, .. }
            | That::LowestCharge { of, confidence, .. } => (of, confidence),
            _ => return None,
        };
        wanted
            .is_none_or(|s| s == of)
            .then_some(share_of_years(r.share?.si, *confidence))
    })
}

pub(crate) fn share_of_years(share: f64, confidence: Option<plan::Q>) -> ShareOfYears {
    ShareOfYears {
        share,
        confidence: confidence.map_or(CONFIDENCE, |q| q.si),
    }
}

/// What a requirement claims of the hours off of the years.
pub(crate) fn claim(at_most_s: plan::Q, years: ShareOfYears) -> Claim {
    Claim {
        // Hours off are whole.
        at_most_hours: (at_most_s.si / crate::input::SECONDS_PER_HOUR) as u32,
        years,
    }
}
