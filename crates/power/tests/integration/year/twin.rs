//! A second battery written from the rules: `reference/power/numpy-battery-twin.json`.

use power::battery::{Battery, Charging, Chemistry, Cutoff, Taper};
use power::sun::HOURS;
use power::year::{Extra, Load, PowerSystem, Scratch, Settled, Start, StateShare, YearPlan};
use serde_json::Value;

use super::{document, month_of, twelve, within_share};

/// Order of sums.
const TOLERANCE: f64 = 1e-9;

/// Yields and extra energy, the same whole numbers as on the other side.
fn invented(seed: u64, season: &[f64; 12]) -> (Vec<f64>, Vec<f64>) {
    let mut state = seed;
    let mut draw = |below: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) % below) as f64
    };
    (0..HOURS)
        .map(|hour| {
            let light = (8..16).contains(&(hour % 24));
            let most = season[month_of(hour)] as u64;
            let per_w = if light { draw(most + 1) / 1000.0 } else { 0.0 };
            (per_w, draw(400) / 100.0)
        })
        .unzip()
}

fn pairs(value: &Value) -> Vec<(f64, f64)> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|pair| (pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap()))
        .collect()
}

fn system(case: &Value) -> PowerSystem {
    let number = |name: &str| case[name].as_f64().unwrap();
    let charging = case["charging"].as_object().map(|charging| Charging {
        efficiency: charging["efficiency"].as_f64().unwrap(),
        lowest_degc: charging["lowest_degc"].as_f64().unwrap(),
        highest_degc: charging["highest_degc"].as_f64().unwrap(),
        limit: charging["limit"].as_array().map(|limit| Taper {
            highest_per_h: limit[0].as_f64().unwrap(),
            from: limit[1].as_f64().unwrap(),
            left: limit[2].as_f64().unwrap(),
        }),
    });
    let cutoff = case["cutoff"].as_array().map(|at| Cutoff {
        of: power::battery::ChargeOf::Usable,
        disconnect_at: at[0].as_f64().unwrap(),
        reconnect_at: at[1].as_f64().unwrap(),
    });
    let start = match case["start"].as_array() {
        None => Start::Repeating,
        Some(start) => Start::At {
            hour: start[0].as_u64().unwrap() as usize,
            charge: start[1].as_f64().unwrap(),
        },
    };
    PowerSystem {
        peak_power_w: number("peak_power_w"),
        standby_w: number("standby_w"),
        battery: Battery {
            capacity_wh: number("capacity_wh"),
            age_years: number("age_years"),
            chemistry: Chemistry {
                usable_by_temperature: pairs(&case["usable"]),
                discharge_efficiency: number("discharge_efficiency"),
                self_discharge_per_month: number("self_discharge_per_month"),
                yearly_loss: number("yearly_loss"),
                cutoff,
                charging,
            },
        },
        battery_temperature_degc: twelve(&case["battery_degc"]),
        start,
    }
}

#[test]
fn val_five_systems_of_the_twin() {
    let reference = document("numpy-battery-twin.json");
    let season = twelve(&reference["season_thousandths"]);
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 5);
    for case in cases {
        let (yields, extra_wh) = invented(case["seed"].as_u64().unwrap(), &season);
        let load = Load {
            states: pairs(&case["states"])
                .into_iter()
                .map(|(power_w, share)| StateShare { power_w, share })
                .collect(),
            extra: Extra::Hours(extra_wh),
        };
        let ours = YearPlan::new(&system(case), &load)
            .unwrap()
            .run(&yields, &mut Scratch::default())
            .unwrap();
        let theirs = &case["expected"];
        let number = |name: &str| theirs[name].as_f64().unwrap();
        assert_eq!(
            f64::from(ours.hours_off),
            number("hours_off"),
            "{}",
            case["name"]
        );
        assert_eq!(f64::from(ours.disconnections), number("disconnections"));
        assert_eq!(ours.worst_week.first_hour as f64, number("worst_week_hour"));
        within_share(ours.asked_wh, number("asked_wh"), TOLERANCE);
        within_share(ours.unserved_wh, number("unserved_wh"), TOLERANCE);
        within_share(ours.lowest_charge, number("lowest_charge"), TOLERANCE);
        within_share(ours.mean_charge, number("mean_charge"), TOLERANCE);
        let by_month = twelve(&theirs["lowest_charge_by_month"]);
        for (ours, theirs) in ours.months.iter().zip(by_month) {
            within_share(ours.lowest_charge, theirs, 1e-8);
        }
        let ledger = &ours.ledger;
        for (ours, name) in [
            (ledger.gained_wh, "gained"),
            (ledger.charge_loss_wh, "charge_loss"),
            (ledger.discharge_loss_wh, "discharge_loss"),
            (ledger.self_discharge_wh, "self_discharge"),
            (ledger.clipped_wh, "clipped"),
            (ledger.blocked_wh, "blocked"),
            (ledger.delivered_wh, "delivered"),
            (ledger.standby_wh, "standby"),
        ] {
            within_share(ours, theirs["ledger"][name].as_f64().unwrap(), 1e-8);
        }
        assert!(ledger.gap_wh().abs() <= 1e-9 * ledger.gained_wh);
        assert_eq!(
            matches!(ours.settled, Settled::After(_)),
            case["start"] == "repeating"
        );
    }
}
