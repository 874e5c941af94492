//! How far the network is from voltage collapse.
//!
//! All constant-power loads are multiplied by a common factor; the largest one with an operating point is the collapse
//! factor (the "nose" of the curve of voltage against power). There the Jacobian is singular. Method:
//!
//! 1. A bracket. The Newton of [`crate::solver`] decides for any factor whether there is an operating point, so
//!    doubling and halving enclose the collapse to a few percent.
//! 2. The point itself, directly: solve `F(V, k) = 0, J(V, k) w = 0, w_m = 1` for `V`, `w` and the factor `k` by Newton
//!    (Seydel 1979, Moore and Spence 1980: branching systems for turning points; from memory). `m` is the node where
//!    inverse iteration finds the largest `w`. With node `m` held, the rest of the Jacobian stays positive definite at
//!    the collapse, so each step is six solves with one factorisation and a system of two equations.
//! 3. A proof. The result must lie in the bracket and the factor less one part in 1e9 must have an operating point;
//!    otherwise another part of the network collapses first and the bracket is narrowed. Where its lower end is the
//!    collapse itself there is nothing to start step 2 from, and a bracket narrower than one part in 1e9 is the answer.
//!
//! A network of several parts between ideal sources collapses in one part; step 2 looks at that part alone.
//! Accuracy: about 1e-12 of the factor; 1e-9 where the bracket is the answer.

use crate::elimination::is_above_zero;
use crate::network::{Network, NetworkError};
use crate::solver::{Outcome, Scratch, Solver};

const FIRST_BRACKET: f64 = 0.03;
const NARROWING: f64 = 0.05;
const NARROWEST: f64 = 1e-12;
const PROOF: f64 = 1e-9;
const MOST_DOUBLINGS: u32 = 1000;
const MOST_STEPS: u32 = 30;
const INVERSE_ITERATIONS: usize = 4;
/// Nodes whose voltages fall alike to this share count as equal.
const EQUAL: f64 = 1e-6;
/// A relative step this small has arrived.
const ARRIVED: f64 = 1e-13;
/// Below this, a relative step that no longer shrinks is rounding.
const NEAR: f64 = 1e-9;

/// Largest common factor on all constant-power loads for which there is an operating point.
///
/// Above 1 the network carries its loads with that much to spare; below 1 it cannot. Constant currents and resistors
/// stay as they are. Infinite if there is no constant-power load away from ideal sources.
///
/// Errors: as [`crate::solve`], except `CannotCarry`.
/// Source: method of the singular Jacobian, see the head of this module.
pub fn collapse_factor(network: &Network) -> Result<f64, NetworkError> {
    let solver = Solver::new(network)?;
    solver.collapse_factor(&network.loads, &mut solver.scratch())
}

/// The point of collapse of the loads gathered in the scratch.
pub(crate) struct Nose {
    /// The collapse factor.
    pub(crate) factor: f64,
    /// The node (as given) that falls fastest there.
    pub(crate) node: usize,
    /// How fast each joined node falls there, the fastest at 1; empty where nothing collapses.
    pub(crate) falls: Vec<f64>,
}

/// The collapse of the loads gathered in the scratch. Where there is one, the voltages left in the scratch are those of an operating point beside
/// it, at a factor one part in 1e9 below its own or nearer.
pub(crate) fn nose(solver: &Solver, scratch: &mut Scratch) -> Result<Nose, NetworkError> {
    solver.start_without_power(scratch)?;
    let power_somewhere =
        (0..solver.held.len()).any(|i| !solver.held[i] && scratch.power_w[i] > 0.0);
    if !power_somewhere {
        return Ok(Nose {
            factor: f64::INFINITY,
            node: solver.given_node(0),
            falls: Vec::new(),
        });
    }
    match point_of(solver, scratch) {
        Err(NetworkError::CollapseNotFound { low, high }) if high - low <= PROOF * low => {
            enclosed(low, solver, scratch).ok_or(NetworkError::CollapseNotFound { low, high })
        }
        found => found,
    }
}

/// The collapse where it is known by its enclosure alone: a lower end that is the collapse to the last digit has a Jacobian
/// that is singular to rounding, from which the direct solve cannot start.
fn enclosed(low: f64, solver: &Solver, scratch: &mut Scratch) -> Option<Nose> {
    solver.start_without_power(scratch).ok()?;
    let beside = low * (1.0 - PROOF);
    if !has_operating_point(beside, solver, scratch)? {
        return None;
    }
    solver.check_current_loads(scratch).ok()?;
    let mut point = Point::new(solver);
    point.start(beside, solver, scratch)?;
    Some(point.found(low, solver, scratch))
}

/// From voltages without power loads in the scratch.
fn point_of(solver: &Solver, scratch: &mut Scratch) -> Result<Nose, NetworkError> {
    let mut bracket = Bracket::enclose(solver, scratch)?;
    let parts = solver.topology.parts(&solver.held);
    let mut point = Point::new(solver);
    let mut width = FIRST_BRACKET;
    while width > NARROWEST {
        bracket.narrow(width, solver, scratch)?;
        width *= NARROWING;
        scratch.voltage_v.copy_from_slice(&bracket.feasible_v);
        let Some(weakest) = point.start(bracket.low, solver, scratch) else {
            continue;
        };
        for i in 0..parts.len() {
            point.held[i] = parts[i] != parts[weakest] || i == weakest;
        }
        let Some((factor, _)) = point.converge(weakest, bracket.low, solver, scratch) else {
            continue;
        };
        if factor < bracket.low * (1.0 - PROOF) || factor > bracket.high * (1.0 + PROOF) {
            continue;
        }
        scratch.voltage_v.copy_from_slice(&bracket.feasible_v);
        if bracket.low < factor * (1.0 - PROOF)
            && !has_operating_point(factor * (1.0 - PROOF), solver, scratch)
                .ok_or_else(|| bracket.not_found())?
        {
            bracket.high = bracket.high.min(factor * (1.0 - PROOF));
            continue;
        }
        solver.check_current_loads(scratch)?;
        return Ok(point.found(factor, solver, scratch));
    }
    Err(bracket.not_found())
}

/// A factor with and a factor without an operating point.
struct Bracket {
    low: f64,
    high: f64,
    /// Voltages at `low`.
    feasible_v: Vec<f64>,
}

impl Bracket {
    /// From voltages without power loads in the scratch.
    fn enclose(solver: &Solver, scratch: &mut Scratch) -> Result<Self, NetworkError> {
        let mut bracket = Self {
            low: 0.0,
            high: f64::INFINITY,
            feasible_v: scratch.voltage_v.clone(),
        };
        let mut factor = 1.0;
        for _ in 0..MOST_DOUBLINGS {
            bracket.try_factor(factor, solver, scratch)?;
            if bracket.low == 0.0 {
                factor *= 0.5;
            } else if bracket.high.is_infinite() {
                factor *= 2.0;
            } else {
                return Ok(bracket);
            }
        }
        Err(bracket.not_found())
    }

    fn not_found(&self) -> NetworkError {
        NetworkError::CollapseNotFound {
            low: self.low,
            high: self.high,
        }
    }

    fn narrow(
        &mut self,
        width: f64,
        solver: &Solver,
        scratch: &mut Scratch,
    ) -> Result<(), NetworkError> {
        while self.high - self.low > width * self.high {
            self.try_factor(0.5 * (self.low + self.high), solver, scratch)?;
        }
        Ok(())
    }

    fn try_factor(
        &mut self,
        factor: f64,
        solver: &Solver,
        scratch: &mut Scratch,
    ) -> Result<(), NetworkError> {
        scratch.voltage_v.copy_from_slice(&self.feasible_v);
        if has_operating_point(factor, solver, scratch).ok_or_else(|| self.not_found())? {
            self.low = factor;
            self.feasible_v.copy_from_slice(&scratch.voltage_v);
        } else {
            self.high = factor;
        }
        Ok(())
    }
}

/// From voltages in the scratch that are an operating point of a smaller factor. `None`: undecided.
fn has_operating_point(factor: f64, solver: &Solver, scratch: &mut Scratch) -> Option<bool> {
    match solver.descend(factor, scratch) {
        Outcome::Operating { .. } => Some(true),
        Outcome::NoOperatingPoint => Some(false),
        Outcome::StillMoving { .. } => None,
    }
}

/// Newton on the singular point. `w` as in the head of this module; `a`, `b`, `c` the change of the voltages by
/// itself, per volt at the held node `m`, per unit of the factor; `d`, `e`, `f` the same of `w`.
struct Point {
    held: Vec<bool>,
    w: Vec<f64>,
    a: Vec<f64>,
    b: Vec<f64>,
    c: Vec<f64>,
    d: Vec<f64>,
    e: Vec<f64>,
    f: Vec<f64>,
    /// Conductance to ground less that of the power loads.
    s: Vec<f64>,
    leftover_a: Vec<f64>,
    product: Vec<f64>,
}

impl Point {
    fn new(solver: &Solver) -> Self {
        let zeros = vec![0.0; solver.held.len()];
        Self {
            held: solver.held.clone(),
            w: zeros.clone(),
            a: zeros.clone(),
            b: zeros.clone(),
            c: zeros.clone(),
            d: zeros.clone(),
            e: zeros.clone(),
            f: zeros.clone(),
            s: zeros.clone(),
            leftover_a: zeros.clone(),
            product: zeros,
        }
    }

    /// Inverse iteration at an operating point; returns the node with the largest `w`.
    fn start(&mut self, factor: f64, solver: &Solver, scratch: &mut Scratch) -> Option<usize> {
        self.held.copy_from_slice(&solver.held);
        self.factorise(factor, solver, scratch)?;
        for i in 0..self.w.len() {
            self.w[i] = if solver.held[i] { 0.0 } else { 1.0 };
        }
        let mut largest = 0;
        for _ in 0..INVERSE_ITERATIONS {
            scratch.r.copy_from_slice(&self.w);
            let elimination = &solver.topology.elimination;
            elimination.solve(&scratch.factor, &self.held, &mut scratch.r, &mut self.w);
            largest = largest_at(&self.w);
            let by = 1.0 / self.w[largest];
            self.w.iter_mut().for_each(|w| *w *= by);
        }
        self.w.iter().all(|w| w.is_finite()).then_some(largest)
    }

    fn factorise(&mut self, factor: f64, solver: &Solver, scratch: &mut Scratch) -> Option<()> {
        for i in 0..self.s.len() {
            let (p, v) = (scratch.power_w[i], scratch.voltage_v[i]);
            self.s[i] = scratch.to_ground_s[i] - factor * over(p, v * v);
        }
        scratch.s.copy_from_slice(&self.s);
        let elimination = &solver.topology.elimination;
        elimination
            .factor(&mut scratch.s, &self.held, &mut scratch.factor)
            .ok()
    }

    /// From an operating point in the scratch to the collapse of the part whose nodes, but for `m`, are not held: the
    /// factor, and the steps it took.
    fn converge(
        &mut self,
        m: usize,
        start: f64,
        solver: &Solver,
        scratch: &mut Scratch,
    ) -> Option<(f64, u32)> {
        for i in 0..self.w.len() {
            if self.held[i] && i != m {
                self.w[i] = 0.0;
            }
        }
        let mut factor = start;
        let mut last_change = f64::INFINITY;
        for steps in 1..=MOST_STEPS {
            let (by_volt, by_factor) = self.step(m, factor, solver, scratch)?;
            let mut change = 0.0_f64;
            for i in 0..self.w.len() {
                let dv = self.a[i] + self.b[i] * by_volt + self.c[i] * by_factor;
                scratch.voltage_v[i] += dv;
                self.w[i] += self.d[i] + self.e[i] * by_volt + self.f[i] * by_factor;
                change = change.max(dv.abs());
                if scratch.power_w[i] > 0.0 && !is_above_zero(scratch.voltage_v[i]) {
                    return None;
                }
            }
            factor += by_factor;
            let change = change / solver.highest_v + by_factor.abs() / factor;
            if !(factor > 0.0 && change.is_finite()) {
                return None;
            }
            if change <= ARRIVED || (change <= NEAR && change >= last_change) {
                return self.w.iter().all(|&w| w > -NEAR).then_some((factor, steps));
            }
            last_change = change;
        }
        None
    }

    fn found(self, factor: f64, solver: &Solver, scratch: &Scratch) -> Nose {
        Nose {
            factor,
            node: self.falls_fastest(solver, scratch),
            falls: self.w,
        }
    }

    /// The node (as given) with the largest `w` among those that draw constant power; the lowest of equals. A node
    /// beyond that draws nothing has the `w` of its neighbour.
    fn falls_fastest(&self, solver: &Solver, scratch: &Scratch) -> usize {
        let drawing = || (0..self.w.len()).filter(|&i| scratch.power_w[i] > 0.0);
        let most = drawing().map(|i| self.w[i]).fold(0.0, f64::max);
        drawing()
            .filter(|&i| self.w[i] >= most * (1.0 - EQUAL))
            .map(|i| solver.given_node(i))
            .min()
            .expect("a part that collapses draws constant power")
    }

    /// Fills `a` to `f`; returns the change at node `m` and of the factor.
    fn step(
        &mut self,
        m: usize,
        factor: f64,
        solver: &Solver,
        scratch: &mut Scratch,
    ) -> Option<(f64, f64)> {
        self.factorise(factor, solver, scratch)?;
        let Scratch {
            power_w: p,
            voltage_v: v,
            to_ground_s,
            inject_a,
            r,
            factor: factors,
            ..
        } = scratch;
        let nodes = v.len();
        let elimination = &solver.topology.elimination;
        let held = &self.held;

        times_jacobian(solver, to_ground_s, v, &mut self.leftover_a);
        for i in 0..nodes {
            self.leftover_a[i] += factor * over(p[i], v[i]) - inject_a[i];
            r[i] = -self.leftover_a[i];
        }
        self.a.fill(0.0);
        elimination.solve(factors, held, r, &mut self.a);
        r.fill(0.0);
        self.b.fill(0.0);
        self.b[m] = 1.0;
        elimination.solve(factors, held, r, &mut self.b);
        for i in 0..nodes {
            r[i] = -over(p[i], v[i]);
        }
        self.c.fill(0.0);
        elimination.solve(factors, held, r, &mut self.c);

        times_jacobian(solver, &self.s, &self.w, &mut self.product);
        let by_voltage = |i: usize| over(2.0 * factor * p[i] * self.w[i], v[i] * v[i] * v[i]);
        let by_factor = |i: usize| -over(p[i] * self.w[i], v[i] * v[i]);
        for i in 0..nodes {
            r[i] = -self.product[i] - by_voltage(i) * self.a[i];
        }
        self.d.fill(0.0);
        elimination.solve(factors, held, r, &mut self.d);
        for i in 0..nodes {
            r[i] = -by_voltage(i) * self.b[i];
        }
        self.e.fill(0.0);
        elimination.solve(factors, held, r, &mut self.e);
        for i in 0..nodes {
            r[i] = -by_voltage(i) * self.c[i] - by_factor(i);
        }
        self.f.fill(0.0);
        elimination.solve(factors, held, r, &mut self.f);

        let row = |x: &[f64]| row_of_jacobian(solver, &self.s, x, m);
        let (a1, b1) = (row(&self.b), row(&self.c) + p[m] / v[m]);
        let c1 = -self.leftover_a[m] - row(&self.a);
        let (a2, b2) = (row(&self.e) + by_voltage(m), row(&self.f) + by_factor(m));
        let c2 = -self.product[m] - row(&self.d);
        let determinant = a1 * b2 - a2 * b1;
        Some((
            (c1 * b2 - c2 * b1) / determinant,
            (a1 * c2 - a2 * c1) / determinant,
        ))
    }
}

/// `(L + diag(s)) x`.
fn times_jacobian(solver: &Solver, s: &[f64], x: &[f64], product: &mut [f64]) {
    for i in 0..x.len() {
        product[i] = s[i] * x[i];
    }
    for resistor in &solver.topology.resistors {
        let flow = resistor.conductance_s * (x[resistor.a] - x[resistor.b]);
        product[resistor.a] += flow;
        product[resistor.b] -= flow;
    }
}

fn row_of_jacobian(solver: &Solver, s: &[f64], x: &[f64], row: usize) -> f64 {
    let mut sum = s[row] * x[row];
    for resistor in &solver.topology.resistors {
        if resistor.a == row {
            sum += resistor.conductance_s * (x[row] - x[resistor.b]);
        } else if resistor.b == row {
            sum += resistor.conductance_s * (x[row] - x[resistor.a]);
        }
    }
    sum
}

/// A quotient that is nothing where nothing is drawn, also at the zero volts of a short.
fn over(drawn: f64, volts: f64) -> f64 {
    if drawn == 0.0 { 0.0 } else { drawn / volts }
}

fn largest_at(values: &[f64]) -> usize {
    (1..values.len()).fold(0, |best, i| if values[i] > values[best] { i } else { best })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::{Branch, Load, LoadKind, Source};

    /// From the first bracket, 3 percent wide, the direct solve alone comes to the collapse at `Vs^2/(4 R P)`, in as few
    /// steps as Newton takes.
    #[test]
    fn verif_the_first_bracket_is_narrow_enough() {
        for (resistance_ohm, power_w) in [(20.0, 25.0), (4.2, 300.0), (0.5, 900.0)] {
            let network = Network {
                nodes: 3,
                spans: vec![
                    Branch {
                        a: 0,
                        b: 1,
                        resistance_ohm: 0.4 * resistance_ohm,
                    },
                    Branch {
                        a: 1,
                        b: 2,
                        resistance_ohm: 0.6 * resistance_ohm,
                    },
                ],
                sources: vec![Source {
                    node: 0,
                    voltage_v: 48.0,
                    resistance_ohm: 0.0,
                    current_limit_a: None,
                }],
                loads: vec![Load {
                    node: 2,
                    kind: LoadKind::Power { power_w },
                }],
            };
            let solver = Solver::new(&network).unwrap();
            let mut scratch = solver.scratch();
            solver.gather(&network.loads, &mut scratch).unwrap();
            solver.start_without_power(&mut scratch).unwrap();
            let mut bracket = Bracket::enclose(&solver, &mut scratch).unwrap();
            bracket
                .narrow(FIRST_BRACKET, &solver, &mut scratch)
                .unwrap();
            scratch.voltage_v.copy_from_slice(&bracket.feasible_v);
            let mut point = Point::new(&solver);
            let weakest = point.start(bracket.low, &solver, &mut scratch).unwrap();
            point.held[weakest] = true;
            let (factor, steps) = point
                .converge(weakest, bracket.low, &solver, &mut scratch)
                .unwrap();
            let expected = 48.0 * 48.0 / (4.0 * resistance_ohm * power_w);
            assert!(
                (factor / expected - 1.0).abs() < 1e-12,
                "{factor} {expected}"
            );
            assert!(bracket.low < factor * (1.0 - 1e-4));
            // Twice as many digits with each step, as long as every derivative is right.
            assert!(steps <= 6, "{steps}");
        }
    }
}
