//! Sound speed from temperature, salinity and depth after Mackenzie.
//!
//! Source: K. V. Mackenzie, "Nine-term equation for sound speed in the oceans", J. Acoust. Soc. Am. 70, 807 (1981).
//!
//! `c = 1448.96 + 4.591 T - 5.304e-2 T^2 + 2.374e-4 T^3 + 1.340 (S - 35) + 1.630e-2 D + 1.675e-7 D^2
//!      - 1.025e-2 T (S - 35) - 7.139e-13 T D^3`
//!
//! T temperature, degC; S practical salinity; D depth, m; c in m/s. Today's ITS-90 temperature is put in as it is: the
//! equation was fitted on an older scale, and the few millikelvin are far below its error.
//!
//! Validity: T -2 to 30, S 25 to 40, D 0 to 8000. Sources differ: T from 2 and S from 30 are quoted too; between S 25 and 30
//! the value carries a warning where a warning can be carried ([`crate::sound_speed`]).
//! Accuracy: see docs/method/seawater.md; 0.3 m/s at worst in the upper 1000 m at S 30 to 40 against TEOS-10.

use crate::limits::{Limit, Method, SeaError, Variable, Warning};

pub(crate) const TEMPERATURE: Limit = Limit::new(Variable::Temperature, -2.0, 30.0);
pub(crate) const SALINITY: Limit = Limit::new(Variable::Salinity, 25.0, 40.0);
pub(crate) const DEPTH: Limit = Limit::new(Variable::Depth, 0.0, 8000.0);
const SALINITY_UNDISPUTED: Limit = Limit::new(Variable::Salinity, 30.0, 40.0);

/// Sound speed in m/s after Mackenzie 1981.
///
/// Valid for -2 to 30 degC, salinity 25 to 40, depth 0 to 8000 m.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn sound_speed_mackenzie_m_s(
    temperature_degc: f64,
    salinity: f64,
    depth_m: f64,
) -> Result<f64, SeaError> {
    TEMPERATURE.require(temperature_degc, Method::Mackenzie1981)?;
    SALINITY.require(salinity, Method::Mackenzie1981)?;
    DEPTH.require(depth_m, Method::Mackenzie1981)?;
    Ok(equation(temperature_degc, salinity, depth_m))
}

/// Says so where sources disagree about the lower end of salinity.
pub(crate) fn salinity_warning(salinity: f64) -> Option<Warning> {
    let Limit {
        variable,
        low,
        high,
    } = SALINITY_UNDISPUTED;
    (!SALINITY_UNDISPUTED.holds(salinity)).then_some(Warning::RangeDisputed {
        variable,
        value: salinity,
        low,
        high,
        method: Method::Mackenzie1981,
    })
}

fn equation(t: f64, s: f64, d: f64) -> f64 {
    let ds = s - 35.0;
    1448.96
        + t * (4.591 + t * (-5.304e-2 + t * 2.374e-4))
        + 1.340 * ds
        + d * (1.630e-2 + d * 1.675e-7)
        - 1.025e-2 * t * ds
        - 7.139e-13 * t * d * d * d
}

#[cfg(test)]
mod tests {
    use super::equation;

    /// One unit of the last printed digit.
    const PRINTED_M_S: f64 = 0.0005;

    /// The point lies outside the range that the public function accepts, so the bare equation is held to it.
    /// Source: check value in the header of a transcription by the Monterey Bay Aquarium Research Institute (Sndspd.txt).
    #[test]
    fn val_mackenzie_at_the_corner_point() {
        assert!((equation(40.0, 40.0, 10_000.0) - 1718.774).abs() < PRINTED_M_S);
    }
}
