//! A ray step by step: across layers, round turning points, off surface and bed, with the width of its tube.
//!
//! The width `q` of a tube (metres across the ray for a radian at the source) and its slope `p` follow, within a layer of constant
//! gradient, `q += p W` with `p` unchanged; at a boundary where the gradient grows downward by `dg`, `p -= q dg a^2 / sin t`. A
//! reflection unfolds into a boundary with the mirrored gradient behind it (twice the gradient at the surface, minus twice at the
//! bed). `q(0) = 0`, `p(0) = 1 / c0`. Source: dynamic ray equations `dq/ds = c p`, `dp/ds = -(c_nn / c^2) q` (textbook, as in
//! V. Cerveny, *Seismic Ray Theory*, from memory), with `c_nn = cos^2 t c''` and `c''` the step of the gradient.

use super::leg::{Gathered, Ray, across, to_turn};
use crate::bed::Bed;

/// The water column with the depths of source and receiver among its boundaries.
#[derive(Clone, Debug)]
pub(super) struct Column {
    pub(super) depth_m: Vec<f64>,
    pub(super) speed_m_s: Vec<f64>,
    /// By layer, 1/s.
    pub(super) gradient_per_s: Vec<f64>,
    /// By layer, dB/m.
    pub(super) absorption_db_m: Vec<f64>,
    pub(super) bed: Bed,
    pub(super) water_kg_m3: f64,
}

/// In which layer a ray turns on its way up and down; `None` where it reaches surface or bed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turns {
    pub(super) up: Option<usize>,
    pub(super) down: Option<usize>,
}

impl Column {
    pub(super) fn last(&self) -> usize {
        self.depth_m.len() - 1
    }

    /// Where a ray with this turning speed turns that is on its way between the boundaries `upper` and `lower`.
    pub(super) fn turns(&self, turning_m_s: f64, upper: usize, lower: usize) -> Turns {
        Turns {
            up: (0..upper).rev().find(|&i| self.speed_m_s[i] >= turning_m_s),
            down: (lower..self.last()).find(|&i| self.speed_m_s[i + 1] >= turning_m_s),
        }
    }
}

/// One ray on its way.
pub(super) struct Walk<'a> {
    pub(super) column: &'a Column,
    pub(super) ray: Ray,
    turns: Turns,
    pub(super) knot: usize,
    pub(super) down: bool,
    pub(super) sum: Gathered,
    pub(super) absorption_db: f64,
    pub(super) bed_loss_db: f64,
    /// Of bed bounces and caustics, rad.
    pub(super) phase_rad: f64,
    pub(super) surface_bounces: u32,
    pub(super) bed_bounces: u32,
    pub(super) turnings: u32,
    pub(super) caustics: u32,
    /// Width of the tube, m per rad.
    pub(super) q_m: f64,
    p_s_m: f64,
}

/// What lies between two boundaries, as [`Walk::ahead`] tells.
pub(super) struct Ahead {
    pub(super) layer: usize,
    /// Growth of the sound speed in the direction of motion, 1/s.
    pub(super) gradient_per_s: f64,
    pub(super) sine: f64,
    pub(super) turns: bool,
    /// From boundary to boundary, both ways where it turns.
    pub(super) gathered: Gathered,
}

impl<'a> Walk<'a> {
    pub(super) fn new(column: &'a Column, ray: Ray, turns: Turns, knot: usize, down: bool) -> Self {
        Self {
            column,
            ray,
            turns,
            knot,
            down,
            sum: Gathered::default(),
            absorption_db: 0.0,
            bed_loss_db: 0.0,
            phase_rad: 0.0,
            surface_bounces: 0,
            bed_bounces: 0,
            turnings: 0,
            caustics: 0,
            q_m: 0.0,
            p_s_m: 1.0 / column.speed_m_s[knot],
        }
    }

    pub(super) fn range_m(&self) -> f64 {
        self.ray.parameter_s_m() * self.sum.weight_m2_s
    }

    /// Turns the ray round if it stands at surface or bed and moves towards it.
    pub(super) fn reflect(&mut self) {
        let column = self.column;
        let a = self.ray.parameter_s_m();
        let speed_m_s = column.speed_m_s[self.knot];
        let sine = self.ray.sine_at(speed_m_s);
        if !self.down && self.knot == 0 {
            self.p_s_m -= self.bent(2.0 * column.gradient_per_s[0], a, sine);
            self.surface_bounces += 1;
            self.down = true;
        } else if self.down && self.knot == column.last() {
            let steepest = column.gradient_per_s[column.last() - 1];
            self.p_s_m -= self.bent(-2.0 * steepest, a, sine);
            let bounce = column
                .bed
                .bounce(sine, a * speed_m_s, speed_m_s, column.water_kg_m3);
            self.bed_loss_db += bounce.loss_db;
            self.phase_rad += bounce.phase_rad;
            self.bed_bounces += 1;
            self.down = false;
        }
    }

    fn bent(&self, step_per_s: f64, a: f64, sine: f64) -> f64 {
        if step_per_s == 0.0 || self.q_m == 0.0 {
            0.0
        } else {
            self.q_m * step_per_s * a * a / sine
        }
    }

    /// The way to the next boundary; after [`Walk::reflect`].
    pub(super) fn ahead(&self) -> Ahead {
        let column = self.column;
        let layer = if self.down { self.knot } else { self.knot - 1 };
        let sign = if self.down { 1.0 } else { -1.0 };
        let gradient_per_s = sign * column.gradient_per_s[layer];
        let here_m_s = column.speed_m_s[self.knot];
        let sine = self.ray.sine_at(here_m_s);
        let turn = if self.down {
            self.turns.down
        } else {
            self.turns.up
        };
        let turns = turn == Some(layer);
        let gathered = if turns {
            let half = to_turn(&self.ray, here_m_s, sine, gradient_per_s);
            Gathered {
                weight_m2_s: 2.0 * half.weight_m2_s,
                time_s: 2.0 * half.time_s,
                length_m: 2.0 * half.length_m,
            }
        } else {
            let there_m_s = column.speed_m_s[if self.down { layer + 1 } else { layer }];
            across(
                self.ray.parameter_s_m(),
                here_m_s,
                there_m_s,
                sine,
                self.ray.sine_at(there_m_s),
                column.depth_m[layer + 1] - column.depth_m[layer],
            )
        };
        Ahead {
            layer,
            gradient_per_s,
            sine,
            turns,
            gathered,
        }
    }

    /// Adds a way within a layer.
    pub(super) fn gather(&mut self, layer: usize, gathered: Gathered) {
        self.sum.weight_m2_s += gathered.weight_m2_s;
        self.sum.time_s += gathered.time_s;
        self.sum.length_m += gathered.length_m;
        self.absorption_db += gathered.length_m * self.column.absorption_db_m[layer];
        let before_m = self.q_m;
        self.q_m += self.p_s_m * gathered.weight_m2_s;
        if before_m * self.q_m < 0.0 {
            self.caustics += 1;
            self.phase_rad -= std::f64::consts::FRAC_PI_2;
        }
    }

    /// Goes on to the next boundary and through it.
    pub(super) fn step(&mut self, ahead: &Ahead) {
        self.gather(ahead.layer, ahead.gathered);
        if ahead.turns {
            self.turnings += 1;
            self.down = !self.down;
        } else if self.down {
            self.knot += 1;
        } else {
            self.knot -= 1;
        }
        let column = self.column;
        if self.knot > 0 && self.knot < column.last() {
            let step_per_s =
                column.gradient_per_s[self.knot] - column.gradient_per_s[self.knot - 1];
            let sine = self.ray.sine_at(column.speed_m_s[self.knot]);
            self.p_s_m -= self.bent(step_per_s, self.ray.parameter_s_m(), sine);
        }
    }
}
