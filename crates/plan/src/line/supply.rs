//! Supplies, panels and batteries.

use super::{InHold, ModuleIx, Q};
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
    /// Highest voltage that it ever gives, V.
    pub highest_v: Option<Q>,
    /// Source resistance, ohm.
    pub resistance_ohm: Q,
    /// Current limit, A.
    pub current_limit_a: Option<Q>,
    /// Whether one conductor is connected to the water.
    pub pole: Option<Pole>,
    /// What charge controller and supply draw themselves, at the battery, W.
    pub standing_w: Option<Q>,
    /// Panels.
    pub panels: Option<Panels>,
    /// What its charge controller needs before it charges.
    pub charger: Option<Charger>,
    /// Battery.
    pub battery: Option<Battery>,
    /// How it lies before it is deployed.
    pub hold: Option<InHold>,
}

/// What a charge controller needs before it charges.
#[derive(Clone, Copy, Debug)]
pub struct Charger {
    /// What it takes its own supply from.
    pub starts_on: StartsOn,
    /// Lowest battery voltage from which it charges, V.
    pub from_v: Option<Q>,
}

/// What a charge controller takes its own supply from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum StartsOn {
    /// The battery.
    Battery,
    /// The panels alone.
    Panels,
}

/// What the protection of cells does when they are empty.
#[derive(Clone, Copy, Debug)]
pub struct Protection {
    /// Voltage of the battery at which it opens, V.
    pub cuts_off_v: Q,
    /// What closes it again.
    pub wakes: Option<Wakes>,
}

/// What closes the protection of cells again.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Wakes {
    /// A charger's voltage at the terminals.
    ByCharge,
    /// A person.
    ByHand,
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
    /// Direction that all panels face, degrees from north; `None` on a buoy that turns freely.
    pub azimuth_deg: Option<Q>,
    /// Share of the power lost for each kelvin of cell temperature, 1/K.
    pub loss_per_kelvin: Option<Q>,
    /// Light lost to dirt.
    pub dirt: Option<Dirt>,
}

/// Share of the light that each kind of dirt takes, January to December, 0 to 1; each empty or twelve.
#[derive(Clone, Debug)]
pub struct Dirt {
    /// Droppings.
    pub birds: Vec<Q>,
    /// Dried spray.
    pub salt: Vec<Q>,
    /// Growth.
    pub growth: Vec<Q>,
}

/// How the conductors of a supply stand to the water.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pole {
    /// Neither is connected to it.
    Floating,
    /// One is.
    Earthed,
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
    /// Share of the capacity that can be drawn, by temperature: (degC, 0 to 1), temperatures rising; empty when not written.
    pub usable: Vec<(Q, Q)>,
    /// Share of the energy offered that gets into the cells.
    pub charge_efficiency: Option<Q>,
    /// Share of the energy drawn from the cells that arrives.
    pub discharge_efficiency: Option<Q>,
    /// Share of the content lost in a month by itself.
    pub self_discharge_per_month: Option<Q>,
    /// Share of the new capacity lost in a year.
    pub loss_per_year: Option<Q>,
    /// Usable state of charge at which the load is taken off.
    pub disconnect_at: Option<Q>,
    /// Usable state of charge at which it comes back.
    pub reconnect_at: Option<Q>,
    /// Terminal voltage below which the load is taken off, V.
    pub disconnect_v: Option<Q>,
    /// Terminal voltage at which it comes back, V.
    pub reconnect_v: Option<Q>,
    /// How long the terminals are too low before the load is taken off, s.
    pub disconnect_after_s: Option<Q>,
    /// How long they are high enough before it comes back, s.
    pub reconnect_after_s: Option<Q>,
    /// Of cells, leads and fuse, ohm.
    pub resistance_ohm: Option<Q>,
    /// Voltage at rest by state of charge: (0 to 1, V), both rising; empty when not written.
    pub open_voltage: Vec<(Q, Q)>,
    /// Protection of the cells.
    pub protection: Option<Protection>,
    /// Lowest temperature at which it may be charged, degC.
    pub charge_from_degc: Option<Q>,
    /// Highest temperature at which it may be charged, degC.
    pub charge_to_degc: Option<Q>,
    /// Highest charging power over the capacity, 1/h.
    pub charge_rate_per_h: Option<Q>,
    /// State of charge from which the charging power falls.
    pub tapers_from: Option<Q>,
    /// Share of it left at full.
    pub tapers_to: Option<Q>,
    /// Temperature of the cells in each month from January, degC; empty or twelve.
    pub temperature_degc: Vec<Q>,
    /// What primary cells give at a steady current: (A, A s), currents rising; empty when not written.
    pub capacity_at: Vec<(Q, Q)>,
}
