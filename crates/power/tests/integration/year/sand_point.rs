//! A real year at Sand Point, Alaska, through panels and battery: `reference/power/pvlib-year-sand-point.json`, and the
//! figures of three systems as they were worked out with pvlib before.

use power::sun::{DAYS, PlaneYear, SunYear};
use power::weather::{ClearnessModel, ClearnessYears, MonthMean, PERSISTENCE};
use power::year::{
    Climate, GeneratedYields, Outages, PowerSystem, Scratch, Settled, Start, YearAccount, YearPlan,
    measured_yields,
};
use serde_json::Value;

use super::{
    FULL_ON_1_JANUARY, document, panels, plain_load, plain_system, sand_point_hours,
    sand_point_sun, south_60, twelve, within, within_share, yaw_60,
};

/// Headings in steps on the other side, and the pressure behind the refraction.
const ENERGY_TOLERANCE: f64 = 1e-4;
const CHARGE_TOLERANCE: f64 = 1e-4;
/// Of the figures worked out before.
const EARLIER_ENERGY_TOLERANCE: f64 = 3e-3;
const EARLIER_CHARGE_TOLERANCE: f64 = 5e-3;

struct Case {
    peak_power_w: f64,
    capacity_wh: f64,
    south: bool,
}

const CASES: [Case; 3] = [
    Case {
        peak_power_w: 150.0,
        capacity_wh: 3000.0,
        south: true,
    },
    Case {
        peak_power_w: 200.0,
        capacity_wh: 3000.0,
        south: false,
    },
    Case {
        peak_power_w: 320.0,
        capacity_wh: 6000.0,
        south: false,
    },
];

fn plane_of(case: &Case, sun: &SunYear) -> PlaneYear {
    if case.south {
        south_60(sun)
    } else {
        yaw_60(sun)
    }
}

fn account(case: &Case, yields: &[f64], start: Start) -> YearAccount {
    run(
        &plain_system(case.peak_power_w, case.capacity_wh, start),
        yields,
    )
}

/// With the leak of the figures worked out before: 0.03/730 of the content each hour, 2.956 % in a month.
fn account_as_before(case: &Case, yields: &[f64], start: Start) -> YearAccount {
    let mut system = plain_system(case.peak_power_w, case.capacity_wh, start);
    system.battery.chemistry.self_discharge_per_month =
        -libm::expm1(730.0 * libm::log1p(-0.03 / 730.0));
    run(&system, yields)
}

fn run(system: &PowerSystem, yields: &[f64]) -> YearAccount {
    YearPlan::new(system, &plain_load())
        .unwrap()
        .run(yields, &mut Scratch::default())
        .unwrap()
}

fn against(ours: &YearAccount, theirs: &Value) {
    let number = |name: &str| theirs[name].as_f64().unwrap();
    within(
        ours.lowest_charge,
        number("lowest_charge"),
        CHARGE_TOLERANCE,
    );
    within(ours.mean_charge, number("mean_charge"), CHARGE_TOLERANCE);
    assert_eq!(ours.lowest_charge_hour as f64, number("lowest_charge_hour"));
    assert_eq!(f64::from(ours.hours_off), number("hours_off"));
    assert_eq!(
        ours.first_hour_off.map(|hour| hour as u64),
        theirs["first_hour_off"].as_u64()
    );
    within(ours.unserved_wh, number("unserved_wh"), 1e-6);
    within_share(ours.ledger.clipped_wh / 1000.0, number("spilled_kwh"), 1e-3);
    let by_month = twelve(&theirs["lowest_charge_by_month"]);
    for (ours, theirs) in ours.months.iter().zip(by_month) {
        within(ours.lowest_charge, theirs, CHARGE_TOLERANCE);
    }
    assert!(ours.ledger.gap_wh().abs() <= 1e-9 * ours.ledger.gained_wh);
}

/// Irradiance of the year, energy of the panels, and both ways to start, hour for hour the same battery.
#[test]
fn val_three_systems_through_a_real_year() {
    let Some(hours) = sand_point_hours("three systems through a real year") else {
        return;
    };
    let reference = document("pvlib-year-sand-point.json");
    let sun = sand_point_sun();
    for (case, theirs) in CASES.iter().zip(reference["cases"].as_array().unwrap()) {
        let plane = plane_of(case, &sun);
        let plane_kwh_m2 = plane
            .hours()
            .iter()
            .zip(&hours)
            .map(|(plane, hour)| plane.plane_from_components_w_m2(&hour.components))
            .sum::<f64>()
            / 1000.0;
        within_share(
            plane_kwh_m2,
            theirs["plane_kwh_m2"].as_f64().unwrap(),
            ENERGY_TOLERANCE,
        );
        let yields = measured_yields(&sun, &plane, &hours, &panels()).unwrap();
        let from_full = account(case, &yields, FULL_ON_1_JANUARY);
        against(&from_full, &theirs["from_full"]);
        let by_month = twelve(&theirs["panels_kwh_by_month"]);
        for (ours, theirs) in from_full.months.iter().zip(by_month) {
            within_share(ours.gained_wh / 1000.0, theirs, 2e-4);
        }
        within(
            from_full.start_end_charge.1,
            theirs["from_full"]["end_charge"].as_f64().unwrap(),
            CHARGE_TOLERANCE,
        );
        assert_eq!(from_full.settled, Settled::NotAsked);
        let repeating = account(case, &yields, Start::Repeating);
        against(&repeating, &theirs["repeating"]);
        assert!(matches!(repeating.settled, Settled::After(_)));
        within(
            repeating.start_end_charge.0,
            repeating.start_end_charge.1,
            1e-9,
        );
    }
}

/// The same three systems as they were worked out with pvlib before: irradiance and panels within 0.3 %, state of
/// charge within 0.005, the 60 hours of the second system (1 % of efficiency moves them from 52 to 80), 432 when it
/// repeats.
#[test]
fn regress_three_systems_as_worked_out_before() {
    let Some(hours) = sand_point_hours("three systems as worked out before") else {
        return;
    };
    let sun = sand_point_sun();
    let theirs = [
        (939.182, 124.654, 0.596_931, 0, 0.882_264, 0.480_863, 0),
        (655.340, 117.467, 0.197_071, 60, 0.305_748, 0.198_318, 432),
        (655.340, 187.947, 0.827_442, 0, 0.918_782, 0.750_436, 0),
    ];
    for (case, (plane_kwh, panels_kwh, lowest, off, end, lowest_repeating, off_repeating)) in
        CASES.iter().zip(theirs)
    {
        let plane = plane_of(case, &sun);
        let ours: f64 = plane
            .hours()
            .iter()
            .zip(&hours)
            .map(|(plane, hour)| plane.plane_from_components_w_m2(&hour.components))
            .sum();
        within_share(ours / 1000.0, plane_kwh, EARLIER_ENERGY_TOLERANCE);
        let yields = measured_yields(&sun, &plane, &hours, &panels()).unwrap();
        let from_full = account_as_before(case, &yields, FULL_ON_1_JANUARY);
        within_share(
            from_full.ledger.gained_wh / 1000.0,
            panels_kwh,
            EARLIER_ENERGY_TOLERANCE,
        );
        within(from_full.lowest_charge, lowest, EARLIER_CHARGE_TOLERANCE);
        within(from_full.start_end_charge.1, end, EARLIER_CHARGE_TOLERANCE);
        assert_eq!(from_full.hours_off, off);
        let repeating = account_as_before(case, &yields, Start::Repeating);
        within(
            repeating.lowest_charge,
            lowest_repeating,
            EARLIER_CHARGE_TOLERANCE,
        );
        assert_eq!(repeating.hours_off, off_repeating);
        if off > 0 {
            // 13 February, 01:00 to 02:00; a flat load has one share of lost load.
            assert_eq!(from_full.first_hour_off, Some(24 * 43 + 1));
            within(from_full.lolp_time(), 0.006_849, 1e-6);
            within(from_full.lolp_energy().unwrap(), 0.006_849, 1e-6);
        }
    }
}

/// Red: a full battery on 1 January hides the winter. The same system, the same weather, a seventh of the outage.
#[test]
fn val_starting_full_in_january_hides_the_winter() {
    let Some(hours) = sand_point_hours("starting full in January") else {
        return;
    };
    let sun = sand_point_sun();
    let yields = measured_yields(&sun, &yaw_60(&sun), &hours, &panels()).unwrap();
    let full = account(&CASES[1], &yields, FULL_ON_1_JANUARY);
    let repeating = account(&CASES[1], &yields, Start::Repeating);
    assert!(7 * full.hours_off < repeating.hours_off + 1);
    // Deployed full in July the whole winter is met, as when the year repeats itself.
    let july = Start::At {
        hour: power::year::first_hour_of_month(6).unwrap(),
        charge: 1.0,
    };
    let deployed = account(&CASES[1], &yields, july);
    assert_eq!(deployed.hours_off, repeating.hours_off);
    // Both find the same worst week, over the turn of the year.
    let last_of_december = power::sun::HOURS - 24;
    for account in [&deployed, &repeating] {
        assert_eq!(account.worst_week.first_hour, last_of_december);
        assert_eq!(account.worst_week.charge.len(), 168);
        let mean = account.worst_week.charge.iter().sum::<f64>() / 168.0;
        assert!(account.lowest_charge < mean && mean < 0.3, "{mean}");
    }
}

fn generated(sun: &SunYear, plane: &PlaneYear) -> GeneratedYields {
    let reference = document("pvlib-year-sand-point.json");
    let climate = Climate {
        air_temperature_degc: twelve(&reference["air_temperature_degc"]),
        wind_speed_m_s: twelve(&reference["wind_speed_m_s"]),
    };
    GeneratedYields::new(sun, plane, &panels(), &climate).unwrap()
}

/// Generated years have the energy of the real one: 655.3 kWh/m2 on the yawing plane within 3 %; single years spread by
/// 3 to 5 %. Their outage is larger, a bias that the method page states: more cloudy days in a row than this site has.
#[test]
fn val_generated_years_against_the_real_one() {
    let sun = sand_point_sun();
    let plane = yaw_60(&sun);
    let yields_of = generated(&sun, &plane);
    let clearness = twelve(&document("pvlib-year-sand-point.json")["clearness"]);
    let bendt = ClearnessModel::Bendt {
        persistence: PERSISTENCE,
    };
    let system = plain_system(200.0, 3000.0, FULL_ON_1_JANUARY);
    let plan = YearPlan::new(&system, &plain_load()).unwrap();
    let mut scratch = Scratch::default();
    for model in [ClearnessModel::Aguiar, bendt] {
        let years = ClearnessYears::new(model, &clearness, MonthMean::OverYears, &sun).unwrap();
        let mut outages = Outages::new();
        let mut energies = Vec::new();
        let mut days = [0.0; DAYS];
        let mut yields = Vec::new();
        for year in 0..400 {
            years.fill(11, year, &mut days);
            energies.push(yields_of.plane_wh_m2(&days).unwrap() / 1000.0);
            yields_of.fill(&days, &mut yields).unwrap();
            outages.add(&plan.run(&yields, &mut scratch).unwrap());
        }
        let mean = energies.iter().sum::<f64>() / 400.0;
        let spread = (energies.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / 400.0).sqrt();
        within_share(mean, 655.34, 0.03);
        assert!(
            (0.025..0.055).contains(&(spread / mean)),
            "{spread} of {mean}"
        );
        let hours = outages.mean_hours_off().unwrap();
        assert!(
            hours > 60.0,
            "pessimistic here: {hours} against 60 from the real year"
        );
        assert!(hours < 300.0, "{hours}; 197 and 207 were found before");
    }
}
