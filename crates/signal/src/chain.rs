//! The sensor chain: hydrophone, gain, high-pass, converter; micropascals to counts and back.
//!
//! Equations (derived in `docs/method/signal.md`). With sensitivity `M` (dB re 1 V/uPa), gain `G` (dB) and converter full scale `F` (V peak):
//! full-scale pressure `F / 10^((M + G)/20)` uPa; step `q = 2 F / 2^bits`; quantisation noise `q^2/12`, one-sided density
//! `q^2/(6 rate)`; a full-scale sine has `F^2/2`. Effective bits: SINAD = 10 lg(1.5) + 20 lg(2) bits (the usual 6.02 n + 1.76).
//! The high-pass is a Butterworth; the converter clips at its end codes.

use core::f64::consts::SQRT_2;

use crate::butterworth::butterworth_highpass;
use crate::error::{ChainError, FilterError};
use crate::level::level_db;
use crate::sos::Sos;

const FEWEST_BITS: u32 = 2;
const MOST_BITS: u32 = 32;

/// The high-pass of a chain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HighPass {
    /// The -3 dB corner, Hz.
    pub corner_hz: f64,
    /// Number of poles.
    pub poles: usize,
}

/// Hydrophone sensitivity, gain, high-pass and converter.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorChain {
    sensitivity_db_re_1v_per_upa: f64,
    gain_db: f64,
    high_pass: Option<HighPass>,
    full_scale_v: f64,
    bits: u32,
    rate_hz: f64,
    upa_per_volt: f64,
}

impl SensorChain {
    /// A chain of a hydrophone with `sensitivity_db_re_1v_per_upa`, `gain_db` of amplification, an optional high-pass and a
    /// converter with `full_scale_v` (peak), `bits` and `rate_hz`.
    ///
    /// # Errors
    /// [`ChainError`] for values that are not finite, a full scale or rate that is not positive, bits outside 2 to 32, or a
    /// high-pass that cannot be built at this rate.
    pub fn new(
        sensitivity_db_re_1v_per_upa: f64,
        gain_db: f64,
        high_pass: Option<HighPass>,
        full_scale_v: f64,
        bits: u32,
        rate_hz: f64,
    ) -> Result<Self, ChainError> {
        for (what, value_db) in [
            ("sensitivity", sensitivity_db_re_1v_per_upa),
            ("gain", gain_db),
        ] {
            if !value_db.is_finite() {
                return Err(ChainError::NotFinite { what, value_db });
            }
        }
        if !(full_scale_v.is_finite() && full_scale_v > 0.0) {
            return Err(ChainError::FullScale { full_scale_v });
        }
        if !(FEWEST_BITS..=MOST_BITS).contains(&bits) {
            return Err(ChainError::Bits {
                bits,
                min: FEWEST_BITS,
                max: MOST_BITS,
            });
        }
        if !(rate_hz.is_finite() && rate_hz > 0.0) {
            return Err(ChainError::Rate { rate_hz });
        }
        let upa_per_volt = libm::pow(10.0, -(sensitivity_db_re_1v_per_upa + gain_db) / 20.0);
        let chain = Self {
            sensitivity_db_re_1v_per_upa,
            gain_db,
            high_pass,
            full_scale_v,
            bits,
            rate_hz,
            upa_per_volt,
        };
        chain.high_pass_filter()?;
        Ok(chain)
    }

    /// Sampling rate, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Bits of the converter.
    pub fn bits(&self) -> u32 {
        self.bits
    }

    /// The high-pass, when the chain has one.
    pub fn high_pass(&self) -> Option<HighPass> {
        self.high_pass
    }

    /// Pressure at the hydrophone that drives the converter to full scale, uPa (zero-to-peak): the factor from samples in
    /// -1 to 1 to micropascals.
    pub fn full_scale_upa(&self) -> f64 {
        self.full_scale_v * self.upa_per_volt
    }

    /// Pressure of one step of the converter, uPa.
    pub fn step_upa(&self) -> f64 {
        self.full_scale_upa() / self.half_range()
    }

    /// Level at which the converter overloads, dB re 1 uPa, zero-to-peak.
    pub fn overload_peak_level_db_re_1upa(&self) -> f64 {
        20.0 * libm::log10(self.full_scale_v) - self.sensitivity_db_re_1v_per_upa - self.gain_db
    }

    /// Level of the largest sine that does not overload, dB re 1 uPa, rms.
    pub fn overload_sine_level_db_re_1upa(&self) -> f64 {
        20.0 * libm::log10(self.full_scale_v / SQRT_2)
            - self.sensitivity_db_re_1v_per_upa
            - self.gain_db
    }

    /// Quantisation noise of an ideal converter over 0 to half the rate, dB re 1 uPa.
    pub fn quantisation_level_db_re_1upa(&self) -> f64 {
        level_db(self.step_upa() * self.step_upa() / 12.0, 1.0)
    }

    /// Quantisation noise density of an ideal converter, dB re 1 uPa^2/Hz at the hydrophone.
    pub fn quantisation_density_db_re_1upa2_hz(&self) -> f64 {
        level_db(
            self.step_upa() * self.step_upa() / (6.0 * self.rate_hz),
            1.0,
        )
    }

    /// Full-scale sine over quantisation noise of an ideal converter, dB.
    pub fn sine_dynamic_range_db(&self) -> f64 {
        self.overload_sine_level_db_re_1upa() - self.quantisation_level_db_re_1upa()
    }

    /// Noise of a converter with `effective_bits` over 0 to half the rate, dB re 1 uPa at the hydrophone.
    pub fn converter_noise_level_db_re_1upa(&self, effective_bits: f64) -> f64 {
        let sinad_db = 10.0 * libm::log10(1.5) + 20.0 * libm::log10(2.0) * effective_bits;
        self.overload_sine_level_db_re_1upa() - sinad_db
    }

    /// Noise density of a converter with `effective_bits`, dB re 1 uPa^2/Hz at the hydrophone.
    pub fn converter_noise_density_db_re_1upa2_hz(&self, effective_bits: f64) -> f64 {
        self.converter_noise_level_db_re_1upa(effective_bits)
            - 10.0 * libm::log10(0.5 * self.rate_hz)
    }

    /// Noise density of a preamplifier ahead of the gain with `density_v_rthz` V/sqrt(Hz), dB re 1 uPa^2/Hz.
    pub fn preamplifier_density_db_re_1upa2_hz(&self, density_v_rthz: f64) -> f64 {
        20.0 * libm::log10(density_v_rthz) - self.sensitivity_db_re_1v_per_upa
    }

    /// The high-pass, at rest; `None` when the chain has none.
    ///
    /// # Errors
    /// [`FilterError`] as [`butterworth_highpass`]; not for a chain that could be built.
    pub fn high_pass_filter(&self) -> Result<Option<Sos>, FilterError> {
        self.high_pass
            .map(|h| butterworth_highpass(h.poles, h.corner_hz, self.rate_hz))
            .transpose()
    }

    /// Converts pressures in uPa (after the high-pass) to counts, rounding to the nearest step (halves away from zero) and
    /// clipping at the end codes `-2^(bits-1)` and `2^(bits-1) - 1`. Tells how many samples were clipped.
    ///
    /// # Errors
    /// [`ChainError::Sample`] for a pressure that is not a number, [`ChainError::Lengths`] when the lengths differ.
    pub fn quantise(&self, pressure_upa: &[f32], counts: &mut [i32]) -> Result<u64, ChainError> {
        self.same_length(pressure_upa.len(), counts.len())?;
        let per_upa = 1.0 / self.step_upa();
        let half = self.half_range();
        let mut clipped = 0;
        for (index, (count, &p)) in counts.iter_mut().zip(pressure_upa).enumerate() {
            if p.is_nan() {
                return Err(ChainError::Sample { index });
            }
            let code = libm::round(f64::from(p) * per_upa);
            *count = if code > half - 1.0 {
                clipped += 1;
                (half - 1.0) as i32
            } else if code < -half {
                clipped += 1;
                -half as i32
            } else {
                code as i32
            };
        }
        Ok(clipped)
    }

    /// Converts counts to pressures in uPa.
    ///
    /// # Errors
    /// [`ChainError::Lengths`] when the lengths differ.
    pub fn pressure_upa(&self, counts: &[i32], pressure_upa: &mut [f32]) -> Result<(), ChainError> {
        self.same_length(counts.len(), pressure_upa.len())?;
        let step = self.step_upa();
        for (p, &c) in pressure_upa.iter_mut().zip(counts) {
            *p = (f64::from(c) * step) as f32;
        }
        Ok(())
    }

    fn half_range(&self) -> f64 {
        (1_u64 << (self.bits - 1)) as f64
    }

    fn same_length(&self, input: usize, output: usize) -> Result<(), ChainError> {
        if input == output {
            Ok(())
        } else {
            Err(ChainError::Lengths { input, output })
        }
    }
}
