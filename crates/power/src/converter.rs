//! Input power of a converter that feeds a constant output.
//!
//! Two forms. A loss polynomial (constant, linear and quadratic terms),
//!
//! `P_in = P_standing + P_out / efficiency + k2 P_out^2`,
//!
//! where the linear loss is `1/efficiency - 1`; its own efficiency is highest at `P_out = sqrt(P_standing / k2)`. Or efficiencies
//! by output power as a maker prints them, all losses in them; between two of them the input power is a straight line, and
//! beyond the ends none is known.
//!
//! Source: algebra on the user's own figures; the three terms are those in common use for converters (from memory; the inverter
//! curve of pvlib's PVWatts model has the same). Valid where the figures were measured. Because the input power does not depend
//! on the input voltage, a module behind a converter is a constant-power load on the line.

use numerics::Table;
use thiserror::Error;

/// A converter in front of a load.
#[derive(Clone, Debug, PartialEq)]
pub enum Converter {
    /// Losses that are constant, linear and quadratic in the output power.
    Losses {
        /// Share of the input power, above standing and quadratic loss, that reaches the output; above 0, at most 1.
        efficiency: f64,
        /// Power drawn with nothing at the output, W; zero or more.
        standing_w: f64,
        /// Quadratic loss over the square of the output power, 1/W; zero or more.
        square_per_w: f64,
    },
    /// Efficiencies by output power.
    ByOutput(EfficiencyCurve),
}

/// Efficiencies by output power, checked: a larger output always draws more.
#[derive(Clone, Debug, PartialEq)]
pub struct EfficiencyCurve {
    /// Input power by output power, W.
    input_w: Table,
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
    /// The quadratic loss is negative or not finite.
    #[error("a quadratic loss of {square_per_w} for each watt is not finite and zero or more")]
    Square {
        /// The quadratic loss given, 1/W.
        square_per_w: f64,
    },
    /// The output power is negative or not finite.
    #[error("an output of {output_w} W is not a finite power of zero or more")]
    Output {
        /// The output power given, W.
        output_w: f64,
    },
    /// The efficiencies have no output, or their output powers do not rise.
    #[error("the output powers of the efficiencies must be there, above zero and rising")]
    Outputs,
    /// A larger output would draw less.
    #[error(
        "by its efficiencies the converter draws {input_w} W for {output_w} W of output, and no more for {larger_w} W"
    )]
    FallingInput {
        /// An output power, W.
        output_w: f64,
        /// Its input power, W.
        input_w: f64,
        /// The next output power, W.
        larger_w: f64,
    },
    /// The output lies beyond the efficiencies.
    #[error(
        "an output of {output_w} W lies beyond the efficiencies, known from {lowest_w} W to {highest_w} W"
    )]
    BeyondCurve {
        /// The output power asked for, W.
        output_w: f64,
        /// Lowest output of the curve, W.
        lowest_w: f64,
        /// Highest output of the curve, W.
        highest_w: f64,
    },
}

impl EfficiencyCurve {
    /// A curve from (output power in W, efficiency), output powers rising.
    ///
    /// # Errors
    /// No point, output powers that do not rise or are not above zero; an efficiency outside (0, 1]; a larger output that would
    /// draw no more.
    pub fn new(points: &[(f64, f64)]) -> Result<Self, ConverterError> {
        let mut inputs_w = Vec::with_capacity(points.len());
        for &(output_w, efficiency) in points {
            check_efficiency(efficiency)?;
            if output_w <= 0.0 {
                return Err(ConverterError::Outputs);
            }
            inputs_w.push(output_w / efficiency);
        }
        for (pair, input) in points.windows(2).zip(inputs_w.windows(2)) {
            if input[1] <= input[0] {
                return Err(ConverterError::FallingInput {
                    output_w: pair[0].0,
                    input_w: input[0],
                    larger_w: pair[1].0,
                });
            }
        }
        let outputs_w: Vec<f64> = points.iter().map(|(output_w, _)| *output_w).collect();
        let input_w = Table::new(&outputs_w, &inputs_w).map_err(|_| ConverterError::Outputs)?;
        Ok(Self { input_w })
    }

    fn input_power_w(&self, output_w: f64) -> Result<f64, ConverterError> {
        let beyond = |_| ConverterError::BeyondCurve {
            output_w,
            lowest_w: self.input_w.low(),
            highest_w: self.input_w.high(),
        };
        self.input_w.at(output_w).map_err(beyond)
    }
}

impl Converter {
    /// Power drawn from the line for `output_w` at the output, W.
    ///
    /// # Errors
    /// An efficiency outside (0, 1]; a negative or non-finite standing draw, quadratic loss or output; an output beyond a
    /// curve.
    pub fn input_power_w(&self, output_w: f64) -> Result<f64, ConverterError> {
        if !is_zero_or_more(output_w) {
            return Err(ConverterError::Output { output_w });
        }
        match self {
            Self::Losses {
                efficiency,
                standing_w,
                square_per_w,
            } => {
                let (standing_w, square_per_w) = (*standing_w, *square_per_w);
                check_efficiency(*efficiency)?;
                if !is_zero_or_more(standing_w) {
                    return Err(ConverterError::Standing { standing_w });
                }
                if !is_zero_or_more(square_per_w) {
                    return Err(ConverterError::Square { square_per_w });
                }
                Ok(standing_w + output_w / efficiency + square_per_w * output_w * output_w)
            }
            Self::ByOutput(curve) => curve.input_power_w(output_w),
        }
    }
}

fn is_zero_or_more(value: f64) -> bool {
    value.is_finite() && value >= 0.0
}

fn check_efficiency(efficiency: f64) -> Result<(), ConverterError> {
    if efficiency > 0.0 && efficiency <= 1.0 {
        Ok(())
    } else {
        Err(ConverterError::Efficiency { efficiency })
    }
}
