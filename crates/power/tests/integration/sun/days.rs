//! Sums over days and months: `reference/power/pvlib-sun-days.json`.

use power::sun::{
    Array, Components, Face, Horizon, Iam, Instant, Mounting, PlaneYear,
    SOLAR_CONSTANT_ASTM_E490_W_M2, Site, Sky, SunYear, cos_incidence, daily_extraterrestrial_wh_m2,
    extraterrestrial_w_m2, haurwitz_w_m2, ineichen_perez, mean_cos_incidence, relative_air_mass,
    sun_position, transpose,
};

use super::sky::cooper_deg;
use super::{at_sea, close, close_relative, json, list, number};

const SUM_TOLERANCE: f64 = 1e-6;
/// The reference turns the panel in 256 steps.
const YAW_TOLERANCE: f64 = 2e-5;
/// Each day in closed form against the sun's path in steps of five minutes.
const DAY_TOLERANCE: f64 = 0.001;
/// The middle of an hour for the hour: most in the shortest days of 62 deg north, 1.5 %.
const MIDDLE_TOLERANCE: f64 = 0.02;
const MONTH_ENDS: [usize; 13] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365];

fn site(latitude_deg: f64, year: i32, solar_constant_w_m2: f64) -> Site {
    Site {
        observer: at_sea(latitude_deg),
        year,
        utc_offset_h: 0.0,
        delta_t_s: 67.0,
        solar_constant_w_m2,
        linke_turbidity: [3.0; 12],
        horizon: Horizon::open(),
    }
}

fn isotropic(mounting: Mounting) -> Array {
    Array {
        mounting,
        beam_iam: Iam::None,
        sky: Sky::Isotropic,
        albedo: 0.06,
    }
}

fn months_kwh_m2(day_wh_m2: impl Fn(usize) -> f64) -> Vec<f64> {
    MONTH_ENDS
        .windows(2)
        .map(|ends| (ends[0]..ends[1]).map(&day_wh_m2).sum::<f64>() / 1000.0)
        .collect()
}

#[test]
fn val_months_outside_the_atmosphere() {
    for case in list(&json("pvlib-sun-days.json"), "outside") {
        let year = SunYear::new(&site(number(case, "latitude_deg"), 1990, 1361.0)).unwrap();
        let expected = list(case, "months_kwh_m2");
        let closed = months_kwh_m2(|day| year.days()[day].extraterrestrial_wh_m2);
        let hourly = months_kwh_m2(|day| {
            let hours = &year.hours()[24 * day..24 * (day + 1)];
            hours.iter().map(|hour| hour.extraterrestrial_w_m2).sum()
        });
        for month in 0..12 {
            let expected = expected[month].as_f64().unwrap();
            close_relative(closed[month], expected, DAY_TOLERANCE);
            close_relative(hourly[month], expected, MIDDLE_TOLERANCE);
        }
    }
}

/// Must fail: Cooper's declination in place of the sun's.
#[test]
fn val_coopers_declination_fails() {
    let file = json("pvlib-sun-days.json");
    for (latitude_deg, month) in [(45.0, 9), (62.0, 10), (62.0, 1)] {
        let case = list(&file, "outside")
            .iter()
            .find(|case| number(case, "latitude_deg") == latitude_deg)
            .unwrap();
        let cooper = months_kwh_m2(|day| {
            let n = u16::try_from(day + 1).unwrap();
            let normal = extraterrestrial_w_m2(n, 1361.0).unwrap();
            daily_extraterrestrial_wh_m2(latitude_deg, cooper_deg(f64::from(n)), normal).unwrap()
        });
        let expected = list(case, "months_kwh_m2")[month].as_f64().unwrap();
        assert!((cooper[month] / expected - 1.0).abs() > 10.0 * DAY_TOLERANCE);
    }
}

#[test]
fn val_clear_days() {
    for case in list(&json("pvlib-sun-days.json"), "days") {
        let latitude_deg = number(case, "latitude_deg");
        let year = SunYear::new(&site(latitude_deg, 2023, SOLAR_CONSTANT_ASTM_E490_W_M2)).unwrap();
        let month = usize::try_from(case["month"].as_u64().unwrap()).unwrap();
        let first = 24 * (MONTH_ENDS[month - 1] + 20);
        let hours = first..first + 24;
        let sum = |of_hour: &dyn Fn(usize) -> f64| hours.clone().map(of_hour).sum::<f64>();
        let clear = |hour: usize| year.hours()[hour].clear;
        let plane = |mounting| {
            let plane = PlaneYear::new(&year, &isotropic(mounting)).unwrap();
            sum(&|hour| plane.hours()[hour].plane_from_components_w_m2(&clear(hour)))
        };
        let south = plane(Mounting::Fixed(vec![Face {
            tilt_deg: 60.0,
            azimuth_deg: 180.0,
        }]));
        let yaw = plane(Mounting::Yawing { tilt_deg: 60.0 });
        let haurwitz = sum(&|hour| haurwitz_w_m2(year.hours()[hour].apparent_zenith_deg).unwrap());
        close_relative(
            sum(&|hour| clear(hour).global_w_m2),
            number(case, "global_wh_m2"),
            SUM_TOLERANCE,
        );
        close_relative(haurwitz, number(case, "haurwitz_wh_m2"), SUM_TOLERANCE);
        close_relative(south, number(case, "south_60_wh_m2"), SUM_TOLERANCE);
        close_relative(yaw, number(case, "yaw_60_wh_m2"), YAW_TOLERANCE);
    }
}

struct Sample {
    zenith_deg: f64,
    azimuth_deg: f64,
    normal_w_m2: f64,
    clear: Components,
}

/// Samples of ten minutes over December 2023 at 60 deg north.
fn december() -> Vec<Sample> {
    let observer = at_sea(60.0);
    let mut samples = Vec::new();
    for day in 1..=31 {
        let normal_w_m2 =
            extraterrestrial_w_m2(334 + u16::from(day), SOLAR_CONSTANT_ASTM_E490_W_M2).unwrap();
        for step in 0..144_u8 {
            let hour_h = (f64::from(step) + 0.5) / 6.0;
            let instant = Instant::from_utc(2023, 12, day, hour_h, 67.0).unwrap();
            let sun = sun_position(instant, &observer).unwrap();
            let zenith_deg = sun.apparent_zenith_deg;
            let air_mass = relative_air_mass(zenith_deg).unwrap();
            let clear = ineichen_perez(zenith_deg, air_mass, 3.0, 0.0, normal_w_m2).unwrap();
            samples.push(Sample {
                zenith_deg,
                azimuth_deg: sun.azimuth_deg,
                normal_w_m2,
                clear,
            });
        }
    }
    samples
}

#[test]
fn val_december_of_60_degrees_north() {
    let file = json("pvlib-sun-days.json");
    let expected = &file["december"];
    let samples = december();
    let kwh = |of_sample: &dyn Fn(&Sample) -> f64| {
        samples.iter().map(of_sample).sum::<f64>() / 6.0 / 1000.0
    };
    let global = kwh(&|sample| sample.clear.global_w_m2);
    close_relative(global, number(expected, "global_kwh_m2"), SUM_TOLERANCE);
    let highest_deg = samples
        .iter()
        .map(|sample| 90.0 - sample.zenith_deg)
        .fold(0.0, f64::max);
    close(highest_deg, number(expected, "highest_elevation_deg"), 1e-5);
    let low = kwh(&|sample| {
        if sample.zenith_deg > 85.0 {
            sample.clear.global_w_m2
        } else {
            0.0
        }
    });
    close_relative(
        low / global,
        number(expected, "share_of_global_below_5_deg"),
        SUM_TOLERANCE,
    );

    // Must fail, and does: Haurwitz under a low sun gives two fifths too much.
    let haurwitz = kwh(&|sample| haurwitz_w_m2(sample.zenith_deg).unwrap());
    close_relative(haurwitz, number(expected, "haurwitz_kwh_m2"), SUM_TOLERANCE);
    assert!(haurwitz > 1.4 * global);

    let around = Horizon::new(&[(0.0, 5.0)]).unwrap();
    for plane in list(expected, "planes") {
        let tilt_deg = number(plane, "tilt_deg");
        let total = |cos: &dyn Fn(f64, f64) -> f64, seen: &dyn Fn(f64, f64) -> bool| {
            kwh(&|sample| {
                let (zenith_deg, azimuth_deg) = (sample.zenith_deg, sample.azimuth_deg);
                let parts = transpose(
                    &sample.clear,
                    sample.normal_w_m2,
                    zenith_deg,
                    tilt_deg,
                    cos(zenith_deg, azimuth_deg),
                    0.06,
                    Sky::Isotropic,
                )
                .unwrap();
                let beam = if seen(zenith_deg, azimuth_deg) {
                    parts.beam_w_m2
                } else {
                    0.0
                };
                beam + parts.sky_w_m2 + parts.ground_w_m2
            })
        };
        let facing = |direction_deg: f64| {
            total(
                &|zenith, azimuth| cos_incidence(tilt_deg, direction_deg, zenith, azimuth).unwrap(),
                &|_, _| true,
            )
        };
        let yaw = |zenith: f64, _: f64| mean_cos_incidence(tilt_deg, zenith).unwrap();
        let south = facing(180.0);
        close_relative(south, number(plane, "south_kwh_m2"), SUM_TOLERANCE);
        close_relative(facing(0.0), number(plane, "north_kwh_m2"), SUM_TOLERANCE);
        let turning = total(&yaw, &|_, _| true);
        close_relative(turning, number(plane, "yaw_kwh_m2"), YAW_TOLERANCE);
        let behind = total(&yaw, &|zenith, azimuth| {
            90.0 - zenith >= around.elevation_deg(azimuth).unwrap()
        });
        close_relative(
            behind,
            number(plane, "yaw_beam_above_5_deg_kwh_m2"),
            YAW_TOLERANCE,
        );
        // Must fail, and does: a panel on a yawing buoy counted as if it faced south.
        assert!(turning < 0.45 * south);
    }
}
