//! How long primary cells last: a load with pulses, self-discharge, the cold of the months.
//!
//! Source: accumulation of shares of the capacity (common practice; no publication is followed). With s the content over
//! the capacity, x_k the share of the time in which the current I_k flows, and C(I) what the cells give at a steady
//! current at the rated temperature,
//!
//! `ds/dt = -r - l s`, `r = sum of x_k I_k / C(I_k)`, `l = -ln(1 - m)/730 h`
//!
//! with m the share of the content lost in a month of 730 h. Between the entries of the table C is linear in log I;
//! below its lowest current it is that of the lowest, above the highest it is not known. Of the content the share
//! `1 - f` cannot be drawn at a month's temperature ([`super::Chemistry::usable_by_temperature`]) and comes back with
//! warmth; the cells count as empty when first the content is no higher than that. Within a month the equation is
//! solved in closed form.
//!
//! Which way it errs: a pulse takes from the capacity at its own current, as if it flowed steadily; cells that rest
//! between short pulses give more (from memory). What a long rest does to the voltage of the first second
//! (passivation of lithium thionyl chloride) is not in it.
//!
//! Validity: currents within the table, the same mix all year. Accuracy: rounding.

use super::error::{BatteryError, BatteryQuantity};
use super::run_down::{content_after, hours_to};
use super::step::{HOURS_PER_MONTH, usable_share};
use crate::calendar::{DAYS_BEFORE_MONTH, MONTH_DAYS, month_of_day};
use crate::sun::HOURS;

/// Shares are decimals that people write: 0.1 + 0.2 + 0.7 must pass.
const SHARE_TOLERANCE: f64 = 1e-9;
/// Years after which a life of cells is not followed.
pub const LONGEST_CELL_LIFE_YEARS: u32 = 100;

/// A battery of primary cells.
#[derive(Clone, Debug, PartialEq)]
pub struct PrimaryCells {
    /// What the whole battery gives at a steady current.
    pub capacity: SteadyCapacity,
    /// Share of it that can be drawn at a temperature: (degC, share), ascending; straight lines between.
    pub usable_by_temperature: Vec<(f64, f64)>,
    /// Share of the content lost in a month (730 h) by itself.
    pub self_discharge_per_month: f64,
    /// Temperature, January to December, degC.
    pub temperature_degc: [f64; 12],
}

/// What primary cells give at a steady current and the rated temperature.
#[derive(Clone, Debug, PartialEq)]
pub enum SteadyCapacity {
    /// The same at every current, Ah.
    AtAnyCurrent(f64),
    /// (current in A, capacity in Ah), currents ascending. The capacity may rise and fall again: at a very small
    /// current cells lose more by themselves while they last.
    ByCurrent(Vec<(f64, f64)>),
}

/// A current and the share of the time in which it flows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurrentShare {
    /// Current, A, 0 or more.
    pub current_a: f64,
    /// Share of the time, 0 to 1; the shares of all add up to 1.
    pub share: f64,
}

/// How primary cells last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellLife {
    /// Hours from the start to the first hour in which the load goes short; `None` when that is not within
    /// [`LONGEST_CELL_LIFE_YEARS`].
    pub hours: Option<f64>,
    /// Mean current, A.
    pub mean_a: f64,
    /// Capacity, Ah, at which the mean current takes what the mix takes: mean current over `r`; `None` without any
    /// current.
    pub capacity_ah: Option<f64>,
    /// Month, 0 to 11, in which they are empty.
    pub month: Option<usize>,
}

impl CellLife {
    /// The hours in years of 365 days.
    #[must_use]
    pub fn years(&self) -> Option<f64> {
        self.hours.map(|hours| hours / HOURS as f64)
    }
}

impl SteadyCapacity {
    /// Capacity, Ah, at a steady current, A.
    ///
    /// # Errors
    /// A table that is empty or whose currents do not rise, a value outside its range, a current above the highest of
    /// the table.
    pub fn at(&self, current_a: f64) -> Result<f64, BatteryError> {
        if !current_a.is_finite() || current_a < 0.0 {
            return Err(BatteryError::OutOfRange {
                quantity: BatteryQuantity::Current,
                value: current_a,
            });
        }
        match self {
            Self::AtAnyCurrent(capacity_ah) => BatteryQuantity::AmpereHours.check(*capacity_ah),
            Self::ByCurrent(entries) => {
                let (currents_a, capacities_ah): (Vec<f64>, Vec<f64>) =
                    entries.iter().copied().unzip();
                for &current_a in &currents_a {
                    BatteryQuantity::Current.check(current_a)?;
                }
                for &capacity_ah in &capacities_ah {
                    BatteryQuantity::AmpereHours.check(capacity_ah)?;
                }
                let table = numerics::Table::new(&currents_a, &capacities_ah)
                    .map_err(BatteryError::CurrentTable)?;
                if current_a > table.high() {
                    return Err(BatteryError::CurrentAboveTable {
                        current_a,
                        highest_a: table.high(),
                    });
                }
                table
                    .at_log_x(current_a.max(table.low()))
                    .map_err(BatteryError::CurrentTable)
            }
        }
    }
}

impl PrimaryCells {
    /// How long full cells last from the beginning of an hour of the year (0 to 8759).
    ///
    /// # Errors
    /// A value outside its range ([`BatteryQuantity::range`]); shares that do not add up to 1; a current above the
    /// table, a temperature outside its table, an hour that the year does not have.
    pub fn life(&self, load: &[CurrentShare], start_hour: usize) -> Result<CellLife, BatteryError> {
        if start_hour >= HOURS {
            return Err(BatteryError::StartHour { hour: start_hour });
        }
        let (mut drawn_per_h, mut mean_a, mut shares) = (0.0, 0.0, 0.0);
        for part in load {
            let share = BatteryQuantity::TimeShare.check(part.share)?;
            let capacity_ah = self.capacity.at(part.current_a)?;
            drawn_per_h += share * part.current_a / capacity_ah;
            mean_a += share * part.current_a;
            shares += share;
        }
        if (shares - 1.0).abs() > SHARE_TOLERANCE {
            return Err(BatteryError::TimeShares { sum: shares });
        }
        let lost = BatteryQuantity::SelfDischarge.check(self.self_discharge_per_month)?;
        let leak_per_h = -libm::log1p(-lost) / HOURS_PER_MONTH;
        let mut floors = [0.0; 12];
        for (floor, &degc) in floors.iter_mut().zip(&self.temperature_degc) {
            *floor = 1.0 - usable_share(&self.usable_by_temperature, degc)?;
        }
        let mut life = CellLife {
            hours: None,
            mean_a,
            capacity_ah: (mean_a > 0.0).then(|| mean_a / drawn_per_h),
            month: None,
        };
        let mut month = month_of_day(start_hour / 24);
        let mut left_h = (24 * DAYS_BEFORE_MONTH[month + 1] - start_hour) as f64;
        let (mut content, mut passed_h) = (1.0, 0.0);
        for _ in 0..=12 * LONGEST_CELL_LIFE_YEARS {
            let lasts_h = hours_to(content, floors[month], drawn_per_h, leak_per_h);
            if lasts_h <= left_h {
                life.hours = Some(passed_h + lasts_h);
                life.month = Some(month);
                break;
            }
            content = content_after(content, left_h, drawn_per_h, leak_per_h);
            passed_h += left_h;
            month = (month + 1) % 12;
            left_h = month_hours(month);
        }
        Ok(life)
    }
}

/// Hours of a month, 0 to 11.
fn month_hours(month: usize) -> f64 {
    24.0 * f64::from(MONTH_DAYS[month])
}
