//! Typical years in the TMY3 form of the National Renewable Energy Laboratory (Wilcox and Marion 2008, User's Manual
//! for TMY3 Data Sets, NREL/TP-581-43156; the manual was not read, the form is that of the files).
//!
//! First line: station number, name, state, offset from UTC (h), latitude, longitude (deg), height (m). Second line:
//! names of the columns. Then 8760 lines, each labelled with the END of its hour (01:00 to 24:00), the months taken
//! from different years. Only irradiance, dry-bulb temperature and wind speed are read; `-9900` marks what is missing.

use super::file::{
    Column, FileError, Place, WeatherFile, numbered_lines, shortened, weather_columns, weather_hour,
};
use super::filling::{Filling, NextHour};
use crate::sun::Quantity;

const DATE: &str = "Date (MM/DD/YYYY)";
const TIME: &str = "Time (HH:MM)";
const NAMES: [&str; 7] = [
    DATE,
    TIME,
    "GHI (W/m^2)",
    "DNI (W/m^2)",
    "DHI (W/m^2)",
    "Dry-bulb (C)",
    "Wspd (m/s)",
];
const STATION_FIELDS: usize = 7;

/// Reads a year in the TMY3 form. Irradiance is the hour's mean, W/m2; the label 01:00 is hour 0.
///
/// # Errors
/// The first mistake, with its line and column. Nothing is filled, skipped or brought into range.
pub fn parse_tmy3(text: &str) -> Result<WeatherFile, FileError> {
    let mut lines = numbered_lines(text);
    let (line, station) = lines.next().ok_or(FileError::NoHead {
        line: 1,
        expected: "the line of the station",
    })?;
    let (place, utc_offset_h) = station_of(line, station)?;
    let (line, head) = lines.next().ok_or(FileError::NoHead {
        line: 2,
        expected: "the head with the names of the columns",
    })?;
    let (places, width) = places(line, head)?;
    let columns = weather_columns([NAMES[2], NAMES[3], NAMES[4], NAMES[5], NAMES[6]]);
    let mut filling = Filling::new(false);
    let mut last_line = line;
    let mut fields: Vec<&str> = Vec::with_capacity(width);
    for (line, row) in lines {
        last_line = line;
        fields.clear();
        fields.extend(row.split(','));
        if fields.len() != width {
            return Err(FileError::Fields {
                line,
                found: fields.len(),
                expected: width,
            });
        }
        let field = |name: usize| fields[places[name]].trim();
        let next = filling.next(line)?;
        check_date(line, field(0), next)?;
        check_time(line, field(1), next)?;
        let weather = weather_hour(
            line,
            &columns,
            [field(2), field(3), field(4), field(5), field(6)],
        )?;
        filling.take(next, weather);
    }
    if let Some(next) = filling.missing() {
        return Err(FileError::TooShort {
            line: last_line + 1,
            expected: format!("{} {}", date(next), time(next)),
        });
    }
    Ok(WeatherFile {
        place: Some(place),
        utc_offset_h,
        hours: filling.hours,
        left_out_hours: filling.left_out_hours,
    })
}

/// The station and its offset from UTC. A name may stand in quotes and hold a comma.
fn station_of(line: usize, text: &str) -> Result<(Place, f64), FileError> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    for letter in text.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            _ => fields
                .last_mut()
                .expect("there is a first field from the beginning")
                .push(letter),
        }
    }
    if fields.len() != STATION_FIELDS {
        return Err(FileError::Fields {
            line,
            found: fields.len(),
            expected: STATION_FIELDS,
        });
    }
    let value = |at: usize, name, quantity| Column::of(name, quantity).read(line, &fields[at]);
    Ok((
        Place {
            name: fields[1].trim().to_owned(),
            latitude_deg: value(4, "latitude", Quantity::Latitude)?,
            longitude_deg: value(5, "longitude", Quantity::Longitude)?,
            elevation_m: value(6, "elevation", Quantity::Elevation)?,
        },
        value(3, "offset from UTC", Quantity::UtcOffset)?,
    ))
}

/// Where each of [`NAMES`] stands, and how many columns there are.
fn places(line: usize, head: &str) -> Result<([usize; 7], usize), FileError> {
    let names: Vec<&str> = head.split(',').map(str::trim).collect();
    let mut places = [0; 7];
    for (place, column) in places.iter_mut().zip(NAMES) {
        let mut found = (0..names.len()).filter(|&at| names[at] == column);
        *place = found
            .next()
            .ok_or(FileError::MissingColumn { line, column })?;
        if found.next().is_some() {
            return Err(FileError::TwoColumns { line, column });
        }
    }
    Ok((places, names.len()))
}

fn date(next: NextHour) -> String {
    format!("{:02}/{:02}", next.month, next.day)
}

fn time(next: NextHour) -> String {
    format!("{:02}:00", next.hour + 1)
}

/// Month and day must be those of the next hour; the year may be any.
fn check_date(line: usize, found: &str, next: NextHour) -> Result<(), FileError> {
    let is_date = found.len() == 10
        && found.bytes().enumerate().all(|(at, byte)| match at {
            2 | 5 => byte == b'/',
            _ => byte.is_ascii_digit(),
        });
    if !is_date {
        return Err(FileError::BadTime {
            line,
            column: DATE,
            expected: "a date as MM/DD/YYYY",
            found: shortened(found),
        });
    }
    let expected = date(next);
    if found[..5] == expected {
        Ok(())
    } else {
        Err(FileError::WrongHour {
            line,
            column: DATE,
            expected,
            found: shortened(found),
        })
    }
}

fn check_time(line: usize, found: &str, next: NextHour) -> Result<(), FileError> {
    let expected = time(next);
    if found == expected {
        Ok(())
    } else {
        Err(FileError::WrongHour {
            line,
            column: TIME,
            expected,
            found: shortened(found),
        })
    }
}
