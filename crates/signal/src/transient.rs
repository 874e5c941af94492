//! Energy of a sound that begins and ends, as a whole and within a band.
//!
//! By Parseval's theorem the energy is the integral of the squared magnitude of the transform; a band takes its part of it,
//! edge lines cut in proportion as in [`crate::band_power`]. The sound is padded with zeros to a power of two, which changes
//! no energy; no window is laid over it, as it begins and ends by itself.

use rustfft::num_complex::Complex64;

use crate::band::band_power;
use crate::error::SpectrumError;
use crate::fft::{Arithmetic, RealFft};

const SHORTEST: usize = 2;
const LONGEST: usize = 1 << 23;

/// Energy of a sound, in the square of the samples' unit times seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandEnergy {
    /// All of it.
    pub total: f64,
    /// Within the band.
    pub in_band: f64,
}

/// Energy of the sound `x` at `rate_hz`, and how much of it lies within `low_hz` to `high_hz`.
///
/// # Errors
/// [`SpectrumError::Length`] for fewer than 2 or more than 2^23 samples, [`SpectrumError::Rate`] and [`SpectrumError::Band`] for
/// a rate or band that cannot be.
pub fn band_energy(
    x: &[f32],
    rate_hz: f64,
    low_hz: f64,
    high_hz: f64,
) -> Result<BandEnergy, SpectrumError> {
    if !(rate_hz.is_finite() && rate_hz > 0.0) {
        return Err(SpectrumError::Rate { rate_hz });
    }
    if !(SHORTEST..=LONGEST).contains(&x.len()) {
        return Err(SpectrumError::Length {
            what: "sound",
            samples: x.len(),
            min: SHORTEST,
            max: LONGEST,
        });
    }
    let n = x.len().next_power_of_two();
    let mut padded = vec![0.0; n];
    for (p, &v) in padded.iter_mut().zip(x) {
        *p = f64::from(v);
    }
    let mut lines = vec![Complex64::default(); n / 2 + 1];
    RealFft::new(n, Arithmetic::Scalar).forward(&padded, &mut lines);
    let density: Vec<f64> = lines
        .iter()
        .enumerate()
        .map(|(k, line)| {
            let sides = if k == 0 || k == n / 2 { 1.0 } else { 2.0 };
            sides * line.norm_sqr() / (rate_hz * rate_hz)
        })
        .collect();
    let bin_hz = rate_hz / n as f64;
    Ok(BandEnergy {
        total: density.iter().sum::<f64>() * bin_hz,
        in_band: band_power(&density, bin_hz, low_hz, high_hz)?,
    })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// Parseval, and a Gaussian pulse whose spectrum is known: of its energy the share erf(2 pi s df) lies within `df` of its
    /// frequency, where `s` is its standard deviation in time.
    #[test]
    fn verif_the_energy_of_a_gaussian_pulse_lies_where_its_spectrum_does() {
        let (rate_hz, f_hz, s) = (4000.0, 500.0, 0.01);
        let x: Vec<f32> = (0..1001)
            .map(|i| {
                let t = f64::from(i - 500) / rate_hz;
                (libm::exp(-0.5 * t * t / (s * s)) * libm::cos(2.0 * PI * f_hz * t)) as f32
            })
            .collect();
        let sum: f64 = x.iter().map(|&v| f64::from(v) * f64::from(v)).sum();
        for df in [2.0, 5.0, 10.0, 40.0] {
            let energy = band_energy(&x, rate_hz, f_hz - df, f_hz + df).unwrap();
            assert!((energy.total / (sum / rate_hz) - 1.0).abs() < 1e-9);
            let expected = libm::erf(2.0 * PI * s * df);
            let found = energy.in_band / energy.total;
            assert!((found - expected).abs() < 2e-3, "{df}: {found} {expected}");
        }
        assert!(band_energy(&x, rate_hz, 10.0, 2100.0).is_err());
        assert!(band_energy(&x[..1], rate_hz, 10.0, 20.0).is_err());
        assert!(band_energy(&x, f64::NAN, 10.0, 20.0).is_err());
    }
}
