//! Sound speed by the equation that suits the water.
//!
//! Decision: Mackenzie 1981 in salt water (it takes depth itself, and stays closest to TEOS-10 there), Chen and Millero 1977
//! below salinity 25 and above 30 degC, where Mackenzie's fit does not reach. The comparison behind it is in
//! docs/method/seawater.md, as is the step where one takes over from the other.

use crate::chen_millero::sound_speed_chen_millero_m_s;
use crate::limits::{Method, SeaError, Warning};
use crate::mackenzie::{self, sound_speed_mackenzie_m_s};
use crate::pressure::pressure_from_depth_dbar;

/// Salinity below which Chen and Millero take over from Mackenzie.
pub const SALINITY_SPLIT: f64 = 25.0;

/// Latitude at which depth is turned into pressure for Chen and Millero. From pole to equator pressure at a given depth
/// changes by 0.5 %, which at 200 m is 0.017 m/s; half of it either way from here.
const LATITUDE_DEG: f64 = 45.0;

/// A sound speed with the method that gave it.
#[derive(Debug, Clone, PartialEq)]
pub struct SoundSpeed {
    /// The speed, m/s.
    pub sound_speed_m_s: f64,
    /// The equation used.
    pub method: Method,
    /// What makes it doubtful; empty where nothing does.
    pub warnings: Vec<Warning>,
}

/// Sound speed from ITS-90 temperature, practical salinity and depth, with method and warnings.
///
/// Valid for -2 to 30 degC at salinity 25 to 40 and 0 to 8000 m; for 0 to 40 degC at salinity 0 to 25, and above 30 degC at
/// salinity up to 40, to the depth of 10 000 dbar. Warns between salinity 25 and 30 up to 30 degC.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges, naming the method whose range was left.
pub fn sound_speed(
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
) -> Result<SoundSpeed, SeaError> {
    if salinity < SALINITY_SPLIT || temperature_degc > mackenzie::TEMPERATURE.high {
        let pressure_dbar = pressure_from_depth_dbar(depth_m, LATITUDE_DEG)?;
        return Ok(SoundSpeed {
            sound_speed_m_s: sound_speed_chen_millero_m_s(
                temperature_degc,
                salinity,
                pressure_dbar,
            )?,
            method: Method::ChenMillero1977,
            warnings: Vec::new(),
        });
    }
    Ok(SoundSpeed {
        sound_speed_m_s: sound_speed_mackenzie_m_s(temperature_degc, salinity, depth_m)?,
        method: Method::Mackenzie1981,
        warnings: mackenzie::salinity_warning(salinity).into_iter().collect(),
    })
}

/// Sound speed in m/s; the number of [`sound_speed`] alone.
///
/// # Errors
/// As [`sound_speed`].
pub fn sound_speed_m_s(
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
) -> Result<f64, SeaError> {
    sound_speed(temperature_degc, salinity, depth_m).map(|s| s.sound_speed_m_s)
}
