//! Weather and battery against `reference/power/*`, handbook figures, and second routes.

mod battery;
mod files;
mod weather;

use std::io::Write;

use power::sun::{Horizon, Observer, SOLAR_CONSTANT_ASTM_E490_W_M2, Site, SunYear};
use power::weather::{WeatherHour, parse_tmy3};
use serde_json::Value;

fn reference(name: &str) -> String {
    let path = format!(
        "{}/../../reference/power/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(&path).unwrap()
}

/// The numbers of a CSV file, row by row.
fn numbers(name: &str) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<f64>> = reference(name)
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| {
            line.split(',')
                .map(|field| field.parse().unwrap())
                .collect()
        })
        .collect();
    assert!(!rows.is_empty());
    rows
}

fn document(name: &str) -> Value {
    serde_json::from_str(&reference(name)).unwrap()
}

fn twelve(value: &Value) -> [f64; 12] {
    let values: Vec<f64> = value
        .as_array()
        .unwrap()
        .iter()
        .map(|value| value.as_f64().unwrap())
        .collect();
    values.try_into().unwrap()
}

#[track_caller]
fn within(ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance,
        "{ours} against {theirs}, tolerance {tolerance}"
    );
}

/// A file that `reference/fetch.py` fetches, or `None` after saying that the check is skipped. Where fetched files are
/// required (in continuous integration and with `SOUNDLINE_REQUIRE_RECORDINGS=1`) a missing one fails the check.
fn fetched(check: &str, name: &str) -> Option<String> {
    let path = format!(
        "{}/../../fetched/weather/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    if let Ok(text) = std::fs::read_to_string(path) {
        return Some(text);
    }
    let set = |variable, value| std::env::var(variable).is_ok_and(|found| found == value);
    let required = set("CI", "true") || set("SOUNDLINE_REQUIRE_RECORDINGS", "1");
    assert!(!required, "{check} needs {name}: run reference/fetch.py");
    // Straight to the stream: the test harness would swallow what a passing test prints.
    let line = format!("\nSKIPPED: {check} ({name} not fetched)\n");
    std::io::stdout().write_all(line.as_bytes()).unwrap();
    None
}

/// The hours of 703165TY.csv.
fn sand_point_hours(check: &str) -> Option<Vec<WeatherHour>> {
    let file = parse_tmy3(&fetched(check, "703165TY.csv")?).unwrap();
    let place = file.place.unwrap();
    assert_eq!(place.name, "SAND POINT");
    assert_eq!(
        (place.latitude_deg, place.longitude_deg, place.elevation_m),
        (55.317, -160.517, 7.0)
    );
    assert_eq!((file.utc_offset_h, file.left_out_hours), (-9.0, 0));
    Some(file.hours)
}

/// Sand Point, Alaska, as the head of 703165TY.csv gives it.
fn sand_point_sun() -> SunYear {
    SunYear::new(&Site {
        observer: Observer {
            latitude_deg: 55.317,
            longitude_deg: -160.517,
            elevation_m: 7.0,
            pressure_pa: 101_325.0,
            temperature_degc: 12.0,
        },
        year: 1990,
        utc_offset_h: -9.0,
        delta_t_s: 67.0,
        solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
        linke_turbidity: [3.0; 12],
        horizon: Horizon::open(),
    })
    .unwrap()
}
