//! What a hydrophone hears when nothing sounds: the sea and its own electronics.
//!
//! Two independent Gaussian noises with the densities A and S add to a Gaussian noise with the density A + S, so one is drawn:
//! the ambient noise of [`seawater::ambient_noise`] and the chain's self-noise, added as powers at 96 frequencies a decade and
//! read between them in decibels over the logarithm of frequency. Below 1 Hz and above 1 MHz, where the four-term formula is
//! not stated, the ambient density of the end holds; beyond the ends of the self-noise table its nearest row does.
//!
//! [`signal::ShapedNoise`] smooths the density over about two lines of its filter; the filter is the shortest power of two
//! with lines of at most 4 Hz. For the steepest part (turbulence, 30 dB a decade) that is within 0.1 dB above ten lines.

use seawater::{SeaError, ambient_noise};
use signal::{Ends, ShapedNoise, SpectrumError, table_level_db};

const WIDEST_LINE_HZ: f64 = 4.0;
const FEWEST_TAPS: f64 = 256.0;
const MOST_TAPS: usize = 1 << 18;
const LOWEST_HZ: f64 = 1.0;
const HIGHEST_HZ: f64 = 1e6;
const ROWS_PER_DECADE: f64 = 96.0;

/// Noise of the sea and of a chain together, as a spectral density.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteNoise {
    rate_hz: f64,
    /// Hz and dB re 1 uPa2/Hz, rising from 1 Hz to half the rate.
    density: Vec<(f64, f64)>,
}

/// Why there is no noise.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SiteNoiseError {
    /// Wind or shipping outside what the formula holds for.
    #[error(transparent)]
    Sea(#[from] SeaError),
    /// A table of self-noise that does not rise, a rate that cannot be.
    #[error(transparent)]
    Spectrum(#[from] SpectrumError),
}

impl SiteNoise {
    /// The noise of a wind in m/s and a shipping activity with the self-noise of a chain (Hz, dB re 1 uPa2/Hz at its input; none for
    /// the sea alone), for samples at `rate_hz`.
    ///
    /// # Errors
    /// [`SiteNoiseError`] for wind or shipping out of range, a table that does not rise, a rate that is not at least 4 Hz.
    pub fn new(
        wind_m_s: f64,
        shipping: f64,
        self_noise: &[(f64, f64)],
        rate_hz: f64,
    ) -> Result<Self, SiteNoiseError> {
        if !(rate_hz.is_finite() && rate_hz >= 4.0 * LOWEST_HZ) {
            return Err(SpectrumError::Rate { rate_hz }.into());
        }
        let mut before_hz = 0.0;
        for (row, &(frequency_hz, level_db)) in self_noise.iter().enumerate() {
            if !(frequency_hz.is_finite() && frequency_hz > before_hz && level_db.is_finite()) {
                return Err(SpectrumError::Table {
                    row,
                    frequency_hz,
                    level_db,
                }
                .into());
            }
            before_hz = frequency_hz;
        }
        let highest_hz = HIGHEST_HZ.min(0.5 * rate_hz);
        let rows = (ROWS_PER_DECADE * libm::log10(highest_hz / LOWEST_HZ)).ceil() as u32;
        let density = (0..=rows)
            .map(|i| {
                let share = f64::from(i) / f64::from(rows);
                let f_hz = (LOWEST_HZ * libm::pow(highest_hz / LOWEST_HZ, share))
                    .clamp(LOWEST_HZ, highest_hz);
                let ambient_db = ambient_noise(f_hz, wind_m_s, shipping)?.total_db_re_1upa2_per_hz;
                let mut power = libm::pow(10.0, ambient_db / 10.0);
                if let Some(db) = table_level_db(self_noise, f_hz) {
                    power += libm::pow(10.0, db / 10.0);
                }
                Ok((f_hz, 10.0 * libm::log10(power)))
            })
            .collect::<Result<_, SeaError>>()?;
        Ok(Self { rate_hz, density })
    }

    /// A generator of samples of it, in uPa.
    ///
    /// # Errors
    /// As [`signal::ShapedNoise::new`].
    pub fn shaped(&self) -> Result<ShapedNoise, SpectrumError> {
        ShapedNoise::new(&self.density, Ends::Hold, taps(self.rate_hz), self.rate_hz)
    }

    /// Its level in a band, dB re 1 uPa: the integral of the density, held beyond its ends.
    #[must_use]
    pub fn band_level_db_re_1upa(&self, low_hz: f64, high_hz: f64) -> f64 {
        10.0 * libm::log10(self.band_power_upa2(low_hz, high_hz, |_| 1.0))
    }

    /// Its power in a band behind a filter of which `gain` gives the share of the power that passes at a frequency, uPa2: the integral
    /// of the density, held beyond its ends.
    pub(crate) fn band_power_upa2(
        &self,
        low_hz: f64,
        high_hz: f64,
        gain: impl Fn(f64) -> f64,
    ) -> f64 {
        let mut edges = vec![low_hz];
        let inside = |f: &f64| *f > low_hz && *f < high_hz;
        edges.extend(self.density.iter().map(|row| row.0).filter(inside));
        edges.push(high_hz);
        let at = |f_hz: f64| {
            let density = table_level_db(&self.density, f_hz);
            density.map_or(0.0, |db| libm::pow(10.0, db / 10.0) * gain(f_hz))
        };
        edges
            .windows(2)
            .map(|w| under(w[0], at(w[0]), w[1], at(w[1])))
            .sum()
    }
}

/// Area under a density that is straight over logarithms between two frequencies; from 0 Hz on, where there are no logarithms, straight.
fn under(a_hz: f64, a: f64, b_hz: f64, b: f64) -> f64 {
    if a_hz <= 0.0 {
        return 0.5 * (a + b) * (b_hz - a_hz);
    }
    let steepness = libm::log(b / a) / libm::log(b_hz / a_hz) + 1.0;
    if steepness.abs() < 1e-6 {
        return a * a_hz * libm::log(b_hz / a_hz);
    }
    (b * b_hz - a * a_hz) / steepness
}

fn taps(rate_hz: f64) -> usize {
    let taps = (rate_hz / WIDEST_LINE_HZ).max(FEWEST_TAPS);
    (taps.ceil() as usize).next_power_of_two().min(MOST_TAPS)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// The response of the filter against the four-term formula, in the calmest and steepest sea, from ten lines on.
    #[test]
    fn verif_the_filter_keeps_the_formula() {
        for rate_hz in [8000.0, 48_000.0, 96_000.0] {
            let noise = SiteNoise::new(0.0, 0.0, &[], rate_hz).unwrap();
            let taps = taps(rate_hz);
            let line_hz = rate_hz / taps as f64;
            assert!(line_hz <= WIDEST_LINE_HZ);
            let filter =
                signal::design_shaping_fir(&noise.density, Ends::Hold, taps, rate_hz).unwrap();
            let mut worst_db: f64 = 0.0;
            let mut f_hz = 10.0 * line_hz;
            while f_hz < 0.45 * rate_hz {
                let turn = 2.0 * PI * f_hz / rate_hz;
                let (mut re, mut im) = (0.0, 0.0);
                for (n, h) in filter.iter().enumerate() {
                    re += h * libm::cos(turn * n as f64);
                    im += h * libm::sin(turn * n as f64);
                }
                let found_db = 10.0 * libm::log10((re * re + im * im) * 2.0 / rate_hz);
                let expected_db = ambient_noise(f_hz, 0.0, 0.0).unwrap();
                worst_db = worst_db.max((found_db - expected_db.total_db_re_1upa2_per_hz).abs());
                f_hz *= 1.21;
            }
            assert!(worst_db < 0.1, "{rate_hz} Hz: {worst_db} dB");
        }
    }

    /// Against the integral that `seawater` takes by Simpson's rule, and a flat self-noise beside it.
    #[test]
    fn verif_band_levels_are_the_integral_of_the_density() {
        for (low_hz, high_hz) in [(60.0, 260.0), (3.0, 30.0), (1000.0, 7000.0)] {
            let sea = SiteNoise::new(8.0, 0.4, &[], 16_000.0).unwrap();
            let expected_db = seawater::band_level_db_re_1upa(low_hz, high_hz, 8.0, 0.4).unwrap();
            let found_db = sea.band_level_db_re_1upa(low_hz, high_hz);
            assert!(
                (found_db - expected_db).abs() < 0.002,
                "{found_db} {expected_db}"
            );
            let both = SiteNoise::new(8.0, 0.4, &[(100.0, 90.0)], 16_000.0).unwrap();
            let flat = libm::pow(10.0, 9.0) * (high_hz - low_hz);
            let sum_db = 10.0 * libm::log10(libm::pow(10.0, expected_db / 10.0) + flat);
            let found_db = both.band_level_db_re_1upa(low_hz, high_hz);
            assert!((found_db - sum_db).abs() < 0.002, "{found_db} {sum_db}");
        }
        let falling = [(100.0, 40.0), (50.0, 40.0)];
        assert!(matches!(
            SiteNoise::new(8.0, 0.4, &falling, 16_000.0),
            Err(SiteNoiseError::Spectrum(_))
        ));
        assert!(SiteNoise::new(80.0, 0.4, &[], 16_000.0).is_err());
    }
}
