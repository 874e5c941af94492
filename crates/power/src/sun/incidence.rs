//! Angle between the sun and a panel, and what its glass lets through at that angle.
//!
//! Sources: angle of incidence, section 3.15 of NREL/TP-560-34302; ASHRAE modifier, Souka and Safwat 1966 and ASHRAE
//! 93; physical modifier, De Soto, Klein and Beckman, Solar Energy 80 (2006) 78, equations 11 and 12 (Fresnel and
//! Snell, absorption in the cover), as written in pvlib 0.16.1.
//!
//! Validity: clean glass, beam light. Salt and water on the cover are not in it.

use super::error::{Quantity, SunError};

/// Refractive index of the cover.
const GLASS_INDEX: f64 = 1.526;
/// Extinction coefficient, 1/m, times thickness, m: 4 and 2 mm.
const GLASS_ABSORPTION: f64 = 4.0 * 0.002;

/// Cosine of the angle between the sun and the normal of a plane; negative with the sun behind it.
///
/// # Errors
/// An angle outside its range ([`Quantity::range`]).
pub fn cos_incidence(
    tilt_deg: f64,
    plane_azimuth_deg: f64,
    zenith_deg: f64,
    sun_azimuth_deg: f64,
) -> Result<f64, SunError> {
    Quantity::Tilt.check(tilt_deg)?;
    Quantity::Azimuth.check(plane_azimuth_deg)?;
    Quantity::Zenith.check(zenith_deg)?;
    Quantity::Azimuth.check(sun_azimuth_deg)?;
    let (sin_tilt, cos_tilt) = libm::sincos(tilt_deg.to_radians());
    let (sin_zenith, cos_zenith) = libm::sincos(zenith_deg.to_radians());
    let turn_rad = (sun_azimuth_deg - plane_azimuth_deg).to_radians();
    let cos = cos_tilt * cos_zenith + sin_tilt * sin_zenith * libm::cos(turn_rad);
    // Rounding may leave a cosine just outside its range, where it has no angle.
    Ok(cos.clamp(-1.0, 1.0))
}

/// Angle of incidence, deg, 0 to 180; arguments and errors of [`cos_incidence`].
///
/// # Errors
/// An angle outside its range ([`Quantity::range`]).
pub fn incidence_deg(
    tilt_deg: f64,
    plane_azimuth_deg: f64,
    zenith_deg: f64,
    sun_azimuth_deg: f64,
) -> Result<f64, SunError> {
    let cos = cos_incidence(tilt_deg, plane_azimuth_deg, zenith_deg, sun_azimuth_deg)?;
    Ok(libm::acos(cos).to_degrees())
}

/// Incidence angle modifier: transmission of the cover at an angle over that at normal incidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Iam {
    /// Nothing is lost at any angle.
    None,
    /// `1 - b (1/cos a - 1)`, nought where that is negative; b is about 0.05 for one glass cover.
    Ashrae {
        /// The factor b, 0 to 0.5.
        b: f64,
    },
    /// Reflection and absorption of a glass cover: index 1.526, extinction 4 per metre, 2 mm.
    Physical,
}

impl Iam {
    pub(super) fn check(self) -> Result<(), SunError> {
        if let Self::Ashrae { b } = self {
            Quantity::AshraeFactor.check(b)?;
        }
        Ok(())
    }

    /// The modifier, 0 to 1, for the cosine of the angle of incidence; 0 at 90 deg and behind the panel.
    ///
    /// # Errors
    /// A factor b outside 0 to 0.5.
    pub fn modifier(self, cos_incidence: f64) -> Result<f64, SunError> {
        self.check()?;
        Ok(self.of_cos(cos_incidence))
    }

    pub(super) fn of_cos(self, cos_incidence: f64) -> f64 {
        match self {
            _ if cos_incidence <= 0.0 => 0.0,
            Self::None => 1.0,
            Self::Ashrae { b } => (1.0 - b * (1.0 / cos_incidence - 1.0)).max(0.0),
            Self::Physical => Glass::new().modifier(cos_incidence),
        }
    }
}

/// The cover of the physical modifier.
#[derive(Clone, Copy)]
pub(super) struct Glass {
    /// Transmission at normal incidence.
    straight: f64,
}

impl Glass {
    pub(super) fn new() -> Glass {
        Glass {
            straight: glass_transmission(1.0),
        }
    }

    pub(super) fn modifier(self, cos_incidence: f64) -> f64 {
        if cos_incidence <= 0.0 {
            return 0.0;
        }
        glass_transmission(cos_incidence) / self.straight
    }
}

/// Mean of both polarisations; first surface and the path through the glass.
fn glass_transmission(cos_outside: f64) -> f64 {
    let sin_inside = (1.0 - cos_outside * cos_outside).max(0.0).sqrt() / GLASS_INDEX;
    let cos_inside = (1.0 - sin_inside * sin_inside).sqrt();
    let reflected = |outward: f64, inward: f64| {
        let amplitude = (outward - inward) / (outward + inward);
        amplitude * amplitude
    };
    let across = reflected(cos_outside, GLASS_INDEX * cos_inside);
    let along = reflected(cos_inside, GLASS_INDEX * cos_outside);
    (1.0 - 0.5 * (across + along)) * libm::exp(-GLASS_ABSORPTION / cos_inside)
}
