//! A solar battery that has run empty: what it needs to hold the load that comes back, and the dawn on which it does.

use plan::{Line, SupplyIx};
use power::battery::{Bank, Battery, BatteryAt, Dawn, Demand, Hold, Stretch, Thresholds};
use power::year::first_hour_of_month;
use quantity::SECONDS_PER_DAY;

use crate::cell_verdicts::MONTHS;
use crate::input::{
    Contacts, DrawnBattery, InputError, LightScratch, SECONDS_PER_HOUR, at_rest, drawn_battery,
    electric, given_w, light_of, refused,
};
use crate::memo::Memo;
use crate::months::months_in_water;
use crate::waking::{Waking, waking};
use crate::years::WEATHER_SEED;

/// Years of which the hours make a mean day, or all that were measured where there are fewer.
const YEARS: u64 = 10;
const HOURS_OF_A_DAY: usize = 24;

/// A supply that comes back.
#[derive(Clone, Debug)]
pub(crate) struct ComesBack {
    pub(crate) supply: SupplyIx,
    pub(crate) drawn: DrawnBattery,
    pub(crate) demand: Demand,
    /// At the end of its service, at the temperature of the first month in the water that allows charging.
    pub(crate) bank: Bank,
    /// Months in the water, 0 to 11, with whether the cells take charge in it.
    pub(crate) months: Vec<(usize, bool)>,
}

/// The mean day of a month: what the panels give in each hour, W.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct MeanDay {
    pub(crate) month: usize,
    pub(crate) hours_w: Vec<f64>,
}

impl MeanDay {
    pub(crate) fn name(&self) -> &'static str {
        MONTHS[self.month]
    }

    pub(crate) fn wh(&self) -> f64 {
        self.hours_w.iter().sum()
    }

    pub(crate) fn light(&self) -> Vec<Stretch> {
        let hours = self.hours_w.iter();
        hours
            .map(|power_w| Stretch {
                lasting_s: SECONDS_PER_HOUR,
                power_w: *power_w,
            })
            .collect()
    }
}

/// What a supply with panels and battery needs to come back, and what it has.
pub(crate) fn comes_back(line: &Line, of: SupplyIx) -> Result<ComesBack, InputError> {
    let supply = &line.supplies[of.0];
    let what = format!("supply.{}", supply.id);
    let mut drawn = drawn_battery(line, of)?;
    drawn.assumed.extend(waits_for_nothing(line, of));
    if line.supplies.len() > 1 {
        return Err(InputError::Open {
            what: format!(
                "{what}: other supplies feed the line besides, so that it is not off when this one is"
            ),
        });
    }
    let demand = demand(line, of, &waking(line), &drawn)?;
    let months = months_in_water(line).into_iter();
    let takes = |month: usize| {
        let degc = drawn.temperature_degc[month];
        let charging = drawn.battery.chemistry.charging;
        charging.is_some_and(|c| (c.lowest_degc..=c.highest_degc).contains(&degc))
    };
    let months: Vec<(usize, bool)> = months.map(|m| (m, takes(m))).collect();
    let first = months.iter().find(|(_, takes)| *takes).or(months.first());
    let month = first.map_or(0, |(m, _)| *m);
    let degc = drawn.temperature_degc[month];
    let at = drawn.battery.at(degc).map_err(|e| refused(&what, e))?;
    let bank = bank(line, of, &drawn.battery, &at)?;
    Ok(ComesBack {
        supply: of,
        drawn,
        demand,
        bank,
        months,
    })
}

/// Delays of the switch that are not written.
fn waits_for_nothing(line: &Line, of: SupplyIx) -> Option<String> {
    let supply = &line.supplies[of.0];
    let battery = supply.battery.as_ref()?;
    let silent: Vec<String> = [
        ("disconnect_after", battery.disconnect_after_s),
        ("reconnect_after", battery.reconnect_after_s),
    ]
    .into_iter()
    .filter(|(_, q)| q.is_none())
    .map(|(key, _)| format!("`{key}`"))
    .collect();
    (!silent.is_empty()).then(|| {
        format!(
            "supply.{}.battery: its load is switched at once, because no {} is written",
            supply.id,
            silent.join(" and no ")
        )
    })
}

fn bank(line: &Line, of: SupplyIx, battery: &Battery, at: &BatteryAt) -> Result<Bank, InputError> {
    let supply = &line.supplies[of.0];
    let what = format!("supply.{}", supply.id);
    let not_said = |missing| InputError::NotSaid {
        what: format!("{what}.battery"),
        missing,
    };
    let written = supply.battery.as_ref().ok_or(not_said("what it is"))?;
    let (open, resistance_ohm) = at_rest(supply)?;
    let capacity_wh = at.capacity_wh();
    let thresholds = match (written.disconnect_v, written.reconnect_v) {
        (Some(off), Some(on)) => Thresholds::Voltage {
            off_v: off.si,
            on_v: on.si,
        },
        _ => {
            let cutoff = battery.chemistry.cutoff.ok_or(not_said(
                "when the load is taken off and comes back (`disconnect_voltage` and `reconnect_voltage`, or `disconnect_at` and `reconnect_at`)",
            ))?;
            Thresholds::Content {
                off: at.stored_at(cutoff.disconnect_at) / capacity_wh,
                on: at.stored_at(cutoff.reconnect_at) / capacity_wh,
            }
        }
    };
    let charging = battery
        .chemistry
        .charging
        .ok_or(not_said("how its cells are charged"))?;
    let most_charge_w = charging
        .limit
        .map_or(f64::INFINITY, |taper| taper.highest_per_h * capacity_wh);
    let seconds = |q: Option<plan::Q>| q.map_or(0.0, |q| q.si);
    let bank = Bank {
        capacity_wh,
        open,
        resistance_ohm,
        charge_efficiency: charging.efficiency,
        most_charge_w,
        thresholds,
        off_after_s: seconds(written.disconnect_after_s),
        on_after_s: seconds(written.reconnect_after_s),
    };
    bank.check().map_err(|e| refused(&what, e))?;
    Ok(bank)
}

/// What is drawn at the terminals from when the load comes back: boots in their turns with aged contacts, then the mean load.
pub(crate) fn demand(
    line: &Line,
    of: SupplyIx,
    waking: &Waking,
    drawn: &DrawnBattery,
) -> Result<Demand, InputError> {
    if let Some(missing) = waking.unknowns.first() {
        return Err(InputError::Open {
            what: missing.clone(),
        });
    }
    let electric = electric(line)?;
    let mut changes_s: Vec<f64> = waking
        .turns
        .iter()
        .flatten()
        .flat_map(|turn| [turn.on_s, turn.ready_s])
        .collect();
    changes_s.push(0.0);
    changes_s.sort_by(f64::total_cmp);
    changes_s.dedup();
    let efficiency = drawn.battery.chemistry.discharge_efficiency;
    let boot = changes_s.windows(2).map(|w| {
        let conditions = waking.conditions(line, Contacts::Aged, w[0]);
        let power_w = given_w(line, &electric, &conditions, of)? / efficiency;
        Ok(Stretch {
            lasting_s: w[1] - w[0],
            power_w,
        })
    });
    Ok(Demand {
        boot: boot.collect::<Result<_, InputError>>()?,
        running_w: (drawn.load_w - drawn.standing_w) / efficiency,
        standing_w: drawn.standing_w,
    })
}

impl ComesBack {
    /// Whether it holds the load that comes back in the dark.
    pub(crate) fn hold(&self, line: &Line) -> Result<Hold, InputError> {
        self.hold_with(line, &self.demand)
    }

    pub(crate) fn hold_with(&self, line: &Line, demand: &Demand) -> Result<Hold, InputError> {
        let what = format!("supply.{}", line.supplies[self.supply.0].id);
        let hold = self.bank.hold(demand, 0.0);
        hold.map_err(|e| refused(&what, e))
    }

    /// Whether the load comes back at a voltage that the full battery does not have at rest.
    pub(crate) fn on_beyond_rest(&self) -> bool {
        match self.bank.thresholds {
            Thresholds::Voltage { on_v, .. } => on_v > self.bank.highest_v(0.0).0,
            Thresholds::Content { .. } => false,
        }
    }

    /// The mean day of each month in the water.
    pub(crate) fn days(
        &self,
        line: &Line,
        memo: &Memo,
        assumed: &mut Vec<String>,
    ) -> Result<Vec<MeanDay>, InputError> {
        let (peak_w, light) = light_of(line, self.supply, memo, assumed)?;
        let years = light.measured_years().map_or(YEARS, |n| n.min(YEARS));
        let mut days: Vec<MeanDay> = self
            .months
            .iter()
            .map(|(month, _)| MeanDay {
                month: *month,
                hours_w: vec![0.0; HOURS_OF_A_DAY],
            })
            .collect();
        let mut scratch = LightScratch::default();
        for year in 0..years {
            let yields = light.year(WEATHER_SEED, year, memo, &mut scratch)?;
            for day in &mut days {
                let first = first_hour_of_month(day.month).expect("a month of the year");
                let last = first_hour_of_month(day.month + 1).unwrap_or(yields.len());
                let count = years as f64 * (last - first) as f64 / HOURS_OF_A_DAY as f64;
                for (k, per_w) in yields[first..last].iter().enumerate() {
                    day.hours_w[k % HOURS_OF_A_DAY] += per_w * peak_w / count;
                }
            }
        }
        Ok(days)
    }

    /// The battery in a month: cells that are too cold or too warm take nothing.
    fn bank_in(&self, month: usize) -> Bank {
        let takes = self.months.iter().any(|(m, takes)| *m == month && *takes);
        let mut bank = self.bank.clone();
        if !takes {
            bank.most_charge_w = 0.0;
        }
        bank
    }

    /// Mean days from midnight on, up to so many, until the end of the one on which the load comes back; with the battery as the night has left it: the load just taken off.
    pub(crate) fn dawn(&self, line: &Line, day: &MeanDay, days: usize) -> Result<Dawn, InputError> {
        let bank = self.bank_in(day.month);
        let from_wh = bank.taken_off_wh(&self.demand);
        let first = self.through(line, &bank, from_wh, &day.light())?;
        if !first.spells.is_empty() || first.endless_from_s.is_some() {
            return Ok(first);
        }
        let all = self.through(line, &bank, from_wh, &repeated(day, days))?;
        let Some(back) = all.spells.first() else {
            return Ok(all);
        };
        let until = libm::floor(back.on_s / SECONDS_PER_DAY) as usize + 1;
        self.through(line, &bank, from_wh, &repeated(day, until))
    }

    /// Voltage at rest of so much charge, V.
    pub(crate) fn rest_v(&self, content_wh: f64) -> f64 {
        self.bank.open.at(content_wh / self.bank.capacity_wh)
    }

    /// Mean days one after another, from flat.
    pub(crate) fn out_of_flat(
        &self,
        line: &Line,
        day: &MeanDay,
        days: usize,
    ) -> Result<Dawn, InputError> {
        self.through(line, &self.bank_in(day.month), 0.0, &repeated(day, days))
    }

    fn through(
        &self,
        line: &Line,
        bank: &Bank,
        from_wh: f64,
        light: &[Stretch],
    ) -> Result<Dawn, InputError> {
        let what = format!("supply.{}", line.supplies[self.supply.0].id);
        let dawn = bank.dawn(&self.demand, from_wh, light);
        dawn.map_err(|e| refused(&what, e))
    }
}

/// The light of so many mean days.
fn repeated(day: &MeanDay, days: usize) -> Vec<Stretch> {
    let light = day.light();
    let mut all = Vec::with_capacity(days * light.len());
    for _ in 0..days {
        all.extend(light.iter().copied());
    }
    all
}
