//! Many years of one supply, told by month, by day and by their worst week, and the sizes that would do.
//!
//! The months, the band and the worst week are those of the planned start; hours off are those of the worse of the planned and
//! the last start, as the verdict takes them. Method, limits and which way they err: docs/method/energy-year.md.

use plan::{Line, Requirement, SupplyIx, That};
use power::sun::DAYS;
use power::year::{
    CapacitySearch, Claim, LowestCharges, MONTH_DAYS, Outages, SizeRow, Start, Week, YearAccount,
    smallest_batteries,
};

use crate::input::{
    EnergyInput, InputError, Light, LightScratch, LoadPart, energy, refused, year_error,
};
use crate::memo::Memo;
use crate::years::{CONFIDENCE, MOST_YEARS, claim, lowest, run_years, share_of_years, worse};

/// Shares of the years below each line of the band: the lowest year, the lowest tenth, the middle, the highest tenth, the highest.
pub const BAND_SHARES: [f64; 5] = [0.0, 0.1, 0.5, 0.9, 1.0];
/// Peak powers of the panels for which the smallest battery is looked for, as shares of the planned one.
const PANEL_SHARES: [f64; 25] = [
    0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5,
    1.6, 1.8, 2.0, 2.25, 2.5, 2.75, 3.0,
];
/// Batteries that are tried: in steps of a hundredth of the planned one, to eight times it.
const BATTERY_STEP: f64 = 0.01;
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
    /// Years that were run.
    pub years: u64,
    /// Path of the weather file that they come from; `None` for generated years.
    pub weather_file: Option<String>,
    /// Of what the load is made.
    pub load_parts: Vec<LoadPart>,
    /// Mean load at the battery, W.
    pub load_w: f64,
    /// What controller and supply draw themselves, W.
    pub standing_w: f64,
    /// Mean load, with what controller and supply draw, over the hydrophones of the line: energy for each hour that one listens, Wh; `None` without hydrophones.
    pub wh_per_sensor_hour: Option<f64>,
    /// Days that the battery lasts from full without any light, at its age and down to the cut-off, in the month in which they are
    /// fewest; `None` for a line that draws nothing.
    pub autonomy_d: Option<f64>,
    /// That month, 0 to 11; the first of equal ones.
    pub autonomy_month: Option<usize>,
    /// Temperature of the cells, January to December, degC.
    pub cells_degc: [f64; 12],
    /// Hour of the year, in local standard time, at which the planned deployment begins with a full battery.
    pub start_hour: usize,
    /// January to December.
    pub months: [MonthRow; 12],
    /// Hours off of each year, the worse of the starts.
    pub outages: Outages,
    /// Lowest usable state of charge of each year, the lower of the starts.
    pub lowest_charges: LowestCharges,
    /// Largest share of bad years, at 95 % confidence, that so many years leave room for when none of them is bad.
    pub bad_share_of_none: f64,
    /// Years that the first requirement on this supply needs; `None` without one, and where no number of years is enough.
    pub years_needed: Option<u64>,
    /// Lowest usable state of charge of all years, 0 to 1.
    pub lowest_charge: f64,
    /// The worst week of all years, and the number of its year.
    pub worst_week: (u64, Week),
    /// Usable state of charge at the end of each day of the year, 1 January first: the [`BAND_SHARES`] of the years.
    pub band: Vec<[f64; 5]>,
    /// What as many years by the other model of daily clearness come to; `None` where the years were measured.
    pub second_opinion: Option<SecondOpinion>,
    /// The claim of that requirement, and the smallest batteries that show it; `None` where fewer years were asked for than it
    /// needs, or it needs more than a check draws.
    pub sizes: Option<Sizes>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// The years once more, with days drawn by the distribution of Bendt, Collares-Pereira and Rabl (1981) with memory of one day.
#[derive(Clone, Debug, PartialEq)]
pub struct SecondOpinion {
    /// Hours off of each year, the worse of the starts.
    pub outages: Outages,
    /// Lowest usable state of charge of each year.
    pub lowest_charges: LowestCharges,
}

/// Panels against battery for one claim.
#[derive(Clone, Debug, PartialEq)]
pub struct Sizes {
    /// The claim.
    pub claim: Claim,
    /// As planned: peak power, W, and battery, Wh.
    pub planned: (f64, f64),
    /// Largest battery that was tried, Wh.
    pub largest_wh: f64,
    /// Step between two batteries that were tried, Wh.
    pub step_wh: f64,
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
    let claim = claim_on(line, of);
    // Of what no number of years shows there are no sizes; the verdict says so.
    let years_needed = claim.and_then(|c| c.years.years_needed().ok());
    let most = |needed: u64| needed.clamp(FEWEST_YEARS, MOST_YEARS);
    let measured_years = input.light.measured_years();
    let years = years
        .or(measured_years)
        .unwrap_or_else(|| years_needed.map_or(FEWEST_YEARS, most));
    if years == 0 {
        return Err(InputError::Open {
            what: "no year was asked for".to_owned(),
        });
    }
    let sized = claim.zip(years_needed.filter(|n| *n <= years.min(MOST_YEARS)));
    let mut all = Gathered::default();
    let mut goes_on = true;
    // The sizes take about as long as the years.
    let of_the_whole = if sized.is_some() { 0.5 } else { 1.0 };
    run_years(line, &input, seed, years, &mut |year, accounts, charge| {
        all.add(year, accounts, charge);
        goes_on = watch(of_the_whole * (year as f64 + 1.0) / years as f64);
        goes_on
    })?;
    if !goes_on {
        return Ok(None);
    }
    let sizes = sized
        .map(|(claim, needed)| {
            let of_years = measured_years.map_or(needed, |_| years);
            sizes(&supply, &input, seed, of_years, claim)
        })
        .transpose()?;
    let second_opinion = second_opinion(line, &input, seed, years)?;
    if !watch(1.0) {
        return Ok(None);
    }
    let load_w: f64 = input.load_parts.iter().map(|p| p.power_w).sum();
    let system = &input.systems[0];
    let drawn_w = load_w + system.standby_w;
    let autonomy = (drawn_w > 0.0)
        .then(|| {
            let degc = &system.battery_temperature_degc;
            system.battery.autonomy(degc, drawn_w)
        })
        .transpose()
        .map_err(|source| refused(&supply, source))?;
    let bad_share_of_none =
        chance::bad_share_bound(0, years, CONFIDENCE).map_err(|e| year_error(&supply, e.into()))?;
    Ok(Some(EnergyYears {
        supply,
        seed,
        years,
        weather_file: match &input.light {
            Light::Generated(_) => None,
            Light::Measured(light) => Some(light.path.clone()),
        },
        load_w,
        standing_w: system.standby_w,
        wh_per_sensor_hour: wh_per_sensor_hour(line, drawn_w),
        autonomy_d: autonomy.map(|a| a.hours / 24.0),
        autonomy_month: autonomy.map(|a| a.month),
        cells_degc: system.battery_temperature_degc,
        start_hour: match system.start {
            Start::At { hour, .. } => hour,
            Start::Repeating => 0,
        },
        months: all.months(),
        lowest_charge: all.lowest.iter().flatten().copied().fold(1.0, f64::min),
        band: all.band(),
        worst_week: all.worst_week.expect("at least one year was run"),
        outages: all.outages,
        lowest_charges: all.lowest_charges,
        bad_share_of_none,
        years_needed,
        second_opinion,
        load_parts: input.load_parts,
        sizes,
        assumed: input.assumed,
    }))
}

fn second_opinion(
    line: &Line,
    input: &EnergyInput,
    seed: u64,
    years: u64,
) -> Result<Option<SecondOpinion>, InputError> {
    let Some(light) = input.light.second_opinion() else {
        return Ok(None);
    };
    let input = EnergyInput {
        light,
        ..input.clone()
    };
    let (mut outages, mut lowest_charges) = (Outages::new(), LowestCharges::new());
    run_years(line, &input, seed, years, &mut |_, accounts, _| {
        outages.add(worse(accounts));
        lowest_charges
            .add(lowest(accounts))
            .expect("a usable state of charge lies between 0 and 1");
        true
    })?;
    Ok(Some(SecondOpinion {
        outages,
        lowest_charges,
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
        } if wanted.is_none_or(|s| s == of) => {
            Some(claim(*at_most_s, share_of_years(r.share?.si, *confidence)))
        }
        _ => None,
    };
    line.requirements.iter().find_map(asks)
}

/// Energy at the battery for each hour that one hydrophone of the line listens, Wh; `None` without hydrophones. Each is counted as
/// listening all the time.
pub(crate) fn wh_per_sensor_hour(line: &Line, load_w: f64) -> Option<f64> {
    let hydrophones = line.hydrophones().count();
    (hydrophones > 0).then(|| load_w / hydrophones as f64)
}

/// For each peak power the smallest battery that shows the claim with the planned and with the last start, as the verdict asks.
fn sizes(
    supply: &str,
    input: &EnergyInput,
    seed: u64,
    years: u64,
    claim: Claim,
) -> Result<Sizes, InputError> {
    let mut yields = Vec::new();
    let (memo, mut scratch) = (Memo::with_room(0), LightScratch::default());
    for year in 0..years {
        let of_year = input.light.year(seed, year, &memo, &mut scratch)?;
        yields.push(of_year.to_vec());
    }
    let planned = &input.systems[0];
    let (peak_w, capacity_wh) = (planned.peak_power_w, planned.battery.capacity_wh);
    let peaks = PANEL_SHARES.map(|share| share * peak_w);
    let search = CapacitySearch {
        lowest_wh: BATTERY_STEP * capacity_wh,
        highest_wh: LARGEST_BATTERY * capacity_wh,
        step_wh: BATTERY_STEP * capacity_wh,
    };
    let mut rows: Vec<SizeRow> = Vec::new();
    for system in &input.systems {
        let found = smallest_batteries(system, &input.load, &yields, &claim, &peaks, &search)
            .map_err(|source| year_error(supply, source))?;
        if rows.is_empty() {
            rows = found;
        } else {
            rows = rows
                .into_iter()
                .zip(found)
                .map(|(a, b)| larger(a, b))
                .collect();
        }
    }
    Ok(Sizes {
        claim,
        planned: (peak_w, capacity_wh),
        largest_wh: search.highest_wh,
        step_wh: search.step_wh,
        rows,
    })
}

/// Of two batteries for one peak power the larger; none is larger than any.
fn larger(a: SizeRow, b: SizeRow) -> SizeRow {
    match (a.battery_wh, b.battery_wh) {
        (None, _) => a,
        (_, None) => b,
        (Some(x), Some(y)) if x >= y => a,
        _ => b,
    }
}

/// What is kept of the years while they go by.
#[derive(Default)]
struct Gathered {
    outages: Outages,
    lowest_charges: LowestCharges,
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
    fn add(&mut self, year: u64, accounts: &[YearAccount], charge: &[f64]) {
        self.outages.add(worse(accounts));
        self.lowest_charges
            .add(lowest(accounts))
            .expect("a usable state of charge lies between 0 and 1");
        let account = &accounts[0];
        let mut by_month = [0.0; 12];
        for (m, month) in account.months.iter().enumerate() {
            self.gained_wh[m] += month.gained_wh;
            self.asked_wh[m] += month.asked_wh;
            self.month_hours_off[m] += u64::from(month.hours_off);
            self.month_outages[m] += u64::from(month.hours_off > 0);
            by_month[m] = month.lowest_charge;
        }
        self.lowest.push(by_month);
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
            let days = f64::from(MONTH_DAYS[m]) * years;
            let mut lowest: Vec<f64> = self.lowest.iter().map(|year| year[m]).collect();
            lowest.sort_by(f64::total_cmp);
            MonthRow {
                gained_wh_per_d: self.gained_wh[m] / days,
                asked_wh_per_d: self.asked_wh[m] / days,
                hours_off: self.month_hours_off[m] as f64 / years,
                years_with_outage: self.month_outages[m],
                lowest_charge: lowest[0],
                middle_lowest_charge: lowest[lowest.len() / 2],
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
