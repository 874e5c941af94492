//! From horizontal irradiance to a tilted plane.
//!
//! Sources: isotropic sky, Liu and Jordan, Solar Energy 4 (1960) 1; circumsolar share, Hay and Davies, Calculation of
//! the solar radiation incident on an inclined surface, 1980; both as in pvlib 0.16.1 (the papers were not read). The
//! ground, or the sea, reflects evenly.
//!
//! With `A` the beam's transmittance (beam over irradiance outside the atmosphere) and `Rb` the ratio of the cosines
//! of incidence and zenith, the sky gives `diffuse (A Rb + (1 - A) (1 + cos tilt)/2)`; isotropic is A = 0. For a panel
//! whose azimuth changes, put the mean of the positive cosine ([`super::mean_cos_incidence`]) in place of the cosine.
//!
//! The sea's albedo is about 0.06 under high sun (from memory). It rises steeply under a low sun, where the reflection
//! is a mirror image below the horizon; that is not in it.

use super::clearness::Components;
use super::error::{Quantity, SunError};

/// Lowest cosine of the zenith angle under the ratio Rb: 89 deg.
const LOWEST_COS_ZENITH: f64 = 0.017_45;

/// How diffuse light is spread over the sky.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    /// Evenly.
    Isotropic,
    /// A part of it close around the sun: Hay and Davies.
    HayDavies,
}

/// Irradiance of a tilted plane by origin, W/m2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transposed {
    /// Straight from the sun.
    pub beam_w_m2: f64,
    /// From the sky.
    pub sky_w_m2: f64,
    /// From the ground or the sea.
    pub ground_w_m2: f64,
}

impl Transposed {
    /// The sum, W/m2.
    #[must_use]
    pub fn total_w_m2(&self) -> f64 {
        self.beam_w_m2 + self.sky_w_m2 + self.ground_w_m2
    }
}

/// Ratio Rb of the cosines of incidence and zenith; the latter counts as 89 deg at least.
#[must_use]
pub fn circumsolar_ratio(cos_incidence: f64, cos_zenith: f64) -> f64 {
    cos_incidence.max(0.0) / cos_zenith.max(LOWEST_COS_ZENITH)
}

/// Irradiance of a plane by origin.
///
/// `normal_w_m2` is the irradiance outside the atmosphere; `cos_incidence` may be negative (sun behind the plane) or
/// the mean over the azimuths of a panel that turns.
///
/// # Errors
/// A value outside its range ([`Quantity::range`]).
pub fn transpose(
    components: &Components,
    normal_w_m2: f64,
    zenith_deg: f64,
    tilt_deg: f64,
    cos_incidence: f64,
    albedo: f64,
    sky: Sky,
) -> Result<Transposed, SunError> {
    for value in [
        components.global_w_m2,
        components.beam_normal_w_m2,
        components.diffuse_w_m2,
    ] {
        Quantity::Irradiance.check(value)?;
    }
    Quantity::NormalIrradiance.check(normal_w_m2)?;
    Quantity::Zenith.check(zenith_deg)?;
    Quantity::Tilt.check(tilt_deg)?;
    Quantity::Cosine.check(cos_incidence)?;
    Quantity::Albedo.check(albedo)?;
    let cos_tilt = libm::cos(tilt_deg.to_radians());
    let sky_share = f64::midpoint(1.0, cos_tilt);
    let sky_ratio = match sky {
        Sky::Isotropic => sky_share,
        Sky::HayDavies => {
            let transmittance = components.beam_normal_w_m2 / normal_w_m2;
            let ratio = circumsolar_ratio(cos_incidence, libm::cos(zenith_deg.to_radians()));
            transmittance * ratio + (1.0 - transmittance) * sky_share
        }
    };
    Ok(Transposed {
        beam_w_m2: components.beam_normal_w_m2 * cos_incidence.max(0.0),
        sky_w_m2: components.diffuse_w_m2 * sky_ratio,
        ground_w_m2: components.global_w_m2 * albedo * ground_share(cos_tilt),
    })
}

/// Share of the ground in what a plane sees.
pub(super) fn ground_share(cos_tilt: f64) -> f64 {
    0.5 * (1.0 - cos_tilt)
}
