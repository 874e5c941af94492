//! By how much one channel hears a sound later than another, by the peak of their cross-correlation.
//!
//! The sound is a piece of one channel; the other channel is given from `most` samples before it to `most` after it. Both are cut to a
//! band. The *likeness* at a lag is the correlation coefficient of the sound with as long a piece of the other,
//! `h = sum a[i] b[i + lag] / sqrt(sum a^2 sum b[i + lag]^2)`: held against the energy that lies under the sound at that very lag, so
//! that a sound cut off at its ends, or a louder one beside it, does not pull the peak. It is computed by transforms, with sixteen points or more to a period
//! of the band's upper edge; a parabola through the highest point and its neighbours gives the peak. Source: C. H. Knapp and
//! G. C. Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24, 320 (1976), equations from
//! memory.
//!
//! *Spread.* At the peak the phases of the cross spectrum `C` lie about zero. With `w` the angular frequency and `p` how many lines
//! there are to an independent one, the time is uncertain by `var = p sum (w^2 Im^2 C) / (sum w^2 Re C)^2` (the delay by a line through
//! phases, A. G. Piersol, IEEE Trans. ASSP 29, 471 (1981), from memory; its variance from the residuals themselves, as H. White,
//! Econometrica 48, 817 (1980), from memory). It holds for whatever spectra sound and noise have. What is told allows for residuals of
//! few lines as Student's distribution does: times `v / (v - 2)`, `v` one less than the effective number of lines.
//!
//! *Bound.* Least possible spread of an estimate without bias (Cramer-Rao) for a signal and independent noises that are flat in the band:
//! `var = 3 / (8 pi^2 T) (1 + 2 S) / S^2 / (f2^3 - f1^3)`, S signal-to-noise ratio in the band (power), T duration, f1 and f2 the
//! band (Knapp and Carter 1976; A. H. Quazi, IEEE Trans. ASSP 29, 527 (1981), from memory; held to trial).
//!
//! *Chance.* Of two channels with nothing in common the likeness at a lag is that of `2 T B` independent numbers, B the bandwidth: a greater one than `h` comes
//! with a probability of at most `(1 - h^2)^((2 T B - 1) / 2)` (tail of the correlation coefficient, R. A. Fisher 1915, from memory), and there are some
//! `4 B t` independent lags within `t` either way. Held to trial.
//!
//! Validity: one way of sound to each channel; with several, the highest peak may belong to an echo. What both channels hear beside the
//! sound (a ship's hum) has a peak of its own.

use std::f64::consts::PI;

use rustfft::num_complex::Complex64;
use thiserror::Error;

use crate::fft::{Arithmetic, RealFft};

/// Least points of the correlation to a period of the upper edge.
const POINTS: usize = 16;
/// Shortest and longest sound, and most samples of the other channel.
const SHORTEST: usize = 16;
const LONGEST: usize = 1 << 22;

/// The time between two channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeDifference {
    /// By how much the other channel hears the sound later, s; negative where it hears it earlier.
    pub later_s: f64,
    /// Height of the peak: 1 for channels that are alike in the band but for the time, 0 for nothing in common.
    pub likeness: f64,
    /// Height of the next peak that stands apart, or at an end of what was looked through where the likeness still rises there; near the
    /// highest, the choice between both is open. `None` without one.
    pub next: Option<f64>,
    /// Standard deviation of the time by the phases themselves, s; infinite where there are too few lines to tell.
    pub spread_s: f64,
}

/// Why no time could be found.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum DelayError {
    /// Too few or too many samples, or channels whose lengths do not go together.
    #[error(
        "{sound} samples of one channel and {other} of the other: the first takes {SHORTEST} or more, the other as many more on both sides, and {LONGEST} at most"
    )]
    Length {
        /// Samples of the sound.
        sound: usize,
        /// Samples of the other channel.
        other: usize,
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
    /// A sample is not a number, or one of the channels is silent in the band.
    #[error("a channel is silent in the band, or holds what is no number")]
    Silent,
    /// The peak lies at the longest time asked for: the true time may be longer.
    #[error("the likeness still grows at {most_s} s, the longest time asked for")]
    AtTheEnd {
        /// The longest time, s.
        most_s: f64,
    },
    /// A figure is not a positive number.
    #[error("{what} {value} is not a positive number")]
    NotPositive {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

/// By how much a sound comes later in another channel, within a band (Hz). `other` begins as many samples before the sound as it
/// goes on after it: the longest time, either way.
///
/// # Errors
/// [`DelayError`].
pub fn time_difference(
    sound: &[f32],
    other: &[f32],
    rate_hz: f64,
    band_hz: (f64, f64),
) -> Result<TimeDifference, DelayError> {
    let (length, beyond) = (sound.len(), other.len().saturating_sub(sound.len()));
    if length < SHORTEST || other.len() > LONGEST || beyond < 2 || beyond % 2 == 1 {
        return Err(DelayError::Length {
            sound: length,
            other: other.len(),
        });
    }
    let mut both = Both::new(sound, other, rate_hz, band_hz)?;
    let most = (beyond / 2) as f64;
    let (heights, each) = both.heights(beyond)?;
    let last = heights.len() - 1;
    let best = (0..=last)
        .max_by(|a, b| heights[*a].total_cmp(&heights[*b]))
        .expect("there is a lag");
    if best == 0 || best == last {
        return Err(DelayError::AtTheEnd {
            most_s: most / rate_hz,
        });
    }
    let (before, here, after) = (heights[best - 1], heights[best], heights[best + 1]);
    let bend = before - 2.0 * here + after;
    let shift = if bend < 0.0 {
        0.5 * (before - after) / bend
    } else {
        0.0
    };
    // What still rises at an end may be the foot of a peak beyond it, as high as it is there at the least.
    let rises = |at: usize| match at {
        0 => heights[0] > heights[1],
        _ if at == last => heights[last] > heights[last - 1],
        _ => heights[at] > heights[at - 1] && heights[at] >= heights[at + 1],
    };
    let next = (0..=last)
        .filter(|&at| at != best && rises(at))
        .map(|at| heights[at])
        .filter(|height| *height > 0.0)
        .max_by(f64::total_cmp);
    let at = (best as f64 + shift) * each;
    Ok(TimeDifference {
        later_s: (at - most) / rate_hz,
        likeness: here - 0.25 * (before - after) * shift,
        next,
        spread_s: both.spread_s(at),
    })
}

/// Both channels as lines of the band.
struct Both {
    rate_hz: f64,
    length: usize,
    /// Points of the transform, and the lines within the band.
    n: usize,
    lines: std::ops::RangeInclusive<usize>,
    fft: RealFft,
    sound: Vec<Complex64>,
    other: Vec<Complex64>,
    /// The other channel, cut to the band.
    banded: Vec<f64>,
}

impl Both {
    fn new(
        sound: &[f32],
        other: &[f32],
        rate_hz: f64,
        (low_hz, high_hz): (f64, f64),
    ) -> Result<Self, DelayError> {
        let nyquist_hz = 0.5 * rate_hz;
        let n = other.len().next_power_of_two();
        let line_hz = rate_hz / n as f64;
        // A mean carries no time.
        let lowest = ((low_hz / line_hz).ceil() as usize).max(1);
        let lines = lowest..=(high_hz / line_hz).floor() as usize;
        let rises = rate_hz > 0.0 && low_hz >= 0.0 && low_hz < high_hz && high_hz <= nyquist_hz;
        if !rises || lines.is_empty() {
            return Err(DelayError::Band {
                low_hz,
                high_hz,
                nyquist_hz,
            });
        }
        let mut both = Self {
            rate_hz,
            length: sound.len(),
            n,
            lines,
            fft: RealFft::new(n, Arithmetic::Scalar),
            sound: Vec::new(),
            other: Vec::new(),
            banded: vec![0.0; n],
        };
        both.sound = both.transformed(sound.iter().map(|s| f64::from(*s)));
        both.other = both.transformed(other.iter().map(|s| f64::from(*s)));
        both.fft.inverse(&both.other, &mut both.banded);
        Ok(both)
    }

    /// Lines of what is filled up with zeros; those outside the band are zero.
    fn transformed(&mut self, samples: impl Iterator<Item = f64>) -> Vec<Complex64> {
        let mut x: Vec<f64> = samples.collect();
        x.resize(self.n, 0.0);
        let mut out = vec![Complex64::default(); self.n / 2 + 1];
        self.fft.forward(&x, &mut out);
        for (k, line) in out.iter_mut().enumerate() {
            if !self.lines.contains(&k) {
                *line = Complex64::default();
            }
        }
        out
    }

    /// The likeness at each lag from the first, and how many samples lie between two lags.
    fn heights(&self, beyond: usize) -> Result<(Vec<f64>, f64), DelayError> {
        let power = |lines: &[Complex64]| -> f64 { lines.iter().map(Complex64::norm_sqr).sum() };
        let energy = 2.0 * power(&self.sound) / self.n as f64;
        // Running sums of the energy of the other channel: that under the sound is the difference of two of them.
        let mut sums = Vec::with_capacity(self.n + 1);
        let mut sum = 0.0;
        sums.push(sum);
        for v in &self.banded {
            sum += v * v;
            sums.push(sum);
        }
        if !(energy > 0.0 && sum > 0.0 && energy.is_finite() && sum.is_finite()) {
            return Err(DelayError::Silent);
        }
        let points = (POINTS * self.lines.end())
            .max(2 * self.lines.end() + 2)
            .next_power_of_two();
        let mut cross = vec![Complex64::default(); points / 2 + 1];
        for k in self.lines.clone() {
            cross[k] = self.sound[k].conj() * self.other[k];
        }
        let mut correlation = vec![0.0; points];
        RealFft::new(points, Arithmetic::Scalar).inverse(&cross, &mut correlation);
        let scale = points as f64 / self.n as f64;
        let each = self.n as f64 / points as f64;
        let under = |lag: usize| sums[lag + self.length] - sums[lag];
        let lags = (beyond as f64 / each).floor() as usize;
        let heights = (0..=lags)
            .map(|at| {
                let lag = at as f64 * each;
                let (whole, part) = (lag.floor() as usize, lag.fract());
                let (low, high) = (under(whole), under((whole + 1).min(beyond)));
                let other = low + part * (high - low);
                if other > 0.0 {
                    correlation[at] * scale / (energy * other).sqrt()
                } else {
                    0.0
                }
            })
            .collect::<Vec<f64>>();
        if heights.len() < 3 {
            return Err(DelayError::Length {
                sound: self.length,
                other: self.length + beyond,
            });
        }
        Ok((heights, each))
    }

    /// Standard deviation of the time by the phases about the peak at `at` samples after the first lag, s.
    fn spread_s(&mut self, at: f64) -> f64 {
        let whole = at.round() as usize;
        let under = self.banded[whole..whole + self.length].to_vec();
        let other = self.transformed(under.into_iter());
        let step = 2.0 * PI * self.rate_hz / self.n as f64;
        let rest_s = (at - whole as f64) / self.rate_hz;
        let (mut along, mut squares, mut across) = (0.0, 0.0, 0.0);
        for k in self.lines.clone() {
            let w = step * k as f64;
            let turn = Complex64::new(libm::cos(w * rest_s), libm::sin(w * rest_s));
            let cross = self.sound[k].conj() * other[k] * turn;
            along += w * w * cross.re;
            squares += (w * w * cross.re) * (w * w * cross.re);
            across += (w * cross.im) * (w * cross.im);
        }
        let alike = self.n as f64 / self.length as f64;
        let freedom = along * along / (squares * alike) - 1.0;
        if !(along > 0.0 && freedom > 2.0) {
            return f64::INFINITY;
        }
        (alike * across * freedom / (freedom - 2.0)).sqrt() / along
    }
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

/// The likeness that two channels with nothing in common reach with a probability of at most `chance` anywhere within `most_s` either
/// way: a sound of `duration_s` in a band (Hz).
///
/// # Errors
/// [`DelayError::NotPositive`] where a time or the chance is none, and where the sound holds no more than one independent number.
pub fn likeness_by_chance(
    chance: f64,
    (low_hz, high_hz): (f64, f64),
    duration_s: f64,
    most_s: f64,
) -> Result<f64, DelayError> {
    let wide_hz = high_hz - low_hz;
    let numbers = 2.0 * duration_s * wide_hz - 1.0;
    for (what, value) in [
        ("chance", chance),
        ("longest time", most_s),
        ("duration times twice the bandwidth, less one,", numbers),
    ] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(DelayError::NotPositive { what, value });
        }
    }
    let lags = 1.0 + 4.0 * wide_hz * most_s;
    let each = (chance / lags).min(1.0);
    Ok((1.0 - libm::pow(each, 2.0 / numbers)).max(0.0).sqrt())
}
