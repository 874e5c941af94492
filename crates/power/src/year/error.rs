//! What a caller of the year can get wrong, and the one table of valid ranges.

use chance::LimitError;
use thiserror::Error;

use crate::battery::BatteryError;
use crate::sun::HOURS;

/// A quantity with a valid range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum YearQuantity {
    /// Change of a panel's power with temperature.
    TemperatureCoefficient,
    /// Share of the panel's power lost in wiring and controller.
    Loss,
    /// Share of the light that dirt leaves.
    LightLeft,
    /// Air temperature.
    AirTemperature,
    /// Wind speed.
    WindSpeed,
    /// Peak power of the panels.
    PeakPower,
    /// Power of a state of the load.
    StatePower,
    /// Share of the time in a state.
    StateShare,
    /// Energy of an hour beyond that of the states.
    ExtraEnergy,
    /// Standing consumption of the controller.
    Standby,
    /// State of charge at the start.
    StartCharge,
    /// Lowest state of charge of a year.
    LowestCharge,
    /// Energy per watt of peak power in an hour.
    Yield,
    /// A capacity of a search.
    SearchCapacity,
}

impl YearQuantity {
    /// Name, lowest and highest valid value, unit.
    #[must_use]
    pub fn range(self) -> (&'static str, f64, f64, &'static str) {
        match self {
            // Silicon loses 0.3 to 0.5 % a kelvin.
            Self::TemperatureCoefficient => ("temperature coefficient", -0.01, 0.0, "1/K"),
            Self::Loss => ("loss in wiring and controller", 0.0, 1.0, ""),
            Self::LightLeft => ("share of the light left", 0.0, 1.0, ""),
            Self::AirTemperature => ("air temperature", -80.0, 60.0, "degC"),
            Self::WindSpeed => ("wind speed", 0.0, 113.0, "m/s"),
            Self::PeakPower => ("peak power", 0.0, 1e9, "W"),
            Self::StatePower => ("power of a state", 0.0, 1e9, "W"),
            Self::StateShare => ("share of the time in a state", 0.0, 1.0, ""),
            Self::ExtraEnergy => ("energy beyond the states", 0.0, 1e9, "Wh"),
            Self::Standby => ("standing consumption", 0.0, 1e9, "W"),
            Self::StartCharge => ("state of charge at the start", 0.0, 1.0, ""),
            Self::LowestCharge => ("lowest state of charge of a year", 0.0, 1.0, ""),
            // 2500 W/m2 on a panel at -80 degC that gains 1 % a kelvin.
            Self::Yield => ("yield of an hour", 0.0, 5.2, "Wh/W"),
            Self::SearchCapacity => ("capacity of a search", 1e-3, 1e9, "Wh"),
        }
    }

    /// `value`, or the error that names the range. Not a number is outside every range.
    pub(super) fn check(self, value: f64) -> Result<f64, YearError> {
        let (_, lowest, highest, _) = self.range();
        if (lowest..=highest).contains(&value) {
            Ok(value)
        } else {
            Err(YearError::OutOfRange {
                quantity: self,
                value,
            })
        }
    }
}

/// Why a year cannot be computed.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum YearError {
    /// A value lies outside its range, or is not a number.
    #[error("{}", out_of_range(*.quantity, *.value))]
    OutOfRange {
        /// What it is; [`YearQuantity::range`] gives the limits and the unit.
        quantity: YearQuantity,
        /// The value.
        value: f64,
    },
    /// The shares of the states do not fill the time.
    #[error("the shares of the states add up to {sum}, not to 1")]
    Shares {
        /// Their sum.
        sum: f64,
    },
    /// A row of hours that is no year.
    #[error("{found} hours of {what}; a year has {HOURS}")]
    Hours {
        /// Hours found.
        found: usize,
        /// Of what.
        what: &'static str,
    },
    /// A row of hours that is not that of the light of a year.
    #[error("irradiance of {found} hours; here {lit} of a year have light")]
    LitHours {
        /// Hours found.
        found: usize,
        /// Hours with light.
        lit: usize,
    },
    /// A start beyond the end of the year.
    #[error("the year has no hour {hour}: it counts from 0 to {}", HOURS - 1)]
    StartHour {
        /// The hour given.
        hour: usize,
    },
    /// A month that does not exist.
    #[error("there is no month {month}: they count from 0 to 11")]
    Month {
        /// The month given.
        month: usize,
    },
    /// Primary cells have no year that repeats.
    #[error(
        "a battery that cannot be charged ends a year with less than it began: start it at an hour"
    )]
    NoRepetition,
    /// The battery.
    #[error(transparent)]
    Battery(#[from] BatteryError),
    /// A confidence limit.
    #[error(transparent)]
    Limit(#[from] LimitError),
    /// Too few years for what is claimed, whatever they show.
    #[error("{years} years cannot show the claim; {needed} without a bad one could")]
    TooFewYears {
        /// Years given.
        years: u64,
        /// Fewest years that can.
        needed: u64,
    },
    /// A search without room or with a step of nothing.
    #[error(
        "no capacity to search between {lowest_wh} and {highest_wh} Wh in steps of {step_wh} Wh"
    )]
    EmptySearch {
        /// Lowest, Wh.
        lowest_wh: f64,
        /// Highest, Wh.
        highest_wh: f64,
        /// Step, Wh.
        step_wh: f64,
    },
}

fn out_of_range(quantity: YearQuantity, value: f64) -> String {
    let (name, lowest, highest, unit) = quantity.range();
    let gap = if unit.is_empty() { "" } else { " " };
    format!("{name} {value}{gap}{unit} is outside {lowest} to {highest}{gap}{unit}")
}
