//! Loop resistance of a two-conductor cable from its conductor's size, its length and its temperature.
//!
//! Sources. Stranded sizes: IEC 60228 (Conductors of insulated cables), tables A.2 (class 2) and A.3 (class 5),
//! highest direct-current resistance of one conductor at 20 degC, plain and metal-coated copper; the figures were
//! read in three public copies that agree, not in the standard itself. Wire gauge: diameter rule of ASTM B258,
//! `d = 0.127 mm * 92^((36 - n)/39)`, with the resistivity of 100 % IACS copper, 17.241 ohm mm2/km.
//! Temperature: `r = r20 (1 + 0.00393 (T - 20))`, the coefficient of 100 % IACS copper at 20 degC.
//!
//! Validity: -40 to 120 degC. Accuracy: the tables hold upper limits that a cable must not exceed, so a line laid
//! out with them is on the safe side by a few percent; wire gauge is for SOLID wire, stranded wire of the same gauge
//! is a few percent higher (common practice, not checked here).

use quantity::{Conductor, StrandClass};
use thiserror::Error;

/// Coldest conductor for which the linear temperature law is used, degC.
pub const LOWEST_TEMPERATURE_DEGC: f64 = -40.0;
/// Warmest conductor for which the linear temperature law is used, degC.
pub const HIGHEST_TEMPERATURE_DEGC: f64 = 120.0;

/// Thickest wire gauge accepted: 4/0 is written -3.
pub const THICKEST_AWG: i32 = -3;
/// Thinnest wire gauge accepted.
pub const THINNEST_AWG: i32 = 40;

pub(crate) const TEMPERATURE_COEFFICIENT_PER_K: f64 = 0.00393;
const RESISTIVITY_20_OHM_MM2_PER_KM: f64 = 17.241;
/// An area that went through a change of unit may differ from the table's in its last bits.
const SAME_AREA_RELATIVE: f64 = 1e-9;

/// Why a conductor has no resistance here.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum ConductorError {
    /// The cross-section is not in the table.
    #[error("{area_mm2} mm2 is not a listed cross-section; listed are {LISTED_AREAS_MM2:?} mm2")]
    UnlistedArea {
        /// The cross-section asked for, mm2.
        area_mm2: f64,
    },
    /// The wire gauge is outside the range used here.
    #[error("AWG {gauge} is outside {THICKEST_AWG} (4/0) to {THINNEST_AWG}")]
    UnlistedGauge {
        /// The gauge asked for.
        gauge: i32,
    },
    /// The length is negative or not a number.
    #[error("a length of {length_m} m is not a finite length of zero or more")]
    Length {
        /// The length asked for, m.
        length_m: f64,
    },
    /// The temperature is outside the range of the linear law.
    #[error(
        "{temperature_degc} degC is outside {LOWEST_TEMPERATURE_DEGC} to {HIGHEST_TEMPERATURE_DEGC} degC"
    )]
    Temperature {
        /// The temperature asked for, degC.
        temperature_degc: f64,
    },
}

/// The nominal cross-sections of IEC 60228 held here, mm2.
pub const LISTED_AREAS_MM2: [f64; 12] = [
    0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0,
];

// IEC 60228 tables A.2 and A.3, ohm/km at 20 degC, in the order of LISTED_AREAS_MM2.
const CLASS_2_PLAIN_OHM_PER_KM: [f64; 12] = [
    36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727, 0.524, 0.387,
];
const CLASS_2_TINNED_OHM_PER_KM: [f64; 12] = [
    36.7, 24.8, 18.2, 12.2, 7.56, 4.70, 3.11, 1.84, 1.16, 0.734, 0.529, 0.391,
];
const CLASS_5_PLAIN_OHM_PER_KM: [f64; 12] = [
    39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386,
];
const CLASS_5_TINNED_OHM_PER_KM: [f64; 12] = [
    40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795, 0.565, 0.393,
];

/// Resistance of the whole loop, there and back, of a cable of `length_m`, ohm.
///
/// `length_m` is the length of the cable in metres, zero or more; current flows through twice as much copper.
/// `temperature_degc` is that of the conductor, -40 to 120 degC.
/// Errors: an unlisted size, a length or a temperature out of range.
/// Source: IEC 60228 or ASTM B258, see the head of this module.
pub fn loop_resistance_ohm(
    conductor: Conductor,
    length_m: f64,
    temperature_degc: f64,
) -> Result<f64, ConductorError> {
    if !(length_m.is_finite() && length_m >= 0.0) {
        return Err(ConductorError::Length { length_m });
    }
    if !(LOWEST_TEMPERATURE_DEGC..=HIGHEST_TEMPERATURE_DEGC).contains(&temperature_degc) {
        return Err(ConductorError::Temperature { temperature_degc });
    }
    let at_20_ohm_per_km = conductor_resistance_20_ohm_per_km(conductor)?;
    let warmth = 1.0 + TEMPERATURE_COEFFICIENT_PER_K * (temperature_degc - 20.0);
    Ok(2.0 * (length_m / 1000.0) * at_20_ohm_per_km * warmth)
}

/// Share by which the resistance of copper at `temperature_degc` changes with one kelvin, 1/K. Source: see the head of this module.
#[must_use]
pub fn resistance_change_per_k(temperature_degc: f64) -> f64 {
    TEMPERATURE_COEFFICIENT_PER_K
        / (1.0 + TEMPERATURE_COEFFICIENT_PER_K * (temperature_degc - 20.0))
}

/// Resistance of ONE conductor at 20 degC, ohm/km.
///
/// Errors: an unlisted size. Source: IEC 60228 or ASTM B258, see the head of this module.
pub fn conductor_resistance_20_ohm_per_km(conductor: Conductor) -> Result<f64, ConductorError> {
    match conductor {
        Conductor::Stranded {
            area_mm2,
            class,
            tinned,
        } => {
            let row = LISTED_AREAS_MM2
                .iter()
                .position(|listed| (area_mm2 - listed).abs() <= SAME_AREA_RELATIVE * listed)
                .ok_or(ConductorError::UnlistedArea { area_mm2 })?;
            let column = match (class, tinned) {
                (StrandClass::Two, false) => &CLASS_2_PLAIN_OHM_PER_KM,
                (StrandClass::Two, true) => &CLASS_2_TINNED_OHM_PER_KM,
                (StrandClass::Five, false) => &CLASS_5_PLAIN_OHM_PER_KM,
                (StrandClass::Five, true) => &CLASS_5_TINNED_OHM_PER_KM,
            };
            Ok(column[row])
        }
        Conductor::Awg(gauge) => {
            let diameter_mm = awg_diameter_mm(gauge)?;
            let area_mm2 = std::f64::consts::PI * diameter_mm * diameter_mm / 4.0;
            Ok(RESISTIVITY_20_OHM_MM2_PER_KM / area_mm2)
        }
    }
}

/// Diameter of solid wire of a gauge, mm. Errors: a gauge outside -3 (4/0) to 40. Source: ASTM B258.
pub fn awg_diameter_mm(gauge: i32) -> Result<f64, ConductorError> {
    if !(THICKEST_AWG..=THINNEST_AWG).contains(&gauge) {
        return Err(ConductorError::UnlistedGauge { gauge });
    }
    Ok(0.127 * libm::pow(92.0, f64::from(36 - gauge) / 39.0))
}
