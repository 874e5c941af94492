//! Sound speed over depth in layers of constant gradient, from the surface to the bed.

use crate::limits::{Limit, Method, SeaError, Variable};
use crate::profile::Profile;

const SPEED: Limit = Limit::new(Variable::SoundSpeed, 1300.0, 1800.0);
const SEABED: Limit = Limit::new(Variable::SeabedDepth, 0.1, 11_000.0);
/// Layers are halved until their middles are this near to the equation.
const MIDDLE_M_S: f64 = 0.02;
const MOST_HALVINGS: u32 = 6;
/// Two knots nearer than this are one.
const THINNEST_M: f64 = 1e-6;

/// Sound speed at depths that begin at the surface and end at the bed, linear between.
#[derive(Clone, Debug, PartialEq)]
pub struct Layers {
    depth_m: Vec<f64>,
    speed_m_s: Vec<f64>,
}

impl Layers {
    /// Layers from depths (m, from 0 to the bed, rising) and sound speeds (m/s, 1300 to 1800).
    ///
    /// # Errors
    /// [`SeaError::EmptyProfile`] below two points; [`SeaError::LayersBelowSurface`] when the first is not at 0;
    /// [`SeaError::ProfileDepthsNotRising`]; [`SeaError::OutOfRange`].
    pub fn new(points: &[(f64, f64)]) -> Result<Self, SeaError> {
        let (Some(&(first_m, _)), Some(&(last_m, _))) = (points.first(), points.get(1)) else {
            return Err(SeaError::EmptyProfile);
        };
        if first_m != 0.0 {
            return Err(SeaError::LayersBelowSurface { first_m });
        }
        SEABED.require(points.last().map_or(last_m, |p| p.0), Method::Rays)?;
        for (i, pair) in points.windows(2).enumerate() {
            let (before_m, after_m) = (pair[0].0, pair[1].0);
            // Not a number does not rise.
            if after_m.partial_cmp(&(before_m + THINNEST_M)) != Some(std::cmp::Ordering::Greater) {
                return Err(SeaError::ProfileDepthsNotRising {
                    index: i + 1,
                    before_m,
                    after_m,
                });
            }
        }
        for &(_, speed_m_s) in points {
            SPEED.require(speed_m_s, Method::Rays)?;
        }
        Ok(Self {
            depth_m: points.iter().map(|p| p.0).collect(),
            speed_m_s: points.iter().map(|p| p.1).collect(),
        })
    }

    /// Layers of a profile down to the bed: a boundary at every point of the profile, and more where the equation bends by more
    /// than 0.02 m/s between them.
    ///
    /// # Errors
    /// As [`Profile::sound_speed`] at any depth down to the bed, and as [`Layers::new`].
    pub fn of(profile: &Profile, seabed_m: f64) -> Result<Self, SeaError> {
        SEABED.require(seabed_m, Method::Rays)?;
        let mut knots = vec![0.0];
        knots.extend(
            profile
                .depths_m()
                .iter()
                .copied()
                .filter(|z| *z > THINNEST_M && *z < seabed_m - THINNEST_M),
        );
        knots.push(seabed_m);
        let mut points = vec![(0.0, profile.sound_speed_m_s(0.0)?)];
        for pair in knots.windows(2) {
            let from = (pair[0], profile.sound_speed_m_s(pair[0])?);
            let to = (pair[1], profile.sound_speed_m_s(pair[1])?);
            halve(profile, from, to, 0, &mut points)?;
            points.push(to);
        }
        Self::new(&points)
    }

    /// Depths of the boundaries, m, from 0 to the bed.
    #[must_use]
    pub fn depths_m(&self) -> &[f64] {
        &self.depth_m
    }

    /// Sound speeds there, m/s.
    #[must_use]
    pub fn speeds_m_s(&self) -> &[f64] {
        &self.speed_m_s
    }

    /// Depth of the bed, m.
    #[must_use]
    pub fn seabed_m(&self) -> f64 {
        *self.depth_m.last().expect("two points at least")
    }

    /// Sound speed at a depth between surface and bed; of the nearer end beyond them.
    #[must_use]
    pub fn speed_m_s(&self, depth_m: f64) -> f64 {
        let i = self.layer(depth_m);
        let share = (depth_m - self.depth_m[i]) / (self.depth_m[i + 1] - self.depth_m[i]);
        let (above, below) = (self.speed_m_s[i], self.speed_m_s[i + 1]);
        above + share.clamp(0.0, 1.0) * (below - above)
    }

    /// Index of the layer that holds a depth; the upper one at a boundary but for the surface.
    pub(super) fn layer(&self, depth_m: f64) -> usize {
        let after = self.depth_m.partition_point(|z| *z < depth_m);
        after.clamp(1, self.depth_m.len() - 1) - 1
    }

    /// Gradient of a layer, 1/s, positive where speed grows with depth.
    pub(super) fn gradient_per_s(&self, layer: usize) -> f64 {
        (self.speed_m_s[layer + 1] - self.speed_m_s[layer])
            / (self.depth_m[layer + 1] - self.depth_m[layer])
    }
}

fn halve(
    profile: &Profile,
    from: (f64, f64),
    to: (f64, f64),
    halvings: u32,
    points: &mut Vec<(f64, f64)>,
) -> Result<(), SeaError> {
    let middle_m = 0.5 * (from.0 + to.0);
    let speed_m_s = profile.sound_speed_m_s(middle_m)?;
    if halvings == MOST_HALVINGS || (speed_m_s - 0.5 * (from.1 + to.1)).abs() <= MIDDLE_M_S {
        return Ok(());
    }
    let middle = (middle_m, speed_m_s);
    halve(profile, from, middle, halvings + 1, points)?;
    points.push(middle);
    halve(profile, middle, to, halvings + 1, points)
}
