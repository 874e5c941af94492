//! A regular wave of small height over a flat bed.
//!
//! Airy's linear theory: `omega^2 = g k tanh(k h)`. With `z` the depth below still water, `a` half the height, amplitudes are
//!
//! ```text
//! across     a cosh k(h-z) / sinh kh          pressure   rho g a cosh k(h-z) / cosh kh
//! up and down a sinh k(h-z) / sinh kh
//! ```
//!
//! Source: any text on water waves (formulas from memory; values held to SciPy's root of the same equation). Valid for waves that are low beside their
//! length and beside the depth; breaking is not looked at here (a plan may not write waves that would break).

use core::f64::consts::PI;

use crate::GRAVITY_M_S2;
use crate::error::{MooringError, not_negative, positive};

/// A wave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wave {
    height_m: f64,
    period_s: f64,
    depth_m: f64,
    wavenumber_m: f64,
}

/// What a wave does at a depth: amplitudes, each half of what goes back and forth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaveAt {
    /// Of the horizontal way of the water, m.
    pub across_m: f64,
    /// Of the vertical way of the water, m.
    pub up_m: f64,
    /// Of the horizontal speed of the water, m/s.
    pub across_m_s: f64,
    /// Of the pressure, as the height of still water that weighs as much, m.
    pub pressure_m: f64,
}

impl Wave {
    /// A wave of a height from trough to crest, m, and a period, s, over water of a depth, m.
    ///
    /// # Errors
    /// [`MooringError::NotPositive`] for a period or a depth that is not above zero, [`MooringError::Negative`] for a negative height.
    pub fn new(height_m: f64, period_s: f64, depth_m: f64) -> Result<Wave, MooringError> {
        positive("the period of a wave, s", period_s)?;
        positive("the depth of the water, m", depth_m)?;
        not_negative("the height of a wave, m", height_m)?;
        let omega = 2.0 * PI / period_s;
        let x = numerics::x_tanh_x(omega * omega * depth_m / GRAVITY_M_S2);
        Ok(Wave {
            height_m,
            period_s,
            depth_m,
            wavenumber_m: x / depth_m,
        })
    }

    /// From crest to crest, m.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        2.0 * PI / self.wavenumber_m
    }

    /// Height of its crests above still water, m: by linear theory half of its height, and what Stokes's second order adds to that,
    /// `k a^2 (3 - s^2) / (4 s^3)` with `s = tanh kh` (1847, from memory); never more than the whole height, which is that of a lone wave. Its troughs are as much flatter: half
    /// of its height is the most that they reach down.
    #[must_use]
    pub fn crest_m(&self) -> f64 {
        let a = 0.5 * self.height_m;
        let s = libm::tanh(self.wavenumber_m * self.depth_m);
        let steeper_m = self.wavenumber_m * a * a * (3.0 - s * s) / (4.0 * s * s * s);
        (a + steeper_m).min(self.height_m)
    }

    /// How far its troughs reach below still water at most, m: half of its height.
    #[must_use]
    pub fn trough_m(&self) -> f64 {
        0.5 * self.height_m
    }

    /// What it does at a depth below still water, m; depths above the surface or below the bed count as those of surface and bed.
    #[must_use]
    pub fn at(&self, depth_m: f64) -> WaveAt {
        let z = depth_m.clamp(0.0, self.depth_m);
        let k = self.wavenumber_m;
        let fall = libm::exp(-k * z);
        let back = libm::exp(-2.0 * k * (self.depth_m - z));
        let bed = libm::exp(-2.0 * k * self.depth_m);
        let amplitude_m = 0.5 * self.height_m;
        let across_m = amplitude_m * fall * (1.0 + back) / (1.0 - bed);
        WaveAt {
            across_m,
            up_m: amplitude_m * fall * (1.0 - back) / (1.0 - bed),
            across_m_s: across_m * 2.0 * PI / self.period_s,
            pressure_m: amplitude_m * fall * (1.0 + back) / (1.0 + bed),
        }
    }
}
