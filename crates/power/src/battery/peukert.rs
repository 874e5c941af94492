//! Peukert's rule: how long a lead-acid battery lasts at a steady current.
//!
//! Source: Peukert 1897 in the form `t = H (C / (I H))^k`, C the capacity at the H-hour rate (read on a public page).
//! Some texts write `t = Cp / I^k` with the capacity Cp at one ampere: another convention with another capacity.
//!
//! Validity: steady currents at or above the rated one. Below it the rule promises more than the battery holds, so
//! the time is capped at that of the rated capacity. Not for the small changing currents of an hourly year.

use super::error::{BatteryError, BatteryQuantity};

/// Hours that a battery of `capacity_ah` at the rate of `rated_hours` lasts at a steady `current_a` (above 0, A), with
/// Peukert's exponent (1 to 2): at most `capacity_ah / current_a`.
///
/// # Errors
/// A value outside its range ([`BatteryQuantity::range`]).
pub fn peukert_hours(
    capacity_ah: f64,
    rated_hours: f64,
    exponent: f64,
    current_a: f64,
) -> Result<f64, BatteryError> {
    let capacity_ah = BatteryQuantity::AmpereHours.check(capacity_ah)?;
    let rated_hours = BatteryQuantity::LastingTime.check(rated_hours)?;
    let exponent = BatteryQuantity::Exponent.check(exponent)?;
    let current_a = BatteryQuantity::Current.check(current_a)?;
    let by_rule_h = rated_hours * libm::pow(capacity_ah / (current_a * rated_hours), exponent);
    Ok(by_rule_h.min(capacity_ah / current_a))
}

/// Peukert's exponent from two rates, each (current in A, hours it lasts).
///
/// # Errors
/// A value outside its range; equal currents; an exponent below 1, which would be a battery that holds more the harder
/// it is drawn, or above 2.
pub fn peukert_exponent(
    (first_a, first_h): (f64, f64),
    (second_a, second_h): (f64, f64),
) -> Result<f64, BatteryError> {
    for current_a in [first_a, second_a] {
        BatteryQuantity::Current.check(current_a)?;
    }
    for hours in [first_h, second_h] {
        BatteryQuantity::LastingTime.check(hours)?;
    }
    if first_a == second_a {
        return Err(BatteryError::SameRates);
    }
    BatteryQuantity::Exponent.check(libm::log(first_h / second_h) / libm::log(second_a / first_a))
}
