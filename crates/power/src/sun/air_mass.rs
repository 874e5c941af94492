//! Relative air mass.
//!
//! Source: Kasten and Young, Revised optical air mass tables and approximation formula, Applied Optics 28 (1989) 4735,
//! equation 3 (read in a public program). Validity: apparent zenith angles to 90 deg, sea level; multiply by
//! pressure/101325 Pa elsewhere. Accuracy: within 0.5 % of the tables it was fitted to (from memory).

use super::error::{Quantity, SunError};

/// Relative air mass for an apparent zenith angle, deg: 1 overhead, 38 at the horizon, none below it.
///
/// # Errors
/// A zenith angle outside 0 to 180 deg.
pub fn relative_air_mass(apparent_zenith_deg: f64) -> Result<Option<f64>, SunError> {
    Quantity::Zenith.check(apparent_zenith_deg)?;
    if apparent_zenith_deg > 90.0 {
        return Ok(None);
    }
    let elevation_deg = 90.0 - apparent_zenith_deg;
    Ok(Some(
        1.0 / (libm::cos(apparent_zenith_deg.to_radians())
            + 0.505_72 * libm::pow(6.079_95 + elevation_deg, -1.6364)),
    ))
}
