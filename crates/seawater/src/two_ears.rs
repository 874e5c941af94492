//! The direction that two hydrophones give by the time between them.
//!
//! A plane wave that comes at an angle `g` to the line from one hydrophone to the other reaches the other first by
//! `t = d cos g / c`: the direction lies on a cone about that line, and which side of it nobody can tell from two. Of a vertical pair
//! the cone is an elevation, and the bearing stays open altogether. Source: geometry, no more.
//!
//! Uncertainty (k = 2): of `cos g = c t / d` by the time `u_t`, the distance `u_d` and the sound speed `u_c`, added as independent:
//! `u = sqrt((c u_t / d)^2 + (cos g u_d / d)^2 + (cos g u_c / c)^2)`. In angle that is `u / sin g`, which grows without bound
//! towards the ends of the line (endfire), so limits are taken in `cos g` and turned into angles.
//!
//! d distance between the hydrophones, m; c sound speed, m/s; t time by which the second hears it later, s.
//!
//! Validity: sources far against `d` (common practice: ten times), one sound speed about the pair, straight paths.

use std::f64::consts::PI;

use crate::limits::{Limit, Method, SeaError, Variable};

const DISTANCE: Limit = Limit::new(Variable::Range, 0.001, 100_000.0);
const SOUND_SPEED: Limit = Limit::new(Variable::SoundSpeed, 1300.0, 1800.0);
const SPEED_UNCERTAINTY: Limit = Limit::new(Variable::SpeedUncertainty, 0.0, 100.0);
const TIME: Limit = Limit::new(Variable::TimeUncertainty, 0.0, 3600.0);
const PLACE: Limit = Limit::new(Variable::PlaceUncertainty, 0.0, 100_000.0);

/// Two hydrophones with what is uncertain about them, every uncertainty as k = 2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoEars {
    /// Distance between them, m: 1 mm to 100 km.
    pub distance_m: f64,
    /// Sound speed about them, m/s.
    pub sound_speed_m_s: f64,
    /// Uncertainty of the time between them: clocks and the estimate together, s.
    pub time_uncertainty_s: f64,
    /// Uncertainty of their distance, m.
    pub distance_uncertainty_m: f64,
    /// Uncertainty of the sound speed, m/s.
    pub speed_uncertainty_m_s: f64,
}

/// A direction on its cone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EarDirection {
    /// Angle between where the sound comes from and the direction from the first hydrophone to the second, degrees: 0 when it meets the
    /// second first by the longest time there can be, 180 the other way round.
    pub angle_deg: f64,
    /// Least angle within the uncertainty.
    pub least_deg: f64,
    /// Greatest angle within the uncertainty.
    pub most_deg: f64,
    /// Share of the time in the uncertainty of the cosine.
    pub from_time: f64,
    /// Share of the distance.
    pub from_distance: f64,
    /// Share of the sound speed.
    pub from_speed: f64,
    /// Whether the limits reach the line through both: there the direction is bounded on one side only.
    pub endfire: bool,
}

impl TwoEars {
    fn check(&self) -> Result<(), SeaError> {
        DISTANCE.require(self.distance_m, Method::TwoEars)?;
        SOUND_SPEED.require(self.sound_speed_m_s, Method::TwoEars)?;
        TIME.require(self.time_uncertainty_s, Method::TwoEars)?;
        PLACE.require(self.distance_uncertainty_m, Method::TwoEars)?;
        SPEED_UNCERTAINTY.require(self.speed_uncertainty_m_s, Method::TwoEars)?;
        if self.distance_uncertainty_m >= self.distance_m {
            return Err(SeaError::NoBaseline {
                distance_m: self.distance_m,
                uncertainty_m: self.distance_uncertainty_m,
            });
        }
        Ok(())
    }

    /// The longest time there can be between the two, s: `d / c`.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`]; [`SeaError::NoBaseline`].
    pub fn longest_s(&self) -> Result<f64, SeaError> {
        self.check()?;
        Ok(self.distance_m / self.sound_speed_m_s)
    }

    /// The direction of a sound that the first hydrophone hears `later_s` after the second (negative: before).
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`], also when the time is longer than sound needs from one to the other and the uncertainty does not
    /// explain it; [`SeaError::NoBaseline`].
    pub fn direction(&self, later_s: f64) -> Result<EarDirection, SeaError> {
        let longest_s = self.longest_s()?;
        let (d, c) = (self.distance_m, self.sound_speed_m_s);
        let cosine = later_s / longest_s;
        let from_time = self.time_uncertainty_s / longest_s;
        let from_distance = (cosine * self.distance_uncertainty_m / d).abs();
        let from_speed = (cosine * self.speed_uncertainty_m_s / c).abs();
        let whole = libm::sqrt(
            from_time * from_time + from_distance * from_distance + from_speed * from_speed,
        );
        let most_s = longest_s * (1.0 + whole);
        Limit::new(Variable::TimeDifference, -most_s, most_s).require(later_s, Method::TwoEars)?;
        // Within the uncertainty of the ends a cosine beyond one is the end itself, and the limits say so.
        let angle_deg = |cosine: f64| libm::acos(cosine.clamp(-1.0, 1.0)) / PI * 180.0;
        Ok(EarDirection {
            angle_deg: angle_deg(cosine),
            least_deg: angle_deg(cosine + whole),
            most_deg: angle_deg(cosine - whole),
            from_time,
            from_distance,
            from_speed,
            endfire: cosine.abs() + whole >= 1.0,
        })
    }
}
