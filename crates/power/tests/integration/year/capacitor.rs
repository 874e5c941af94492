//! Capacitors that carry a burst.

use power::battery::{BatteryError, capacitance_needed_f, voltage_after_burst_v};
use proptest::prelude::*;

use super::{numbers, within, within_share};

/// `reference/power/scipy-battery-capacitor.csv`; the first row by hand too: 2.5 F for 12 W, 10 s, 14 V to 10 V.
#[test]
fn val_capacitor() {
    for row in numbers("scipy-battery-capacitor.csv") {
        let (power_w, seconds, before_v, wanted_v) = (row[0], row[1], row[2], row[3]);
        let (farad, ohm) = (row[4], row[5]);
        let after_v = voltage_after_burst_v(power_w, seconds, before_v, farad, ohm).unwrap();
        within_share(after_v, row[6], 1e-8);
        let needed_f = capacitance_needed_f(power_w, seconds, before_v, wanted_v, ohm).unwrap();
        within_share(needed_f, row[7], 1e-8);
    }
    within(
        capacitance_needed_f(12.0, 10.0, 14.0, 10.0, 0.0).unwrap(),
        2.5,
        1e-12,
    );
    within(
        voltage_after_burst_v(12.0, 10.0, 14.0, 2.5, 0.0).unwrap(),
        10.0,
        1e-12,
    );
}

#[test]
fn verif_capacitor_refusals() {
    let no_drop = Err(BatteryError::NoDrop {
        before_v: 10.0,
        after_v: 10.0,
    });
    assert_eq!(capacitance_needed_f(12.0, 10.0, 10.0, 10.0, 0.0), no_drop);
    assert!(capacitance_needed_f(12.0, 10.0, 10.0, 10.0 - 1e-9, 0.0).is_err());
    // 4 P R = 120 V2: 10.954 V behind the resistance, of which the load has half.
    for refused in [
        capacitance_needed_f(12.0, 10.0, 14.0, 5.47, 2.5),
        capacitance_needed_f(12.0, 10.0, 10.9, 5.48, 2.5),
        voltage_after_burst_v(12.0, 10.0, 10.9, 1e6, 2.5),
    ] {
        match refused {
            Err(BatteryError::TooMuchPower { lowest_v, .. }) => within(lowest_v, 10.954, 5e-4),
            other => panic!("{other:?}"),
        }
    }
    // 0.01 F at 14 V hold 0.98 J, which is 12 W for 0.0817 s.
    match voltage_after_burst_v(12.0, 10.0, 14.0, 0.01, 0.0) {
        Err(BatteryError::RunsOut { lasts_s, .. }) => within(lasts_s, 0.98 / 12.0, 1e-12),
        other => panic!("{other:?}"),
    }
    // 10 V at the load stand for 10.3 V behind 0.25 ohm.
    assert!(capacitance_needed_f(12.0, 10.0, 10.2, 10.0, 0.25).is_err());
    assert!(capacitance_needed_f(12.0, 10.0, 10.4, 10.0, 0.25).is_ok());
    assert!(capacitance_needed_f(0.0, 10.0, 14.0, 10.0, 0.0).is_err());
    assert_eq!(
        capacitance_needed_f(12.0, 1e10, 14.0, 10.0, 0.0)
            .unwrap_err()
            .to_string(),
        "length of the burst 10000000000 s is outside 0.000000001 to 1000000000 s"
    );
    assert!(capacitance_needed_f(12.0, f64::INFINITY, 14.0, 10.0, 0.0).is_err());
    assert!(voltage_after_burst_v(12.0, 10.0, 14.0, -1.0, 0.0).is_err());
}

proptest! {
    #![proptest_config(crate::cases())]

    /// The closed burst against itself turned round, and against small steps of the differential equation.
    #[test]
    fn verif_burst_by_steps(
        power_w in 0.1..100.0_f64,
        seconds in 0.01..100.0_f64,
        before_v in 5.0..60.0_f64,
        drop in 0.05..0.5_f64,
        resistance in 0.0..1.0_f64,
    ) {
        let after_v = before_v * (1.0 - drop);
        // A share of the resistance that takes half of the drop at the end.
        let resistance_ohm = resistance * 0.5 * (before_v - after_v) * after_v / power_w;
        let needed_f =
            capacitance_needed_f(power_w, seconds, before_v, after_v, resistance_ohm).unwrap();
        let back_v =
            voltage_after_burst_v(power_w, seconds, before_v, needed_f, resistance_ohm).unwrap();
        prop_assert!((back_v - after_v).abs() < 1e-9 * before_v, "{back_v} {after_v}");
        let slope = |v: f64| {
            let root = (v * v - 4.0 * power_w * resistance_ohm).sqrt();
            // The same current without the difference of near numbers.
            -2.0 * power_w / (v + root) / needed_f
        };
        let steps = 2000;
        let step_s = seconds / f64::from(steps);
        let mut v = before_v;
        for _ in 0..steps {
            let middle = v + 0.5 * step_s * slope(v);
            v += step_s * slope(middle);
        }
        let at_load_v = 0.5 * (v + (v * v - 4.0 * power_w * resistance_ohm).sqrt());
        prop_assert!((at_load_v - after_v).abs() < 1e-5 * before_v, "{at_load_v} {after_v}");
    }

    /// Whatever finite numbers come in, an answer or an error comes out.
    #[test]
    fn verif_burst_never_panics(
        power in -9.0..9.0_f64,
        time in -9.0..9.0_f64,
        before in -3.0..5.0_f64,
        farad in -12.0..6.0_f64,
        ohm in prop::option::of(-6.0..6.0_f64),
    ) {
        let ten = |exponent: f64| 10.0_f64.powf(exponent);
        let ohm = ohm.map_or(0.0, ten);
        if let Ok(after_v) = voltage_after_burst_v(ten(power), ten(time), ten(before), ten(farad), ohm) {
            prop_assert!((0.0..=ten(before)).contains(&after_v));
        }
    }
}
