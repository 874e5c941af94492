//! Laws that hold for every start: energy and charge are conserved, rest is the operating point of the solver at
//! rest, a loop that carries nothing changes nothing, and the same line starts in the same way.

use power::startup::{
    Event, EventKind, Input, Line, Module, NoOrder, Outcome, Phase, Report, Settings, Staged,
    StartupError, staged_start, start_up, start_up_with_method,
};
use power::{Branch, Load, LoadKind, Method, Network, Source, solve};
use proptest::prelude::*;

/// Share of the energy or charge from the sources that may be missing: Simpson's rule over steps whose voltages are
/// good to 1e-9, and switchings found to 1e-9 s.
const BALANCE: f64 = 1e-6;
/// What rounding of idle currents leaves, J and C.
const ROUNDING: f64 = 1e-12;

fn choose<T: Copy + std::fmt::Debug + 'static>(of: Vec<T>) -> impl Strategy<Value = T> {
    prop::sample::select(of)
}

prop_compose! {
    fn a_module()(
        bare in any::<bool>(),
        level_v in 8.0..44.0_f64,
        gap_v in 0.5..8.0_f64,
        capacitance_f in choose(vec![0.0, 1e-6, 47e-6, 470e-6, 2200e-6]),
        boot_w in 0.0..20.0_f64,
        running_w in 0.0..12.0_f64,
        boot_s in choose(vec![0.0, 0.003, 0.2]),
        not_before_s in choose(vec![0.0, 0.0, 0.15]),
        leakage_ohm in choose(vec![None, Some(5e3)]),
    ) -> Module {
        let input = if bare {
            Input::Bare { minimum_v: level_v.min(30.0) }
        } else {
            Input::LockOut { on_v: level_v, off_v: level_v - gap_v.min(0.5 * level_v) }
        };
        Module {
            node: 0,
            capacitance_f,
            input,
            leakage_ohm,
            boot_power_w: boot_w,
            boot_s,
            running_power_w: if bare && boot_s == 0.0 { running_w.min(boot_w) } else { running_w },
            not_before_s: if bare { 0.0 } else { not_before_s },
        }
    }
}

prop_compose! {
    fn a_source()(
        node in any::<prop::sample::Index>(),
        voltage_v in 44.0..50.0_f64,
        resistance_ohm in choose(vec![0.0, 0.2, 3.0]),
        current_limit_a in choose(vec![None, Some(0.4), Some(1.1), Some(3.0)]),
    ) -> (prop::sample::Index, Source) {
        (node, Source { node: 0, voltage_v, resistance_ohm, current_limit_a })
    }
}

prop_compose! {
    fn a_line(loops: usize)(
        places in prop::collection::vec((any::<prop::sample::Index>(), 0.5..15.0_f64), 1..7),
        extra in prop::collection::vec(
            (any::<prop::sample::Index>(), any::<prop::sample::Index>(), 1.0..40.0_f64),
            loops,
        ),
        modules in prop::collection::vec((any::<prop::sample::Index>(), a_module()), 1..5),
        sources in prop::collection::vec(a_source(), 1..3),
        resistor_ohm in choose(vec![None, Some(900.0)]),
    ) -> Line {
        let nodes = places.len() + 1;
        let mut network = Network { nodes, ..Network::default() };
        for (i, (up, resistance_ohm)) in places.into_iter().enumerate() {
            network.spans.push(Branch { a: up.index(i + 1), b: i + 1, resistance_ohm });
        }
        for (a, b, resistance_ohm) in extra {
            let (a, b) = (a.index(nodes), b.index(nodes));
            if a != b {
                network.spans.push(Branch { a, b, resistance_ohm });
            }
        }
        for (node, source) in sources {
            network.sources.push(Source { node: node.index(nodes), ..source });
        }
        if let Some(resistance_ohm) = resistor_ohm {
            let kind = LoadKind::Resistance { resistance_ohm };
            network.loads.push(Load { node: nodes - 1, kind });
        }
        let modules = modules
            .into_iter()
            .map(|(node, module)| Module { node: node.index(nodes), ..module })
            .collect();
        Line { network, capacitors: Vec::new(), modules }
    }
}

fn settings() -> Settings {
    Settings::following(30.0)
}

/// A start, unless the line is one that is refused.
fn follow(line: &Line) -> Result<Option<Report>, TestCaseError> {
    match start_up(line, &settings()) {
        Ok(report) => Ok(Some(report)),
        Err(StartupError::IdealInrush { .. } | StartupError::Network(_)) => Ok(None),
        Err(other) => Err(TestCaseError::fail(other.to_string())),
    }
}

/// Each time periods are skipped the capacitors may be off by 1e-7 of the highest voltage.
const DRIFT: f64 = 1e-7;

fn skips(report: &Report) -> usize {
    let skipped = |event: &&Event| matches!(event.kind, EventKind::Skipped { .. });
    report.events.iter().filter(skipped).count()
}

fn check_ledger(line: &Line, report: &Report) -> Result<(), TestCaseError> {
    let ledger = report.ledger;
    let skips = skips(report) as f64;
    let highest_v = line
        .network
        .sources
        .iter()
        .fold(0.0, |most: f64, source| most.max(source.voltage_v));
    let full_c: f64 = line
        .modules
        .iter()
        .map(|m| m.capacitance_f * highest_v)
        .sum();
    let energy_j = ledger.source_j.abs() + ledger.lost_j + ledger.delivered_j;
    let missing_j = ledger.source_j - ledger.lost_j - ledger.delivered_j - ledger.stored_j;
    let allowed_j = BALANCE * energy_j + ROUNDING + skips * DRIFT * full_c * highest_v;
    prop_assert!(missing_j.abs() <= allowed_j, "{} {:?}", missing_j, ledger);
    let charge_c = ledger.source_c.abs() + ledger.drawn_c + ledger.stored_c;
    let missing_c = ledger.source_c - ledger.drawn_c - ledger.stored_c;
    let allowed_c = BALANCE * charge_c + ROUNDING + skips * DRIFT * full_c;
    prop_assert!(missing_c.abs() <= allowed_c, "{} {:?}", missing_c, ledger);
    Ok(())
}

/// The network with what each module draws at the end as a load.
fn at_the_end(line: &Line, report: &Report) -> Network {
    let mut network = line.network.clone();
    for (module, record) in line.modules.iter().zip(&report.modules) {
        let kind = match (record.phase, module.input) {
            (Phase::Off, _) => match module.leakage_ohm {
                Some(resistance_ohm) => LoadKind::Resistance { resistance_ohm },
                None => continue,
            },
            (Phase::Low, Input::Bare { minimum_v }) if module.boot_power_w > 0.0 => {
                LoadKind::Resistance {
                    resistance_ohm: minimum_v * minimum_v / module.boot_power_w,
                }
            }
            (Phase::Low, _) => continue,
            (Phase::Booting, _) => LoadKind::Power {
                power_w: module.boot_power_w,
            },
            (Phase::Running, _) => LoadKind::Power {
                power_w: module.running_power_w,
            },
        };
        network.loads.push(Load {
            node: module.node,
            kind,
        });
    }
    network
}

fn has_started(report: &Report) -> bool {
    matches!(report.outcome, Outcome::Started { .. })
}

fn rests(report: &Report) -> bool {
    !matches!(
        report.outcome,
        Outcome::Hiccup { .. } | Outcome::Deadlock { .. } | Outcome::Unsettled { .. }
    )
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_energy_and_charge_are_conserved(line in a_line(1)) {
        if let Some(report) = follow(&line)? {
            check_ledger(&line, &report)?;
        }
    }

    /// Only where no source is at its limit: the solver at rest knows none.
    #[test]
    fn verif_rest_is_the_operating_point(line in a_line(1)) {
        let Some(report) = follow(&line)? else { return Ok(()) };
        let limited = line.network.sources.iter().zip(&report.source_currents_a).any(
            |(source, &amp)| source.current_limit_a.is_some_and(|limit_a| amp >= limit_a * (1.0 - 1e-9)),
        );
        prop_assume!(rests(&report) && !limited);
        let solution = solve(&at_the_end(&line, &report)).unwrap();
        for (v, w) in report.voltages_v.iter().zip(&solution.voltages_v) {
            prop_assert!((v - w).abs() < 2e-7, "{} {}", v, w);
        }
        for (a, b) in report.source_currents_a.iter().zip(&solution.source_currents_a) {
            prop_assert!((a - b).abs() < 1e-5, "{} {}", a, b);
        }
    }

    /// With sources at their limit too: Kirchhoff's current law at each node, and each source either gives its limit
    /// with no more than its voltage, or its voltage with no more than its limit.
    #[test]
    fn verif_rest_obeys_kirchhoff_and_the_limits(line in a_line(1)) {
        let Some(report) = follow(&line)? else { return Ok(()) };
        prop_assume!(rests(&report));
        let v = &report.voltages_v;
        let mut left_a = vec![0.0; v.len()];
        for span in &line.network.spans {
            let amp = (v[span.a] - v[span.b]) / span.resistance_ohm;
            left_a[span.a] -= amp;
            left_a[span.b] += amp;
        }
        for load in at_the_end(&line, &report).loads {
            left_a[load.node] -= match load.kind {
                LoadKind::Power { power_w } => power_w / v[load.node],
                LoadKind::Current { current_a } => current_a,
                LoadKind::Resistance { resistance_ohm } => v[load.node] / resistance_ohm,
            };
        }
        for (source, &amp) in line.network.sources.iter().zip(&report.source_currents_a) {
            left_a[source.node] += amp;
            let inner_v = v[source.node] + source.resistance_ohm * amp;
            let limit_a = source.current_limit_a.unwrap_or(f64::INFINITY);
            prop_assert!(amp <= limit_a * (1.0 + 1e-9) && inner_v <= source.voltage_v + 1e-6);
            let short_v = source.voltage_v - inner_v;
            prop_assert!(short_v < 1e-6 || amp >= limit_a * (1.0 - 1e-9), "{} {}", amp, short_v);
        }
        for amp in left_a {
            prop_assert!(amp.abs() < 1e-6, "{} A left over", amp);
        }
    }

    /// A staged start whose order is given starts with generous delays too; where every order is said to fail, each of
    /// the six of three modules does.
    #[test]
    fn verif_orders_are_what_they_are_said_to_be(
        line in a_line(0),
        nodes in prop::collection::vec(any::<prop::sample::Index>(), 3),
        on_v in prop::collection::vec(38.0..44.0_f64, 3),
        gap_v in 2.0..12.0_f64,
        boot_w in prop::collection::vec(8.0..30.0_f64, 3),
        share in 0.2..0.9_f64,
    ) {
        let mut line = line;
        line.modules = (0..3)
            .map(|i| Module {
                node: nodes[i].index(line.network.nodes),
                capacitance_f: 470e-6,
                input: Input::LockOut { on_v: on_v[i], off_v: on_v[i] - gap_v },
                leakage_ohm: None,
                boot_power_w: boot_w[i],
                boot_s: 0.2,
                running_power_w: share * boot_w[i],
                not_before_s: 0.0,
            })
            .collect();
        let starts = |order: [usize; 3]| {
            let mut line = line.clone();
            for (at, module) in order.into_iter().enumerate() {
                line.modules[module].not_before_s = 4.0 * at as f64;
            }
            let report = start_up(&line, &settings()).unwrap();
            has_started(&report)
        };
        match staged_start(&line, &settings()) {
            Ok(Staged::InOrder { order, report, .. }) => {
                prop_assert!(has_started(&report));
                prop_assert!(starts([order[0], order[1], order[2]]), "{:?}", order);
            }
            Ok(Staged::Fails { why: NoOrder::Exhausted(_) | NoOrder::Running { .. }, .. }) => {
                for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
                    prop_assert!(!starts(order), "{:?}", order);
                }
            }
            Ok(Staged::NotNeeded { report }) => {
                prop_assert!(has_started(&report));
            }
            Ok(other) => prop_assert!(false, "{:?}", other),
            Err(StartupError::IdealInrush { .. } | StartupError::Network(_)) => {}
            Err(other) => prop_assert!(false, "{}", other),
        }
    }

    /// 1e12 ohm beside a tree makes it a mesh and changes nothing else.
    #[test]
    fn verif_a_loop_that_carries_nothing_changes_nothing(line in a_line(0)) {
        let Some(tree) = follow(&line)? else { return Ok(()) };
        let mut looped = line.clone();
        let last = line.network.nodes - 1;
        looped.network.spans.push(Branch { a: 0, b: last, resistance_ohm: 1e12 });
        for mesh in [
            start_up(&looped, &settings()).unwrap(),
            start_up_with_method(&line, &settings(), Method::Mesh).unwrap(),
        ] {
            prop_assert_eq!(rests(&tree), rests(&mesh));
            if !rests(&tree) {
                // a hiccup that does not repeat itself is irregular: where it is cut hangs on rounding
                continue;
            }
            prop_assert_eq!(
                std::mem::discriminant(&tree.outcome),
                std::mem::discriminant(&mesh.outcome)
            );
            for (v, w) in tree.voltages_v.iter().zip(&mesh.voltages_v) {
                prop_assert!((v - w).abs() < 1e-6, "{} {}", v, w);
            }
            if skips(&tree) + skips(&mesh) > 0 {
                // how many periods are skipped hangs on how nearly they are alike, a number of rounding
                continue;
            }
            prop_assert_eq!(tree.events.len(), mesh.events.len());
            for (a, b) in tree.events.iter().zip(&mesh.events) {
                prop_assert_eq!(a.kind, b.kind);
                prop_assert!((a.at_s - b.at_s).abs() < 1e-6, "{:?} {:?}", a, b);
            }
        }
    }

    #[test]
    fn verif_the_same_line_starts_in_the_same_way(line in a_line(1)) {
        prop_assert_eq!(start_up(&line, &settings()), start_up(&line, &settings()));
    }
}

/// Two modules that come on at one instant stand at one voltage but for rounding; which of them the line cannot carry does not hang on that. Through 14.84 ohm
/// from 12.93 V go `V^2 / 4R` = 2.8 W at most, and the second asks for 18.3 W.
#[test]
fn verif_of_modules_at_one_voltage_the_one_that_draws_most_falls() {
    let branch = |a, b, resistance_ohm| Branch {
        a,
        b,
        resistance_ohm,
    };
    let source = |node, voltage_v, current_limit_a| Source {
        node,
        voltage_v,
        resistance_ohm: 0.2,
        current_limit_a,
    };
    let small = |node, on_v, off_v, boot_power_w, running_power_w| Module {
        node,
        capacitance_f: 0.0,
        input: Input::LockOut { on_v, off_v },
        leakage_ohm: None,
        boot_power_w,
        boot_s: 0.003,
        running_power_w,
        not_before_s: 0.0,
    };
    let line = Line {
        network: Network {
            nodes: 6,
            spans: vec![
                branch(0, 1, 14.339_572_425_407_862),
                branch(0, 2, 0.5),
                branch(1, 3, 0.5),
                branch(3, 4, 14.107_102_944_162_627),
                branch(1, 5, 9.177_987_485_679_926),
            ],
            sources: vec![
                source(4, 45.841_223_215_686_53, Some(0.4)),
                source(3, 49.232_194_150_060_046, None),
            ],
            loads: vec![],
        },
        capacitors: vec![],
        modules: vec![
            small(
                1,
                12.927_266_057_538_453,
                11.433_365_419_670_132,
                6.103_282_274_707_378,
                1.448_399_935_666_906_2,
            ),
            small(
                2,
                9.205_288_832_961_516,
                4.602_644_416_480_758,
                18.295_881_084_227_315,
                5.846_678_468_051_453,
            ),
            Module {
                node: 3,
                capacitance_f: 4.7e-5,
                input: Input::LockOut {
                    on_v: 30.660_364_487_736_405,
                    off_v: 25.645_617_271_606_017,
                },
                leakage_ohm: Some(5000.0),
                boot_power_w: 13.683_942_772_769_077,
                boot_s: 0.2,
                running_power_w: 8.746_401_928_582_81,
                not_before_s: 0.15,
            },
        ],
    };
    let mut looped = line.clone();
    looped.network.spans.push(branch(0, 5, 1e12));
    let starts = [
        start_up(&line, &settings()),
        start_up_with_method(&line, &settings(), Method::Mesh),
        start_up(&looped, &settings()),
    ];
    for report in starts.map(Result::unwrap) {
        assert!(has_started(&report));
        let fallen: Vec<usize> = report
            .events
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Collapse { module } => Some(module),
                _ => None,
            })
            .collect();
        assert!(fallen.iter().all(|module| *module == 1), "{fallen:?}");
        assert!(!fallen.is_empty());
    }
}
