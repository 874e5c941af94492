//! A battery that lies before it is deployed: panels covered, something always drawn, and its own losses.
//!
//! Of a content left alone a share `m` goes in a month of 730 h, and a draw `P` takes `P/eta` from it, so `dE/dt = -r E - P/eta` with `r = -ln(1 - m)/730 h`:
//! `E(t) = E0 e^(-rt) - P/(eta r) (1 - e^(-rt))`, never below nothing. Source: the law of the self-discharge is that of the hourly step; the rest is a linear
//! differential equation of first order. Common practice for shelf time; a draw that the protection of the cells ends is not ended here.

use super::error::{BatteryError, BatteryQuantity};
use super::step::{Battery, HOURS_PER_MONTH};

/// How a battery lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lying {
    /// How long, h, 0 or more.
    pub hours: f64,
    /// What is drawn from it, W, 0 or more.
    pub draw_w: f64,
    /// Share of the content that goes by itself in a month of 730 h, from 0 to below 1; that of its chemistry where `None`.
    pub self_discharge_per_month: Option<f64>,
}

impl Battery {
    /// Usable state of charge, 0 to 1, of a battery that was full and has lain, at a temperature of its cells, degC, at its age.
    ///
    /// # Errors
    /// As [`Battery::at`]; hours, draw or self-discharge outside their range.
    pub fn charge_after(&self, lying: &Lying, temperature_degc: f64) -> Result<f64, BatteryError> {
        let at = self.at(temperature_degc)?;
        let lost = lying
            .self_discharge_per_month
            .unwrap_or(self.chemistry.self_discharge_per_month);
        let lost = BatteryQuantity::SelfDischarge.check(lost)?;
        let hours = BatteryQuantity::LyingTime.check(lying.hours)?;
        let draw_w = BatteryQuantity::LyingDraw.check(lying.draw_w)?;
        let taken_w = draw_w / self.chemistry.discharge_efficiency;
        let rate_per_h = -libm::log1p(-lost) / HOURS_PER_MONTH;
        let gone = -libm::expm1(-rate_per_h * hours);
        let drawn_wh = if rate_per_h > 0.0 {
            taken_w * gone / rate_per_h
        } else {
            taken_w * hours
        };
        let full_wh = at.stored_at(1.0);
        let left_wh = full_wh * (1.0 - gone) - drawn_wh;
        Ok(at.usable_state_of_charge(left_wh.max(0.0)).clamp(0.0, 1.0))
    }
}
