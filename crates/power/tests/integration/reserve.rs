//! What may be added at a node: at the answer what binds is met with equality, below it everything holds, above it does not.

use power::{Binding, Limits, Load, LoadKind, Network, NetworkError, Solution, reserve, solve};
use proptest::prelude::*;

use crate::properties::network;

/// The answer is good to 1e-12 of the power; the voltages there are good to rounding and near collapse to its root.
const EQUAL: f64 = 1e-6;
const ABOVE: f64 = 1e-6;

/// Shares by which each limit lies beyond what the loads make of it; above 1 there is none.
type Shares = Vec<(f64, f64, f64)>;

/// Limits that the network keeps as it is, and the network with the current limits of its sources.
fn limits(network: &Network, shares: &Shares) -> Option<(Network, Limits)> {
    let before = solve(network).ok()?;
    let share = |i: usize| shares[i % shares.len()];
    let mut limited = network.clone();
    for (i, source) in limited.sources.iter_mut().enumerate() {
        let (by, ..) = share(i + 1);
        let within = by < 0.7;
        source.current_limit_a =
            within.then_some(before.source_currents_a[i].max(0.1) * (1.0 + by));
    }
    let rated_a = (0..network.spans.len()).map(|i| {
        let (_, by, _) = share(i);
        let rated_a = before.branch_currents_a[i].abs() * (1.0 + by) + 0.05;
        (by < 0.5).then_some(rated_a)
    });
    let minimum_v = (0..network.nodes).map(|i| {
        let (.., by) = share(i);
        before.voltages_v[i] * (1.0 - by)
    });
    let limits = Limits {
        minimum_v: minimum_v.collect(),
        rated_a: rated_a.collect(),
    };
    Some((limited, limits))
}

fn with(network: &Network, node: usize, power_w: f64) -> Network {
    let mut more = network.clone();
    more.loads.push(Load {
        node,
        kind: LoadKind::Power { power_w },
    });
    more
}

/// How far everything is within its limit, as a share of it; the least first.
fn left(network: &Network, limits: &Limits, solution: &Solution) -> Vec<(f64, Binding)> {
    let mut all = Vec::new();
    for (node, &minimum_v) in limits.minimum_v.iter().enumerate() {
        if minimum_v > 0.0 {
            let share = solution.voltages_v[node] / minimum_v - 1.0;
            all.push((share, Binding::Voltage { node }));
        }
    }
    for (source, s) in network.sources.iter().enumerate() {
        if let Some(limit_a) = s.current_limit_a {
            let share = 1.0 - solution.source_currents_a[source] / limit_a;
            all.push((share, Binding::Source { source }));
        }
    }
    for (span, rated_a) in limits.rated_a.iter().enumerate() {
        if let Some(rated_a) = rated_a {
            let share = 1.0 - solution.branch_currents_a[span].abs() / rated_a;
            all.push((share, Binding::Span { span }));
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

fn check(network: &Network, shares: &Shares, node: usize) -> Result<(), TestCaseError> {
    let Some((network, limits)) = limits(network, shares) else {
        return Ok(());
    };
    let found =
        reserve(&network, node, &limits).map_err(|why| TestCaseError::fail(format!("{why:?}")))?;
    let Some(binds) = found.binds else {
        prop_assert!(found.power_w.is_infinite());
        let far = with(&network, node, 1e6);
        let far = left(&network, &limits, &solve(&far).unwrap());
        prop_assert!(far.first().is_none_or(|l| l.0 >= 0.0));
        return Ok(());
    };
    for step in 0_u32..=40 {
        let power_w = found.power_w * (f64::from(step) / 40.0) * (1.0 - 1e-11);
        let solution = solve(&with(&network, node, power_w))
            .map_err(|why| TestCaseError::fail(format!("{step}: {why:?}")))?;
        let least = left(&network, &limits, &solution);
        prop_assert!(
            least.first().is_none_or(|l| l.0 >= -1e-8),
            "{} of {:?}: {:?}",
            step,
            found,
            least.first()
        );
        if step == 40
            && binds != Binding::Collapse
            && let Some((share, _)) = least.iter().find(|l| l.1 == binds)
        {
            prop_assert!(
                share.abs() < EQUAL,
                "{:?} is {} from its limit",
                found,
                share
            );
        }
    }
    let above_w = found.power_w * (1.0 + ABOVE) + 1e-9;
    match (binds, solve(&with(&network, node, above_w))) {
        (Binding::Collapse, Err(NetworkError::CannotCarry { .. })) => {}
        (Binding::Collapse, other) => prop_assert!(false, "{:?} {:?}", found, other),
        (_, Err(_)) => {}
        (_, Ok(solution)) => {
            let least = left(&network, &limits, &solution);
            let beyond = least
                .iter()
                .find(|l| l.1 == binds)
                .is_some_and(|l| l.0 < 0.0);
            prop_assert!(beyond, "{:?} {:?}", found, least.first());
        }
    }
    Ok(())
}

fn shares() -> impl Strategy<Value = Shares> {
    prop::collection::vec((0.001..1.0_f64, 0.001..1.0_f64, 0.001..1.0_f64), 3..12)
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_reserve_is_the_boundary_on_trees(
        network in network(40, 0),
        shares in shares(),
        node in any::<prop::sample::Index>(),
    ) {
        check(&network, &shares, node.index(network.nodes))?;
    }

    #[test]
    fn verif_reserve_is_the_boundary_on_meshes(
        network in network(40, 5),
        shares in shares(),
        node in any::<prop::sample::Index>(),
    ) {
        check(&network, &shares, node.index(network.nodes))?;
    }
}

/// In a ring the tie between two arms first carries 0.4 A one way, then nothing, then up to its rating the other way.
#[test]
fn verif_a_cross_tie_turns_round() {
    let span = |a, b, resistance_ohm| power::Branch {
        a,
        b,
        resistance_ohm,
    };
    let network = Network {
        nodes: 4,
        // 0 feeds 1 and 2; 1 and 2 are tied; 3 hangs on 2.
        spans: vec![
            span(0, 1, 2.0),
            span(0, 2, 2.0),
            span(1, 2, 1.0),
            span(2, 3, 0.5),
        ],
        sources: vec![power::Source {
            node: 0,
            voltage_v: 100.0,
            resistance_ohm: 0.0,
            current_limit_a: None,
        }],
        loads: vec![Load {
            node: 1,
            kind: LoadKind::Current { current_a: 1.0 },
        }],
    };
    let before = solve(&network).unwrap();
    // Node 1 draws 1 A: its own arm carries 3/5, the other 2/5 by way of the tie.
    assert!((before.branch_currents_a[2] + 0.4).abs() < 1e-12);
    let limits = Limits {
        minimum_v: vec![0.0; 4],
        rated_a: vec![None, None, Some(0.45), None],
    };
    let found = reserve(&network, 3, &limits).unwrap();
    assert_eq!(found.binds, Some(Binding::Span { span: 2 }));
    // The tie goes from -0.4 A by 0.4 A for each ampere at 3: 0.45 A at (0.45 + 0.4)/0.4 = 2.125 A there.
    let amp = 2.125;
    let v2 = 100.0 - 2.0 * (0.4 + 0.6 * amp);
    let power_w = amp * (v2 - 0.5 * amp);
    assert!(
        (found.power_w - power_w).abs() < 1e-8,
        "{found:?} {power_w}"
    );
}
