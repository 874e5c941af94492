//! How starts end, each by name.

use power::startup::{
    AtOnce, Capacitor, EventKind, Input, Line, Module, NoOrder, Outcome, Phase, Settings,
    Shortfall, Staged, booting_at_once, running_at_once, staged_start, start_up,
};
use power::{Branch, Load, LoadKind, Network, Source, collapse_factor};

use super::{case, number};

fn follow(line: &Line) -> Outcome {
    start_up(line, &Settings::following(20.0)).unwrap().outcome
}

fn module(node: usize, input: Input, boot_power_w: f64, running_power_w: f64) -> Module {
    Module {
        node,
        capacitance_f: 470e-6,
        input,
        leakage_ohm: None,
        boot_power_w,
        boot_s: 0.5,
        running_power_w,
        not_before_s: 0.0,
    }
}

const LOCK: Input = Input::LockOut {
    on_v: 36.0,
    off_v: 30.0,
};

/// 48 V over 10 ohm to a hub, from there 5 ohm to each of two modules.
fn star(limit_a: Option<f64>, input: Input, boot_w: f64) -> Line {
    let span = |a, b, resistance_ohm| Branch {
        a,
        b,
        resistance_ohm,
    };
    Line {
        network: Network {
            nodes: 4,
            spans: vec![span(0, 1, 10.0), span(1, 2, 5.0), span(1, 3, 5.0)],
            sources: vec![Source {
                node: 0,
                voltage_v: 48.0,
                resistance_ohm: 0.0,
                current_limit_a: limit_a,
            }],
            loads: Vec::new(),
        },
        capacitors: Vec::new(),
        modules: vec![module(2, input, boot_w, 8.0), module(3, input, boot_w, 8.0)],
    }
}

/// Limited to 0.9 A, a module that draws like a resistor below 8 V stays at `I Vmin^2 / P` = 2.304 V, though 0.764 A
/// would let it run; a lock-out at 36 V cures it.
#[test]
fn verif_a_module_without_lock_out_latches_low() {
    let latched = case("latch");
    match follow(&latched.line) {
        Outcome::LatchLow { module, voltage_v } => {
            assert_eq!(module, 0);
            assert!((voltage_v - 0.9 * 8.0 * 8.0 / 25.0).abs() < 1e-7);
        }
        other => panic!("{other:?}"),
    }
    let running = running_at_once(&latched.line).unwrap();
    assert_eq!((running.share, running.shortfall), (1.0, None));
    let cured = case("latch cured by a lock-out");
    assert!(matches!(follow(&cured.line), Outcome::Started { .. }));
}

/// Periods of the reference: 99.46 ms limited to 0.45 A, less than the 0.479 A needed; 52.86 ms where one lock-out is
/// too narrow.
#[test]
fn val_hiccups_have_the_period_of_the_reference() {
    for (name, falling, printed_s) in [
        ("lock-out, 0.45 A", 1, 0.09946),
        ("lock-out 44/39, 20 W", 1, 0.052864),
    ] {
        let case = case(name);
        let theirs: Vec<f64> = super::list(&case.expected["events"])
            .iter()
            .filter(|e| e[0] == "on" && number(&e[1]) == falling as f64)
            .map(|e| number(&e[2]))
            .collect();
        let period = theirs[theirs.len() - 1] - theirs[theirs.len() - 2];
        match follow(&case.line) {
            Outcome::Hiccup {
                module,
                period_s,
                on_s,
                off_s,
                repeats,
            } => {
                assert_eq!(module, falling, "{name}");
                assert!(
                    (period_s - period).abs() < 1e-6,
                    "{name}: {period_s} {period}"
                );
                assert!((period_s - printed_s).abs() < 1e-5, "{name}: {period_s}");
                assert!(repeats && on_s < off_s, "{name}");
            }
            other => panic!("{name}: {other:?}"),
        }
    }
}

/// Two modules that boot at 24 W each ask for 48 W where at most `48^2 / (4 * 12.5)` = 46.08 W can be had; one at a
/// time leaves `48^2 / (4 * 15)` = 38.4 W. The share that could be carried is where the quadratic gives 30 V.
#[test]
fn verif_two_that_boot_at_once_deadlock_and_start_in_turn() {
    let line = star(None, LOCK, 24.0);
    match follow(&line) {
        Outcome::Deadlock {
            modules,
            carried_share,
            shortfall,
            seen,
        } => {
            assert_eq!(modules, [0, 1]);
            let at_30_v = (48.0 - 30.0) / 12.5 * 30.0 / 48.0;
            assert!((carried_share - at_30_v).abs() < 2e-9, "{carried_share}");
            assert!(matches!(shortfall, Shortfall::Voltage { .. }));
            assert!(matches!(*seen, Outcome::Hiccup { repeats: true, .. }));
        }
        other => panic!("{other:?}"),
    }
    match staged_start(&line, &Settings::following(20.0)).unwrap() {
        Staged::InOrder {
            order,
            not_before_s,
            report,
            ..
        } => {
            assert_eq!(order.len(), 2);
            let (first, second) = (order[0], order[1]);
            assert_eq!(not_before_s[first], 0.0);
            let booted_s = report.modules[first].boot_end_s.unwrap();
            assert!(not_before_s[second] > booted_s);
            assert!(report.modules.iter().all(|m| m.off_s.is_empty()));
            assert!(report.modules.iter().all(|m| m.phase == Phase::Running));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn verif_the_limit_of_the_supply_is_named() {
    let line = star(Some(0.8), LOCK, 16.0);
    match follow(&line) {
        Outcome::Deadlock {
            carried_share,
            shortfall,
            ..
        } => {
            assert_eq!(shortfall, Shortfall::Supply { source: 0 });
            // at 0.8 A the modules have 48 - 12.5 * 0.8 V
            let share = 0.8 * (48.0 - 12.5 * 0.8) / 32.0;
            assert!(
                (carried_share - share).abs() < 2e-9,
                "{carried_share} {share}"
            );
        }
        other => panic!("{other:?}"),
    }
    let staged = staged_start(&line, &Settings::following(20.0)).unwrap();
    assert!(matches!(staged, Staged::InOrder { .. }), "{staged:?}");
}

/// The network N2 with every module at 1.8 times its power while it boots: together they are past the collapse factor
/// that SciPy finds, in turn they start.
#[test]
fn val_n2_does_not_boot_at_once_but_in_turn() {
    let case = case("N2 at once");
    let factor = number(&case.expected["collapse_factor"]);
    let mut line = case.line.clone();
    for module in &mut line.modules {
        module.input = Input::LockOut {
            on_v: 10.0,
            off_v: 5.0,
        };
    }
    let boots = booting_at_once(&line).unwrap();
    assert_eq!(boots.shortfall, Some(Shortfall::Line));
    assert!(
        (boots.share * 1.8 - factor).abs() < 1e-6,
        "{boots:?} {factor}"
    );
    assert_eq!(
        running_at_once(&line).unwrap(),
        AtOnce {
            share: 1.0,
            shortfall: None
        }
    );
    // without capacitors and with lock-outs close to where the line runs
    let mut line = case.line;
    line.capacitors.clear();
    for module in &mut line.modules {
        module.input = Input::LockOut {
            on_v: 48.0,
            off_v: 45.0,
        };
    }
    match follow(&line) {
        Outcome::Deadlock {
            modules,
            carried_share,
            ..
        } => {
            assert_eq!(modules, [0, 1, 2, 3]);
            assert!(carried_share < factor / 1.8);
        }
        other => panic!("{other:?}"),
    }
    match staged_start(&line, &Settings::following(20.0)).unwrap() {
        Staged::InOrder { order, report, .. } => {
            // the greatest surge is tried first
            assert_eq!(order[0], 2);
            assert!(report.modules.iter().all(|m| m.off_s.is_empty()));
        }
        other => panic!("{other:?}"),
    }
}

/// The share of the boot power is the collapse factor of the solver at rest, wherever no module has a say.
#[test]
fn verif_share_at_once_is_the_collapse_factor() {
    let mut line = star(None, LOCK, 60.0);
    for module in &mut line.modules {
        module.input = Input::LockOut {
            on_v: 2.0,
            off_v: 1.0,
        };
    }
    let mut network = line.network.clone();
    for module in &line.modules {
        network.loads.push(Load {
            node: module.node,
            kind: LoadKind::Power {
                power_w: module.boot_power_w,
            },
        });
    }
    let factor = collapse_factor(&network).unwrap();
    let share = booting_at_once(&line).unwrap().share;
    assert!((share - factor).abs() < 2e-9, "{share} {factor}");
    assert!((factor - 48.0 * 48.0 / (4.0 * 12.5) / 120.0).abs() < 1e-9);
}

#[test]
fn verif_a_module_that_never_sees_its_voltage_is_named() {
    let mut line = star(None, LOCK, 9.0);
    line.modules[1].input = Input::LockOut {
        on_v: 44.0,
        off_v: 30.0,
    };
    // the second sees what the first leaves at the hub, by the quadratic of 8 W over 15 ohm
    let first_v = 0.5 * (48.0 + libm::sqrt(48.0 * 48.0 - 4.0 * 15.0 * 8.0));
    let hub_v = 48.0 - 10.0 * 8.0 / first_v;
    line.modules[0].boot_s = 0.0;
    line.modules[0].boot_power_w = 8.0;
    line.modules[0].input = Input::LockOut {
        on_v: 12.0,
        off_v: 11.0,
    };
    match follow(&line) {
        Outcome::Started { .. } => assert!(hub_v > 44.0),
        other => panic!("{other:?} {hub_v}"),
    }
    line.modules[1].input = Input::LockOut {
        on_v: 47.0,
        off_v: 30.0,
    };
    match follow(&line) {
        Outcome::NeverReaches {
            module,
            voltage_v,
            on_v,
        } => {
            assert_eq!((module, on_v), (1, 47.0));
            assert!((voltage_v - hub_v).abs() < 1e-6, "{voltage_v} {hub_v}");
        }
        other => panic!("{other:?}"),
    }
    // held off for good, it is not missed
    line.modules[1].not_before_s = f64::INFINITY;
    assert!(matches!(follow(&line), Outcome::Started { modules } if modules.len() == 1));
}

/// The second module comes on late, draws the first below its lock-out, and leaves it too little to come back.
#[test]
fn verif_a_module_that_falls_out_is_named() {
    let mut line = star(None, LOCK, 8.0);
    line.modules[0].input = Input::LockOut {
        on_v: 46.0,
        off_v: 44.5,
    };
    line.modules[0].running_power_w = 2.0;
    line.modules[0].boot_power_w = 2.0;
    line.modules[1].not_before_s = 2.0;
    line.modules[1].running_power_w = 14.0;
    line.modules[1].boot_power_w = 14.0;
    match follow(&line) {
        Outcome::FallsOut {
            module,
            off_s,
            voltage_v,
            on_v,
        } => {
            assert_eq!((module, on_v), (0, 46.0));
            assert!(off_s > 2.0 && off_s < 2.1);
            let second_v = 0.5 * (48.0 + libm::sqrt(48.0 * 48.0 - 4.0 * 15.0 * 14.0));
            let hub_v = 48.0 - 10.0 * 14.0 / second_v;
            assert!((voltage_v - hub_v).abs() < 1e-6, "{voltage_v} {hub_v}");
        }
        other => panic!("{other:?}"),
    }
}

/// Without a capacitor nothing paces the hiccup: 48 V, 20 ohm, 28 W would sit at 28 V, below the lock-out's 30 V.
#[test]
fn verif_a_module_without_capacitor_hiccups_in_no_time() {
    let mut line = case("latch cured by a lock-out").line;
    line.capacitors.clear();
    line.network.sources[0].current_limit_a = None;
    line.modules[0].boot_power_w = 28.0;
    line.modules[0].running_power_w = 28.0;
    line.modules[0].input = Input::LockOut {
        on_v: 36.0,
        off_v: 30.0,
    };
    let report = start_up(&line, &Settings::following(5.0)).unwrap();
    match report.outcome {
        Outcome::Hiccup {
            module, period_s, ..
        } => assert_eq!((module, period_s), (0, 0.0)),
        other => panic!("{other:?}"),
    }
    assert!(
        report
            .events
            .iter()
            .any(|e| e.kind == EventKind::Flutter { module: 0 })
    );
    // 26 V would do
    line.modules[0].input = Input::LockOut {
        on_v: 36.0,
        off_v: 26.0,
    };
    let report = start_up(&line, &Settings::following(5.0)).unwrap();
    assert!(matches!(report.outcome, Outcome::Started { .. }));
    assert!((report.voltages_v[1] - 28.0).abs() < 1e-9);
}

/// 48 V over 20 ohm carries 28.8 W at most: at 29 W the voltage collapses, which is told and not an error.
#[test]
fn verif_collapse_without_capacitor_is_told() {
    let mut line = case("latch").line;
    line.capacitors.clear();
    line.network.sources[0].current_limit_a = None;
    let module = &mut line.modules[0];
    module.boot_power_w = 20.0;
    module.boot_s = 0.3;
    module.running_power_w = 29.0;
    module.input = Input::LockOut {
        on_v: 36.0,
        off_v: 12.0,
    };
    let report = start_up(&line, &Settings::following(5.0)).unwrap();
    assert!(matches!(
        report.outcome,
        Outcome::Hiccup { period_s, repeats: true, .. } if (period_s - 0.3).abs() < 1e-9
    ));
    let collapses = report
        .events
        .iter()
        .filter(|e| e.kind == EventKind::Collapse { module: 0 })
        .count();
    assert!(collapses >= 1);
    line.modules[0].running_power_w = 28.7;
    let report = start_up(&line, &Settings::following(5.0)).unwrap();
    assert!(matches!(report.outcome, Outcome::Started { .. }));
}

/// Behind 1 uF at a supply of 44 V limited to 0.4 A, a module without capacitor that draws 14.76 W over 14.43 ohm: on with the
/// capacitor charged, it pulls it down to where `V^2 / (4 R)` is its power, and falls from there. It must not be tried
/// again at that very voltage without end.
#[test]
fn verif_a_fall_from_a_fold_is_found_and_not_repeated_on_the_spot() {
    let mut line = case("latch").line;
    let (ohm, watt) = (14.433_057_941, 14.759_586_132);
    line.network.spans[0].resistance_ohm = ohm;
    line.network.sources[0].voltage_v = 44.0;
    line.network.sources[0].current_limit_a = Some(0.4);
    line.capacitors = vec![Capacitor {
        node: 0,
        capacitance_f: 1e-6,
    }];
    line.modules[0].boot_power_w = watt;
    line.modules[0].boot_s = 0.2;
    line.modules[0].running_power_w = 1.0;
    line.modules[0].input = Input::LockOut {
        on_v: 8.0,
        off_v: 7.5,
    };
    let report = start_up(&line, &Settings::following(2e-4)).unwrap();
    let collapse = report
        .events
        .iter()
        .find(|event| event.kind == EventKind::Collapse { module: 0 } && event.at_s > 1e-4)
        .unwrap();
    let at = report
        .trace
        .time_s
        .iter()
        .rposition(|&t| t < collapse.at_s)
        .unwrap();
    let fold_v = libm::sqrt(4.0 * ohm * watt);
    let before_v = report.trace.voltages_v[0][at];
    assert!((before_v - fold_v).abs() < 0.01, "{before_v} {fold_v}");
    assert!(report.events.len() < 100, "{}", report.events.len());
}

/// The time is up before the hiccup is seen to repeat itself: it is told as what it is.
#[test]
fn verif_a_hiccup_that_is_cut_short_is_told() {
    let mut line = case("lock-out, 0.45 A").line;
    // a module to come, so that it cannot be said to go on for ever
    line.modules.push(Module {
        not_before_s: 50.0,
        ..line.modules[1]
    });
    let settings = Settings {
        most_events: 12,
        ..Settings::following(20.0)
    };
    let report = start_up(&line, &settings).unwrap();
    match report.outcome {
        Outcome::Hiccup {
            module,
            period_s,
            repeats,
            ..
        } => {
            assert_eq!((module, repeats), (1, false));
            assert!((period_s - 0.09946).abs() < 1e-4, "{period_s}");
        }
        other => panic!("{other:?}"),
    }
    // with time enough the periods between are skipped
    let report = start_up(&line, &Settings::following(20.0)).unwrap();
    assert!(report.end_s > 19.0, "{}", report.end_s);
    let skipped = |kind| matches!(kind, EventKind::Skipped { periods, .. } if periods > 50.0);
    assert!(report.events.iter().any(|event| skipped(event.kind)));
    let ledger = report.ledger;
    let missing_j = ledger.source_j - ledger.lost_j - ledger.delivered_j - ledger.stored_j;
    assert!(missing_j.abs() < 1e-6 * ledger.source_j);
}

#[test]
fn verif_a_start_that_is_not_over_is_not_called_so() {
    let case = case("lock-out, 0.8 A");
    let report = start_up(&case.line, &Settings::following(0.065)).unwrap();
    assert_eq!(report.outcome, Outcome::Unsettled { at_s: 0.065 });
    assert_eq!(report.modules[0].phase, Phase::Running);
    assert_eq!(report.modules[1].phase, Phase::Off);
}

/// What runs at once is known to be impossible; what cannot be held off does not start; what starts needs no order.
#[test]
fn verif_staging_says_why_not() {
    let settings = Settings::following(20.0);
    let mut line = star(None, LOCK, 24.0);
    for module in &mut line.modules {
        module.running_power_w = 24.0;
    }
    match staged_start(&line, &settings).unwrap() {
        Staged::Fails {
            why: NoOrder::Running { carries },
            ..
        } => assert!(carries.share < 1.0),
        other => panic!("{other:?}"),
    }
    let low = Input::Bare { minimum_v: 9.0 };
    let mut line = star(Some(1.2), low, 26.0);
    line.modules[1].input = LOCK;
    match staged_start(&line, &settings).unwrap() {
        Staged::Fails {
            why: NoOrder::WithoutLockOut { outcome },
            ..
        } => assert!(matches!(outcome, Outcome::LatchLow { module: 0, .. })),
        other => panic!("{other:?}"),
    }
    // each boots at more than the line has for one alone
    let line = star(None, LOCK, 40.0);
    match staged_start(&line, &settings).unwrap() {
        Staged::Fails {
            why: NoOrder::Exhausted(stop),
            ..
        } => {
            assert!(stop.started.is_empty());
            assert_eq!(stop.next.len(), 2);
        }
        other => panic!("{other:?}"),
    }
    let line = star(None, LOCK, 9.0);
    let staged = staged_start(&line, &settings).unwrap();
    assert!(matches!(staged, Staged::NotNeeded { .. }));
}

/// A capacitor of its own at the hub changes when, not whether.
#[test]
fn verif_capacitors_add_up() {
    let mut line = star(None, LOCK, 9.0);
    let together = start_up(&line, &Settings::following(20.0)).unwrap();
    for module in &mut line.modules {
        module.capacitance_f = 0.0;
        line.capacitors.push(Capacitor {
            node: module.node,
            capacitance_f: 400e-6,
        });
        line.capacitors.push(Capacitor {
            node: module.node,
            capacitance_f: 70e-6,
        });
    }
    let apart = start_up(&line, &Settings::following(20.0)).unwrap();
    let near = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-9);
    assert!(near(&together.modules[1].on_s, &apart.modules[1].on_s));
    assert!(near(&together.voltages_v, &apart.voltages_v));
}
