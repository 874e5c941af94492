//! Sound speed from temperature, salinity and pressure after Chen and Millero: the UNESCO equation.
//!
//! Source: C.-T. Chen and F. J. Millero, "Speed of sound in seawater at high pressures", J. Acoust. Soc. Am. 62, 1129 (1977),
//! as printed by N. P. Fofonoff and R. C. Millard, "Algorithms for computation of fundamental properties of seawater", UNESCO
//! Technical Papers in Marine Science 44 (1983).
//!
//! `c = Cw(T, P) + A(T, P) S + B(T, P) S^1.5 + D(P) S^2`
//!
//! T temperature on IPTS-68, degC; S practical salinity; P pressure in *bar* (a tenth of the decibars handed in); c in m/s.
//!
//! Validity: T 0 to 40, S 0 to 40, P 0 to 10 000 dbar. Accuracy: see docs/method/seawater.md; 0.14 m/s at worst in brackish
//! water of the upper 200 m against TEOS-10, but 0.7 m/s high at depth.

use crate::limits::{Limit, Method, SeaError, Variable};
use crate::temperature_scale::t68_from_t90_degc;

const TEMPERATURE: Limit = Limit::new(Variable::Temperature, 0.0, 40.0);
const SALINITY: Limit = Limit::new(Variable::Salinity, 0.0, 40.0);
const PRESSURE: Limit = Limit::new(Variable::Pressure, 0.0, 10_000.0);

const BAR_PER_DBAR: f64 = 0.1;

/// Coefficients of T^j (column) and P^i (row) in Cw.
const CW: [[f64; 6]; 4] = [
    [
        1402.388,
        5.03711,
        -5.80852e-2,
        3.3420e-4,
        -1.47800e-6,
        3.1464e-9,
    ],
    [0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10, 0.0],
    [
        3.1260e-5,
        -1.7107e-6,
        2.5974e-8,
        -2.5335e-10,
        1.0405e-12,
        0.0,
    ],
    [-9.7729e-9, 3.8504e-10, -2.3643e-12, 0.0, 0.0, 0.0],
];

/// Coefficients of T^j (column) and P^i (row) in A.
const A: [[f64; 5]; 4] = [
    [1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8],
    [9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10],
    [-3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12, 0.0],
    [1.100e-10, 6.649e-12, -3.389e-13, 0.0, 0.0],
];

/// Coefficients of T^j (column) and P^i (row) in B.
const B: [[f64; 2]; 2] = [[-1.922e-2, -4.42e-5], [7.3637e-5, 1.7945e-7]];

/// Coefficients of P^i in D.
const D: [f64; 2] = [1.727e-3, -7.9836e-6];

/// Sound speed in m/s after Chen and Millero 1977, from ITS-90 temperature (converted inside) and pressure in dbar.
///
/// Valid for 0 to 40 degC, salinity 0 to 40, pressure 0 to 10 000 dbar.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn sound_speed_chen_millero_m_s(
    temperature_degc: f64,
    salinity: f64,
    pressure_dbar: f64,
) -> Result<f64, SeaError> {
    TEMPERATURE.require(temperature_degc, Method::ChenMillero1977)?;
    SALINITY.require(salinity, Method::ChenMillero1977)?;
    PRESSURE.require(pressure_dbar, Method::ChenMillero1977)?;
    Ok(equation(
        t68_from_t90_degc(temperature_degc),
        salinity,
        pressure_dbar * BAR_PER_DBAR,
    ))
}

fn equation(t68: f64, s: f64, p_bar: f64) -> f64 {
    let cw = polynomial(&CW.map(|row| polynomial(&row, t68)), p_bar);
    let a = polynomial(&A.map(|row| polynomial(&row, t68)), p_bar);
    let b = polynomial(&B.map(|row| polynomial(&row, t68)), p_bar);
    let d = polynomial(&D, p_bar);
    cw + s * (a + b * s.sqrt() + d * s)
}

/// Horner's scheme; coefficients from the constant upwards.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod tests {
    use super::equation;

    /// Half a unit of the last printed digit.
    const PRINTED_M_S: f64 = 0.0005;
    /// Check value of the equation at S 40, T68 40 degC, 10 000 dbar. Source: header of the CalCOFI routine svel.c, which
    /// quotes Fofonoff and Millard 1983.
    const CHECK_M_S: f64 = 1731.995;

    #[test]
    fn val_chen_millero_published_check_value() {
        assert!((equation(40.0, 40.0, 1000.0) - CHECK_M_S).abs() < PRINTED_M_S);
    }

    /// The two known slips, temperature on the wrong scale and pressure in the wrong unit, must miss the check value.
    #[test]
    fn val_chen_millero_check_value_refuses_the_known_slips() {
        assert!((equation(40.0 * 1.00024, 40.0, 1000.0) - CHECK_M_S).abs() > 10.0 * PRINTED_M_S);
        assert!((equation(40.0, 40.0, 10_000.0) - CHECK_M_S).abs() > 100.0);
        assert!((equation(40.0, 40.0, 100.0) - CHECK_M_S).abs() > 100.0);
    }
}
