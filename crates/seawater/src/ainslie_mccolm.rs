//! Absorption of sound in seawater after Ainslie and McColm: the cross-check.
//!
//! Source: M. A. Ainslie and J. G. McColm, "A simplified formula for viscous and chemical absorption in sea water", J. Acoust.
//! Soc. Am. 103, 1671 (1998). Coefficients and ranges are from memory: no readable copy was found. It is a refit of the
//! Francois and Garrison formula, so agreement between the two checks the arithmetic rather than the sea.
//!
//! `f1 = 0.78 sqrt(S / 35) e^(T / 26)`, `f2 = 42 e^(T / 17)`
//! `alpha = 0.106 f1 f^2 / (f1^2 + f^2) e^((pH - 8) / 0.56) + 0.52 (1 + T / 43) (S / 35) f2 f^2 / (f2^2 + f^2) e^(-z / 6)
//!          + 0.00049 f^2 e^-(T / 27 + z / 17)`
//!
//! f frequency, kHz; T temperature, degC; S practical salinity; z depth, *km*; alpha dB/km.
//!
//! Validity (from memory): T -6 to 35, S 5 to 50, z 0 to 7 km, pH 7.7 to 8.3, f 100 Hz to 1 MHz.
//! Accuracy: within 10 % of Francois and Garrison over most of that range (docs/method/seawater.md).

use crate::limits::{Limit, Method, SeaError, Variable};

const FREQUENCY: Limit = Limit::new(Variable::Frequency, 100.0, 1e6);
const TEMPERATURE: Limit = Limit::new(Variable::Temperature, -6.0, 35.0);
const SALINITY: Limit = Limit::new(Variable::Salinity, 5.0, 50.0);
const DEPTH: Limit = Limit::new(Variable::Depth, 0.0, 7000.0);
const PH: Limit = Limit::new(Variable::Ph, 7.7, 8.3);

/// Absorption in dB/km after Ainslie and McColm 1998.
///
/// Valid for 100 Hz to 1 MHz, -6 to 35 degC, salinity 5 to 50, depth 0 to 7000 m, pH 7.7 to 8.3.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn absorption_ainslie_mccolm_db_per_km(
    frequency_hz: f64,
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
    ph: f64,
) -> Result<f64, SeaError> {
    FREQUENCY.require(frequency_hz, Method::AinslieMccolm1998)?;
    TEMPERATURE.require(temperature_degc, Method::AinslieMccolm1998)?;
    SALINITY.require(salinity, Method::AinslieMccolm1998)?;
    DEPTH.require(depth_m, Method::AinslieMccolm1998)?;
    PH.require(ph, Method::AinslieMccolm1998)?;
    Ok(equation(
        frequency_hz * 1e-3,
        temperature_degc,
        salinity,
        depth_m * 1e-3,
        ph,
    ))
}

fn equation(f_khz: f64, t: f64, s: f64, z_km: f64, ph: f64) -> f64 {
    let ff = f_khz * f_khz;
    let f1 = 0.78 * (s / 35.0).sqrt() * libm::exp(t / 26.0);
    let f2 = 42.0 * libm::exp(t / 17.0);
    let boric = 0.106 * f1 * ff / (f1 * f1 + ff) * libm::exp((ph - 8.0) / 0.56);
    let sulphate =
        0.52 * (1.0 + t / 43.0) * (s / 35.0) * f2 * ff / (f2 * f2 + ff) * libm::exp(-z_km / 6.0);
    let water = 0.00049 * ff * libm::exp(-(t / 27.0 + z_km / 17.0));
    boric + sulphate + water
}
