//! A water column: temperature and salinity at a list of depths, and the sound speed that follows.
//!
//! Between points temperature and salinity are linear in depth, and sound speed is computed from them at the depth asked for.
//! Above the first and below the last point they are held constant: the first point of a cast stands for the mixed layer above
//! it, and the last gradient carried downwards soon gives water that does not exist. Pressure still acts, so sound speed
//! changes there. Every such value carries [`Warning::BeyondProfile`] where warnings are carried.
//!
//! Travel time along a straight path that crosses the column at a slant: depth changes evenly along it, so the time is its
//! length over the harmonic mean `(z2 - z1) / integral of dz / c`. Source: integration of `dt = ds / c`, no more. Bending of the
//! path is left out.

use numerics::Table;

use crate::limits::{Limit, Method, SeaError, Variable, Warning};
use crate::sound_speed::{SoundSpeed, sound_speed};

const HORIZONTAL: Limit = Limit::new(Variable::HorizontalDistance, 0.0, 2e7);

/// Longest panel of Simpson's rule in the harmonic mean.
const PANEL_M: f64 = 25.0;
/// Fewest panels between two points of the profile: 26 degrees within 100 m still give the mean to 1e-5 m/s.
const FEWEST_PANELS: f64 = 8.0;

/// One depth of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfilePoint {
    /// Depth below the surface, m.
    pub depth_m: f64,
    /// Temperature, degC (ITS-90).
    pub temperature_degc: f64,
    /// Practical salinity.
    pub salinity: f64,
}

/// Temperature and salinity over depth, every point within the range of the sound speed equations.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    temperature_degc: Table,
    salinity: Table,
}

impl Profile {
    /// Builds a profile from points in order of depth; one point makes a uniform column.
    ///
    /// # Errors
    /// [`SeaError::EmptyProfile`]; [`SeaError::ProfileDepthsNotRising`]; [`SeaError::OutOfRange`] when a point lies outside
    /// what [`crate::sound_speed`] accepts.
    pub fn new(points: &[ProfilePoint]) -> Result<Self, SeaError> {
        if points.is_empty() {
            return Err(SeaError::EmptyProfile);
        }
        for point in points {
            sound_speed(point.temperature_degc, point.salinity, point.depth_m)?;
        }
        for (i, pair) in points.windows(2).enumerate() {
            let (before_m, after_m) = (pair[0].depth_m, pair[1].depth_m);
            if before_m >= after_m {
                return Err(SeaError::ProfileDepthsNotRising {
                    index: i + 1,
                    before_m,
                    after_m,
                });
            }
        }
        let column = |value: fn(&ProfilePoint) -> f64| {
            let depths: Vec<f64> = points.iter().map(|p| p.depth_m).collect();
            let values: Vec<f64> = points.iter().map(value).collect();
            Table::new(&depths, &values).expect("points are finite and their depths rise")
        };
        Ok(Self {
            temperature_degc: column(|p| p.temperature_degc),
            salinity: column(|p| p.salinity),
        })
    }

    /// Temperature in degC at a depth, held constant beyond the ends.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`] when the depth is negative, deeper than 11 000 m or not a number.
    pub fn temperature_degc(&self, depth_m: f64) -> Result<f64, SeaError> {
        Self::read(&self.temperature_degc, depth_m)
    }

    /// Practical salinity at a depth, held constant beyond the ends.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`] when the depth is negative, deeper than 11 000 m or not a number.
    pub fn salinity(&self, depth_m: f64) -> Result<f64, SeaError> {
        Self::read(&self.salinity, depth_m)
    }

    /// Depths of its points, m, rising.
    #[must_use]
    pub fn depths_m(&self) -> &[f64] {
        self.temperature_degc.x()
    }

    /// Sound speed at a depth with method and warnings.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`] when the depth, or the interpolated water at it, lies outside what [`crate::sound_speed`]
    /// accepts.
    pub fn sound_speed(&self, depth_m: f64) -> Result<SoundSpeed, SeaError> {
        let mut speed = sound_speed(
            self.temperature_degc(depth_m)?,
            self.salinity(depth_m)?,
            depth_m,
        )?;
        let (first_m, last_m) = (self.temperature_degc.low(), self.temperature_degc.high());
        if !(first_m..=last_m).contains(&depth_m) {
            speed.warnings.push(Warning::BeyondProfile {
                depth_m,
                first_m,
                last_m,
            });
        }
        Ok(speed)
    }

    /// Sound speed in m/s at a depth; the number of [`Profile::sound_speed`] alone.
    ///
    /// # Errors
    /// As [`Profile::sound_speed`].
    pub fn sound_speed_m_s(&self, depth_m: f64) -> Result<f64, SeaError> {
        self.sound_speed(depth_m).map(|s| s.sound_speed_m_s)
    }

    /// Harmonic mean of the sound speed between two depths in either order, m/s: the speed that gives the right travel time
    /// on a straight slant path. At equal depths it is the speed there.
    ///
    /// # Errors
    /// As [`Profile::sound_speed`] for any depth between the two.
    pub fn harmonic_mean_sound_speed_m_s(
        &self,
        one_depth_m: f64,
        other_depth_m: f64,
    ) -> Result<f64, SeaError> {
        let at_one_m_s = self.sound_speed_m_s(one_depth_m)?;
        self.sound_speed_m_s(other_depth_m)?;
        if one_depth_m == other_depth_m {
            return Ok(at_one_m_s);
        }
        let (top_m, bottom_m) = (
            one_depth_m.min(other_depth_m),
            one_depth_m.max(other_depth_m),
        );
        let knots = self
            .temperature_degc
            .x()
            .iter()
            .copied()
            .filter(|z| top_m < *z && *z < bottom_m);
        let mut time_s = 0.0;
        let mut from_m = top_m;
        for to_m in knots.chain([bottom_m]) {
            time_s += self.vertical_time_s(from_m, to_m)?;
            from_m = to_m;
        }
        Ok((bottom_m - top_m) / time_s)
    }

    /// Least and greatest sound speed between two depths in either order, m/s: of those at both, at every point of the profile between and
    /// at even steps (25 m at most, eight at least).
    ///
    /// # Errors
    /// As [`Profile::sound_speed`] for any depth between the two.
    pub fn extreme_sound_speeds_m_s(
        &self,
        one_depth_m: f64,
        other_depth_m: f64,
    ) -> Result<(f64, f64), SeaError> {
        let (top_m, bottom_m) = (
            one_depth_m.min(other_depth_m),
            one_depth_m.max(other_depth_m),
        );
        let steps = ((bottom_m - top_m) / PANEL_M).ceil().max(FEWEST_PANELS) as u32;
        let step_m = (bottom_m - top_m) / f64::from(steps);
        let even = (0..=steps).map(|k| (top_m + f64::from(k) * step_m).min(bottom_m));
        let points = self.depths_m().iter().copied();
        let between = points.filter(|z| top_m < *z && *z < bottom_m);
        let mut extremes = (f64::INFINITY, f64::NEG_INFINITY);
        for depth_m in even.chain(between).chain([bottom_m]) {
            let speed_m_s = self.sound_speed_m_s(depth_m)?;
            extremes = (extremes.0.min(speed_m_s), extremes.1.max(speed_m_s));
        }
        Ok(extremes)
    }

    /// Travel time in s along the straight line between two depths that lie `horizontal_m` apart in plan.
    ///
    /// # Errors
    /// As [`Profile::harmonic_mean_sound_speed_m_s`]; [`SeaError::OutOfRange`] for a distance outside 0 to 2e7 m.
    pub fn slant_travel_time_s(
        &self,
        one_depth_m: f64,
        other_depth_m: f64,
        horizontal_m: f64,
    ) -> Result<f64, SeaError> {
        HORIZONTAL.require(horizontal_m, Method::Profile)?;
        let mean_m_s = self.harmonic_mean_sound_speed_m_s(one_depth_m, other_depth_m)?;
        Ok(libm::hypot(horizontal_m, other_depth_m - one_depth_m) / mean_m_s)
    }

    fn read(table: &Table, depth_m: f64) -> Result<f64, SeaError> {
        const DEPTH: Limit = Limit::new(Variable::Depth, 0.0, 11_000.0);
        DEPTH.require(depth_m, Method::Profile)?;
        Ok(table.at_clamped(depth_m).expect("the depth is a number"))
    }

    /// Time straight down between two depths with no point of the profile between them, by Simpson's rule.
    fn vertical_time_s(&self, from_m: f64, to_m: f64) -> Result<f64, SeaError> {
        let panels = ((to_m - from_m) / PANEL_M).ceil().max(FEWEST_PANELS) as u32;
        let step_m = (to_m - from_m) / f64::from(panels);
        let slowness_s_per_m = |depth_m: f64| self.sound_speed_m_s(depth_m).map(|c| 1.0 / c);
        let mut sum = 0.0;
        for panel in 0..panels {
            let start_m = from_m + f64::from(panel) * step_m;
            let end_m = (start_m + step_m).min(to_m);
            sum += slowness_s_per_m(start_m)?
                + 4.0 * slowness_s_per_m(start_m + 0.5 * step_m)?
                + slowness_s_per_m(end_m)?;
        }
        Ok(sum * step_m / 6.0)
    }
}
