//! Quantities and levels of the plan, with their spreads and places.

use quantity::Law;

use crate::site::Site;

/// A quantity of the plan in SI units (temperatures in degC, angles in degrees), with its spread and its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Q {
    /// Nominal value.
    pub si: f64,
    /// Spread, when one was written.
    pub law: Option<Law>,
    /// Where it was written.
    pub at: Site,
}

/// A level of the plan in decibels, with its spread and its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Decibels {
    /// Nominal value, dB re the reference that the field's name states.
    pub db: f64,
    /// Spread in dB, when one was written.
    pub law: Option<Law>,
    /// Where it was written.
    pub at: Site,
}
