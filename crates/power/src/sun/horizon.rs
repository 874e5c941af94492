//! What stands around the site: the beam is gone while the sun is behind it, and the sky is smaller.
//!
//! Own geometry. The horizon is straight lines between points of azimuth and elevation. Share of an even sky, as
//! light on a plane,
//!
//! ```text
//! F = 1/pi  integral over azimuth  integral from e0 to 90 deg  cos(incidence) cos(e) de dA
//! ```
//!
//! with `e0` the higher of the horizon and the plane's own edge; the inner integral is closed, the outer is a sum over
//! whole degrees. On the horizontal it is the mean of `cos^2` of the horizon; with nothing around, `(1 + cos tilt)/2`.
//!
//! Validity: the land behind the horizon counts as black, and irradiance on the horizontal is that of an open site.

use super::error::{Quantity, SunError};

/// Elevation of the horizon by azimuth.
#[derive(Clone, Debug, PartialEq)]
pub struct Horizon {
    points_deg: Vec<(f64, f64)>,
}

impl Horizon {
    /// Nothing around: the open sea.
    #[must_use]
    pub fn open() -> Self {
        Self {
            points_deg: vec![(0.0, 0.0)],
        }
    }

    /// From points of azimuth (deg, ascending, 0 to below 360) and elevation (deg, 0 to 90), joined by straight lines
    /// all the way round. One point is the same elevation everywhere.
    ///
    /// # Errors
    /// No point; azimuths out of order; a value outside its range ([`Quantity::range`]).
    pub fn new(points_deg: &[(f64, f64)]) -> Result<Self, SunError> {
        if points_deg.is_empty() {
            return Err(SunError::EmptyHorizon);
        }
        let mut before_deg = f64::NEG_INFINITY;
        for (index, &(azimuth_deg, elevation_deg)) in points_deg.iter().enumerate() {
            Quantity::Azimuth.check(azimuth_deg)?;
            Quantity::HorizonElevation.check(elevation_deg)?;
            if azimuth_deg <= before_deg || azimuth_deg >= 360.0 {
                return Err(SunError::HorizonOrder { index, azimuth_deg });
            }
            before_deg = azimuth_deg;
        }
        Ok(Self {
            points_deg: points_deg.to_vec(),
        })
    }

    /// Elevation of the horizon, deg, at an azimuth, deg.
    ///
    /// # Errors
    /// An azimuth outside 0 to 360 deg.
    pub fn elevation_deg(&self, azimuth_deg: f64) -> Result<f64, SunError> {
        Ok(self.at(Quantity::Azimuth.check(azimuth_deg)?))
    }

    /// Whether the sun stands behind the horizon, or below the level.
    pub(super) fn hides(&self, apparent_zenith_deg: f64, azimuth_deg: f64) -> bool {
        let elevation_deg = 90.0 - apparent_zenith_deg;
        elevation_deg <= 0.0 || elevation_deg < self.at(azimuth_deg)
    }

    /// Share of an even sky that a plane gets, 0 to 1.
    ///
    /// # Errors
    /// A tilt or azimuth outside its range ([`Quantity::range`]).
    pub fn sky_share(&self, tilt_deg: f64, plane_azimuth_deg: f64) -> Result<f64, SunError> {
        Quantity::Tilt.check(tilt_deg)?;
        Quantity::Azimuth.check(plane_azimuth_deg)?;
        Ok(if self.is_open() {
            open_share(tilt_deg)
        } else {
            self.sum_over_azimuth(tilt_deg, plane_azimuth_deg)
        })
    }

    /// Mean of [`Horizon::sky_share`] over all azimuths of the plane.
    ///
    /// # Errors
    /// A tilt outside its range ([`Quantity::range`]).
    pub fn mean_sky_share(&self, tilt_deg: f64) -> Result<f64, SunError> {
        Quantity::Tilt.check(tilt_deg)?;
        if self.is_open() {
            return Ok(open_share(tilt_deg));
        }
        const HEADINGS: u32 = 72;
        let sum: f64 = (0..HEADINGS)
            .map(|k| self.sum_over_azimuth(tilt_deg, 360.0 / f64::from(HEADINGS) * f64::from(k)))
            .sum();
        Ok(sum / f64::from(HEADINGS))
    }

    fn is_open(&self) -> bool {
        self.points_deg
            .iter()
            .all(|&(_, elevation)| elevation == 0.0)
    }

    fn at(&self, azimuth_deg: f64) -> f64 {
        let points = &self.points_deg;
        let after = points.partition_point(|&(azimuth, _)| azimuth <= azimuth_deg);
        let (left_azimuth, left) = if after == 0 {
            let (azimuth, elevation) = points[points.len() - 1];
            (azimuth - 360.0, elevation)
        } else {
            points[after - 1]
        };
        let (right_azimuth, right) = if after == points.len() {
            (points[0].0 + 360.0, points[0].1)
        } else {
            points[after]
        };
        left + (right - left) * (azimuth_deg - left_azimuth) / (right_azimuth - left_azimuth)
    }

    fn sum_over_azimuth(&self, tilt_deg: f64, plane_azimuth_deg: f64) -> f64 {
        let (sin_tilt, cos_tilt) = libm::sincos(tilt_deg.to_radians());
        let sum: f64 = (0..360)
            .map(|degree| {
                let azimuth_deg = f64::from(degree) + 0.5;
                let toward = sin_tilt * libm::cos((azimuth_deg - plane_azimuth_deg).to_radians());
                let own_edge_rad = libm::atan2(-toward, cos_tilt);
                let lowest_rad = self.at(azimuth_deg).to_radians().max(own_edge_rad);
                let (sin, cos) = libm::sincos(lowest_rad);
                0.5 * (cos_tilt * cos * cos
                    + toward * (core::f64::consts::FRAC_PI_2 - lowest_rad - sin * cos))
            })
            .sum();
        2.0 * sum / 360.0
    }
}

fn open_share(tilt_deg: f64) -> f64 {
    f64::midpoint(1.0, libm::cos(tilt_deg.to_radians()))
}
