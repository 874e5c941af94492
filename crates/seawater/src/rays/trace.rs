//! One ray from a depth and an angle out to a range.

use super::leg::{Gathered, Ray, across, to_turn};
use super::walk::{Ahead, Walk};
use super::{RANGE, RaySea};
use crate::limits::{Limit, Method, SeaError, Variable};

const LAUNCH: Limit = Limit::new(Variable::LaunchAngle, -89.0, 89.0);
/// Points to an arc are spaced so that the chord leaves it by less, m.
const SAG_M: f64 = 0.05;
const MOST_POINTS_AN_ARC: f64 = 64.0;
const MOST_STEPS: u32 = 1_000_000;

/// A ray that was followed.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Range and depth along it, m, near enough to draw the arcs.
    pub points_m: Vec<(f64, f64)>,
    /// Range at its end, m: what was asked for, unless it had bounced as often as it may, or crossed a
    /// million layers.
    pub range_m: f64,
    /// Depth at its end, m.
    pub depth_m: f64,
    /// Angle at its end, degrees, down positive.
    pub angle_deg: f64,
    /// Time to its end, s.
    pub time_s: f64,
    /// Its length, m.
    pub length_m: f64,
    /// Width of its tube at the end, m across the ray for a radian at the source; changes sign at a caustic.
    pub tube_m: f64,
    /// Bounces from the surface.
    pub surface_bounces: u32,
    /// Bounces from the bed.
    pub bed_bounces: u32,
    /// Absorption, dB.
    pub absorption_db: f64,
    /// Loss of all bounces from the bed, dB.
    pub bed_loss_db: f64,
}

impl RaySea {
    /// Follows the ray that leaves `depth_m` at `launch_deg` (down positive, -89 to 89) out to `range_m` (0 to 500 km), or until it
    /// would leave the bed once more than `most_bed_bounces`.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`].
    pub fn trace(
        &self,
        depth_m: f64,
        launch_deg: f64,
        range_m: f64,
        most_bed_bounces: u32,
    ) -> Result<Trace, SeaError> {
        self.require_depth(Variable::SourceDepth, depth_m)?;
        LAUNCH.require(launch_deg, Method::Rays)?;
        RANGE.require(range_m, Method::Rays)?;
        let mut points_m = vec![(0.0, depth_m)];
        let mut end = self.follow(
            depth_m,
            launch_deg,
            range_m,
            most_bed_bounces,
            &mut |from_m, ahead, walk, whole_m| {
                let a = walk.ray.parameter_s_m();
                let bend = ahead.gradient_per_s.abs() * a;
                // Sag of a chord of length L on a circle of radius R: L^2 / 8 R.
                let count = (whole_m * (bend / (8.0 * SAG_M)).sqrt())
                    .ceil()
                    .clamp(1.0, MOST_POINTS_AN_ARC);
                for i in 1..=count as u32 {
                    let x_m = whole_m * f64::from(i) / count;
                    points_m.push((from_m + x_m, depth_within(walk, ahead, x_m)));
                }
            },
        )?;
        end.points_m = points_m;
        Ok(end)
    }

    /// [`RaySea::trace`] that hands every piece within a layer to `each`: range at its beginning, the piece, the ray at its
    /// beginning, and how far it goes.
    pub(super) fn follow(
        &self,
        depth_m: f64,
        launch_deg: f64,
        range_m: f64,
        most_bed_bounces: u32,
        each: &mut dyn FnMut(f64, &Ahead, &Walk<'_>, f64),
    ) -> Result<Trace, SeaError> {
        let (column, [source]) = self.column([depth_m]);
        let grazing = launch_deg.abs() / 180.0 * std::f64::consts::PI;
        let ray = Ray::new(column.speed_m_s[source], grazing);
        let level = if launch_deg == 0.0 {
            Level::of(&column.gradient_per_s, source)
        } else {
            Level::Bends {
                down: launch_deg > 0.0,
            }
        };
        let Level::Bends { down } = level else {
            return Ok(self.level_trace(depth_m, range_m, &column, source));
        };
        let turns = column.turns(ray.turning_m_s(), source, source);
        let mut walk = Walk::new(&column, ray, turns, source, down);
        for _ in 0..MOST_STEPS {
            if walk.down && walk.knot == column.last() && walk.bed_bounces == most_bed_bounces {
                let at_m = walk.range_m();
                let sine = walk.ray.sine_at(column.speed_m_s[walk.knot]);
                return Ok(told(&walk, at_m, column.depth_m[walk.knot], sine));
            }
            walk.reflect();
            let ahead = walk.ahead();
            let from_m = walk.range_m();
            let whole_m = walk.ray.parameter_s_m() * ahead.gathered.weight_m2_s;
            if from_m + whole_m >= range_m {
                let rest_m = range_m - from_m;
                each(from_m, &ahead, &walk, rest_m);
                let depth_m = depth_within(&walk, &ahead, rest_m);
                let (part, sine) = part(&walk, &ahead, rest_m);
                walk.gather(ahead.layer, part);
                return Ok(told(&walk, range_m, depth_m, sine));
            }
            each(from_m, &ahead, &walk, whole_m);
            walk.step(&ahead);
        }
        let sine = walk.ray.sine_at(column.speed_m_s[walk.knot]);
        Ok(told(&walk, walk.range_m(), column.depth_m[walk.knot], sine))
    }

    /// A ray that stays level in water of one speed.
    fn level_trace(
        &self,
        depth_m: f64,
        range_m: f64,
        column: &super::walk::Column,
        source: usize,
    ) -> Trace {
        let layer = source.min(column.last() - 1);
        Trace {
            points_m: vec![(0.0, depth_m), (range_m, depth_m)],
            range_m,
            depth_m,
            angle_deg: 0.0,
            time_s: range_m / column.speed_m_s[source],
            length_m: range_m,
            tube_m: range_m,
            surface_bounces: 0,
            bed_bounces: 0,
            absorption_db: range_m * column.absorption_db_m[layer],
            bed_loss_db: 0.0,
        }
    }
}

/// What a ray does that is launched level.
pub(super) enum Level {
    /// It stays: one speed above or below, or a least speed here.
    Stays,
    /// It leaves.
    Bends { down: bool },
}

impl Level {
    pub(super) fn of(gradient_per_s: &[f64], knot: usize) -> Self {
        let below = gradient_per_s.get(knot);
        let above = knot.checked_sub(1).map(|i| &gradient_per_s[i]);
        if below == Some(&0.0) || above == Some(&0.0) {
            Self::Stays
        } else if below.is_some_and(|g| *g < 0.0) {
            Self::Bends { down: true }
        } else if above.is_some_and(|g| *g > 0.0) {
            Self::Bends { down: false }
        } else {
            Self::Stays
        }
    }
}

fn told(walk: &Walk<'_>, range_m: f64, depth_m: f64, sine: f64) -> Trace {
    let angle = libm::asin(sine.clamp(-1.0, 1.0)) / std::f64::consts::PI * 180.0;
    Trace {
        points_m: Vec::new(),
        range_m,
        depth_m,
        angle_deg: if walk.down { angle } else { -angle },
        time_s: walk.sum.time_s,
        length_m: walk.sum.length_m,
        tube_m: walk.q_m,
        surface_bounces: walk.surface_bounces,
        bed_bounces: walk.bed_bounces,
        absorption_db: walk.absorption_db,
        bed_loss_db: walk.bed_loss_db,
    }
}

/// Sine after `x_m` within a layer, negative past the turning point.
fn sine_within(walk: &Walk<'_>, ahead: &Ahead, x_m: f64) -> f64 {
    ahead.sine - ahead.gradient_per_s * walk.ray.parameter_s_m() * x_m
}

pub(super) fn depth_within(walk: &Walk<'_>, ahead: &Ahead, x_m: f64) -> f64 {
    let a = walk.ray.parameter_s_m();
    let sine = sine_within(walk, ahead, x_m);
    let speed_m_s = libm::sqrt(1.0 - sine * sine) / a;
    let here_m_s = walk.column.speed_m_s[walk.knot];
    let dz_m = x_m * (ahead.sine + sine) / (a * (here_m_s + speed_m_s));
    walk.column.depth_m[walk.knot] + if walk.down { dz_m } else { -dz_m }
}

/// What is gathered within the first `x_m` of a layer, and the sine there.
fn part(walk: &Walk<'_>, ahead: &Ahead, x_m: f64) -> (Gathered, f64) {
    let a = walk.ray.parameter_s_m();
    let here_m_s = walk.column.speed_m_s[walk.knot];
    let sine = sine_within(walk, ahead, x_m);
    let there_m_s = libm::sqrt(1.0 - sine * sine) / a;
    if sine >= 0.0 {
        let dz_m = x_m * (ahead.sine + sine) / (a * (here_m_s + there_m_s));
        let mut gathered = across(a, here_m_s, there_m_s, ahead.sine, sine, dz_m);
        if dz_m == 0.0 {
            gathered.time_s = x_m / here_m_s;
            gathered.length_m = x_m;
        }
        gathered.weight_m2_s = x_m / a;
        return (gathered, sine);
    }
    let before = to_turn(&walk.ray, here_m_s, ahead.sine, ahead.gradient_per_s);
    let after = to_turn(&walk.ray, there_m_s, -sine, ahead.gradient_per_s);
    let gathered = Gathered {
        weight_m2_s: x_m / a,
        time_s: before.time_s + after.time_s,
        length_m: before.length_m + after.length_m,
    };
    (gathered, sine)
}
