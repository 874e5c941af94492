//! The precomputed year: `reference/power/pvlib-sun-hours.csv`, and the single functions as a second route.

use power::sun::{
    Array, Components, DAYS, Face, HOURS, Horizon, Iam, Instant, Mounting, Observer, PlaneYear,
    SOLAR_CONSTANT_ASTM_E490_W_M2, Site, Sky, SunYear, cos_incidence, hourly_components,
    sun_position, transpose,
};

use super::{close, rows};

/// Rounding of the reference file, and positions of the sun that differ by 1e-7 deg.
const IRRADIANCE_TOLERANCE_W_M2: f64 = 1e-5;
/// The reference turns the panel in 3600 steps.
const YAW_TOLERANCE_W_M2: f64 = 1e-4;

/// The site of the reference file.
fn site() -> Site {
    Site {
        observer: Observer {
            latitude_deg: 57.3,
            longitude_deg: -6.0,
            elevation_m: 5.0,
            pressure_pa: 101_000.0,
            temperature_degc: 9.0,
        },
        year: 1990,
        utc_offset_h: -1.0,
        delta_t_s: 67.0,
        solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
        linke_turbidity: [2.4, 2.6, 2.9, 3.2, 3.4, 3.5, 3.5, 3.4, 3.1, 2.8, 2.5, 2.4],
        horizon: Horizon::open(),
    }
}

fn face(tilt_deg: f64, azimuth_deg: f64) -> Face {
    Face {
        tilt_deg,
        azimuth_deg,
    }
}

fn array(mounting: Mounting, beam_iam: Iam, sky: Sky) -> Array {
    Array {
        mounting,
        beam_iam,
        sky,
        albedo: 0.06,
    }
}

#[test]
fn val_year_of_four_arrays() {
    let year = SunYear::new(&site()).unwrap();
    let plane = |mounting, iam, sky| PlaneYear::new(&year, &array(mounting, iam, sky)).unwrap();
    let south = plane(
        Mounting::Fixed(vec![face(60.0, 180.0)]),
        Iam::Ashrae { b: 0.05 },
        Sky::HayDavies,
    );
    let east_west = plane(
        Mounting::Fixed(vec![face(90.0, 90.0), face(90.0, 270.0)]),
        Iam::None,
        Sky::Isotropic,
    );
    let yaw_60 = plane(
        Mounting::Yawing { tilt_deg: 60.0 },
        Iam::None,
        Sky::Isotropic,
    );
    let yaw_45 = plane(
        Mounting::Yawing { tilt_deg: 45.0 },
        Iam::Physical,
        Sky::HayDavies,
    );
    let rows = rows("pvlib-sun-hours.csv");
    for row in &rows {
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        let index: usize = row["hour"].parse().unwrap();
        let sun = &year.hours()[index];
        close(
            sun.extraterrestrial_w_m2,
            number("extraterrestrial_w_m2"),
            IRRADIANCE_TOLERANCE_W_M2,
        );
        close(
            sun.clear.global_w_m2,
            number("clear_global_w_m2"),
            IRRADIANCE_TOLERANCE_W_M2,
        );
        let global = number("global_w_m2");
        let components = Components {
            global_w_m2: global,
            beam_normal_w_m2: number("beam_normal_w_m2"),
            diffuse_w_m2: number("diffuse_w_m2"),
        };
        for (plane, name, tolerance) in [
            (&south, "south_60_w_m2", IRRADIANCE_TOLERANCE_W_M2),
            (&east_west, "east_west_90_w_m2", IRRADIANCE_TOLERANCE_W_M2),
            (&yaw_60, "yaw_60_w_m2", YAW_TOLERANCE_W_M2),
            (&yaw_45, "yaw_45_w_m2", YAW_TOLERANCE_W_M2),
        ] {
            let hour = &plane.hours()[index];
            close(hour.plane_w_m2(global), number(name), tolerance);
            close(
                hour.plane_from_components_w_m2(&components),
                number(name),
                tolerance,
            );
        }
    }
    assert!(rows.len() > 400);
}

/// The sun of each hour is to the last bit that of its instant by itself, though the course is worked out once for all places.
#[test]
fn verif_the_sun_of_an_hour_is_that_of_its_instant() {
    let site = site();
    let year = SunYear::new(&site).unwrap();
    for (index, hour) in year.hours().iter().enumerate().step_by(97) {
        let (day, hour_h) = (index / 24, (index % 24) as f64 + 0.5);
        // 1990-01-01 begins 2447892.5 days after the Julian epoch; a year without a leap day.
        let begins_d = 2_447_892.5 + day as f64;
        let at_d = begins_d + (hour_h - site.utc_offset_h) / 24.0;
        let instant = Instant::from_julian_day(at_d, site.delta_t_s).unwrap();
        let sun = sun_position(instant, &site.observer).unwrap();
        assert_eq!(
            [sun.apparent_zenith_deg, sun.azimuth_deg, sun.hour_angle_deg],
            [
                hour.apparent_zenith_deg,
                hour.azimuth_deg,
                hour.hour_angle_deg
            ],
            "hour {index}"
        );
    }
}

/// The single functions, hour by hour, with a horizon.
#[test]
fn verif_year_against_single_functions() {
    let mut site = site();
    site.horizon = Horizon::new(&[(0.0, 3.0), (120.0, 0.0), (200.0, 9.0)]).unwrap();
    let year = SunYear::new(&site).unwrap();
    let fixed = array(
        Mounting::Fixed(vec![face(35.0, 150.0)]),
        Iam::Physical,
        Sky::Isotropic,
    );
    let plane = PlaneYear::new(&year, &fixed).unwrap();
    let sky_share = site.horizon.sky_share(35.0, 150.0).unwrap();
    let mut hidden_by_land = 0;
    for (sun, hour) in year.hours().iter().zip(plane.hours()) {
        let global = 0.55 * sun.extraterrestrial_w_m2;
        let split = hourly_components(global, sun.apparent_zenith_deg, sun.normal_w_m2).unwrap();
        let cos = cos_incidence(35.0, 150.0, sun.apparent_zenith_deg, sun.azimuth_deg).unwrap();
        let open = transpose(
            &split,
            sun.normal_w_m2,
            sun.apparent_zenith_deg,
            35.0,
            cos,
            0.06,
            Sky::Isotropic,
        )
        .unwrap();
        let elevation_deg = 90.0 - sun.apparent_zenith_deg;
        let above = elevation_deg >= site.horizon.elevation_deg(sun.azimuth_deg).unwrap();
        assert_eq!(sun.hidden, elevation_deg <= 0.0 || !above);
        hidden_by_land += usize::from(sun.hidden && elevation_deg > 0.0);
        let beam = if sun.hidden {
            0.0
        } else {
            open.beam_w_m2 * Iam::Physical.modifier(cos).unwrap()
        };
        let expected = beam + split.diffuse_w_m2 * sky_share + open.ground_w_m2;
        close(hour.plane_w_m2(global), expected, 1e-9);
    }
    assert!(hidden_by_land > 100);
}

/// A leap year's calendar is that of its 365 other days; hours and days agree on the month.
#[test]
fn verif_calendar() {
    let mut site = site();
    site.year = 2024;
    let year = SunYear::new(&site).unwrap();
    assert_eq!(year.hours().len(), HOURS);
    assert_eq!(year.days().len(), DAYS);
    let lengths: Vec<usize> = (0..12)
        .map(|month| year.days().iter().filter(|day| day.month == month).count())
        .collect();
    assert_eq!(lengths, [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]);
    assert!(
        year.hours()
            .chunks(24)
            .zip(year.days())
            .all(|(hours, day)| { hours.iter().all(|hour| hour.month == day.month) })
    );
    // The sun crosses the meridian 6 W with 36 minutes between it and the zone's, and at most 17 of the equation of time.
    for noon in year.hours().chunks(24).map(|hours| &hours[11]) {
        assert!(noon.hour_angle_deg.abs() < 12.5);
    }
}

/// A station may report beam light while the middle of the hour has the sun down, or behind land at the site: the array has
/// none of it, and no light from around the sun.
#[test]
fn verif_no_beam_from_a_hidden_sun() {
    let mut site = site();
    site.horizon = Horizon::new(&[(0.0, 8.0)]).unwrap();
    let year = SunYear::new(&site).unwrap();
    let fixed = array(
        Mounting::Fixed(vec![face(90.0, 135.0)]),
        Iam::None,
        Sky::HayDavies,
    );
    let plane = PlaneYear::new(&year, &fixed).unwrap();
    let sky_share = site.horizon.sky_share(90.0, 135.0).unwrap();
    let measured = Components {
        global_w_m2: 30.0,
        beam_normal_w_m2: 140.0,
        diffuse_w_m2: 20.0,
    };
    let ground = 30.0 * 0.06 * 0.5;
    let (mut down, mut behind_land) = (0, 0);
    for (sun, hour) in year.hours().iter().zip(plane.hours()) {
        let ours = hour.plane_from_components_w_m2(&measured);
        if sun.apparent_zenith_deg > 90.0 {
            close(ours, 20.0 * sky_share + ground, 1e-12);
            down += 1;
        } else if sun.hidden {
            let even = 1.0 - 140.0 / sun.normal_w_m2;
            close(ours, 20.0 * even * sky_share + ground, 1e-12);
            behind_land += 1;
        }
    }
    assert!(down > 4000 && behind_land > 400);
}

/// With one factor missing nothing is made up: not a number stays so.
#[test]
fn verif_not_a_number_is_not_repaired() {
    let year = SunYear::new(&site()).unwrap();
    let yawing = array(
        Mounting::Yawing { tilt_deg: 60.0 },
        Iam::None,
        Sky::HayDavies,
    );
    let plane = PlaneYear::new(&year, &yawing).unwrap();
    for hour in plane.hours() {
        assert!(hour.plane_w_m2(f64::NAN).is_nan());
        assert_eq!(hour.plane_w_m2(0.0), 0.0);
    }
}
