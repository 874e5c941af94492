//! Irradiance under a cloudless sky.
//!
//! Sources: Haurwitz, Insolation in relation to cloudiness and cloud density, Journal of Meteorology 2 (1945) 154 and
//! 3 (1946) 123, with the exponent 0.059 of public programs (some texts print 0.057, from memory: 0.2 % at noon);
//! Ineichen and Perez, A new airmass independent formulation for the Linke turbidity coefficient, Solar Energy 73
//! (2002) 151, as written in pvlib 0.16.1, without its enhancement factor. The papers were not read.
//!
//! Linke turbidity: 2 to 3 in clean cold air, 3 to 5 over temperate seas in summer, more in dust (from memory).
//!
//! Haurwitz was fitted to high sun. Over December at 60 deg north it gives 42 % more than Ineichen and Perez for a
//! turbidity of 3: do not use it where the sun stays low.

use super::clearness::Components;
use super::error::{Quantity, SunError};

/// Haurwitz: global irradiance on the horizontal, W/m2, for an apparent zenith angle, deg; 0 with the sun down.
///
/// # Errors
/// A zenith angle outside 0 to 180 deg.
pub fn haurwitz_w_m2(apparent_zenith_deg: f64) -> Result<f64, SunError> {
    Quantity::Zenith.check(apparent_zenith_deg)?;
    let cos_zenith = libm::cos(apparent_zenith_deg.to_radians());
    Ok(if cos_zenith > 0.0 {
        1098.0 * cos_zenith * libm::exp(-0.059 / cos_zenith)
    } else {
        0.0
    })
}

/// Ineichen and Perez: the three components, W/m2; nought with the sun down.
///
/// `air_mass` is the relative one ([`super::relative_air_mass`]) times pressure/101325 Pa, `None` with the sun
/// down; `normal_w_m2` the irradiance outside the atmosphere; `elevation_m` the height above sea level.
///
/// # Errors
/// A value outside its range ([`Quantity::range`]).
pub fn ineichen_perez(
    apparent_zenith_deg: f64,
    air_mass: Option<f64>,
    linke_turbidity: f64,
    elevation_m: f64,
    normal_w_m2: f64,
) -> Result<Components, SunError> {
    Quantity::Zenith.check(apparent_zenith_deg)?;
    Quantity::LinkeTurbidity.check(linke_turbidity)?;
    Quantity::Elevation.check(elevation_m)?;
    Quantity::NormalIrradiance.check(normal_w_m2)?;
    let cos_zenith = libm::cos(apparent_zenith_deg.to_radians());
    let Some(air_mass) = air_mass.filter(|_| apparent_zenith_deg < 90.0) else {
        return Ok(Components::default());
    };
    Quantity::AirMass.check(air_mass)?;

    let fh1 = libm::exp(-elevation_m / 8000.0);
    let fh2 = libm::exp(-elevation_m / 1250.0);
    let cg1 = 5.09e-5 * elevation_m + 0.868;
    let cg2 = 3.92e-5 * elevation_m + 0.0387;
    let global_w_m2 = cg1
        * normal_w_m2
        * cos_zenith
        * libm::exp(-cg2 * air_mass * (fh1 + fh2 * (linke_turbidity - 1.0)));
    let through_air_w_m2 =
        normal_w_m2 * (0.664 + 0.163 / fh1) * libm::exp(-0.09 * air_mass * (linke_turbidity - 1.0));
    let least_diffuse_share = (0.1 - 0.2 * libm::exp(-linke_turbidity)) / (0.1 + 0.882 / fh1);
    let at_most_w_m2 = global_w_m2 * (1.0 - least_diffuse_share) / cos_zenith;
    let beam_normal_w_m2 = through_air_w_m2.min(at_most_w_m2);
    Ok(Components {
        global_w_m2,
        beam_normal_w_m2,
        diffuse_w_m2: global_w_m2 - beam_normal_w_m2 * cos_zenith,
    })
}
