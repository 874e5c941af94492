//! Which of several solutions, how near to the last one, and networks of a hundred nodes:
//! `reference/power/ngspice-collapsed.json`, `reference/power/scipy-networks-large.json`, closed forms.

use power::{
    Branch, Limits, Load, LoadKind, Method, Network, NetworkError, Solver, Source, collapse_factor,
    reserve, solve,
};
use proptest::prelude::*;
use serde_json::Value;

use crate::networks::cases;
use crate::published::two_bus;

const VOLTAGE_TOLERANCE_V: f64 = 1e-6;
const COLLAPSE_TOLERANCE: f64 = 1e-6;

fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().unwrap().iter();
    list.map(|value| value.as_f64().unwrap()).collect()
}

fn farthest_v(ours: &[f64], theirs: &[f64]) -> f64 {
    assert_eq!(ours.len(), theirs.len());
    let off = ours.iter().zip(theirs).map(|(a, b)| (a - b).abs());
    off.fold(0.0, f64::max)
}

/// Red: the string has two real solutions. Kirchhoff's law holds in both; ours is the one with high voltages.
#[test]
fn val_other_solution_of_the_string_fails() {
    let file = truth::json("power/ngspice-collapsed.json");
    let roots: Vec<Vec<f64>> = file["string_v"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    assert_eq!(roots.len(), 2);
    let [string, ..] = &cases()[..] else {
        panic!("no networks")
    };
    let network = &string.network;
    assert_eq!(network.nodes, 3);
    let ohm = |span: usize| network.spans[span].resistance_ohm;
    let watt = |load: usize| match network.loads[load].kind {
        LoadKind::Power { power_w } => power_w,
        other => panic!("{other:?}"),
    };
    for v in &roots {
        let (first_a, second_a) = ((v[0] - v[1]) / ohm(0), (v[1] - v[2]) / ohm(1));
        assert!((first_a - second_a - watt(0) / v[1]).abs() < 1e-8, "{v:?}");
        assert!((second_a - watt(1) / v[2]).abs() < 1e-8, "{v:?}");
    }
    let ours = solve(network).unwrap().voltages_v;
    assert!(farthest_v(&ours, &roots[0]) <= VOLTAGE_TOLERANCE_V);
    assert!(farthest_v(&ours, &roots[1]) > 35.0);
}

/// Red: a circuit simulator that is not told where to begin, with loads that are resistors below 5 V, ends on the collapsed
/// solution of the string and somewhere without meaning in the third network, both without a word, and fails in the others.
#[test]
fn val_simulator_left_to_itself_fails() {
    let file = truth::json("power/ngspice-collapsed.json");
    let mut collapsed = 0;
    for case in cases() {
        let unguided = &file["unguided"][&case.name];
        let ours = solve(&case.network).unwrap().voltages_v;
        match unguided["ends"].as_str().unwrap() {
            "fails" => {}
            "without a word" => {
                let theirs = numbers(&unguided["voltages_v"]);
                assert!(farthest_v(&ours, &theirs) > 1e6 * VOLTAGE_TOLERANCE_V);
                collapsed += 1;
            }
            other => panic!("{other}"),
        }
    }
    assert_eq!(collapsed, 2);
}

fn large(plan: &Value) -> Network {
    let index = |value: &Value| usize::try_from(value.as_u64().unwrap()).unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let rows = |name: &str| plan[name].as_array().unwrap();
    let mut network = Network {
        nodes: index(&plan["nodes"]),
        ..Network::default()
    };
    for span in rows("spans") {
        network.spans.push(Branch {
            a: index(&span[0]),
            b: index(&span[1]),
            resistance_ohm: number(&span[2]),
        });
    }
    for source in rows("sources") {
        network.sources.push(Source {
            node: index(&source[0]),
            voltage_v: number(&source[1]),
            resistance_ohm: number(&source[2]),
            current_limit_a: None,
        });
    }
    for load in rows("loads") {
        let mut add = |kind| {
            network.loads.push(Load {
                node: index(&load[0]),
                kind,
            });
        };
        add(LoadKind::Power {
            power_w: number(&load[1]),
        });
        add(LoadKind::Current {
            current_a: number(&load[2]),
        });
        if let Some(resistance_ohm) = load[3].as_f64() {
            add(LoadKind::Resistance { resistance_ohm });
        }
    }
    network
}

#[test]
fn val_a_hundred_nodes_are_those_of_scipy() {
    let file = truth::json("power/scipy-networks-large.json");
    for name in ["tree", "mesh"] {
        let plan = &file["networks"][name];
        let network = large(plan);
        assert_eq!(network.nodes, 100);
        for method in [Method::Automatic, Method::Mesh] {
            let solver = Solver::with_method(&network, method).unwrap();
            let mut scratch = solver.scratch();
            let solution = solver.solve(&network.loads, &mut scratch).unwrap();
            let off_v = farthest_v(&solution.voltages_v, &numbers(&plan["voltages_v"]));
            assert!(off_v <= VOLTAGE_TOLERANCE_V, "{name}: {off_v} V");
            let factor = solver
                .collapse_factor(&network.loads, &mut scratch)
                .unwrap();
            let off = factor - plan["collapse_factor"].as_f64().unwrap();
            assert!(off.abs() <= COLLAPSE_TOLERANCE, "{name}: {off}");
        }
    }
}

/// Two lines from one ideal source: what draws `share` of the most that its line carries collapses at `1/share`.
fn two_lines(ohm: [f64; 2], shares: [f64; 2]) -> Network {
    let mut network = two_bus(48.0, ohm[0], shares[0] * 48.0 * 48.0 / (4.0 * ohm[0]));
    network.nodes = 3;
    network.spans.push(Branch {
        a: 0,
        b: 2,
        resistance_ohm: ohm[1],
    });
    network.loads.push(Load {
        node: 2,
        kind: LoadKind::Power {
            power_w: shares[1] * 48.0 * 48.0 / (4.0 * ohm[1]),
        },
    });
    network
}

proptest! {
    #![proptest_config(crate::cases())]

    /// The line that collapses first sets the factor, also where the other one, of far more ohms, follows within a few
    /// percent and looks the weaker before.
    #[test]
    fn verif_the_first_line_to_collapse_sets_the_factor(
        ohm in 0.1..10.0_f64,
        decades in 0.0..4.0_f64,
        share in 0.2..0.95_f64,
        behind in 1e-6..0.06_f64,
    ) {
        let other_ohm = ohm * 10.0_f64.powf(decades);
        let network = two_lines([ohm, other_ohm], [share, share * (1.0 - behind)]);
        let factor = collapse_factor(&network).unwrap();
        prop_assert!((factor * share - 1.0).abs() < 1e-9, "{} {}", factor, share);
        let turned = two_lines([other_ohm, ohm], [share * (1.0 - behind), share]);
        prop_assert!((collapse_factor(&turned).unwrap() * share - 1.0).abs() < 1e-9);
    }
}

/// Most power at 48 V behind 20 ohm with the module at or above a voltage: `(48 - V)/20 V`. A lock-out that opens at 30 V
/// hiccups with 28 W, which sits at 28 V; one at 26 V lets it run; 29 W have no operating point.
#[test]
fn verif_power_down_to_a_lock_out() {
    for (lowest_v, most_w) in [(30.0, 27.0), (26.0, 28.6)] {
        let limits = Limits {
            minimum_v: vec![0.0, lowest_v],
            rated_a: vec![None],
        };
        let extra_w = reserve(&two_bus(48.0, 20.0, 25.0), 1, &limits)
            .unwrap()
            .power_w;
        assert!((25.0 + extra_w - most_w).abs() < 1e-9, "{lowest_v} V");
    }
    let at_28_w = solve(&two_bus(48.0, 20.0, 28.0)).unwrap().voltages_v[1];
    assert!((at_28_w - 28.0).abs() < 1e-9);
    assert!(matches!(
        solve(&two_bus(48.0, 20.0, 29.0)),
        Err(NetworkError::CannotCarry { .. })
    ));
}

/// The most that two nodes carry, `Vs^2/(4 R)`, stands at half of the source voltage.
#[test]
fn verif_most_power_stands_at_half_the_voltage() {
    for (voltage_v, resistance_ohm, power_w, most_w) in [
        (48.0, 20.0, 25.0, 28.8),
        (24.0, 4.2, 20.0, 34.285_714),
        (375.0, 60.0, 400.0, 585.9375),
    ] {
        let network = two_bus(voltage_v, resistance_ohm, power_w);
        let ours_w = power_w * collapse_factor(&network).unwrap();
        assert!((ours_w - most_w).abs() < 1e-6, "{ours_w}");
        let nearly = two_bus(voltage_v, resistance_ohm, ours_w * (1.0 - 1e-10));
        let v = solve(&nearly).unwrap().voltages_v[1];
        assert!((v / voltage_v - 0.5).abs() < 1e-4, "{v}");
    }
}

/// The third point of power over Ethernet in full digits by the quadratic, 52 V, 6.25 ohm, 71.3 W: 41.178109 V, and the
/// source gives 90.038 W.
#[test]
fn verif_third_ethernet_point() {
    let solution = solve(&two_bus(52.0, 6.25, 71.3)).unwrap();
    let exact_v = 0.5 * (52.0 + (52.0_f64 * 52.0 - 4.0 * 71.3 * 6.25).sqrt());
    assert!((solution.voltages_v[1] - exact_v).abs() < 1e-10);
    assert!((solution.voltages_v[1] - 41.178_109).abs() < 5e-7);
    assert!((52.0 * solution.source_currents_a[0] - 90.038).abs() < 5e-4);
}

/// Red: voltage, current and power of a class in IEEE 802.3cg (figures from memory; the standard was not read) are not one
/// operating point. A load that draws the class's power through the loop resistance that voltage and current stand for
/// sits higher, and the voltage of the class fails the check. No statement about that standard.
#[test]
fn verif_corners_of_a_class_are_no_operating_point() {
    for (source_v, loop_ohm, power_w, at_load_v, current_a, class_v) in [
        (50.0, 9.5, 52.0, 36.4455, 1.4268, 35.0),
        (50.0, 25.0, 20.0, 36.1803, 0.5528, 35.0),
        (20.0, 9.5, 8.4, 14.4944, 0.5795, 14.0),
    ] {
        let solution = solve(&two_bus(source_v, loop_ohm, power_w)).unwrap();
        let v = solution.voltages_v[1];
        assert!((v - at_load_v).abs() < 5e-5, "{v}");
        assert!((solution.branch_currents_a[0] - current_a).abs() < 5e-5);
        assert!(v - class_v > 0.4, "{v}");
    }
}

/// 24 V over 0.1 ohm and 1 W collapse at exactly `24^2/(4 x 0.1 x 1)` = 1440, which halving meets to the last digit; so do
/// others whose factor has few digits.
#[test]
fn verif_a_collapse_that_halving_meets_exactly_is_found() {
    for (voltage_v, resistance_ohm, power_w) in [
        (24.0, 0.1, 1.0),
        (24.0, 0.25, 1.0),
        (48.0, 0.5, 9.0),
        (16.0, 1.0, 1.0),
        (12.0, 0.75, 3.0),
        (60.0, 2.0, 15.0),
    ] {
        let network = Network {
            nodes: 2,
            spans: vec![Branch {
                a: 0,
                b: 1,
                resistance_ohm: 0.5 * resistance_ohm,
            }],
            sources: vec![Source {
                node: 0,
                voltage_v,
                resistance_ohm: 0.5 * resistance_ohm,
                current_limit_a: None,
            }],
            loads: vec![Load {
                node: 1,
                kind: LoadKind::Power { power_w },
            }],
        };
        let at_the_source = Network {
            nodes: 1,
            spans: Vec::new(),
            sources: vec![Source {
                node: 0,
                voltage_v,
                resistance_ohm,
                current_limit_a: None,
            }],
            loads: vec![Load {
                node: 0,
                kind: LoadKind::Power { power_w },
            }],
        };
        let expected = voltage_v * voltage_v / (4.0 * resistance_ohm * power_w);
        for network in [network, at_the_source] {
            let factor = collapse_factor(&network).unwrap();
            assert!(
                (factor / expected - 1.0).abs() < 1e-9,
                "{factor} {expected}"
            );
        }
    }
}
