//! How far from its place a buoy must be before it counts as adrift.
//!
//! A moored buoy stays within its watch circle. A position fix errs in both directions alike and independently, so its distance from the truth follows Rayleigh's law: more than
//! `r` with a chance of `exp(-r^2 / (2 sigma^2))` (textbook). The error of the place that the circle is drawn about adds to it as another such error, `sigma^2 = sigma_fix^2 + sigma_place^2`.
//! With `n` fixes and a chance `P` of any false alarm over the whole time, each fix may exceed the radius with `1 - (1 - P)^(1/n)`, and
//!
//! ```text
//! radius = watch circle + sigma sqrt(-2 ln(1 - (1 - P)^(1/n)))
//! ```
//!
//! That is a sum of the worst of one and a quantile of the other: the buoy is taken to lie at the rim of its circle, with all of the error outwards, at every fix; and the place's error, which is one and
//! the same for all fixes, is drawn anew with each. Both err towards fewer false alarms and a later notice. Gross errors of a receiver (a first fix after a start, reflections) are not of this law.

use crate::error::{MooringError, not_negative, share};

/// A drift alarm and what it is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftAlarm {
    /// Distance from the place of the anchor at which it goes off, m.
    pub radius_m: f64,
    /// Of that the watch circle, m.
    pub watch_circle_m: f64,
    /// Of that the errors of position, m.
    pub error_m: f64,
    /// Chance that one fix exceeds it while the buoy lies at the rim of its circle.
    pub each: f64,
}

/// Standard deviation in each direction of a position of which a share lies within a circle, m: the circular error probable has a share of 0.5.
///
/// # Errors
/// A radius below zero, a share not between 0 and 1.
pub fn sigma_of_circle_m(radius_m: f64, within: f64) -> Result<f64, MooringError> {
    not_negative("the radius of a circle of error, m", radius_m)?;
    share("the share within a circle of error", within)?;
    Ok(radius_m / (-2.0 * libm::log1p(-within)).sqrt())
}

/// The radius of a drift alarm: watch circle, m; standard deviations in each direction of a fix and of the place of the anchor, m; fixes over the whole time; chance of any false alarm in them.
///
/// # Errors
/// A figure out of its range.
pub fn drift_alarm(
    watch_circle_m: f64,
    fix_sigma_m: f64,
    place_sigma_m: f64,
    fixes: u32,
    any_false: f64,
) -> Result<DriftAlarm, MooringError> {
    not_negative("the watch circle, m", watch_circle_m)?;
    not_negative("the deviation of a fix, m", fix_sigma_m)?;
    not_negative("the deviation of the anchor's place, m", place_sigma_m)?;
    share("the chance of any false alarm", any_false)?;
    if fixes == 0 {
        return Err(MooringError::NotPositive {
            what: "the number of fixes",
            value: 0.0,
        });
    }
    let each = -libm::expm1(libm::log1p(-any_false) / f64::from(fixes));
    let sigma_m = libm::hypot(fix_sigma_m, place_sigma_m);
    let error_m = sigma_m * (-2.0 * libm::log(each)).sqrt();
    Ok(DriftAlarm {
        radius_m: watch_circle_m + error_m,
        watch_circle_m,
        error_m,
        each,
    })
}

/// How far from its place a buoy is seen in a share of layings and fixes, m: its watch circle, m, and the quantile of Rayleigh's law of both errors, standard deviations in each direction of a fix and of where the
/// anchor lies, m. As above it is taken to lie at the rim of its circle, with all of the error outwards.
///
/// # Errors
/// A figure out of its range; a share that is not between 0 and 1.
pub fn seen_within_m(
    watch_circle_m: f64,
    fix_sigma_m: f64,
    place_sigma_m: f64,
    within: f64,
) -> Result<f64, MooringError> {
    not_negative("the watch circle, m", watch_circle_m)?;
    not_negative("the deviation of a fix, m", fix_sigma_m)?;
    not_negative("the deviation of the anchor's place, m", place_sigma_m)?;
    share("the share of layings and fixes", within)?;
    let sigma_m = libm::hypot(fix_sigma_m, place_sigma_m);
    Ok(watch_circle_m + sigma_m * (-2.0 * libm::log1p(-within)).sqrt())
}
