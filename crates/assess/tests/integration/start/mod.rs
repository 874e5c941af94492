//! Starts against closed forms of one capacitor behind one resistance, and the plans whose start fails.

mod boots;
mod examples;
mod ohms;
mod one_capacitor;

use assess::{Check, Shelf, check};
use plan::Reading;

pub(crate) fn judged(reading: &Reading) -> Check {
    check(reading, &Shelf::default())
}
