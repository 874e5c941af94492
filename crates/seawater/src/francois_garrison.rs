//! Absorption of sound in seawater after Francois and Garrison: the default.
//!
//! Source: R. E. Francois and G. R. Garrison, "Sound absorption based on ocean measurements. Part II: Boric acid contribution
//! and equation for total absorption", J. Acoust. Soc. Am. 72, 1879 (1982). The coefficients are from memory: no table of the
//! paper could be read. The two branches of A3 join at 20 degC, which rules out two misprints in circulation.
//!
//! `alpha = A1 P1 f1 f^2 / (f^2 + f1^2) + A2 P2 f2 f^2 / (f^2 + f2^2) + A3 P3 f^2`
//! - boric acid: `A1 = 8.86 / c 10^(0.78 pH - 5)`, `P1 = 1`, `f1 = 2.8 sqrt(S / 35) 10^(4 - 1245 / (273 + T))`
//! - magnesium sulphate: `A2 = 21.44 S / c (1 + 0.025 T)`, `P2 = 1 - 1.37e-4 D + 6.2e-9 D^2`,
//!   `f2 = 8.17 10^(8 - 1990 / (273 + T)) / (1 + 0.0018 (S - 35))`
//! - pure water: `A3 = 4.937e-4 - 2.59e-5 T + 9.11e-7 T^2 - 1.50e-8 T^3` up to 20 degC,
//!   `3.964e-4 - 1.146e-5 T + 1.45e-7 T^2 - 6.5e-10 T^3` above, `P3 = 1 - 3.83e-5 D + 4.9e-10 D^2`
//! - `c = 1412 + 3.21 T + 1.19 S + 0.0167 D`
//!
//! f frequency, kHz; T temperature, degC; S practical salinity; D depth, m; c sound speed, m/s; alpha dB/km.
//!
//! Validity: 200 Hz to 1 MHz in all oceanic conditions (the paper's abstract). The abstract gives no numbers for the
//! conditions; the ones below are ours. Below 200 Hz and in brackish water the relaxation law is carried on with a warning: at
//! 100 Hz the loss is 0.001 dB/km, too small to matter within 100 km.
//! Accuracy: quote to 10 %; see docs/method/seawater.md.

use crate::limits::{Limit, Method, SeaError, Variable, Warning};

const FREQUENCY_PUBLISHED: Limit = Limit::new(Variable::Frequency, 200.0, 1e6);
const FREQUENCY: Limit = Limit::new(Variable::Frequency, 1.0, 1e6);
const SALINITY_OCEANIC: Limit = Limit::new(Variable::Salinity, 30.0, 42.0);
const SALINITY: Limit = Limit::new(Variable::Salinity, 0.0, 42.0);
const PH_OCEANIC: Limit = Limit::new(Variable::Ph, 7.5, 8.4);
const PH: Limit = Limit::new(Variable::Ph, 7.0, 9.0);
const TEMPERATURE: Limit = Limit::new(Variable::Temperature, -2.0, 35.0);
const DEPTH: Limit = Limit::new(Variable::Depth, 0.0, 8000.0);

/// Absorption with its three parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Absorption {
    /// Relaxation of boric acid, dB/km.
    pub boric_acid_db_per_km: f64,
    /// Relaxation of magnesium sulphate, dB/km.
    pub magnesium_sulphate_db_per_km: f64,
    /// Viscosity of water, dB/km.
    pub water_db_per_km: f64,
    /// Their sum, dB/km.
    pub total_db_per_km: f64,
    /// What makes it doubtful; empty where nothing does.
    pub warnings: Vec<Warning>,
}

/// Absorption in dB/km after Francois and Garrison 1982, strictly within the published range.
///
/// Valid for 200 Hz to 1 MHz, -2 to 35 degC, salinity 30 to 42, depth 0 to 8000 m, pH 7.5 to 8.4. For low-frequency calls and
/// brackish water use [`absorption`], which carries the formula on and warns.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn absorption_db_per_km(
    frequency_hz: f64,
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
    ph: f64,
) -> Result<f64, SeaError> {
    FREQUENCY_PUBLISHED.require(frequency_hz, Method::FrancoisGarrison1982)?;
    SALINITY_OCEANIC.require(salinity, Method::FrancoisGarrison1982)?;
    PH_OCEANIC.require(ph, Method::FrancoisGarrison1982)?;
    absorption(frequency_hz, temperature_degc, salinity, depth_m, ph).map(|a| a.total_db_per_km)
}

/// Absorption after Francois and Garrison 1982 with its parts and warnings.
///
/// Accepts 1 Hz to 1 MHz (warns below 200 Hz), salinity 0 to 42 (warns below 30), pH 7 to 9 (warns outside 7.5 to 8.4), -2 to
/// 35 degC and 0 to 8000 m.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside the accepted ranges.
pub fn absorption(
    frequency_hz: f64,
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
    ph: f64,
) -> Result<Absorption, SeaError> {
    const METHOD: Method = Method::FrancoisGarrison1982;
    FREQUENCY.require(frequency_hz, METHOD)?;
    TEMPERATURE.require(temperature_degc, METHOD)?;
    SALINITY.require(salinity, METHOD)?;
    DEPTH.require(depth_m, METHOD)?;
    PH.require(ph, METHOD)?;
    let warnings = [
        FREQUENCY_PUBLISHED.extrapolated(frequency_hz, METHOD),
        SALINITY_OCEANIC.extrapolated(salinity, METHOD),
        PH_OCEANIC.extrapolated(ph, METHOD),
    ];
    let [
        boric_acid_db_per_km,
        magnesium_sulphate_db_per_km,
        water_db_per_km,
    ] = parts(frequency_hz * 1e-3, temperature_degc, salinity, depth_m, ph);
    Ok(Absorption {
        boric_acid_db_per_km,
        magnesium_sulphate_db_per_km,
        water_db_per_km,
        total_db_per_km: boric_acid_db_per_km + magnesium_sulphate_db_per_km + water_db_per_km,
        warnings: warnings.into_iter().flatten().collect(),
    })
}

fn parts(f_khz: f64, t: f64, s: f64, d: f64, ph: f64) -> [f64; 3] {
    let c = 1412.0 + 3.21 * t + 1.19 * s + 0.0167 * d;
    let kelvin = 273.0 + t;
    let ff = f_khz * f_khz;

    let a1 = 8.86 / c * power_of_ten(0.78 * ph - 5.0);
    let f1 = 2.8 * (s / 35.0).sqrt() * power_of_ten(4.0 - 1245.0 / kelvin);
    let boric = a1 * f1 * ff / (ff + f1 * f1);

    let a2 = 21.44 * s / c * (1.0 + 0.025 * t);
    let p2 = 1.0 - 1.37e-4 * d + 6.2e-9 * d * d;
    let f2 = 8.17 * power_of_ten(8.0 - 1990.0 / kelvin) / (1.0 + 0.0018 * (s - 35.0));
    let sulphate = a2 * p2 * f2 * ff / (ff + f2 * f2);

    let p3 = 1.0 - 3.83e-5 * d + 4.9e-10 * d * d;
    [boric, sulphate, a3(t) * p3 * ff]
}

fn a3(t: f64) -> f64 {
    if t <= 20.0 {
        4.937e-4 + t * (-2.59e-5 + t * (9.11e-7 + t * -1.50e-8))
    } else {
        3.964e-4 + t * (-1.146e-5 + t * (1.45e-7 + t * -6.5e-10))
    }
}

fn power_of_ten(exponent: f64) -> f64 {
    libm::pow(10.0, exponent)
}

#[cfg(test)]
mod tests {
    use super::a3;

    /// A3 is about 2.2e-4 dB/km/kHz2 at 20 degC and is printed to four digits at best.
    const PRINTED: f64 = 2e-7;

    #[test]
    fn verif_water_term_joins_at_twenty_degrees() {
        assert!((a3(20.0) - a3(20.0 + 1e-9)).abs() < PRINTED);
    }

    /// 4.397e-4 for the first coefficient is a misprint in circulation: with it the branches part by two hundred times more.
    #[test]
    fn verif_join_refuses_the_known_misprint() {
        let misprinted = a3(20.0) - 4.937e-4 + 4.397e-4;
        assert!((misprinted - a3(20.0 + 1e-9)).abs() > 200.0 * PRINTED);
    }
}
