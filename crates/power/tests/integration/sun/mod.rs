//! Sun, sky and panels against `reference/power/pvlib-sun-*`, the printed worked examples, and second routes.

mod days;
mod declinations;
mod hours;
mod land;
mod planes;
mod position;
mod properties;
mod refusals;
mod sky;

use std::collections::BTreeMap;

use power::sun::Observer;
use serde_json::Value;

fn text(name: &str) -> String {
    truth::text(&format!("power/{name}"))
}

/// Rows of a CSV file by the names of its columns.
fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let text = text(name);
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let rows: Vec<_> = lines
        .map(|line| {
            let values: Vec<&str> = line.split(',').collect();
            assert_eq!(values.len(), names.len());
            names
                .iter()
                .zip(values)
                .map(|(name, value)| ((*name).to_owned(), value.to_owned()))
                .collect()
        })
        .collect();
    assert!(!rows.is_empty());
    rows
}

fn json(name: &str) -> Value {
    serde_json::from_str(&text(name)).unwrap()
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    let list = value[key].as_array().unwrap();
    assert!(!list.is_empty());
    list
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

#[track_caller]
fn close(ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance,
        "{ours} against {theirs}"
    );
}

#[track_caller]
fn close_relative(ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance * theirs.abs().max(1e-3),
        "{ours} against {theirs}"
    );
}

/// Sea level at longitude 0, air of 12 degC: the observer of most reference files.
fn at_sea(latitude_deg: f64) -> Observer {
    Observer {
        latitude_deg,
        longitude_deg: 0.0,
        elevation_m: 0.0,
        pressure_pa: 101_325.0,
        temperature_degc: 12.0,
    }
}
