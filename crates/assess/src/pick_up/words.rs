//! What is picked up, in words.

use quantity::{Dimension, show};

use super::Picked;

/// The place of a harmonic: `3rd`.
pub(super) fn ordinal(n: u32) -> String {
    let ending = match (n % 10, n % 100) {
        (1, tens) if tens != 11 => "st",
        (2, tens) if tens != 12 => "nd",
        (3, tens) if tens != 13 => "rd",
        _ => "th",
    };
    format!("{n}{ending}")
}

/// A frequency in words, with four figures.
pub(crate) fn hz(f_hz: f64) -> String {
    if f_hz <= 0.0 {
        return "0 Hz".to_owned();
    }
    let unit = libm::pow(10.0, 3.0 - libm::floor(libm::log10(f_hz)));
    show(libm::round(f_hz * unit) / unit, Dimension::Frequency)
}

impl Picked {
    /// In words, at a sample rate: `3rd harmonic of the converter of module.x, 285 kHz, folds to 3 kHz at 96 kHz`.
    pub(crate) fn words(&self, rate_hz: f64) -> String {
        let range = |(low, high): (f64, f64)| match hz(low) == hz(high) {
            true => hz(low),
            false => format!("{} to {}", hz(low), hz(high)),
        };
        match self.true_hz {
            None => format!("{}, in {}", self.what, range(self.heard_hz)),
            Some(true_hz) if true_hz.1 <= 0.5 * rate_hz => {
                format!("{}, {}", self.what, range(true_hz))
            }
            Some(true_hz) => format!(
                "{}, {}, folds to {} at {}",
                self.what,
                range(true_hz),
                range(self.heard_hz),
                hz(rate_hz)
            ),
        }
    }
}
