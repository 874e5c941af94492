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
    /// At all frequencies.
    pub total: f64,
    /// Within the band that was asked for.
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
    let (density, bin_hz) = energy_density(x, rate_hz)?;
    Ok(BandEnergy {
        total: density.iter().sum::<f64>() * bin_hz,
        in_band: band_power(&density, bin_hz, low_hz, high_hz)?,
    })
}

/// Energy of the sound `x` at `rate_hz` at all frequencies, and in each of the bands `bands_hz`, as [`band_energy`] gives them one by one.
///
/// # Errors
/// As [`band_energy`].
pub fn band_energies(
    x: &[f32],
    rate_hz: f64,
    bands_hz: &[(f64, f64)],
) -> Result<(f64, Vec<f64>), SpectrumError> {
    let (density, bin_hz) = energy_density(x, rate_hz)?;
    let in_bands = bands_hz
        .iter()
        .map(|(low_hz, high_hz)| band_power(&density, bin_hz, *low_hz, *high_hz));
    let total = density.iter().sum::<f64>() * bin_hz;
    Ok((total, in_bands.collect::<Result<_, _>>()?))
}

/// The band of the sound `x` at `rate_hz`: from the frequency below which the share `left_out` (zero or more, less than a half) of its
/// energy within `low_hz` to `high_hz` lies, to that above which the same share does. The whole of `low_hz` to `high_hz` where there
/// is no energy.
///
/// # Errors
/// As [`band_energy`].
pub fn energy_band_hz(
    x: &[f32],
    rate_hz: f64,
    (low_hz, high_hz): (f64, f64),
    left_out: f64,
) -> Result<(f64, f64), SpectrumError> {
    let (density, bin_hz) = energy_density(x, rate_hz)?;
    let total = band_power(&density, bin_hz, low_hz, high_hz)?;
    if !(total.is_finite() && total > 0.0) {
        return Ok((low_hz, high_hz));
    }
    let wanted = [left_out * total, (1.0 - left_out) * total];
    let mut ends_hz = [low_hz, high_hz];
    let mut sum = 0.0;
    for (k, density) in density.iter().enumerate() {
        // A line stands for the interval half a line to each side, as in `band_power`.
        let from_hz = ((k as f64 - 0.5) * bin_hz).max(low_hz);
        let to_hz = ((k as f64 + 0.5) * bin_hz).min(high_hz);
        if to_hz <= from_hz {
            continue;
        }
        let energy = density * (to_hz - from_hz);
        for (end_hz, wanted) in ends_hz.iter_mut().zip(wanted) {
            if sum < wanted && sum + energy >= wanted {
                *end_hz = from_hz + (wanted - sum) / energy * (to_hz - from_hz);
            }
        }
        sum += energy;
    }
    Ok((ends_hz[0], ends_hz[1]))
}

/// Energy density over frequency, one-sided, and from line to line, Hz.
fn energy_density(x: &[f32], rate_hz: f64) -> Result<(Vec<f64>, f64), SpectrumError> {
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
    Ok((density, rate_hz / n as f64))
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
        // erf(1.163087) is nine tenths (scipy.special.erfinv).
        let (low_hz, high_hz) = energy_band_hz(&x, rate_hz, (0.0, 2000.0), 0.05).unwrap();
        let half_hz = 1.163_087 / (2.0 * PI * s);
        // Lines lie 3.9 Hz apart.
        assert!((low_hz - (f_hz - half_hz)).abs() < 0.4, "{low_hz}");
        assert!((high_hz - (f_hz + half_hz)).abs() < 0.4, "{high_hz}");
        let (low_hz, high_hz) = energy_band_hz(&x, rate_hz, (f_hz, 2000.0), 0.0).unwrap();
        assert!(low_hz == f_hz && high_hz > f_hz + half_hz);
        let silent = energy_band_hz(&[0.0; 8], rate_hz, (10.0, 20.0), 0.05);
        assert_eq!(silent.unwrap(), (10.0, 20.0));
        assert!(band_energy(&x, rate_hz, 10.0, 2100.0).is_err());
        assert!(band_energy(&x[..1], rate_hz, 10.0, 20.0).is_err());
        assert!(band_energy(&x, f64::NAN, 10.0, 20.0).is_err());
    }
}
