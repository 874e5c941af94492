//! The noise budget of a sensor chain: what hydrophone, amplifier and converter add, as if it came in with the sound.
//!
//! Equations (derived in `docs/method/chain.md`; with those of [`SensorChain`]). At the frequency `f`, as power densities in
//! uPa^2/Hz at the hydrophone:
//!
//! - self-noise `S(f)`: a table of levels, read in decibels over the logarithm of frequency, held beyond its ends;
//! - amplifier `A = e^2 / 10^(M/10)`, with its noise voltage density `e` at its input and the sensitivity `M`, white;
//! - converter `C / |H(f)|^2`: white behind the high-pass, so the more at the hydrophone the more the high-pass takes away;
//!   `C = q^2/(6 rate)` of an ideal converter with the step `q`, or by its effective bits;
//! - high-pass `|H(f)|^2 = 1 / (1 + (corner/f)^(2 poles))`, a Butterworth as it stands ahead of the converter.
//!
//! The parts are independent, so their powers add. Band levels are integrals over frequency by Simpson's rule in the logarithm
//! of frequency, between the rows of the table.
//!
//! Validity: frequencies above zero and below half the rate; what the converter folds down from above half the rate is not in it.
//! Accuracy: that of the values; the rule leaves less than 1e-5 dB (32 panels an octave).

use alloc::vec::Vec;
use core::f64::consts::LN_2;

use crate::chain::{HighPass, SensorChain};
use crate::error::ChainError;
use crate::level::level_db;
use crate::table::table_level_db;

/// Panels of Simpson's rule per octave of a band.
const PANELS_PER_OCTAVE: f64 = 32.0;
/// Fewest panels between two rows of a table.
const FEWEST_PANELS: f64 = 2.0;

/// What makes noise in a sensor chain.
#[derive(Debug, Clone, PartialEq)]
pub struct ChainNoise {
    chain: SensorChain,
    effective_bits: Option<f64>,
    amplifier_v_rthz: Option<f64>,
    self_noise: Vec<(f64, f64)>,
}

/// Noise of a chain at its input and its parts: densities in dB re 1 uPa^2/Hz from [`ChainNoise::density`], levels in dB re 1 uPa
/// from [`ChainNoise::band`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseParts {
    /// From the table of self-noise; `None` when there is none.
    pub self_noise_db: Option<f64>,
    /// Of the amplifier; `None` when it is not known.
    pub amplifier_db: Option<f64>,
    /// Of the converter, through the high-pass backwards.
    pub converter_db: f64,
    /// Power sum of those that are known.
    pub total_db: f64,
}

impl HighPass {
    /// Share of the power that passes at `f_hz` (above zero): `1 / (1 + (corner/f)^(2 poles))`.
    #[must_use]
    pub fn power_gain(&self, f_hz: f64) -> f64 {
        1.0 / (1.0 + libm::pow(self.corner_hz / f_hz, 2.0 * self.poles as f64))
    }
}

impl ChainNoise {
    /// The noise of `chain`, whose converter has `effective_bits` (an ideal one when not known), whose amplifier has the noise
    /// voltage density `amplifier_v_rthz` at its input, V/sqrt(Hz), and whose `self_noise` is a table of Hz and dB re 1 uPa^2/Hz
    /// (empty when not known).
    ///
    /// # Errors
    /// [`ChainError::EffectiveBits`] unless they are above zero and at most the bits of the converter; [`ChainError::Amplifier`] for a
    /// density that is not finite and positive; [`ChainError::SelfNoise`] for a table whose frequencies are not positive and rising or
    /// whose levels are not finite.
    pub fn new(
        chain: &SensorChain,
        effective_bits: Option<f64>,
        amplifier_v_rthz: Option<f64>,
        self_noise: &[(f64, f64)],
    ) -> Result<Self, ChainError> {
        if let Some(effective_bits) = effective_bits
            && !(effective_bits > 0.0 && effective_bits <= f64::from(chain.bits()))
        {
            return Err(ChainError::EffectiveBits {
                effective_bits,
                bits: chain.bits(),
            });
        }
        if let Some(density_v_rthz) = amplifier_v_rthz
            && !(density_v_rthz.is_finite() && density_v_rthz > 0.0)
        {
            return Err(ChainError::Amplifier { density_v_rthz });
        }
        let mut before_hz = 0.0;
        for (row, &(frequency_hz, level_db)) in self_noise.iter().enumerate() {
            let rises = frequency_hz.is_finite() && frequency_hz > before_hz;
            if !(rises && level_db.is_finite()) {
                return Err(ChainError::SelfNoise {
                    row,
                    frequency_hz,
                    level_db,
                });
            }
            before_hz = frequency_hz;
        }
        Ok(Self {
            chain: chain.clone(),
            effective_bits,
            amplifier_v_rthz,
            self_noise: self_noise.to_vec(),
        })
    }

    /// The chain whose noise this is.
    pub fn chain(&self) -> &SensorChain {
        &self.chain
    }

    /// Share of the power that passes the high-pass at `f_hz`, above zero; 1 without one.
    pub fn power_gain(&self, f_hz: f64) -> f64 {
        self.chain.high_pass().map_or(1.0, |h| h.power_gain(f_hz))
    }

    /// Noise of the converter itself over 0 to half the rate, dB re 1 uPa at the hydrophone, as if there were no high-pass.
    pub fn converter_level_db_re_1upa(&self) -> f64 {
        match self.effective_bits {
            Some(bits) => self.chain.converter_noise_level_db_re_1upa(bits),
            None => self.chain.quantisation_level_db_re_1upa(),
        }
    }

    /// Noise density of the converter itself, dB re 1 uPa^2/Hz at the hydrophone, as if there were no high-pass.
    pub fn converter_density_db_re_1upa2_hz(&self) -> f64 {
        match self.effective_bits {
            Some(bits) => self.chain.converter_noise_density_db_re_1upa2_hz(bits),
            None => self.chain.quantisation_density_db_re_1upa2_hz(),
        }
    }

    /// Noise density at `f_hz`, above zero, dB re 1 uPa^2/Hz at the hydrophone.
    pub fn density(&self, f_hz: f64) -> NoiseParts {
        let [own, amplifier, converter] = self.powers(f_hz, self.flat());
        parts(own, amplifier, converter)
    }

    /// Noise in the band `low_hz` to `high_hz`, dB re 1 uPa at the hydrophone; `None` unless `0 < low_hz < high_hz`, both finite.
    pub fn band(&self, low_hz: f64, high_hz: f64) -> Option<NoiseParts> {
        if !(low_hz > 0.0 && low_hz < high_hz && high_hz.is_finite()) {
            return None;
        }
        let flat = self.flat();
        let mut sums = [Some(0.0), Some(0.0), Some(0.0)];
        let mut from_hz = low_hz;
        let rows = self.self_noise.iter().map(|row| row.0);
        let inner = rows.filter(|&f_hz| low_hz < f_hz && f_hz < high_hz);
        for to_hz in inner.chain([high_hz]) {
            let width = libm::log(to_hz / from_hz);
            let panels = libm::ceil(PANELS_PER_OCTAVE * width / LN_2).max(FEWEST_PANELS) as u32;
            let step = width / f64::from(panels);
            for panel in 0..panels {
                let at = |share: f64| from_hz * libm::exp((f64::from(panel) + share) * step);
                for (share, weight) in [(0.0, 1.0), (0.5, 4.0), (1.0, 1.0)] {
                    let f_hz = at(share);
                    let powers = self.powers(f_hz, flat);
                    for (sum, power) in sums.iter_mut().zip(powers) {
                        *sum = sum
                            .zip(power)
                            .map(|(s, p)| s + weight * p * f_hz * step / 6.0);
                    }
                }
            }
            from_hz = to_hz;
        }
        Some(parts(sums[0], sums[1], sums[2]))
    }

    /// Powers of amplifier and converter before the high-pass, uPa^2/Hz, the same at every frequency.
    fn flat(&self) -> (Option<f64>, f64) {
        let amplifier = self
            .amplifier_v_rthz
            .map(|v| power(self.chain.preamplifier_density_db_re_1upa2_hz(v)));
        (amplifier, power(self.converter_density_db_re_1upa2_hz()))
    }

    /// Powers of self-noise, amplifier and converter, uPa^2/Hz, of which the last two are `flat` but for the high-pass; the last is always there.
    fn powers(&self, f_hz: f64, (amplifier, converter): (Option<f64>, f64)) -> [Option<f64>; 3] {
        let own = table_level_db(&self.self_noise, f_hz).map(power);
        [own, amplifier, Some(converter / self.power_gain(f_hz))]
    }
}

fn parts(own: Option<f64>, amplifier: Option<f64>, converter: Option<f64>) -> NoiseParts {
    let db = |power: f64| 10.0 * libm::log10(power);
    let converter = converter.expect("a chain has a converter");
    NoiseParts {
        self_noise_db: own.map(db),
        amplifier_db: amplifier.map(db),
        converter_db: db(converter),
        total_db: db(own.unwrap_or(0.0) + amplifier.unwrap_or(0.0) + converter),
    }
}

fn power(level: f64) -> f64 {
    libm::pow(10.0, level / 10.0)
}

/// Share of the samples of a Gaussian noise that lie beyond full scale: `erfc(F / (sigma sqrt 2))`, with the full-scale level
/// (zero-to-peak) `headroom_db` above the rms level, so that `F / sigma = 10^(headroom/20)`.
#[must_use]
pub fn clipped_share(headroom_db: f64) -> f64 {
    libm::erfc(libm::pow(10.0, headroom_db / 20.0) / core::f64::consts::SQRT_2)
}

/// Power sum of levels in dB; minus infinity of none.
#[must_use]
pub fn power_sum_db(levels_db: impl IntoIterator<Item = f64>) -> f64 {
    level_db(levels_db.into_iter().map(power).sum(), 1.0)
}
