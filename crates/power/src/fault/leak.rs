//! A leak from the conductors to the water at two places, one on each conductor.
//!
//! Water joins the two places without resistance of its own. Of a supply whose negative pole is connected to the water one
//! leak suffices: the other place is the supply's own node. Of a floating one both conductors must leak before any current
//! flows.
//!
//! The line is balanced: both conductors of every span alike. Then voltage and current split into a part between the
//! conductors, in the loop resistances that the network has, and a part of both against the water, in a quarter of them
//! (both conductors side by side). Loads hang between the conductors and see the first part only. A current I that leaves
//! the positive conductor at x and enters the negative one at y is a load of I/2 at x and one of I/2 at y in the first part,
//! and I from x to y in the second: with R_xy the loop resistance between the two places, all spans alone,
//! `I R = (V_x + V_y)/2 - I R_xy/4`. V falls as I grows, so there is one I. Derived here; no publication was followed.
//!
//! At one place the leak is a resistor between the conductors, and is taken as one. At two it is followed by its current, and
//! given up where a constant current of that size would collapse the line, which is a little before a resistor would.
//!
//! Validity: balanced spans; no resistance of sea or electrodes but what the leak is given; no electrolysis. Parts of the
//! network that are joined by sources only are not joined here: [`NetworkError::Unfed`].

use super::contact::{Borne, Tried, check_nodes, first_break};
use crate::network::{
    Branch, Load, LoadKind, Network, NetworkError, Part, Solution, Source, check_above_zero,
};
use crate::reserve::Limits;
use crate::solver::solve;

const FIRST_A: f64 = 1e-6;
const FIRST_S: f64 = 1e-9;
const HALVINGS: u32 = 100;
/// A voltage balance this good, against the highest voltage, is rounding of the halvings.
const BALANCED: f64 = 1e-7;

/// What a leak does.
#[derive(Clone, Debug, PartialEq)]
pub struct Leak {
    /// Current through the water, A.
    pub current_a: f64,
    /// Power turned to heat in the leak itself, W.
    pub leak_w: f64,
    /// What the sources give more than without it, at their nodes, W.
    pub cost_w: f64,
    /// The operating point with it; voltages between the conductors.
    pub solution: Solution,
}

/// The network with `span` cut in two at a share of its length, 0 to 1 from its `a`, and the node there.
///
/// Errors: a span that does not exist; a share outside 0 to 1.
pub fn at_place(
    network: &Network,
    span: usize,
    share: f64,
) -> Result<(Network, usize), NetworkError> {
    let Some(&branch) = network.spans.get(span) else {
        return Err(NetworkError::NoSuchSpan {
            span,
            spans: network.spans.len(),
        });
    };
    if !(0.0..=1.0).contains(&share) {
        return Err(NetworkError::BadValue {
            part: Part::Span(span),
            quantity: "share",
            value: share,
            wanted: "0 to 1",
        });
    }
    if share == 0.0 {
        return Ok((network.clone(), branch.a));
    }
    if share == 1.0 {
        return Ok((network.clone(), branch.b));
    }
    let mut cut = network.clone();
    let place = cut.nodes;
    cut.nodes += 1;
    cut.spans[span] = Branch {
        b: place,
        resistance_ohm: share * branch.resistance_ohm,
        ..branch
    };
    cut.spans.push(Branch {
        a: place,
        b: branch.b,
        resistance_ohm: (1.0 - share) * branch.resistance_ohm,
    });
    Ok((cut, place))
}

/// What a leak of `resistance_ohm` does that leaves the positive conductor at node `from` and enters the negative one at
/// node `into`; the resistances of both ends in the water together. Of an earthed supply `into` is the supply's node.
///
/// Errors: as [`crate::solve`], with and without the leak; a resistance that is not finite and above zero.
/// [`NetworkError::LeakNotCarried`] if the line has no operating point with it.
/// Source: see the head of this module.
pub fn leak(
    network: &Network,
    from: usize,
    into: usize,
    resistance_ohm: f64,
) -> Result<Leak, NetworkError> {
    check_nodes(network, [from, into])?;
    check_above_zero(Part::Node(from), "resistance_ohm", resistance_ohm)?;
    let without = solve(network)?;
    let given_w = |s: &Solution| {
        let each = network.sources.iter().zip(&s.source_currents_a);
        each.map(|(source, a)| s.voltages_v[source.node] * a)
            .sum::<f64>()
    };
    let told = |current_a: f64, solution: Solution| Leak {
        current_a,
        leak_w: current_a * current_a * resistance_ohm,
        cost_w: given_w(&solution) - given_w(&without),
        solution,
    };
    if from == into {
        return match solve(&with_resistor(network, from, resistance_ohm)) {
            Ok(solution) => Ok(told(solution.voltages_v[from] / resistance_ohm, solution)),
            Err(NetworkError::CannotCarry { .. } | NetworkError::CurrentLoadsCollapse { .. }) => {
                Err(NetworkError::LeakNotCarried { resistance_ohm })
            }
            Err(other) => Err(other),
        };
    }
    let whole_ohm = resistance_ohm + 0.25 * between_ohm(network, from, into)?;
    let driving_v = |s: &Solution| 0.5 * (s.voltages_v[from] + s.voltages_v[into]);
    let (mut low_a, mut high_a) = (0.0, driving_v(&without) / whole_ohm);
    let mut leaking = with_current(network, from, into);
    let mut at_low = without.clone();
    for _ in 0..HALVINGS {
        let middle_a = 0.5 * (low_a + high_a);
        set_current(&mut leaking, middle_a);
        match solve(&leaking) {
            Ok(solution) if driving_v(&solution) >= middle_a * whole_ohm => {
                (low_a, at_low) = (middle_a, solution);
            }
            Ok(_)
            | Err(NetworkError::CannotCarry { .. } | NetworkError::CurrentLoadsCollapse { .. }) => {
                high_a = middle_a;
            }
            Err(other) => return Err(other),
        }
    }
    let highest_v = network
        .sources
        .iter()
        .fold(0.0, |most, s| f64::max(most, s.voltage_v));
    if driving_v(&at_low) - low_a * whole_ohm > BALANCED * highest_v {
        return Err(NetworkError::LeakNotCarried { resistance_ohm });
    }
    Ok(told(low_a, at_low))
}

/// The leak resistance from `from` to `into` at which the first limit is broken, and which; zero where the line bears a dead
/// short between the two places, infinite where a limit is broken without any leak.
///
/// Errors: as [`leak`], but for loads that cannot be carried; lists of another length.
/// Source: see the head of this module.
pub fn leak_borne(
    network: &Network,
    from: usize,
    into: usize,
    limits: &Limits,
) -> Result<Borne, NetworkError> {
    check_nodes(network, [from, into])?;
    // A leak is a load: the network stays as it was planned.
    let mut tried = Tried::new(network, limits)?;
    if from == into {
        let (leak_s, binds) = first_break(FIRST_S, |leak_s| {
            if leak_s == 0.0 {
                tried.broken(&network.loads)
            } else {
                tried.broken(&with_resistor(network, from, 1.0 / leak_s).loads)
            }
        })?;
        return Ok(Borne {
            resistance_ohm: 1.0 / leak_s,
            binds,
        });
    }
    let common_ohm = 0.25 * between_ohm(network, from, into)?;
    let mut leaking = with_current(network, from, into);
    let (current_a, binds) = first_break(FIRST_A, |current_a| {
        set_current(&mut leaking, current_a);
        tried.broken(&leaking.loads)
    })?;
    if current_a == 0.0 {
        return Ok(Borne {
            resistance_ohm: f64::INFINITY,
            binds,
        });
    }
    if current_a.is_infinite() {
        return Ok(Borne {
            resistance_ohm: 0.0,
            binds: None,
        });
    }
    set_current(&mut leaking, current_a);
    let at = match solve(&leaking) {
        Ok(solution) => solution,
        Err(_) => {
            // At the collapse itself: just short of it.
            set_current(&mut leaking, current_a * (1.0 - 1e-9));
            solve(&leaking)?
        }
    };
    let driving_v = 0.5 * (at.voltages_v[from] + at.voltages_v[into]);
    let resistance_ohm = driving_v / current_a - common_ohm;
    Ok(if resistance_ohm > 0.0 {
        Borne {
            resistance_ohm,
            binds,
        }
    } else {
        Borne {
            resistance_ohm: 0.0,
            binds: None,
        }
    })
}

fn with_resistor(network: &Network, node: usize, resistance_ohm: f64) -> Network {
    let mut leaking = network.clone();
    leaking.loads.push(Load {
        node,
        kind: LoadKind::Resistance { resistance_ohm },
    });
    leaking
}

/// Two loads more: half the current at each place.
fn with_current(network: &Network, from: usize, into: usize) -> Network {
    let mut leaking = network.clone();
    for node in [from, into] {
        leaking.loads.push(Load {
            node,
            kind: LoadKind::Current { current_a: 0.0 },
        });
    }
    leaking
}

fn set_current(leaking: &mut Network, current_a: f64) {
    let first = leaking.loads.len() - 2;
    for load in &mut leaking.loads[first..] {
        load.kind = LoadKind::Current {
            current_a: 0.5 * current_a,
        };
    }
}

/// Loop resistance between two nodes through the spans alone, ohm.
fn between_ohm(network: &Network, from: usize, into: usize) -> Result<f64, NetworkError> {
    if from == into {
        return Ok(0.0);
    }
    let voltage_v = 1.0 + network.spans.iter().map(|s| s.resistance_ohm).sum::<f64>();
    let spans_alone = Network {
        nodes: network.nodes,
        spans: network.spans.clone(),
        sources: vec![Source {
            node: into,
            voltage_v,
            resistance_ohm: 0.0,
            current_limit_a: None,
        }],
        loads: vec![Load {
            node: from,
            kind: LoadKind::Current { current_a: 1.0 },
        }],
    };
    Ok(voltage_v - solve(&spans_alone)?.voltages_v[from])
}
