//! What is refused, and how odd networks are handled.

use power::{
    Branch, Limits, Load, LoadKind, Network, NetworkError, Part, Source, collapse_factor, reserve,
    short_circuit_current_a, solve,
};

use crate::published::two_bus;

fn span(a: usize, b: usize, resistance_ohm: f64) -> Branch {
    Branch {
        a,
        b,
        resistance_ohm,
    }
}

fn source(node: usize, voltage_v: f64, resistance_ohm: f64) -> Source {
    Source {
        node,
        voltage_v,
        resistance_ohm,
        current_limit_a: None,
    }
}

fn power(node: usize, power_w: f64) -> Load {
    Load {
        node,
        kind: LoadKind::Power { power_w },
    }
}

fn current(node: usize, current_a: f64) -> Load {
    Load {
        node,
        kind: LoadKind::Current { current_a },
    }
}

fn limits(minimum_v: &[f64], rated_a: Option<f64>) -> Limits {
    Limits {
        minimum_v: minimum_v.to_vec(),
        rated_a: vec![rated_a],
    }
}

#[test]
fn verif_bad_numbers_are_refused_by_name() {
    let good = two_bus(48.0, 20.0, 10.0);
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        let mut network = good.clone();
        network.spans[0].resistance_ohm = bad;
        check_bad(&network, Part::Span(0), "resistance_ohm");
        let mut network = good.clone();
        network.sources[0].resistance_ohm = bad;
        check_bad(&network, Part::Source(0), "resistance_ohm");
        let mut network = good.clone();
        network.sources[0].voltage_v = bad;
        check_bad(&network, Part::Source(0), "voltage_v");
        let mut network = good.clone();
        network.sources[0].current_limit_a = Some(bad);
        check_bad(&network, Part::Source(0), "current_limit_a");
        let mut network = good.clone();
        network.loads[0] = power(1, bad);
        check_bad(&network, Part::Load(0), "power_w");
        network.loads[0] = current(1, bad);
        check_bad(&network, Part::Load(0), "current_a");
        network.loads[0].kind = LoadKind::Resistance {
            resistance_ohm: bad,
        };
        check_bad(&network, Part::Load(0), "resistance_ohm");
        assert!(reserve(&good, 1, &limits(&[0.0, bad], None)).is_err());
        assert!(reserve(&good, 1, &limits(&[0.0, 0.0], Some(bad))).is_err());
    }
    let mut network = good.clone();
    network.spans[0].resistance_ohm = 1e-9;
    check_bad(&network, Part::Span(0), "resistance_ohm");
}

fn check_bad(network: &Network, expected_part: Part, expected_quantity: &str) {
    match solve(network) {
        Err(NetworkError::BadValue { part, quantity, .. }) => {
            assert_eq!((part, quantity), (expected_part, expected_quantity));
        }
        other => panic!("{expected_part} {expected_quantity}: {other:?}"),
    }
}

#[test]
fn verif_broken_topologies_are_refused() {
    assert_eq!(solve(&Network::default()), Err(NetworkError::NoSource));
    let mut network = two_bus(48.0, 20.0, 10.0);
    network.nodes = 3;
    assert_eq!(solve(&network), Err(NetworkError::Unfed { node: 2 }));
    network.spans.push(span(1, 3, 1.0));
    assert!(matches!(
        solve(&network),
        Err(NetworkError::NoSuchNode {
            node: 3,
            nodes: 3,
            part: Part::Span(1)
        })
    ));
    network.spans[1] = span(2, 2, 1.0);
    assert_eq!(
        solve(&network),
        Err(NetworkError::SelfLoop { span: 1, node: 2 })
    );
    network.spans[1] = span(1, 2, 0.0);
    network.sources.push(source(2, 40.0, 0.0));
    network.sources.push(source(1, 40.0, 0.0));
    assert!(matches!(
        solve(&network),
        Err(NetworkError::TiedSources { .. })
    ));
    network.sources.truncate(1);
    network.spans.push(span(2, 1, 0.0));
    assert!(matches!(
        solve(&network),
        Err(NetworkError::ShortedLoop { .. })
    ));
    assert!(short_circuit_current_a(&two_bus(48.0, 20.0, 10.0), 2).is_err());
    assert!(reserve(&two_bus(48.0, 20.0, 10.0), 0, &limits(&[0.0], None)).is_err());
    assert!(reserve(&two_bus(48.0, 20.0, 10.0), 2, &limits(&[0.0, 0.0], None)).is_err());
}

/// Two branches of zero resistance and a source behind one: currents in them follow from Kirchhoff's law.
#[test]
fn verif_zero_resistance_joins_nodes() {
    let network = Network {
        nodes: 5,
        spans: vec![
            span(1, 0, 0.0),
            span(1, 2, 10.0),
            span(3, 2, 0.0),
            span(2, 4, 5.0),
            span(0, 1, 7.0),
        ],
        sources: vec![source(0, 30.0, 0.0), source(1, 29.0, 1.0)],
        loads: vec![
            current(1, 0.5),
            current(3, 1.0),
            current(4, 0.25),
            current(0, 2.0),
        ],
    };
    let solution = solve(&network).unwrap();
    let expected_v = [30.0, 30.0, 17.5, 17.5, 16.25];
    for (ours, expected) in solution.voltages_v.iter().zip(expected_v) {
        assert!((ours - expected).abs() < 1e-12, "{:?}", solution.voltages_v);
    }
    // the second source takes 1 A in, node 1 passes 0.5 + 1.25 A on
    let expected_a = [-2.75, 1.25, -1.0, 0.25, 0.0];
    for (ours, expected) in solution.branch_currents_a.iter().zip(expected_a) {
        assert!(
            (ours - expected).abs() < 1e-12,
            "{:?}",
            solution.branch_currents_a
        );
    }
    assert!((solution.source_currents_a[0] - 4.75).abs() < 1e-12);
    assert!((solution.source_currents_a[1] + 1.0).abs() < 1e-12);
    assert_eq!(solution.backfed, vec![1]);
    assert!(solution.residual_a < 1e-12);
}

#[test]
fn verif_two_networks_side_by_side() {
    let mut network = two_bus(48.0, 20.0, 25.0);
    network.nodes = 4;
    network.spans.push(span(2, 3, 4.2));
    network.sources.push(source(2, 24.0, 0.0));
    network.loads.push(power(3, 20.0));
    let solution = solve(&network).unwrap();
    assert!((solution.voltages_v[1] - 32.717797887).abs() < 1e-9);
    assert!((solution.voltages_v[3] - 19.745966692).abs() < 1e-9);
    assert!((collapse_factor(&network).unwrap() - 1.152).abs() < 1e-9);
}

#[test]
fn verif_current_limits_are_told_and_bound_the_short() {
    let mut network = two_bus(48.0, 20.0, 25.0);
    network.sources[0].current_limit_a = Some(0.7);
    assert_eq!(solve(&network).unwrap().limited, vec![0]);
    for node in 0..2 {
        let short_a = short_circuit_current_a(&network, node).unwrap();
        assert!((short_a - 0.7).abs() < 1e-12, "{short_a}");
    }
    network.sources[0].current_limit_a = Some(0.8);
    assert!(solve(&network).unwrap().limited.is_empty());
    network.sources[0].current_limit_a = None;
    assert_eq!(
        short_circuit_current_a(&network, 0),
        Err(NetworkError::IdealShort { source_index: 0 })
    );
}

/// Two supplies at the ends of a line, a short between them: 48 V over 10 ohm and 24 V over 4 ohm give 4.8 + 6 A;
/// limits act one by one.
#[test]
fn verif_short_between_two_supplies() {
    let mut network = Network {
        nodes: 3,
        spans: vec![span(0, 1, 9.0), span(1, 2, 4.0)],
        sources: vec![source(0, 48.0, 1.0), source(2, 24.0, 0.0)],
        loads: vec![power(1, 5.0)],
    };
    let short_a = |network: &Network| short_circuit_current_a(network, 1).unwrap();
    assert!((short_a(&network) - 10.8).abs() < 1e-12);
    network.sources[1].current_limit_a = Some(2.0);
    assert!((short_a(&network) - 6.8).abs() < 1e-12);
    network.sources[0].current_limit_a = Some(3.0);
    assert!((short_a(&network) - 5.0).abs() < 1e-12);
}

#[test]
fn verif_current_loads_that_pull_a_node_down_are_refused() {
    let mut network = two_bus(48.0, 20.0, 1.0);
    network.loads.push(current(1, 2.5));
    assert!(matches!(
        solve(&network),
        Err(NetworkError::CurrentLoadsCollapse { node: 1, .. })
    ));
    // a far node without power load, driven below zero only together with the power load
    let network = Network {
        nodes: 3,
        spans: vec![span(0, 1, 20.0), span(1, 2, 60.0)],
        sources: vec![source(0, 48.0, 0.0)],
        loads: vec![power(1, 13.0), current(2, 0.5)],
    };
    assert!(matches!(
        solve(&network),
        Err(NetworkError::CurrentLoadsCollapse { node: 2, .. })
    ));
}

#[test]
fn verif_without_power_loads_nothing_collapses() {
    let mut network = two_bus(48.0, 20.0, 0.0);
    assert_eq!(collapse_factor(&network), Ok(f64::INFINITY));
    network.loads = vec![power(0, 1e6)];
    assert_eq!(collapse_factor(&network), Ok(f64::INFINITY));
    let without_end = reserve(&network, 0, &limits(&[0.0, 0.0], None)).unwrap();
    assert_eq!(
        (without_end.power_w, without_end.binds),
        (f64::INFINITY, None)
    );
    let loaded = two_bus(48.0, 20.0, 25.0);
    assert!(matches!(
        reserve(&loaded, 1, &limits(&[0.0, 33.0], None)),
        Err(NetworkError::BelowMinimum { node: 1, .. })
    ));
    assert!(matches!(
        reserve(&loaded, 1, &limits(&[0.0, 0.0], Some(0.7))),
        Err(NetworkError::OverCurrent {
            part: Part::Span(0),
            ..
        })
    ));
}

/// Equal arms from one ideal source collapse together: the Jacobian loses more than one rank at once.
#[test]
fn verif_equal_arms_collapse_together() {
    for source_ohm in [0.0, 1e-6, 1e-3] {
        let mut network = Network {
            nodes: 9,
            sources: vec![source(0, 48.0, source_ohm)],
            ..Network::default()
        };
        for node in 1..9 {
            network.spans.push(span(0, node, 20.0));
            network.loads.push(power(node, 25.0));
        }
        let factor = collapse_factor(&network).unwrap();
        // all arms alike: one arm of 20 ohm behind eight times the source resistance
        let expected = 48.0 * 48.0 / (4.0 * (20.0 + 8.0 * source_ohm) * 25.0);
        assert!(
            (factor - expected).abs() < 1e-9,
            "{source_ohm}: {factor} {expected}"
        );
    }
}
