//! Four networks against two programs outside the project: `reference/power/scipy-networks.json` (MINPACK through
//! SciPy) and `reference/power/ngspice-networks.json` (a general circuit simulator).

use power::conductor::loop_resistance_ohm;
use power::{
    Binding, Branch, Limits, Load, LoadKind, Method, Network, Reserve, Solver, Source,
    collapse_factor, reserve, short_circuit_current_a, solve,
};
use quantity::{Conductor, StrandClass};
use serde_json::Value;

/// Both programs agree to 1e-8 V; their results are kept with ten digits.
const VOLTAGE_TOLERANCE_V: f64 = 1e-6;
const CURRENT_TOLERANCE_A: f64 = 1e-6;
const COLLAPSE_TOLERANCE: f64 = 1e-6;
const HEADROOM_TOLERANCE_W: f64 = 1e-5;

pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) network: Network,
    expected: Value,
}

fn reference(name: &str) -> Value {
    truth::json(&format!("power/{name}"))["networks"].clone()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn index(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}

fn conductor(value: &Value) -> Conductor {
    match value[0].as_str().unwrap() {
        "awg" => Conductor::Awg(i32::try_from(value[1].as_i64().unwrap()).unwrap()),
        class => Conductor::Stranded {
            area_mm2: number(&value[1]),
            class: match class {
                "2" => StrandClass::Two,
                "5" => StrandClass::Five,
                other => panic!("no class {other}"),
            },
            tinned: false,
        },
    }
}

fn network(case: &Value) -> Network {
    let mut network = Network {
        nodes: list(&case["nodes"]).len(),
        ..Network::default()
    };
    for span in list(&case["spans"]) {
        let resistance_ohm = loop_resistance_ohm(
            conductor(&span["conductor"]),
            number(&span["length_m"]),
            number(&case["temperature_degc"]),
        )
        .unwrap();
        network.spans.push(Branch {
            a: index(&span["a"]),
            b: index(&span["b"]),
            resistance_ohm,
        });
    }
    for source in list(&case["sources"]) {
        network.sources.push(Source {
            node: index(&source["node"]),
            voltage_v: number(&source["voltage_v"]),
            resistance_ohm: number(&source["resistance_ohm"]),
            current_limit_a: None,
        });
    }
    for load in list(&case["loads"]) {
        let node = index(&load["node"]);
        let mut add = |kind| network.loads.push(Load { node, kind });
        add(LoadKind::Power {
            power_w: number(&load["power_w"]),
        });
        if number(&load["current_a"]) > 0.0 {
            add(LoadKind::Current {
                current_a: number(&load["current_a"]),
            });
        }
        if let Some(resistance_ohm) = load["resistance_ohm"].as_f64() {
            add(LoadKind::Resistance { resistance_ohm });
        }
    }
    network
}

pub(crate) fn cases() -> Vec<Case> {
    let file = reference("scipy-networks.json");
    let cases: Vec<Case> = file
        .as_object()
        .unwrap()
        .iter()
        .map(|(name, case)| Case {
            name: name.clone(),
            network: network(case),
            expected: case.clone(),
        })
        .collect();
    assert_eq!(cases.len(), 4);
    cases
}

fn farthest(ours: &[f64], theirs: &Value) -> f64 {
    assert_eq!(ours.len(), list(theirs).len());
    let off = ours
        .iter()
        .zip(list(theirs))
        .map(|(a, b)| (a - number(b)).abs());
    off.fold(0.0, f64::max)
}

#[test]
fn val_operating_points_are_those_of_scipy() {
    for case in cases() {
        for method in [Method::Automatic, Method::Mesh] {
            let solver = Solver::with_method(&case.network, method).unwrap();
            let solution = solver
                .solve(&case.network.loads, &mut solver.scratch())
                .unwrap();
            let (name, expected) = (&case.name, &case.expected);
            let off_v = farthest(&solution.voltages_v, &expected["voltages_v"]);
            assert!(off_v <= VOLTAGE_TOLERANCE_V, "{name}: {off_v} V");
            let off_a = farthest(&solution.branch_currents_a, &expected["branch_currents_a"]);
            assert!(off_a <= CURRENT_TOLERANCE_A, "{name}: {off_a} A");
            let off_a = farthest(&solution.source_currents_a, &expected["source_currents_a"]);
            assert!(off_a <= CURRENT_TOLERANCE_A, "{name}: {off_a} A at sources");
            let off_w = solution.span_loss_w - number(&expected["span_loss_w"]);
            assert!(off_w.abs() <= 1e-5, "{name}: {off_w} W");
            assert!(
                solution.residual_a <= 1e-12,
                "{name}: {}",
                solution.residual_a
            );
            assert!(solution.iterations <= 8, "{name}: {}", solution.iterations);
            assert!(solution.limited.is_empty() && solution.backfed.is_empty());
        }
    }
}

#[test]
fn val_operating_points_are_those_of_a_circuit_simulator() {
    let simulated = reference("ngspice-networks.json");
    for case in cases() {
        let solution = solve(&case.network).unwrap();
        let off_v = farthest(&solution.voltages_v, &simulated[&case.name]["voltages_v"]);
        assert!(off_v <= VOLTAGE_TOLERANCE_V, "{}: {off_v} V", case.name);
    }
}

/// The circuit simulator ends on the collapsed root of 48 V, 20 ohm, 25 W when it starts from 12 V. That root must
/// fail the check that ours passes.
#[test]
fn val_collapsed_root_fails_the_check() {
    let simulated = reference("ngspice-networks.json");
    let (high_v, low_v) = (
        number(&simulated["two-bus"]["high_v"]),
        number(&simulated["two-bus"]["low_v"]),
    );
    let ours = solve(&crate::published::two_bus(48.0, 20.0, 25.0)).unwrap();
    assert!((ours.voltages_v[1] - high_v).abs() <= VOLTAGE_TOLERANCE_V);
    assert!((ours.voltages_v[1] - low_v).abs() > 17.0);
    // both roots satisfy Kirchhoff's law; only the sign of the Jacobian tells them apart
    for v in [high_v, low_v] {
        assert!(((48.0 - v) / 20.0 - 25.0 / v).abs() < 1e-8);
    }
    let jacobian_s = |v: f64| 1.0 / 20.0 - 25.0 / (v * v);
    assert!(jacobian_s(high_v) > 0.0 && jacobian_s(low_v) < 0.0);
}

/// Resistance of one conductor instead of the loop must fail the check that ours passes.
#[test]
fn val_one_conductor_instead_of_the_loop_fails_the_check() {
    for mut case in cases() {
        for span in &mut case.network.spans {
            span.resistance_ohm *= 0.5;
        }
        let solution = solve(&case.network).unwrap();
        let off_v = farthest(&solution.voltages_v, &case.expected["voltages_v"]);
        assert!(
            off_v > 1e6 * VOLTAGE_TOLERANCE_V,
            "{}: {off_v} V",
            case.name
        );
    }
}

#[test]
fn val_collapse_factors_are_those_of_the_singular_jacobian() {
    for case in cases() {
        let expected = number(&case.expected["collapse_factor"]);
        for method in [Method::Automatic, Method::Mesh] {
            let solver = Solver::with_method(&case.network, method).unwrap();
            let ours = solver
                .collapse_factor(&case.network.loads, &mut solver.scratch())
                .unwrap();
            let off = (ours - expected).abs();
            assert!(
                off <= COLLAPSE_TOLERANCE,
                "{}: {ours} {expected}",
                case.name
            );
        }
        assert!(collapse_factor(&case.network).is_ok());
    }
}

#[test]
fn val_short_circuit_currents_are_those_of_scipy() {
    for case in cases() {
        for (node, expected) in list(&case.expected["short_circuit_a"]).iter().enumerate() {
            let ours = short_circuit_current_a(&case.network, node);
            match expected.as_f64() {
                Some(expected_a) => {
                    let off = ours.unwrap() / expected_a - 1.0;
                    assert!(off.abs() <= 1e-9, "{} {node}: {off}", case.name);
                }
                None => assert!(ours.is_err(), "{} {node}", case.name),
            }
        }
    }
}

/// The reference holds the extra power at each node with every node at or above one lowest voltage.
#[test]
fn val_reserve_is_that_of_scipy() {
    for case in cases() {
        let network = &case.network;
        let limits = Limits {
            minimum_v: vec![number(&case.expected["minimum_v"]); network.nodes],
            rated_a: vec![None; network.spans.len()],
        };
        for (node, expected) in list(&case.expected["headroom_w"]).iter().enumerate() {
            let ours = reserve(network, node, &limits).unwrap();
            match expected.as_f64() {
                Some(expected_w) => {
                    let off_w = (ours.power_w - expected_w).abs();
                    assert!(
                        off_w <= HEADROOM_TOLERANCE_W,
                        "{} {node}: {ours:?}",
                        case.name
                    );
                    assert!(matches!(ours.binds, Some(Binding::Voltage { .. })));
                }
                None => {
                    let without_end = Reserve {
                        power_w: f64::INFINITY,
                        binds: None,
                    };
                    assert_eq!(ours, without_end);
                }
            }
        }
    }
}
