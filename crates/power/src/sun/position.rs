//! Position of the sun in the sky.
//!
//! Source: Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (revised
//! 2008), sections 3.1 to 3.14; the numbers in brackets below are its sections. Written from the algorithm.
//!
//! Heliocentric longitude, latitude and radius vector of the earth from periodic terms, nutation and aberration,
//! right ascension and declination, parallax for the observer, refraction for pressure and temperature.
//!
//! Validity: the years 1583 to 6000 (the report goes back to -2000; the calendar here is the Gregorian one). Accuracy:
//! the report states 0.0003 deg. Universal Time is taken as UTC: they differ by at most 0.9 s, which turns the sky
//! by 0.004 deg. Refraction near the horizon varies by some tenths of a degree with the weather whatever the formula.

#[expect(
    clippy::approx_constant,
    reason = "phases that resemble pi are the printed digits of the tables"
)]
mod terms;

use super::error::{Quantity, SunError};
use crate::calendar::{days_in_month, is_leap};
use terms::{B0, B1, L0, L1, L2, L3, L4, L5, NUTATION, R0, R1, R2, R3, R4, Term};

/// Refraction at sunrise and sunset, deg (3.14.3, the usual value).
const SUNRISE_REFRACTION_DEG: f64 = 0.5667;
/// Apparent radius of the sun, deg (3.14.3).
const SUN_RADIUS_DEG: f64 = 0.26667;

/// An instant: Universal Time with what turns it into Terrestrial Time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instant {
    julian_day_ut: f64,
    delta_t_s: f64,
}

impl Instant {
    /// From a Gregorian date, the hour of that day in Universal Time (0 to 24, with its fraction) and Terrestrial
    /// less Universal Time in seconds (about 69 s in the 2020s; 67 s in the report's example).
    ///
    /// # Errors
    /// A year, hour or difference outside its range ([`Quantity::range`]); a day the calendar does not have.
    pub fn from_utc(
        year: i32,
        month: u8,
        day: u8,
        hour_h: f64,
        delta_t_s: f64,
    ) -> Result<Self, SunError> {
        Quantity::Year.check(f64::from(year))?;
        Quantity::Hour.check(hour_h)?;
        if !(1..=12).contains(&month) || day == 0 || day > days_in_month(month, is_leap(year)) {
            return Err(SunError::NoSuchDay { year, month, day });
        }
        let (shifted_year, shifted_month) = if month > 2 {
            (f64::from(year), f64::from(month))
        } else {
            (f64::from(year - 1), f64::from(month + 12))
        };
        let century = (shifted_year / 100.0).floor();
        let julian_day_ut = (365.25 * (shifted_year + 4716.0)).floor()
            + (30.6001 * (shifted_month + 1.0)).floor()
            + (f64::from(day) + hour_h / 24.0)
            + (2.0 - century + (century / 4.0).floor())
            - 1524.5;
        Self::from_julian_day(julian_day_ut, delta_t_s)
    }

    /// From a Julian day of Universal Time, d, and Terrestrial less Universal Time, s.
    ///
    /// # Errors
    /// A value outside its range ([`Quantity::range`]).
    pub fn from_julian_day(julian_day_ut: f64, delta_t_s: f64) -> Result<Self, SunError> {
        Ok(Self {
            julian_day_ut: Quantity::JulianDay.check(julian_day_ut)?,
            delta_t_s: Quantity::DeltaT.check(delta_t_s)?,
        })
    }

    /// Julian day of Universal Time, d; a double resolves 0.04 ms.
    #[must_use]
    pub fn julian_day_ut(self) -> f64 {
        self.julian_day_ut
    }
}

/// Where the sun is looked at from, and through what air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observer {
    /// Geographic latitude, deg, north positive, -90 to 90.
    pub latitude_deg: f64,
    /// Geographic longitude, deg, east positive, -180 to 180.
    pub longitude_deg: f64,
    /// Height above sea level, m.
    pub elevation_m: f64,
    /// Air pressure of the year, Pa; for refraction and air mass.
    pub pressure_pa: f64,
    /// Air temperature of the year, degC; for refraction.
    pub temperature_degc: f64,
}

impl Observer {
    pub(super) fn check(&self) -> Result<(), SunError> {
        Quantity::Latitude.check(self.latitude_deg)?;
        Quantity::Longitude.check(self.longitude_deg)?;
        Quantity::Elevation.check(self.elevation_m)?;
        Quantity::Pressure.check(self.pressure_pa)?;
        Quantity::AirTemperature.check(self.temperature_degc)?;
        Ok(())
    }
}

/// Where the sun stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunPosition {
    /// Zenith angle as seen, with refraction, deg. Below the horizon equal to the true one.
    pub apparent_zenith_deg: f64,
    /// Zenith angle without refraction, deg.
    pub true_zenith_deg: f64,
    /// Azimuth from north, clockwise, deg, 0 to 360.
    pub azimuth_deg: f64,
    /// Declination as seen from the place, deg.
    pub declination_deg: f64,
    /// Hour angle as seen from the place, deg, -180 to 180, afternoon positive.
    pub hour_angle_deg: f64,
    /// Distance earth to sun, astronomical units.
    pub distance_au: f64,
}

/// Position of the sun at an instant for an observer.
///
/// # Errors
/// A value of the observer outside its range ([`Quantity::range`]).
pub fn sun_position(instant: Instant, observer: &Observer) -> Result<SunPosition, SunError> {
    observer.check()?;
    Ok(Eye::new(observer).sees(&geocentric(instant)))
}

/// The sun as seen from the centre of the earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Geocentric {
    distance_au: f64,
    right_ascension_deg: f64,
    declination_rad: f64,
    sidereal_time_deg: f64,
}

/// Sections 3.2 to 3.10.
pub(super) fn geocentric(instant: Instant) -> Geocentric {
    let ephemeris_day = instant.julian_day_ut + instant.delta_t_s / 86_400.0;
    let century_ut = (instant.julian_day_ut - 2_451_545.0) / 36_525.0;
    let century = (ephemeris_day - 2_451_545.0) / 36_525.0;
    let millennium = century / 10.0;

    let longitude_rad = series(&[&L0, &L1, &L2, &L3, &L4, &L5], millennium);
    let latitude_rad = -series(&[&B0, &B1], millennium);
    let distance_au = series(&[&R0, &R1, &R2, &R3, &R4], millennium);

    let (nutation_longitude_deg, nutation_obliquity_deg) = nutation_deg(century);
    let obliquity_deg = mean_obliquity_arcsec(millennium) / 3600.0 + nutation_obliquity_deg;
    let aberration_deg = -20.4898 / (3600.0 * distance_au);
    let apparent_longitude_rad =
        (longitude_rad.to_degrees() + 180.0 + nutation_longitude_deg + aberration_deg)
            .rem_euclid(360.0)
            .to_radians();

    let (sin_obliquity, cos_obliquity) = libm::sincos(obliquity_deg.to_radians());
    let (sin_longitude, cos_longitude) = libm::sincos(apparent_longitude_rad);
    let (sin_latitude, cos_latitude) = libm::sincos(latitude_rad);
    let right_ascension_rad = libm::atan2(
        sin_longitude * cos_obliquity - sin_latitude / cos_latitude * sin_obliquity,
        cos_longitude,
    );
    let declination_rad =
        libm::asin(sin_latitude * cos_obliquity + cos_latitude * sin_obliquity * sin_longitude);

    let mean_sidereal_deg = 280.460_618_37
        + 360.985_647_366_29 * (instant.julian_day_ut - 2_451_545.0)
        + century_ut * century_ut * (0.000_387_933 - century_ut / 38_710_000.0);
    Geocentric {
        distance_au,
        right_ascension_deg: right_ascension_rad.to_degrees(),
        declination_rad,
        sidereal_time_deg: mean_sidereal_deg.rem_euclid(360.0)
            + nutation_longitude_deg * cos_obliquity,
    }
}

/// A place, with what does not change while the sun moves: sections 3.11 and 3.12.
pub(super) struct Eye<'a> {
    observer: &'a Observer,
    sin_latitude: f64,
    cos_latitude: f64,
    /// Its place about the centre of the earth, in radii at the equator: away from the axis, and along it.
    from_axis: f64,
    along_axis: f64,
}

impl<'a> Eye<'a> {
    pub(super) fn new(observer: &'a Observer) -> Eye<'a> {
        let (sin_latitude, cos_latitude) = libm::sincos(observer.latitude_deg.to_radians());
        let reduced_latitude_rad = libm::atan2(0.996_647_19 * sin_latitude, cos_latitude);
        let radii = observer.elevation_m / 6_378_140.0;
        Eye {
            observer,
            sin_latitude,
            cos_latitude,
            from_axis: libm::cos(reduced_latitude_rad) + radii * cos_latitude,
            along_axis: 0.996_647_19 * libm::sin(reduced_latitude_rad) + radii * sin_latitude,
        }
    }

    /// Sections 3.11 to 3.14.
    pub(super) fn sees(&self, sun: &Geocentric) -> SunPosition {
        let Eye {
            observer,
            sin_latitude,
            cos_latitude,
            from_axis: x,
            along_axis: y,
        } = *self;
        let hour_angle_rad =
            (sun.sidereal_time_deg + observer.longitude_deg - sun.right_ascension_deg).to_radians();
        let (sin_hour, cos_hour) = libm::sincos(hour_angle_rad);
        let (sin_declination, cos_declination) = libm::sincos(sun.declination_rad);

        let sin_parallax = libm::sin((8.794 / (3600.0 * sun.distance_au)).to_radians());
        let toward_sun = cos_declination - x * sin_parallax * cos_hour;
        let ascension_shift_rad = libm::atan2(-x * sin_parallax * sin_hour, toward_sun);
        let declination_rad = libm::atan2(
            (sin_declination - y * sin_parallax) * libm::cos(ascension_shift_rad),
            toward_sun,
        );

        let (sin_hour, cos_hour) = libm::sincos(hour_angle_rad - ascension_shift_rad);
        let (sin_declination, cos_declination) = libm::sincos(declination_rad);
        let up = sin_latitude * sin_declination + cos_latitude * cos_declination * cos_hour;
        let west = cos_declination * sin_hour;
        let south = cos_declination * cos_hour * sin_latitude - sin_declination * cos_latitude;
        // The report takes the arc sine of `up`, which rounding can carry past 1 with the sun overhead.
        let true_elevation_deg = libm::atan2(up, libm::hypot(west, south)).to_degrees();
        let azimuth_from_south_rad = libm::atan2(west, south);
        SunPosition {
            apparent_zenith_deg: 90.0
                - true_elevation_deg
                - refraction_deg(true_elevation_deg, observer),
            true_zenith_deg: 90.0 - true_elevation_deg,
            azimuth_deg: (azimuth_from_south_rad.to_degrees() + 180.0).rem_euclid(360.0),
            declination_deg: declination_rad.to_degrees(),
            hour_angle_deg: libm::atan2(sin_hour, cos_hour).to_degrees(),
            distance_au: sun.distance_au,
        }
    }
}

/// Refraction (3.14.3); none for a sun wholly below the horizon.
fn refraction_deg(true_elevation_deg: f64, observer: &Observer) -> f64 {
    if true_elevation_deg < -(SUN_RADIUS_DEG + SUNRISE_REFRACTION_DEG) {
        return 0.0;
    }
    let raised_rad = (true_elevation_deg + 10.3 / (true_elevation_deg + 5.11)).to_radians();
    observer.pressure_pa / 101_000.0 * (283.0 / (273.0 + observer.temperature_degc)) * 1.02
        / (60.0 * libm::tan(raised_rad))
}

/// Sum over powers of t of sums of periodic terms (3.2), rad or astronomical units.
fn series(powers: &[&[Term]], millennium: f64) -> f64 {
    let sum = |terms: &[Term]| -> f64 {
        terms
            .iter()
            .map(|[amplitude, phase, rate]| amplitude * libm::cos(phase + rate * millennium))
            .sum()
    };
    powers
        .iter()
        .rev()
        .fold(0.0, |higher, terms| higher * millennium + sum(terms))
        / 1e8
}

/// Nutation in longitude and in obliquity (3.4), deg.
fn nutation_deg(century: f64) -> (f64, f64) {
    let polynomial =
        |[a, b, c, d]: [f64; 4]| (a + century * (b + century * (c + century * d))).to_radians();
    let arguments_rad = [
        [297.850_36, 445_267.111_48, -0.001_914_2, 1.0 / 189_474.0],
        [357.527_72, 35_999.050_34, -0.000_160_3, -1.0 / 300_000.0],
        [134.962_98, 477_198.867_398, 0.008_697_2, 1.0 / 56_250.0],
        [93.271_91, 483_202.017_538, -0.003_682_5, 1.0 / 327_270.0],
        [125.044_52, -1_934.136_261, 0.002_070_8, 1.0 / 450_000.0],
    ]
    .map(polynomial);
    let (longitude, obliquity) =
        NUTATION
            .iter()
            .fold((0.0, 0.0), |(longitude, obliquity), term| {
                let argument_rad: f64 = term
                    .multiples
                    .iter()
                    .zip(&arguments_rad)
                    .map(|(multiple, argument)| multiple * argument)
                    .sum();
                let (sin, cos) = libm::sincos(argument_rad);
                (
                    longitude + (term.longitude[0] + term.longitude[1] * century) * sin,
                    obliquity + (term.obliquity[0] + term.obliquity[1] * century) * cos,
                )
            });
    (longitude / 36_000_000.0, obliquity / 36_000_000.0)
}

/// Mean obliquity of the ecliptic (3.5.1), arc seconds.
fn mean_obliquity_arcsec(millennium: f64) -> f64 {
    let u = millennium / 10.0;
    [
        2.45, 5.79, 27.87, 7.12, -39.05, -249.67, -51.38, 1999.25, -1.55, -4680.93, 84_381.448,
    ]
    .iter()
    .fold(0.0, |higher, coefficient| higher * u + coefficient)
}
