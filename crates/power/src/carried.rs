//! What a network goes on carrying when it cannot carry all.
//!
//! Where there is no operating point, something falls out, and what lies elsewhere should not. At the point of collapse (`crate::nose`) the voltages
//! fall along the vector `w` of the singular Jacobian: 1 at the node that falls fastest, next to nothing at nodes that the collapse does not concern (the
//! participation of nodes in a collapse by that vector is usual in the study of power systems; Gao, Morison and Kundur 1992, from memory).
//!
//! The rule: behind the collapse lie the nodes that draw constant power and fall at least half as fast as the fastest of them (the half is
//! ours). As the voltages fall on from the point of collapse, `V - t w`, one of these comes to its lowest voltage first: at the least `(V - lowest)/w`, of
//! equals the one that falls faster, then the one of lower number. All that hangs at it falls out, and the rest is solved again. Where constant
//! currents pull a node to zero volts or below, the one of them with the lowest voltage falls out instead. Where the rest asks a source for more than its
//! current limit, all that is connected with that source has no voltage. Each round but the last switches at least one load off.
//!
//! Voltages that are too low at an operating point are the caller's matter.

use crate::network::{Load, LoadKind, Network, NetworkError, Solution};
use crate::nose::Nose;
use crate::solver::{Scratch, Solver};

/// Behind a collapse lies what falls at least so fast as this share of the fastest.
const BEHIND: f64 = 0.5;

/// The operating point of what a network goes on carrying.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// The operating point without what has fallen out; zero volts and amperes where a source is overloaded.
    pub solution: Solution,
    /// What fell out, in order.
    pub fallen: Vec<Fallen>,
    /// Whether each load still draws.
    pub on: Vec<bool>,
}

/// A node whose loads fall out, or a source with all that is connected with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fallen {
    /// The constant-power loads have no operating point.
    Powers {
        /// The node.
        node: usize,
        /// Largest common factor on the constant-power loads that were still on for which there is one; below 1.
        share: f64,
    },
    /// The constant currents pull it to zero volts or below.
    Currents {
        /// The node.
        node: usize,
    },
    /// It is asked for more than its current limit: it and all that is connected with it has no voltage.
    Overloaded {
        /// The source.
        source: usize,
    },
}

/// What the network goes on carrying. `lowest_v` holds for each node the voltage below which what hangs there falls out, V, zero or more.
///
/// Errors: as [`crate::solve`], without `CannotCarry` and `CurrentLoadsCollapse`; a list of another length.
/// Source: see the head of this module.
pub fn carried(network: &Network, lowest_v: &[f64]) -> Result<Carried, NetworkError> {
    if lowest_v.len() != network.nodes {
        return Err(NetworkError::WrongLength {
            quantity: "lowest_v",
            given: lowest_v.len(),
            wanted: network.nodes,
        });
    }
    let solver = Solver::new(network)?;
    let mut scratch = solver.scratch();
    let mut on = vec![true; network.loads.len()];
    let mut dark = vec![false; network.nodes];
    let mut fallen = Vec::new();
    loop {
        let left: Vec<Load> = (network.loads.iter().zip(&on))
            .filter_map(|(load, on)| on.then_some(*load))
            .collect();
        match solver.solve(&left, &mut scratch) {
            Ok(solution) => {
                let mut over = solution.limited.clone();
                over.retain(|source| !dark[network.sources[*source].node]);
                if over.is_empty() {
                    return Ok(Carried {
                        solution: darkened(network, solution, &dark),
                        fallen,
                        on,
                    });
                }
                for &source in &over {
                    darken(&solver, network.sources[source].node, &mut dark);
                    fallen.push(Fallen::Overloaded { source });
                }
            }
            Err(NetworkError::CannotCarry { .. }) => {
                let nose = solver.nose_of(&left, &mut scratch)?;
                let node = first_below(&solver, &left, &nose, &scratch, lowest_v);
                let share = nose.factor;
                fallen.push(Fallen::Powers { node, share });
            }
            Err(NetworkError::CurrentLoadsCollapse { .. }) => {
                let node = lowest_current(&solver, &left, &scratch);
                fallen.push(Fallen::Currents { node });
            }
            Err(other) => return Err(other),
        }
        for (load, on) in network.loads.iter().zip(&mut on) {
            let falls = |f: &Fallen| match *f {
                Fallen::Powers { node, .. } | Fallen::Currents { node } => node == load.node,
                Fallen::Overloaded { .. } => dark[load.node],
            };
            *on &= !fallen.iter().any(falls);
        }
    }
}

/// All that is connected with a node.
fn darken(solver: &Solver, node: usize, dark: &mut [bool]) {
    let topology = &solver.topology;
    let part = topology.parts(&vec![false; topology.joined_nodes()]);
    for (other, dark) in dark.iter_mut().enumerate() {
        *dark |= part[topology.joined[other]] == part[topology.joined[node]];
    }
}

/// The solution with nothing where it is dark.
fn darkened(network: &Network, solution: Solution, dark: &[bool]) -> Solution {
    let mut lit = solution;
    for (node, voltage_v) in lit.voltages_v.iter_mut().enumerate() {
        if dark[node] {
            *voltage_v = 0.0;
        }
    }
    for (span, current_a) in network.spans.iter().zip(&mut lit.branch_currents_a) {
        if dark[span.a] {
            lit.span_loss_w -= *current_a * *current_a * span.resistance_ohm;
            *current_a = 0.0;
        }
    }
    for (source, current_a) in network.sources.iter().zip(&mut lit.source_currents_a) {
        if dark[source.node] {
            *current_a = 0.0;
        }
    }
    for list in [&mut lit.limited, &mut lit.backfed] {
        list.retain(|source| !dark[network.sources[*source].node]);
    }
    lit
}

/// Of the nodes behind the collapse the one that comes to its lowest voltage first; voltages beside the collapse in the scratch.
fn first_below(
    solver: &Solver,
    left: &[Load],
    nose: &Nose,
    scratch: &Scratch,
    lowest_v: &[f64],
) -> usize {
    let joined = &solver.topology.joined;
    let falls = |node: usize| nose.falls[joined[node]];
    let draws = |load: &&Load| matches!(load.kind, LoadKind::Power { power_w } if power_w > 0.0);
    let fastest = falls(nose.node);
    let left_v = |node: usize| (scratch.voltage_v[joined[node]] - lowest_v[node]) / falls(node);
    let first = left
        .iter()
        .filter(draws)
        .map(|load| load.node)
        .filter(|node| falls(*node) >= BEHIND * fastest)
        .min_by(|a, b| {
            let sooner = left_v(*a).total_cmp(&left_v(*b));
            sooner.then(falls(*b).total_cmp(&falls(*a))).then(a.cmp(b))
        });
    first.unwrap_or(nose.node)
}

/// Of the nodes that draw constant current the one with the lowest voltage, of equals the first.
fn lowest_current(solver: &Solver, left: &[Load], scratch: &Scratch) -> usize {
    let voltage_v = |node: &usize| scratch.voltage_v[solver.topology.joined[*node]];
    left.iter()
        .filter(|load| matches!(load.kind, LoadKind::Current { current_a } if current_a > 0.0))
        .map(|load| load.node)
        .min_by(|a, b| voltage_v(a).total_cmp(&voltage_v(b)).then(a.cmp(b)))
        .expect("only constant currents pull a node of the network below zero")
}
