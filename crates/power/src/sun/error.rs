//! What a caller can get wrong, and the one table of valid ranges.

use thiserror::Error;

use super::course::Clock;

/// A quantity with a valid range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Geographic latitude, north positive.
    Latitude,
    /// Geographic longitude, east positive.
    Longitude,
    /// Height above sea level.
    Elevation,
    /// Air pressure.
    Pressure,
    /// Air temperature.
    AirTemperature,
    /// Year of the Gregorian calendar.
    Year,
    /// Hour of a day, Universal Time.
    Hour,
    /// Terrestrial Time less Universal Time.
    DeltaT,
    /// Julian day.
    JulianDay,
    /// Local time less Universal Time.
    UtcOffset,
    /// Tilt of a panel from the horizontal.
    Tilt,
    /// Azimuth from north, clockwise.
    Azimuth,
    /// Zenith angle of the sun.
    Zenith,
    /// Declination of the sun.
    Declination,
    /// Day of the year, 1 on 1 January.
    DayOfYear,
    /// Solar constant.
    SolarConstant,
    /// Irradiance outside the atmosphere toward the sun.
    NormalIrradiance,
    /// Linke turbidity.
    LinkeTurbidity,
    /// Air mass.
    AirMass,
    /// Irradiance.
    Irradiance,
    /// Daily clearness index.
    Clearness,
    /// Hour angle of sunset.
    SunsetHourAngle,
    /// Cosine of the angle of incidence.
    Cosine,
    /// Reflectance of the ground or the sea.
    Albedo,
    /// Factor b of the ASHRAE incidence modifier.
    AshraeFactor,
    /// Elevation of the horizon.
    HorizonElevation,
    /// Share of the light that dirt takes away.
    SoilingShare,
}

impl Quantity {
    /// Name, lowest and highest valid value, unit. The reasons stand beside the rows that need one.
    #[must_use]
    pub fn range(self) -> (&'static str, f64, f64, &'static str) {
        match self {
            Self::Latitude => ("latitude", -90.0, 90.0, "deg"),
            Self::Longitude => ("longitude", -180.0, 180.0, "deg"),
            // The Dead Sea, and the highest lakes with some room.
            Self::Elevation => ("elevation", -500.0, 7000.0, "m"),
            Self::Pressure => ("air pressure", 30_000.0, 110_000.0, "Pa"),
            Self::AirTemperature => ("air temperature", -80.0, 60.0, "degC"),
            // The Gregorian calendar begins in 1582; the algorithm ends with the year 6000.
            Self::Year => ("year", 1583.0, 6000.0, ""),
            Self::Hour => ("hour of the day", 0.0, 24.0, "h"),
            Self::DeltaT => ("TT less UT", -8000.0, 8000.0, "s"),
            // 1583-01-01 to 6001-01-01.
            Self::JulianDay => ("Julian day", 2_299_238.5, 3_912_880.5, "d"),
            Self::UtcOffset => ("offset from UTC", -14.0, 14.0, "h"),
            Self::Tilt => ("tilt", 0.0, 90.0, "deg"),
            Self::Azimuth => ("azimuth", 0.0, 360.0, "deg"),
            Self::Zenith => ("zenith angle", 0.0, 180.0, "deg"),
            // The obliquity lies below 24 deg in the years above.
            Self::Declination => ("declination", -24.0, 24.0, "deg"),
            Self::DayOfYear => ("day of the year", 1.0, 366.0, ""),
            Self::SolarConstant => ("solar constant", 1300.0, 1400.0, "W/m2"),
            // The solar constants above with 3.5 % for the distance.
            Self::NormalIrradiance => ("irradiance outside the atmosphere", 1250.0, 1450.0, "W/m2"),
            // 1 is a clean dry atmosphere.
            Self::LinkeTurbidity => ("Linke turbidity", 1.0, 10.0, ""),
            // Kasten and Young at the horizon, 38, at the highest pressure above.
            Self::AirMass => ("air mass", 0.0, 45.0, ""),
            Self::Irradiance => ("irradiance", 0.0, 2000.0, "W/m2"),
            Self::Clearness => ("daily clearness index", 0.0, 1.0, ""),
            Self::SunsetHourAngle => ("sunset hour angle", 0.0, 180.0, "deg"),
            Self::Cosine => ("cosine of incidence", -1.0, 1.0, ""),
            Self::Albedo => ("albedo", 0.0, 1.0, ""),
            Self::AshraeFactor => ("ASHRAE factor", 0.0, 0.5, ""),
            Self::HorizonElevation => ("horizon elevation", 0.0, 90.0, "deg"),
            Self::SoilingShare => ("soiling share", 0.0, 1.0, ""),
        }
    }

    /// `value`, or the error that names the range. Not a number is outside every range.
    pub(super) fn check(self, value: f64) -> Result<f64, SunError> {
        let (_, lowest, highest, _) = self.range();
        if (lowest..=highest).contains(&value) {
            Ok(value)
        } else {
            Err(SunError::OutOfRange {
                quantity: self,
                value,
            })
        }
    }
}

/// Why an input about sun, sky or panels cannot be used.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum SunError {
    /// A value lies outside its range, or is not a number.
    #[error("{}", out_of_range(*.quantity, *.value))]
    OutOfRange {
        /// What it is; [`Quantity::range`] gives the limits and the unit.
        quantity: Quantity,
        /// The value.
        value: f64,
    },
    /// The calendar has no such day.
    #[error("there is no day {year}-{month}-{day}")]
    NoSuchDay {
        /// Year.
        year: i32,
        /// Month as given.
        month: u8,
        /// Day as given.
        day: u8,
    },
    /// A course of the sun belongs to another clock than the site's.
    #[error(
        "the course of the sun is that of the year {} at {} h from UTC with TT {} s ahead of UT, and the site's is {} at {} h with {} s",
        .of_course.year, .of_course.utc_offset_h, .of_course.delta_t_s, .of_site.year, .of_site.utc_offset_h, .of_site.delta_t_s
    )]
    OtherClock {
        /// The site's.
        of_site: Clock,
        /// The course's.
        of_course: Clock,
    },
    /// An array has no face.
    #[error("the array has no face")]
    NoFace,
    /// A ring has no panel.
    #[error("the ring has no panel")]
    NoPanel,
    /// A horizon has no point.
    #[error("the horizon has no point")]
    EmptyHorizon,
    /// The points of a horizon do not ascend in azimuth below 360 deg.
    #[error(
        "point {index} of the horizon, azimuth {azimuth_deg} deg, does not lie after the one before it and below 360 deg"
    )]
    HorizonOrder {
        /// Position of the point, from 0.
        index: usize,
        /// Its azimuth, deg.
        azimuth_deg: f64,
    },
}

fn out_of_range(quantity: Quantity, value: f64) -> String {
    let (name, lowest, highest, unit) = quantity.range();
    let gap = if unit.is_empty() { "" } else { " " };
    format!("{name} {value}{gap}{unit} is outside {lowest} to {highest}{gap}{unit}")
}
