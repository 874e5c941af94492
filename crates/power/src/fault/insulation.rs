//! Insulation that leaks along its whole length.
//!
//! A line with series resistance r and leakage conductance g for each metre, at rest: `V'' = r g V`. With the whole series
//! resistance R and the whole leakage resistance S, `theta = sqrt(R/S)`, `Z = sqrt(R S)` (the telegrapher's equations
//! without inductance and capacitance; Heaviside; from memory): the sending end sees `Z` over `tanh(theta)` when open, and
//! in general `V_s = V_e cosh(theta) + I_e Z sinh(theta)`, `I_s = I_e cosh(theta) + V_e sinh(theta)/Z`.
//!
//! Between two conductors of which each leaks to the water, S is twice what one conductor has against it. A tester reads one
//! conductor against the water: all spans side by side, their series resistance being nothing beside it.

use thiserror::Error;

/// A leaky line at rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakyLine {
    /// Current sent in, A.
    pub sent_a: f64,
    /// Voltage at the far end, V.
    pub end_v: f64,
    /// Current lost on the way, A.
    pub leaked_a: f64,
}

/// Why a leak has no answer.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum LeakError {
    /// A number is out of its range.
    #[error("{quantity} is {value}, must be {wanted}")]
    BadValue {
        /// Name of the quantity with its unit.
        quantity: &'static str,
        /// The number given.
        value: f64,
        /// The range it must lie in.
        wanted: &'static str,
    },
}

/// Ends of a line of `series_ohm` (the whole loop) whose conductors leak `shunt_ohm` (the whole, between them) into each
/// other, fed with `sent_v`, with a resistor at the far end, or open.
///
/// All above zero and finite, `series_ohm` zero or more. Errors: a number out of range. Source: see the head of this module.
pub fn leaky_line(
    sent_v: f64,
    series_ohm: f64,
    shunt_ohm: f64,
    end_ohm: Option<f64>,
) -> Result<LeakyLine, LeakError> {
    above_zero("sent_v", sent_v)?;
    above_zero("shunt_ohm", shunt_ohm)?;
    let end_s = match end_ohm {
        Some(ohm) => 1.0 / above_zero("end_ohm", ohm)?,
        None => 0.0,
    };
    if !(series_ohm.is_finite() && series_ohm >= 0.0) {
        return Err(LeakError::BadValue {
            quantity: "series_ohm",
            value: series_ohm,
            wanted: "finite and zero or more",
        });
    }
    let theta = (series_ohm / shunt_ohm).sqrt();
    // Z tanh(theta) and tanh(theta) / Z, whose limits for no series resistance are 0 and 1 / S.
    let slope = if theta > 0.0 {
        libm::tanh(theta) / theta
    } else {
        1.0
    };
    let (along_ohm, across_s) = (series_ohm * slope, slope / shunt_ohm);
    let end_v = sent_v / (libm::cosh(theta) * (1.0 + along_ohm * end_s));
    let sent_a = sent_v * (end_s + across_s) / (1.0 + along_ohm * end_s);
    Ok(LeakyLine {
        sent_a,
        end_v,
        leaked_a: sent_a - end_v * end_s,
    })
}

/// What a tester reads of one conductor against the water, ohm: spans of a length in metres whose conductor has the second
/// figure for one kilometre. All above zero; `None` for no spans.
///
/// Errors: a number out of range.
pub fn insulation_reading_ohm(spans: &[(f64, f64)]) -> Result<Option<f64>, LeakError> {
    let mut leak_s = 0.0;
    for &(length_m, one_km_ohm) in spans {
        above_zero("length_m", length_m)?;
        leak_s += length_m / 1000.0 / above_zero("one_km_ohm", one_km_ohm)?;
    }
    Ok((!spans.is_empty()).then(|| 1.0 / leak_s))
}

pub(super) fn above_zero(quantity: &'static str, value: f64) -> Result<f64, LeakError> {
    if value.is_finite() && value > 0.0 {
        return Ok(value);
    }
    Err(LeakError::BadValue {
        quantity,
        value,
        wanted: "finite and above zero",
    })
}
