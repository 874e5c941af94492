//! The time between two channels, by the peak of their cross-correlation.
//!
//! Source: C. H. Knapp and G. C. Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24,
//! 320 (1976), equations from memory. The cross spectrum `X1 conj(X2)` is cut to a band, taken as it is or divided by its size
//! ([`Weight`]), and transformed back with eight times the samples; a parabola through the highest point and its neighbours gives
//! the peak.
//!
//! Least possible spread of an estimate without bias (Cramer-Rao) for a signal and independent noises that are flat in the band:
//! `var = 3 / (8 pi^2 T) (1 + 2 S) / S^2 / (f2^3 - f1^3)`, S signal-to-noise ratio in the band (power), T duration, f1 and f2 the
//! band (the same paper; A. H. Quazi, IEEE Trans. ASSP 29, 527 (1981), from memory; held to trial).
//!
//! Validity: one way of sound to each channel; with several, the highest peak may belong to an echo. The bound holds above the ratio
//! at which a wrong peak is taken now and then (common practice: about 10 dB for `T` times band of some hundred); below that the spread
//! is larger by orders.

use std::f64::consts::PI;

use rustfft::num_complex::Complex64;
use thiserror::Error;

use crate::fft::{Arithmetic, RealFft};

/// Points of the correlation for each sample.
const FINER: usize = 8;
/// Longest channel, samples.
const LONGEST: usize = 1 << 22;

/// How the lines of the cross spectrum count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// By their size: best for a signal and noise that are flat in the band.
    Power,
    /// All alike, by phase alone: sharp peaks for coloured sound, and more noise from lines without signal.
    Phase,
}

/// The time between two channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeDifference {
    /// By how much the first channel hears later than the second, s; negative where it hears earlier.
    pub later_s: f64,
    /// Height of the peak: 1 for channels that are alike in the band but for the time, 0 for nothing in common.
    pub likeness: f64,
    /// Height of the next peak that stands apart, as a share of the highest; near 1 the choice between both is open. `None` without one.
    pub next: Option<f64>,
}

/// Why no time could be found.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum DelayError {
    /// Too few or too many samples, or channels of unlike length.
    #[error(
        "channels of {first} and {second} samples: both need the same number, from 16 to {most}"
    )]
    Length {
        /// Samples of the first.
        first: usize,
        /// Samples of the second.
        second: usize,
        /// Most.
        most: usize,
    },
    /// The band does not lie between 0 and half the rate.
    #[error("the band from {low_hz} Hz to {high_hz} Hz does not rise within 0 to {nyquist_hz} Hz")]
    Band {
        /// Lower edge, Hz.
        low_hz: f64,
        /// Upper edge, Hz.
        high_hz: f64,
        /// Half the rate, Hz.
        nyquist_hz: f64,
    },
    /// The longest time is not a positive number, or longer than the channels.
    #[error(
        "a longest time of {most_s} s is not above 0 and below the {length_s} s of the channels"
    )]
    Longest {
        /// As asked, s.
        most_s: f64,
        /// Length of the channels, s.
        length_s: f64,
    },
    /// A sample is not a number, or one of the channels is silent in the band.
    #[error("a channel is silent in the band, or holds what is no number")]
    Silent,
    /// The peak lies at the longest time asked for: the true time may be longer.
    #[error("the likeness still grows at {most_s} s, the longest time asked for")]
    AtTheEnd {
        /// The longest time, s.
        most_s: f64,
    },
    /// A figure of the bound is not a positive number.
    #[error("{what} {value} is not a positive number")]
    NotPositive {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

/// The time between two channels of the same length and rate within a band (Hz), at most `most_s` either way.
///
/// # Errors
/// [`DelayError`].
pub fn time_difference(
    first: &[f32],
    second: &[f32],
    rate_hz: f64,
    (low_hz, high_hz): (f64, f64),
    most_s: f64,
    weight: Weight,
) -> Result<TimeDifference, DelayError> {
    let length = first.len();
    if length != second.len() || !(16..=LONGEST).contains(&length) {
        return Err(DelayError::Length {
            first: length,
            second: second.len(),
            most: LONGEST,
        });
    }
    let nyquist_hz = 0.5 * rate_hz;
    if !(rate_hz > 0.0 && low_hz >= 0.0 && low_hz < high_hz && high_hz <= nyquist_hz) {
        return Err(DelayError::Band {
            low_hz,
            high_hz,
            nyquist_hz,
        });
    }
    let length_s = length as f64 / rate_hz;
    if !(most_s > 0.0 && most_s < length_s) {
        return Err(DelayError::Longest { most_s, length_s });
    }
    let n = (2 * length).next_power_of_two();
    let mut fft = RealFft::new(n, Arithmetic::Scalar);
    let mut lines = |samples: &[f32]| {
        let mut x: Vec<f64> = samples.iter().map(|s| f64::from(*s)).collect();
        x.resize(n, 0.0);
        let mut out = vec![Complex64::default(); n / 2 + 1];
        fft.forward(&x, &mut out);
        out
    };
    let (one, other) = (lines(first), lines(second));
    let line_hz = rate_hz / n as f64;
    let in_band = |k: usize| (low_hz..=high_hz).contains(&(k as f64 * line_hz));
    let mut fine = vec![Complex64::default(); FINER * n / 2 + 1];
    let (mut power_one, mut power_other, mut alike) = (0.0, 0.0, 0.0);
    for k in (0..=n / 2).filter(|k| in_band(*k)) {
        let cross = one[k] * other[k].conj();
        let size = cross.norm();
        power_one += one[k].norm_sqr();
        power_other += other[k].norm_sqr();
        fine[k] = match weight {
            Weight::Power => cross,
            Weight::Phase if size > 0.0 => cross / size,
            Weight::Phase => Complex64::default(),
        };
        alike += match weight {
            Weight::Power => 0.0,
            Weight::Phase if size > 0.0 => 1.0,
            Weight::Phase => 0.0,
        };
    }
    if !(power_one > 0.0 && power_other > 0.0 && power_one.is_finite() && power_other.is_finite()) {
        return Err(DelayError::Silent);
    }
    let whole = match weight {
        Weight::Power => (power_one * power_other).sqrt(),
        Weight::Phase => alike,
    };
    let mut correlation = vec![0.0; FINER * n];
    RealFft::new(FINER * n, Arithmetic::Scalar).inverse(&fine, &mut correlation);
    // Twice the sum over the lines is what the inverse makes of them at the peak.
    let scale = (FINER * n) as f64 / (2.0 * whole);
    let step_s = 1.0 / (rate_hz * FINER as f64);
    let most = (most_s / step_s).ceil() as i64;
    let at = |lag: i64| correlation[lag.rem_euclid((FINER * n) as i64) as usize] * scale;
    let best = (-most..=most)
        .max_by(|a, b| at(*a).total_cmp(&at(*b)))
        .expect("at least one lag");
    if best.abs() == most && at(best + best.signum()) > at(best) {
        return Err(DelayError::AtTheEnd { most_s });
    }
    let (before, here, after) = (at(best - 1), at(best), at(best + 1));
    let bend = before - 2.0 * here + after;
    let shift = if bend < 0.0 {
        0.5 * (before - after) / bend
    } else {
        0.0
    };
    let next = (-most + 1..most)
        .filter(|&lag| lag != best && at(lag) >= at(lag - 1) && at(lag) > at(lag + 1))
        .map(at)
        .filter(|height| *height > 0.0)
        .max_by(f64::total_cmp);
    Ok(TimeDifference {
        later_s: (best as f64 + shift) * step_s,
        likeness: here - 0.25 * (before - after) * shift,
        next: next.map(|height| height / here),
    })
}

/// Least standard deviation of a time between two channels, s: flat signal and noise in a band (Hz), a signal-to-noise ratio (of powers,
/// the same in both channels), and a duration (s).
///
/// # Errors
/// [`DelayError::NotPositive`]; [`DelayError::Band`] where the band does not rise.
pub fn time_difference_bound_s(
    snr: f64,
    (low_hz, high_hz): (f64, f64),
    duration_s: f64,
) -> Result<f64, DelayError> {
    for (what, value) in [("signal-to-noise ratio", snr), ("duration", duration_s)] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(DelayError::NotPositive { what, value });
        }
    }
    if !(low_hz >= 0.0 && low_hz < high_hz && high_hz.is_finite()) {
        return Err(DelayError::Band {
            low_hz,
            high_hz,
            nyquist_hz: f64::INFINITY,
        });
    }
    let cubes = high_hz * high_hz * high_hz - low_hz * low_hz * low_hz;
    Ok((3.0 / (8.0 * PI * PI * duration_s) * (1.0 + 2.0 * snr) / (snr * snr) / cubes).sqrt())
}
