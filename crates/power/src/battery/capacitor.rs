//! A capacitor that carries a short burst of constant power.
//!
//! Source: energy balance. Without resistance `C = 2 P t / (V1^2 - V2^2)`. With a series resistance the current is
//! `I = (V - sqrt(V^2 - 4 P R)) / (2 R)` (the smaller root: the load has more than half of V), and `C dV/dt = -I`. The
//! time from V1 to V2 is then closed: with `s = sqrt(V^2 - 4 P R)`, `t = C [ (V^2 + V s)/(4 P) - R ln(V + s) ]` between
//! the two. V is the voltage behind the resistance; the load sees `U = V - I R = (V + s)/2`, and `V = U + P R / U`.
//!
//! Before the burst nothing flows and both are the same; what counts at its end is U, which the load must not find too
//! low.
//!
//! Validity: constant power at the load. Tolerance, ageing (20 to 30 %) and the higher resistance in the cold (all from
//! memory) are the caller's to add. Accuracy: 1e-12 of the capacitance for a drop of a tenth or more.

use super::error::{BatteryError, BatteryQuantity};

/// Least drop over the voltage before it: of two voltages that differ by less, the time between them is rounding.
const LEAST_DROP: f64 = 1e-6;

/// Capacitance, F, that gives `power_w` for `seconds` from `before_v` without load down to `after_v` at the load,
/// through `resistance_ohm` (0 for an ideal capacitor).
///
/// # Errors
/// A value outside its range; no drop of a millionth at least behind the resistance; a power that the resistance does
/// not let through at `after_v`.
pub fn capacitance_needed_f(
    power_w: f64,
    seconds: f64,
    before_v: f64,
    after_v: f64,
    resistance_ohm: f64,
) -> Result<f64, BatteryError> {
    let burst = Burst::new(power_w, seconds, before_v, resistance_ohm)?;
    BatteryQuantity::Voltage.check(after_v)?;
    if 2.0 * after_v < burst.lowest_v() {
        return Err(burst.too_much_power());
    }
    let behind_v = after_v + power_w * resistance_ohm / after_v;
    if before_v - behind_v < LEAST_DROP * before_v {
        return Err(BatteryError::NoDrop { before_v, after_v });
    }
    Ok(seconds / burst.seconds_per_farad(behind_v))
}

/// Voltage at the load, V, at the end of a burst of `power_w` for `seconds`, from `before_v` without load, through
/// `resistance_ohm`.
///
/// # Errors
/// A value outside its range; a power that the resistance does not let through; a capacitor that runs out before the
/// burst ends.
pub fn voltage_after_burst_v(
    power_w: f64,
    seconds: f64,
    before_v: f64,
    capacitance_f: f64,
    resistance_ohm: f64,
) -> Result<f64, BatteryError> {
    let burst = Burst::new(power_w, seconds, before_v, resistance_ohm)?;
    BatteryQuantity::Capacitance.check(capacitance_f)?;
    let lowest_v = burst.lowest_v();
    let lasts_s = burst.seconds_per_farad(lowest_v) * capacitance_f;
    if lasts_s < seconds {
        return Err(BatteryError::RunsOut { seconds, lasts_s });
    }
    let behind_v = numerics::brent(
        |v| burst.seconds_per_farad(v) * capacitance_f - seconds,
        lowest_v,
        before_v,
        1e-14 * before_v,
    )
    .expect("the time to a voltage falls from what the capacitor lasts to nothing")
    .x;
    Ok(0.5 * (behind_v + burst.root_v(behind_v)))
}

/// A burst whose power gets through at its beginning.
struct Burst {
    power_w: f64,
    before_v: f64,
    resistance_ohm: f64,
}

impl Burst {
    fn new(
        power_w: f64,
        seconds: f64,
        before_v: f64,
        resistance_ohm: f64,
    ) -> Result<Self, BatteryError> {
        BatteryQuantity::BurstTime.check(seconds)?;
        let burst = Self {
            power_w: BatteryQuantity::Power.check(power_w)?,
            before_v: BatteryQuantity::Voltage.check(before_v)?,
            resistance_ohm: BatteryQuantity::SeriesResistance.check(resistance_ohm)?,
        };
        if before_v < burst.lowest_v() {
            return Err(burst.too_much_power());
        }
        Ok(burst)
    }

    /// Below it, behind the resistance, no current brings the power through.
    fn lowest_v(&self) -> f64 {
        (4.0 * self.power_w * self.resistance_ohm).sqrt()
    }

    /// `s` of the closed form; rounding at the lowest voltage must not make it the root of a negative number.
    fn root_v(&self, behind_v: f64) -> f64 {
        (behind_v * behind_v - 4.0 * self.power_w * self.resistance_ohm)
            .max(0.0)
            .sqrt()
    }

    /// Time from the beginning to a voltage behind the resistance, for one farad.
    fn seconds_per_farad(&self, behind_v: f64) -> f64 {
        let before_v = self.before_v;
        let (before_s, after_s) = (self.root_v(before_v), self.root_v(behind_v));
        let area = before_v * (before_v + before_s) - behind_v * (behind_v + after_s);
        let ideal_s = area / (4.0 * self.power_w);
        if self.resistance_ohm == 0.0 {
            return ideal_s;
        }
        ideal_s - self.resistance_ohm * libm::log((before_v + before_s) / (behind_v + after_s))
    }

    fn too_much_power(&self) -> BatteryError {
        BatteryError::TooMuchPower {
            power_w: self.power_w,
            resistance_ohm: self.resistance_ohm,
            lowest_v: self.lowest_v(),
        }
    }
}
