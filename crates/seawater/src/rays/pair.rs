//! Range over angle for every kind of path between two depths, tabulated once for any number of ranges.
//!
//! Every ray between two depths passes the greatest sound speed between them, so its grazing angle there, from 0 to a right angle,
//! names it. Angles at which a ray just reaches a faster boundary split that span into bands within which range is a smooth
//! function of angle for each family (launched up or down, arriving up or down, whole cycles between). At the ends of a band it
//! goes as a square root, hence nodes spaced as cosines.

use super::RaySea;
use super::leg::{Ray, weight, weight_to_turn};
use super::walk::{Column, Turns};
use crate::limits::{SeaError, Variable};

/// Nodes inside a band.
const NODES: u32 = 32;
/// Further nodes by each end, as shares of the band: level rays of a nearly uniform layer come from there.
const NEAR_ENDS: [f64; 5] = [1e-12, 1e-9, 1e-7, 1e-5, 2e-4];

/// Weights of the way from the upper of two depths to the upper end of a ray, between the depths, and from the lower depth down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thirds {
    pub(super) top: f64,
    pub(super) middle: f64,
    pub(super) bottom: f64,
}

/// How often a path runs through each third.
#[derive(Clone, Copy, Debug)]
pub(super) struct Counts {
    pub(super) top: u32,
    pub(super) middle: u32,
    pub(super) bottom: u32,
}

/// Angles between which the kind of turn does not change.
#[derive(Clone, Debug)]
pub(super) struct Band {
    pub(super) turns: Turns,
    /// Grazing angle at the reference, rad, rising.
    pub(super) angle_rad: Vec<f64>,
    /// Snell's invariant and the weights there.
    pub(super) thirds: Vec<(f64, Thirds)>,
}

/// Source and receiver depth in a sea, ready to give the paths between them at any range.
#[derive(Clone, Debug)]
pub struct Pair {
    pub(super) column: Column,
    pub(super) source: usize,
    pub(super) receiver: usize,
    /// Greatest sound speed between the two.
    pub(super) reference_m_s: f64,
    pub(super) frequency_hz: f64,
    pub(super) bands: Vec<Band>,
}

impl RaySea {
    /// Prepares the paths between two depths, m (0.01 to the bed).
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`].
    pub fn between(&self, source_depth_m: f64, receiver_depth_m: f64) -> Result<Pair, SeaError> {
        self.require_depth(Variable::SourceDepth, source_depth_m)?;
        self.require_depth(Variable::ReceiverDepth, receiver_depth_m)?;
        let (column, [source, receiver]) = self.column([source_depth_m, receiver_depth_m]);
        let (upper, lower) = (source.min(receiver), source.max(receiver));
        let fastest = |from: f64, to: &f64| from.max(*to);
        let reference_m_s = column.speed_m_s[upper..=lower].iter().fold(0.0, fastest);
        let mut edges = vec![0.0, std::f64::consts::FRAC_PI_2];
        let mut climb = |speeds: &mut dyn Iterator<Item = &f64>| {
            let mut highest_m_s = reference_m_s;
            for &speed_m_s in speeds {
                if speed_m_s > highest_m_s {
                    highest_m_s = speed_m_s;
                    let square = (speed_m_s - reference_m_s) * (speed_m_s + reference_m_s);
                    edges.push(libm::atan2(libm::sqrt(square), reference_m_s));
                }
            }
        };
        climb(&mut column.speed_m_s[..upper].iter().rev());
        climb(&mut column.speed_m_s[lower + 1..].iter());
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let mut pair = Pair {
            column,
            source,
            receiver,
            reference_m_s,
            frequency_hz: self.frequency_hz,
            bands: Vec::new(),
        };
        pair.bands = edges
            .windows(2)
            .map(|edge| pair.band(edge[0], edge[1]))
            .collect();
        Ok(pair)
    }
}

impl Pair {
    /// Depth of the source, m.
    #[must_use]
    pub fn source_depth_m(&self) -> f64 {
        self.column.depth_m[self.source]
    }

    /// Depth of the receiver, m.
    #[must_use]
    pub fn receiver_depth_m(&self) -> f64 {
        self.column.depth_m[self.receiver]
    }

    fn band(&self, from_rad: f64, until_rad: f64) -> Band {
        let wide = until_rad - from_rad;
        let middle = Ray::new(self.reference_m_s, from_rad + 0.5 * wide);
        let (upper, lower) = self.upper_lower();
        let turns = self.column.turns(middle.turning_m_s(), upper, lower);
        let mut angle_rad: Vec<f64> = (0..=NODES)
            .map(|i| {
                let share = f64::from(i) / f64::from(NODES);
                from_rad + 0.5 * wide * (1.0 - libm::cos(std::f64::consts::PI * share))
            })
            .collect();
        for share in NEAR_ENDS {
            angle_rad.push(from_rad + share * wide);
            angle_rad.push(until_rad - share * wide);
        }
        angle_rad.sort_by(f64::total_cmp);
        angle_rad.dedup();
        let thirds = angle_rad
            .iter()
            .map(|&angle| self.thirds(angle, turns))
            .collect();
        Band {
            turns,
            angle_rad,
            thirds,
        }
    }

    pub(super) fn upper_lower(&self) -> (usize, usize) {
        (
            self.source.min(self.receiver),
            self.source.max(self.receiver),
        )
    }

    /// Snell's invariant and the weights at an angle.
    pub(super) fn thirds(&self, angle_rad: f64, turns: Turns) -> (f64, Thirds) {
        let ray = Ray::new(self.reference_m_s, angle_rad);
        let column = &self.column;
        let (upper, lower) = self.upper_lower();
        let sine: Vec<f64> = column.speed_m_s.iter().map(|&c| ray.sine_at(c)).collect();
        let layer = |i: usize| {
            weight(
                column.speed_m_s[i],
                column.speed_m_s[i + 1],
                sine[i],
                sine[i + 1],
                column.depth_m[i + 1] - column.depth_m[i],
            )
        };
        let middle = (upper..lower).map(layer).sum();
        let mut top = 0.0;
        for i in (0..upper).rev() {
            if turns.up == Some(i) {
                top += weight_to_turn(&ray, sine[i + 1], -column.gradient_per_s[i]);
                break;
            }
            top += layer(i);
        }
        let mut bottom = 0.0;
        for i in lower..column.last() {
            if turns.down == Some(i) {
                bottom += weight_to_turn(&ray, sine[i], column.gradient_per_s[i]);
                break;
            }
            bottom += layer(i);
        }
        (
            ray.parameter_s_m(),
            Thirds {
                top,
                middle,
                bottom,
            },
        )
    }
}

impl Thirds {
    /// Range of a path that runs through the thirds so often, m.
    pub(super) fn range_m(&self, parameter_s_m: f64, counts: Counts) -> f64 {
        // A third that is not run through may be infinite.
        let part = |count: u32, third: f64| {
            if count == 0 {
                0.0
            } else {
                f64::from(count) * third
            }
        };
        parameter_s_m
            * (part(counts.top, self.top)
                + part(counts.middle, self.middle)
                + part(counts.bottom, self.bottom))
    }
}
