//! Checking single numbers.

use crate::error::SpecError;

/// Longest time that any setting may span, s: a year. Beyond it memory and sample counts make no sense.
const LONGEST_TIME_S: f64 = 366.0 * 86_400.0;

/// Nearest whole number of samples. The caller has checked that the time lies between zero and a year.
pub(crate) fn samples(time_s: f64, rate_hz: f64) -> u64 {
    libm::round(time_s * rate_hz) as u64
}

pub(super) fn finite(stage: usize, name: &'static str, value: f64) -> Result<(), SpecError> {
    if value.is_finite() {
        Ok(())
    } else {
        Err(SpecError::NotFinite { stage, name, value })
    }
}

pub(super) fn positive(stage: usize, name: &'static str, value_s: f64) -> Result<f64, SpecError> {
    if value_s > 0.0 {
        not_negative(stage, name, value_s)
    } else {
        Err(SpecError::NotPositive {
            stage,
            name,
            value: value_s,
            unit: "s",
        })
    }
}

pub(super) fn not_negative(
    stage: usize,
    name: &'static str,
    value_s: f64,
) -> Result<f64, SpecError> {
    if value_s.is_nan() || value_s < 0.0 {
        return Err(SpecError::Negative {
            stage,
            name,
            value_s,
        });
    }
    if value_s > LONGEST_TIME_S {
        return Err(SpecError::TimeTooLong {
            stage,
            name,
            value_s,
            most_s: LONGEST_TIME_S,
        });
    }
    Ok(value_s)
}

pub(super) fn positive_hz(
    stage: usize,
    name: &'static str,
    value_hz: f64,
) -> Result<(), SpecError> {
    if value_hz > 0.0 && value_hz.is_finite() {
        Ok(())
    } else {
        Err(SpecError::NotPositive {
            stage,
            name,
            value: value_hz,
            unit: "Hz",
        })
    }
}
