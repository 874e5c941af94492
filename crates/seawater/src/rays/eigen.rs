//! Finding all paths from a source to a receiver at a range.

use numerics::{RootError, brent};

use super::leg::Ray;
use super::pair::{Band, Counts, Pair};
use super::path::{Eigenray, Eigenrays, Family, RayLimits, chosen};
use super::trace::Level;
use super::walk::{Turns, Walk};
use super::{CAUSTIC_GAIN_DB, RANGE};
use crate::limits::{Limit, Method, SeaError, Variable};

/// Turnings and bounces of one path at the most.
const MOST_EVENTS: u32 = 200;
/// A root in angle, rad.
const SOLVED_RAD: f64 = 1e-15;
/// Below this range a path is vertical, m.
const STRAIGHT_M: f64 = 1e-12;
const MOST_HALVINGS: u32 = 60;
const GOLDEN: f64 = 0.381_966_011_250_105;

struct Found {
    angle_rad: f64,
    turns: Turns,
    leaves_down: bool,
    arrives_down: bool,
    events: (u32, u32),
}

impl Pair {
    /// The paths to a receiver `range_m` away (0 to 500 km).
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`] for the range, or less than 1 m between source and receiver.
    pub fn eigenrays(&self, range_m: f64, limits: &RayLimits) -> Result<Eigenrays, SeaError> {
        const NEAREST: Limit = Limit::new(Variable::Range, 1.0, 600_000.0);
        RANGE.require(range_m, Method::Rays)?;
        let straight_m = libm::hypot(range_m, self.source_depth_m() - self.receiver_depth_m());
        NEAREST.require(straight_m, Method::Rays)?;
        let mut found = Vec::new();
        for (leaves_down, arrives_down) in
            [(true, true), (true, false), (false, true), (false, false)]
        {
            self.kind(range_m, limits, leaves_down, arrives_down, &mut found);
        }
        let mut paths: Vec<Eigenray> = found
            .iter()
            .filter_map(|f| self.walked(f, range_m))
            .collect();
        paths.extend(self.level(range_m));
        paths.sort_by(|a, b| {
            a.family
                .cmp(&b.family)
                .then(a.launch_deg.abs().total_cmp(&b.launch_deg.abs()))
        });
        for i in 1..paths.len() {
            let before = paths[i - 1].family;
            let alike = Family {
                branch: before.branch,
                ..paths[i].family
            } == before;
            if alike {
                paths[i].family.branch = before.branch + 1;
            }
        }
        Ok(chosen(paths, limits))
    }

    /// Roots of one kind, by whole cycles.
    fn kind(
        &self,
        range_m: f64,
        limits: &RayLimits,
        leaves_down: bool,
        arrives_down: bool,
        found: &mut Vec<Found>,
    ) {
        let below = self.receiver > self.source;
        let straight =
            leaves_down == arrives_down && self.receiver != self.source && leaves_down == below;
        let first = match (leaves_down, arrives_down) {
            _ if straight => (0, 0),
            (true, true) | (false, false) => (1, 1),
            (true, false) => (0, 1),
            (false, true) => (1, 0),
        };
        for band in &self.bands {
            for cycle in 0.. {
                let (upper, lower) = (first.0 + cycle, first.1 + cycle);
                let too_many = (band.turns.up.is_none() && upper > limits.most_surface_bounces)
                    || (band.turns.down.is_none() && lower > limits.most_bed_bounces)
                    || upper + lower > MOST_EVENTS;
                if too_many {
                    break;
                }
                let counts = Counts {
                    top: 2 * upper,
                    middle: match upper == lower {
                        true if straight => 2 * upper + 1,
                        true => 2 * upper - 1,
                        false => upper + lower,
                    },
                    bottom: 2 * lower,
                };
                let nearest_m = self.roots(band, counts, range_m, &mut |angle_rad| {
                    found.push(Found {
                        angle_rad,
                        turns: band.turns,
                        leaves_down,
                        arrives_down,
                        events: (upper, lower),
                    });
                });
                if nearest_m > 1.25 * range_m + STRAIGHT_M {
                    break;
                }
            }
        }
    }

    /// Calls `each` with every angle of a band at which the range is met; gives the least range at its nodes.
    fn roots(&self, band: &Band, counts: Counts, range_m: f64, each: &mut dyn FnMut(f64)) -> f64 {
        let excess = |angle: f64| {
            let (a, thirds) = self.thirds(angle, band.turns);
            thirds.range_m(a, counts) - range_m
        };
        let at: Vec<f64> = band
            .thirds
            .iter()
            .map(|(a, thirds)| thirds.range_m(*a, counts) - range_m)
            .collect();
        let angle = &band.angle_rad;
        for i in 0..at.len() - 1 {
            // An end that is met exactly belongs to the band that begins there.
            if at[i] == 0.0 {
                each(angle[i]);
            } else if at[i] * at[i + 1] < 0.0
                && let Some(root) = between(&excess, (angle[i], at[i]), (angle[i + 1], at[i + 1]))
            {
                each(root);
            }
            // Two roots may hide about a node that comes nearer to zero than its neighbours.
            if i > 0 && at[i - 1] * at[i] > 0.0 && at[i] * at[i + 1] > 0.0 {
                let (before, here, after) = (at[i - 1].abs(), at[i].abs(), at[i + 1].abs());
                if here <= before && here < after {
                    let sign = at[i].signum();
                    let inward = |x: f64| sign * excess(x);
                    if let Some(dip) = dip(&inward, angle[i - 1], angle[i], angle[i + 1]) {
                        let bottom = (dip, excess(dip));
                        for (from, to) in [
                            ((angle[i - 1], at[i - 1]), bottom),
                            (bottom, (angle[i + 1], at[i + 1])),
                        ] {
                            if let Some(root) = between(&excess, from, to) {
                                each(root);
                            }
                        }
                    }
                }
            }
        }
        // Straight up or down, where no range is left.
        if let (Some(&last), Some(&steepest)) = (at.last(), angle.last())
            && steepest == std::f64::consts::FRAC_PI_2
            && last >= 0.0
            && range_m <= STRAIGHT_M
        {
            each(steepest);
        }
        at.iter().map(|x| x + range_m).fold(f64::INFINITY, f64::min)
    }

    /// The path along a root, with its level; `None` where its tube has no width that ray theory could tell.
    fn walked(&self, found: &Found, range_m: f64) -> Option<Eigenray> {
        let ray = Ray::new(self.reference_m_s, found.angle_rad);
        let mut walk = Walk::new(
            &self.column,
            ray,
            found.turns,
            self.source,
            found.leaves_down,
        );
        let mut turns = (0, 0);
        let arrived = |walk: &Walk<'_>, turns: (u32, u32)| {
            walk.knot == self.receiver
                && walk.down == found.arrives_down
                && turns.0 + walk.surface_bounces == found.events.0
                && turns.1 + walk.bed_bounces == found.events.1
        };
        // A walk that has not arrived after its turns and all layers between them is not a path.
        let most = (found.events.0 + found.events.1 + 1) as usize * (self.column.last() + 2);
        for _ in 0..most {
            walk.reflect();
            // A receiver on the bed meets what goes down and what comes back at one place.
            if walk.knot == self.column.last() && arrived(&walk, turns) {
                return self.told(&walk, found, range_m);
            }
            let came_down = walk.down;
            let ahead = walk.ahead();
            walk.step(&ahead);
            if ahead.turns {
                if came_down {
                    turns.1 += 1;
                } else {
                    turns.0 += 1;
                }
            }
            if arrived(&walk, turns) {
                return self.told(&walk, found, range_m);
            }
        }
        None
    }

    fn told(&self, walk: &Walk<'_>, found: &Found, range_m: f64) -> Option<Eigenray> {
        let a = walk.ray.parameter_s_m();
        let [at_source, at_receiver] =
            [self.source, self.receiver].map(|i| self.column.speed_m_s[i]);
        let degrees = |speed_m_s: f64, down: bool| {
            let angle = libm::atan2(walk.ray.sine_at(speed_m_s), a * speed_m_s);
            let angle = angle / std::f64::consts::PI * 180.0;
            if down { angle } else { -angle }
        };
        // `a / r` is one over the weight, also straight below the source.
        let ray_db = 10.0 * libm::log10(walk.sum.weight_m2_s * walk.q_m.abs() / at_receiver);
        let held_db = 20.0 * libm::log10(walk.sum.length_m) - CAUSTIC_GAIN_DB;
        let near_caustic = ray_db < held_db || ray_db.is_nan();
        let spreading_db = if near_caustic { held_db } else { ray_db };
        // Stationary in angle: what is missing of the range after the search costs the time no more than this.
        let time_s = walk.sum.time_s + a * (range_m - walk.range_m());
        spreading_db.is_finite().then_some(Eigenray {
            family: Family {
                upper: found.events.0,
                lower: found.events.1,
                leaves_down: found.leaves_down,
                surface_bounces: walk.surface_bounces,
                bed_bounces: walk.bed_bounces,
                caustics: walk.caustics,
                branch: 0,
            },
            time_s,
            launch_deg: degrees(at_source, found.leaves_down),
            arrival_deg: degrees(at_receiver, found.arrives_down),
            slowness_s_m: a,
            length_m: walk.sum.length_m,
            spreading_db,
            absorption_db: walk.absorption_db,
            bed_loss_db: walk.bed_loss_db,
            turnings: walk.turnings,
            phase_rad: walk.phase_rad + f64::from(walk.surface_bounces) * std::f64::consts::PI,
            near_caustic,
        })
    }

    /// The level path between equal depths in water of one speed, or along a least speed.
    fn level(&self, range_m: f64) -> Option<Eigenray> {
        let stays = self.source == self.receiver
            && matches!(
                Level::of(&self.column.gradient_per_s, self.source),
                Level::Stays
            );
        stays.then(|| {
            let speed_m_s = self.column.speed_m_s[self.source];
            let layer = self.source.min(self.column.last() - 1);
            Eigenray {
                family: Family {
                    upper: 0,
                    lower: 0,
                    leaves_down: false,
                    surface_bounces: 0,
                    bed_bounces: 0,
                    caustics: 0,
                    branch: 0,
                },
                time_s: range_m / speed_m_s,
                launch_deg: 0.0,
                arrival_deg: 0.0,
                slowness_s_m: 1.0 / speed_m_s,
                length_m: range_m,
                spreading_db: 20.0 * libm::log10(range_m),
                absorption_db: range_m * self.column.absorption_db_m[layer],
                bed_loss_db: 0.0,
                turnings: 0,
                phase_rad: 0.0,
                near_caustic: false,
            }
        })
    }

    /// Absorption and bed are those at this frequency, Hz.
    #[must_use]
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }
}

/// A root between two ends of unlike sign, one of which may be infinite.
fn between(excess: &dyn Fn(f64) -> f64, mut from: (f64, f64), mut to: (f64, f64)) -> Option<f64> {
    for _ in 0..MOST_HALVINGS {
        if from.1.is_finite() && to.1.is_finite() {
            break;
        }
        let middle = 0.5 * (from.0 + to.0);
        let value = excess(middle);
        if value * from.1 > 0.0 {
            from = (middle, value);
        } else {
            to = (middle, value);
        }
    }
    match brent(excess, from.0, to.0, SOLVED_RAD) {
        Ok(root) => Some(root.x),
        // As near as the numbers allow; the time is corrected for what is left.
        Err(RootError::NotConverged { x, .. }) => Some(x),
        Err(_) => None,
    }
}

/// Where a function that is lower in the middle of three places falls below zero; `None` where it does not.
fn dip(f: &dyn Fn(f64) -> f64, from: f64, middle: f64, to: f64) -> Option<f64> {
    let (mut a, mut b, mut c) = (from, middle, to);
    let mut at_b = f(b);
    for _ in 0..MOST_HALVINGS {
        if at_b < 0.0 {
            return Some(b);
        }
        let right = c - b > b - a;
        let x = if right {
            b + GOLDEN * (c - b)
        } else {
            b - GOLDEN * (b - a)
        };
        let at_x = f(x);
        if at_x < at_b {
            if right {
                a = b;
            } else {
                c = b;
            }
            (b, at_b) = (x, at_x);
        } else if right {
            c = x;
        } else {
            a = x;
        }
    }
    None
}
