//! Exponential time weighting.
//!
//! Source: IEC 61672-1:2013, time weightings F (125 ms) and S (1 s): one pole on the squared signal. Sampled as
//! `y += (1 - a)(x^2 - y)` with `a = exp(-1/(rate tau))`. Decay 34.7 dB/s and 4.3 dB/s; tone bursts per Table 4 (checked,
//! from a secondary transcription of the standard).

use crate::error::{FilterError, checked_rate};

/// Time constant of weighting F, s (IEC 61672-1).
pub const FAST_S: f64 = 0.125;
/// Time constant of weighting S, s (IEC 61672-1).
pub const SLOW_S: f64 = 1.0;

const QUIET: f64 = 1e-60;
const ANCHOR: u32 = 256;

/// Exponentially weighted mean square.
///
/// A mean square under 1e-60 is set to zero at every 256th sample since the reset, so that no subnormal numbers arise.
#[derive(Debug, Clone, PartialEq)]
pub struct Exponential {
    keep: f64,
    take: f64,
    mean_square: f64,
    count: u32,
}

impl Exponential {
    /// Weighting with time constant `tau_s` of samples at `rate_hz`, beginning at rest.
    ///
    /// # Errors
    /// [`FilterError`] for a time constant or rate that is not a finite positive number.
    pub fn new(tau_s: f64, rate_hz: f64) -> Result<Self, FilterError> {
        checked_rate(rate_hz)?;
        if !(tau_s.is_finite() && tau_s > 0.0) {
            return Err(FilterError::TimeConstant { tau_s });
        }
        let step = -1.0 / (rate_hz * tau_s);
        Ok(Self {
            keep: libm::exp(step),
            take: -libm::expm1(step),
            mean_square: 0.0,
            count: 0,
        })
    }

    /// Takes one sample and tells the weighted mean square, in the square of the sample's unit.
    pub fn step(&mut self, x: f32) -> f64 {
        let x = f64::from(x);
        self.mean_square = self.keep * self.mean_square + self.take * (x * x);
        self.count += 1;
        if self.count == ANCHOR {
            self.count = 0;
            if self.mean_square < QUIET {
                self.mean_square = 0.0;
            }
        }
        self.mean_square
    }

    /// Takes samples and tells the weighted mean square after the last.
    pub fn process(&mut self, x: &[f32]) -> f64 {
        for &v in x {
            self.step(v);
        }
        self.mean_square
    }

    /// What a sample leaves of the mean square before it, and what it adds of its own square.
    pub fn weights(&self) -> (f64, f64) {
        (self.keep, self.take)
    }

    /// The weighted mean square now.
    pub fn mean_square(&self) -> f64 {
        self.mean_square
    }

    /// Back to rest.
    pub fn reset(&mut self) {
        self.mean_square = 0.0;
        self.count = 0;
    }
}
