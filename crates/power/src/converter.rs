//! Input power of a converter that feeds a constant output.
//!
//! `P_in = P_standing + P_out / efficiency`: a standing draw and a fixed conversion efficiency, the first two terms
//! of the usual loss polynomial (constant, linear; the quadratic term is left out). Algebra on the user's own figures;
//! valid where the efficiency was measured. Because the input power does not depend on the input voltage, a module
//! behind a converter is a constant-power load on the line.

use thiserror::Error;

/// A converter in front of a load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Converter {
    /// Share of the input power, above the standing draw, that reaches the output; above 0, at most 1.
    pub efficiency: f64,
    /// Power drawn with nothing at the output, W; zero or more.
    pub standing_w: f64,
}

/// Why a converter has no input power.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum ConverterError {
    /// The efficiency is not above 0 and at most 1.
    #[error("an efficiency of {efficiency} is not above 0 and at most 1")]
    Efficiency {
        /// The efficiency given.
        efficiency: f64,
    },
    /// The standing draw is negative or not finite.
    #[error("a standing draw of {standing_w} W is not a finite power of zero or more")]
    Standing {
        /// The standing draw given, W.
        standing_w: f64,
    },
    /// The output power is negative or not finite.
    #[error("an output of {output_w} W is not a finite power of zero or more")]
    Output {
        /// The output power given, W.
        output_w: f64,
    },
}

impl Converter {
    /// Power drawn from the line for `output_w` at the output, W.
    ///
    /// Errors: an efficiency outside (0, 1], a negative or non-finite standing draw or output.
    pub fn input_power_w(&self, output_w: f64) -> Result<f64, ConverterError> {
        if !(self.efficiency > 0.0 && self.efficiency <= 1.0) {
            return Err(ConverterError::Efficiency {
                efficiency: self.efficiency,
            });
        }
        if !(self.standing_w.is_finite() && self.standing_w >= 0.0) {
            return Err(ConverterError::Standing {
                standing_w: self.standing_w,
            });
        }
        if !(output_w.is_finite() && output_w >= 0.0) {
            return Err(ConverterError::Output { output_w });
        }
        Ok(self.standing_w + output_w / self.efficiency)
    }
}
