//! How long a full battery carries the load without any light.
//!
//! Source: the sizing form in common use, `E = P t / (eta (1 - cut) f)` (common practice): E the aged capacity, P the
//! load, eta the efficiency out, cut the usable state of charge at which the load is taken off, f the share that can be
//! drawn at the temperature; with the self-discharge of the hourly step besides, in closed form.
//!
//! Validity: a steady load and one temperature. Accuracy: rounding.

use super::error::{BatteryError, BatteryQuantity};
use super::run_down::hours_to;
use super::step::{Battery, HOURS_PER_MONTH};

/// How long a battery lasts without light in its worst month.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Autonomy {
    /// Hours from full until the load is taken off or nothing can be drawn.
    pub hours: f64,
    /// The month in which it is shortest, 0 to 11; the first of equal ones.
    pub month: usize,
}

impl Battery {
    /// Hours that the full battery carries `load_w` (what the load and the controller take together) without light, at
    /// the temperatures of the months, January to December, degC: the shortest of them.
    ///
    /// # Errors
    /// As [`Battery::at`]; a load of nothing.
    pub fn autonomy(
        &self,
        temperature_degc: &[f64; 12],
        load_w: f64,
    ) -> Result<Autonomy, BatteryError> {
        let load_w = BatteryQuantity::Power.check(load_w)?;
        let mut shortest = Autonomy {
            hours: f64::INFINITY,
            month: 0,
        };
        let leak_per_h = -libm::log1p(-self.chemistry.self_discharge_per_month) / HOURS_PER_MONTH;
        for (month, &degc) in temperature_degc.iter().enumerate() {
            let at = self.at(degc)?;
            let capacity_wh = at.capacity_wh();
            let lowest = at.lowest_wh() / capacity_wh;
            let drawn_per_h = load_w / (self.chemistry.discharge_efficiency * capacity_wh);
            let hours = hours_to(1.0, lowest, drawn_per_h, leak_per_h);
            if hours < shortest.hours {
                shortest = Autonomy { hours, month };
            }
        }
        Ok(shortest)
    }
}
