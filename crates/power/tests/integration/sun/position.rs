//! Position of the sun: the report's worked example, and `reference/power/pvlib-sun-positions.csv`.

use power::sun::{Instant, Observer, incidence_deg, sun_position};

use super::{close, rows};

/// Rounding of the reference file is 5e-10; a Julian day resolves 0.04 ms, 2e-7 deg.
const ANGLE_TOLERANCE_DEG: f64 = 1e-6;
const DISTANCE_TOLERANCE_AU: f64 = 1e-9;

/// NREL/TP-560-34302, the example of its table A5.1: 17 October 2003, 12:30:30 at seven hours behind UTC. Zenith,
/// azimuth and incidence are quoted by three public programs with these digits; declination and radius vector are from
/// memory.
#[test]
fn val_worked_example_of_the_report() {
    let instant = Instant::from_utc(2003, 10, 17, 19.0 + 30.5 / 60.0, 67.0).unwrap();
    close(instant.julian_day_ut(), 2_452_930.312_847, 5e-7);
    let observer = Observer {
        latitude_deg: 39.742_476,
        longitude_deg: -105.1786,
        elevation_m: 1830.14,
        pressure_pa: 82_000.0,
        temperature_degc: 11.0,
    };
    let sun = sun_position(instant, &observer).unwrap();
    close(sun.apparent_zenith_deg, 50.111_62, 5e-6);
    close(sun.azimuth_deg, 194.340_24, 5e-6);
    let incidence = incidence_deg(30.0, 170.0, sun.apparent_zenith_deg, sun.azimuth_deg).unwrap();
    close(incidence, 25.187_00, 5e-6);
    close(sun.declination_deg, -9.316_179, 5e-7);
    close(sun.distance_au, 0.996_542_297_4, 5e-11);
}

#[test]
fn val_positions_from_pole_to_pole() {
    let rows = rows("pvlib-sun-positions.csv");
    for row in &rows {
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        let instant = Instant::from_utc(
            row["year"].parse().unwrap(),
            row["month"].parse().unwrap(),
            row["day"].parse().unwrap(),
            number("hour_utc"),
            number("delta_t_s"),
        )
        .unwrap();
        let observer = Observer {
            latitude_deg: number("latitude_deg"),
            longitude_deg: number("longitude_deg"),
            elevation_m: number("elevation_m"),
            pressure_pa: number("pressure_pa"),
            temperature_degc: number("temperature_degc"),
        };
        let sun = sun_position(instant, &observer).unwrap();
        close(
            sun.true_zenith_deg,
            number("true_zenith_deg"),
            ANGLE_TOLERANCE_DEG,
        );
        close(
            sun.apparent_zenith_deg,
            number("apparent_zenith_deg"),
            ANGLE_TOLERANCE_DEG,
        );
        close(
            sun.distance_au,
            number("distance_au"),
            DISTANCE_TOLERANCE_AU,
        );
        let turn = (sun.azimuth_deg - number("azimuth_deg") + 180.0).rem_euclid(360.0) - 180.0;
        let across = turn * sun.true_zenith_deg.to_radians().sin();
        close(across, 0.0, ANGLE_TOLERANCE_DEG);
    }
    assert_eq!(rows.len(), 241);
}

/// Noon of 1 January 2000 is Julian day 2451545; 27 January 1987 began with 2446822.5 (Meeus, from memory).
#[test]
fn val_julian_days() {
    for (year, month, day, hour, expected) in [
        (2000, 1, 1, 12.0, 2_451_545.0),
        (1987, 1, 27, 0.0, 2_446_822.5),
        (1600, 1, 1, 0.0, 2_305_447.5),
        (1600, 12, 31, 0.0, 2_305_812.5),
    ] {
        let instant = Instant::from_utc(year, month, day, hour, 60.0).unwrap();
        assert_eq!(instant.julian_day_ut(), expected);
    }
}
