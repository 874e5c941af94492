//! What an ear hears when nothing sounds: the sea and its own electronics.
//!
//! Two independent Gaussian noises with the densities A and S add to a Gaussian noise with the density A + S, so one is drawn:
//! the ambient noise of [`seawater::ambient_noise`] and the chain's self-noise, added as powers at 96 frequencies a decade and
//! read between them in decibels over the logarithm of frequency. Below 1 Hz and above 1 MHz, where the four-term formula is
//! not stated, the ambient density of the end holds; beyond the ends of the self-noise table its nearest row does.
//!
//! [`signal::ShapedNoise`] smooths the density over about two lines of its filter; the filter is the shortest power of two
//! with lines of at most 4 Hz. For the steepest part (turbulence, 30 dB a decade) that is within 0.1 dB above ten lines.

use seawater::ambient_noise;
use signal::{Ends, ShapedNoise};

use super::error::EarError;
use super::numbers::Numbers;

const WIDEST_LINE_HZ: f64 = 4.0;
const FEWEST_TAPS: f64 = 256.0;
const MOST_TAPS: usize = 1 << 18;
const LOWEST_HZ: f64 = 1.0;
const HIGHEST_HZ: f64 = 1e6;
const ROWS_PER_DECADE: f64 = 96.0;

/// Background noise of one ear, as a function of the sample index.
#[derive(Debug)]
pub(crate) struct Background {
    shaped: ShapedNoise,
    numbers: Numbers,
}

/// What makes the background.
pub(crate) struct Surroundings<'a> {
    pub(crate) ear: &'a str,
    pub(crate) rate_hz: f64,
    pub(crate) wind_m_s: f64,
    pub(crate) shipping: f64,
    pub(crate) self_noise: &'a [(f64, f64)],
    pub(crate) seed: u64,
}

impl Background {
    pub(crate) fn new(around: &Surroundings<'_>) -> Result<Self, EarError> {
        let refused = |source| EarError::Noise {
            of: around.ear.to_owned(),
            source,
        };
        let table = density(around)?;
        let taps = taps(around.rate_hz);
        Ok(Self {
            shaped: ShapedNoise::new(&table, Ends::Hold, taps, around.rate_hz).map_err(refused)?,
            numbers: Numbers::new(around.seed, format!("noise/{}", around.ear)),
        })
    }

    /// Samples `first`, `first + 1`, ... in uPa.
    pub(crate) fn fill(&mut self, first: u64, out: &mut [f32]) {
        let Self { shaped, numbers } = self;
        shaped.fill(first, out, |i| numbers.at(i));
    }
}

fn taps(rate_hz: f64) -> usize {
    let taps = (rate_hz / WIDEST_LINE_HZ).max(FEWEST_TAPS);
    (taps.ceil() as usize).next_power_of_two().min(MOST_TAPS)
}

/// Rows of frequency in Hz and the sum of both densities in dB re 1 uPa2/Hz.
fn density(around: &Surroundings<'_>) -> Result<Vec<(f64, f64)>, EarError> {
    let refused = |row: usize, (frequency_hz, level_db): (f64, f64)| EarError::Noise {
        of: around.ear.to_owned(),
        source: signal::SpectrumError::Table {
            row,
            frequency_hz,
            level_db,
        },
    };
    let mut before_hz = 0.0;
    for (i, &row) in around.self_noise.iter().enumerate() {
        if !(row.0.is_finite() && row.0 > before_hz && row.1.is_finite()) {
            return Err(refused(i, row));
        }
        before_hz = row.0;
    }
    let highest_hz = HIGHEST_HZ.min(0.5 * around.rate_hz);
    let rows = (ROWS_PER_DECADE * libm::log10(highest_hz / LOWEST_HZ)).ceil() as u32;
    (0..=rows)
        .map(|i| {
            let share = f64::from(i) / f64::from(rows);
            let f_hz =
                (LOWEST_HZ * libm::pow(highest_hz / LOWEST_HZ, share)).clamp(LOWEST_HZ, highest_hz);
            let ambient_db = ambient_noise(f_hz, around.wind_m_s, around.shipping)
                .map_err(|source| EarError::Ambient {
                    ear: around.ear.to_owned(),
                    source,
                })?
                .total_db_re_1upa2_per_hz;
            let mut power = libm::pow(10.0, ambient_db / 10.0);
            if let Some(db) = level_db(around.self_noise, f_hz) {
                power += libm::pow(10.0, db / 10.0);
            }
            Ok((f_hz, 10.0 * libm::log10(power)))
        })
        .collect()
}

/// Level of a rising table, held beyond its ends; `None` for an empty one.
fn level_db(table: &[(f64, f64)], f_hz: f64) -> Option<f64> {
    let after = table.partition_point(|row| row.0 <= f_hz);
    match (after.checked_sub(1).map(|i| table[i]), table.get(after)) {
        (None, None) => None,
        (Some(row), None) => Some(row.1),
        (None, Some(row)) => Some(row.1),
        (Some((f0, l0)), Some(&(f1, l1))) => {
            let share = libm::log(f_hz / f0) / libm::log(f1 / f0);
            Some(l0 + share * (l1 - l0))
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// The response of the filter against the four-term formula, in the calmest and steepest sea, from ten lines on.
    #[test]
    fn verif_the_filter_keeps_the_formula() {
        for rate_hz in [8000.0, 48_000.0, 96_000.0] {
            let around = Surroundings {
                ear: "ear",
                rate_hz,
                wind_m_s: 0.0,
                shipping: 0.0,
                self_noise: &[],
                seed: 0,
            };
            let taps = taps(rate_hz);
            let line_hz = rate_hz / taps as f64;
            assert!(line_hz <= WIDEST_LINE_HZ);
            let table = density(&around).unwrap();
            let filter = signal::design_shaping_fir(&table, Ends::Hold, taps, rate_hz).unwrap();
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
}
