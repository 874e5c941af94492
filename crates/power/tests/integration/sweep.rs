//! Two other ways to the operating point, which share nothing with the crate but its types: on trees the backward and forward
//! sweep (currents summed from the ends to the source, voltages from the source to the ends, again and again; Shirmohammadi
//! et al. 1988; from memory), on meshes the fixed point `V = G^-1 (J - I - P/V)` with a dense matrix. Both come to rest
//! linearly, at the highest voltages when they begin there.

use power::{LoadKind, Network, NetworkError, solve};
use proptest::prelude::*;

use crate::properties::{check_laws, network};

const MOST_ROUNDS: usize = 20_000;
/// Change of a round, against the highest source voltage, at which both are taken to be at rest; near collapse what is left is some
/// hundred times as much.
const REST: f64 = 1e-14;
const SAME_V: f64 = 1e-8;

/// Current of the loads at each node, A.
fn drawn_a(network: &Network, voltages_v: &[f64]) -> Vec<f64> {
    let mut drawn_a = vec![0.0; network.nodes];
    for load in &network.loads {
        let voltage_v = voltages_v[load.node];
        drawn_a[load.node] += match load.kind {
            LoadKind::Power { power_w } => power_w / voltage_v,
            LoadKind::Current { current_a } => current_a,
            LoadKind::Resistance { resistance_ohm } => voltage_v / resistance_ohm,
        };
    }
    drawn_a
}

/// A tree with one source. `None` when it does not come to rest at voltages above zero.
fn sweep(network: &Network) -> Option<Vec<f64>> {
    let source = network.sources[0];
    let mut order = vec![source.node];
    let mut fed_by: Vec<Option<(usize, f64)>> = vec![None; network.nodes];
    let mut next = 0;
    while next < order.len() {
        let node = order[next];
        next += 1;
        for span in &network.spans {
            let other = match (span.a == node, span.b == node) {
                (true, _) => span.b,
                (_, true) => span.a,
                _ => continue,
            };
            if other != source.node && fed_by[other].is_none() {
                fed_by[other] = Some((node, span.resistance_ohm));
                order.push(other);
            }
        }
    }
    let mut voltages_v = vec![source.voltage_v; network.nodes];
    for _ in 0..MOST_ROUNDS {
        let mut through_a = drawn_a(network, &voltages_v);
        for &node in order.iter().rev() {
            if let Some((parent, _)) = fed_by[node] {
                through_a[parent] += through_a[node];
            }
        }
        let mut change_v = 0.0_f64;
        for &node in &order {
            let voltage_v = match fed_by[node] {
                Some((parent, ohm)) => voltages_v[parent] - ohm * through_a[node],
                None => source.voltage_v - source.resistance_ohm * through_a[node],
            };
            change_v = change_v.max((voltage_v - voltages_v[node]).abs());
            voltages_v[node] = voltage_v;
        }
        if voltages_v.iter().any(|v| !v.is_finite() || *v <= 0.0) {
            return None;
        }
        if change_v <= REST * source.voltage_v {
            return Some(voltages_v);
        }
    }
    None
}

/// Any network without spans of zero resistance. `None` as above.
fn fixed_point(network: &Network) -> Option<Vec<f64>> {
    let n = network.nodes;
    let mut matrix = vec![vec![0.0; n]; n];
    for span in &network.spans {
        let g = 1.0 / span.resistance_ohm;
        matrix[span.a][span.a] += g;
        matrix[span.b][span.b] += g;
        matrix[span.a][span.b] -= g;
        matrix[span.b][span.a] -= g;
    }
    let mut inject_a = vec![0.0; n];
    let mut held_v = vec![None; n];
    for source in &network.sources {
        if source.resistance_ohm > 0.0 {
            matrix[source.node][source.node] += 1.0 / source.resistance_ohm;
            inject_a[source.node] += source.voltage_v / source.resistance_ohm;
        } else {
            held_v[source.node] = Some(source.voltage_v);
        }
    }
    for (node, held) in held_v.iter().enumerate() {
        if held.is_some() {
            matrix[node].fill(0.0);
            matrix[node][node] = 1.0;
        }
    }
    // Gauss without pivoting: rows are diagonally dominant.
    for k in 0..n {
        for i in k + 1..n {
            let by = matrix[i][k] / matrix[k][k];
            if by != 0.0 {
                matrix[i][k] = by;
                for j in k + 1..n {
                    matrix[i][j] -= by * matrix[k][j];
                }
            }
        }
    }
    let highest_v = network
        .sources
        .iter()
        .map(|s| s.voltage_v)
        .fold(0.0, f64::max);
    let mut voltages_v = vec![highest_v; n];
    for _ in 0..MOST_ROUNDS {
        let drawn_a = drawn_a(network, &voltages_v);
        let mut x: Vec<f64> = (0..n)
            .map(|i| held_v[i].unwrap_or(inject_a[i] - drawn_a[i]))
            .collect();
        for i in 0..n {
            for j in 0..i {
                x[i] -= matrix[i][j] * x[j];
            }
        }
        for i in (0..n).rev() {
            for j in i + 1..n {
                x[i] -= matrix[i][j] * x[j];
            }
            x[i] /= matrix[i][i];
        }
        let change_v = x
            .iter()
            .zip(&voltages_v)
            .fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
        if x.iter().any(|v| !v.is_finite() || *v <= 0.0) {
            return None;
        }
        voltages_v = x;
        if change_v <= 100.0 * REST * highest_v {
            return Some(voltages_v);
        }
    }
    None
}

fn compare(network: &Network, theirs: Option<Vec<f64>>) -> Result<(), TestCaseError> {
    match (solve(network), theirs) {
        (Ok(ours), Some(theirs)) => {
            check_laws(network, &ours)?;
            for (node, (ours_v, theirs_v)) in ours.voltages_v.iter().zip(&theirs).enumerate() {
                let off_v = (ours_v - theirs_v).abs();
                prop_assert!(off_v < SAME_V, "node {}: {} {}", node, ours_v, theirs_v);
            }
        }
        // Within a hundredth of collapse it may not come to rest in the rounds given.
        (Ok(_), None) => prop_assert!(power::collapse_factor(network).unwrap() < 1.01),
        (Err(NetworkError::CannotCarry { scale, .. }), theirs) => {
            prop_assert!(theirs.is_none(), "the line carries {}", scale);
        }
        (Err(other), _) => prop_assert!(false, "{}", other),
    }
    Ok(())
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_trees_agree_with_the_sweep(network in network(200, 0), scale in 0.1..6.0_f64) {
        let mut network = network;
        network.sources.truncate(1);
        scale_power(&mut network, scale);
        let theirs = sweep(&network);
        compare(&network, theirs)?;
    }

    #[test]
    fn verif_meshes_agree_with_the_fixed_point(network in network(200, 8), scale in 0.1..6.0_f64) {
        let mut network = network;
        for span in &mut network.spans {
            span.resistance_ohm = span.resistance_ohm.max(0.01);
        }
        scale_power(&mut network, scale);
        let theirs = fixed_point(&network);
        compare(&network, theirs)?;
    }
}

fn scale_power(network: &mut Network, scale: f64) {
    for load in &mut network.loads {
        if let LoadKind::Power { power_w } = &mut load.kind {
            *power_w *= scale;
        }
    }
}
