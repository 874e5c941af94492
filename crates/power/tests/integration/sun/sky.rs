//! Clear sky, clearness and what is outside the atmosphere, formula by formula:
//! `reference/power/pvlib-sun-clear-sky.csv` and `pvlib-sun-planes.json`.

use power::sun::{
    Instant, Observer, SOLAR_CONSTANT_ASTM_E490_W_M2, clearness_index, daily_diffuse_share,
    daily_extraterrestrial_wh_m2, extraterrestrial_w_m2, haurwitz_w_m2, hourly_components,
    hourly_diffuse_share, ineichen_perez, relative_air_mass, sun_position, sunset_hour_angle_deg,
};

use super::{close, close_relative, json, list, number, rows};

const ANGLE_TOLERANCE_DEG: f64 = 1e-6;
/// Rounding of the reference files.
const FORMULA_TOLERANCE: f64 = 1e-8;

#[test]
fn val_sun_air_mass_and_clear_sky() {
    for row in &rows("pvlib-sun-clear-sky.csv") {
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        let observer = Observer {
            latitude_deg: number("latitude_deg"),
            longitude_deg: 0.0,
            elevation_m: number("elevation_m"),
            pressure_pa: number("pressure_pa"),
            temperature_degc: 12.0,
        };
        let instant = Instant::from_utc(
            2023,
            row["month"].parse().unwrap(),
            row["day"].parse().unwrap(),
            number("hour_utc"),
            67.0,
        )
        .unwrap();
        let sun = sun_position(instant, &observer).unwrap();
        let zenith_deg = number("apparent_zenith_deg");
        close(
            sun.true_zenith_deg,
            number("true_zenith_deg"),
            ANGLE_TOLERANCE_DEG,
        );
        close(sun.apparent_zenith_deg, zenith_deg, ANGLE_TOLERANCE_DEG);
        close(sun.azimuth_deg, number("azimuth_deg"), ANGLE_TOLERANCE_DEG);

        let day = row["day_of_year"].parse().unwrap();
        let normal = extraterrestrial_w_m2(day, SOLAR_CONSTANT_ASTM_E490_W_M2).unwrap();
        close_relative(normal, number("normal_w_m2"), FORMULA_TOLERANCE);
        let air_mass = relative_air_mass(zenith_deg).unwrap();
        if row["air_mass"] == "none" {
            assert_eq!(air_mass, None);
        } else {
            close_relative(air_mass.unwrap(), number("air_mass"), FORMULA_TOLERANCE);
        }
        let haurwitz = haurwitz_w_m2(zenith_deg).unwrap();
        close_relative(haurwitz, number("haurwitz_w_m2"), FORMULA_TOLERANCE);
        let clear = ineichen_perez(
            zenith_deg,
            air_mass.map(|relative| relative * observer.pressure_pa / 101_325.0),
            number("linke_turbidity"),
            observer.elevation_m,
            normal,
        )
        .unwrap();
        close_relative(clear.global_w_m2, number("global_w_m2"), FORMULA_TOLERANCE);
        close_relative(
            clear.beam_normal_w_m2,
            number("beam_normal_w_m2"),
            FORMULA_TOLERANCE,
        );
        close_relative(
            clear.diffuse_w_m2,
            number("diffuse_w_m2"),
            FORMULA_TOLERANCE,
        );
    }
}

#[test]
fn val_hourly_split() {
    let file = json("pvlib-sun-planes.json");
    for case in list(&file, "erbs") {
        let zenith_deg = number(case, "zenith_deg");
        let global = number(case, "global_w_m2");
        let normal = extraterrestrial_w_m2(80, SOLAR_CONSTANT_ASTM_E490_W_M2).unwrap();
        let clearness = clearness_index(global, zenith_deg, normal).unwrap();
        close_relative(clearness, number(case, "clearness"), FORMULA_TOLERANCE);
        let split = hourly_components(global, zenith_deg, normal).unwrap();
        close_relative(
            split.beam_normal_w_m2,
            number(case, "beam_normal_w_m2"),
            FORMULA_TOLERANCE,
        );
        close_relative(
            split.diffuse_w_m2,
            number(case, "diffuse_w_m2"),
            FORMULA_TOLERANCE,
        );
    }
}

/// Erbs, Klein and Duffie 1982 by hand from the printed polynomials (equations 2.10.1 and 2.11.1 of Duffie and
/// Beckman).
#[test]
fn val_diffuse_shares() {
    for (clearness, share) in [
        (0.22, 0.9802),
        (0.3, 0.948_596),
        (0.5, 0.659_150),
        (0.7, 0.243_980),
    ] {
        close(hourly_diffuse_share(clearness), share, 1e-6);
    }
    assert_eq!(hourly_diffuse_share(0.81), 0.165);
    for (clearness, low_sun, high_sun) in [(0.4, 0.758_28, 0.758_44), (0.6, 0.353_37, 0.432_34)] {
        close(daily_diffuse_share(clearness, 60.0).unwrap(), low_sun, 1e-5);
        close(
            daily_diffuse_share(clearness, 90.0).unwrap(),
            high_sun,
            1e-5,
        );
    }
    assert_eq!(daily_diffuse_share(0.72, 81.4).unwrap(), 0.143);
    assert_eq!(daily_diffuse_share(0.73, 81.5).unwrap(), 0.175);
}

/// The wrong declination that the project does not use: Cooper's sine.
pub(super) fn cooper_deg(day_of_year: f64) -> f64 {
    23.45 * (360.0 * (284.0 + day_of_year) / 365.0).to_radians().sin()
}

/// 15 April at 43 deg north with the declination of the book: 33.8 MJ/m2 (Duffie and Beckman, example 1.10.1, from
/// memory).
#[test]
fn val_day_outside_the_atmosphere() {
    let normal = extraterrestrial_w_m2(105, 1367.0).unwrap();
    let day = daily_extraterrestrial_wh_m2(43.0, cooper_deg(105.0), normal).unwrap();
    close(day * 3600.0 / 1e6, 33.8, 0.05);
}

#[test]
fn verif_polar_day_and_night() {
    assert_eq!(sunset_hour_angle_deg(80.0, 20.0).unwrap(), 180.0);
    assert_eq!(sunset_hour_angle_deg(80.0, -20.0).unwrap(), 0.0);
    close(sunset_hour_angle_deg(0.0, 15.0).unwrap(), 90.0, 1e-12);
    assert_eq!(
        daily_extraterrestrial_wh_m2(80.0, -20.0, 1361.0).unwrap(),
        0.0
    );
    // All day at the pole the sun stands at its declination.
    let pole = daily_extraterrestrial_wh_m2(90.0, 23.0, 1361.0).unwrap();
    close_relative(pole, 24.0 * 1361.0 * 23_f64.to_radians().sin(), 1e-12);
}
