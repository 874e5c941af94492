//! Synthetic sounds as pure functions of time.
//!
//! A value is a pressure in uPa as at 1 m from the source (the source level's reference), so that a caller who divides by
//! distance and delays by the travel time hears a moving source. Any real time may be asked for, in any order.

mod click;
mod hum;
mod sweep;

pub use click::ClickTrain;
pub use hum::{BladeModulation, Hum, Tonal, Tone};
pub use sweep::{PulseTrain, Sweep};

use crate::error::SynthError;

fn positive(what: &'static str, value: f64, unit: &'static str) -> Result<f64, SynthError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(SynthError::Value {
            what,
            value,
            unit,
            expected: "a finite positive number",
        })
    }
}

fn finite(what: &'static str, value: f64, unit: &'static str) -> Result<f64, SynthError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(SynthError::Value {
            what,
            value,
            unit,
            expected: "a finite number",
        })
    }
}

/// Where `below` turns from true to false between two places, by 60 halvings.
fn turning_point(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

fn pressure_upa(level_db_re_1upa: f64) -> f64 {
    libm::pow(10.0, level_db_re_1upa / 20.0)
}
