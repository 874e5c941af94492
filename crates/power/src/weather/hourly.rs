//! How a day's energy is spread over its hours.
//!
//! Source: Collares-Pereira and Rabl 1979 for global, Liu and Jordan 1960 for diffuse irradiation, as equations 2.13.2
//! and 2.13.4 of Duffie and Beckman, read in public programs. With the hour angle w and the sunset hour angle ws, per
//! hour:
//!
//! `rt = pi/24 (a + b cos w) (cos w - cos ws) / (sin ws - ws cos ws)`, `a = 0.409 + 0.5016 sin(ws - 60 deg)`,
//! `b = 0.6609 - 0.4767 sin(ws - 60 deg)`; `rd` the same with 1 for `a + b cos w`. Angles are positive: a negative ws
//! turns the signs of the sines.
//!
//! Deliberate deviations: an hour's share is the integral over the hour instead of its middle times one hour, so that
//! the hour of sunrise has what is left of it and a day shorter than an hour keeps its energy; and the shares of a day
//! are divided by their sum (rt as printed adds up to 0.99 to 1.03).
//!
//! Validity: any latitude; fitted to long-term means of stations of middle latitudes (from memory). A single hour's
//! cloud is not in it. Accuracy: 1e-8 of the curves as printed.

use super::error::WeatherError;
use crate::sun::{HOURS, SunYear};

const HOUR_RAD: f64 = core::f64::consts::PI / 12.0;

/// Share of a day's global energy per hour at an hour angle, 1/h: `rt`. 0 with the sun down.
///
/// # Errors
/// An hour angle outside -180 to 180 deg, a sunset hour angle outside 0 to 180 deg.
pub fn global_share_density(
    hour_angle_deg: f64,
    sunset_hour_angle_deg: f64,
) -> Result<f64, WeatherError> {
    let (w, ws) = angles_rad(hour_angle_deg, sunset_hour_angle_deg)?;
    let (a, b) = coefficients(ws);
    Ok((a + b * libm::cos(w)) * diffuse_density(w, ws))
}

/// Share of a day's diffuse energy per hour at an hour angle, 1/h: `rd`. 0 with the sun down.
///
/// # Errors
/// As [`global_share_density`].
pub fn diffuse_share_density(
    hour_angle_deg: f64,
    sunset_hour_angle_deg: f64,
) -> Result<f64, WeatherError> {
    let (w, ws) = angles_rad(hour_angle_deg, sunset_hour_angle_deg)?;
    Ok(diffuse_density(w, ws))
}

fn angles_rad(hour_angle_deg: f64, sunset_hour_angle_deg: f64) -> Result<(f64, f64), WeatherError> {
    let check = |what, value_deg: f64, lowest_deg: f64| {
        if (lowest_deg..=180.0).contains(&value_deg) {
            Ok(value_deg.to_radians())
        } else {
            Err(WeatherError::Angle {
                what,
                value_deg,
                lowest_deg,
                highest_deg: 180.0,
            })
        }
    };
    Ok((
        check("hour angle", hour_angle_deg, -180.0)?,
        check("sunset hour angle", sunset_hour_angle_deg, 0.0)?,
    ))
}

fn diffuse_density(w: f64, ws: f64) -> f64 {
    if w.abs() >= ws {
        return 0.0;
    }
    let (sin_ws, cos_ws) = libm::sincos(ws);
    core::f64::consts::PI / 24.0 * (libm::cos(w) - cos_ws) / (sin_ws - ws * cos_ws)
}

fn coefficients(ws: f64) -> (f64, f64) {
    let sin = libm::sin(ws - core::f64::consts::FRAC_PI_3);
    (0.409 + 0.5016 * sin, 0.6609 - 0.4767 * sin)
}

/// Share of its day's energy that an hour has, 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HourShare {
    /// Of the global energy.
    pub global: f64,
    /// Of the diffuse energy.
    pub diffuse: f64,
}

/// The shares of all hours of a site's year.
#[derive(Clone, Debug, PartialEq)]
pub struct DayShapes {
    hours: Vec<HourShare>,
}

impl DayShapes {
    /// Works out the shares. Those of a day add up to 1, or to 0 in the polar night.
    #[must_use]
    pub fn new(sun: &SunYear) -> Self {
        let mut hours = Vec::with_capacity(HOURS);
        for (day, of_day) in sun.days().iter().zip(sun.hours().chunks(24)) {
            let ws = day.sunset_hour_angle_deg.to_radians();
            let begin = hours.len();
            hours.extend(
                of_day
                    .iter()
                    .map(|hour| share(hour.hour_angle_deg.to_radians(), ws)),
            );
            let of_day = &mut hours[begin..];
            let global: f64 = of_day.iter().map(|hour| hour.global).sum();
            let diffuse: f64 = of_day.iter().map(|hour| hour.diffuse).sum();
            if global > 0.0 && diffuse > 0.0 {
                for hour in of_day {
                    hour.global /= global;
                    hour.diffuse /= diffuse;
                }
            }
        }
        Self { hours }
    }

    /// The [`HOURS`] hours in order, like [`SunYear::hours`].
    #[must_use]
    pub fn hours(&self) -> &[HourShare] {
        &self.hours
    }
}

/// Integrals over the part of an hour about hour angle `middle` with the sun up, without the common divisor.
fn share(middle: f64, ws: f64) -> HourShare {
    let (a, b) = coefficients(ws);
    let c = libm::cos(ws);
    let mut share = HourShare::default();
    // The hour about midnight belongs to the evening and to the next morning.
    for turn in [-core::f64::consts::TAU, 0.0, core::f64::consts::TAU] {
        let from = (middle + turn - 0.5 * HOUR_RAD).max(-ws);
        let to = (middle + turn + 0.5 * HOUR_RAD).min(ws);
        // Below this the differences of sines are rounding; what is left out is a share of 1e-12.
        if to - from > 1e-6 {
            let (sin_from, cos_from) = libm::sincos(from);
            let (sin_to, cos_to) = libm::sincos(to);
            let sine = sin_to - sin_from;
            let width = to - from;
            let square = 0.5 * (width + sin_to * cos_to - sin_from * cos_from);
            share.global += (a - b * c) * sine - a * c * width + b * square;
            share.diffuse += sine - c * width;
        }
    }
    share
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The last two columns of `reference/power/scipy-weather-hours.csv`: days with noon on the hour, by numerical
    /// integration.
    #[test]
    fn val_shares_of_the_hours() {
        let rows_of_file = crate::weather::reference_rows("scipy-weather-hours.csv");
        assert_eq!(rows_of_file.len(), 42);
        for row in &rows_of_file {
            let ws = row[0].to_radians();
            let mut whole = HourShare::default();
            for hour in 0..24 {
                let of_hour = share((15.0 * f64::from(hour) - 172.5).to_radians(), ws);
                whole.global += of_hour.global;
                whole.diffuse += of_hour.diffuse;
            }
            for angle_deg in [row[1], -row[1]] {
                let of_hour = share(angle_deg.to_radians(), ws);
                assert!(
                    (of_hour.global / whole.global - row[4]).abs() < 1e-8,
                    "{row:?}"
                );
                assert!(
                    (of_hour.diffuse / whole.diffuse - row[5]).abs() < 1e-8,
                    "{row:?}"
                );
            }
        }
    }

    /// Under a sun that hardly sets, a clock that runs beside the sun parts the night in the middle of an hour; the hours
    /// together still have the whole day.
    #[test]
    fn verif_the_hour_about_midnight_has_both_its_parts() {
        let sum = |clock_deg: f64, ws: f64| -> f64 {
            (0..24)
                .map(|hour| {
                    let angle_deg = 15.0 * f64::from(hour) - 172.5 + clock_deg;
                    share(angle_deg.to_radians(), ws).global
                })
                .sum()
        };
        for ws_deg in [90.0_f64, 170.0, 178.0, 180.0] {
            let ws = ws_deg.to_radians();
            for clock_deg in [-7.0, -3.0, 4.0, 7.4] {
                let (beside, with) = (sum(clock_deg, ws), sum(0.0, ws));
                assert!((beside / with - 1.0).abs() < 1e-12, "{ws_deg} {clock_deg}");
            }
        }
    }
}
