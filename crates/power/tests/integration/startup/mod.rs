//! Start-up in time against two programs outside the project, closed forms, and laws of conservation.

mod edges;
mod ladders;
mod outcomes;
mod properties;
mod refusals;

use power::startup::{Capacitor, EventKind, Input, Line, Module, Report};
use power::{Branch, Load, LoadKind, Network, Source};
use serde_json::Value;

/// A case of `reference/power/scipy-inrush.json`.
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) line: Line,
    pub(crate) until_s: f64,
    pub(crate) expected: Value,
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn index(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}

pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

pub(crate) fn reference(name: &str) -> Value {
    truth::json(&format!("power/{name}"))
}

fn module(value: &Value) -> Module {
    let input = match value["minimum_v"].as_f64() {
        Some(minimum_v) => Input::Bare { minimum_v },
        None => Input::LockOut {
            on_v: number(&value["on_v"]),
            off_v: number(&value["off_v"]),
        },
    };
    Module {
        node: index(&value["node"]),
        capacitance_f: 0.0,
        input,
        leakage_ohm: None,
        boot_power_w: number(&value["boot_power_w"]),
        boot_s: number(&value["boot_s"]),
        running_power_w: number(&value["running_power_w"]),
        not_before_s: number(&value["not_before_s"]),
    }
}

fn line(case: &Value) -> Line {
    let mut network = Network::default();
    for span in list(&case["spans"]) {
        let (a, b) = (index(&span[0]), index(&span[1]));
        network.nodes = network.nodes.max(a + 1).max(b + 1);
        network.spans.push(Branch {
            a,
            b,
            resistance_ohm: number(&span[2]),
        });
    }
    let source = &case["source"];
    network.sources.push(Source {
        node: index(&source["node"]),
        voltage_v: number(&source["voltage_v"]),
        resistance_ohm: number(&source["resistance_ohm"]),
        current_limit_a: source["current_limit_a"].as_f64(),
    });
    for resistor in list(&case["resistors"]) {
        network.loads.push(Load {
            node: index(&resistor[0]),
            kind: LoadKind::Resistance {
                resistance_ohm: number(&resistor[1]),
            },
        });
    }
    Line {
        network,
        capacitors: list(&case["capacitors"])
            .iter()
            .map(|c| Capacitor {
                node: index(&c[0]),
                capacitance_f: number(&c[1]),
            })
            .collect(),
        modules: list(&case["modules"]).iter().map(module).collect(),
    }
}

pub(crate) fn cases() -> Vec<Case> {
    let file = reference("scipy-inrush.json");
    let cases: Vec<Case> = file["cases"]
        .as_object()
        .unwrap()
        .iter()
        .map(|(name, case)| Case {
            name: name.clone(),
            line: line(case),
            until_s: number(&case["until_s"]),
            expected: case.clone(),
        })
        .collect();
    assert_eq!(cases.len(), 13);
    cases
}

pub(crate) fn case(name: &str) -> Case {
    cases().into_iter().find(|case| case.name == name).unwrap()
}

/// Switchings as the reference names them. A boot that takes no time is not in the reference.
pub(crate) fn switchings(line: &Line, report: &Report) -> Vec<(&'static str, usize, f64)> {
    let named = |event: &power::startup::Event| {
        let (kind, which) = match event.kind {
            EventKind::On { module } => ("on", module),
            EventKind::Off { module } => ("off", module),
            EventKind::BootEnd { module } if line.modules[module].boot_s > 0.0 => {
                ("boot end", module)
            }
            EventKind::LimitLeft { source } => ("left", source),
            EventKind::LimitReached { source } if event.at_s > 0.0 => ("reached", source),
            _ => return None,
        };
        Some((kind, which, event.at_s))
    };
    report.events.iter().filter_map(named).collect()
}
