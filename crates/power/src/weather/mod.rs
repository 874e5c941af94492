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
mod wind;

pub use bendt::Bendt;
pub use clearness::{
    ClearnessModel, ClearnessYears, HIGHEST_DAILY_CLEARNESS, HIGHEST_MONTHLY_CLEARNESS,
    LOWEST_MONTHLY_CLEARNESS, MonthMean, PERSISTENCE, WEATHER_STREAM,
};
pub use error::WeatherError;
pub use file::{FileError, Place, WeatherFile, WeatherHour};
pub use hourly::{DayShapes, HourShare, diffuse_share_density, global_share_density};
pub use plain::{parse_plain_csv, parse_plain_csv_years};
pub use tmy3::parse_tmy3;
pub use wind::{WIND_LASTS_H, WIND_STREAM, WindYears};

/// The years of a file of either form: the plain table of one or more years where its first line names a column of that table,
/// the TMY3 form otherwise.
///
/// # Errors
/// As [`parse_plain_csv_years`] and [`parse_tmy3`].
pub fn parse_years(text: &str) -> Result<Vec<WeatherFile>, FileError> {
    let head = file::numbered_lines(text)
        .next()
        .map_or("", |(_, line)| line);
    if head.split(',').any(|name| plain::is_column(name.trim())) {
        parse_plain_csv_years(text)
    } else {
        parse_tmy3(text).map(|file| vec![file])
    }
}

/// The numbers of a file in `reference/power`, row by row.
#[cfg(test)]
fn reference_rows(name: &str) -> Vec<Vec<f64>> {
    truth::rows(&format!("power/{name}"))
        .iter()
        .map(|row| row.iter().map(|field| truth::number(field)).collect())
        .collect()
}
