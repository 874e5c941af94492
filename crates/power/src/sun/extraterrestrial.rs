//! Irradiance outside the atmosphere: at normal incidence, and over a day on the horizontal.
//!
//! Sources: Spencer, Fourier series representation of the position of the sun, Search 2 (1971) 172, for the distance
//! factor (read in two public programs that agree); the daily integral is the textbook one (Duffie and Beckman, Solar
//! Engineering of Thermal Processes, equation 1.10.3, from memory).
//!
//! The declination of a day is the caller's and should come from [`super::sun_position`] at that day's noon. Cooper's
//! sine, `23.45 sin(360 (284 + n)/365)`, is wrong by up to a degree; at 60 deg north it takes 8 % from November.
//!
//! Accuracy: Spencer's factor within 0.11 % of the radius vector; a month of days within 0.05 % of an integral over
//! the sun's true path, to 62 deg north.

use super::error::{Quantity, SunError};

/// Total solar irradiance at one astronomical unit, W/m2: Kopp and Lean 2011 (1360.8), rounded.
pub const SOLAR_CONSTANT_2011_W_M2: f64 = 1361.0;
/// The older value of ASTM E490-00, W/m2; pvlib's default, for comparisons with it.
pub const SOLAR_CONSTANT_ASTM_E490_W_M2: f64 = 1366.1;

/// Irradiance on a plane facing the sun outside the atmosphere, W/m2: the solar constant (W/m2) times Spencer's factor
/// for the day of the year (1 to 366).
///
/// # Errors
/// A day or solar constant outside its range ([`Quantity::range`]).
pub fn extraterrestrial_w_m2(day_of_year: u16, solar_constant_w_m2: f64) -> Result<f64, SunError> {
    let day = Quantity::DayOfYear.check(f64::from(day_of_year))?;
    Quantity::SolarConstant.check(solar_constant_w_m2)?;
    let (sin, cos) = libm::sincos(core::f64::consts::TAU * (day - 1.0) / 365.0);
    let cos_twice = cos * cos - sin * sin;
    let sin_twice = 2.0 * sin * cos;
    Ok(solar_constant_w_m2
        * (1.000_11
            + 0.034_221 * cos
            + 0.001_28 * sin
            + 0.000_719 * cos_twice
            + 0.000_077 * sin_twice))
}

/// Hour angle of sunset without refraction, deg: 0 in the polar night, 180 in the polar day.
///
/// # Errors
/// A latitude or declination outside its range ([`Quantity::range`]).
pub fn sunset_hour_angle_deg(latitude_deg: f64, declination_deg: f64) -> Result<f64, SunError> {
    Quantity::Latitude.check(latitude_deg)?;
    Quantity::Declination.check(declination_deg)?;
    let (sin_latitude, cos_latitude) = libm::sincos(latitude_deg.to_radians());
    let (sin_declination, cos_declination) = libm::sincos(declination_deg.to_radians());
    let up = sin_latitude * sin_declination;
    let swing = cos_latitude * cos_declination;
    Ok(if up >= swing {
        180.0
    } else if up <= -swing {
        0.0
    } else {
        libm::acos(-up / swing).to_degrees()
    })
}

/// Energy of a day on the horizontal outside the atmosphere, Wh/m2, for the day's declination (deg) and normal
/// irradiance ([`extraterrestrial_w_m2`], W/m2).
///
/// # Errors
/// A latitude, declination or irradiance outside its range ([`Quantity::range`]).
pub fn daily_extraterrestrial_wh_m2(
    latitude_deg: f64,
    declination_deg: f64,
    normal_w_m2: f64,
) -> Result<f64, SunError> {
    Quantity::NormalIrradiance.check(normal_w_m2)?;
    let sunset_rad = sunset_hour_angle_deg(latitude_deg, declination_deg)?.to_radians();
    let (sin_latitude, cos_latitude) = libm::sincos(latitude_deg.to_radians());
    let (sin_declination, cos_declination) = libm::sincos(declination_deg.to_radians());
    Ok(24.0 / core::f64::consts::PI
        * normal_w_m2
        * (cos_latitude * cos_declination * libm::sin(sunset_rad)
            + sunset_rad * sin_latitude * sin_declination))
}
