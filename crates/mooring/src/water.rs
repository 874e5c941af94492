//! The water about a line: its depth, its density and a current that changes with depth.

use crate::error::MooringError;
use crate::vector::Vector;

/// Still water level, density and current.
#[derive(Clone, Debug, PartialEq)]
pub struct Water {
    /// From the surface to the flat seabed, m; above zero.
    pub depth_m: f64,
    /// Density, kg/m3; above zero.
    pub density_kg_m3: f64,
    /// The current.
    pub current: Current,
}

/// A steady horizontal current: east and north parts linear in depth between the points given, constant above the first and below the last.
#[derive(Clone, Debug, PartialEq)]
pub struct Current {
    points: Vec<Sample>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Sample {
    depth_m: f64,
    east_m_s: f64,
    north_m_s: f64,
}

impl Current {
    /// No current.
    #[must_use]
    pub fn none() -> Current {
        Current { points: Vec::new() }
    }

    /// From (depth below the surface, m; part towards the east, m/s; part towards the north, m/s), with depths that rise.
    ///
    /// # Errors
    /// [`MooringError::CurrentPoint`] for a number that is not finite, [`MooringError::CurrentOrder`] for depths that do not rise.
    pub fn new(points: &[(f64, f64, f64)]) -> Result<Current, MooringError> {
        for (index, &(depth_m, east_m_s, north_m_s)) in points.iter().enumerate() {
            if !(depth_m.is_finite() && east_m_s.is_finite() && north_m_s.is_finite()) {
                return Err(MooringError::CurrentPoint { index });
            }
            if index > 0 && depth_m <= points[index - 1].0 {
                return Err(MooringError::CurrentOrder {
                    index,
                    depth_m,
                    above_m: points[index - 1].0,
                });
            }
        }
        let sample = |&(depth_m, east_m_s, north_m_s): &(f64, f64, f64)| Sample {
            depth_m,
            east_m_s,
            north_m_s,
        };
        Ok(Current {
            points: points.iter().map(sample).collect(),
        })
    }

    /// The same current, stronger or weaker by a factor.
    #[must_use]
    pub fn scaled(&self, by: f64) -> Current {
        let scale = |p: &Sample| Sample {
            depth_m: p.depth_m,
            east_m_s: p.east_m_s * by,
            north_m_s: p.north_m_s * by,
        };
        Current {
            points: self.points.iter().map(scale).collect(),
        }
    }

    /// Velocity at a depth below the surface, m/s: towards the east, the north and zero upwards.
    pub(crate) fn at(&self, depth_m: f64) -> Vector {
        let Some(last) = self.points.last() else {
            return [0.0; 3];
        };
        let below = self.points.partition_point(|p| p.depth_m <= depth_m);
        let of = |p: &Sample| [p.east_m_s, p.north_m_s, 0.0];
        if below == 0 {
            return of(&self.points[0]);
        }
        let Some(lower) = self.points.get(below) else {
            return of(last);
        };
        let upper = &self.points[below - 1];
        let share = (depth_m - upper.depth_m) / (lower.depth_m - upper.depth_m);
        [
            upper.east_m_s + share * (lower.east_m_s - upper.east_m_s),
            upper.north_m_s + share * (lower.north_m_s - upper.north_m_s),
            0.0,
        ]
    }

    /// Speed and direction towards which it runs at a depth: m/s, and degrees from north by east; the direction of still water is 0.
    #[must_use]
    pub fn speed_and_direction(&self, depth_m: f64) -> (f64, f64) {
        let [east_m_s, north_m_s, _] = self.at(depth_m);
        let speed_m_s = (east_m_s * east_m_s + north_m_s * north_m_s).sqrt();
        if speed_m_s == 0.0 {
            return (0.0, 0.0);
        }
        let degrees = libm::atan2(east_m_s, north_m_s) * (180.0 / core::f64::consts::PI);
        (
            speed_m_s,
            if degrees < 0.0 {
                degrees + 360.0
            } else {
                degrees
            },
        )
    }
}
