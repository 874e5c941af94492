//! Currents into a bolted short circuit, and which loads live through it.
//!
//! The node held at zero volts: with one source on a tree and no loads `I = V / (R_source + sum of R)`, in general the
//! current of Thevenin's source at the node. A source with a current limit gives at most its limit (constant current
//! beyond it). Limiting one source lowers every voltage, so the others only give more: sources are limited one round
//! after another until none is over, and none has to be released.
//!
//! Loads drop out when their voltage falls below their lowest, from all on downwards: of each round's operating point all
//! that are below their lowest go off, at once, and none comes back. Where a round has no operating point (constant power
//! at a falling voltage draws ever more), the one goes that comes to its lowest voltage first as the voltages collapse, by the rule
//! of [`crate::carried()`], with what hangs at its node and stays on no longer than it. Every round but the last switches at least one
//! load off, so there are at most as many rounds as loads, and one. A load that is off and whose voltage has come back would start
//! again: that is the start-up's matter.
//!
//! Validity: bolted fault, cable at the resistances given, sources linear up to their limit; no arc, no capacitors,
//! no inductance. For the least current that a fuse must clear, give hot-cable resistances.

use crate::carried::first_to_fall;
use crate::network::{Load, LoadKind, Network, NetworkError, Part, check_above_zero, check_load};
use crate::solver::{Flows, Outcome, Scratch, Solver, check_given_node};

/// A network at rest after its loads have dropped out, with or without a short.
#[derive(Clone, Debug, PartialEq)]
pub struct Faulted {
    /// Current into the short, A; zero without one.
    pub short_a: f64,
    /// Voltage of each node, V.
    pub voltages_v: Vec<f64>,
    /// Current in each span from its `a` to its `b`, A.
    pub branch_currents_a: Vec<f64>,
    /// Current each source gives, A; negative where it is fed backwards.
    pub source_currents_a: Vec<f64>,
    /// Sources that the short takes to their current limit, by index.
    pub at_limit: Vec<usize>,
    /// Sources away from the short that are asked for more than their limit, by index; their voltages are those without
    /// the limit.
    pub over_limit: Vec<usize>,
    /// Whether each load still draws.
    pub on: Vec<bool>,
    /// Rounds of dropping out, the last one included in which none did.
    pub rounds: u32,
    /// Largest current left over at any node, A.
    pub residual_a: f64,
}

/// Current that a short circuit at `node` draws, A, with all loads off.
///
/// Errors: as [`crate::solve`]; [`NetworkError::IdealShort`] at the node of an ideal source without a current limit.
/// Source: Thevenin's theorem, see the head of this module.
pub fn short_circuit_current_a(network: &Network, node: usize) -> Result<f64, NetworkError> {
    let unloaded = Network {
        loads: Vec::new(),
        ..network.clone()
    };
    Ok(bolted_short(&unloaded, node, &[])?.short_a)
}

/// What a short circuit at `node` does, and which loads live through it.
///
/// `lowest_v` holds for each load of the network the voltage below which it is off, V: above zero for constant power and
/// constant current, zero or more for a resistor.
///
/// Errors: those of [`Solver::new`]; loads and voltages out of range, a list of another length;
/// [`NetworkError::IdealShort`] at the node of an ideal source without a current limit.
/// Source: see the head of this module.
pub fn bolted_short(
    network: &Network,
    node: usize,
    lowest_v: &[f64],
) -> Result<Faulted, NetworkError> {
    check_given_node(node, network.nodes)?;
    rest(network, Some(node), lowest_v)
}

/// The network without a short, after all loads have dropped out that cannot live: as [`bolted_short`].
///
/// Errors: as [`bolted_short`] without the last.
pub fn settled(network: &Network, lowest_v: &[f64]) -> Result<Faulted, NetworkError> {
    rest(network, None, lowest_v)
}

fn rest(
    network: &Network,
    short: Option<usize>,
    lowest_v: &[f64],
) -> Result<Faulted, NetworkError> {
    check_lowest(network, lowest_v)?;
    let solver = Solver::new(network)?;
    let fault = Fault::new(network, &solver, short)?;
    let mut on = vec![true; network.loads.len()];
    let mut rounds = 0;
    loop {
        rounds += 1;
        match fault.round(&on, lowest_v)? {
            Round::Dropped(dropped) => {
                for load in dropped {
                    on[load] = false;
                }
            }
            Round::AtRest(scratch, flows, at_limit) => {
                let indices = |flags: &[bool]| (0..flags.len()).filter(|&i| flags[i]).collect();
                let over: Vec<bool> = network
                    .sources
                    .iter()
                    .enumerate()
                    .map(|(i, s)| {
                        let current_a = flows.source_currents_a[i];
                        !at_limit[i] && s.current_limit_a.is_some_and(|limit_a| current_a > limit_a)
                    })
                    .collect();
                return Ok(Faulted {
                    short_a: flows.short_a,
                    voltages_v: fault.given_voltages_v(&scratch),
                    branch_currents_a: flows.branch_currents_a,
                    source_currents_a: flows.source_currents_a,
                    at_limit: indices(&at_limit),
                    over_limit: indices(&over),
                    on,
                    rounds,
                    residual_a: flows.residual_a,
                });
            }
        }
    }
}

fn check_lowest(network: &Network, lowest_v: &[f64]) -> Result<(), NetworkError> {
    if lowest_v.len() != network.loads.len() {
        return Err(NetworkError::WrongLength {
            quantity: "lowest_v",
            given: lowest_v.len(),
            wanted: network.loads.len(),
        });
    }
    for (i, (load, &lowest)) in network.loads.iter().zip(lowest_v).enumerate() {
        check_load(i, load, network.nodes)?;
        let draws_at_zero = matches!(load.kind, LoadKind::Resistance { .. });
        if !(draws_at_zero && lowest == 0.0) {
            check_above_zero(Part::Load(i), "lowest_v", lowest)?;
        }
    }
    Ok(())
}

enum Round {
    /// These loads go off.
    Dropped(Vec<usize>),
    /// None does; voltages in the scratch, currents, sources at their limit.
    AtRest(Box<Scratch>, Flows, Vec<bool>),
}

struct Fault<'a> {
    network: &'a Network,
    solver: &'a Solver,
    short: Option<usize>,
    /// Sources whose current can reach the short.
    reaches: Vec<bool>,
    /// Ideal sources at the short: at their limit from the start.
    first_limits: Vec<bool>,
}

impl<'a> Fault<'a> {
    fn new(
        network: &'a Network,
        solver: &'a Solver,
        short: Option<usize>,
    ) -> Result<Self, NetworkError> {
        let topology = &solver.topology;
        let part = topology.parts(&vec![false; topology.joined_nodes()]);
        let mut reaches = vec![false; network.sources.len()];
        let mut first_limits = reaches.clone();
        if let Some(short) = short {
            let joined = topology.joined[short];
            for (source_index, source) in network.sources.iter().enumerate() {
                let at = topology.joined[source.node];
                reaches[source_index] = part[at] == part[joined];
                if source.resistance_ohm == 0.0 && at == joined {
                    if source.current_limit_a.is_none() {
                        return Err(NetworkError::IdealShort { source_index });
                    }
                    first_limits[source_index] = true;
                }
            }
        }
        Ok(Self {
            network,
            solver,
            short,
            reaches,
            first_limits,
        })
    }

    /// Limits sources until none is over, or finds loads that cannot stay on.
    fn round(&self, on: &[bool], lowest_v: &[f64]) -> Result<Round, NetworkError> {
        let drawing: Vec<usize> = (0..on.len()).filter(|&i| on[i]).collect();
        let loads: Vec<Load> = drawing.iter().map(|&i| self.network.loads[i]).collect();
        let mut at_limit = self.first_limits.clone();
        loop {
            let faulted = self.solver.with_short(self.short, &at_limit);
            let mut scratch = faulted.scratch();
            faulted.gather(&loads, &mut scratch)?;
            faulted.free_voltages(&mut scratch);
            // These lie above every operating point, so what is too low here is too low there.
            let low = self.below(on, lowest_v, &scratch);
            if !low.is_empty() {
                return Ok(Round::Dropped(low));
            }
            match faulted.descend(1.0, &mut scratch) {
                Outcome::Operating { .. } => {}
                Outcome::NoOperatingPoint => {
                    let lowest: Vec<f64> = drawing.iter().map(|&i| lowest_v[i]).collect();
                    let (first, _) = first_to_fall(&faulted, &loads, &lowest, &mut scratch)?;
                    let falls =
                        |i: usize| loads[i].node == loads[first].node && lowest[i] >= lowest[first];
                    let fallen = (0..loads.len()).filter(|&i| falls(i));
                    return Ok(Round::Dropped(fallen.map(|i| drawing[i]).collect()));
                }
                Outcome::StillMoving { iterations } => {
                    let flows = faulted.flows(&loads, self.short, &at_limit, &mut scratch);
                    return Err(NetworkError::NotConverged {
                        iterations,
                        residual_a: flows.residual_a,
                    });
                }
            }
            let flows = faulted.flows(&loads, self.short, &at_limit, &mut scratch);
            let before = at_limit.clone();
            for (i, source) in self.network.sources.iter().enumerate() {
                let current_a = flows.source_currents_a[i];
                let over = source
                    .current_limit_a
                    .is_some_and(|limit_a| current_a > limit_a);
                at_limit[i] |= over && self.reaches[i];
            }
            if at_limit == before {
                let low = self.below(on, lowest_v, &scratch);
                return Ok(if low.is_empty() {
                    Round::AtRest(Box::new(scratch), flows, at_limit)
                } else {
                    Round::Dropped(low)
                });
            }
        }
    }

    fn given_voltages_v(&self, scratch: &Scratch) -> Vec<f64> {
        let joined = &self.solver.topology.joined;
        joined.iter().map(|&j| scratch.voltage_v[j]).collect()
    }

    fn voltage_v(&self, load: usize, scratch: &Scratch) -> f64 {
        scratch.voltage_v[self.solver.topology.joined[self.network.loads[load].node]]
    }

    fn below(&self, on: &[bool], lowest_v: &[f64], scratch: &Scratch) -> Vec<usize> {
        (0..on.len())
            .filter(|&i| on[i] && self.voltage_v(i, scratch) < lowest_v[i])
            .collect()
    }
}
