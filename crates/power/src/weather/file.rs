//! What the readers of weather files share: rows, ranges, and mistakes with their place.

use thiserror::Error;

use crate::sun::{Components, Quantity};

/// Weather of one hour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeatherHour {
    /// Mean irradiance.
    pub components: Components,
    /// Air temperature, degC.
    pub air_temperature_degc: f64,
    /// Wind speed, m/s.
    pub wind_speed_m_s: f64,
}

/// Where a file says that it was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Name as written.
    pub name: String,
    /// Geographic latitude, deg, north positive.
    pub latitude_deg: f64,
    /// Longitude, deg, east positive.
    pub longitude_deg: f64,
    /// Height above sea level, m.
    pub elevation_m: f64,
}

/// A year of hourly weather.
#[derive(Clone, Debug, PartialEq)]
pub struct WeatherFile {
    /// Where, if the file says it.
    pub place: Option<Place>,
    /// Local standard time less Universal Time, h.
    pub utc_offset_h: f64,
    /// The [`HOURS`](crate::sun::HOURS) hours in order; hour 0 runs from 00:00 to 01:00 on 1 January.
    pub hours: Vec<WeatherHour>,
    /// Hours of a 29 February that were read, checked and left out.
    pub left_out_hours: usize,
}

/// What is wrong with a weather file, at its first mistake. Lines count from 1.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum FileError {
    /// The file ends before its head is complete.
    #[error("line {line}: the file ends where {expected} should be")]
    NoHead {
        /// Line that is missing.
        line: usize,
        /// What should stand there.
        expected: &'static str,
    },
    /// A column is missing from the head.
    #[error("line {line}: there is no column `{column}`")]
    MissingColumn {
        /// Line of the head.
        line: usize,
        /// The column's name.
        column: &'static str,
    },
    /// A column that means nothing here.
    #[error("line {line}: column `{column}` is unknown; expected {expected}")]
    UnknownColumn {
        /// Line of the head.
        line: usize,
        /// The name found.
        column: String,
        /// The names there are.
        expected: String,
    },
    /// A column stands in the head twice.
    #[error("line {line}: column `{column}` stands there twice")]
    TwoColumns {
        /// Line of the head.
        line: usize,
        /// The column's name.
        column: &'static str,
    },
    /// A line has more or fewer fields than belong there.
    #[error(
        "line {line}: expected {expected} fields, found {found}; fields are parted by commas, decimals by points"
    )]
    Fields {
        /// The line.
        line: usize,
        /// Fields found.
        found: usize,
        /// Fields that belong there.
        expected: usize,
    },
    /// A field that should be a number is none.
    #[error("line {line}, column `{column}`: expected a number, found `{found}`")]
    NotANumber {
        /// The line.
        line: usize,
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
    /// A field is empty or holds the mark of a missing value.
    #[error(
        "line {line}, column `{column}`: the value is missing (`{found}`); missing hours are not filled"
    )]
    Missing {
        /// The line.
        line: usize,
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
    /// A value is outside its range.
    #[error(
        "line {line}, column `{column}`: {value} {unit} is outside {lowest} to {highest} {unit}"
    )]
    OutOfRange {
        /// The line.
        line: usize,
        /// The column.
        column: &'static str,
        /// The value.
        value: f64,
        /// Lowest.
        lowest: f64,
        /// Highest.
        highest: f64,
        /// The unit.
        unit: &'static str,
    },
    /// A time cannot be read.
    #[error("line {line}, column `{column}`: expected {expected}, found `{found}`")]
    BadTime {
        /// The line.
        line: usize,
        /// The column.
        column: &'static str,
        /// The form expected.
        expected: &'static str,
        /// What stands there.
        found: String,
    },
    /// An hour is missing, stands twice or in the wrong place.
    #[error(
        "line {line}, column `{column}`: expected {expected}, found `{found}`; every hour of the year in order, none left out"
    )]
    WrongHour {
        /// The line.
        line: usize,
        /// The column.
        column: &'static str,
        /// The hour that comes next.
        expected: String,
        /// What stands there.
        found: String,
    },
    /// The file ends before 31 December does.
    #[error(
        "line {line}: the file ends where {expected} should be; every hour of the year, none left out"
    )]
    TooShort {
        /// The line that is missing.
        line: usize,
        /// The hour that comes next.
        expected: String,
    },
    /// The year is full and lines follow.
    #[error("line {line}: the year is complete, but a line follows")]
    TooLong {
        /// The first line too many.
        line: usize,
    },
}

/// A column that holds a number: its name and its range.
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) lowest: f64,
    pub(super) highest: f64,
    pub(super) unit: &'static str,
}

impl Column {
    pub(super) const fn new(
        name: &'static str,
        lowest: f64,
        highest: f64,
        unit: &'static str,
    ) -> Self {
        Self {
            name,
            lowest,
            highest,
            unit,
        }
    }

    /// A column with the range of a quantity of the sun.
    pub(super) fn of(name: &'static str, quantity: Quantity) -> Self {
        let (_, lowest, highest, unit) = quantity.range();
        Self::new(name, lowest, highest, unit)
    }

    /// The number of a field.
    pub(super) fn read(&self, line: usize, field: &str) -> Result<f64, FileError> {
        let column = self.name;
        let field = field.trim();
        if field.is_empty() {
            return Err(FileError::Missing {
                line,
                column,
                found: String::new(),
            });
        }
        let value: f64 = field.parse().map_err(|_| FileError::NotANumber {
            line,
            column,
            found: shortened(field),
        })?;
        if value == -9900.0 || value == -9999.0 {
            return Err(FileError::Missing {
                line,
                column,
                found: shortened(field),
            });
        }
        if (self.lowest..=self.highest).contains(&value) {
            Ok(value)
        } else {
            Err(FileError::OutOfRange {
                line,
                column,
                value,
                lowest: self.lowest,
                highest: self.highest,
                unit: self.unit,
            })
        }
    }
}

/// Global, beam, diffuse irradiance, air temperature, wind speed, under the names a file gives them.
pub(super) fn weather_columns(names: [&'static str; 5]) -> [Column; 5] {
    let [global, beam, diffuse, air, wind] = names;
    [
        Column::of(global, Quantity::Irradiance),
        Column::of(beam, Quantity::Irradiance),
        Column::of(diffuse, Quantity::Irradiance),
        Column::of(air, Quantity::AirTemperature),
        // The highest gust on record is 113 m/s; an hour's mean stays below.
        Column::new(wind, 0.0, 113.0, "m/s"),
    ]
}

/// The weather of a line; `fields` in the order of [`weather_columns`].
pub(super) fn weather_hour(
    line: usize,
    columns: &[Column; 5],
    fields: [&str; 5],
) -> Result<WeatherHour, FileError> {
    let value = |at: usize| columns[at].read(line, fields[at]);
    Ok(WeatherHour {
        components: Components {
            global_w_m2: value(0)?,
            beam_normal_w_m2: value(1)?,
            diffuse_w_m2: value(2)?,
        },
        air_temperature_degc: value(3)?,
        wind_speed_m_s: value(4)?,
    })
}

/// What stands in a message: at most forty characters of it.
pub(super) fn shortened(text: &str) -> String {
    if text.chars().count() <= 40 {
        text.to_owned()
    } else {
        text.chars().take(39).chain(['…']).collect()
    }
}

/// Lines of a file with their numbers, without the mark that some programs put before the first, and without empty
/// lines at the end.
pub(super) fn numbered_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.strip_prefix('\u{feff}')
        .unwrap_or(text)
        .trim_end()
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line))
}
