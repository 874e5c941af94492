//! A line followed down from its top, with the pull at its top given.
//!
//! Equations. With `t` the direction of the pull `F` and `T` its size, along the unstretched length `s` upwards
//!
//! ```text
//! r' = (1 + T/EA) t        F' = -q
//! q  = -w z + (1 + T/EA) 0.5 rho d (Cn |Vn| Vn + pi Ct |Vt| Vt),   Vt = (V.t) t,  Vn = V - Vt
//! ```
//!
//! and at a body `F(below) = F(above) + (drag, -weight)`. The cross-flow principle with independent drag along the line is that of Ablow and
//! Schechter (1983), read as an abstract only; written in the force vector the equations have no angle that could become singular. Bodies feel
//! `0.5 rho CdA |V| V`.
//!
//! Method: the pair of formulas of orders 5 and 4 of Dormand and Prince (J. Comput. Appl. Math. 6, 1980, table 2; coefficients from memory, held
//! by the lines of another integrator in the tests), with steps that keep the estimated error of each below the tolerances, and that end at every rope and body.

use crate::error::MooringError;
use crate::line::{Hanging, Rope};
use crate::shape::{AtBody, Point};
use crate::vector::{Vector, dot, length, minus, plus, times};

/// Most steps of one descent.
const MOST_STEPS: u32 = 100_000;
/// Error of one step that is let pass: of place, m, and of pull, N and share of the pull.
const STEP_M: f64 = 1e-7;
const STEP_N: f64 = 1e-7;
const STEP_SHARE: f64 = 1e-10;
/// A pull is level when its vertical part is no more than this, N.
const LEVEL_N: f64 = 1e-9;
/// So many times as long as a step the next may be at most.
const LONGER: f64 = 5.0;
/// With an error below this the next step may be as long or longer: 0.9 to the fifth power is 0.59049.
const AS_LONG: f64 = 0.59;
/// With an error below this it may be [`LONGER`] times as long or more: (0.9 / 5) to the fifth power is 0.000188957.
const MUCH_LONGER: f64 = 1.88e-4;

/// A line laid out for descents: its parts from the top down.
#[derive(Debug)]
pub(crate) struct Way<'a> {
    hanging: &'a Hanging,
    legs: Vec<Leg<'a>>,
    /// Bodies by leg: those at its lower end. The first entry holds those at the very top.
    bodies: Vec<Vec<usize>>,
}

#[derive(Debug)]
struct Leg<'a> {
    rope: &'a Rope,
    top_m: f64,
    bottom_m: f64,
    /// Whether all below its top sinks, so that a line that is level here lies on the seabed from here on.
    sinks: bool,
    /// The same of all below its lower end.
    sinks_on: bool,
}

/// Where a descent came to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct End {
    /// Unstretched length that is left towards the anchor, m: zero unless the line became level.
    pub(crate) s_m: f64,
    pub(crate) at_m: Vector,
    pub(crate) force_n: Vector,
    /// Whether the rest of the line lies on the seabed.
    pub(crate) level: bool,
    pub(crate) evaluations: u32,
}

/// What a descent leaves behind, from the top down.
#[derive(Debug, Default)]
pub(crate) struct Trail {
    pub(crate) points: Vec<Point>,
    pub(crate) bodies: Vec<(usize, AtBody)>,
}

impl Trail {
    /// Lets the seabed bear what hangs at the last place: the rope on either side of it does not.
    fn lay_down(&mut self, bodies: usize) {
        let lie = |force_n: &mut Vector| force_n[2] = force_n[2].max(0.0);
        for (_, body) in self.bodies.iter_mut().rev().take(bodies) {
            lie(&mut body.above_n);
            lie(&mut body.below_n);
        }
        for point in self.points.iter_mut().rev().take(bodies) {
            lie(&mut point.force_n);
        }
    }
}

#[derive(Clone, Copy)]
struct State {
    at_m: Vector,
    force_n: Vector,
}

impl<'a> Way<'a> {
    pub(crate) fn new(hanging: &'a Hanging) -> Way<'a> {
        let length_m = hanging.length_m();
        let mut legs = Vec::new();
        let mut bodies = vec![Vec::new()];
        let at = |s_m: f64| -> Vec<usize> {
            (0..hanging.bodies.len())
                .filter(|&b| hanging.bodies[b].at_m == s_m)
                .collect()
        };
        bodies[0] = at(length_m);
        let mut top_m = length_m;
        for (index, rope) in hanging.ropes.iter().enumerate().rev() {
            let bottom_m: f64 = hanging.ropes[..index].iter().map(|r| r.length_m).sum();
            let mut cuts: Vec<f64> = hanging
                .bodies
                .iter()
                .map(|body| body.at_m)
                .filter(|&s_m| s_m > bottom_m && s_m < top_m)
                .collect();
            cuts.push(bottom_m);
            cuts.sort_by(|a, b| b.total_cmp(a));
            cuts.dedup();
            for cut_m in cuts {
                legs.push(Leg {
                    rope,
                    top_m,
                    bottom_m: cut_m,
                    sinks: hanging.sinks_below(top_m),
                    sinks_on: hanging.sinks_below(cut_m),
                });
                bodies.push(at(cut_m));
                top_m = cut_m;
            }
        }
        Way {
            hanging,
            legs,
            bodies,
        }
    }

    /// Follows the line down from `at_m`, pulled by `force_n` at its top. `longest_m` bounds the steps where the trail is to be drawn.
    pub(crate) fn descend(
        &self,
        at_m: Vector,
        force_n: Vector,
        longest_m: f64,
        mut trail: Option<&mut Trail>,
    ) -> Result<End, MooringError> {
        let mut state = State { at_m, force_n };
        let mut evaluations = 0;
        let mut steps = 0;
        let mut step_m = f64::INFINITY;
        let top_m = self.hanging.length_m();
        if let Some(trail) = trail.as_deref_mut() {
            trail.points.push(point(top_m, state));
        }
        let pulls_down = self.pass(&self.bodies[0], top_m, &mut state, trail.as_deref_mut());
        // Without any pull a line that sinks is level from its top on: in still water a search begins there.
        let mut level = (pulls_down || length(state.force_n) == 0.0)
            && self.legs.first().is_some_and(|leg| leg.sinks);
        let mut left_m = top_m;
        for (leg, bodies) in self.legs.iter().zip(&self.bodies[1..]) {
            let mut rate = self.rate(leg, state)?;
            evaluations += 1;
            while left_m > leg.bottom_m && !level {
                steps += 1;
                if steps > MOST_STEPS {
                    return Err(MooringError::TooManySteps { s_m: left_m, steps });
                }
                let rest_m = left_m - leg.bottom_m;
                let mut h = step_m.min(longest_m).min(rest_m);
                // No piece that is too short to matter is left over.
                if rest_m - h < 1e-6 * rest_m {
                    h = rest_m;
                }
                let (next, next_rate, error) = self.step(leg, state, rate, h)?;
                evaluations += 6;
                if leg.sinks && next.force_n[2] < -LEVEL_N && state.force_n[2] > 0.0 {
                    let share = state.force_n[2] / (state.force_n[2] - next.force_n[2]);
                    step_m = h * share;
                    if step_m > 1e-12 * top_m {
                        continue;
                    }
                    level = true;
                    break;
                }
                if error > 1.0 {
                    step_m = h * longer(error).max(0.2);
                    if step_m < 1e-12 * top_m {
                        return Err(MooringError::Slack { s_m: left_m });
                    }
                    continue;
                }
                // A step that was cut short by the end of its leg says no more than that the next may be as long.
                if h < rest_m {
                    step_m = h * longer(error).min(LONGER);
                } else if error > AS_LONG {
                    let factor = longer(error);
                    if factor < 1.0 {
                        step_m = h * factor;
                    }
                }
                state = next;
                rate = next_rate;
                left_m = if h == rest_m {
                    leg.bottom_m
                } else {
                    left_m - h
                };
                level = leg.sinks && state.force_n[2] <= LEVEL_N;
                if let Some(trail) = trail.as_deref_mut() {
                    trail.points.push(point(left_m, state));
                }
            }
            if level {
                break;
            }
            let pulls_down = self.pass(bodies, left_m, &mut state, trail.as_deref_mut());
            if pulls_down && leg.sinks_on && left_m > 0.0 {
                if let Some(trail) = trail {
                    trail.lay_down(bodies.len());
                }
                level = true;
                break;
            }
        }
        Ok(End {
            s_m: left_m,
            at_m: state.at_m,
            force_n: state.force_n,
            level,
            evaluations,
        })
    }

    /// Passes bodies, and tells whether the pull on what lies below them no longer points up.
    fn pass(
        &self,
        bodies: &[usize],
        s_m: f64,
        state: &mut State,
        mut trail: Option<&mut Trail>,
    ) -> bool {
        for &body in bodies {
            let above_n = state.force_n;
            state.force_n = plus(above_n, self.load_n(body, state.at_m[2]));
            if let Some(trail) = trail.as_deref_mut() {
                trail.bodies.push((
                    body,
                    AtBody {
                        s_m,
                        at_m: state.at_m,
                        above_n,
                        below_n: state.force_n,
                    },
                ));
                trail.points.push(point(s_m, *state));
            }
        }
        !bodies.is_empty() && state.force_n[2] <= LEVEL_N
    }

    /// Drag and weight of a body at a height above the seabed.
    pub(crate) fn load_n(&self, body: usize, height_m: f64) -> Vector {
        let water = &self.hanging.water;
        let body = &self.hanging.bodies[body];
        let v = water.current.at(water.depth_m - height_m);
        let drag = times(v, 0.5 * water.density_kg_m3 * body.drag_area_m2 * length(v));
        plus(drag, [0.0, 0.0, -body.weight_n])
    }

    fn rate(&self, leg: &Leg<'_>, state: State) -> Result<State, MooringError> {
        let tension_n = length(state.force_n);
        let along = if tension_n > 0.0 {
            times(state.force_n, 1.0 / tension_n)
        } else if leg.sinks {
            // In still water the pull falls to nothing where the line comes down upon the seabed; up to there it hangs upright.
            [0.0, 0.0, 1.0]
        } else {
            return Err(MooringError::Slack { s_m: leg.top_m });
        };
        let stretch = 1.0 + leg.rope.strain(tension_n);
        let water = &self.hanging.water;
        let v = water.current.at(water.depth_m - state.at_m[2]);
        let drag = drag_n_m(leg.rope, water.density_kg_m3, v, along);
        Ok(State {
            at_m: times(along, -stretch),
            force_n: plus(times(drag, stretch), [0.0, 0.0, -leg.rope.weight_n_m]),
        })
    }

    /// One step of `h`, m: where it leads, the rates there, and the estimated error as a share of what is let pass.
    fn step(
        &self,
        leg: &Leg<'_>,
        from: State,
        k1: State,
        h: f64,
    ) -> Result<(State, State, f64), MooringError> {
        let go = |parts: &[(f64, &State)]| -> State {
            let mut to = from;
            for &(share, k) in parts {
                to.at_m = plus(to.at_m, times(k.at_m, share * h));
                to.force_n = plus(to.force_n, times(k.force_n, share * h));
            }
            to
        };
        let k2 = self.rate(leg, go(&[(1.0 / 5.0, &k1)]))?;
        let k3 = self.rate(leg, go(&[(3.0 / 40.0, &k1), (9.0 / 40.0, &k2)]))?;
        let k4 = self.rate(
            leg,
            go(&[(44.0 / 45.0, &k1), (-56.0 / 15.0, &k2), (32.0 / 9.0, &k3)]),
        )?;
        let k5 = self.rate(
            leg,
            go(&[
                (19372.0 / 6561.0, &k1),
                (-25360.0 / 2187.0, &k2),
                (64448.0 / 6561.0, &k3),
                (-212.0 / 729.0, &k4),
            ]),
        )?;
        let k6 = self.rate(
            leg,
            go(&[
                (9017.0 / 3168.0, &k1),
                (-355.0 / 33.0, &k2),
                (46732.0 / 5247.0, &k3),
                (49.0 / 176.0, &k4),
                (-5103.0 / 18656.0, &k5),
            ]),
        )?;
        let next = go(&[
            (35.0 / 384.0, &k1),
            (500.0 / 1113.0, &k3),
            (125.0 / 192.0, &k4),
            (-2187.0 / 6784.0, &k5),
            (11.0 / 84.0, &k6),
        ]);
        let k7 = self.rate(leg, next)?;
        let off = |pick: fn(&State) -> Vector| {
            let parts = [
                (71.0 / 57600.0, &k1),
                (-71.0 / 16695.0, &k3),
                (71.0 / 1920.0, &k4),
                (-17253.0 / 339_200.0, &k5),
                (22.0 / 525.0, &k6),
                (-1.0 / 40.0, &k7),
            ];
            let sum = parts.iter().fold([0.0; 3], |sum, &(share, k)| {
                plus(sum, times(pick(k), share * h))
            });
            length(sum)
        };
        let allowed_n = STEP_N + STEP_SHARE * length(next.force_n);
        let error = (off(|k| k.at_m) / STEP_M).max(off(|k| k.force_n) / allowed_n);
        Ok((next, k7, error))
    }
}

/// Drag of the water on a line, N for each metre of stretched length: `v` is the current, `along` the direction of the line.
pub(crate) fn drag_n_m(rope: &Rope, density_kg_m3: f64, v: Vector, along: Vector) -> Vector {
    let tangential = times(along, dot(v, along));
    let normal = minus(v, tangential);
    let half = 0.5 * density_kg_m3 * rope.diameter_m;
    plus(
        times(normal, half * rope.normal_drag * length(normal)),
        times(
            tangential,
            half * core::f64::consts::PI * rope.tangential_drag * length(tangential),
        ),
    )
}

/// How many times as long as a step with this error the next may be; no power is taken where it would be [`LONGER`] in any case.
fn longer(error: f64) -> f64 {
    if error < MUCH_LONGER {
        return LONGER;
    }
    0.9 * libm::pow(error.max(1e-10), -0.2)
}

fn point(s_m: f64, state: State) -> Point {
    Point {
        s_m,
        at_m: state.at_m,
        force_n: state.force_n,
    }
}
