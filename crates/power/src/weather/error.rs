//! What a caller of generated weather can get wrong.

use thiserror::Error;

/// Why no weather can be generated.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum WeatherError {
    /// A month's clearness is outside what the models take, or is not a number.
    #[error("clearness {value} of month {} is outside {lowest} to {highest}", month + 1)]
    MonthlyClearness {
        /// Month, 0 to 11.
        month: usize,
        /// The value.
        value: f64,
        /// Lowest clearness taken.
        lowest: f64,
        /// Highest clearness taken.
        highest: f64,
    },
    /// A clearness of no month in particular is outside what the models take, or is not a number.
    #[error("clearness {value} is outside {lowest} to {highest}")]
    Clearness {
        /// The value.
        value: f64,
        /// Lowest clearness taken.
        lowest: f64,
        /// Highest clearness taken.
        highest: f64,
    },
    /// A month's mean wind is outside what is taken, or is not a number.
    #[error("mean wind {value} m/s of month {} is outside 0 to {highest} m/s", month + 1)]
    MonthlyWind {
        /// Month, 0 to 11.
        month: usize,
        /// The value, m/s.
        value: f64,
        /// Highest wind taken, m/s.
        highest: f64,
    },
    /// The time in which winds forget is negative or not a number.
    #[error("a wind lasts 0 h or more, not {value_h} h")]
    WindLasts {
        /// The value, h.
        value_h: f64,
    },
    /// The day-to-day correlation is not from 0 to below 1.
    #[error("persistence {value} is outside 0 to below 1")]
    Persistence {
        /// The value.
        value: f64,
    },
    /// An angle is outside its range, or is not a number.
    #[error("{what} {value_deg} deg is outside {lowest_deg} to {highest_deg} deg")]
    Angle {
        /// Which angle.
        what: &'static str,
        /// The value, deg.
        value_deg: f64,
        /// Lowest, deg.
        lowest_deg: f64,
        /// Highest, deg.
        highest_deg: f64,
    },
}
