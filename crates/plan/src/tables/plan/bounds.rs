//! Bounds that several sections share.

use crate::field::{Bounds, between, degrees};

pub(crate) const TURN: Bounds = degrees(-360.0, 360.0, "from -360 deg to 360 deg");
pub(crate) const WIND: Bounds = between(0.0, 90.0, "from 0 m/s to 90 m/s");
pub(crate) const DEPTH: Bounds = between(0.0, 11_000.0, "from 0 m to 11 km");
pub(crate) const FREQUENCY: Bounds = between(1.0e-3, 1.0e7, "from 1 mHz to 10 MHz");
pub(crate) const LEVEL: Bounds = between(-300.0, 300.0, "from -300 dB to 300 dB");
