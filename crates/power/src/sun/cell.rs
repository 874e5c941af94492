//! Cell temperature, and what a panel gives at it.
//!
//! Sources: Faiman, Assessing the outdoor operating temperature of photovoltaic modules, Progress in Photovoltaics 16
//! (2008) 307, with his mean coefficients; Ross 1976 with the nominal operating cell temperature (20 degC air, 800
//! W/m2); both as in pvlib 0.16.1. The power is proportional to the irradiance and linear in the cell temperature
//! about 25 degC.
//!
//! Validity: panels on land in free air; a panel cooled by splash runs cooler, one on a closed dark housing hotter.
//! Weak light costs some percent more than the proportion says (from memory).
//!
//! These functions run in the hourly loop and take their arguments as they are: check weather and panel where they
//! enter. Not a number in gives not a number out.

/// Faiman's heat loss to still air, W/(m2 K).
const FAIMAN_U0: f64 = 25.0;
/// Faiman's heat loss by wind, W/(m2 K) per m/s.
const FAIMAN_U1: f64 = 6.84;
/// Irradiance at which a panel has its peak power, W/m2, and the cell temperature with it, degC.
const STANDARD_IRRADIANCE_W_M2: f64 = 1000.0;
const STANDARD_CELL_DEGC: f64 = 25.0;

/// Cell temperature by Faiman, degC, for the plane's irradiance (W/m2), air temperature (degC) and wind speed (m/s, 0
/// or more).
#[must_use]
#[inline]
pub fn cell_temperature_faiman_degc(irradiance_w_m2: f64, air_degc: f64, wind_m_s: f64) -> f64 {
    air_degc + irradiance_w_m2 / (FAIMAN_U0 + FAIMAN_U1 * wind_m_s)
}

/// Cell temperature by Ross, degC, for the plane's irradiance (W/m2), air temperature (degC) and nominal operating cell
/// temperature (degC, 45 is common).
#[must_use]
#[inline]
pub fn cell_temperature_ross_degc(irradiance_w_m2: f64, air_degc: f64, nominal_degc: f64) -> f64 {
    air_degc + (nominal_degc - 20.0) / 800.0 * irradiance_w_m2
}

/// Power of a panel, W, for its peak power (W), change of power with temperature (per K, negative), the plane's
/// irradiance (W/m2) and the cell temperature (degC). Wiring, controller and dirt are the caller's to take off.
#[must_use]
#[inline]
pub fn panel_power_w(
    peak_power_w: f64,
    coefficient_per_k: f64,
    irradiance_w_m2: f64,
    cell_degc: f64,
) -> f64 {
    peak_power_w * irradiance_w_m2 / STANDARD_IRRADIANCE_W_M2
        * (1.0 + coefficient_per_k * (cell_degc - STANDARD_CELL_DEGC))
}
