//! Supplies, panels and batteries.

use super::{ModuleIx, Q};
use crate::site::Site;

/// How power enters.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SupplyKind {
    /// Panels and a battery.
    SolarBattery,
    /// A bench supply.
    Bench,
    /// A vessel's supply.
    Vessel,
    /// A feed from shore.
    Shore,
    /// Primary cells.
    PrimaryCells,
}

/// Where power enters the line.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Kind.
    pub kind: SupplyKind,
    /// Open-circuit voltage, V.
    pub voltage_v: Q,
    /// Source resistance, ohm.
    pub resistance_ohm: Q,
    /// Current limit, A.
    pub current_limit_a: Option<Q>,
    /// Panels.
    pub panels: Option<Panels>,
    /// Battery.
    pub battery: Option<Battery>,
}

/// Solar panels.
#[derive(Clone, Debug)]
pub struct Panels {
    /// Peak power of each, W.
    pub peak_power_each_w: Q,
    /// How many faces round the buoy, one panel on each.
    pub faces: u32,
    /// Tilt from horizontal, degrees.
    pub tilt_deg: Q,
    /// Wiring, soiling and conversion loss, 0 to 1.
    pub loss: Q,
}

/// Battery chemistry.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Chemistry {
    /// Lithium iron phosphate.
    LiFePo4,
    /// Lead-acid, absorbed glass mat.
    Agm,
    /// Primary lithium.
    PrimaryLithium,
    /// Alkaline.
    Alkaline,
}

/// A battery.
#[derive(Clone, Debug)]
pub struct Battery {
    /// Chemistry.
    pub chemistry: Chemistry,
    /// Capacity, A s.
    pub capacity_c: Q,
    /// Nominal voltage, V.
    pub voltage_v: Q,
}
