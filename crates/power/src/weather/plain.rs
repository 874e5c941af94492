//! The plain table of hourly weather: comma-separated values with a head that names quantities and units.
//!
//! ```text
//! time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_temperature_degc,wind_speed_m_s
//! 2023-01-01T00:00-09:00,0,0,0,4.0,2.1
//! ```
//!
//! The columns may stand in any order; there are no others. `time` is the beginning of the hour, with its offset from
//! UTC (`Z` for none), which is the same all year (standard time: no summer time). Every hour of one calendar year,
//! from 1 January 00:00 of that offset, in order. Those of a 29 February are read and checked, then left out: the year
//! here has 365 days. Where several years are read, each follows the one before.

use super::file::{
    FileError, WeatherFile, numbered_lines, shortened, weather_columns, weather_hour,
};
use super::filling::{Filling, NextHour};
use crate::calendar::is_leap;
use crate::sun::Quantity;

const TIME: &str = "time";
const NAMES: [&str; 6] = [
    TIME,
    "ghi_w_m2",
    "dni_w_m2",
    "dhi_w_m2",
    "air_temperature_degc",
    "wind_speed_m_s",
];
const TIME_FORM: &str = "the beginning of the hour as 2023-01-31T06:00-09:00 or 2023-01-31T06:00Z";

/// Reads a plain table of hourly weather: a head `time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_temperature_degc,wind_speed_m_s`
/// (any order, no other columns) and a line for every hour of one calendar year. `time` is the beginning of the hour
/// with its offset from UTC (2023-01-31T06:00-09:00). Irradiance is the hour's mean, W/m2; wind m/s.
///
/// # Errors
/// The first mistake, with its line and column. Nothing is filled, skipped or brought into range.
pub fn parse_plain_csv(text: &str) -> Result<WeatherFile, FileError> {
    let mut years = read(text, Years::One)?;
    Ok(years.pop().expect("a table that is read has a year"))
}

/// Reads a plain table of one or more whole calendar years that follow each other, each as [`parse_plain_csv`] does.
///
/// # Errors
/// As [`parse_plain_csv`]; a year that is not complete.
pub fn parse_plain_csv_years(text: &str) -> Result<Vec<WeatherFile>, FileError> {
    read(text, Years::Several)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Years {
    One,
    Several,
}

/// A year as it comes in.
struct Coming {
    year: u16,
    utc_offset_h: f64,
    filling: Filling,
}

impl Coming {
    fn new(year: u16, utc_offset_h: f64) -> Self {
        Self {
            year,
            utc_offset_h,
            filling: Filling::new(is_leap(year.into())),
        }
    }

    fn is_full(&self) -> bool {
        self.filling.missing().is_none()
    }

    fn into_file(self) -> WeatherFile {
        WeatherFile {
            place: None,
            utc_offset_h: self.utc_offset_h,
            hours: self.filling.hours,
            left_out_hours: self.filling.left_out_hours,
        }
    }
}

fn read(text: &str, allowed: Years) -> Result<Vec<WeatherFile>, FileError> {
    let mut lines = numbered_lines(text);
    let (line, head) = lines.next().ok_or(FileError::NoHead {
        line: 1,
        expected: "the head with the names of the columns",
    })?;
    let places = places(line, head)?;
    let columns = weather_columns([NAMES[1], NAMES[2], NAMES[3], NAMES[4], NAMES[5]]);
    let mut files = Vec::new();
    let mut whole: Option<Coming> = None;
    let mut last_line = line;
    for (line, row) in lines {
        last_line = line;
        let fields: Vec<&str> = row.split(',').collect();
        if fields.len() != NAMES.len() {
            return Err(FileError::Fields {
                line,
                found: fields.len(),
                expected: NAMES.len(),
            });
        }
        let field = |name: usize| fields[places[name]].trim();
        let time = Time::read(field(0)).ok_or_else(|| FileError::BadTime {
            line,
            column: TIME,
            expected: TIME_FORM,
            found: shortened(field(0)),
        })?;
        if allowed == Years::Several
            && let Some(full) = whole.take_if(|coming| coming.is_full())
        {
            whole = Some(Coming::new(full.year + 1, full.utc_offset_h));
            files.push(full.into_file());
        }
        let coming = whole.get_or_insert_with(|| Coming::new(time.year, time.utc_offset_h));
        let next = coming.filling.next(line)?;
        let is_next = time.year == coming.year
            && time.utc_offset_h == coming.utc_offset_h
            && (time.month, time.day, time.hour) == (next.month, next.day, next.hour);
        if !is_next {
            return Err(FileError::WrongHour {
                line,
                column: TIME,
                expected: written(coming.year, next, coming.utc_offset_h),
                found: shortened(field(0)),
            });
        }
        let weather = weather_hour(
            line,
            &columns,
            [field(1), field(2), field(3), field(4), field(5)],
        )?;
        coming.filling.take(next, weather);
    }
    let coming = whole.ok_or(FileError::NoHead {
        line: last_line + 1,
        expected: "the first hour of the year",
    })?;
    if let Some(next) = coming.filling.missing() {
        return Err(FileError::TooShort {
            line: last_line + 1,
            expected: written(coming.year, next, coming.utc_offset_h),
        });
    }
    files.push(coming.into_file());
    Ok(files)
}

/// Whether a name is that of a column of this table.
pub(super) fn is_column(name: &str) -> bool {
    NAMES.contains(&name)
}

/// Where each of [`NAMES`] stands.
fn places(line: usize, head: &str) -> Result<[usize; 6], FileError> {
    let mut places = [None; 6];
    for (place, name) in head.split(',').map(str::trim).enumerate() {
        let Some(known) = NAMES.iter().position(|known| *known == name) else {
            return Err(FileError::UnknownColumn {
                line,
                column: shortened(name),
                expected: NAMES.join(","),
            });
        };
        if places[known].replace(place).is_some() {
            return Err(FileError::TwoColumns {
                line,
                column: NAMES[known],
            });
        }
    }
    let mut found = [0; 6];
    for ((found, place), column) in found.iter_mut().zip(places).zip(NAMES) {
        *found = place.ok_or(FileError::MissingColumn { line, column })?;
    }
    Ok(found)
}

/// The beginning of an hour.
#[derive(Clone, Copy)]
struct Time {
    year: u16,
    month: u8,
    day: u8,
    hour: u8,
    utc_offset_h: f64,
}

impl Time {
    /// `2023-01-31T06:00-09:00`: four, two and two digits, full hours, an offset of hours and minutes or `Z`.
    fn read(text: &str) -> Option<Self> {
        let digits = |from: usize, to: usize| {
            let part = text.get(from..to)?;
            part.bytes()
                .all(|byte| byte.is_ascii_digit())
                .then(|| part.parse::<u16>().ok())?
        };
        let small = |from: usize, to: usize| u8::try_from(digits(from, to)?).ok();
        let marks = [(4, b'-'), (7, b'-'), (10, b'T'), (13, b':')];
        let bytes = text.as_bytes();
        if marks.iter().any(|&(at, mark)| bytes.get(at) != Some(&mark)) || digits(14, 16)? != 0 {
            return None;
        }
        let (_, highest_offset_h) = offset_range();
        let utc_offset_h = match text.get(16..)? {
            "Z" => 0.0,
            offset if offset.len() == 6 && offset.as_bytes()[3] == b':' => {
                let size_h = f64::from(digits(17, 19)?) + f64::from(digits(20, 22)?) / 60.0;
                match offset.as_bytes()[0] {
                    _ if size_h > highest_offset_h || digits(20, 22)? > 59 => return None,
                    b'+' => size_h,
                    b'-' => -size_h,
                    _ => return None,
                }
            }
            _ => return None,
        };
        Some(Self {
            year: digits(0, 4)?,
            month: small(5, 7)?,
            day: small(8, 10)?,
            hour: small(11, 13)?,
            utc_offset_h,
        })
    }
}

fn offset_range() -> (f64, f64) {
    let (_, lowest, highest, _) = Quantity::UtcOffset.range();
    (lowest, highest)
}

fn written(year: u16, hour: NextHour, utc_offset_h: f64) -> String {
    let minutes = (utc_offset_h.abs() * 60.0).round() as u32;
    let sign = if utc_offset_h < 0.0 { '-' } else { '+' };
    format!(
        "{year:04}-{:02}-{:02}T{:02}:00{sign}{:02}:{:02}",
        hour.month,
        hour.day,
        hour.hour,
        minutes / 60,
        minutes % 60
    )
}
