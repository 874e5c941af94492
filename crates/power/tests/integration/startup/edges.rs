//! Thresholds that a voltage comes to only at the very end, and which module falls where the line cannot carry all.

use power::startup::{EventKind, Input, Outcome, Settings, start_up};

use super::case;

/// A capacitor comes ever more slowly to the voltage of its source. A lock-out that opens within the last billionth of it
/// opens all the same, after `RC ln(48/(48 - on))`: the line is not called at rest before. One that opens at the source's
/// own voltage, or above, is never reached.
#[test]
fn verif_a_lock_out_just_below_the_source_still_opens() {
    let mut line = case("latch cured by a lock-out").line;
    line.network.sources[0].current_limit_a = None;
    line.modules[0].boot_power_w = 1.0;
    line.modules[0].running_power_w = 1.0;
    let rc_s = 20.0 * 470e-6;
    for below_v in [1e-3, 1e-6, 3e-8] {
        line.modules[0].input = Input::LockOut {
            on_v: 48.0 - below_v,
            off_v: 26.0,
        };
        let report = start_up(&line, &Settings::following(5.0)).unwrap();
        let on = report
            .events
            .iter()
            .find(|event| event.kind == EventKind::On { module: 0 })
            .unwrap_or_else(|| panic!("{below_v}: {:?}", report.outcome));
        let expected_s = rc_s * libm::log(48.0 / below_v);
        // Voltages are good to 1e-9 of the highest.
        let tolerance_s = 1e-7 + rc_s * 1.2e-7 / below_v;
        assert!(
            (on.at_s - expected_s).abs() < tolerance_s,
            "{below_v}: {} {expected_s}",
            on.at_s
        );
        assert!(matches!(report.outcome, Outcome::Started { .. }));
    }
    // Nearer than voltages are good to, the instant is nobody's; that it opens is not.
    for below_v in [1e-9, 1e-10] {
        line.modules[0].input = Input::LockOut {
            on_v: 48.0 - below_v,
            off_v: 26.0,
        };
        let report = start_up(&line, &Settings::following(5.0)).unwrap();
        assert!(
            matches!(report.outcome, Outcome::Started { .. }),
            "{below_v}: {:?}",
            report.outcome
        );
    }
    line.modules[0].input = Input::LockOut {
        on_v: 48.001,
        off_v: 26.0,
    };
    let report = start_up(&line, &Settings::following(5.0)).unwrap();
    assert!(matches!(
        report.outcome,
        Outcome::NeverReaches { module: 0, .. }
    ));
}

/// Two modules without capacitor, 10 and 20 ohm from 48 V. When the second comes to 40 W, which 20 ohm do not carry, it is the
/// one with the lowest voltage and falls; the first runs on. So whatever the order in which they are listed.
#[test]
fn verif_the_module_with_the_lowest_voltage_falls() {
    let mut line = case("latch cured by a lock-out").line;
    line.capacitors.clear();
    line.network.sources[0].current_limit_a = None;
    line.network.nodes = 3;
    line.network.spans[0].resistance_ohm = 10.0;
    line.network.spans.push(power::Branch {
        a: 1,
        b: 2,
        resistance_ohm: 10.0,
    });
    let near = power::startup::Module {
        boot_power_w: 8.0,
        boot_s: 0.0,
        running_power_w: 8.0,
        input: Input::LockOut {
            on_v: 36.0,
            off_v: 12.0,
        },
        ..line.modules[0]
    };
    let far = power::startup::Module {
        node: 2,
        boot_power_w: 2.0,
        boot_s: 0.3,
        running_power_w: 40.0,
        ..near
    };
    for (modules, falls, stays) in [(vec![near, far], 1, 0), (vec![far, near], 0, 1)] {
        line.modules = modules;
        let report = start_up(&line, &Settings::following(2.0)).unwrap();
        let collapses: Vec<EventKind> = report
            .events
            .iter()
            .map(|event| event.kind)
            .filter(|kind| matches!(kind, EventKind::Collapse { .. }))
            .collect();
        assert!(!collapses.is_empty());
        assert!(
            collapses
                .iter()
                .all(|&kind| kind == EventKind::Collapse { module: falls }),
            "{collapses:?}"
        );
        assert!(report.modules[stays].off_s.is_empty());
        assert!(
            matches!(report.outcome, Outcome::Hiccup { module, .. } if module == falls),
            "{:?}",
            report.outcome
        );
    }
}
