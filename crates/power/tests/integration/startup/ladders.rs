//! The cases of `reference/power/scipy-inrush.json` and `reference/power/ngspice-inrush.json`.

use power::startup::{Outcome, Report, Settings, start_up};

use super::{Case, case, cases, list, number, reference, switchings};

/// Both integrators are set to about 1e-9 of the source voltage; the steepest crossing is 100 V/s.
const TIME_TOLERANCE_S: f64 = 1e-7;
const VOLTAGE_TOLERANCE_V: f64 = 1e-6;
const CURRENT_TOLERANCE_A: f64 = 1e-6;
/// Switchings of the circuit simulator fall on its steps of 2 us, and in a hiccup they add up.
const SIMULATOR_SWITCHING_S: f64 = 10e-6;
/// Steps of 2 us by the trapezoidal rule, seven digits kept.
const SIMULATOR_RELATIVE: f64 = 1e-5;
const SIMULATOR_V: f64 = 1e-4;

fn follow(case: &Case) -> Report {
    start_up(&case.line, &Settings::following(case.until_s)).unwrap()
}

fn is_hiccup(report: &Report) -> bool {
    matches!(report.outcome, Outcome::Hiccup { .. })
}

/// Times at which the reference says that a node came to 90 % of the source voltage, beside ours.
fn reached<'a>(
    report: &'a Report,
    theirs: &'a serde_json::Value,
) -> impl Iterator<Item = (f64, f64)> {
    theirs["reached_s"]
        .as_object()
        .unwrap()
        .iter()
        .map(|(node, at_s)| {
            let node: usize = node.parse().unwrap();
            (report.reached_s[node].unwrap(), number(at_s))
        })
}

/// The greatest distance of our switchings from theirs. They must be the same, in the same order, as far as our run
/// went; a run that does not end in a hiccup must have them all.
fn farthest_switching_s(
    ours: &[(&str, usize, f64)],
    theirs: &[serde_json::Value],
    hiccup: bool,
) -> f64 {
    if !hiccup {
        assert_eq!(ours.len(), theirs.len(), "{ours:?} {theirs:?}");
    }
    let mut farthest_s = 0.0_f64;
    for (i, &(kind, which, at_s)) in ours.iter().enumerate() {
        assert_eq!(kind, theirs[i][0].as_str().unwrap(), "{ours:?} {theirs:?}");
        assert_eq!(which as f64, number(&theirs[i][1]), "{ours:?} {theirs:?}");
        farthest_s = farthest_s.max((at_s - number(&theirs[i][2])).abs());
    }
    farthest_s
}

#[test]
fn val_starts_are_those_of_scipy() {
    let mut switched = 0;
    for case in cases() {
        let (name, theirs) = (&case.name, &case.expected);
        let report = follow(&case);
        let ours = switchings(&case.line, &report);
        switched += ours.len();
        let off_s = farthest_switching_s(&ours, list(&theirs["events"]), is_hiccup(&report));
        assert!(off_s <= TIME_TOLERANCE_S, "{name}: {off_s} s");
        let off_a = (report.peak_currents_a[0] - number(&theirs["peak_a"])).abs();
        assert!(off_a <= CURRENT_TOLERANCE_A, "{name}: {off_a} A");
        if !name.starts_with("N2") {
            // in N2 the loaded nodes' unloaded voltage is not that of the source
            for (ours_s, theirs_s) in reached(&report, theirs) {
                let off_s = (ours_s - theirs_s).abs();
                assert!(off_s <= TIME_TOLERANCE_S, "{name}: {ours_s} {theirs_s}");
            }
        }
        if is_hiccup(&report) {
            continue;
        }
        for (v, w) in report.voltages_v.iter().zip(list(&theirs["end_v"])) {
            let off_v = (v - number(w)).abs();
            assert!(off_v <= VOLTAGE_TOLERANCE_V, "{name}: {off_v} V");
        }
        let off_a = (report.source_currents_a[0] - number(&theirs["end_a"])).abs();
        assert!(off_a <= CURRENT_TOLERANCE_A, "{name}: {off_a} A");
    }
    assert!(switched >= 39, "{switched}");
}

#[test]
fn val_starts_are_those_of_a_circuit_simulator() {
    let simulated = reference("ngspice-inrush.json");
    let simulated = simulated["cases"].as_object().unwrap();
    assert_eq!(simulated.len(), 10);
    for (name, theirs) in simulated {
        let case = case(name);
        let report = follow(&case);
        let modules: Vec<_> = switchings(&case.line, &report)
            .into_iter()
            .filter(|&(kind, ..)| kind == "on" || kind == "off")
            .collect();
        let theirs_switched = list(&theirs["switchings"]);
        let off_s = farthest_switching_s(&modules, theirs_switched, is_hiccup(&report));
        assert!(off_s <= SIMULATOR_SWITCHING_S, "{name}: {off_s} s");
        for (ours_s, theirs_s) in reached(&report, theirs) {
            let off = (ours_s / theirs_s - 1.0).abs();
            assert!(off <= SIMULATOR_RELATIVE, "{name}: {off}");
        }
        if let Some(theirs_s) = theirs["left_limit_s"].as_f64() {
            let off = (report.left_limit_s[0].unwrap() / theirs_s - 1.0).abs();
            assert!(off <= SIMULATOR_RELATIVE, "{name}: {off}");
        }
        if is_hiccup(&report) {
            continue;
        }
        for (node, v) in theirs["end_v"].as_object().unwrap() {
            let off_v = report.voltages_v[node.parse::<usize>().unwrap()] - number(v);
            assert!(off_v.abs() <= SIMULATOR_V, "{name}: {off_v} V");
        }
    }
}

/// Resistance of one conductor instead of the loop must fail the check that ours passes.
#[test]
fn val_one_conductor_instead_of_the_loop_fails_the_check() {
    for mut case in cases() {
        if !case.line.modules.is_empty() {
            continue;
        }
        for span in &mut case.line.network.spans {
            span.resistance_ohm *= 0.5;
        }
        let report = follow(&case);
        for (ours_s, theirs_s) in reached(&report, &case.expected) {
            let off_s = (ours_s - theirs_s).abs();
            assert!(off_s > 1e3 * TIME_TOLERANCE_S, "{}: {off_s}", case.name);
        }
    }
}

/// One capacitor behind one span: without limit `V = Vs (1 - exp(-t/RC))`; at the limit a straight line up to
/// `Vs - R I`, and the exponential from there.
#[test]
fn verif_one_capacitor_follows_its_closed_form() {
    let mut case = case("one node, 1470 uF, 0.8 A");
    let (volt, ohm, farad, amp) = (48.0, 10.221848, 1470e-6, 0.8);
    let report = follow(&case);
    let straight_s = farad * (volt - ohm * amp) / amp;
    let reached_s = straight_s + ohm * farad * libm::log(ohm * amp / (0.1 * volt));
    assert!((report.left_limit_s[0].unwrap() - straight_s).abs() < 2e-9);
    assert!((report.reached_s[1].unwrap() - reached_s).abs() < 2e-9);

    case.line.network.sources[0].current_limit_a = None;
    let report = follow(&case);
    let reached_s = ohm * farad * libm::log(10.0);
    assert!((report.reached_s[1].unwrap() - reached_s).abs() < 2e-9);
    assert!((report.peak_currents_a[0] - volt / ohm).abs() < 1e-12);
    let trace = &report.trace;
    assert!(trace.time_s.len() > 100);
    for (t, v) in trace.time_s.iter().zip(&trace.voltages_v[1]) {
        let exact_v = volt * -libm::expm1(-t / (ohm * farad));
        assert!((v - exact_v).abs() < 2e-7, "{t} {v} {exact_v}");
    }
}

/// What of the first span's resistance lies inside the source makes no difference to the nodes behind it, with or
/// without a limit.
#[test]
fn verif_resistance_inside_the_source_counts_as_that_of_the_span() {
    for name in [
        "two nodes, 0.8 A",
        "three nodes, no limit",
        "booting, 0.8 A",
    ] {
        let mut case = case(name);
        let outside = follow(&case);
        case.line.network.spans[0].resistance_ohm -= 4.0;
        case.line.network.sources[0].resistance_ohm = 4.0;
        let inside = follow(&case);
        assert_eq!(outside.left_limit_s.len(), 1);
        let times = |report: &Report| -> Vec<f64> {
            let of_nodes = report.reached_s[1..].iter().flatten();
            let of_limit = report.left_limit_s.iter().flatten();
            let switched = report.events.iter().map(|event| event.at_s);
            of_nodes.chain(of_limit).copied().chain(switched).collect()
        };
        let (a, b) = (times(&outside), times(&inside));
        assert_eq!(a.len(), b.len(), "{name}: {a:?} {b:?}");
        assert!(a.len() >= 3, "{name}: {a:?}");
        for (x, y) in a.iter().zip(&b) {
            assert!((x - y).abs() < 1e-8, "{name}: {x} {y}");
        }
        let lost = |report: &Report| report.ledger.lost_j;
        assert!(
            (lost(&outside) / lost(&inside) - 1.0).abs() < 1e-6,
            "{name}"
        );
    }
}

/// The start with lock-outs comes to rest at the operating point of the network N1, which the solver at rest finds
/// too.
#[test]
fn val_a_start_comes_to_rest_at_the_operating_point() {
    let networks = reference("scipy-networks.json");
    let expected = list(&networks["networks"]["N1"]["voltages_v"]);
    let report = follow(&case("lock-out, 0.8 A"));
    assert!(matches!(&report.outcome, Outcome::Started { modules } if modules.len() == 2));
    for (v, w) in report.voltages_v.iter().zip(expected) {
        assert!((v - number(w)).abs() <= VOLTAGE_TOLERANCE_V);
    }
}

#[test]
fn verif_effort_is_small_and_told() {
    for case in cases() {
        let effort = follow(&case).effort;
        let name = &case.name;
        assert!(effort.steps < 2_000, "{name}: {effort:?}");
        assert!(effort.rejections * 5 < effort.steps, "{name}: {effort:?}");
        assert!(effort.searches < 200, "{name}: {effort:?}");
    }
}
