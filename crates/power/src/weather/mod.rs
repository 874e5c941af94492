//! Weather of a year: read from a file, or drawn day by day from twelve monthly clearness values.
//!
//! One published method a file; pure functions of plain numbers, with every draw from a named stream of the seed that
//! is passed in. Equations, sources, limits and checks: `docs/method/energy-year.md`.

mod aguiar;
mod bendt;
mod clearness;
mod error;
mod file;
mod filling;
mod hourly;
mod matrices;
mod plain;
mod tmy3;

pub use bendt::Bendt;
pub use clearness::{
    ClearnessModel, ClearnessYears, HIGHEST_DAILY_CLEARNESS, HIGHEST_MONTHLY_CLEARNESS,
    LOWEST_MONTHLY_CLEARNESS, MonthMean, PERSISTENCE, WEATHER_STREAM,
};
pub use error::WeatherError;
pub use file::{FileError, Place, WeatherFile, WeatherHour};
pub use hourly::{DayShapes, HourShare, diffuse_share_density, global_share_density};
pub use plain::parse_plain_csv;
pub use tmy3::parse_tmy3;

/// The numbers of a file in `reference/power`, row by row.
#[cfg(test)]
fn reference_rows(name: &str) -> Vec<Vec<f64>> {
    truth::rows(&format!("power/{name}"))
        .iter()
        .map(|row| row.iter().map(|field| truth::number(field)).collect())
        .collect()
}
