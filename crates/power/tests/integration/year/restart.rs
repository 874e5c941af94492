//! Loads that come back on an empty battery: against a second program, Ohm's law, and themselves.

use power::battery::{
    Bank, BatteryError, Dawn, Demand, OpenVoltage, Stretch, Thresholds, terminal_v,
};
use proptest::prelude::*;
use serde_json::Value;

fn stretches(of: &Value) -> Vec<Stretch> {
    let rows = of.as_array().unwrap().iter();
    rows.map(|row| Stretch {
        lasting_s: row[0].as_f64().unwrap(),
        power_w: row[1].as_f64().unwrap(),
    })
    .collect()
}

fn points(of: &Value) -> Vec<(f64, f64)> {
    let rows = of.as_array().unwrap().iter();
    rows.map(|row| (row[0].as_f64().unwrap(), row[1].as_f64().unwrap()))
        .collect()
}

fn case(of: &Value) -> (Bank, Demand, f64, Vec<Stretch>) {
    let x = |key: &str| of[key].as_f64().unwrap();
    let bank = Bank {
        capacity_wh: x("capacity_wh"),
        open: OpenVoltage::new(&points(&of["open"])).unwrap(),
        resistance_ohm: x("resistance_ohm"),
        charge_efficiency: x("charge_efficiency"),
        most_charge_w: x("most_charge_w"),
        thresholds: Thresholds::Voltage {
            off_v: x("off_v"),
            on_v: x("on_v"),
        },
        off_after_s: x("off_after_s"),
        on_after_s: x("on_after_s"),
    };
    let demand = Demand {
        boot: stretches(&of["boot"]),
        running_w: x("running_w"),
        standing_w: x("standing_w"),
    };
    (bank, demand, x("content_wh"), stretches(&of["light"]))
}

/// Twenty dawns of a program that knows neither thresholds of content nor instants, but steps through time.
#[test]
fn val_dawns_are_those_of_a_second_program() {
    let file = truth::json("power/python-restart-twin.json");
    let step_s = file["step_s"].as_f64().unwrap();
    let cases = file["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 20);
    let mut cut = 0;
    for one in cases {
        let name = &one["name"];
        let (bank, demand, content_wh, light) = case(one);
        let dawn = bank.dawn(&demand, content_wh, &light).unwrap();
        let told = &one["told"];
        let spells = told["spells"].as_array().unwrap();
        assert_eq!(dawn.spells.len(), spells.len(), "{name}");
        let first_s = spells[0][0].as_f64().unwrap();
        let near = |found: f64, of: &Value| {
            let expected = of.as_f64().unwrap();
            let tolerance = 4.0 * step_s + 1e-3 * (expected - first_s);
            assert!(
                (found - expected).abs() <= tolerance,
                "{name}: {found} is not {expected}"
            );
        };
        for (spell, expected) in dawn.spells.iter().zip(spells) {
            near(spell.on_s, &expected[0]);
            assert_eq!(spell.off_s.is_none(), expected[1].is_null(), "{name}");
            if let Some(off_s) = spell.off_s {
                near(off_s, &expected[1]);
                cut += 1;
            }
            let drawn_wh = expected[2].as_f64().unwrap();
            let tolerance = 2e-3 * drawn_wh + 4.0 * step_s * 40.0 / 3600.0;
            assert!((spell.drawn_wh - drawn_wh).abs() <= tolerance, "{name}");
        }
        for (found, key) in [
            (dawn.content_wh, "content_wh"),
            (dawn.taken_wh, "taken_wh"),
            (dawn.given_wh, "given_wh"),
        ] {
            let expected = told[key].as_f64().unwrap();
            let tolerance = 2e-3 * (expected.abs() + 1.0);
            assert!(
                (found - expected).abs() <= tolerance,
                "{name}, {key}: {found} is not {expected}"
            );
        }
    }
    assert!(cut > 100, "{cut}");
}

fn flat(off_v: f64, on_v: f64, ohm: f64) -> Bank {
    Bank {
        capacity_wh: 1e6,
        open: OpenVoltage::new(&[(0.0, 10.0), (1.0, 14.0)]).unwrap(),
        resistance_ohm: ohm,
        charge_efficiency: 1.0,
        most_charge_w: f64::INFINITY,
        thresholds: Thresholds::Voltage { off_v, on_v },
        off_after_s: 0.0,
        on_after_s: 60.0,
    }
}

/// A battery so large that a boot moves nothing: in the dark the gap has to be what the load takes at the voltage at which it is taken off, `R P / U`.
#[test]
fn val_the_gap_that_is_needed_is_ohms_law() {
    let demand = Demand {
        boot: vec![Stretch {
            lasting_s: 25.0,
            power_w: 26.0,
        }],
        running_w: 4.0,
        standing_w: 0.0,
    };
    for (off_v, ohm) in [(11.5, 0.05), (11.0, 0.4), (12.2, 0.1)] {
        let gap_v = ohm * 26.0 / off_v;
        let narrow = flat(off_v, off_v + gap_v - 1e-3, ohm);
        let hold = narrow.hold(&demand, 0.0).unwrap();
        assert!((hold.needed - off_v - gap_v).abs() < 1e-5);
        assert!(!hold.holds());
        let wide = flat(off_v, off_v + gap_v + 1e-3, ohm);
        let hold = wide.hold(&demand, 0.0).unwrap();
        assert!(hold.holds());
        // Of the battery behind its resistance: V0 - V = R P / V.
        let on_v = off_v + gap_v + 1e-3;
        let loaded_v = terminal_v(on_v, ohm, 26.0).unwrap();
        assert!((hold.drop_v.unwrap() - (on_v - loaded_v)).abs() < 1e-9);
        assert!((on_v - loaded_v - ohm * 26.0 / loaded_v).abs() < 1e-12);
    }
    // At most V^2 / 4 R can be drawn, at half the voltage.
    assert_eq!(terminal_v(12.0, 0.5, 72.0), Some(6.0));
    assert_eq!(terminal_v(12.0, 0.5, 72.0001), None);
    assert_eq!(terminal_v(12.0, 0.0, 1e6), Some(12.0));
    let flat_battery = flat(5.0, 11.0, 2.0);
    let hold = flat_battery.hold(&demand, 0.0).unwrap();
    // 26 W through 2 ohm: 2 sqrt(52) = 14.42 V, more than the full battery has.
    assert!((hold.needed - 2.0 * 52.0_f64.sqrt()).abs() < 1e-9);
    assert!(!hold.reachable && !hold.holds());
    assert_eq!(hold.drop_v, None);
}

/// By hand. 10 Wh of charge a thousandth; 36 W of light gains 0.01 Wh a second.
#[test]
fn val_a_dawn_by_charge_by_hand() {
    let bank = Bank {
        capacity_wh: 100.0,
        thresholds: Thresholds::Content {
            off: 0.05,
            on: 0.10,
        },
        on_after_s: 10.0,
        ..flat(1.0, 2.0, 0.0)
    };
    let demand = Demand {
        boot: vec![Stretch {
            lasting_s: 100.0,
            power_w: 360.0,
        }],
        running_w: 18.0,
        standing_w: 18.0,
    };
    // Off: 18 W over, 0.005 Wh/s, so 10 Wh after 1000 s, and on 10 s later at 10.05 Wh. Booting: 342 W are missing, 0.095 Wh/s, so down to 5 Wh after 53.158 s.
    let light = [Stretch {
        lasting_s: 2400.0,
        power_w: 36.0,
    }];
    let dawn = bank.dawn(&demand, 5.0, &light).unwrap();
    let off_s = 1010.0 + 5.05 / 0.095;
    let again_s = off_s + 1010.0;
    assert_eq!(dawn.spells.len(), 2);
    assert!((dawn.spells[0].on_s - 1010.0).abs() < 1e-9);
    assert!((dawn.spells[0].off_s.unwrap() - off_s).abs() < 1e-9);
    assert!((dawn.spells[1].on_s - again_s).abs() < 1e-9);
    let off_again_s = again_s + 5.05 / 0.095;
    assert!((dawn.spells[1].off_s.unwrap() - off_again_s).abs() < 1e-9);
    assert!((dawn.lost_wh() - 2.0 * 0.1 * 5.05 / 0.095).abs() < 1e-9);
    assert_eq!((dawn.falls(), dawn.holds_from_s()), (2, None));
    let hold = bank.hold(&demand, 36.0).unwrap();
    assert!((hold.needed - (0.05 + 0.095)).abs() < 1e-12);
}

#[test]
fn verif_a_switch_that_waits_for_nothing_goes_on_without_end() {
    let bank = Bank {
        capacity_wh: 100.0,
        on_after_s: 0.0,
        ..flat(11.5, 11.6, 0.5)
    };
    let demand = Demand {
        boot: vec![Stretch {
            lasting_s: 25.0,
            power_w: 26.0,
        }],
        running_w: 4.0,
        standing_w: 0.0,
    };
    let light = [Stretch {
        lasting_s: 36_000.0,
        power_w: 20.0,
    }];
    let dawn = bank.dawn(&demand, 10.0, &light).unwrap();
    assert!(dawn.endless_from_s.is_some());
    assert_eq!(dawn.holds_from_s(), None);
    let waits = Bank {
        on_after_s: 5.0,
        ..bank
    };
    let dawn = waits.dawn(&demand, 10.0, &light).unwrap();
    assert_eq!(dawn.endless_from_s, None);
    assert!(dawn.spells.len() > 100);
}

#[test]
fn verif_what_cannot_be_is_refused() {
    for bad in [
        &[][..],
        &[(0.0, 12.0)],
        &[(0.0, 12.0), (1.0, 12.0)],
        &[(0.0, 12.0), (0.9, 13.0)],
        &[(0.1, 12.0), (1.0, 13.0)],
        &[(0.0, 12.0), (0.5, f64::NAN), (1.0, 13.0)],
    ] {
        assert_eq!(OpenVoltage::new(bad), Err(BatteryError::OpenVoltage));
    }
    let demand = Demand {
        boot: Vec::new(),
        running_w: 1.0,
        standing_w: 0.0,
    };
    let good = flat(11.0, 12.0, 0.1);
    assert!(good.dawn(&demand, 0.0, &[]).is_ok());
    let refused = |bank: Bank, demand: &Demand, content_wh: f64, watts: f64| {
        let light = [Stretch {
            lasting_s: 1.0,
            power_w: watts,
        }];
        bank.dawn(demand, content_wh, &light).is_err()
    };
    assert!(refused(flat(12.0, 12.0, 0.1), &demand, 0.0, 0.0));
    assert!(refused(flat(11.0, 12.0, -0.1), &demand, 0.0, 0.0));
    assert!(refused(good.clone(), &demand, -1.0, 0.0));
    assert!(refused(good.clone(), &demand, 2e6, 0.0));
    assert!(refused(good.clone(), &demand, 0.0, -1.0));
    assert!(refused(good.clone(), &demand, 0.0, f64::NAN));
    let negative = Demand {
        running_w: -1.0,
        ..demand.clone()
    };
    assert!(refused(good.clone(), &negative, 0.0, 0.0));
    assert!(refused(
        Bank {
            off_after_s: f64::INFINITY,
            ..good
        },
        &demand,
        0.0,
        0.0
    ));
}

fn any_bank() -> impl Strategy<Value = (Bank, Demand, f64)> {
    let bank = (
        5.0..200.0_f64,
        0.0..0.5_f64,
        0.5..1.0_f64,
        10.9..11.9_f64,
        0.05..1.2_f64,
        prop_oneof![Just(0.0), 0.0..20.0_f64],
        1.0..90.0_f64,
        prop::bool::ANY,
    );
    let demand = (
        prop::collection::vec((1.0..60.0_f64, 1.0..40.0_f64), 0..4),
        0.5..8.0_f64,
        0.0..1.0_f64,
    );
    (bank, demand, 0.0..60.0_f64).prop_map(|(b, d, light_w)| {
        let (
            capacity_wh,
            resistance_ohm,
            charge_efficiency,
            off_v,
            gap_v,
            off_after_s,
            on_after_s,
            by_v,
        ) = b;
        let thresholds = match by_v {
            true => Thresholds::Voltage {
                off_v,
                on_v: off_v + gap_v,
            },
            false => Thresholds::Content {
                off: (off_v - 10.9) / 4.0,
                on: (off_v - 10.9) / 4.0 + gap_v / 10.0,
            },
        };
        let bank = Bank {
            capacity_wh,
            open: OpenVoltage::new(&[(0.0, 10.5), (0.1, 12.4), (0.9, 13.2), (1.0, 13.9)]).unwrap(),
            resistance_ohm,
            charge_efficiency,
            most_charge_w: 45.0,
            thresholds,
            off_after_s,
            on_after_s,
        };
        let boot =
            d.0.iter()
                .map(|&(lasting_s, power_w)| Stretch { lasting_s, power_w });
        let demand = Demand {
            boot: boot.collect(),
            running_w: d.1,
            standing_w: d.2,
        };
        (bank, demand, light_w)
    })
}

fn balanced(bank: &Bank, dawn: &Dawn, from_wh: f64) {
    let change_wh = dawn.content_wh - from_wh;
    let flows_wh = bank.charge_efficiency * dawn.taken_wh - dawn.given_wh;
    assert!(
        (change_wh - flows_wh).abs() < 1e-7,
        "{change_wh} is not {flows_wh}"
    );
    let mut before_s = 0.0;
    for spell in &dawn.spells {
        assert!(spell.on_s >= before_s);
        before_s = spell.off_s.unwrap_or(f64::INFINITY);
        assert!(before_s >= spell.on_s);
    }
}

proptest! {
    #![proptest_config(crate::cases())]

    /// Energy in less energy out is what the content changes by; cutting the light into pieces changes nothing.
    #[test]
    fn verif_energy_is_kept_and_cuts_change_nothing((bank, demand, light_w) in any_bank(), share in 0.0..1.0_f64, cut in 0.01..0.99_f64) {
        let from_wh = share * bank.capacity_wh;
        let whole = [Stretch { lasting_s: 7200.0, power_w: light_w }];
        let pieces = [
            Stretch { lasting_s: 7200.0 * cut, power_w: light_w },
            Stretch { lasting_s: 7200.0 * (1.0 - cut), power_w: light_w },
        ];
        let one = bank.dawn(&demand, from_wh, &whole).unwrap();
        balanced(&bank, &one, from_wh);
        let two = bank.dawn(&demand, from_wh, &pieces).unwrap();
        balanced(&bank, &two, from_wh);
        prop_assert!((one.content_wh - two.content_wh).abs() < 1e-6);
    }

    /// The closed form and the dawn agree: a load that comes back is taken off before it has booted just where the closed form says that the battery does not hold it.
    #[test]
    fn verif_the_closed_form_says_what_the_first_boot_does((bank, demand, light_w) in any_bank()) {
        let bank = Bank { off_after_s: 0.0, on_after_s: 0.0, ..bank };
        let hold = bank.hold(&demand, light_w).unwrap();
        let boot_s: f64 = demand.boot.iter().map(|s| s.lasting_s).sum();
        let light = [Stretch { lasting_s: 40.0 * 3600.0, power_w: light_w.max(2.0) }];
        let hold = if light_w < 2.0 { bank.hold(&demand, 2.0).unwrap() } else { hold };
        let Ok(dawn) = bank.dawn(&demand, 0.0, &light) else { return Ok(()) };
        let Some(first) = dawn.spells.first() else { return Ok(()) };
        // Where the load comes back at once the content is higher than the threshold asks.
        prop_assume!(first.on_s > 0.0);
        prop_assume!((hold.needed - hold.on).abs() > 1e-6);
        let cut = dawn.endless_from_s.is_some() || first.off_s.is_some_and(|off_s| off_s < first.on_s + boot_s - 1e-9 || off_s == first.on_s);
        let at_end = first.off_s.is_some_and(|off_s| (off_s - first.on_s - boot_s).abs() <= 1e-9);
        prop_assert!(cut != hold.holds() || at_end, "{first:?} {hold:?}");
    }
}
