//! One recipe for a real year in all its columns, and what each wrong or other choice in it costs:
//! `reference/power/pvlib-year-recipe.json`.

use power::battery::BatteryState;
use power::sun::{
    Array, Components, Face, Iam, Mounting, PlaneHour, PlaneYear, Sky, cos_incidence,
    mean_cos_incidence,
};
use power::weather::WeatherHour;
use power::year::{PowerSystem, Scratch, Start, YearPlan, measured_yields};
use serde_json::Value;

use super::{
    FULL_ON_1_JANUARY, document, month_of, panels, plain_load, plain_system, sand_point_hours,
    sand_point_sun, sand_point_sun_by, south_60, twelve, within, within_share, yaw_60,
};

/// Headings in steps on the other side, and the pressure behind the refraction.
const ENERGY_TOLERANCE: f64 = 1e-4;
const MONTH_TOLERANCE: f64 = 2e-4;
const CHARGE_TOLERANCE: f64 = 1e-4;

/// A share of 0.03/730 of the content each hour, which is 2.956 % in a month.
fn leaking(mut system: PowerSystem) -> PowerSystem {
    system.battery.chemistry.self_discharge_per_month =
        -libm::expm1(730.0 * libm::log1p(-0.03 / 730.0));
    system
}

fn kwh_m2(
    plane: &PlaneYear,
    hours: &[WeatherHour],
    part: impl Fn(&WeatherHour) -> Components,
) -> f64 {
    let light =
        |(plane, hour): (&PlaneHour, &WeatherHour)| plane.plane_from_components_w_m2(&part(hour));
    plane.hours().iter().zip(hours).map(light).sum::<f64>() / 1000.0
}

fn whole(hour: &WeatherHour) -> Components {
    hour.components
}

fn array(mounting: Mounting, beam_iam: Iam, sky: Sky) -> Array {
    Array {
        mounting,
        beam_iam,
        sky,
        albedo: 0.06,
    }
}

fn south() -> Mounting {
    Mounting::Fixed(vec![Face {
        tilt_deg: 60.0,
        azimuth_deg: 180.0,
    }])
}

#[test]
fn val_every_column_of_three_systems() {
    let Some(hours) = sand_point_hours("every column of three systems") else {
        return;
    };
    let reference = document("pvlib-year-recipe.json");
    let sun = sand_point_sun();
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 3);
    for case in cases {
        let number = |name: &str| case[name].as_f64().unwrap();
        let plane = if case["plane"] == "south" {
            south_60(&sun)
        } else {
            yaw_60(&sun)
        };
        let beam = kwh_m2(&plane, &hours, |hour| Components {
            beam_normal_w_m2: hour.components.beam_normal_w_m2,
            ..Components::default()
        });
        let ground = kwh_m2(&plane, &hours, |hour| Components {
            global_w_m2: hour.components.global_w_m2,
            ..Components::default()
        });
        let all = kwh_m2(&plane, &hours, whole);
        within_share(all, number("plane_kwh_m2"), ENERGY_TOLERANCE);
        within_share(beam, number("beam_kwh_m2"), ENERGY_TOLERANCE);
        within_share(ground, number("ground_kwh_m2"), 1e-9);
        within_share(all - beam - ground, number("sky_kwh_m2"), ENERGY_TOLERANCE);
        let mut by_month = [0.0; 12];
        for (at, (plane, hour)) in plane.hours().iter().zip(&hours).enumerate() {
            by_month[month_of(at)] += plane.plane_from_components_w_m2(&hour.components) / 1000.0;
        }
        for (ours, theirs) in by_month
            .into_iter()
            .zip(twelve(&case["plane_kwh_m2_by_month"]))
        {
            within_share(ours, theirs, MONTH_TOLERANCE);
        }
        let yields = measured_yields(&sun, &plane, &hours, &panels()).unwrap();
        for (start, told) in [
            (FULL_ON_1_JANUARY, "from_full"),
            (Start::Repeating, "repeating"),
        ] {
            let system = leaking(plain_system(
                number("peak_power_w"),
                number("capacity_wh"),
                start,
            ));
            battery_columns(&system, &yields, case, &case[told]);
        }
    }
}

fn battery_columns(system: &PowerSystem, yields: &[f64], case: &Value, theirs: &Value) {
    let plan = YearPlan::new(system, &plain_load()).unwrap();
    let ours = plan.run(yields, &mut Scratch::default()).unwrap();
    let number = |name: &str| theirs[name].as_f64().unwrap();
    within_share(
        ours.ledger.gained_wh / 1000.0,
        case["panels_kwh"].as_f64().unwrap(),
        ENERGY_TOLERANCE,
    );
    let gained = twelve(&case["panels_kwh_by_month"]);
    let lowest = twelve(&theirs["lowest_charge_by_month"]);
    for (month, (gained_kwh, lowest)) in ours.months.iter().zip(gained.into_iter().zip(lowest)) {
        within_share(month.gained_wh / 1000.0, gained_kwh, MONTH_TOLERANCE);
        within(month.lowest_charge, lowest, CHARGE_TOLERANCE);
    }
    within(
        ours.lowest_charge,
        number("lowest_charge"),
        CHARGE_TOLERANCE,
    );
    within(ours.mean_charge, number("mean_charge"), CHARGE_TOLERANCE);
    within(
        ours.start_end_charge.1,
        number("end_charge"),
        CHARGE_TOLERANCE,
    );
    assert_eq!(ours.lowest_charge_hour as f64, number("lowest_charge_hour"));
    assert_eq!(f64::from(ours.hours_off), number("hours_off"));
    assert_eq!(
        ours.first_hour_off.map(|hour| hour as u64),
        theirs["first_hour_off"].as_u64()
    );
    // Taken off and, some day, connected again.
    assert_eq!(
        f64::from(ours.disconnections),
        (number("switchings") / 2.0).ceil()
    );
    within(
        ours.ledger.delivered_wh / 1000.0,
        number("served_kwh"),
        1e-6,
    );
    within(ours.unserved_wh, number("unserved_wh"), 1e-6);
    within_share(ours.ledger.clipped_wh / 1000.0, number("spilled_kwh"), 1e-3);
    // The hours below the cut, by the battery's step itself.
    let at = system.battery.at(10.0).unwrap();
    let mut state = BatteryState {
        stored_wh: ours.start_end_charge.0 * at.capacity_wh(),
        connected: true,
    };
    let below = yields.iter().filter(|&&per_watt| {
        at.step(&mut state, per_watt * system.peak_power_w, 6.0, 0.3);
        at.usable_state_of_charge(state.stored_wh) < 0.2
    });
    assert_eq!(below.count() as f64, number("hours_below_cut"));
}

/// Another sky, no modifier, and the yawing ring under Hay and Davies: what each choice adds is theirs too, and none of
/// them would pass for the others.
#[test]
fn val_other_choices_of_the_recipe() {
    let Some(hours) = sand_point_hours("other choices of the recipe") else {
        return;
    };
    let other = &document("pvlib-year-recipe.json")["other"];
    let sun = sand_point_sun();
    let ashrae = Iam::Ashrae { b: 0.05 };
    let right = kwh_m2(&south_60(&sun), &hours, whole);
    let turning = kwh_m2(&yaw_60(&sun), &hours, whole);
    let yawing = Mounting::Yawing { tilt_deg: 60.0 };
    for (array, name, beside) in [
        (
            array(south(), ashrae, Sky::Isotropic),
            "south_isotropic_kwh_m2",
            right,
        ),
        (
            array(south(), Iam::None, Sky::HayDavies),
            "south_without_modifier_kwh_m2",
            right,
        ),
        (
            array(yawing, Iam::None, Sky::HayDavies),
            "yaw_hay_davies_kwh_m2",
            turning,
        ),
    ] {
        let ours = kwh_m2(&PlaneYear::new(&sun, &array).unwrap(), &hours, whole);
        within_share(ours, other[name].as_f64().unwrap(), ENERGY_TOLERANCE);
        assert!(
            (ours / beside - 1.0).abs() > 50.0 * ENERGY_TOLERANCE,
            "{name}"
        );
    }
}

/// Red: labels of hours taken for their middles or their beginnings. It costs a quarter of a percent, and the check
/// sees it.
#[test]
fn val_half_an_hour_beside_the_sun_fails() {
    let Some(hours) = sand_point_hours("half an hour beside the sun") else {
        return;
    };
    let reference = document("pvlib-year-recipe.json");
    let right = reference["cases"][0]["plane_kwh_m2"].as_f64().unwrap();
    for (utc_offset_h, name) in [
        (-9.5, "south_sun_at_label_kwh_m2"),
        (-8.5, "south_sun_an_hour_before_label_kwh_m2"),
    ] {
        let sun = sand_point_sun_by(utc_offset_h);
        let ours = kwh_m2(&south_60(&sun), &hours, whole);
        within_share(
            ours,
            reference["other"][name].as_f64().unwrap(),
            ENERGY_TOLERANCE,
        );
        assert!((ours / right - 1.0).abs() > 20.0 * ENERGY_TOLERANCE);
    }
}

/// Red: beam light that a station reports with the middle of the hour below the horizon, kept.
#[test]
fn val_beam_of_a_sun_that_is_down_fails() {
    let Some(hours) = sand_point_hours("beam of a sun that is down") else {
        return;
    };
    let other = &document("pvlib-year-recipe.json")["other"];
    let sun = sand_point_sun();
    let kept = |cos: &dyn Fn(f64, f64) -> f64| {
        let down = sun
            .hours()
            .iter()
            .zip(&hours)
            .filter(|(sun, _)| sun.apparent_zenith_deg >= 90.0);
        down.map(|(sun, hour)| {
            hour.components.beam_normal_w_m2 * cos(sun.apparent_zenith_deg, sun.azimuth_deg)
        })
        .sum::<f64>()
            / 1000.0
    };
    let on_yaw = kept(&|zenith_deg, _| mean_cos_incidence(60.0, zenith_deg).unwrap());
    let turning = kwh_m2(&yaw_60(&sun), &hours, whole);
    let theirs = other["yaw_beam_of_a_sun_that_is_down_kwh_m2"]
        .as_f64()
        .unwrap();
    within_share(turning + on_yaw, theirs, ENERGY_TOLERANCE);
    // Bare of the modifier: 1.57 kWh/m2 on the plane that faces south.
    let on_south = kept(&|zenith_deg, azimuth_deg| {
        cos_incidence(60.0, 180.0, zenith_deg, azimuth_deg)
            .unwrap()
            .max(0.0)
    });
    within(on_south, 1.571, 0.01);
    for (extra, all) in [
        (on_yaw, turning),
        (on_south, kwh_m2(&south_60(&sun), &hours, whole)),
    ] {
        assert!(extra > 10.0 * ENERGY_TOLERANCE * all, "{extra} of {all}");
    }
}

/// How sharply the outage of the second system stands on its efficiencies: one percent of the panels, or of either way
/// through the cells, moves its 60 hours; 100 Wh more end them.
#[test]
fn val_outage_moves_with_one_percent() {
    let Some(hours) = sand_point_hours("outage moves with one percent") else {
        return;
    };
    let theirs = &document("pvlib-year-recipe.json")["other"]["hours_off_of_e2"];
    let sun = sand_point_sun();
    let yields = measured_yields(&sun, &yaw_60(&sun), &hours, &panels()).unwrap();
    let hours_off = |peak: f64, into: f64, out: f64, capacity_wh: f64| {
        let mut system = leaking(plain_system(200.0 * peak, capacity_wh, FULL_ON_1_JANUARY));
        let chemistry = &mut system.battery.chemistry;
        chemistry.charging.as_mut().unwrap().efficiency *= into;
        chemistry.discharge_efficiency *= out;
        let plan = YearPlan::new(&system, &plain_load()).unwrap();
        u64::from(
            plan.run(&yields, &mut Scratch::default())
                .unwrap()
                .hours_off,
        )
    };
    for (name, ours) in [
        ("panels_1_percent_less", hours_off(0.99, 1.0, 1.0, 3000.0)),
        ("panels_1_percent_more", hours_off(1.01, 1.0, 1.0, 3000.0)),
        ("charging_1_percent_less", hours_off(1.0, 0.99, 1.0, 3000.0)),
        ("charging_1_percent_more", hours_off(1.0, 1.01, 1.0, 3000.0)),
        ("drawing_1_percent_less", hours_off(1.0, 1.0, 0.99, 3000.0)),
        ("drawing_1_percent_more", hours_off(1.0, 1.0, 1.01, 3000.0)),
        ("both_1_percent_less", hours_off(1.0, 0.99, 0.99, 3000.0)),
        ("both_1_percent_more", hours_off(1.0, 1.01, 1.01, 3000.0)),
        ("3100_wh", hours_off(1.0, 1.0, 1.0, 3100.0)),
    ] {
        assert_eq!(Some(ours), theirs[name].as_u64(), "{name}");
    }
    assert_eq!(hours_off(1.0, 1.0, 1.0, 3000.0), 60);
}

/// Daily clearness of the file: its mean, its spread with and without the months', and the correlation with the next day.
#[test]
fn val_daily_clearness_of_the_file() {
    let Some(hours) = sand_point_hours("daily clearness of the file") else {
        return;
    };
    let theirs = &document("pvlib-year-recipe.json")["daily_clearness"];
    let number = |name: &str| theirs[name].as_f64().unwrap();
    let sun = sand_point_sun();
    let clearness: Vec<f64> = hours
        .chunks(24)
        .zip(sun.days())
        .map(|(hours, day)| {
            let global = hours.iter().map(|hour| hour.components.global_w_m2);
            global.sum::<f64>() / day.extraterrestrial_wh_m2
        })
        .collect();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let spread = |values: &[f64]| {
        let mean = mean(values);
        let squares: Vec<f64> = values.iter().map(|k| (k - mean).powi(2)).collect();
        (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
    };
    let mut of_months = vec![Vec::new(); 12];
    for (k, day) in clearness.iter().zip(sun.days()) {
        of_months[day.month].push(*k);
    }
    let about: Vec<f64> = clearness
        .iter()
        .zip(sun.days())
        .map(|(k, day)| k - mean(&of_months[day.month]))
        .collect();
    let pairs: Vec<f64> = about.windows(2).map(|pair| pair[0] * pair[1]).collect();
    // Each day in closed form against the sun's path: 0.1 %.
    within(mean(&clearness), number("mean"), 4e-4);
    within(spread(&clearness), number("spread"), 4e-4);
    within(spread(&about), number("spread_about_months"), 4e-4);
    let next_day = mean(&pairs) / spread(&about).powi(2);
    within(next_day, number("next_day_about_months"), 2e-3);
    // One day stands at 0.2001.
    let dull = clearness.iter().filter(|&&k| k < 0.2).count() as f64;
    within(dull, number("days_below_0_2"), 1.0);
}

/// 5 W, and 30 W more for two minutes of each hour: 6 W on average and 144 Wh a day. Red: the peak of 35 W, which the
/// network has to carry, taken for the load of the year.
#[test]
fn verif_load_of_two_minutes_an_hour() {
    let load = plain_load();
    within(load.base_w().unwrap(), 6.0, 1e-12);
    let day_wh: f64 = load.hourly_wh().unwrap()[..24].iter().sum();
    within(day_wh, 144.0, 1e-9);
    let peak_w = load
        .states
        .iter()
        .map(|state| state.power_w)
        .fold(0.0, f64::max);
    assert_eq!(peak_w, 35.0);
    assert!(24.0 * peak_w > 5.0 * day_wh);
}
