//! What a caller can get wrong about a battery, and the one table of valid ranges.

use numerics::TableError;
use quantity::show_number;
use thiserror::Error;

use crate::sun::HOURS;

/// A quantity with a valid range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BatteryQuantity {
    /// Energy of a full new battery at the rated temperature.
    Capacity,
    /// Share of the capacity that can be drawn at a temperature.
    UsableShare,
    /// Share of the energy that gets into the cells.
    ChargeEfficiency,
    /// Share of the energy that gets out of the cells.
    DischargeEfficiency,
    /// Share of the content lost in a month by itself.
    SelfDischarge,
    /// Share of the capacity lost in a year of service.
    YearlyLoss,
    /// Time in service.
    Age,
    /// State of charge.
    StateOfCharge,
    /// Highest charging power per hour of capacity.
    ChargeRate,
    /// Share of the highest charging power left at full.
    TaperLeft,
    /// Temperature.
    Temperature,
    /// A capacity in ampere hours.
    AmpereHours,
    /// A current.
    Current,
    /// How long a battery lasts at a rate.
    LastingTime,
    /// How long a burst takes.
    BurstTime,
    /// Peukert's exponent.
    Exponent,
    /// Share of the time in which a current flows.
    TimeShare,
    /// A voltage.
    Voltage,
    /// A power.
    Power,
    /// A capacitance.
    Capacitance,
    /// A series resistance.
    SeriesResistance,
    /// How long a switch waits.
    SwitchingDelay,
    /// How long a power lasts.
    StretchTime,
    /// How long a battery lies before it is used.
    LyingTime,
    /// What is drawn from it meanwhile.
    LyingDraw,
}

impl BatteryQuantity {
    /// Name, lowest and highest valid value, unit.
    #[must_use]
    pub fn range(self) -> (&'static str, f64, f64, &'static str) {
        match self {
            Self::Capacity => ("capacity", 1e-3, 1e9, "Wh"),
            Self::LyingTime => ("time before it is deployed", 0.0, 1e7, "h"),
            Self::LyingDraw => ("draw before it is deployed", 0.0, 1e9, "W"),
            // A warm battery may give a few percent more than rated; that is not counted on.
            Self::UsableShare => ("usable share of the capacity", 0.01, 1.0, ""),
            Self::ChargeEfficiency => ("charge efficiency", 0.01, 1.0, ""),
            Self::DischargeEfficiency => ("discharge efficiency", 0.01, 1.0, ""),
            Self::SelfDischarge => ("self-discharge a month", 0.0, 0.99, ""),
            Self::YearlyLoss => ("loss of capacity a year", 0.0, 1.0, ""),
            Self::Age => ("time in service", 0.0, 100.0, "years"),
            Self::StateOfCharge => ("state of charge", 0.0, 1.0, ""),
            Self::ChargeRate => ("highest charging power per capacity", 1e-4, 100.0, "1/h"),
            Self::TaperLeft => ("charging power left at full", 0.0, 1.0, ""),
            Self::Temperature => ("battery temperature", -80.0, 100.0, "degC"),
            Self::AmpereHours => ("capacity", 1e-6, 1e9, "Ah"),
            Self::Current => ("current", 1e-9, 1e6, "A"),
            Self::LastingTime => ("time at a rate", 1e-9, 1e9, "h"),
            Self::BurstTime => ("length of the burst", 1e-9, 1e9, "s"),
            // Below 1 a battery would give more at a higher current.
            Self::Exponent => ("Peukert's exponent", 1.0, 2.0, ""),
            Self::TimeShare => ("share of the time", 0.0, 1.0, ""),
            Self::Voltage => ("voltage", 1e-3, 1e5, "V"),
            Self::Power => ("power", 1e-9, 1e9, "W"),
            Self::Capacitance => ("capacitance", 1e-12, 1e6, "F"),
            Self::SeriesResistance => ("series resistance", 0.0, 1e6, "ohm"),
            Self::SwitchingDelay => ("delay of the switch", 0.0, 1e7, "s"),
            Self::StretchTime => ("time that a power lasts", 0.0, 1e9, "s"),
        }
    }

    /// `value`, or the error that names the range. Not a number is outside every range.
    pub(super) fn check(self, value: f64) -> Result<f64, BatteryError> {
        let (_, lowest, highest, _) = self.range();
        if (lowest..=highest).contains(&value) {
            Ok(value)
        } else {
            Err(BatteryError::OutOfRange {
                quantity: self,
                value,
            })
        }
    }
}

/// Why an input about a battery or a capacitor cannot be used.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum BatteryError {
    /// A value lies outside its range, or is not a number.
    #[error("{}", out_of_range(*.quantity, *.value))]
    OutOfRange {
        /// What it is; [`BatteryQuantity::range`] gives the limits and the unit.
        quantity: BatteryQuantity,
        /// The value.
        value: f64,
    },
    /// The table of usable capacity by temperature is no table.
    #[error("the table of usable capacity by temperature: {0}")]
    Table(TableError),
    /// A temperature beyond the ends of the table: how much can be drawn there is not known.
    #[error(
        "usable capacity at {temperature_degc} degC is not known: the table runs from {lowest_degc} to {highest_degc} degC"
    )]
    TemperatureOutsideTable {
        /// The temperature, degC.
        temperature_degc: f64,
        /// First of the table, degC.
        lowest_degc: f64,
        /// Last of the table, degC.
        highest_degc: f64,
    },
    /// The load would be connected at the state of charge at which it is taken off, or below.
    #[error(
        "the load is taken off at a state of charge of {disconnect_at} and must come back above it, not at {reconnect_at}"
    )]
    NoHysteresis {
        /// Taken off at or below.
        disconnect_at: f64,
        /// Connected at or above.
        reconnect_at: f64,
    },
    /// Charging is allowed from a temperature to a lower one.
    #[error("charging is allowed from {lowest_degc} to {highest_degc} degC: nothing lies between")]
    NoChargingRange {
        /// Lowest, degC.
        lowest_degc: f64,
        /// Highest, degC.
        highest_degc: f64,
    },
    /// Nothing is left of the capacity at that age.
    #[error("after {years} years at a loss of {yearly_loss} a year no capacity is left")]
    WornOut {
        /// Time in service, years.
        years: f64,
        /// Share lost a year.
        yearly_loss: f64,
    },
    /// Open-circuit voltages that do not rise from the empty battery to the full one.
    #[error("open-circuit voltages must rise from a charge of 0 to one of 1")]
    OpenVoltage,
    /// A battery that switches its load on and off more often than is followed.
    #[error("the load is switched more than {most} times")]
    TooManySwitchings {
        /// What is followed at most.
        most: usize,
    },
    /// Two rates that give no exponent.
    #[error("the two rates have the same current")]
    SameRates,
    /// The table of capacity by current is no table.
    #[error("the table of capacity by current: {0}")]
    CurrentTable(TableError),
    /// A current above the table: what the cells give there is not known.
    #[error("capacity at {current_a} A is not known: the table ends at {highest_a} A")]
    CurrentAboveTable {
        /// The current, A.
        current_a: f64,
        /// Highest of the table, A.
        highest_a: f64,
    },
    /// The currents do not fill the time.
    #[error("the shares of the time in which the currents flow add up to {sum}, not to 1")]
    TimeShares {
        /// Their sum.
        sum: f64,
    },
    /// A start beyond the end of the year.
    #[error("the year has no hour {hour}: it counts from 0 to {}", HOURS - 1)]
    StartHour {
        /// The hour given.
        hour: usize,
    },
    /// A burst that is to end where it begins, or above.
    #[error("{after_v} V at the load after the burst leave no drop from {before_v} V before it")]
    NoDrop {
        /// Before, without load, V.
        before_v: f64,
        /// After, at the load, V.
        after_v: f64,
    },
    /// The capacitor cannot give the power through its own resistance, at any capacitance.
    #[error(
        "{power_w} W through {resistance_ohm} ohm need at least {lowest_v} V behind the resistance"
    )]
    TooMuchPower {
        /// The power, W.
        power_w: f64,
        /// The series resistance, ohm.
        resistance_ohm: f64,
        /// The least voltage behind the resistance, V.
        lowest_v: f64,
    },
    /// The capacitor is too small for the burst.
    #[error("the capacitor gives the power for {lasts_s} s, not for {seconds} s")]
    RunsOut {
        /// The time asked for, s.
        seconds: f64,
        /// The time it lasts, s.
        lasts_s: f64,
    },
}

fn out_of_range(quantity: BatteryQuantity, value: f64) -> String {
    let (name, lowest, highest, unit) = quantity.range();
    let gap = if unit.is_empty() { "" } else { " " };
    // Four digits, and as many decimals more as keep them from lying within.
    let lies_outside =
        |told: &String| !matches!(told.parse::<f64>(), Ok(v) if (lowest..=highest).contains(&v));
    let shorter = std::iter::once(show_number(value).parse().unwrap_or(value).to_string());
    let more = (1..=9).map(|decimals| format!("{value:.decimals$}"));
    let told = shorter.chain(more).find(lies_outside);
    let told = told.unwrap_or_else(|| value.to_string());
    format!("{name} {told}{gap}{unit} is outside {lowest} to {highest}{gap}{unit}")
}
