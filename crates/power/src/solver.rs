//! The operating point of the network.
//!
//! Equations: at each node `F(V) = L V + g V + I + P/V - J = 0` (Kirchhoff's current law; `L` Laplacian of the spans,
//! `g` resistive loads and source conductances, `I`, `P` constant-current and constant-power loads, `J` source
//! currents at short circuit), with ideal sources holding their nodes. Jacobian `L + diag(g - P/V^2)`.
//!
//! Method: Newton from the voltages without the power loads, written as one linear solve for the new voltages,
//! `(L + diag(g - P/V^2)) V' = J - I - 2P/V`. It cannot end on a collapsed root, for this reason: `F` is convex in
//! every component and the Jacobian is an M-matrix wherever it is positive definite, so from a start above every
//! solution the iterates fall steadily and stay above the highest solution (monotone Newton theorem, Ortega and
//! Rheinboldt 1970, 13.3.4; from memory). The voltages without power loads are above every solution. If an iterate
//! has a Jacobian that is not positive definite, or a voltage at or below zero, there is therefore no operating point.
//!
//! Accuracy: rounding, some 1e-13 of the source voltage away from the collapse, growing like the inverse square root
//! of the distance to it.

use crate::elimination::{Factor, is_above_zero};
use crate::network::{Load, LoadKind, Network, NetworkError, Part, Solution, Source, check_load};
use crate::nose;
use crate::topology::{Method, Topology};

const MOST_STEPS: u32 = 200;
/// A step this small against the highest source voltage has arrived.
const ARRIVED: f64 = 1e-13;
/// Below this, a step that no longer shrinks is rounding.
const NEAR: f64 = 1e-8;

/// A network planned once, to be solved with many sets of loads.
#[derive(Clone, Debug)]
pub struct Solver {
    pub(crate) network: Network,
    pub(crate) topology: Topology,
    /// Joined nodes held by an ideal source.
    pub(crate) held: Vec<bool>,
    held_v: Vec<(usize, f64)>,
    /// Whether a node is shorted: then it, and what hangs behind it alone, is at zero volts and draws nothing.
    shorted: bool,
    source_s: Vec<f64>,
    source_a: Vec<f64>,
    pub(crate) highest_v: f64,
}

/// Working memory of a [`Solver`]; belongs to the one that made it.
#[derive(Clone, Debug)]
pub struct Scratch {
    /// Constant power at each joined node, W.
    pub(crate) power_w: Vec<f64>,
    pub(crate) to_ground_s: Vec<f64>,
    pub(crate) inject_a: Vec<f64>,
    pub(crate) voltage_v: Vec<f64>,
    pub(crate) s: Vec<f64>,
    pub(crate) r: Vec<f64>,
    x: Vec<f64>,
    pub(crate) factor: Factor,
    leftover_a: Vec<f64>,
    /// How often Newton has run.
    pub(crate) runs: u64,
}

/// How a run of Newton ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Outcome {
    Operating { iterations: u32 },
    NoOperatingPoint,
    StillMoving { iterations: u32 },
}

/// Solves a network once. See [`Solver::solve`].
pub fn solve(network: &Network) -> Result<Solution, NetworkError> {
    let solver = Solver::new(network)?;
    solver.solve(&network.loads, &mut solver.scratch())
}

/// Whether a network carries its loads, for a search that does not ask by how much: where [`solve`] tells [`NetworkError::CannotCarry`] or
/// [`NetworkError::CurrentLoadsCollapse`] it does not.
///
/// Errors: the others of [`solve`].
pub fn has_operating_point(network: &Network) -> Result<bool, NetworkError> {
    let solver = Solver::new(network)?;
    let found = solver.operating_point(&network.loads, &mut solver.scratch())?;
    Ok(found.is_some())
}

impl Solver {
    /// Plans nodes, spans and sources of `network`; its loads are not read.
    ///
    /// Errors: no source, a node without a path to a source, numbers out of range, a loop of zero resistance, two
    /// ideal sources on one node.
    pub fn new(network: &Network) -> Result<Self, NetworkError> {
        Self::with_method(network, Method::Automatic)
    }

    /// As [`Solver::new`], with a choice of method.
    pub fn with_method(network: &Network, method: Method) -> Result<Self, NetworkError> {
        network.check_topology()?;
        let ideal: Vec<bool> = network
            .sources
            .iter()
            .map(|source| source.resistance_ohm == 0.0)
            .collect();
        let topology = Topology::plan(network, &ideal, method)?;
        let nodes = topology.joined_nodes();
        let mut solver = Self {
            network: Network {
                loads: Vec::new(),
                ..network.clone()
            },
            topology,
            held: vec![false; nodes],
            held_v: Vec::new(),
            shorted: false,
            source_s: vec![0.0; nodes],
            source_a: vec![0.0; nodes],
            highest_v: 0.0,
        };
        for source in &network.sources {
            let node = solver.topology.joined[source.node];
            solver.highest_v = solver.highest_v.max(source.voltage_v);
            if source.resistance_ohm == 0.0 {
                solver.held[node] = true;
                solver.held_v.push((node, source.voltage_v));
            } else {
                solver.source_s[node] += 1.0 / source.resistance_ohm;
                solver.source_a[node] += source.voltage_v / source.resistance_ohm;
            }
        }
        Ok(solver)
    }

    /// Gives a span another resistance, which leaves the plan as it is where both are above zero. False where they are not: nothing is changed then,
    /// and the network must be planned anew.
    pub(crate) fn set_resistance(&mut self, span: usize, resistance_ohm: f64) -> bool {
        let as_planned = is_above_zero(self.network.spans[span].resistance_ohm)
            && is_above_zero(resistance_ohm)
            && resistance_ohm.is_finite();
        if as_planned {
            self.network.spans[span].resistance_ohm = resistance_ohm;
            self.topology.set_resistance(span, resistance_ohm);
        }
        as_planned
    }

    /// Working memory for this solver.
    pub fn scratch(&self) -> Scratch {
        let nodes = self.topology.joined_nodes();
        let zeros = vec![0.0; nodes];
        Scratch {
            power_w: zeros.clone(),
            to_ground_s: zeros.clone(),
            inject_a: zeros.clone(),
            voltage_v: zeros.clone(),
            s: zeros.clone(),
            r: zeros.clone(),
            x: zeros,
            factor: self.topology.elimination.new_factor(),
            leftover_a: vec![0.0; self.network.nodes],
            runs: 0,
        }
    }

    /// The operating point with these loads, on the branch of high voltage.
    ///
    /// `scratch` must come from [`Solver::scratch`] of this solver; what it held before does not matter.
    ///
    /// Errors: a load out of range; [`NetworkError::CannotCarry`] if there is no operating point, with the largest
    /// share of the constant-power loads for which there is one; [`NetworkError::CurrentLoadsCollapse`];
    /// [`NetworkError::NotConverged`].
    pub fn solve(&self, loads: &[Load], scratch: &mut Scratch) -> Result<Solution, NetworkError> {
        self.gather(loads, scratch)?;
        self.start_without_power(scratch)?;
        match self.descend(1.0, scratch) {
            Outcome::Operating { iterations } => {
                self.check_current_loads(scratch)?;
                Ok(self.report(loads, iterations, scratch))
            }
            Outcome::StillMoving { iterations } => Err(NetworkError::NotConverged {
                iterations,
                residual_a: self.report(loads, iterations, scratch).residual_a,
            }),
            Outcome::NoOperatingPoint => {
                let nose = nose::nose(self, scratch)?;
                Err(NetworkError::CannotCarry {
                    scale: nose.factor,
                    node: nose.node,
                })
            }
        }
    }

    /// Largest common factor on all constant-power loads for which there is an operating point. See
    /// [`collapse_factor`](crate::collapse_factor).
    pub fn collapse_factor(
        &self,
        loads: &[Load],
        scratch: &mut Scratch,
    ) -> Result<f64, NetworkError> {
        Ok(self.nose_of(loads, scratch)?.factor)
    }

    /// Where these loads collapse.
    pub(crate) fn nose_of(
        &self,
        loads: &[Load],
        scratch: &mut Scratch,
    ) -> Result<nose::Nose, NetworkError> {
        self.gather(loads, scratch)?;
        nose::nose(self, scratch)
    }

    /// As [`Solver::solve`], with `None` where there is no operating point, for a search that does not ask by how much.
    pub(crate) fn operating_point(
        &self,
        loads: &[Load],
        scratch: &mut Scratch,
    ) -> Result<Option<Solution>, NetworkError> {
        self.gather(loads, scratch)?;
        let begun = self.start_without_power(scratch);
        let outcome = match begun {
            Ok(()) => self.descend(1.0, scratch),
            Err(_) => Outcome::NoOperatingPoint,
        };
        match outcome {
            Outcome::Operating { iterations } => Ok(self
                .check_current_loads(scratch)
                .is_ok()
                .then(|| self.report(loads, iterations, scratch))),
            Outcome::NoOperatingPoint => Ok(None),
            Outcome::StillMoving { iterations } => Err(NetworkError::NotConverged {
                iterations,
                residual_a: self.report(loads, iterations, scratch).residual_a,
            }),
        }
    }

    /// A node as given for a joined one.
    pub(crate) fn given_node(&self, joined: usize) -> usize {
        self.topology.gathers_at[joined]
    }

    /// Sums the loads of each joined node.
    pub(crate) fn gather(&self, loads: &[Load], scratch: &mut Scratch) -> Result<(), NetworkError> {
        scratch.power_w.fill(0.0);
        scratch.to_ground_s.copy_from_slice(&self.source_s);
        scratch.inject_a.copy_from_slice(&self.source_a);
        for (i, load) in loads.iter().enumerate() {
            check_load(i, load, self.network.nodes)?;
            let node = self.topology.joined[load.node];
            match load.kind {
                LoadKind::Power { power_w } => scratch.power_w[node] += power_w,
                LoadKind::Current { current_a } => scratch.inject_a[node] -= current_a,
                LoadKind::Resistance { resistance_ohm } => {
                    scratch.to_ground_s[node] += 1.0 / resistance_ohm;
                }
            }
        }
        Ok(())
    }

    /// Puts the voltages without any constant-power load into the scratch.
    pub(crate) fn start_without_power(&self, scratch: &mut Scratch) -> Result<(), NetworkError> {
        self.free_voltages(scratch);
        self.check_current_loads(scratch)
    }

    /// As [`Solver::start_without_power`], whatever the constant currents make of the voltages.
    pub(crate) fn free_voltages(&self, scratch: &mut Scratch) {
        let w = scratch;
        let elimination = &self.topology.elimination;
        for &(node, voltage_v) in &self.held_v {
            w.voltage_v[node] = voltage_v;
        }
        w.s.copy_from_slice(&w.to_ground_s);
        w.r.copy_from_slice(&w.inject_a);
        elimination
            .factor(&mut w.s, &self.held, &mut w.factor)
            .expect("every node has a path of conductances to a source");
        elimination.solve(&w.factor, &self.held, &mut w.r, &mut w.voltage_v);
    }

    /// This network with some sources at their current limits and, where `short` names a node, that node at zero volts.
    /// Every source at its limit must reach the short.
    pub(crate) fn with_short(&self, short: Option<usize>, at_limit: &[bool]) -> Self {
        let nodes = self.topology.joined_nodes();
        let mut faulted = Self {
            held: vec![false; nodes],
            held_v: Vec::new(),
            shorted: short.is_some(),
            source_s: vec![0.0; nodes],
            source_a: vec![0.0; nodes],
            ..self.clone()
        };
        for (i, source) in self.network.sources.iter().enumerate() {
            let node = self.topology.joined[source.node];
            match source.current_limit_a {
                Some(limit_a) if at_limit[i] => faulted.source_a[node] += limit_a,
                _ if source.resistance_ohm == 0.0 => {
                    faulted.held[node] = true;
                    faulted.held_v.push((node, source.voltage_v));
                }
                _ => {
                    faulted.source_s[node] += 1.0 / source.resistance_ohm;
                    faulted.source_a[node] += source.voltage_v / source.resistance_ohm;
                }
            }
        }
        if let Some(short) = short {
            let joined = self.topology.joined[short];
            faulted.held[joined] = true;
            faulted.held_v.push((joined, 0.0));
        }
        faulted
    }

    pub(crate) fn check_current_loads(&self, scratch: &Scratch) -> Result<(), NetworkError> {
        let stands = |v: f64| is_above_zero(v) || self.shorted && v == 0.0;
        match scratch.voltage_v.iter().position(|&v| !stands(v)) {
            None => Ok(()),
            Some(joined) => Err(NetworkError::CurrentLoadsCollapse {
                node: self.given_node(joined),
                voltage_v: scratch.voltage_v[joined],
            }),
        }
    }

    /// Newton with `scale` times the power loads, from voltages in the scratch that lie above the operating point.
    pub(crate) fn descend(&self, scale: f64, scratch: &mut Scratch) -> Outcome {
        let w = scratch;
        w.runs += 1;
        let elimination = &self.topology.elimination;
        for &(node, voltage_v) in &self.held_v {
            w.voltage_v[node] = voltage_v;
            w.x[node] = voltage_v;
        }
        let mut last_step = f64::INFINITY;
        for iterations in 1..=MOST_STEPS {
            for i in 0..w.voltage_v.len() {
                w.s[i] = w.to_ground_s[i];
                w.r[i] = w.inject_a[i];
                if w.power_w[i] > 0.0 {
                    let per_volt = 1.0 / w.voltage_v[i];
                    let current_a = scale * w.power_w[i] * per_volt;
                    w.s[i] -= current_a * per_volt;
                    w.r[i] -= 2.0 * current_a;
                }
            }
            if elimination
                .factor(&mut w.s, &self.held, &mut w.factor)
                .is_err()
            {
                return Outcome::NoOperatingPoint;
            }
            elimination.solve(&w.factor, &self.held, &mut w.r, &mut w.x);
            let mut step = 0.0_f64;
            let mut lowest = f64::INFINITY;
            for i in 0..w.x.len() {
                step = step.max((w.x[i] - w.voltage_v[i]).abs());
                if w.power_w[i] > 0.0 {
                    lowest = lowest.min(w.x[i]);
                }
            }
            std::mem::swap(&mut w.voltage_v, &mut w.x);
            if !is_above_zero(lowest) {
                return Outcome::NoOperatingPoint;
            }
            let step = step / self.highest_v;
            let shrink = step / last_step;
            let expected_next = step * shrink * shrink;
            if step <= ARRIVED || (step <= NEAR && (shrink >= 1.0 || expected_next <= ARRIVED)) {
                return Outcome::Operating { iterations };
            }
            last_step = step;
        }
        Outcome::StillMoving {
            iterations: MOST_STEPS,
        }
    }

    /// Currents, losses and leftovers at the voltages in the scratch.
    fn report(&self, loads: &[Load], iterations: u32, scratch: &mut Scratch) -> Solution {
        let at_limit = vec![false; self.network.sources.len()];
        let flows = self.flows(loads, None, &at_limit, scratch);
        let joined = &self.topology.joined;
        let limited = over_limit(&self.network.sources, &flows.source_currents_a);
        let backfed = (0..flows.source_currents_a.len())
            .filter(|&i| flows.source_currents_a[i] < 0.0)
            .collect();
        Solution {
            voltages_v: joined.iter().map(|&j| scratch.voltage_v[j]).collect(),
            branch_currents_a: flows.branch_currents_a,
            source_currents_a: flows.source_currents_a,
            span_loss_w: flows.span_loss_w,
            iterations,
            residual_a: flows.residual_a,
            limited,
            backfed,
        }
    }

    /// Currents at the voltages in the scratch, with some sources at their limits and a node shorted.
    pub(crate) fn flows(
        &self,
        loads: &[Load],
        short: Option<usize>,
        at_limit: &[bool],
        scratch: &mut Scratch,
    ) -> Flows {
        let joined = &self.topology.joined;
        let voltage = |node: usize| scratch.voltage_v[joined[node]];
        let leftover_a = &mut scratch.leftover_a;
        leftover_a.fill(0.0);
        let mut branch_currents_a = vec![0.0; self.network.spans.len()];
        let mut span_loss_w = 0.0;
        for resistor in &self.topology.resistors {
            let span = &self.network.spans[resistor.span];
            let drop_v = scratch.voltage_v[resistor.a] - scratch.voltage_v[resistor.b];
            let current_a = drop_v * resistor.conductance_s;
            branch_currents_a[resistor.span] = current_a;
            leftover_a[span.a] -= current_a;
            leftover_a[span.b] += current_a;
            span_loss_w += drop_v * current_a;
        }
        for load in loads {
            let voltage_v = voltage(load.node);
            leftover_a[load.node] -= match load.kind {
                LoadKind::Power { power_w } => power_w / voltage_v,
                LoadKind::Current { current_a } => current_a,
                LoadKind::Resistance { resistance_ohm } => voltage_v / resistance_ohm,
            };
        }
        let mut source_currents_a = vec![0.0; self.network.sources.len()];
        for (i, source) in self.network.sources.iter().enumerate() {
            let current_a = match source.current_limit_a {
                Some(limit_a) if at_limit[i] => limit_a,
                _ if source.resistance_ohm > 0.0 => {
                    (source.voltage_v - voltage(source.node)) / source.resistance_ohm
                }
                _ => continue,
            };
            source_currents_a[i] = current_a;
            leftover_a[source.node] += current_a;
        }
        let mut short_a = 0.0;
        if let Some(short) = short {
            // What is left over in all nodes joined to the short flows into it.
            short_a = (0..joined.len())
                .filter(|&node| joined[node] == joined[short])
                .map(|node| leftover_a[node])
                .sum();
            leftover_a[short] -= short_a;
        }
        for joint in &self.topology.joints {
            let into_child_a = -leftover_a[joint.child];
            leftover_a[joint.child] = 0.0;
            leftover_a[joint.parent] -= into_child_a;
            let forwards = self.network.spans[joint.span].a == joint.parent;
            branch_currents_a[joint.span] = if forwards {
                into_child_a
            } else {
                -into_child_a
            };
        }
        for (i, source) in self.network.sources.iter().enumerate() {
            if source.resistance_ohm == 0.0 && !at_limit[i] {
                source_currents_a[i] = -leftover_a[source.node];
                leftover_a[source.node] = 0.0;
            }
        }
        let residual_a = leftover_a.iter().fold(0.0_f64, |most, a| most.max(a.abs()));
        Flows {
            branch_currents_a,
            source_currents_a,
            short_a,
            span_loss_w,
            residual_a,
        }
    }
}

/// Currents of a network at some voltages.
pub(crate) struct Flows {
    pub(crate) branch_currents_a: Vec<f64>,
    pub(crate) source_currents_a: Vec<f64>,
    /// Into the short.
    pub(crate) short_a: f64,
    pub(crate) span_loss_w: f64,
    pub(crate) residual_a: f64,
}

fn over_limit(sources: &[Source], currents_a: &[f64]) -> Vec<usize> {
    let over = |i: &usize| {
        sources[*i]
            .current_limit_a
            .is_some_and(|limit_a| currents_a[*i] > limit_a)
    };
    (0..sources.len()).filter(over).collect()
}

/// Refuses a node number that does not exist.
pub(crate) fn check_given_node(node: usize, nodes: usize) -> Result<(), NetworkError> {
    crate::network::check_node(Part::Node(node), node, nodes)
}
