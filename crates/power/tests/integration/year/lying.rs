//! A battery that lies before it is deployed.

use power::battery::{Battery, Chemistry, Lying};

use super::numbers;

fn battery(capacity_wh: f64, usable: f64, lost: f64, efficiency: f64) -> Battery {
    Battery {
        capacity_wh,
        age_years: 0.0,
        chemistry: Chemistry {
            usable_by_temperature: vec![(-40.0, usable), (60.0, usable)],
            self_discharge_per_month: lost,
            discharge_efficiency: efficiency,
            cutoff: None,
            ..Chemistry::lithium_iron_phosphate()
        },
    }
}

#[test]
fn val_what_is_left_is_that_of_scipys_integration() {
    for row in numbers("scipy-lying.csv") {
        let [capacity_wh, usable, lost, draw_w, efficiency, hours, charge] =
            row.try_into().unwrap();
        let lying = Lying {
            hours,
            draw_w,
            self_discharge_per_month: None,
        };
        let battery = battery(capacity_wh, usable, lost, efficiency);
        let found = battery.charge_after(&lying, 10.0).unwrap();
        assert!((found - charge).abs() < 1e-9, "{found} {charge}: {lying:?}");
    }
}

/// In a month of 730 h the share of the month goes, whatever the chemistry says besides; a limit of no self-discharge is the straight line.
#[test]
fn verif_a_month_takes_its_share_and_a_draw_its_energy() {
    let lying = |draw_w: f64, lost: f64| {
        let lying = Lying {
            hours: 730.0,
            draw_w,
            self_discharge_per_month: Some(lost),
        };
        battery(1000.0, 1.0, 0.4, 0.8)
            .charge_after(&lying, 5.0)
            .unwrap()
    };
    assert!((lying(0.0, 0.1) - 0.9).abs() < 1e-14);
    assert!((lying(0.5, 0.0) - (1.0 - 730.0 * 0.5 / 0.8 / 1000.0)).abs() < 1e-14);
    assert!((lying(0.5, 1e-12) - lying(0.5, 0.0)).abs() < 1e-9);
    assert!(lying(50.0, 0.0).abs() < 1e-15);
}

#[test]
fn verif_what_cannot_be_is_refused() {
    let of = |hours: f64, draw_w: f64, lost: f64| {
        let lying = Lying {
            hours,
            draw_w,
            self_discharge_per_month: Some(lost),
        };
        battery(1000.0, 1.0, 0.0, 0.9).charge_after(&lying, 5.0)
    };
    assert!(of(-1.0, 0.0, 0.0).is_err());
    assert!(of(1.0, -1.0, 0.0).is_err());
    assert!(of(1.0, 1.0, 1.0).is_err());
    assert!(of(f64::NAN, 1.0, 0.1).is_err());
}
