//! The ideal energy detector.
//!
//! Source: H. Urkowitz, "Energy detection of unknown deterministic signals", Proceedings of the IEEE 55 (1967), 523. The energy
//! in a time `T` and a band `W` of Gaussian noise, over its two-sided density, has the chi-square law of `2TW` degrees of freedom;
//! with a signal the noncentral one, of noncentrality `E / (N0/2)`. With the in-band signal-to-noise ratio `S` (mean square
//! of the signal in the band over the window, over the noise power in the band) the noncentrality is `2TW S`.
//!
//! Validity: products of time and bandwidth from 0.05 to 5e6 that the chi-square laws take ([`chance::chi_square_share_above`]).

use chance::{chi_square_exceeded_by, noncentral_chi_square_share_above};

use crate::error::InjectionError;

/// Ratios between which the one that is needed is looked for, dB.
const RATIOS_DB: (f64, f64) = (-60.0, 60.0);

/// Share of signals that the ideal energy detector of a product of time and bandwidth finds at an in-band signal-to-noise
/// ratio in dB, with a probability of false alarm for each decision.
///
/// # Errors
/// [`InjectionError::Law`] outside the validity of the chi-square laws.
pub fn ideal_found_share(
    time_bandwidth: f64,
    false_alarm: f64,
    snr_db: f64,
) -> Result<f64, InjectionError> {
    let degrees = 2.0 * time_bandwidth;
    let threshold = chi_square_exceeded_by(false_alarm, degrees)?;
    let noncentrality = degrees * libm::pow(10.0, snr_db / 10.0);
    Ok(noncentral_chi_square_share_above(
        threshold,
        degrees,
        noncentrality,
    )?)
}

/// In-band signal-to-noise ratio in dB at which the ideal energy detector finds `share` of the signals.
///
/// # Errors
/// [`InjectionError::Law`] outside the validity of the chi-square laws; [`InjectionError::Value`] for a share that is not more
/// than the false alarms and less than 1, or is not reached between -60 dB and 60 dB.
pub fn ideal_snr_db(
    time_bandwidth: f64,
    false_alarm: f64,
    share: f64,
) -> Result<f64, InjectionError> {
    if !(share > false_alarm && share < 1.0) {
        return Err(InjectionError::Value {
            what: "a share of signals found",
            value: share,
            expected: "more than the false alarms and less than 1",
        });
    }
    let degrees = 2.0 * time_bandwidth;
    let threshold = chi_square_exceeded_by(false_alarm, degrees)?;
    let above = |snr_db: f64| -> Result<bool, InjectionError> {
        let noncentrality = degrees * libm::pow(10.0, snr_db / 10.0);
        Ok(noncentral_chi_square_share_above(threshold, degrees, noncentrality)? >= share)
    };
    let (mut low, mut high) = RATIOS_DB;
    // The noncentrality must stay within what the law takes.
    high = high.min(10.0 * libm::log10(0.99e8 / degrees));
    if above(low)? || !above(high)? {
        return Err(InjectionError::Value {
            what: "the signal-to-noise ratio of this share",
            value: share,
            expected: "between -60 dB and 60 dB",
        });
    }
    while high - low > 1e-9 {
        let middle = 0.5 * (low + high);
        if above(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}
