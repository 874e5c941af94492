//! Density of seawater, international equation of state 1980 (EOS-80).
//!
//! Source: F. J. Millero and A. Poisson (1981) for one atmosphere and F. J. Millero, C.-T. Chen, A. Bradshaw and K. Schleicher
//! (1980) for the secant bulk modulus, as printed by Fofonoff and Millard 1983, UNESCO Technical Papers 44. The coefficients
//! of the bulk modulus are from memory; the published check values below hold them.
//!
//! `rho = rho0(S, T) / (1 - P / K(S, T, P))`
//!
//! T temperature on IPTS-68, degC; S practical salinity; P pressure in *bar* (a tenth of the decibars handed in); rho kg/m3.
//!
//! Validity: T -2 to 40, S 0 to 42, P 0 to 10 000 dbar (from memory). Accuracy: 0.009 kg/m3 as published (from memory).

use crate::limits::{Limit, Method, SeaError, Variable};
use crate::temperature_scale::t68_from_t90_degc;

const TEMPERATURE: Limit = Limit::new(Variable::Temperature, -2.0, 40.0);
const SALINITY: Limit = Limit::new(Variable::Salinity, 0.0, 42.0);
const PRESSURE: Limit = Limit::new(Variable::Pressure, 0.0, 10_000.0);

const BAR_PER_DBAR: f64 = 0.1;

/// Density in kg/m3 from ITS-90 temperature (converted inside), practical salinity and pressure in dbar.
///
/// Valid for -2 to 40 degC, salinity 0 to 42, pressure 0 to 10 000 dbar.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn density_kg_m3(
    temperature_degc: f64,
    salinity: f64,
    pressure_dbar: f64,
) -> Result<f64, SeaError> {
    TEMPERATURE.require(temperature_degc, Method::Eos80)?;
    SALINITY.require(salinity, Method::Eos80)?;
    PRESSURE.require(pressure_dbar, Method::Eos80)?;
    Ok(equation(
        t68_from_t90_degc(temperature_degc),
        salinity,
        pressure_dbar * BAR_PER_DBAR,
    ))
}

fn equation(t68: f64, s: f64, p_bar: f64) -> f64 {
    surface_density(t68, s) / (1.0 - p_bar / bulk_modulus_bar(t68, s, p_bar))
}

fn surface_density(t: f64, s: f64) -> f64 {
    let pure = 999.842594
        + t * (6.793952e-2
            + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9))));
    let a = 0.824493 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)));
    let b = -5.72466e-3 + t * (1.0227e-4 + t * -1.6546e-6);
    pure + s * (a + b * s.sqrt() + 4.8314e-4 * s)
}

fn bulk_modulus_bar(t: f64, s: f64, p_bar: f64) -> f64 {
    let root_s = s.sqrt();
    let at_surface = 19652.21
        + t * (148.4206 + t * (-2.327105 + t * (1.360477e-2 + t * -5.155288e-5)))
        + s * (54.6746 + t * (-0.603459 + t * (1.09987e-2 + t * -6.1670e-5)))
        + s * root_s * (7.944e-2 + t * (1.6483e-2 + t * -5.3009e-4));
    let a = 3.239908
        + t * (1.43713e-3 + t * (1.16092e-4 + t * -5.77905e-7))
        + s * (2.2838e-3 + t * (-1.0981e-5 + t * -1.6078e-6) + 1.91075e-4 * root_s);
    let b = 8.50935e-5
        + t * (-6.12293e-6 + t * 5.2787e-8)
        + s * (-9.9348e-7 + t * (2.0816e-8 + t * 9.1697e-10));
    at_surface + p_bar * (a + b * p_bar)
}

#[cfg(test)]
mod tests {
    use super::equation;

    /// One unit of the last printed digit: the source cuts digits off (the last value is 59.820377 above 1000, printed
    /// 59.82037).
    const PRINTED_KG_M3: f64 = 0.000_01;

    /// Check values of Fofonoff and Millard 1983 at (S, T68, P bar), from memory.
    const CHECKS: [(f64, f64, f64, f64); 5] = [
        (0.0, 5.0, 0.0, 999.96675),
        (0.0, 5.0, 1000.0, 1044.12802),
        (35.0, 25.0, 0.0, 1023.34306),
        (35.0, 25.0, 1000.0, 1062.53817),
        (40.0, 40.0, 1000.0, 1059.82037),
    ];

    #[test]
    fn val_eos80_published_check_values() {
        for (s, t68, p_bar, expected_kg_m3) in CHECKS {
            let computed_kg_m3 = equation(t68, s, p_bar);
            assert!(
                (computed_kg_m3 - expected_kg_m3).abs() < PRINTED_KG_M3,
                "{s} {t68} {p_bar}: {computed_kg_m3}"
            );
        }
    }

    /// Temperature on the wrong scale, or pressure in the wrong unit, must miss the check values.
    #[test]
    fn val_eos80_check_values_refuse_the_known_slips() {
        for (s, t68, p_bar, expected_kg_m3) in CHECKS.into_iter().filter(|c| c.1 > 20.0) {
            let miss_kg_m3 = (equation(t68 * 1.00024, s, p_bar) - expected_kg_m3).abs();
            assert!(miss_kg_m3 > 50.0 * PRINTED_KG_M3, "{miss_kg_m3}");
        }
        for (s, t68, p_bar, expected_kg_m3) in CHECKS.into_iter().filter(|c| c.2 > 0.0) {
            let miss_kg_m3 = (equation(t68, s, p_bar * 0.1) - expected_kg_m3).abs();
            assert!(miss_kg_m3 > 1.0, "{miss_kg_m3}");
        }
    }
}
