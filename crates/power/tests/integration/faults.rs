//! Shorts, poor contacts, leaks and leaky lines against an independent program, and the laws that hold for every network.

use power::fault::{
    at_place, bolted_short, contact_borne, insulation_reading_ohm, leak, leak_borne, leaky_line,
    settled, short_circuit_current_a,
};
use power::{
    Binding, Branch, Limits, Load, LoadKind, Network, NetworkError, Source, collapse_factor, solve,
};
use proptest::prelude::*;
use serde_json::Value;

use crate::networks::cases;
use crate::properties::network as random_network;
use crate::published::two_bus;

const TOLERANCE: f64 = 1e-6;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn node(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}

#[track_caller]
fn near(ours: &[f64], expected: &Value) {
    let expected = expected.as_array().unwrap();
    assert_eq!(ours.len(), expected.len());
    for (a, b) in ours.iter().zip(expected) {
        assert!((a - number(b)).abs() <= TOLERANCE, "{a} {b}");
    }
}

fn named(name: &str) -> Network {
    let mut all = cases().into_iter();
    all.find(|case| case.name == name).unwrap().network
}

#[test]
fn val_shorts_with_loads_are_those_of_scipy() {
    let file = truth::json("power/scipy-faults.json");
    let mut dropped = 0;
    for (name, shorts) in file["shorts"].as_object().unwrap() {
        for expected in shorts.as_array().unwrap() {
            let mut network = named(name);
            for (source, limit) in network
                .sources
                .iter_mut()
                .zip(expected["limits_a"].as_array().unwrap())
            {
                source.current_limit_a = limit.as_f64();
            }
            let lowest_v = vec![number(&expected["lowest_v"]); network.loads.len()];
            let ours = bolted_short(&network, node(&expected["short"]), &lowest_v).unwrap();
            let on: Vec<bool> = expected["on"]
                .as_array()
                .unwrap()
                .iter()
                .map(|o| o.as_bool().unwrap())
                .collect();
            assert_eq!(ours.on, on, "{name} {expected}");
            near(&ours.voltages_v, &expected["voltages_v"]);
            near(&ours.source_currents_a, &expected["source_currents_a"]);
            near(
                &[ours.short_a],
                &Value::from(vec![number(&expected["short_a"])]),
            );
            let at_limit = expected["at_limit"].as_array().unwrap();
            let limited = (0..at_limit.len()).filter(|&i| at_limit[i] == Value::Bool(true));
            assert_eq!(ours.at_limit, limited.collect::<Vec<_>>());
            dropped += on.iter().filter(|on| !**on).count();
        }
    }
    assert!(dropped > 20);
}

/// Which loads go on behind a span that has grown poor, and their voltages: 80 random trees, most of which cannot carry all.
#[test]
fn val_poor_contacts_with_loads_are_those_of_scipy() {
    let file = truth::json("power/scipy-faults.json");
    let contacts = file["contacts"].as_array().unwrap();
    for expected in contacts {
        let list = |key: &str| expected[key].as_array().unwrap().iter();
        let spans = list("spans").map(|span| Branch {
            a: node(&span["a"]),
            b: node(&span["b"]),
            resistance_ohm: number(&span["resistance_ohm"]),
        });
        let loads = list("loads").flat_map(|load| {
            let at = node(&load["node"]);
            let power_w = number(&load["power_w"]);
            let current_a = number(&load["current_a"]);
            let power = Some(LoadKind::Power { power_w });
            let current = (current_a > 0.0).then_some(LoadKind::Current { current_a });
            let kinds = power.into_iter().chain(current);
            kinds.map(move |kind| Load { node: at, kind })
        });
        let network = Network {
            nodes: node(&expected["nodes"]),
            spans: spans.collect(),
            sources: vec![Source {
                node: 0,
                voltage_v: 48.0,
                resistance_ohm: 0.2,
                current_limit_a: None,
            }],
            loads: loads.collect(),
        };
        let lowest_v: Vec<f64> = list("lowest_v").map(number).collect();
        let ours = settled(&network, &lowest_v).unwrap();
        let on: Vec<bool> = list("on").map(|on| on.as_bool().unwrap()).collect();
        assert_eq!(ours.on, on, "{expected}");
        near(&ours.voltages_v, &expected["voltages_v"]);
    }
    let collapse = |c: &&Value| c["collapses"].as_u64().unwrap() > 0;
    assert!(contacts.iter().filter(collapse).count() > 60);
}

#[test]
fn val_leaks_are_those_of_two_conductors_written_out() {
    let file = truth::json("power/scipy-faults.json");
    for (name, leaks) in file["leaks"].as_object().unwrap() {
        let network = named(name);
        for expected in leaks.as_array().unwrap() {
            let (from, into) = (node(&expected["from"]), node(&expected["into"]));
            let ours = leak(&network, from, into, number(&expected["resistance_ohm"])).unwrap();
            assert!(
                (ours.current_a - number(&expected["current_a"])).abs() <= TOLERANCE,
                "{name} {expected} {}",
                ours.current_a
            );
            near(&ours.solution.voltages_v, &expected["voltages_v"]);
            near(
                &ours.solution.source_currents_a,
                &expected["source_currents_a"],
            );
            assert!(ours.cost_w > ours.leak_w && ours.leak_w > 0.0);
        }
    }
}

/// The same once more by ngspice, both conductors written out.
#[test]
fn val_leaks_and_shorts_are_those_of_a_circuit_simulator() {
    let simulated = truth::json("power/ngspice-faults.json");
    let inputs = truth::json("power/scipy-faults.json");
    let off_a = |ours: f64, theirs: &Value| (ours.abs() - number(theirs).abs()).abs();
    let mut checked = 0;
    for (name, leaks) in simulated["leaks_a"].as_object().unwrap() {
        let network = named(name);
        for (input, theirs) in inputs["leaks"][name]
            .as_array()
            .unwrap()
            .iter()
            .zip(leaks.as_array().unwrap())
        {
            let (from, into) = (node(&input["from"]), node(&input["into"]));
            let ours = leak(&network, from, into, number(&input["resistance_ohm"])).unwrap();
            assert!(off_a(ours.current_a, theirs) <= TOLERANCE, "{name} {input}");
            checked += 1;
        }
    }
    for (name, shorts) in simulated["shorts_a"].as_object().unwrap() {
        let network = named(name);
        let all = inputs["shorts"][name].as_array().unwrap();
        let unlimited = all.iter().filter(|s| s["limits_a"][0].is_null());
        for (input, theirs) in unlimited.zip(shorts.as_array().unwrap()) {
            let lowest_v = vec![number(&input["lowest_v"]); network.loads.len()];
            let ours = bolted_short(&network, node(&input["short"]), &lowest_v).unwrap();
            assert!(off_a(ours.short_a, theirs) <= TOLERANCE, "{name} {input}");
            checked += 1;
        }
    }
    assert_eq!(checked, 36);
}

/// A resistor across the loop instead of a leak at two places must fail the check that ours passes.
#[test]
fn val_a_leak_taken_as_a_load_fails_the_check() {
    let expected = &truth::json("power/scipy-faults.json")["leaks"]["N2"][2];
    let mut network = named("N2");
    network.loads.push(Load {
        node: node(&expected["from"]),
        kind: LoadKind::Resistance {
            resistance_ohm: number(&expected["resistance_ohm"]),
        },
    });
    let v = solve(&network).unwrap().voltages_v[node(&expected["from"])];
    let off_v = v - number(&expected["voltages_v"][node(&expected["from"])]);
    assert!(off_v.abs() > 0.1, "{off_v}");
}

#[test]
fn val_leaky_lines_are_the_matrix_exponential() {
    for expected in truth::json("power/scipy-faults.json")["lines"]
        .as_array()
        .unwrap()
    {
        let ours = leaky_line(
            number(&expected["sent_v"]),
            number(&expected["series_ohm"]),
            number(&expected["shunt_ohm"]),
            expected["end_ohm"].as_f64(),
        )
        .unwrap();
        assert!(
            (ours.sent_a / number(&expected["sent_a"]) - 1.0).abs() <= 1e-9,
            "{expected}"
        );
        assert!(
            (ours.end_v / number(&expected["end_v"]) - 1.0).abs() <= 1e-9,
            "{expected}"
        );
    }
}

/// The closed form is the limit of many lumps: with each doubling the ladder comes four times nearer.
#[test]
fn verif_a_leaky_line_is_a_ladder_of_many_lumps() {
    let (sent_v, series_ohm, shunt_ohm, end_ohm) = (375.0, 40.0, 300.0, 150.0);
    let closed = leaky_line(sent_v, series_ohm, shunt_ohm, Some(end_ohm)).unwrap();
    let ladder_v = |lumps: usize| {
        let mut network = two_bus(sent_v, series_ohm / lumps as f64, 0.0);
        network.nodes = lumps + 1;
        network.spans = (0..lumps)
            .map(|i| Branch {
                a: i,
                b: i + 1,
                resistance_ohm: series_ohm / lumps as f64,
            })
            .collect();
        network.loads = (0..=lumps)
            .map(|i| {
                let halves = if i == 0 || i == lumps { 2.0 } else { 1.0 };
                Load {
                    node: i,
                    kind: LoadKind::Resistance {
                        resistance_ohm: halves * shunt_ohm * lumps as f64,
                    },
                }
            })
            .collect();
        network.loads.push(Load {
            node: lumps,
            kind: LoadKind::Resistance {
                resistance_ohm: end_ohm,
            },
        });
        let solution = solve(&network).unwrap();
        (solution.voltages_v[lumps], solution.source_currents_a[0])
    };
    let off = |lumps| (ladder_v(lumps).0 - closed.end_v).abs();
    assert!(
        (off(64) / off(128) - 4.0).abs() < 0.01,
        "{} {}",
        off(64),
        off(128)
    );
    let (end_v, sent_a) = ladder_v(2000);
    assert!((end_v - closed.end_v).abs() < 1e-5 && (sent_a - closed.sent_a).abs() < 1e-5);
    assert!((closed.leaked_a - (closed.sent_a - closed.end_v / end_ohm)).abs() < 1e-12);
}

#[test]
fn verif_insulation_readings_lie_side_by_side() {
    // 400 m at 500 Mohm km are 1250 Mohm, 2 km at 100 Mohm km are 50 Mohm: 48.08 Mohm together
    let ours = insulation_reading_ohm(&[(400.0, 500e6), (2000.0, 100e6)])
        .unwrap()
        .unwrap();
    assert!((ours - 1.0 / (1.0 / 1250e6 + 1.0 / 50e6)).abs() < 1.0);
    assert_eq!(insulation_reading_ohm(&[]), Ok(None));
    assert!(insulation_reading_ohm(&[(0.0, 1e6)]).is_err());
    assert!(
        leaky_line(48.0, 1.0, 0.0, None).is_err() && leaky_line(48.0, -1.0, 1.0, None).is_err()
    );
    let lossless = leaky_line(48.0, 0.0, 1000.0, Some(500.0)).unwrap();
    assert!((lossless.end_v - 48.0).abs() < 1e-12 && (lossless.sent_a - 0.144).abs() < 1e-12);
}

/// On 48 V over 20 ohm with 12 W: the collapse comes at 48 ohm, 36 V at 24 ohm of loop (closed form of the quadratic).
#[test]
fn verif_contacts_and_leaks_on_two_nodes() {
    let network = two_bus(48.0, 20.0, 12.0);
    let limits = |minimum_v: f64| Limits {
        minimum_v: vec![0.0, minimum_v],
        rated_a: vec![None],
    };
    let free = contact_borne(&network, 0, &limits(0.0)).unwrap();
    assert!((free.resistance_ohm - 28.0).abs() < 1e-6 && free.binds == Some(Binding::Collapse));
    let kept = contact_borne(&network, 0, &limits(36.0)).unwrap();
    assert!(
        (kept.resistance_ohm - (36.0 * 12.0 / 12.0 - 20.0)).abs() < 1e-6,
        "{kept:?}"
    );
    assert_eq!(kept.binds, Some(Binding::Voltage { node: 1 }));
    let broken = contact_borne(&network, 0, &limits(47.0)).unwrap();
    assert_eq!(
        (broken.resistance_ohm, broken.binds),
        (0.0, Some(Binding::Voltage { node: 1 }))
    );
    // at 36 V the loop carries 0.6 A, a third of an ampere feeds the load, the rest leaks at one place
    let at_one = leak_borne(&network, 1, 1, &limits(36.0)).unwrap();
    assert!(
        (at_one.resistance_ohm - 36.0 / (0.6 - 1.0 / 3.0)).abs() < 1e-4,
        "{at_one:?}"
    );
    // through the water to the supply the leak spares the return: half of the loop carries it
    let to_supply = leak_borne(&network, 1, 0, &limits(36.0)).unwrap();
    let leaking_a = 2.0 * (0.6 - 1.0 / 3.0);
    let expected_ohm = (48.0 + 36.0) / 2.0 / leaking_a - 5.0;
    assert!(
        (to_supply.resistance_ohm - expected_ohm).abs() < 1e-4,
        "{to_supply:?}"
    );
    let again = leak(&network, 1, 0, to_supply.resistance_ohm).unwrap();
    assert!((again.solution.voltages_v[1] - 36.0).abs() < 1e-6);
    assert!(matches!(
        leak(&network, 1, 1, 5.0),
        Err(NetworkError::LeakNotCarried { .. })
    ));
    assert!(matches!(
        contact_borne(&network, 1, &limits(0.0)),
        Err(NetworkError::NoSuchSpan { .. })
    ));
    assert!(leak(&network, 1, 2, 5.0).is_err() && leak(&network, 1, 0, 0.0).is_err());
}

#[test]
fn verif_bad_lists_and_the_ideal_short_are_refused() {
    let mut network = two_bus(48.0, 20.0, 12.0);
    assert!(matches!(
        bolted_short(&network, 1, &[]),
        Err(NetworkError::WrongLength { .. })
    ));
    assert!(matches!(
        bolted_short(&network, 1, &[0.0]),
        Err(NetworkError::BadValue { .. })
    ));
    assert!(matches!(
        bolted_short(&network, 0, &[9.0]),
        Err(NetworkError::IdealShort { source_index: 0 })
    ));
    network.sources[0].current_limit_a = Some(1.5);
    let at_supply = bolted_short(&network, 0, &[9.0]).unwrap();
    assert_eq!(
        (at_supply.short_a, at_supply.at_limit, at_supply.on),
        (1.5, vec![0], vec![false])
    );
    let far = bolted_short(&network, 1, &[9.0]).unwrap();
    assert_eq!((far.short_a, far.voltages_v[0], far.rounds), (1.5, 30.0, 2));
}

/// 750 ohm at 48 V pass at most 48^2/(4 * 750) = 0.768 W: 0.77 W behind them collapse, at 24 V and far above their lowest, and not the 9 W beside the
/// supply, which stand at 48 V and are nearer to theirs.
#[test]
fn verif_behind_a_poor_contact_falls_what_lies_behind_it() {
    let mut network = two_bus(48.0, 750.0, 0.77);
    network.loads.push(Load {
        node: 0,
        kind: LoadKind::Power { power_w: 9.0 },
    });
    let ours = settled(&network, &[12.0, 36.0]).unwrap();
    assert_eq!((ours.on, ours.rounds), (vec![false, true], 2));
}

/// 48 V, 20 ohm, 12 W runs at 42.2 V and 28.8 W would collapse it; a second load of 20 W therefore goes, the first stays.
#[test]
fn verif_of_loads_at_one_node_that_of_the_higher_lowest_goes() {
    let mut network = two_bus(48.0, 20.0, 12.0);
    network.loads.push(Load {
        node: 1,
        kind: LoadKind::Power { power_w: 20.0 },
    });
    let ours = settled(&network, &[18.0, 30.0]).unwrap();
    assert_eq!((ours.on, ours.rounds), (vec![true, false], 2));
    assert!((ours.voltages_v[1] - 0.5 * (48.0 + (48.0_f64.powi(2) - 960.0).sqrt())).abs() < 1e-9);
}

fn limited(mut network: Network, limit_a: Option<f64>) -> Network {
    for source in &mut network.sources {
        source.current_limit_a = limit_a;
    }
    network
}

/// Kirchhoff by the returned currents, and what each flag promises.
fn check_fault(network: &Network, short: usize, lowest_v: f64) -> Result<(), TestCaseError> {
    let lowest: Vec<f64> = vec![lowest_v; network.loads.len()];
    let fault = match bolted_short(network, short, &lowest) {
        Ok(fault) => fault,
        Err(NetworkError::IdealShort { .. } | NetworkError::ShortedLoop { .. }) => return Ok(()),
        Err(other) => return Err(TestCaseError::fail(other.to_string())),
    };
    prop_assert!(fault.rounds as usize <= network.loads.len() + 1);
    let mut into_a = vec![0.0; network.nodes];
    let mut gross_a = 1.0;
    into_a[short] -= fault.short_a;
    for (span, &amp) in network.spans.iter().zip(&fault.branch_currents_a) {
        into_a[span.a] -= amp;
        into_a[span.b] += amp;
        gross_a += amp.abs();
    }
    for (load, &on) in network.loads.iter().zip(&fault.on) {
        let v = fault.voltages_v[load.node];
        prop_assert!(!on || v >= lowest_v);
        if on {
            into_a[load.node] -= match load.kind {
                LoadKind::Power { power_w } => power_w / v,
                LoadKind::Current { current_a } => current_a,
                LoadKind::Resistance { resistance_ohm } => v / resistance_ohm,
            };
        }
    }
    for (i, (source, &amp)) in network
        .sources
        .iter()
        .zip(&fault.source_currents_a)
        .enumerate()
    {
        into_a[source.node] += amp;
        let open_v = source.voltage_v - source.resistance_ohm * amp;
        if fault.at_limit.contains(&i) {
            prop_assert_eq!(Some(amp), source.current_limit_a);
            prop_assert!(fault.voltages_v[source.node] <= open_v + 1e-9);
        } else {
            prop_assert!((fault.voltages_v[source.node] - open_v).abs() < 1e-8);
        }
    }
    for amp in into_a {
        prop_assert!(amp.abs() < 1e-9 * gross_a, "{} A", amp);
    }
    prop_assert!(fault.voltages_v[short].abs() < 1e-9);
    Ok(())
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_kirchhoff_and_flags_of_shorts(
        network in random_network(60, 4), at in any::<prop::sample::Index>(), lowest_v in 20.0..330.0_f64, limit_a in prop::option::of(0.5..20.0_f64),
    ) {
        let network = limited(network, limit_a);
        check_fault(&network, at.index(network.nodes), lowest_v)?;
    }

    /// A limit on the sources never makes a short larger, nor does resistance in a span.
    #[test]
    fn verif_shorts_are_monotone(network in random_network(40, 3), at in any::<prop::sample::Index>(), limit_a in 0.5..20.0_f64) {
        let node = at.index(network.nodes);
        let Ok(free_a) = short_circuit_current_a(&network, node) else { return Ok(()) };
        let less_a = short_circuit_current_a(&limited(network.clone(), Some(limit_a)), node).unwrap();
        prop_assert!(less_a <= free_a * (1.0 + 1e-12));
        let mut poorer = network;
        for span in &mut poorer.spans {
            span.resistance_ohm *= 1.5;
        }
        prop_assert!(short_circuit_current_a(&poorer, node).unwrap() <= free_a * (1.0 + 1e-12));
    }

    /// At the resistance that is told the limit is broken, a millionth below it is not.
    #[test]
    fn verif_contacts_are_the_boundary(network in random_network(40, 0), at in any::<prop::sample::Index>(), share in 0.7..0.99_f64) {
        let span = at.index(network.spans.len());
        let Ok(now) = solve(&network) else { return Ok(()) };
        let limits = Limits {
            minimum_v: now.voltages_v.iter().map(|v| share * v).collect(),
            rated_a: vec![None; network.spans.len()],
        };
        let borne = contact_borne(&network, span, &limits).unwrap();
        let kept = |extra_ohm: f64| {
            let mut poor = network.clone();
            poor.spans[span].resistance_ohm += extra_ohm;
            solve(&poor).is_ok_and(|s| s.voltages_v.iter().zip(&limits.minimum_v).all(|(v, least)| v >= least))
        };
        if borne.resistance_ohm.is_infinite() {
            prop_assert!(borne.binds.is_none() && kept(1e6));
        } else {
            prop_assert!(kept(borne.resistance_ohm * (1.0 - 1e-6)) && !kept(borne.resistance_ohm * (1.0 + 1e-6)));
        }
    }

    /// A leak over two places that are one is a resistor there.
    #[test]
    fn verif_leaks_at_one_place_are_resistors(network in random_network(40, 0), at in any::<prop::sample::Index>(), share in 0.01..0.99_f64, ohm in 300.0..1e5_f64) {
        if !collapse_factor(&network).is_ok_and(|factor| factor > 2.0) {
            return Ok(());
        }
        let (cut, place) = at_place(&network, at.index(network.spans.len()), share).unwrap();
        // A second node at the place, so that the way over two places is taken.
        let mut twice = cut.clone();
        twice.nodes += 1;
        twice.spans.push(Branch { a: place, b: cut.nodes, resistance_ohm: 0.0 });
        let ours = match leak(&twice, place, cut.nodes, ohm) {
            Ok(ours) => ours,
            Err(NetworkError::LeakNotCarried { .. }) => return Ok(()),
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        let mut plain = cut.clone();
        plain.loads.push(Load { node: place, kind: LoadKind::Resistance { resistance_ohm: ohm } });
        let plain = solve(&plain).unwrap();
        for (a, b) in ours.solution.voltages_v.iter().zip(&plain.voltages_v) {
            prop_assert!((a - b).abs() < 1e-5, "{} {}", a, b);
        }
        prop_assert!((ours.current_a - plain.voltages_v[place] / ohm).abs() < 1e-6);
    }
}

#[test]
fn verif_places_on_a_span() {
    let network = two_bus(48.0, 20.0, 12.0);
    let (cut, place) = at_place(&network, 0, 0.25).unwrap();
    assert_eq!((cut.nodes, place), (3, 2));
    assert_eq!(
        [cut.spans[0].resistance_ohm, cut.spans[1].resistance_ohm],
        [5.0, 15.0]
    );
    assert!(
        (solve(&cut).unwrap().voltages_v[1] - solve(&network).unwrap().voltages_v[1]).abs() < 1e-9
    );
    assert_eq!(at_place(&network, 0, 1.0).unwrap().1, 1);
    assert!(at_place(&network, 0, 1.5).is_err() && at_place(&network, 1, 0.5).is_err());
    let two = Source {
        node: 1,
        ..network.sources[0]
    };
    let mut fed_twice = network;
    fed_twice.sources.push(two);
    assert_eq!(leak(&fed_twice, 1, 1, 100.0).unwrap().current_a, 0.48);
}
