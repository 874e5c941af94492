//! The energy year of a supply: what the line draws at its battery, the panels, the weather of the site.

mod cells;
mod load;
mod sky;

use jiff::Timestamp;
use jiff::tz::Offset;
use plan::{Line, Supply, SupplyIx};
use power::battery::{ChargeOf, CurrentShare, Cutoff, Lying, PrimaryCells};
use power::year::{
    Extra, Load, MONTH_DAYS, PowerSystem, Start, StateShare, YearError, YearPlan,
    first_hour_of_month,
};
use quantity::SECONDS_PER_DAY;

use super::InputError;
use crate::memo::Memo;
use cells::{Cells, DAYS_PER_YEAR, cells, primary};
pub(crate) use cells::{at_rest, cells_preset, refused};
pub use load::{LoadPart, SupplyLoad, supply_load};
pub(crate) use load::{Rates, expected_rates, given_w, published_per_h, runs_per_h};
pub use sky::{GeneratedLight, Light, MeasuredLight};
pub(crate) use sky::{LightScratch, measured_winds};

pub(crate) const SECONDS_PER_HOUR: f64 = 3600.0;

/// All that the hourly years of one supply need.
#[derive(Clone, Debug)]
pub struct EnergyInput {
    /// The supply.
    pub supply: SupplyIx,
    /// Battery, panels and how the year begins, for the planned start and, where the start may slip, for the last one.
    pub systems: Vec<PowerSystem>,
    /// The load.
    pub load: Load,
    /// Of what the load is made, in the order of the line.
    pub load_parts: Vec<LoadPart>,
    /// What gives the energy of the panels.
    pub light: Light,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

impl EnergyInput {
    /// The systems made ready for the loop over the hours.
    ///
    /// # Errors
    /// [`InputError::Year`].
    pub fn plans(&self, line: &Line) -> Result<Vec<YearPlan>, InputError> {
        let what = path(&line.supplies[self.supply.0]);
        self.systems
            .iter()
            .map(|s| YearPlan::new(s, &self.load).map_err(|e| year_error(&what, e)))
            .collect()
    }
}

/// The energy year of a supply with panels and a battery.
///
/// # Errors
/// [`InputError::NotSaid`] for what the plan does not say and the year needs; what the disciplines refuse.
pub fn energy(line: &Line, of: SupplyIx) -> Result<EnergyInput, InputError> {
    energy_of(line, of, &Memo::with_room(0))
}

/// The same, with the sun and the weather that are kept.
pub(crate) fn energy_of(line: &Line, of: SupplyIx, memo: &Memo) -> Result<EnergyInput, InputError> {
    let supply = &line.supplies[of.0];
    let what = path(supply);
    let mut assumed = Vec::new();
    if supply.hold.is_none() {
        assumed.push(format!("{what}: full at the start of the deployment"));
    }
    let standby_w = standing_w(supply, &mut assumed);
    let mut cells = cells(line, supply, &mut assumed)?;
    let start = start(line)?;
    let (peak_power_w, light, utc_offset_h) =
        panels_light(line, supply, &cells.temperature_degc, memo, &mut assumed)?;
    let load = supply_load(line, of)?;
    assumed.extend(load.assumed.iter().cloned());
    cells.cut_by_voltage(supply, load.most_w(), standby_w)?;
    let systems = starts_s(line)
        .into_iter()
        .map(|later_s| {
            let hour = hour_of_year(start, later_s, utc_offset_h)?;
            let charge = charge_at(supply, &cells, (hour, later_s))?;
            Ok(PowerSystem {
                peak_power_w,
                standby_w,
                battery: cells.battery.clone(),
                battery_temperature_degc: cells.temperature_degc,
                start: Start::At { hour, charge },
            })
        })
        .collect::<Result<_, InputError>>()?;
    Ok(EnergyInput {
        supply: of,
        systems,
        load: year_load(&load),
        load_parts: load.parts,
        light,
        assumed,
    })
}

/// Peak power of the panels of a supply, W, what they give of it hour by hour, and the hours by which the site is ahead of UTC.
fn panels_light(
    line: &Line,
    supply: &Supply,
    cells_degc: &[f64; 12],
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Result<(f64, Light, f64), InputError> {
    let panels = supply.panels.as_ref().ok_or_else(|| InputError::NotSaid {
        what: path(supply),
        missing: "panels",
    })?;
    let year = i32::from(Offset::UTC.to_datetime(start(line)?).year());
    let (light, utc_offset_h) = sky::light(line, supply, year, cells_degc, memo, assumed)?;
    let peak_power_w = panels.peak_power_each_w.si * f64::from(panels.faces);
    Ok((peak_power_w, light, utc_offset_h))
}

/// Peak power of the panels of a supply, W, and what they give of it hour by hour, whatever its battery does.
pub(crate) fn light_of(
    line: &Line,
    of: SupplyIx,
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Result<(f64, Light), InputError> {
    let supply = &line.supplies[of.0];
    let cells = cells(line, supply, assumed)?;
    let (peak_power_w, light, _) =
        panels_light(line, supply, &cells.temperature_degc, memo, assumed)?;
    Ok((peak_power_w, light))
}

/// Usable charge with which a battery is deployed at an hour of the year, so much later than planned: it lies that much longer. Full where the plan does not say
/// how it lay.
fn charge_at(
    supply: &Supply,
    cells: &Cells,
    (hour, later_s): (usize, f64),
) -> Result<f64, InputError> {
    let Some(hold) = supply.hold else {
        return Ok(1.0);
    };
    let lying = Lying {
        hours: (hold.lasts_s.si + later_s) / SECONDS_PER_HOUR,
        draw_w: hold.draws_w.si,
        self_discharge_per_month: hold.self_discharge.map(|q| q.si),
    };
    let degc = cells.temperature_degc[month_of(hour)];
    let charge = cells.battery.charge_after(&lying, degc);
    charge.map_err(|e| refused(&path(supply), e))
}

/// Month of an hour of the year, 0 to 11.
fn month_of(hour: usize) -> usize {
    let begun = |month: &usize| first_hour_of_month(*month).is_ok_and(|first| first <= hour);
    (0..12).rev().find(begun).unwrap_or(0)
}

/// What a battery has at the planned and at the latest start.
#[derive(Clone, Debug)]
pub(crate) struct Deployed {
    /// How much later than planned, s, and the usable charge then, 0 to 1.
    pub(crate) starts: Vec<(f64, f64)>,
    /// What was counted, for its digest.
    pub(crate) battery: power::battery::Battery,
    /// Values that count although the plan does not write them.
    pub(crate) assumed: Vec<String>,
}

/// The charge with which a battery is deployed, at each start.
///
/// # Errors
/// [`InputError::NotSaid`] where the plan does not say how it lies; as [`energy`].
pub(crate) fn deployed(line: &Line, of: SupplyIx) -> Result<Deployed, InputError> {
    let supply = &line.supplies[of.0];
    let Some(hold) = supply.hold else {
        return Err(InputError::NotSaid {
            what: path(supply),
            missing: "`hold`: how long it lies since its last charge, and what is drawn meanwhile",
        });
    };
    let mut assumed = Vec::new();
    if hold.self_discharge.is_none() {
        assumed.push(format!(
            "{}.hold: loses by itself what its chemistry does, because no `self_discharge` is written",
            path(supply)
        ));
    }
    let cells = cells(line, supply, &mut assumed)?;
    let start = start(line)?;
    let zone_h = sky::zone_h(line);
    let starts = starts_s(line).into_iter().map(|later_s| {
        let hour = hour_of_year(start, later_s, zone_h)?;
        // As old as it is by then: what it loses in the water comes after.
        let mut lain = cells.clone();
        lain.battery.age_years = (hold.lasts_s.si + later_s) / (DAYS_PER_YEAR * SECONDS_PER_DAY);
        Ok((later_s, charge_at(supply, &lain, (hour, later_s))?))
    });
    Ok(Deployed {
        starts: starts.collect::<Result<_, InputError>>()?,
        battery: cells.battery.clone(),
        assumed,
    })
}

/// The load of the year: what every month draws, and hour by hour what a month draws beyond it.
fn year_load(load: &SupplyLoad) -> Load {
    let (power_w, extra) = match load.by_month_w() {
        None => (load.mean_w(), Extra::None),
        Some(months) => {
            let least_w = months.into_iter().fold(f64::INFINITY, f64::min);
            let hours = months
                .iter()
                .zip(MONTH_DAYS)
                .flat_map(|(w, days)| std::iter::repeat_n(w - least_w, 24 * days as usize));
            (least_w, Extra::Hours(hours.collect()))
        }
    };
    Load {
        states: vec![StateShare {
            power_w,
            share: 1.0,
        }],
        extra,
    }
}

/// A battery that the line draws from, whatever charges it.
#[derive(Clone, Debug)]
pub struct DrawnBattery {
    /// At the end of the longest time in the water.
    pub battery: power::battery::Battery,
    /// Temperature of its cells, January to December, degC.
    pub temperature_degc: [f64; 12],
    /// Mean load at the battery, W, with what controller and supply draw themselves.
    pub load_w: f64,
    /// What of it controller and supply draw themselves, W.
    pub standing_w: f64,
    /// Whether the full battery holds its mean load.
    pub full_holds: bool,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// The battery of a supply and what it carries.
///
/// # Errors
/// As [`energy`].
pub fn drawn_battery(line: &Line, of: SupplyIx) -> Result<DrawnBattery, InputError> {
    let supply = &line.supplies[of.0];
    let mut assumed = Vec::new();
    let standing_w = standing_w(supply, &mut assumed);
    let mut cells = cells(line, supply, &mut assumed)?;
    let load = supply_load(line, of)?;
    assumed.extend(load.assumed.iter().cloned());
    assumed.extend(load.heaviest_told(&path(supply)));
    // Down to where the load is taken off the cells are drawn, whether it comes back or not.
    let full_holds = match cells.cut_by_voltage(supply, load.most_w(), standing_w) {
        Err(InputError::NeverStays { disconnect_at, .. }) => {
            let holds = disconnect_at < 1.0;
            cells.battery.chemistry.cutoff = holds.then_some(Cutoff {
                of: ChargeOf::Whole,
                disconnect_at,
                reconnect_at: 1.0,
            });
            holds
        }
        cut => cut.map(|()| true)?,
    };
    Ok(DrawnBattery {
        battery: cells.battery,
        full_holds,
        temperature_degc: cells.temperature_degc,
        load_w: load.most_w() + standing_w,
        standing_w,
        assumed,
    })
}

/// Primary cells and what they carry.
#[derive(Clone, Debug)]
pub struct CellsInput {
    /// The cells.
    pub cells: PrimaryCells,
    /// Currents and the share of the time of each.
    pub currents: Vec<CurrentShare>,
    /// Hour of the year of the planned start and, where it may slip, of the last.
    pub start_hours: Vec<usize>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// The primary cells of a supply.
///
/// # Errors
/// As [`energy`]; more combinations of states than are worked out.
pub fn primary_cells(line: &Line, of: SupplyIx) -> Result<CellsInput, InputError> {
    let supply = &line.supplies[of.0];
    let mut assumed = Vec::new();
    let standing_w = standing_w(supply, &mut assumed);
    let (cells, given_v) = primary(line, supply, &mut assumed)?;
    let load = supply_load(line, of)?;
    assumed.extend(load.assumed.iter().cloned());
    assumed.extend(load.heaviest_told(&path(supply)));
    let currents = load.currents(line, of, given_v, standing_w)?;
    let start = start(line)?;
    let zone_h = sky::zone_h(line);
    let start_hours = starts_s(line)
        .into_iter()
        .map(|later_s| hour_of_year(start, later_s, zone_h))
        .collect::<Result<_, InputError>>()?;
    Ok(CellsInput {
        cells,
        currents,
        start_hours,
        assumed,
    })
}

fn path(supply: &Supply) -> String {
    format!("supply.{}", supply.id)
}

/// What the year refuses; a battery's mistake with the keys that say it.
pub(crate) fn year_error(supply: &str, source: YearError) -> InputError {
    match source {
        YearError::Battery(source) => refused(supply, source),
        source => InputError::Year {
            what: supply.to_owned(),
            source,
        },
    }
}

/// What controller and supply draw themselves, W.
fn standing_w(supply: &Supply, assumed: &mut Vec<String>) -> f64 {
    supply.standing_w.map_or_else(
        || {
            assumed.push(format!(
                "supply.{}: its charge controller draws nothing, because no `standing` is written",
                supply.id
            ));
            0.0
        },
        |q| q.si,
    )
}

fn twelve(months: &[plan::Q]) -> Option<[f64; 12]> {
    let all: Vec<f64> = months.iter().map(|q| q.si).collect();
    all.try_into().ok()
}

fn start(line: &Line) -> Result<Timestamp, InputError> {
    line.deployment.start.ok_or(InputError::NotSaid {
        what: "the deployment".to_owned(),
        missing: "its start",
    })
}

/// The hour of a year, in local standard time, at which the deployment is to begin; `None` where the plan does not say when.
pub(crate) fn start_hour(line: &Line) -> Option<usize> {
    let start = line.deployment.start?;
    hour_of_year(start, 0.0, sky::zone_h(line)).ok()
}

/// How much later the deployment may begin, s: as planned and, where it may slip, at the last.
fn starts_s(line: &Line) -> Vec<f64> {
    let slip_s = line.deployment.start_slip_s.map(|q| q.si);
    let slip_s = slip_s.filter(|s| *s > 0.0);
    std::iter::once(0.0).chain(slip_s).collect()
}

/// The hour of a year of 365 days, in local standard time, at which the deployment begins when it begins so much later.
fn hour_of_year(start: Timestamp, later_s: f64, utc_offset_h: f64) -> Result<usize, InputError> {
    let seconds = (later_s + utc_offset_h * SECONDS_PER_HOUR) as i64;
    let start = start
        .checked_add(jiff::SignedDuration::from_secs(seconds))
        .map_err(|_| InputError::Open {
            what: "the start with its slip leaves the calendar".to_owned(),
        })?;
    let start = Offset::UTC.to_datetime(start);
    let month = usize::from(start.month().unsigned_abs()) - 1;
    // A 29 February counts as the 28th.
    let day: i8 = match (start.month(), start.day()) {
        (2, 29) => 28,
        (_, day) => day,
    };
    let hour =
        24 * (usize::from(day.unsigned_abs()) - 1) + usize::from(start.hour().unsigned_abs());
    let first = first_hour_of_month(month).expect("a month of the calendar");
    Ok(first + hour)
}
