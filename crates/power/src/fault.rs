//! Current into a bolted short circuit.
//!
//! Loads off, the node held at zero volts: with one source on a tree `I = V / (R_source + sum of R)`, in general the
//! current of Thevenin's source at the node. A source with a current limit gives at most its limit (constant current
//! beyond it). Limiting one source lowers every voltage, so the others only give more: sources are limited one round
//! after another until none is over, and none has to be released.
//!
//! Validity: bolted fault, cable at the resistances given, sources linear up to their limit; no arc, no capacitors,
//! no inductance. For the least current that a fuse must clear, give hot-cable resistances.

use crate::network::{Network, NetworkError, Source};
use crate::solver::{Solver, check_given_node};

/// Current that a short circuit at `node` draws, A, with all loads off.
///
/// Errors: as [`crate::solve`]; [`NetworkError::IdealShort`] at the node of an ideal source without a current limit.
/// Source: Thevenin's theorem, see the head of this module.
pub fn short_circuit_current_a(network: &Network, node: usize) -> Result<f64, NetworkError> {
    check_given_node(node, network.nodes)?;
    let solver = Solver::new(network)?;
    let mut fault = Fault::new(network, &solver, node)?;
    loop {
        let currents_a = fault.source_currents_a();
        let before = fault.at_limit.clone();
        for (i, source) in network.sources.iter().enumerate() {
            let over = source
                .current_limit_a
                .is_some_and(|limit_a| currents_a[i] > limit_a);
            fault.at_limit[i] |= over && fault.reaches(source.node);
        }
        if fault.at_limit == before {
            return Ok(fault.current_a());
        }
    }
}

struct Fault<'a> {
    network: &'a Network,
    solver: &'a Solver,
    joined: usize,
    part: Vec<Option<usize>>,
    at_limit: Vec<bool>,
    voltage_v: Vec<f64>,
    /// Current that leaves each joined node through the spans.
    outflow_a: Vec<f64>,
}

impl<'a> Fault<'a> {
    fn new(network: &'a Network, solver: &'a Solver, node: usize) -> Result<Self, NetworkError> {
        let topology = &solver.topology;
        let nodes = topology.joined_nodes();
        let joined = topology.joined[node];
        let mut at_limit = vec![false; network.sources.len()];
        for (source_index, source) in network.sources.iter().enumerate() {
            if source.resistance_ohm == 0.0 && topology.joined[source.node] == joined {
                if source.current_limit_a.is_none() {
                    return Err(NetworkError::IdealShort { source_index });
                }
                at_limit[source_index] = true;
            }
        }
        Ok(Self {
            network,
            solver,
            joined,
            part: topology.parts(&vec![false; nodes]),
            at_limit,
            voltage_v: vec![0.0; nodes],
            outflow_a: vec![0.0; nodes],
        })
    }

    fn reaches(&self, node: usize) -> bool {
        self.part[self.solver.topology.joined[node]] == self.part[self.joined]
    }

    /// Solves with the sources at their limits as they stand; current of each source.
    fn source_currents_a(&mut self) -> Vec<f64> {
        let topology = &self.solver.topology;
        let nodes = topology.joined_nodes();
        let mut to_ground_s = vec![0.0; nodes];
        let mut inject_a = vec![0.0; nodes];
        let mut held: Vec<bool> = (0..nodes)
            .map(|i| i == self.joined || self.part[i] != self.part[self.joined])
            .collect();
        self.voltage_v.fill(0.0);
        for (i, source) in self.network.sources.iter().enumerate() {
            let node = topology.joined[source.node];
            if let (true, Some(limit_a)) = (self.at_limit[i], source.current_limit_a) {
                inject_a[node] += limit_a;
            } else if source.resistance_ohm > 0.0 {
                to_ground_s[node] += 1.0 / source.resistance_ohm;
                inject_a[node] += source.voltage_v / source.resistance_ohm;
            } else {
                held[node] = true;
                self.voltage_v[node] = source.voltage_v;
            }
        }
        let mut factor = topology.elimination.new_factor();
        let mut s = to_ground_s.clone();
        let mut r = inject_a.clone();
        topology
            .elimination
            .factor(&mut s, &held, &mut factor)
            .expect("every node of the part reaches the fault, which is held");
        topology
            .elimination
            .solve(&factor, &held, &mut r, &mut self.voltage_v);
        self.outflow_a.fill(0.0);
        for resistor in &topology.resistors {
            let drop_v = self.voltage_v[resistor.a] - self.voltage_v[resistor.b];
            self.outflow_a[resistor.a] += drop_v * resistor.conductance_s;
            self.outflow_a[resistor.b] -= drop_v * resistor.conductance_s;
        }
        let given_a: Vec<f64> = (0..nodes)
            .map(|i| inject_a[i] - to_ground_s[i] * self.voltage_v[i])
            .collect();
        self.outflow_a[self.joined] -= given_a[self.joined];
        let current_a = |(i, source): (usize, &Source)| {
            let node = topology.joined[source.node];
            match source.current_limit_a {
                Some(limit_a) if self.at_limit[i] => limit_a,
                _ if source.resistance_ohm > 0.0 => {
                    (source.voltage_v - self.voltage_v[node]) / source.resistance_ohm
                }
                _ => self.outflow_a[node] - given_a[node],
            }
        };
        self.network
            .sources
            .iter()
            .enumerate()
            .map(current_a)
            .collect()
    }

    /// What flows into the fault: what sources at its node give, and what the spans bring.
    fn current_a(&self) -> f64 {
        -self.outflow_a[self.joined]
    }
}
