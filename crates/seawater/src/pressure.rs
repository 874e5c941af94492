//! Gravity, and depth from pressure and back.
//!
//! Source: N. P. Fofonoff and R. C. Millard, UNESCO Technical Papers in Marine Science 44 (1983), after Saunders and Fofonoff
//! (1976): a standard ocean of 0 degC and salinity 35.
//!
//! `x = sin^2(latitude)`
//! `g = 9.780318 (1 + (5.2788e-3 + 2.36e-5 x) x) + 1.092e-6 P`
//! `z = ((((-1.82e-15 P + 2.279e-10) P - 2.2512e-5) P + 9.72659) P) / g`
//!
//! P pressure above the atmosphere's, dbar; z depth, m; g gravity, m/s2, in the second equation a mean over the column.
//! Pressure from depth solves the same equation for P, so that the two are exact inverses.
//!
//! Validity: P 0 to 10 000 dbar, any latitude. Accuracy: 0.1 m for the standard ocean (as stated by the source); against
//! TEOS-10 see docs/method/seawater.md. The geopotential anomaly of the real ocean, a metre or two, is left out.

use numerics::brent;

use crate::limits::{LATITUDE, Limit, Method, SeaError, Variable};

/// Mean over the column above, per decibar at its foot.
const MEAN_GRAVITY_RISE_M_S2_PER_DBAR: f64 = 1.092e-6;

const PRESSURE: Limit = Limit::new(Variable::Pressure, 0.0, 10_000.0);

/// Width of the bracket at which the search for the pressure of a depth stops; a hundredth of a micrometre of water.
const PRESSURE_TOLERANCE_DBAR: f64 = 1e-8;

/// Gravity in m/s2 at a latitude (degrees, either hemisphere) and a pressure in dbar (0 at the surface).
///
/// The term in P of the depth equation is a mean over the column above; at its lower end gravity has grown twice as much.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside -90 to 90 degrees or 0 to 10 000 dbar.
pub fn gravity_m_s2(latitude_deg: f64, pressure_dbar: f64) -> Result<f64, SeaError> {
    LATITUDE.require(latitude_deg, Method::FofonoffMillard1983)?;
    PRESSURE.require(pressure_dbar, Method::FofonoffMillard1983)?;
    Ok(surface_gravity_m_s2(latitude_deg) + 2.0 * MEAN_GRAVITY_RISE_M_S2_PER_DBAR * pressure_dbar)
}

/// Depth in m of a pressure in dbar at a latitude in degrees.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside -90 to 90 degrees or 0 to 10 000 dbar.
pub fn depth_from_pressure_m(pressure_dbar: f64, latitude_deg: f64) -> Result<f64, SeaError> {
    LATITUDE.require(latitude_deg, Method::FofonoffMillard1983)?;
    PRESSURE.require(pressure_dbar, Method::FofonoffMillard1983)?;
    Ok(depth_m(pressure_dbar, surface_gravity_m_s2(latitude_deg)))
}

/// Pressure in dbar at a depth in m at a latitude in degrees: the inverse of [`depth_from_pressure_m`].
///
/// # Errors
/// [`SeaError::OutOfRange`] outside -90 to 90 degrees, above the surface, or below the depth of 10 000 dbar (9674 m at the
/// poles, 9725 m at the equator).
pub fn pressure_from_depth_dbar(depth_m: f64, latitude_deg: f64) -> Result<f64, SeaError> {
    LATITUDE.require(latitude_deg, Method::FofonoffMillard1983)?;
    let gravity_m_s2 = surface_gravity_m_s2(latitude_deg);
    let deepest_m = self::depth_m(PRESSURE.high, gravity_m_s2);
    Limit::new(Variable::Depth, 0.0, deepest_m).require(depth_m, Method::FofonoffMillard1983)?;
    let root = brent(
        |pressure_dbar| self::depth_m(pressure_dbar, gravity_m_s2) - depth_m,
        PRESSURE.low,
        PRESSURE.high,
        PRESSURE_TOLERANCE_DBAR,
    )
    .expect("depth rises steadily with pressure, and the depth asked for lies between the ends");
    Ok(root.x)
}

fn surface_gravity_m_s2(latitude_deg: f64) -> f64 {
    let sine = libm::sin(latitude_deg.to_radians());
    let x = sine * sine;
    9.780318 * (1.0 + (5.2788e-3 + 2.36e-5 * x) * x)
}

fn depth_m(p: f64, surface_gravity_m_s2: f64) -> f64 {
    let geopotential = (((-1.82e-15 * p + 2.279e-10) * p - 2.2512e-5) * p + 9.72659) * p;
    geopotential / (surface_gravity_m_s2 + MEAN_GRAVITY_RISE_M_S2_PER_DBAR * p)
}
