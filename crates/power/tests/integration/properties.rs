//! Laws that hold for every network: Kirchhoff's, the balance of power, and one method against the other.

use power::{
    Branch, Load, LoadKind, Method, Network, NetworkError, Solution, Solver, Source,
    collapse_factor, solve,
};
use proptest::prelude::*;

/// A random connected network: a tree with `loops` spans more.
pub(crate) fn network(most_nodes: usize, loops: usize) -> impl Strategy<Value = Network> {
    let node = (0.0..1.0_f64, 0.0..20.0_f64, 0.0..1.5_f64, 0_u8..8);
    let nodes = prop::collection::vec(node, 2..most_nodes);
    let extra = prop::collection::vec(
        (
            any::<prop::sample::Index>(),
            any::<prop::sample::Index>(),
            0.1..50.0_f64,
        ),
        loops,
    );
    let sources = prop::collection::vec(
        (
            any::<prop::sample::Index>(),
            300.0..400.0_f64,
            0.01..2.0_f64,
        ),
        1..4,
    );
    (nodes, extra, sources, any::<bool>()).prop_map(|(nodes, extra, sources, ideal)| {
        let mut network = Network {
            nodes: nodes.len(),
            ..Network::default()
        };
        for (i, &(place, ohm, watt, kind)) in nodes.iter().enumerate() {
            if i > 0 {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a share of a small count"
                )]
                let parent = i - 1 - (place * i.min(6) as f64) as usize;
                let resistance_ohm = if kind == 7 { 0.0 } else { 0.01 + ohm };
                network.spans.push(Branch {
                    a: parent,
                    b: i,
                    resistance_ohm,
                });
            }
            let mut add = |kind| network.loads.push(Load { node: i, kind });
            if kind % 4 != 3 {
                add(LoadKind::Power { power_w: watt });
            }
            if kind == 1 {
                add(LoadKind::Current {
                    current_a: 1e-3 * watt,
                });
            }
            if kind == 2 {
                add(LoadKind::Resistance {
                    resistance_ohm: 1e4 * (1.0 + watt),
                });
            }
        }
        for (a, b, resistance_ohm) in extra {
            let (a, b) = (a.index(network.nodes), b.index(network.nodes));
            if a != b {
                network.spans.push(Branch {
                    a,
                    b,
                    resistance_ohm,
                });
            }
        }
        for (i, (node, voltage_v, resistance_ohm)) in sources.into_iter().enumerate() {
            network.sources.push(Source {
                node: node.index(network.nodes),
                voltage_v,
                resistance_ohm: if ideal && i == 0 { 0.0 } else { resistance_ohm },
                current_limit_a: None,
            });
        }
        network
    })
}

/// The last bit of 400 V over the least resistance, 0.01 ohm, is 6e-12 A; a node sums several such currents.
const LEFTOVER: f64 = 1e-10;

/// Kirchhoff's current law at each node by the returned currents, Ohm's law in each span, and the balance of power.
pub(crate) fn check_laws(network: &Network, solution: &Solution) -> Result<(), TestCaseError> {
    let v = &solution.voltages_v;
    let mut into_a = vec![0.0; network.nodes];
    let mut loads_w = 0.0;
    let mut loss_w = 0.0;
    let mut gross_a = 1.0;
    for (span, &amp) in network.spans.iter().zip(&solution.branch_currents_a) {
        into_a[span.a] -= amp;
        into_a[span.b] += amp;
        gross_a += amp.abs();
        loss_w += span.resistance_ohm * amp * amp;
        prop_assert!((v[span.a] - v[span.b] - span.resistance_ohm * amp).abs() < 1e-9);
    }
    for load in &network.loads {
        let amp = match load.kind {
            LoadKind::Power { power_w } => power_w / v[load.node],
            LoadKind::Current { current_a } => current_a,
            LoadKind::Resistance { resistance_ohm } => v[load.node] / resistance_ohm,
        };
        into_a[load.node] -= amp;
        loads_w += amp * v[load.node];
    }
    let mut given_w = 0.0;
    for (source, &amp) in network.sources.iter().zip(&solution.source_currents_a) {
        into_a[source.node] += amp;
        given_w += amp * v[source.node];
        prop_assert!(
            (source.voltage_v - source.resistance_ohm * amp - v[source.node]).abs() < 1e-9
        );
    }
    for (node, leftover_a) in into_a.iter().enumerate() {
        prop_assert!(
            leftover_a.abs() < LEFTOVER * gross_a,
            "node {}: {} A",
            node,
            leftover_a
        );
    }
    prop_assert!((solution.span_loss_w - loss_w).abs() < 1e-8 * (1.0 + loss_w));
    prop_assert!(
        (given_w - loads_w - loss_w).abs() < 1e-8 * (1.0 + given_w.abs() + loads_w + loss_w)
    );
    Ok(())
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_kirchhoff_and_power_balance_on_meshes(network in network(200, 6)) {
        match solve(&network) {
            Ok(solution) => check_laws(&network, &solution)?,
            Err(NetworkError::CannotCarry { scale, .. }) => prop_assert!(scale < 1.0 && scale > 0.0),
            Err(NetworkError::ShortedLoop { .. }) => {}
            Err(other) => prop_assert!(false, "{}", other),
        }
    }

    #[test]
    fn verif_tree_and_mesh_methods_agree(network in network(200, 0)) {
        let tree = Solver::new(&network).unwrap();
        let mesh = Solver::with_method(&network, Method::Mesh).unwrap();
        let ours = tree.solve(&network.loads, &mut tree.scratch());
        let other = mesh.solve(&network.loads, &mut mesh.scratch());
        match (ours, other) {
            (Ok(a), Ok(b)) => {
                check_laws(&network, &a)?;
                for (x, y) in a.voltages_v.iter().zip(&b.voltages_v) {
                    prop_assert!((x - y).abs() < 1e-9, "{} {}", x, y);
                }
            }
            (Err(NetworkError::CannotCarry { scale: a, node: m }), Err(NetworkError::CannotCarry { scale: b, node: n })) => {
                prop_assert!((a / b - 1.0).abs() < 1e-9, "{} {}", a, b);
                prop_assert_eq!(m, n);
            }
            (a, b) => prop_assert!(false, "{:?} {:?}", a, b),
        }
    }

    /// The factor is the boundary: a little less can be carried, a little more cannot.
    #[test]
    fn verif_collapse_factor_is_the_boundary(network in network(60, 3)) {
        let factor = match collapse_factor(&network) {
            Ok(factor) => factor,
            Err(NetworkError::ShortedLoop { .. }) => return Ok(()),
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        prop_assume!(factor.is_finite());
        let scaled = |by: f64| {
            let mut scaled = network.clone();
            for load in &mut scaled.loads {
                if let LoadKind::Power { power_w } = &mut load.kind {
                    *power_w *= by;
                }
            }
            scaled
        };
        prop_assert!(solve(&scaled(factor * (1.0 - 1e-8))).is_ok());
        match solve(&scaled(factor * (1.0 + 1e-8))) {
            Err(NetworkError::CannotCarry { scale, .. }) => prop_assert!((scale - 1.0).abs() < 2e-8),
            other => prop_assert!(false, "{:?}", other),
        }
    }

    /// Dirty working memory changes no bit.
    #[test]
    fn verif_scratch_may_be_dirty(network in network(40, 2), scale in 0.1..3.0_f64) {
        let Ok(solver) = Solver::new(&network) else { return Ok(()) };
        let mut scratch = solver.scratch();
        let mut other = network.loads.clone();
        for load in &mut other {
            if let LoadKind::Power { power_w } = &mut load.kind {
                *power_w *= scale;
            }
        }
        let fresh = solver.solve(&network.loads, &mut scratch);
        let _ = solver.solve(&other, &mut scratch);
        prop_assert_eq!(solver.solve(&network.loads, &mut scratch), fresh);
    }
}
