//! Test signals and reference files.

use serde_json::Value;

/// Uniform numbers in -0.5 to 0.5 on a 16-bit grid: the generator of `reference/make/signal_filters.py`.
pub(crate) fn lcg(count: usize) -> Vec<f32> {
    let mut value = 1_u64;
    (0..count)
        .map(|_| {
            value = value
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            ((value >> 48) as f64 / 65536.0 - 0.5) as f32
        })
        .collect()
}

/// Nearly normal numbers by index: twelve uniform ones of a hashed counter, less six.
pub(crate) fn gaussian(index: u64) -> f64 {
    let mut state = index.wrapping_mul(0x9E3779B97F4A7C15) ^ 0xD1B54A32D192ED03;
    let mut sum = -6.0;
    for _ in 0..12 {
        state = state.wrapping_add(0x9E3779B97F4A7C15);
        let mut z = (state ^ (state >> 30)).wrapping_mul(0xBF58476D1CE4E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D049BB133111EB);
        sum += ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
    }
    sum
}

pub(crate) fn sine(f_hz: f64, rate_hz: f64, amplitude: f64, count: usize) -> Vec<f32> {
    let w = 2.0 * std::f64::consts::PI * f_hz / rate_hz;
    (0..count)
        .map(|i| (amplitude * (w * i as f64).sin()) as f32)
        .collect()
}

/// Filters and one spectrum by SciPy.
pub(crate) fn reference() -> Value {
    truth::json("signal/scipy-filters.json")
}

/// What the formulas of the standards give, by NumPy.
pub(crate) fn standards() -> Value {
    truth::json("signal/numpy-standards.json")
}

#[track_caller]
pub(crate) fn number(of: &Value, name: &str) -> f64 {
    of[name]
        .as_f64()
        .unwrap_or_else(|| panic!("{name} is no number"))
}

pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

#[track_caller]
pub(crate) fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found}, expected {expected} within {tolerance}"
    );
}
