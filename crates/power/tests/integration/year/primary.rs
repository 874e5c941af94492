//! Primary cells until they are empty, and batteries without light.

use power::battery::{
    Autonomy, Battery, BatteryError, BatteryQuantity, BatteryState, Chemistry, CurrentShare,
    PrimaryCells, SteadyCapacity,
};
use proptest::prelude::*;
use serde_json::Value;

use super::{document, plain_system, twelve, within, within_share};
use power::year::Start;

fn pairs(value: &Value) -> Vec<(f64, f64)> {
    let rows = value.as_array().unwrap().iter();
    rows.map(|pair| (pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap()))
        .collect()
}

fn shares(value: &Value) -> Vec<CurrentShare> {
    let parts = pairs(value).into_iter();
    parts
        .map(|(current_a, share)| CurrentShare { current_a, share })
        .collect()
}

fn steady(current_a: f64) -> [CurrentShare; 1] {
    [CurrentShare {
        current_a,
        share: 1.0,
    }]
}

/// A D cell of lithium thionyl chloride at 25 degC: Linden's Handbook of Batteries, figure 14.17, page 14.30.
fn linden() -> SteadyCapacity {
    SteadyCapacity::ByCurrent(vec![
        (0.0002, 17.0),
        (0.001, 18.4),
        (0.002, 18.8),
        (0.004, 19.0),
        (0.020, 13.5),
        (0.035, 7.0),
    ])
}

fn warm_cell(capacity: SteadyCapacity, lost: f64) -> PrimaryCells {
    PrimaryCells {
        capacity,
        usable_by_temperature: vec![(-30.0, 1.0), (60.0, 1.0)],
        self_discharge_per_month: lost,
        temperature_degc: [25.0; 12],
    }
}

/// The figure's points come back as they are; between them and below them as NumPy reads the table.
#[test]
fn val_capacity_at_a_steady_current() {
    for (current_a, capacity_ah) in [(0.035, 7.0), (0.020, 13.5), (0.004, 19.0), (0.0002, 17.0)] {
        assert_eq!(linden().at(current_a), Ok(capacity_ah));
    }
    for (current_a, capacity_ah) in pairs(&document("scipy-battery-primary.json")["readings"]) {
        within_share(linden().at(current_a).unwrap(), capacity_ah, 1e-12);
    }
    assert_eq!(linden().at(0.0), Ok(17.0));
    assert_eq!(
        linden().at(0.0351),
        Err(BatteryError::CurrentAboveTable {
            current_a: 0.0351,
            highest_a: 0.035
        })
    );
}

#[test]
fn val_lives_of_primary_cells() {
    let cases = document("scipy-battery-primary.json");
    let cases = cases["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 6);
    for case in cases {
        let cells = PrimaryCells {
            capacity: SteadyCapacity::ByCurrent(pairs(&case["capacity_by_current"])),
            usable_by_temperature: pairs(&case["usable_by_temperature"]),
            self_discharge_per_month: case["self_discharge_per_month"].as_f64().unwrap(),
            temperature_degc: twelve(&case["temperature_degc"]),
        };
        let start_hour = case["start_hour"].as_u64().unwrap() as usize;
        let life = cells.life(&shares(&case["load"]), start_hour).unwrap();
        within_share(life.hours.unwrap(), case["hours"].as_f64().unwrap(), 1e-8);
        assert_eq!(life.month.map(|m| m as u64), case["month"].as_u64());
        within_share(life.mean_a, case["mean_a"].as_f64().unwrap(), 1e-12);
        let capacity_ah = life.capacity_ah.unwrap();
        within_share(capacity_ah, case["capacity_ah"].as_f64().unwrap(), 1e-12);
    }
}

/// 19 Ah at 4 mA last 4750 h; with pulses of 35 mA for a tenth of the time `0.9 4/19 + 0.1 35/7` thousandths go in an
/// hour: by hand.
#[test]
fn verif_shares_of_the_capacity_add_up() {
    let cell = warm_cell(linden(), 0.0);
    within(
        cell.life(&steady(0.004), 0).unwrap().hours.unwrap(),
        4750.0,
        1e-9,
    );
    let pulsed =
        [(0.004, 0.9), (0.035, 0.1)].map(|(current_a, share)| CurrentShare { current_a, share });
    let by_hand_h = 1000.0 / (0.9 * 4.0 / 19.0 + 0.1 * 35.0 / 7.0);
    let life = cell.life(&pulsed, 0).unwrap();
    within_share(life.hours.unwrap(), by_hand_h, 1e-12);
    // The mean current alone, 7.1 mA, promises more than twice that: the wrong way.
    let by_mean_h = cell.life(&steady(life.mean_a), 0).unwrap().hours.unwrap();
    assert!(by_mean_h > 1.5 * by_hand_h, "{by_mean_h} {by_hand_h}");
}

/// Nothing drawn and nothing lost lasts for ever; a leak alone never empties the cells, unless the cold holds some back.
#[test]
fn verif_lives_without_an_end() {
    let mut cell = warm_cell(SteadyCapacity::AtAnyCurrent(19.0), 0.0);
    let life = cell.life(&steady(0.0), 5000).unwrap();
    assert_eq!(
        (life.hours, life.month, life.capacity_ah),
        (None, None, None)
    );
    cell.self_discharge_per_month = 0.02;
    assert_eq!(cell.life(&steady(0.0), 0).unwrap().hours, None);
    cell.self_discharge_per_month = 0.5;
    cell.usable_by_temperature = vec![(-30.0, 0.5), (60.0, 0.5)];
    within(
        cell.life(&steady(0.0), 0).unwrap().hours.unwrap(),
        730.0,
        1e-9,
    );
}

#[test]
fn verif_primary_cells_that_are_refused() {
    let cell = warm_cell(linden(), 0.0);
    assert_eq!(
        cell.life(&steady(0.001), 8760),
        Err(BatteryError::StartHour { hour: 8760 })
    );
    let half = CurrentShare {
        current_a: 0.001,
        share: 0.5,
    };
    assert_eq!(
        cell.life(&[half], 0),
        Err(BatteryError::TimeShares { sum: 0.5 })
    );
    assert!(matches!(
        cell.life(&[], 0),
        Err(BatteryError::TimeShares { .. })
    ));
    for current_a in [-0.001, f64::NAN, f64::INFINITY] {
        assert!(cell.life(&steady(current_a), 0).is_err(), "{current_a}");
    }
    for table in [
        vec![],
        vec![(0.002, 18.0), (0.001, 19.0)],
        vec![(0.0, 18.0)],
        vec![(0.001, f64::NAN)],
    ] {
        let cell = warm_cell(SteadyCapacity::ByCurrent(table.clone()), 0.0);
        assert!(cell.life(&steady(0.0005), 0).is_err(), "{table:?}");
    }
    let leaking = warm_cell(linden(), 1.0);
    assert!(matches!(
        leaking.life(&steady(0.001), 0),
        Err(BatteryError::OutOfRange {
            quantity: BatteryQuantity::SelfDischarge,
            ..
        })
    ));
    let mut frozen = warm_cell(linden(), 0.0);
    frozen.temperature_degc[1] = -31.0;
    assert!(matches!(
        frozen.life(&steady(0.001), 0),
        Err(BatteryError::TemperatureOutsideTable { .. })
    ));
}

/// 6.3 W for ten days at 0.96, four fifths of it usable, 0.85 left in the cold: 2316.176 Wh, worked by hand from
/// `E = P 24 d/(eta DoD f)`.
#[test]
fn verif_autonomy_by_hand() {
    let mut battery = Battery {
        capacity_wh: 2316.176,
        age_years: 0.0,
        chemistry: plain_system(1.0, 1.0, Start::Repeating).battery.chemistry,
    };
    battery.chemistry.self_discharge_per_month = 0.0;
    battery.chemistry.usable_by_temperature = vec![(-5.0, 0.85), (20.0, 1.0)];
    let mut degc = [10.0; 12];
    degc[2] = -5.0;
    let Autonomy { hours, month } = battery.autonomy(&degc, 6.3).unwrap();
    within(hours, 240.0, 1e-4);
    assert_eq!(month, 2);
    // A warm month would promise a sixth more.
    let warm = battery.autonomy(&[20.0; 12], 6.3).unwrap();
    within_share(warm.hours, 240.0 / 0.85, 1e-6);
    assert!(battery.autonomy(&degc, 0.0).is_err());
    degc[2] = -6.0;
    assert!(battery.autonomy(&degc, 6.3).is_err());
}

proptest! {
    #![proptest_config(crate::cases())]

    /// Hour by hour with the step of the energy year, the first hour that goes short is the one in which the cells end.
    #[test]
    fn verif_cells_against_the_hourly_step(
        capacity_ah in 1.0..30.0_f64,
        current_a in 0.01..0.5_f64,
        lost in 0.0..0.05_f64,
        degc in 0.0..25.0_f64,
        start_hour in 0_usize..8760,
    ) {
        let chemistry = Chemistry {
            self_discharge_per_month: lost,
            ..Chemistry::primary_lithium()
        };
        let cells = PrimaryCells {
            capacity: SteadyCapacity::AtAnyCurrent(capacity_ah),
            usable_by_temperature: chemistry.usable_by_temperature.clone(),
            self_discharge_per_month: lost,
            temperature_degc: [degc; 12],
        };
        let hours = cells.life(&steady(current_a), start_hour).unwrap().hours.unwrap();
        // At one volt Wh are Ah.
        let battery = Battery { capacity_wh: capacity_ah, age_years: 0.0, chemistry };
        let at = battery.at(degc).unwrap();
        let mut state = BatteryState { stored_wh: at.capacity_wh(), connected: true };
        let short = (0..100_000).find(|_| at.step(&mut state, 0.0, current_a, 0.0).unserved_wh > 0.0);
        let short = f64::from(short.unwrap());
        // The step takes the leak of an hour from its beginning, as if nothing were drawn within it: half of an hour's leak.
        let leak_per_h = -libm::log1p(-lost) / 730.0;
        let tolerance_h = 1.01 + 0.55 * leak_per_h * hours;
        prop_assert!((short - hours).abs() <= tolerance_h, "{short} {hours}");
    }

    /// The same for a battery with a controller and no light.
    #[test]
    fn verif_autonomy_against_the_hourly_step(
        capacity_wh in 100.0..5000.0_f64,
        load_w in 1.0..20.0_f64,
        lost in 0.0..0.1_f64,
        degc in -20.0..25.0_f64,
        age_years in 0.0..5.0_f64,
    ) {
        let chemistry = Chemistry {
            self_discharge_per_month: lost,
            ..Chemistry::agm()
        };
        let battery = Battery { capacity_wh, age_years, chemistry };
        let hours = battery.autonomy(&[degc; 12], load_w).unwrap().hours;
        let at = battery.at(degc).unwrap();
        let mut state = BatteryState { stored_wh: at.capacity_wh(), connected: true };
        let off = (0..100_000).find(|_| {
            let flows = at.step(&mut state, 0.0, load_w, 0.0);
            flows.unserved_wh > 0.0
        });
        let off = f64::from(off.unwrap());
        // The controller looks once an hour, and the step takes the leak of an hour from its beginning.
        prop_assert!((off - hours).abs() <= 1.5, "{off} {hours}");
    }

    /// More current, more loss or more cold never last longer, at a capacity that does not depend on the current.
    #[test]
    fn verif_harder_use_never_lasts_longer(
        current_a in 0.0005..0.05_f64,
        more in 1.0..3.0_f64,
        lost in 0.0..0.05_f64,
        degc in -20.0..20.0_f64,
        colder_k in 0.0..10.0_f64,
        start_hour in 0_usize..8760,
    ) {
        let usable = Chemistry::primary_lithium().usable_by_temperature;
        let life = |current_a: f64, lost: f64, degc: f64| {
            let cells = PrimaryCells {
                capacity: SteadyCapacity::AtAnyCurrent(10.0),
                usable_by_temperature: usable.clone(),
                self_discharge_per_month: lost,
                temperature_degc: [degc; 12],
            };
            cells.life(&steady(current_a), start_hour).unwrap().hours.unwrap()
        };
        let plain = life(current_a, lost, degc) * (1.0 + 1e-12);
        prop_assert!(life(more * current_a, lost, degc) <= plain);
        prop_assert!(life(current_a, lost + 0.01 * more, degc) <= plain);
        prop_assert!(life(current_a, lost, degc - colder_k) <= plain);
    }
}
