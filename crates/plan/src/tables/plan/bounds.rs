//! Bounds that several sections share.

use crate::field::{Bounds, between, degrees};

pub(crate) const TURN: Bounds = degrees(-360.0, 360.0, "from -360 deg to 360 deg");
pub(crate) const WIND: Bounds = between(0.0, 90.0, "from 0 m/s to 90 m/s");
/// Significant wave heights: the highest measured is near 20 m (common practice).
pub(crate) const WAVES: Bounds = between(0.0, 40.0, "from 0 m to 40 m");
/// No line stays longer: a hundred years of 365.25 d.
const LONGEST_S: f64 = 36_525.0 * 86_400.0;
pub(crate) const IN_WATER: Bounds = between(
    f64::MIN_POSITIVE,
    LONGEST_S,
    "more than zero and at most 36525 d",
);
pub(crate) const SLIP: Bounds = between(0.0, LONGEST_S, "from 0 s to 36525 d");
pub(crate) const DEPTH: Bounds = between(0.0, 11_000.0, "from 0 m to 11 km");
pub(crate) const FREQUENCY: Bounds = between(1.0e-3, 1.0e7, "from 1 mHz to 10 MHz");
pub(crate) const LEVEL: Bounds = between(-300.0, 300.0, "from -300 dB to 300 dB");
