//! Trains of clicks: tone bursts under a Gaussian window.
//!
//! One click is `A exp(-t^2/(2 s^2)) cos(2 pi f t)` about its middle. Its -10 dB duration `d` (envelope) fixes
//! `s = d / (2 sqrt(ln 10))`; its level is peak-to-peak, as click levels are published.

use core::f64::consts::PI;

use crate::error::SynthError;
use crate::synth::{finite, positive, pressure_upa, turning_point};

/// Beyond this many `s` the window is under 1e-15 of its peak and the click counts as over.
const REACH: f64 = 8.4;

/// Clicks at equal intervals.
#[derive(Debug, Clone, PartialEq)]
pub struct ClickTrain {
    centre_hz: f64,
    spread_s: f64,
    amplitude_upa: f64,
    interval_s: f64,
    count: u64,
}

impl ClickTrain {
    /// `count` clicks, click `i` with its middle at `(i + 1/2) * interval_s`; each a burst of `centre_hz` lasting
    /// `duration_10db_s` between the -10 dB points of its envelope, at `peak_to_peak_level_db_re_1upa_m`.
    ///
    /// # Errors
    /// [`SynthError::Value`] for values that are not positive, a level that is not finite, or an interval shorter than six
    /// -10 dB durations.
    pub fn new(
        centre_hz: f64,
        duration_10db_s: f64,
        peak_to_peak_level_db_re_1upa_m: f64,
        interval_s: f64,
        count: u64,
    ) -> Result<Self, SynthError> {
        positive("click frequency", centre_hz, "Hz")?;
        positive("click duration", duration_10db_s, "s")?;
        positive("click interval", interval_s, "s")?;
        finite(
            "click level",
            peak_to_peak_level_db_re_1upa_m,
            "dB re 1 uPa m",
        )?;
        if interval_s < 6.0 * duration_10db_s {
            return Err(SynthError::Value {
                what: "click interval",
                value: interval_s,
                unit: "s",
                expected: "at least six times the click's -10 dB duration",
            });
        }
        let spread_s = 0.5 * duration_10db_s / libm::sqrt(libm::log(10.0));
        let amplitude_upa =
            pressure_upa(peak_to_peak_level_db_re_1upa_m) / (1.0 + trough(centre_hz, spread_s));
        Ok(Self {
            centre_hz,
            spread_s,
            amplitude_upa,
            interval_s,
            count,
        })
    }

    /// Pressure in uPa at 1 m, `t_s` after the train's beginning.
    pub fn value(&self, t_s: f64) -> f64 {
        if !(t_s >= 0.0 && t_s < self.duration_s()) {
            return 0.0;
        }
        let n = libm::floor(t_s / self.interval_s);
        let from_middle_s = t_s - (n + 0.5) * self.interval_s;
        let u = from_middle_s / self.spread_s;
        if u.abs() > REACH {
            return 0.0;
        }
        self.amplitude_upa
            * libm::exp(-0.5 * u * u)
            * libm::cos(2.0 * PI * self.centre_hz * from_middle_s)
    }

    /// `count` intervals, s.
    pub fn duration_s(&self) -> f64 {
        self.interval_s * self.count as f64
    }
}

/// Depth of the first trough of a unit click: where `(t/s^2) cos(w t) + w sin(w t)` is zero between a quarter and half a period.
fn trough(centre_hz: f64, spread_s: f64) -> f64 {
    let w = 2.0 * PI * centre_hz;
    let slope = |t: f64| -(t / (spread_s * spread_s)) * libm::cos(w * t) - w * libm::sin(w * t);
    // The slope is negative on the way down to the trough.
    let t = turning_point(0.25 / centre_hz, 0.5 / centre_hz, |t| slope(t) < 0.0);
    let u = t / spread_s;
    -libm::exp(-0.5 * u * u) * libm::cos(w * t)
}
