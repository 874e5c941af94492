//! What falls out of a network that cannot carry all, and what it goes on carrying.
//!
//! Where there is no operating point, something falls out, and what lies elsewhere should not. Shorts and contacts ([`crate::fault`]) rest on the same rule. At the point of collapse (`crate::nose`) the voltages
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
                let lowest_v: Vec<f64> = left.iter().map(|load| lowest_v[load.node]).collect();
                let (load, share) = first_to_fall(&solver, &left, &lowest_v, &mut scratch)?;
                let node = left[load].node;
                fallen.push(
                    share.map_or(Fallen::Currents { node }, |share| Fallen::Powers {
                        node,
                        share,
                    }),
                );
            }
            Err(NetworkError::CurrentLoadsCollapse { .. }) => {
                let node = left[lowest_current(&solver, &left, &scratch)].node;
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

/// Of loads that have no operating point together the first that falls out, by its place in `loads`, with the share of the constant powers that
/// has one; none where constant currents pull its node to zero volts. `lowest_v` holds the lowest voltage of each load.
pub(crate) fn first_to_fall(
    solver: &Solver,
    loads: &[Load],
    lowest_v: &[f64],
    scratch: &mut Scratch,
) -> Result<(usize, Option<f64>), NetworkError> {
    match solver.nose_of(loads, scratch) {
        Ok(nose) => {
            let first = first_below(solver, loads, &nose, scratch, lowest_v);
            Ok((first, Some(nose.factor)))
        }
        Err(NetworkError::CurrentLoadsCollapse { .. }) => {
            Ok((lowest_current(solver, loads, scratch), None))
        }
        Err(other) => Err(other),
    }
}

/// Of the loads behind the collapse the one that comes to its lowest voltage first; voltages beside the collapse in the scratch.
fn first_below(
    solver: &Solver,
    loads: &[Load],
    nose: &Nose,
    scratch: &Scratch,
    lowest_v: &[f64],
) -> usize {
    let joined = |load: usize| solver.topology.joined[loads[load].node];
    let falls = |load: usize| nose.falls[joined(load)];
    let draws =
        |load: &usize| matches!(loads[*load].kind, LoadKind::Power { power_w } if power_w > 0.0);
    let fastest = nose.falls[solver.topology.joined[nose.node]];
    let left_v = |load: usize| (scratch.voltage_v[joined(load)] - lowest_v[load]) / falls(load);
    (0..loads.len())
        .filter(draws)
        .filter(|load| falls(*load) >= BEHIND * fastest)
        .min_by(|&a, &b| {
            let sooner = left_v(a).total_cmp(&left_v(b));
            let faster = falls(b).total_cmp(&falls(a));
            sooner.then(faster).then(loads[a].node.cmp(&loads[b].node))
        })
        .expect("the node that falls fastest draws constant power")
}

/// Of the loads of constant current that at the node with the lowest voltage, of equals the first.
fn lowest_current(solver: &Solver, loads: &[Load], scratch: &Scratch) -> usize {
    let voltage_v = |load: usize| scratch.voltage_v[solver.topology.joined[loads[load].node]];
    (0..loads.len())
        .filter(
            |load| matches!(loads[*load].kind, LoadKind::Current { current_a } if current_a > 0.0),
        )
        .min_by(|&a, &b| {
            let lower = voltage_v(a).total_cmp(&voltage_v(b));
            lower.then(loads[a].node.cmp(&loads[b].node))
        })
        .expect("only constant currents pull a node of the network below zero")
}
