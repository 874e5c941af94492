//! Many generated years of one supply, told by month, by day and by their worst week, and the sizes that would do.
//!
//! The months, the band and the worst week are those of the planned start; hours off are those of the worse of the planned and
//! the last start, as the verdict takes them. Method, limits and which way they err: docs/method/energy-year.md.

use plan::{Line, Requirement, SupplyIx, That};
use power::sun::DAYS;
use power::year::{CapacitySearch, Claim, SizeRow, Week, smallest_batteries};

use crate::input::{EnergyInput, InputError, LoadPart, energy};
use crate::year_verdicts::{CONFIDENCE, generated_years};

/// Shares of the years of which the band is told: lowest tenth ... highest.
pub const BAND_SHARES: [f64; 5] = [0.0, 0.1, 0.5, 0.9, 1.0];
/// Peak powers of the panels for which the smallest battery is looked for, as shares of the planned one.
const PANEL_SHARES: [f64; 6] = [0.5, 0.75, 1.0, 1.5, 2.0, 3.0];
/// Batteries that are tried: in steps of a twentieth of the planned one, to eight times it.
const BATTERY_STEP: f64 = 0.05;
const LARGEST_BATTERY: f64 = 8.0;

/// One month over all years.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MonthRow {
    /// What the panels gave on the mean day, Wh.
    pub gained_wh_per_d: f64,
    /// What was asked on the mean day, Wh.
    pub asked_wh_per_d: f64,
    /// Hours off in the mean year, h.
    pub hours_off: f64,
    /// Years in which it has an hour off.
    pub years_with_outage: u64,
    /// Lowest usable state of charge of any year, 0 to 1.
    pub lowest_charge: f64,
    /// Lowest usable state of charge in the middle year, 0 to 1.
    pub middle_lowest_charge: f64,
}

/// Many years of one supply.
#[derive(Clone, Debug, PartialEq)]
pub struct EnergyYears {
    /// Typed path of the supply.
    pub supply: String,
    /// Seed of the weather.
    pub seed: u64,
    /// Years that were generated.
    pub years: u64,
    /// Of what the load is made.
    pub load_parts: Vec<LoadPart>,
    /// Mean load at the battery, W.
    pub load_w: f64,
    /// Mean load over the hydrophones of the line: energy for each hour that one listens, Wh; `None` without hydrophones.
    pub wh_per_sensor_hour: Option<f64>,
    /// Days that the battery lasts from full without any light, at its temperature and age, down to the cut-off.
    pub autonomy_d: f64,
    /// Hour of the year, in local standard time, at which the planned deployment begins with a full battery.
    pub start_hour: usize,
    /// January to December.
    pub months: [MonthRow; 12],
    /// Hours off of each year, the worse of the starts.
    pub hours_off: Vec<u32>,
    /// Lowest usable state of charge of all years, 0 to 1.
    pub lowest_charge: f64,
    /// The worst week of all years, and the number of its year.
    pub worst_week: (u64, Week),
    /// Usable state of charge at the end of each day of the year, 1 January first: the [`BAND_SHARES`] of the years.
    pub band: Vec<[f64; 5]>,
    /// The claim that a requirement makes of the supply, and the smallest batteries that show it; `None` without one.
    pub sizes: Option<Sizes>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// Panels against battery for one claim.
#[derive(Clone, Debug, PartialEq)]
pub struct Sizes {
    /// The claim.
    pub claim: Claim,
    /// As planned: peak power, W, and battery, Wh.
    pub planned: (f64, f64),
    /// The smallest battery for each peak power.
    pub rows: Vec<SizeRow>,
}

/// Years of the energy of a supply. `watch` gets the share that is done, 0 to 1, and says whether to go on; `Ok(None)` when it
/// says no.
///
/// # Errors
/// [`InputError`] for what the plan does not say and the year needs, and for what the disciplines refuse.
pub fn energy_years(
    line: &Line,
    of: SupplyIx,
    seed: u64,
    years: Option<u64>,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Option<EnergyYears>, InputError> {
    let input = energy(line, of)?;
    let supply = format!("supply.{}", line.supplies[of.0].id);
    let year_error = |source| InputError::Year {
        what: supply.clone(),
        source,
    };
    let claim = claim_on(line, of);
    let needed = match &claim {
        Some(claim) => claim.years_needed().map_err(year_error)?,
        None => FEWEST_YEARS,
    };
    let years = years.unwrap_or(needed.max(FEWEST_YEARS));
    let mut all = Gathered::default();
    let mut goes_on = true;
    // The sizes take about as long as the years.
    let of_the_whole = if claim.is_some() { 0.5 } else { 1.0 };
    generated_years(
        line,
        &input,
        seed,
        years,
        &mut |year, start, account, charge| {
            all.add(year, start, account, charge);
            goes_on = watch(of_the_whole * (year as f64 + 1.0) / years as f64);
            goes_on
        },
    )?;
    if !goes_on {
        return Ok(None);
    }
    let sizes = match claim {
        Some(claim) if years >= needed => sizes(&supply, &input, seed, years, claim)?,
        _ => None,
    };
    if !watch(1.0) {
        return Ok(None);
    }
    let load_w: f64 = input.load_parts.iter().map(|p| p.power_w).sum();
    let hydrophones = line
        .modules
        .iter()
        .flat_map(|m| &m.sensors)
        .filter(|s| s.kind == plan::SensorKind::Hydrophone)
        .count();
    let system = &input.systems[0];
    let usable_wh = usable_wh(system).map_err(|e| year_error(e.into()))?;
    Ok(Some(EnergyYears {
        supply,
        seed,
        years,
        load_w,
        wh_per_sensor_hour: (hydrophones > 0).then(|| load_w / hydrophones as f64),
        autonomy_d: usable_wh / load_w / 24.0,
        start_hour: match system.start {
            power::year::Start::At { hour, .. } => hour,
            power::year::Start::Repeating => 0,
        },
        months: all.months(),
        lowest_charge: all.lowest.iter().flatten().copied().fold(1.0, f64::min),
        band: all.band(),
        worst_week: all.worst_week.ok_or_else(|| InputError::Open {
            what: "no year was asked for".to_owned(),
        })?,
        hours_off: all.hours_off,
        load_parts: input.load_parts,
        sizes,
        assumed: input.assumed,
    }))
}

/// Years that are generated where no requirement asks for more.
const FEWEST_YEARS: u64 = 100;

/// The claim of the first requirement on the year of a supply.
fn claim_on(line: &Line, of: SupplyIx) -> Option<Claim> {
    let asks = |r: &Requirement| match &r.that {
        That::OutageHours {
            of: wanted,
            at_most_s,
            confidence,
        } if wanted.is_none_or(|s| s == of) => Some(Claim {
            at_most_hours: (at_most_s.si / 3600.0) as u32,
            share: r.share?.si,
            confidence: confidence.map_or(CONFIDENCE, |q| q.si),
        }),
        _ => None,
    };
    line.requirements.iter().find_map(asks)
}

/// Energy that a full battery gives to the load before it is cut off, Wh.
fn usable_wh(system: &power::year::PowerSystem) -> Result<f64, power::battery::BatteryError> {
    let chemistry = &system.battery.chemistry;
    let usable = chemistry.usable_share(system.battery_temperature_degc[0])?;
    let cut_at = chemistry.cutoff.map_or(0.0, |c| c.disconnect_at);
    Ok(system.battery.aged_capacity_wh()?
        * usable
        * (1.0 - cut_at)
        * chemistry.discharge_efficiency)
}

fn sizes(
    supply: &str,
    input: &EnergyInput,
    seed: u64,
    years: u64,
    claim: Claim,
) -> Result<Option<Sizes>, InputError> {
    let mut yields = Vec::new();
    let mut clearness = [0.0; DAYS];
    for year in 0..years {
        input.weather.fill(seed, year, &mut clearness);
        let mut hours = Vec::new();
        input.yields.fill(&clearness, &mut hours)?;
        yields.push(hours);
    }
    // The last start is the harder one where there are two; both are held by the verdict.
    let Some(system) = input.systems.last() else {
        return Ok(None);
    };
    let planned = (system.peak_power_w, system.battery.capacity_wh);
    let peaks: Vec<f64> = PANEL_SHARES.iter().map(|s| s * planned.0).collect();
    let search = CapacitySearch {
        lowest_wh: BATTERY_STEP * planned.1,
        highest_wh: LARGEST_BATTERY * planned.1,
        step_wh: BATTERY_STEP * planned.1,
    };
    let rows = smallest_batteries(system, &input.load, &yields, &claim, &peaks, &search).map_err(
        |source| InputError::Year {
            what: supply.to_owned(),
            source,
        },
    )?;
    Ok(Some(Sizes {
        claim,
        planned,
        rows,
    }))
}

/// What is kept of the years while they go by.
#[derive(Default)]
struct Gathered {
    hours_off: Vec<u32>,
    gained_wh: [f64; 12],
    asked_wh: [f64; 12],
    month_hours_off: [u64; 12],
    month_outages: [u64; 12],
    /// Lowest charge of each year by month.
    lowest: Vec<[f64; 12]>,
    /// Charge at the end of each day, year by year.
    days: Vec<f32>,
    worst_week: Option<(u64, Week)>,
}

impl Gathered {
    fn add(&mut self, year: u64, start: usize, account: &power::year::YearAccount, charge: &[f64]) {
        if start > 0 {
            if let Some(hours) = self.hours_off.last_mut() {
                *hours = (*hours).max(account.hours_off);
            }
            return;
        }
        self.hours_off.push(account.hours_off);
        let mut lowest = [0.0; 12];
        for (m, month) in account.months.iter().enumerate() {
            self.gained_wh[m] += month.gained_wh;
            self.asked_wh[m] += month.asked_wh;
            self.month_hours_off[m] += u64::from(month.hours_off);
            self.month_outages[m] += u64::from(month.hours_off > 0);
            lowest[m] = month.lowest_charge;
        }
        self.lowest.push(lowest);
        self.days
            .extend(charge.chunks(24).map(|day| day[23] as f32));
        let mean = |week: &Week| week.charge.iter().sum::<f64>();
        let worse = match &self.worst_week {
            None => true,
            Some((_, worst)) => mean(&account.worst_week) < mean(worst),
        };
        if worse {
            self.worst_week = Some((year, account.worst_week.clone()));
        }
    }

    fn months(&self) -> [MonthRow; 12] {
        let years = self.lowest.len() as f64;
        std::array::from_fn(|m| {
            let days = DAYS_OF_MONTHS[m] as f64 * years;
            let mut lowest: Vec<f64> = self.lowest.iter().map(|year| year[m]).collect();
            lowest.sort_by(f64::total_cmp);
            MonthRow {
                gained_wh_per_d: self.gained_wh[m] / days,
                asked_wh_per_d: self.asked_wh[m] / days,
                hours_off: self.month_hours_off[m] as f64 / years,
                years_with_outage: self.month_outages[m],
                lowest_charge: lowest.first().copied().unwrap_or(f64::NAN),
                middle_lowest_charge: lowest.get(lowest.len() / 2).copied().unwrap_or(f64::NAN),
            }
        })
    }

    fn band(&self) -> Vec<[f64; 5]> {
        let years = self.days.len() / DAYS;
        (0..DAYS)
            .map(|day| {
                let mut of_day: Vec<f32> = (0..years).map(|y| self.days[y * DAYS + day]).collect();
                of_day.sort_by(f32::total_cmp);
                BAND_SHARES.map(|share| {
                    let rank = (share * (years - 1) as f64).round() as usize;
                    f64::from(of_day[rank])
                })
            })
            .collect()
    }
}

/// Days of each month of a year of 365 days.
pub const DAYS_OF_MONTHS: [usize; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Two-sided exact limits of a share of years (Clopper and Pearson 1934); `None` for counts or a confidence that cannot be.
#[must_use]
pub fn share_limits(bad: u64, years: u64, confidence: f64) -> Option<(f64, f64)> {
    chance::clopper_pearson(bad, years, confidence).ok()
}
