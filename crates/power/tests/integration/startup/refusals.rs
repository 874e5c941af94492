//! What is refused, with the part, the value and the range.

use power::startup::{Capacitor, Input, Line, Settings, StartupError, start_up};
use power::{Load, LoadKind, NetworkError};

use super::case;

fn refusal(change: impl FnOnce(&mut Line)) -> StartupError {
    let mut line = case("lock-out, 0.8 A").line;
    change(&mut line);
    start_up(&line, &Settings::following(1.0)).unwrap_err()
}

/// The quantity refused, and what carries it.
fn quantity(change: impl FnOnce(&mut Line)) -> (&'static str, usize, &'static str) {
    match refusal(change) {
        StartupError::BadValue {
            what,
            index,
            quantity,
            ..
        } => (what, index, quantity),
        other => panic!("{other:?}"),
    }
}

#[test]
fn verif_numbers_out_of_range_are_named() {
    let bad = [f64::NAN, f64::INFINITY, -1.0];
    for value in bad {
        assert_eq!(
            quantity(|line| line.modules[1].boot_power_w = value),
            ("module", 1, "boot_power_w")
        );
        assert_eq!(
            quantity(|line| line.modules[1].running_power_w = value),
            ("module", 1, "running_power_w")
        );
        assert_eq!(
            quantity(|line| line.modules[0].boot_s = value),
            ("module", 0, "boot_s")
        );
        assert_eq!(
            quantity(|line| line.modules[0].capacitance_f = value),
            ("module", 0, "capacitance_f")
        );
        assert_eq!(
            quantity(|line| line.modules[0].leakage_ohm = Some(value)),
            ("module", 0, "leakage_ohm")
        );
        assert_eq!(
            quantity(|line| line.capacitors[1].capacitance_f = value),
            ("capacitor", 1, "capacitance_f")
        );
        assert_eq!(
            quantity(|line| line.modules[0].input = Input::Bare { minimum_v: value }),
            ("module", 0, "minimum_v")
        );
    }
    for value in [f64::NAN, -0.1] {
        assert_eq!(
            quantity(|line| line.modules[0].not_before_s = value),
            ("module", 0, "not_before_s")
        );
    }
    for (on_v, off_v, expected) in [(30.0, 30.0, "on_v"), (30.0, 0.0, "off_v")] {
        assert_eq!(
            quantity(|line| line.modules[0].input = Input::LockOut { on_v, off_v }),
            ("module", 0, expected)
        );
    }
    let slides = |line: &mut Line| {
        line.modules[0].input = Input::Bare { minimum_v: 9.0 };
        line.modules[0].boot_power_w = 0.5 * line.modules[0].running_power_w;
    };
    assert_eq!(quantity(slides), ("module", 0, "boot_power_w"));
}

#[test]
fn verif_lines_that_cannot_be_followed_are_refused() {
    let nowhere = refusal(|line| line.modules[1].node = 9);
    assert!(matches!(
        nowhere,
        StartupError::NoSuchNode {
            what: "module",
            index: 1,
            node: 9,
            nodes: 3
        }
    ));
    let nowhere = refusal(|line| line.capacitors[0].node = 3);
    assert!(matches!(
        nowhere,
        StartupError::NoSuchNode {
            what: "capacitor",
            index: 0,
            ..
        }
    ));
    let active = refusal(|line| {
        line.network.loads.push(Load {
            node: 1,
            kind: LoadKind::Power { power_w: 1.0 },
        });
    });
    assert_eq!(active, StartupError::LoadNotPassive { load: 0 });
    let held = refusal(|line| {
        line.modules[0].input = Input::Bare { minimum_v: 9.0 };
        line.modules[0].not_before_s = 1.0;
    });
    assert!(matches!(
        held,
        StartupError::CannotHoldOff { module: 0, .. }
    ));
    let stiff = refusal(|line| {
        line.network.sources[0].current_limit_a = None;
        line.capacitors.push(Capacitor {
            node: 0,
            capacitance_f: 1e-6,
        });
    });
    assert_eq!(
        stiff,
        StartupError::IdealInrush {
            source_index: 0,
            node: 0
        }
    );
    let unfed = refusal(|line| line.network.nodes = 4);
    assert_eq!(
        unfed,
        StartupError::Network(NetworkError::Unfed { node: 3 })
    );
}

#[test]
fn verif_settings_are_checked_and_switchings_counted() {
    let line = case("lock-out, 0.8 A").line;
    let good = Settings::following(1.0);
    for settings in [
        Settings::following(0.0),
        Settings::following(f64::NAN),
        Settings::following(2e6),
        Settings {
            trace_points: 15,
            ..good
        },
        Settings {
            most_events: 0,
            ..good
        },
    ] {
        assert!(matches!(
            start_up(&line, &settings),
            Err(StartupError::BadValue {
                what: "setting",
                ..
            })
        ));
    }
    let few = Settings {
        most_events: 2,
        ..good
    };
    assert!(matches!(
        start_up(&line, &few),
        Err(StartupError::TooManyEvents { most: 2, at_s }) if at_s > 0.06 && at_s < 0.07
    ));
}

/// The samples for a picture never exceed what was asked for, and go from the first instant to near the last.
#[test]
fn verif_the_trace_is_bounded() {
    let line = case("lock-out, 0.45 A").line;
    for trace_points in [16, 100, 5_000] {
        let settings = Settings {
            trace_points,
            ..Settings::following(3.0)
        };
        let report = start_up(&line, &settings).unwrap();
        let trace = &report.trace;
        assert!(trace.time_s.len() <= trace_points && trace.time_s.len() >= 8);
        assert_eq!(trace.voltages_v.len(), 3);
        assert!(
            trace
                .voltages_v
                .iter()
                .all(|v| v.len() == trace.time_s.len())
        );
        assert!(trace.time_s.is_sorted());
        assert_eq!(trace.time_s[0], 0.0);
        assert!(trace.time_s[trace.time_s.len() - 1] > 0.7 * report.end_s);
    }
}
