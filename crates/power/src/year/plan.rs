//! The loop over the hours of a year.

use super::account::{Ledger, MonthAccount, Settled, WEEK_HOURS, Week, YearAccount};
use super::error::{YearError, YearQuantity};
use super::load::Load;
use crate::battery::{Battery, BatteryAt, BatteryState};
use crate::calendar::DAYS_BEFORE_MONTH;
use crate::sun::HOURS;

/// First hour of each month, and the end of the year.
const FIRST_HOURS: [usize; 13] = {
    let mut hours = DAYS_BEFORE_MONTH;
    let mut month = 0;
    while month < hours.len() {
        hours[month] *= 24;
        month += 1;
    }
    hours
};

/// Runs after which a year that does not repeat itself is told as it is. A difference shrinks at least by the
/// self-discharge of a year; a battery that once is full forgets its start at once.
const MOST_RUNS: u32 = 40;
/// Difference of the contents, over the capacity, at which a year counts as repeating itself.
const SAME_CONTENT: f64 = 1e-9;

/// First hour of a month, 0 to 11.
///
/// # Errors
/// A month above 11.
pub fn first_hour_of_month(month: usize) -> Result<usize, YearError> {
    if month < 12 {
        Ok(FIRST_HOURS[month])
    } else {
        Err(YearError::Month { month })
    }
}

/// How the year begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// At an hour of the year with a usable state of charge; after 31 December it goes on with 1 January until the
    /// hour is reached again.
    At {
        /// Hour of the year, 0 to 8759.
        hour: usize,
        /// Usable state of charge, 0 to 1.
        charge: f64,
    },
    /// On 1 January with the state in which the year ends: the start of a long deployment is forgotten. Starting full
    /// in January hides the winter.
    Repeating,
}

/// What the year is computed for.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerSystem {
    /// Peak power of all panels, W.
    pub peak_power_w: f64,
    /// Standing consumption of the controller, W.
    pub standby_w: f64,
    /// The battery.
    pub battery: Battery,
    /// Its temperature, January to December, degC.
    pub battery_temperature_degc: [f64; 12],
    /// How the year begins.
    pub start: Start,
}

/// A system and its load, checked and worked out for the loop.
#[derive(Clone, Debug)]
pub struct YearPlan {
    peak_power_w: f64,
    standby_wh: f64,
    load_wh: Vec<f64>,
    months: [BatteryAt; 12],
    start: Start,
}

/// Room for the loop, to be used again.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    /// Usable state of charge by hour of the year.
    charge: Vec<f64>,
    /// Whether the load went short, by hour of the year.
    off: Vec<bool>,
}

impl Scratch {
    /// Usable state of charge at the end of each hour of the last year that was run, 1 January first; empty before any.
    #[must_use]
    pub fn charge(&self) -> &[f64] {
        &self.charge
    }

    /// Whether the load did not get all it asked for in each hour of the last year that was run, 1 January first; empty before any.
    #[must_use]
    pub fn off(&self) -> &[bool] {
        &self.off
    }
}

/// What one run through the hours tells.
struct Run {
    ledger: Ledger,
    months: [MonthAccount; 12],
    disconnections: u32,
    first_hour_off: Option<usize>,
}

impl YearPlan {
    /// Checks a system and its load.
    ///
    /// # Errors
    /// A value outside its range; what [`Battery::at`] refuses at the temperature of a month; primary cells with
    /// [`Start::Repeating`].
    pub fn new(system: &PowerSystem, load: &Load) -> Result<Self, YearError> {
        let mut months = Vec::with_capacity(12);
        for temperature_degc in system.battery_temperature_degc {
            months.push(system.battery.at(temperature_degc)?);
        }
        match system.start {
            Start::At { hour, charge } => {
                if hour >= HOURS {
                    return Err(YearError::StartHour { hour });
                }
                YearQuantity::StartCharge.check(charge)?;
            }
            Start::Repeating if system.battery.chemistry.charging.is_none() => {
                return Err(YearError::NoRepetition);
            }
            Start::Repeating => {}
        }
        Ok(Self {
            peak_power_w: YearQuantity::PeakPower.check(system.peak_power_w)?,
            standby_wh: YearQuantity::Standby.check(system.standby_w)?,
            load_wh: load.hourly_wh()?,
            months: months.try_into().expect("one for each of twelve months"),
            start: system.start,
        })
    }

    /// The year's account for the energy of each hour in Wh per watt of peak power ([`super::measured_yields`],
    /// [`super::GeneratedYields`]).
    ///
    /// # Errors
    /// Not a year of hours; a yield outside its range.
    pub fn run(&self, yields: &[f64], scratch: &mut Scratch) -> Result<YearAccount, YearError> {
        check_yields(yields)?;
        scratch.charge.clear();
        scratch.charge.resize(HOURS, 0.0);
        scratch.off.clear();
        scratch.off.resize(HOURS, false);
        Ok(match self.start {
            Start::At { hour, charge } => {
                let battery = &self.months[month_of(hour)];
                let mut state = BatteryState {
                    stored_wh: battery.stored_at(charge),
                    connected: true,
                };
                self.account(hour, &mut state, yields, scratch, Settled::NotAsked)
            }
            Start::Repeating => self.repeating(yields, scratch),
        })
    }

    /// Whether a year of yields that [`check_yields`] has passed has more hours off than so many; stops at the first hour
    /// too many and keeps no account.
    pub(super) fn is_off_longer(
        &self,
        yields: &[f64],
        at_most_hours: u32,
        scratch: &mut Scratch,
    ) -> Result<bool, YearError> {
        let Start::At { hour, charge } = self.start else {
            return Ok(self.run(yields, scratch)?.hours_off > at_most_hours);
        };
        let first_month = month_of(hour);
        let mut state = BatteryState {
            stored_wh: self.months[first_month].stored_at(charge),
            connected: true,
        };
        let mut hours_off = 0;
        for (month, hours) in months_from(hour) {
            let battery = &self.months[month];
            let rows = yields[hours.clone()].iter().zip(&self.load_wh[hours]);
            for (&per_w, &load_wh) in rows {
                let gained_wh = per_w * self.peak_power_w;
                let flows = battery.step(&mut state, gained_wh, load_wh, self.standby_wh);
                hours_off += u32::from(!state.connected || flows.unserved_wh > 0.0);
                if hours_off > at_most_hours {
                    return Ok(true);
                }
            }
        }
        Ok(false)
    }

    fn repeating(&self, yields: &[f64], scratch: &mut Scratch) -> YearAccount {
        let capacity_wh = self.months[0].capacity_wh();
        let mut state = BatteryState {
            stored_wh: capacity_wh,
            connected: true,
        };
        let mut runs = 0;
        loop {
            let before = state;
            runs += 1;
            let mut account = self.account(0, &mut state, yields, scratch, Settled::NotAfter(runs));
            let moved_wh = (state.stored_wh - before.stored_wh).abs();
            if moved_wh <= SAME_CONTENT * capacity_wh && state.connected == before.connected {
                account.settled = Settled::After(runs);
                return account;
            }
            if runs == MOST_RUNS {
                return account;
            }
        }
    }

    fn account(
        &self,
        first_hour: usize,
        state: &mut BatteryState,
        yields: &[f64],
        scratch: &mut Scratch,
        settled: Settled,
    ) -> YearAccount {
        let stored_at_start_wh = state.stored_wh;
        let mut run = Run::new();
        let first_month = month_of(first_hour);
        for (month, hours) in months_from(first_hour) {
            self.run_hours(month, hours, state, yields, scratch, &mut run);
        }
        run.ledger.stored_change_wh = state.stored_wh - stored_at_start_wh;
        let last_month = month_of((first_hour + HOURS - 1) % HOURS);
        let ends = (
            self.months[first_month].usable_state_of_charge(stored_at_start_wh),
            self.months[last_month].usable_state_of_charge(state.stored_wh),
        );
        run.into_account(&scratch.charge, first_hour, ends, settled)
    }

    fn run_hours(
        &self,
        month: usize,
        hours: core::ops::Range<usize>,
        state: &mut BatteryState,
        yields: &[f64],
        scratch: &mut Scratch,
        run: &mut Run,
    ) {
        let battery = &self.months[month];
        let account = &mut run.months[month];
        let mut ledger = Ledger::default();
        let (mut asked_wh, mut unserved_wh, mut hours_off) = (0.0, 0.0, 0);
        let first = hours.start;
        let rows = yields[hours.clone()]
            .iter()
            .zip(&self.load_wh[hours.clone()])
            .zip(&mut scratch.charge[hours.clone()])
            .zip(&mut scratch.off[hours]);
        for (offset, (((&per_w, &load_wh), charge), off)) in rows.enumerate() {
            let gained_wh = per_w * self.peak_power_w;
            let was_connected = state.connected;
            let flows = battery.step(state, gained_wh, load_wh, self.standby_wh);
            ledger.add(gained_wh, &flows);
            asked_wh += load_wh;
            unserved_wh += flows.unserved_wh;
            *charge = battery.usable_state_of_charge(state.stored_wh);
            account.lowest_charge = account.lowest_charge.min(*charge);
            *off = !state.connected || flows.unserved_wh > 0.0;
            if *off {
                hours_off += 1;
                run.first_hour_off.get_or_insert(first + offset);
                run.disconnections += u32::from(was_connected && !state.connected);
            }
        }
        account.gained_wh += ledger.gained_wh;
        account.asked_wh += asked_wh;
        account.unserved_wh += unserved_wh;
        account.hours_off += hours_off;
        run.ledger.join(&ledger);
    }
}

impl Run {
    fn new() -> Self {
        let month = MonthAccount {
            gained_wh: 0.0,
            asked_wh: 0.0,
            unserved_wh: 0.0,
            hours_off: 0,
            lowest_charge: f64::INFINITY,
        };
        Self {
            ledger: Ledger::default(),
            months: [month; 12],
            disconnections: 0,
            first_hour_off: None,
        }
    }

    fn into_account(
        self,
        charge: &[f64],
        first_hour: usize,
        start_end_charge: (f64, f64),
        settled: Settled,
    ) -> YearAccount {
        let mut lowest_charge_hour = first_hour;
        for hour in (first_hour..HOURS).chain(0..first_hour) {
            if charge[hour] < charge[lowest_charge_hour] {
                lowest_charge_hour = hour;
            }
        }
        let sum = |of: fn(&MonthAccount) -> f64| self.months.iter().map(of).sum();
        YearAccount {
            hours_off: self.months.iter().map(|month| month.hours_off).sum(),
            asked_wh: sum(|month| month.asked_wh),
            unserved_wh: sum(|month| month.unserved_wh),
            disconnections: self.disconnections,
            first_hour_off: self.first_hour_off,
            lowest_charge: charge[lowest_charge_hour],
            lowest_charge_hour,
            mean_charge: charge.iter().sum::<f64>() / HOURS as f64,
            start_end_charge,
            months: self.months,
            worst_week: worst_week(charge, first_hour, settled == Settled::NotAsked),
            ledger: self.ledger,
            settled,
        }
    }
}

/// The week with the lowest mean, beginning a whole number of days after the start. In a year that repeats itself it
/// may run over the end; otherwise the end and the start have nothing to do with each other.
fn worst_week(charge: &[f64], first_hour: usize, ends: bool) -> Week {
    let days: Vec<f64> = (0..HOURS / 24)
        .map(|day| {
            (0..24)
                .map(|hour| charge[(first_hour + 24 * day + hour) % HOURS])
                .sum()
        })
        .collect();
    let count = if ends { days.len() - 6 } else { days.len() };
    let sum_of =
        |first: usize| -> f64 { (first..first + 7).map(|day| days[day % days.len()]).sum() };
    let (mut worst, mut lowest) = (0, f64::INFINITY);
    for first in 0..count {
        let sum = sum_of(first);
        if sum < lowest {
            (worst, lowest) = (first, sum);
        }
    }
    let first = (first_hour + 24 * worst) % HOURS;
    Week {
        first_hour: first,
        charge: (0..WEEK_HOURS)
            .map(|hour| charge[(first + hour) % HOURS])
            .collect(),
    }
}

/// The months and their hours from an hour of the year once round to it.
fn months_from(first_hour: usize) -> impl Iterator<Item = (usize, core::ops::Range<usize>)> {
    let first_month = month_of(first_hour);
    (0..=12).map(move |turn| {
        let month = (first_month + turn) % 12;
        let (mut from, mut to) = (FIRST_HOURS[month], FIRST_HOURS[month + 1]);
        if turn == 0 {
            from = first_hour;
        }
        if turn == 12 {
            to = first_hour;
        }
        (month, from..to)
    })
}

/// That a row of hours is a year of yields.
pub(super) fn check_yields(yields: &[f64]) -> Result<(), YearError> {
    if yields.len() != HOURS {
        return Err(YearError::Hours {
            found: yields.len(),
            what: "yield",
        });
    }
    for &hour in yields {
        YearQuantity::Yield.check(hour)?;
    }
    Ok(())
}

/// Month of an hour of the year.
fn month_of(hour: usize) -> usize {
    FIRST_HOURS.partition_point(|&first| first <= hour) - 1
}
