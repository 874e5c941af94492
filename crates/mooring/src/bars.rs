//! The line as bars between nodes: the other method, which also finds slack lines, floats amid the line, and lines that would pass through the seabed.
//!
//! A bar of unstretched length `l0` bears `T = EA (l/l0 - 1)` when it is longer than `l0`, and nothing when shorter. Weight and drag of a bar act on its two
//! nodes, half each; the seabed pushes a node up by a stiff spring. With the drag held, the energy `sum EA (l - l0)^2 / (2 l0) + seabed - loads . r` is
//! convex in the places of the nodes, so Newton's method with a line search goes down to its only least value, from anywhere; its matrix is block
//! tridiagonal. The drag is then taken anew from the shape, until it no longer moves.
//!
//! Where bodies weigh ten thousand times what the bars do, the gain of a light node that still falls is lost in the rounding of the whole energy, and a seabed
//! that hardly gives under the heavy one throws the light one back. Bars that do not come to rest are therefore taken up once more, patiently: gains are
//! summed by bar and by node, the seabed gives each node as much as its own load asks, and there is time for twenty times as many steps.
//!
//! Accuracy: of second order in the length of a bar; a line that does not stretch is given a stiffness of 1e5 times its greatest load. The pull within a bar
//! holds at its middle; the pulls at its ends are brought there by half its own load.

use crate::descend::{Way, drag_n_m};
use crate::error::MooringError;
use crate::line::{Hanging, Top};
use crate::shape::{AtBody, Effort, Point, Shape, Touch, held_together};
use crate::shoot::rope_over;
use crate::vector::{Vector, dot, length, minus, plus, times};

/// Stiffness of a line that does not stretch, in terms of its greatest load.
const STIFF: f64 = 1e5;
/// Stiffness of the first bars in terms of the greatest load, and by what they are made stiffer from shape to shape: a stiff line far from its
/// place can only creep there.
const SOFT: f64 = 10.0;
const STIFFER: f64 = 10.0;
/// Depth to which the seabed gives under the weight of one node, m.
const SINKS_M: f64 = 1e-5;
/// Most times that the drag is taken anew.
const DRAGS: u32 = 200;
/// Most Newton steps for one drag, and of patient bars.
const STEPS: u32 = 1000;
const PATIENT_STEPS: u32 = 20_000;
/// What is added to the matrix, as a share of its stiffest part: at first, and at least.
const FIRST_SHIFT: f64 = 1e-3;
const LEAST_SHIFT: f64 = 1e-12;
const LEAST_PATIENT_SHIFT: f64 = 1e-14;
/// Least stiffness of the seabed below a node of patient bars, as a share of the stiffest.
const LEAST_BED: f64 = 1e-9;
/// A shape of which no node moves further with a new drag has been found, m.
const STILL_M: f64 = 1e-7;
/// Forces that are left over at a node, as a share of the greatest load.
const LEFT: f64 = 1e-8;

type Matrix = [[f64; 3]; 3];

/// How bars are brought to rest.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Manner {
    Brisk,
    Patient,
}

struct Bar {
    length_m: f64,
    stiffness_n: f64,
    rope: crate::line::Rope,
}

struct Bars<'a> {
    hanging: &'a Hanging,
    way: Way<'a>,
    bars: Vec<Bar>,
    /// Unstretched length from the anchor, by node.
    s_m: Vec<f64>,
    /// Bodies by node.
    bodies: Vec<Vec<usize>>,
    /// Stiffness of the seabed where it is stiffest, and by node.
    bed_n_m: f64,
    beds_n_m: Vec<f64>,
    most_n: f64,
    manner: Manner,
    /// No bar counts as stiffer: raised from soft bars to the true ones.
    softer_n: f64,
}

/// The shape of a line by about `bars` bars between nodes: at least one for each rope and between two bodies.
///
/// # Errors
/// Those of [`hang`](crate::hang); [`MooringError::Unbalanced`] where the bars do not come to rest, [`MooringError::NotConverged`] where the drag does not settle.
pub fn hang_by_bars(hanging: &Hanging, bars: u32) -> Result<Shape, MooringError> {
    hanging.check()?;
    if let Top::Fixed { at_m } = hanging.top {
        let stretches = hanging.ropes.iter().any(|rope| rope.stiffness_n.is_some());
        let from_m = [0.0, 0.0, hanging.foot_m];
        let (distance_m, length_m) = (length(minus(at_m, from_m)), hanging.length_m());
        if distance_m >= length_m && !stretches {
            return Err(MooringError::OutOfReach {
                distance_m,
                length_m,
            });
        }
    }
    let found = match Bars::new(hanging, bars, Manner::Brisk).hang() {
        Err(MooringError::Unbalanced { .. }) => Bars::new(hanging, bars, Manner::Patient).hang(),
        found => found,
    };
    hanging.below_surface(found?)
}

/// Share of the way to the shape with the new drag that is gone.
const DAMPING: f64 = 0.8;

impl<'a> Bars<'a> {
    fn new(hanging: &'a Hanging, bars: u32, manner: Manner) -> Bars<'a> {
        let whole_m = hanging.length_m();
        let mut cuts: Vec<f64> = vec![0.0];
        let mut end_m = 0.0;
        for rope in &hanging.ropes {
            end_m += rope.length_m;
            cuts.push(end_m);
        }
        cuts.extend(hanging.bodies.iter().map(|body| body.at_m));
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        let mut s_m = vec![0.0];
        for pair in cuts.windows(2) {
            let pieces = (f64::from(bars) * (pair[1] - pair[0]) / whole_m)
                .ceil()
                .max(1.0);
            let mut piece = 1.0;
            while piece < pieces {
                s_m.push(pair[0] + (pair[1] - pair[0]) * piece / pieces);
                piece += 1.0;
            }
            s_m.push(pair[1]);
        }
        let floats_n = match hanging.top {
            Top::Float { buoyancy_n, .. } => buoyancy_n,
            Top::Surface { force_n } => (force_n[0] * force_n[0] + force_n[1] * force_n[1]).sqrt(),
            Top::Fixed { .. } => 0.0,
        };
        let weights_n: f64 = hanging.weights_n().map(f64::abs).sum();
        let most_n = (floats_n + weights_n).max(1e-6);
        let bars: Vec<Bar> = s_m
            .windows(2)
            .map(|pair| {
                let rope = *rope_over(hanging, pair[0]);
                Bar {
                    length_m: pair[1] - pair[0],
                    stiffness_n: rope.stiffness_n.map_or(STIFF * most_n, |n| n),
                    rope,
                }
            })
            .collect();
        let bodies: Vec<Vec<usize>> = s_m
            .iter()
            .map(|s| {
                (0..hanging.bodies.len())
                    .filter(|&b| hanging.bodies[b].at_m == *s)
                    .collect()
            })
            .collect();
        let bed_n_m = most_n / bars.len() as f64 / SINKS_M;
        let bed_below = |node: usize| {
            let beside = bars[node.saturating_sub(1)..(node + 1).min(bars.len())].iter();
            let of_bars = beside.map(|bar| 0.5 * libm::fabs(bar.rope.weight_n_m) * bar.length_m);
            let of_bodies = bodies[node].iter();
            let of_bodies = of_bodies.map(|&b| libm::fabs(hanging.bodies[b].weight_n));
            let own_n: f64 = of_bars.chain(of_bodies).sum();
            (own_n / SINKS_M).clamp(LEAST_BED * bed_n_m, bed_n_m)
        };
        let beds_n_m = match manner {
            Manner::Brisk => vec![bed_n_m; s_m.len()],
            Manner::Patient => (0..s_m.len()).map(bed_below).collect(),
        };
        Bars {
            hanging,
            way: Way::new(hanging),
            bars,
            s_m,
            bodies,
            bed_n_m,
            beds_n_m,
            most_n,
            manner,
            softer_n: f64::INFINITY,
        }
    }

    /// The shape.
    fn hang(mut self) -> Result<Shape, MooringError> {
        let mut at_m = self.start();
        let mut steps = 0;
        let stiffest_n = self.bars.iter().map(|b| b.stiffness_n).fold(0.0, f64::max);
        self.softer_n = SOFT * self.most_n;
        while self.softer_n < stiffest_n {
            let loads_n = self.loads_n(&at_m);
            steps += self.rest(&mut at_m, &loads_n)?;
            self.softer_n *= STIFFER;
        }
        for _ in 0..DRAGS {
            let loads_n = self.loads_n(&at_m);
            let before = at_m.clone();
            steps += self.rest(&mut at_m, &loads_n)?;
            let moved_m = at_m
                .iter()
                .zip(&before)
                .map(|(a, b)| length(minus(*a, *b)))
                .fold(0.0, f64::max);
            if moved_m < STILL_M {
                return self.shape(&at_m, steps);
            }
            // Half of the way: a drag that is too strong would throw the line back and forth.
            for (now, then) in at_m.iter_mut().zip(&before) {
                *now = plus(times(*now, DAMPING), times(*then, 1.0 - DAMPING));
            }
        }
        Err(MooringError::NotConverged {
            iterations: steps,
            residual: STILL_M,
            unit: "the way of a node with a new drag, m",
        })
    }

    /// A straight line to where the top may be.
    fn start(&self) -> Vec<Vector> {
        let length_m = self.hanging.length_m();
        let depth_m = self.hanging.water.depth_m;
        let top_m = match self.hanging.top {
            Top::Float { .. } => [0.0, 0.0, self.hanging.foot_m + length_m],
            Top::Fixed { at_m } => at_m,
            Top::Surface { force_n } => {
                let rise_m = depth_m - self.hanging.foot_m;
                let across = length_m * length_m - rise_m * rise_m;
                let across_m = if across > 0.0 { across.sqrt() } else { 0.0 };
                let pull_n = (force_n[0] * force_n[0] + force_n[1] * force_n[1]).sqrt();
                let toward = if pull_n > 0.0 {
                    [force_n[0] / pull_n, force_n[1] / pull_n]
                } else {
                    [0.0, 0.0]
                };
                [toward[0] * across_m, toward[1] * across_m, depth_m]
            }
        };
        let foot_m = [0.0, 0.0, self.hanging.foot_m];
        self.s_m
            .iter()
            .map(|s| plus(foot_m, times(minus(top_m, foot_m), s / length_m)))
            .collect()
    }

    /// Which of the three parts of a node's place are free.
    fn free(&self, node: usize) -> [bool; 3] {
        if node == 0 {
            return [false; 3];
        }
        if node + 1 < self.s_m.len() {
            return [true; 3];
        }
        match self.hanging.top {
            Top::Float { .. } => [true; 3],
            Top::Surface { .. } => [true, true, false],
            Top::Fixed { .. } => [false; 3],
        }
    }

    /// Weight and drag on a bar, N, as it lies.
    fn bar_load_n(&self, bar: usize, at_m: &[Vector]) -> Vector {
        let Bar { length_m, rope, .. } = &self.bars[bar];
        let (low, high) = (at_m[bar], at_m[bar + 1]);
        let span = minus(high, low);
        let long_m = length(span);
        let weight = [0.0, 0.0, -rope.weight_n_m * length_m];
        // A bar on the seabed lies out of the current.
        let grounded = |at: Vector| at[2] <= 0.0;
        if long_m == 0.0 || (grounded(low) && grounded(high)) {
            return weight;
        }
        let water = &self.hanging.water;
        let v = water.current.at(water.depth_m - 0.5 * (low[2] + high[2]));
        let along = times(span, 1.0 / long_m);
        let drag = drag_n_m(rope, water.density_kg_m3, v, along);
        plus(weight, times(drag, long_m.max(*length_m)))
    }

    /// Loads on the nodes, with the drag of a shape.
    fn loads_n(&self, at_m: &[Vector]) -> Vec<Vector> {
        let mut loads_n = vec![[0.0; 3]; at_m.len()];
        for bar in 0..self.bars.len() {
            let half = times(self.bar_load_n(bar, at_m), 0.5);
            loads_n[bar] = plus(loads_n[bar], half);
            loads_n[bar + 1] = plus(loads_n[bar + 1], half);
        }
        for (node, bodies) in self.bodies.iter().enumerate() {
            for &body in bodies {
                loads_n[node] = plus(loads_n[node], self.way.load_n(body, at_m[node][2]));
            }
        }
        let last = at_m.len() - 1;
        loads_n[last] = plus(loads_n[last], self.top_load_n(at_m[last][2]));
        loads_n
    }

    fn top_load_n(&self, height_m: f64) -> Vector {
        match self.hanging.top {
            Top::Float {
                buoyancy_n,
                drag_area_m2,
            } => {
                let water = &self.hanging.water;
                let v = water.current.at(water.depth_m - height_m);
                let drag = times(v, 0.5 * water.density_kg_m3 * drag_area_m2 * length(v));
                plus(drag, [0.0, 0.0, buoyancy_n])
            }
            Top::Surface { force_n } => [force_n[0], force_n[1], 0.0],
            Top::Fixed { .. } => [0.0; 3],
        }
    }

    /// Brings the nodes to rest under loads that do not change. Newton steps taken.
    fn rest(&self, at_m: &mut Vec<Vector>, loads_n: &[Vector]) -> Result<u32, MooringError> {
        let stiffest = self
            .bars
            .iter()
            .map(|bar| self.per_m(bar))
            .fold(self.bed_n_m, f64::max);
        // What rounding of the places leaves of the forces.
        let rounding_n = 8.0 * f64::EPSILON * stiffest * self.hanging.length_m();
        let enough_n = (LEFT * self.most_n).max(rounding_n);
        let (most_steps, least_shift) = match self.manner {
            Manner::Brisk => (STEPS, LEAST_SHIFT),
            Manner::Patient => (PATIENT_STEPS, LEAST_PATIENT_SHIFT),
        };
        // What rounding of the places hides of a change.
        let blur_j = 8.0 * f64::EPSILON * self.most_n * self.hanging.length_m();
        let mut shift_n_m = FIRST_SHIFT * stiffest;
        let mut energy_j = self.energy_j(at_m, loads_n);
        let mut left = (0, f64::INFINITY);
        for step in 0..most_steps {
            let (forces_n, diagonal, beside) = self.newton(at_m, loads_n, shift_n_m);
            let sizes = forces_n.iter().map(|f| length(*f)).enumerate();
            left = sizes.fold(
                (0, 0.0),
                |most, one| if one.1 > most.1 { one } else { most },
            );
            if left.1 < enough_n {
                return Ok(step);
            }
            let Some(way_m) = solve(diagonal, &beside, &forces_n) else {
                shift_n_m = (10.0 * shift_n_m).max(1e-9 * stiffest);
                continue;
            };
            let slope_j: f64 = way_m.iter().zip(&forces_n).map(|(w, f)| dot(*w, *f)).sum();
            let mut share = 1.0;
            let mut gone = false;
            for _ in 0..HALVINGS {
                let tried: Vec<Vector> = at_m
                    .iter()
                    .zip(&way_m)
                    .map(|(at, way)| plus(*at, times(*way, share)))
                    .collect();
                let wanted_j = 1e-4 * share * slope_j;
                gone = match self.manner {
                    Manner::Brisk => {
                        let there_j = self.energy_j(&tried, loads_n);
                        // Rounding hides gains that are a small part of the energy itself.
                        let lower = there_j <= energy_j - wanted_j + 1e-13 * energy_j.abs();
                        if lower {
                            energy_j = there_j;
                        }
                        lower
                    }
                    Manner::Patient => self.change_j(at_m, &tried, loads_n) <= -wanted_j + blur_j,
                };
                if gone {
                    *at_m = tried;
                    break;
                }
                share *= 0.5;
            }
            if !gone {
                shift_n_m *= 10.0;
            } else if share == 1.0 {
                shift_n_m = (0.2 * shift_n_m).max(least_shift * stiffest);
            } else if share < 0.25 {
                shift_n_m *= 5.0;
            }
        }
        Err(MooringError::Unbalanced {
            steps: most_steps,
            s_m: self.s_m[left.0],
            left_n: left.1,
            most_n: self.most_n,
        })
    }

    /// By how much the energy changes on a way, J: summed by bar and by node, so that a small change of a large energy is not lost.
    fn change_j(&self, from_m: &[Vector], to_m: &[Vector], loads_n: &[Vector]) -> f64 {
        let mut sum_j = 0.0;
        let pairs = from_m.windows(2).zip(to_m.windows(2));
        for (bar, (from, to)) in self.bars.iter().zip(pairs) {
            let over_m = |pair: &[Vector]| {
                let over_m = length(minus(pair[1], pair[0])) - bar.length_m;
                over_m.max(0.0)
            };
            let (was_m, is_m) = (over_m(from), over_m(to));
            sum_j += 0.5 * self.per_m(bar) * (is_m - was_m) * (is_m + was_m);
        }
        for (node, (from, to)) in from_m.iter().zip(to_m).enumerate() {
            let (was_m, is_m) = (from[2].min(0.0), to[2].min(0.0));
            sum_j += 0.5 * self.beds_n_m[node] * (is_m - was_m) * (is_m + was_m);
            sum_j -= dot(minus(*to, *from), loads_n[node]);
        }
        sum_j
    }

    /// Force of a bar for each metre that it is longer, N/m.
    fn per_m(&self, bar: &Bar) -> f64 {
        bar.stiffness_n.min(self.softer_n) / bar.length_m
    }

    fn energy_j(&self, at_m: &[Vector], loads_n: &[Vector]) -> f64 {
        let mut sum_j = 0.0;
        for (bar, pair) in self.bars.iter().zip(at_m.windows(2)) {
            let over_m = length(minus(pair[1], pair[0])) - bar.length_m;
            if over_m > 0.0 {
                sum_j += 0.5 * self.per_m(bar) * over_m * over_m;
            }
        }
        for ((at, load), bed_n_m) in at_m.iter().zip(loads_n).zip(&self.beds_n_m) {
            if at[2] < 0.0 {
                sum_j += 0.5 * bed_n_m * at[2] * at[2];
            }
            sum_j -= dot(*at, *load);
        }
        sum_j
    }

    /// Forces that are left on the nodes, and the blocks of the matrix: on the diagonal, and between a node and the next.
    fn newton(
        &self,
        at_m: &[Vector],
        loads_n: &[Vector],
        shift_n_m: f64,
    ) -> (Vec<Vector>, Vec<Matrix>, Vec<Matrix>) {
        let mut forces_n = loads_n.to_vec();
        let mut diagonal = vec![[[0.0; 3]; 3]; at_m.len()];
        let mut beside = vec![[[0.0; 3]; 3]; self.bars.len()];
        for (index, bar) in self.bars.iter().enumerate() {
            let span = minus(at_m[index + 1], at_m[index]);
            let long_m = length(span);
            let over_m = long_m - bar.length_m;
            if over_m <= 0.0 {
                continue;
            }
            let per_m = self.per_m(bar);
            let tension_n = per_m * over_m;
            let along = times(span, 1.0 / long_m);
            forces_n[index] = plus(forces_n[index], times(along, tension_n));
            forces_n[index + 1] = minus(forces_n[index + 1], times(along, tension_n));
            let across = tension_n / long_m;
            for row in 0..3 {
                for column in 0..3 {
                    let one = if row == column { 1.0 } else { 0.0 };
                    let both = along[row] * along[column];
                    let stiff = per_m * both + across * (one - both);
                    diagonal[index][row][column] += stiff;
                    diagonal[index + 1][row][column] += stiff;
                    beside[index][row][column] -= stiff;
                }
            }
        }
        for (node, at) in at_m.iter().enumerate() {
            if at[2] < 0.0 {
                forces_n[node][2] -= self.beds_n_m[node] * at[2];
                diagonal[node][2][2] += self.beds_n_m[node];
            }
            let free = self.free(node);
            for part in 0..3 {
                diagonal[node][part][part] += shift_n_m;
                if free[part] {
                    continue;
                }
                forces_n[node][part] = 0.0;
                for other in 0..3 {
                    diagonal[node][part][other] = 0.0;
                    diagonal[node][other][part] = 0.0;
                    if node > 0 {
                        beside[node - 1][other][part] = 0.0;
                    }
                    if node < beside.len() {
                        beside[node][part][other] = 0.0;
                    }
                }
                diagonal[node][part][part] = 1.0;
            }
        }
        (forces_n, diagonal, beside)
    }

    fn shape(&self, at_m: &[Vector], steps: u32) -> Result<Shape, MooringError> {
        let pull_n = |bar: usize| {
            let bar_now = &self.bars[bar];
            let span = minus(at_m[bar + 1], at_m[bar]);
            let long_m = length(span);
            let over_m = long_m - bar_now.length_m;
            if over_m > 0.0 {
                times(span, self.per_m(bar_now) * over_m / long_m)
            } else {
                [0.0; 3]
            }
        };
        let end_n = |bar: usize, share: f64| {
            // On the seabed the bed carries the weight.
            if at_m[bar][2] <= 0.0 && at_m[bar + 1][2] <= 0.0 {
                return pull_n(bar);
            }
            plus(pull_n(bar), times(self.bar_load_n(bar, at_m), share))
        };
        let last = self.bars.len();
        let mut points = Vec::new();
        let mut bodies = Vec::new();
        for (node, &at) in at_m.iter().enumerate() {
            let point = |force_n| Point {
                s_m: self.s_m[node],
                at_m: at,
                force_n,
            };
            let below_n = (node > 0).then(|| end_n(node - 1, -0.5));
            let above_n = (node < last).then(|| end_n(node, 0.5));
            let here: Vec<Vector> = if self.bodies[node].is_empty() {
                below_n.or(above_n).into_iter().collect()
            } else {
                below_n.into_iter().chain(above_n).collect()
            };
            points.extend(here.into_iter().map(point));
            // Bodies at one place follow each other from the top down.
            let mut over_n = above_n.unwrap_or_else(|| self.over_top_n(at_m, &end_n));
            for &body in &self.bodies[node] {
                let under_n = plus(over_n, self.way.load_n(body, at[2]));
                bodies.push((
                    body,
                    AtBody {
                        s_m: self.s_m[node],
                        at_m: at,
                        above_n: over_n,
                        below_n: under_n,
                    },
                ));
                over_n = under_n;
            }
            if let (Some(below_n), Some((_, body))) = (
                below_n.filter(|_| !self.bodies[node].is_empty()),
                bodies.last_mut(),
            ) {
                body.below_n = below_n;
            }
        }
        held_together(&mut bodies);
        bodies.sort_by_key(|(index, _)| *index);
        let bodies: Vec<AtBody> = bodies.into_iter().map(|(_, body)| body).collect();
        let touching = at_m.iter().skip(1).position(|at| at[2] > 0.0);
        let touch = touching.filter(|node| *node > 0).map(|node| Touch {
            s_m: self.s_m[node],
            at_m: at_m[node],
        });
        Ok(Shape {
            points,
            bodies,
            anchor_n: end_n(0, 0.5),
            top_n: self.over_top_n(at_m, &end_n),
            top_m: at_m[at_m.len() - 1],
            touch,
            residual_m: STILL_M,
            effort: Effort::Bars {
                bars: u32::try_from(self.bars.len()).expect("a line has fewer than 2^32 bars"),
                steps,
            },
        })
    }

    /// Pull of what holds the top.
    fn over_top_n(&self, at_m: &[Vector], end_n: &dyn Fn(usize, f64) -> Vector) -> Vector {
        let last = self.bars.len();
        let bodies = &self.bodies[last];
        let below_n = end_n(last - 1, -0.5);
        bodies.iter().fold(below_n, |sum, &body| {
            minus(sum, self.way.load_n(body, at_m[last][2]))
        })
    }
}

/// Most halvings of a step.
const HALVINGS: u32 = 40;

/// Solves a block tridiagonal system that is symmetric: `beside[i]` stands right of `diagonal[i]` and, turned, below it. `None` where a block is singular.
fn solve(mut diagonal: Vec<Matrix>, beside: &[Matrix], right: &[Vector]) -> Option<Vec<Vector>> {
    let mut right = right.to_vec();
    let mut inverses = Vec::with_capacity(diagonal.len());
    for node in 0..diagonal.len() {
        if node > 0 {
            // diagonal -= beside^T inverse beside
            let above: &Matrix = &beside[node - 1];
            let inverse: &Matrix = &inverses[node - 1];
            let carried = product(&turned(above), inverse);
            let less = product(&carried, above);
            for row in 0..3 {
                for column in 0..3 {
                    diagonal[node][row][column] -= less[row][column];
                }
            }
            right[node] = minus(right[node], apply(&carried, right[node - 1]));
        }
        inverses.push(inverse(&diagonal[node])?);
    }
    let mut x = vec![[0.0; 3]; right.len()];
    for node in (0..right.len()).rev() {
        let rest = if node + 1 < right.len() {
            minus(right[node], apply(&beside[node], x[node + 1]))
        } else {
            right[node]
        };
        x[node] = apply(&inverses[node], rest);
    }
    Some(x)
}

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    let mut c = [[0.0; 3]; 3];
    for row in 0..3 {
        for column in 0..3 {
            c[row][column] =
                a[row][0] * b[0][column] + a[row][1] * b[1][column] + a[row][2] * b[2][column];
        }
    }
    c
}

fn turned(a: &Matrix) -> Matrix {
    let mut b = [[0.0; 3]; 3];
    for row in 0..3 {
        for column in 0..3 {
            b[row][column] = a[column][row];
        }
    }
    b
}

fn apply(a: &Matrix, x: Vector) -> Vector {
    [dot(a[0], x), dot(a[1], x), dot(a[2], x)]
}

fn inverse(a: &Matrix) -> Option<Matrix> {
    let minor = |r: usize, c: usize| {
        let (r1, r2) = ((r + 1) % 3, (r + 2) % 3);
        let (c1, c2) = ((c + 1) % 3, (c + 2) % 3);
        a[r1][c1] * a[r2][c2] - a[r1][c2] * a[r2][c1]
    };
    let whole = a[0][0] * minor(0, 0) + a[0][1] * minor(0, 1) + a[0][2] * minor(0, 2);
    let mut b = [[0.0; 3]; 3];
    for row in 0..3 {
        for column in 0..3 {
            b[row][column] = minor(column, row) / whole;
        }
    }
    b.iter().flatten().all(|x| x.is_finite()).then_some(b)
}
