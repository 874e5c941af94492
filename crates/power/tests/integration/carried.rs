//! What falls out where the line cannot carry all: closed forms of one source and constant powers behind resistances,
//! `P <= Vs^2/(4 R)` and the quadratic `V^2 - Vs V + P R = 0`, and laws that hold for every network.

use power::{Branch, Fallen, Load, LoadKind, Network, NetworkError, Source, carried, solve};
use proptest::prelude::*;

use crate::properties::network;

fn source(voltage_v: f64, current_limit_a: Option<f64>) -> Source {
    Source {
        node: 0,
        voltage_v,
        resistance_ohm: 0.0,
        current_limit_a,
    }
}

/// Branches from a source to nodes 1, 2 and so on, each with its resistance and its power.
fn star(voltage_v: f64, branches: &[(f64, f64)]) -> Network {
    let node = |i: usize| i + 1;
    Network {
        nodes: branches.len() + 1,
        spans: (branches.iter().enumerate())
            .map(|(i, (resistance_ohm, _))| Branch {
                a: 0,
                b: node(i),
                resistance_ohm: *resistance_ohm,
            })
            .collect(),
        sources: vec![source(voltage_v, None)],
        loads: (branches.iter().enumerate())
            .map(|(i, (_, power_w))| Load {
                node: node(i),
                kind: LoadKind::Power { power_w: *power_w },
            })
            .collect(),
    }
}

/// The higher root of `V^2 - Vs V + P R = 0`.
fn behind(voltage_v: f64, resistance_ohm: f64, power_w: f64) -> f64 {
    (voltage_v + (voltage_v * voltage_v - 4.0 * resistance_ohm * power_w).sqrt()) / 2.0
}

/// A bad branch of 750 ohm at 48 V passes at most 48^2/(4 * 750) = 0.768 W: 0.77 W behind it collapses there, and the branch beside it keeps the
/// voltage of its own quadratic, although it is nearer to its lowest (36 V) than the bad one at its collapse (24 V, lowest 18 V).
#[test]
fn verif_of_two_branches_the_bad_one_falls_out() {
    let lowest_v = [0.0, 36.0, 18.0];
    let found = carried(&star(48.0, &[(5.0, 40.0), (750.0, 0.767)]), &lowest_v).unwrap();
    assert!(found.fallen.is_empty(), "{found:?}");
    assert_eq!(found.on, [true, true]);
    let found = carried(&star(48.0, &[(5.0, 40.0), (750.0, 0.77)]), &lowest_v).unwrap();
    let [Fallen::Powers { node: 2, share }] = found.fallen[..] else {
        panic!("{found:?}")
    };
    assert!((share - 0.768 / 0.77).abs() < 1e-9, "{share}");
    assert_eq!(found.on, [true, false]);
    let wanted_v = [48.0, behind(48.0, 5.0, 40.0), 48.0];
    for (found_v, wanted_v) in found.solution.voltages_v.iter().zip(wanted_v) {
        assert!((found_v - wanted_v).abs() < 1e-9, "{found_v} {wanted_v}");
    }
    let gives_a = 40.0 / wanted_v[1];
    assert!((found.solution.source_currents_a[0] - gives_a).abs() < 1e-9);
}

/// Three modules at one end of a bad branch fall alike: the one with the highest lowest voltage goes, not the farthest or the smallest.
#[test]
fn verif_of_modules_that_fall_alike_the_most_demanding_goes() {
    // 48^2/(4 * 100) = 5.76 W; 4 + 1 + 1 W are asked.
    let mut line = star(48.0, &[(100.0, 1.0)]);
    line.nodes = 4;
    for (a, b, power_w) in [(1, 2, 4.0), (2, 3, 1.0)] {
        let resistance_ohm = 0.01;
        line.spans.push(Branch {
            a,
            b,
            resistance_ohm,
        });
        line.loads.push(Load {
            node: b,
            kind: LoadKind::Power { power_w },
        });
    }
    let goes = |lowest_v: [f64; 4]| -> Vec<usize> {
        let found = carried(&line, &lowest_v).unwrap();
        let node = |f: &Fallen| match *f {
            Fallen::Powers { node, .. } => node,
            ref other => panic!("{other:?}"),
        };
        found.fallen.iter().map(node).collect()
    };
    assert_eq!(goes([0.0, 12.0, 20.0, 12.0]), [2]);
    assert_eq!(goes([0.0, 20.0, 12.0, 12.0]), [1]);
    assert_eq!(goes([0.0, 12.0, 12.0, 20.0]), [3]);
    // Alike in that too, the one farthest out, which falls fastest.
    assert_eq!(goes([0.0, 12.0, 12.0, 12.0]), [3]);
}

/// 0.1 A through 600 ohm would need 60 V of 48 V.
#[test]
fn verif_a_constant_current_that_cannot_flow_falls_out() {
    let mut line = star(48.0, &[(5.0, 40.0), (600.0, 0.0)]);
    line.loads[1].kind = LoadKind::Current { current_a: 0.1 };
    let found = carried(&line, &[0.0; 3]).unwrap();
    assert_eq!(found.fallen, [Fallen::Currents { node: 2 }]);
    let healthy_v = found.solution.voltages_v[1];
    assert!((healthy_v - behind(48.0, 5.0, 40.0)).abs() < 1e-9);
}

/// A supply over its limit takes what is connected with it, and no other: 40 W and more at 48 V need more than 0.5 A.
#[test]
fn verif_an_overloaded_source_takes_its_own_part_only() {
    let mut line = star(48.0, &[(5.0, 40.0)]);
    line.sources[0].current_limit_a = Some(0.5);
    line.nodes = 4;
    line.sources.push(Source {
        node: 2,
        ..source(24.0, Some(0.5))
    });
    line.spans.push(Branch {
        a: 2,
        b: 3,
        resistance_ohm: 10.0,
    });
    line.loads.push(Load {
        node: 3,
        kind: LoadKind::Power { power_w: 5.0 },
    });
    let found = carried(&line, &[0.0; 4]).unwrap();
    assert_eq!(found.fallen, [Fallen::Overloaded { source: 0 }]);
    let solution = &found.solution;
    let wanted_v = [0.0, 0.0, 24.0, behind(24.0, 10.0, 5.0)];
    for (found_v, wanted_v) in solution.voltages_v.iter().zip(wanted_v) {
        assert!((found_v - wanted_v).abs() < 1e-9, "{found_v} {wanted_v}");
    }
    assert_eq!(solution.source_currents_a[0], 0.0);
    assert!(solution.limited.is_empty());
    let lost_w = (5.0 / wanted_v[3]).powi(2) * 10.0;
    assert!((solution.span_loss_w - lost_w).abs() < 1e-9);
}

/// Two supplies of which one pushes more into the other than its limit, with nothing to draw.
#[test]
fn verif_supplies_that_feed_each_other_past_a_limit_end() {
    let mut line = star(48.0, &[(5.0, 1.0)]);
    line.sources[0].current_limit_a = Some(0.5);
    line.sources.push(Source {
        node: 1,
        ..source(24.0, None)
    });
    let found = carried(&line, &[0.0; 2]).unwrap();
    assert_eq!(found.fallen, [Fallen::Overloaded { source: 0 }]);
    assert_eq!(found.solution.voltages_v, [0.0, 0.0]);
}

#[test]
fn verif_a_list_of_another_length_is_refused() {
    let found = carried(&star(48.0, &[(5.0, 40.0)]), &[0.0]);
    assert!(matches!(found, Err(NetworkError::WrongLength { .. })));
}

proptest! {
    #![proptest_config(crate::cases())]

    /// Branches that share nothing but an ideal source: out fall those that ask for more than `Vs^2/(4 R)`, and all others have the voltage
    /// of their quadratic.
    #[test]
    fn verif_of_many_branches_those_fall_out_that_cannot_be_fed(
        branches in prop::collection::vec((1.0..400.0_f64, 0.1..12.0_f64, 6.0..40.0_f64), 1..12),
    ) {
        let asked: Vec<(f64, f64)> = branches.iter().map(|(ohm, watt, _)| (*ohm, *watt)).collect();
        let most = |(ohm, watt): &(f64, f64)| 48.0 * 48.0 / (4.0 * ohm * watt);
        prop_assume!(asked.iter().all(|b| (most(b) - 1.0).abs() > 1e-6));
        let lowest_v: Vec<f64> = std::iter::once(0.0).chain(branches.iter().map(|b| b.2)).collect();
        let found = carried(&star(48.0, &asked), &lowest_v).unwrap();
        for (i, branch) in asked.iter().enumerate() {
            prop_assert_eq!(found.on[i], most(branch) > 1.0);
            let wanted_v = if found.on[i] { behind(48.0, branch.0, branch.1) } else { 48.0 };
            let found_v = found.solution.voltages_v[i + 1];
            prop_assert!((found_v - wanted_v).abs() < 1e-7 * wanted_v, "{} {}", found_v, wanted_v);
        }
    }

    /// Of any network with too much load: what is left has the operating point of a network made of that alone, each that fell out did so because with
    /// it there was none, and a network that carries all loses nothing.
    #[test]
    fn verif_what_is_left_stands_and_each_fall_was_needed(line in network(60, 3), times in 1.0..400.0_f64) {
        let mut line = line;
        for load in &mut line.loads {
            if let LoadKind::Power { power_w } = &mut load.kind {
                *power_w *= times;
            }
        }
        let found = carried(&line, &vec![20.0; line.nodes]).unwrap();
        let mut left = line.clone();
        for fallen in &found.fallen {
            prop_assert!(solve(&left).is_err());
            let (Fallen::Powers { node, .. } | Fallen::Currents { node }) = *fallen else {
                panic!("no source has a limit");
            };
            let before = left.loads.len();
            left.loads.retain(|load| load.node != node);
            prop_assert!(left.loads.len() < before);
        }
        let alone = solve(&left).unwrap();
        prop_assert_eq!(alone.voltages_v, found.solution.voltages_v);
        prop_assert_eq!(found.on.iter().filter(|on| **on).count(), left.loads.len());
    }
}
