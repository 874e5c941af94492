//! What may still be added at a place.
//!
//! The largest extra constant power at one node with every node at or above its lowest voltage and the network on the
//! branch of high voltage. Every voltage falls as the power grows (the inverse of the Jacobian has no negative
//! entries there), so bisection with the Newton of [`crate::solver`] encloses it. Accuracy: 1e-12 of the result.
//! Current limits of sources are not looked at.

use crate::network::{Network, NetworkError, Part, check_zero_or_more};
use crate::solver::{Outcome, Scratch, Solver, check_given_node};

const WIDTH: f64 = 1e-12;
const MOST_HALVINGS: u32 = 200;
const MOST_DOUBLINGS: u32 = 1000;

/// Largest constant power that can be added at `node`, W.
///
/// `minimum_v` holds the lowest voltage allowed at each node, V, in order of nodes; zero where only collapse counts.
/// Infinite at a node held by an ideal source.
///
/// Errors: as [`crate::solve`]; [`NetworkError::BelowMinimum`] if a node is too low before anything is added;
/// [`NetworkError::WrongLength`].
/// Source: definition, see the head of this module.
pub fn headroom_w(network: &Network, node: usize, minimum_v: &[f64]) -> Result<f64, NetworkError> {
    check_given_node(node, network.nodes)?;
    if minimum_v.len() != network.nodes {
        return Err(NetworkError::WrongLength {
            quantity: "minimum_v",
            given: minimum_v.len(),
            wanted: network.nodes,
        });
    }
    for (i, &v) in minimum_v.iter().enumerate() {
        check_zero_or_more(Part::Node(i), "minimum_v", v)?;
    }
    let solver = Solver::new(network)?;
    let mut scratch = solver.scratch();
    let before = solver.solve(&network.loads, &mut scratch)?;
    if let Some(low) = (0..network.nodes).find(|&i| before.voltages_v[i] < minimum_v[i]) {
        return Err(NetworkError::BelowMinimum {
            node: low,
            voltage_v: before.voltages_v[low],
            minimum_v: minimum_v[low],
        });
    }
    let place = solver.topology.joined[node];
    if solver.held[place] {
        return Ok(f64::INFINITY);
    }
    let base_w = scratch.power_w[place];
    let mut allowed_v = scratch.voltage_v.clone();
    let mut allows = |extra_w: f64, scratch: &mut Scratch| {
        scratch.power_w[place] = base_w + extra_w;
        scratch.voltage_v.copy_from_slice(&allowed_v);
        let operating = matches!(solver.descend(1.0, scratch), Outcome::Operating { .. });
        let allowed = operating
            && (0..minimum_v.len()).all(|i| {
                let v = scratch.voltage_v[solver.topology.joined[i]];
                v > 0.0 && v >= minimum_v[i]
            });
        if allowed {
            allowed_v.copy_from_slice(&scratch.voltage_v);
        }
        allowed
    };
    let (mut low_w, mut high_w) = (0.0, 1.0);
    for _ in 0..MOST_DOUBLINGS {
        if !allows(high_w, &mut scratch) {
            break;
        }
        low_w = high_w;
        high_w *= 2.0;
    }
    for _ in 0..MOST_HALVINGS {
        if high_w - low_w <= WIDTH * high_w {
            break;
        }
        let middle_w = 0.5 * (low_w + high_w);
        if allows(middle_w, &mut scratch) {
            low_w = middle_w;
        } else {
            high_w = middle_w;
        }
    }
    Ok(low_w)
}
