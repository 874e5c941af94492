//! Clearness index, and the split of global into beam and diffuse irradiance that goes with it.
//!
//! Source: Erbs, Klein and Duffie, Estimation of the diffuse radiation fraction for hourly, daily and monthly-average
//! global radiation, Solar Energy 28 (1982) 293; as equations 2.10.1 and 2.11.1 of Duffie and Beckman, read in a
//! public program.
//!
//! Near the horizon the index divides two small numbers, so the floor of the cosine, 0.065 (86.3 deg), the cap of the
//! index, and no beam with the sun beyond 87 deg are part of the method here as they are in pvlib 0.16.1. (There the
//! split caps the index at 1; the share above 0.8 is constant, so that changes nothing.) Validity: hours and days;
//! fitted to stations between 31 and 42 deg north. Accuracy: single hours scatter by 0.1 to 0.2 of the share (both
//! from memory).

use super::error::{Quantity, SunError};

/// Lowest cosine of the zenith angle that divides an irradiance.
pub(super) const LOWEST_COS_ZENITH: f64 = 0.065;
/// Highest clearness index of [`clearness_index`]: light from the edges of clouds, but no more.
pub const HIGHEST_CLEARNESS: f64 = 2.0;
/// Cosine of 87 deg: with a lower sun all light counts as diffuse.
pub(super) const COS_LAST_BEAM: f64 = 0.052_335_956_242_943_83;

/// Irradiance on the horizontal and toward the sun.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Components {
    /// Global irradiance on the horizontal, W/m2.
    pub global_w_m2: f64,
    /// Beam irradiance on a plane facing the sun, W/m2.
    pub beam_normal_w_m2: f64,
    /// Diffuse irradiance on the horizontal, W/m2.
    pub diffuse_w_m2: f64,
}

/// Clearness index: global irradiance over that outside the atmosphere on the horizontal, 0 to [`HIGHEST_CLEARNESS`].
///
/// # Errors
/// A zenith angle or irradiance outside its range ([`Quantity::range`]).
pub fn clearness_index(
    global_w_m2: f64,
    zenith_deg: f64,
    normal_w_m2: f64,
) -> Result<f64, SunError> {
    Quantity::Irradiance.check(global_w_m2)?;
    Quantity::Zenith.check(zenith_deg)?;
    Quantity::NormalIrradiance.check(normal_w_m2)?;
    let cos_zenith = libm::cos(zenith_deg.to_radians());
    Ok((global_w_m2 / (normal_w_m2 * cos_zenith.max(LOWEST_COS_ZENITH))).min(HIGHEST_CLEARNESS))
}

/// Share of diffuse in global irradiance for an hour's clearness index (Erbs, hourly). Above 0.8 it is 0.165 however
/// high the index.
#[must_use]
#[inline]
pub fn hourly_diffuse_share(clearness: f64) -> f64 {
    let k = clearness;
    if k <= 0.22 {
        1.0 - 0.09 * k
    } else if k <= 0.8 {
        0.9511 + k * (-0.1604 + k * (4.388 + k * (-16.638 + k * 12.336)))
    } else {
        0.165
    }
}

/// Global irradiance split into beam and diffuse by the hourly correlation.
///
/// `normal_w_m2` is the irradiance outside the atmosphere. With the sun below 3 deg all is diffuse.
///
/// # Errors
/// A zenith angle or irradiance outside its range ([`Quantity::range`]).
pub fn hourly_components(
    global_w_m2: f64,
    zenith_deg: f64,
    normal_w_m2: f64,
) -> Result<Components, SunError> {
    let clearness = clearness_index(global_w_m2, zenith_deg, normal_w_m2)?;
    let cos_zenith = libm::cos(zenith_deg.to_radians());
    if cos_zenith < COS_LAST_BEAM {
        return Ok(Components {
            global_w_m2,
            beam_normal_w_m2: 0.0,
            diffuse_w_m2: global_w_m2,
        });
    }
    let diffuse_w_m2 = global_w_m2 * hourly_diffuse_share(clearness);
    Ok(Components {
        global_w_m2,
        beam_normal_w_m2: (global_w_m2 - diffuse_w_m2) / cos_zenith,
        diffuse_w_m2,
    })
}

/// Share of diffuse in a day's global energy for the day's clearness index (Erbs, daily); two curves, parted at a
/// sunset hour angle of 81.4 deg.
///
/// # Errors
/// An index outside 0 to 1, a sunset hour angle outside 0 to 180 deg.
pub fn daily_diffuse_share(clearness: f64, sunset_hour_angle_deg: f64) -> Result<f64, SunError> {
    let k = Quantity::Clearness.check(clearness)?;
    Quantity::SunsetHourAngle.check(sunset_hour_angle_deg)?;
    Ok(if sunset_hour_angle_deg <= 81.4 {
        if k < 0.715 {
            1.0 + k * (-0.2727 + k * (2.4495 + k * (-11.9514 + k * 9.3879)))
        } else {
            0.143
        }
    } else if k < 0.722 {
        1.0 + k * (0.2832 + k * (-2.5557 + k * 0.8448))
    } else {
        0.175
    })
}
