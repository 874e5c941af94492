//! Spans: conductors, contacts and links between modules.

use quantity::Conductor;

use super::{BusIx, Link, ModuleIx, Q};
use crate::site::Site;

/// An electrical cable between two modules.
#[derive(Clone, Debug)]
pub struct Span {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The catalogue part of which it is made: `part.ID`.
    pub part: Option<String>,
    /// One end.
    pub from: ModuleIx,
    /// Other end.
    pub to: ModuleIx,
    /// Length, m: as written, or the distance along the sections times (1 + slack).
    pub length_m: f64,
    /// The length as written.
    pub written_length_m: Option<Q>,
    /// Conductor; a span without one carries no power.
    pub conductor: Option<Conductor>,
    /// Mated contacts.
    pub contacts: Option<Contacts>,
    /// Highest supply current that conductors and contacts bear, A.
    pub rated_current_a: Option<Q>,
    /// Rating of the fuse at its end nearer to a supply, A.
    pub fuse_a: Option<Q>,
    /// Insulation resistance of one kilometre of each conductor against the water, ohm.
    pub insulation_1km_ohm: Option<Q>,
    /// Insulation of each conductor of the leg against the water.
    pub insulation: Option<LegInsulation>,
    /// What its own loss warms.
    pub heat: Option<CableHeat>,
    /// The link that is its own.
    pub link: Option<Link>,
    /// The bus that it is a piece of; a span without either carries no data.
    pub bus: Option<BusIx>,
}

/// Insulation of one conductor of a leg, read after a minute.
#[derive(Clone, Copy, Debug)]
pub struct LegInsulation {
    /// What was read, or is accepted, ohm.
    pub ohm: Q,
    /// Whether it was read.
    pub measured: bool,
    /// Temperature at the reading, degC.
    pub temperature_degc: Q,
    /// Length that was read, m; that of the span when `None`.
    pub length_m: Option<Q>,
}

/// A cable with two round cores in one jacket, and what lies round it.
#[derive(Clone, Copy, Debug)]
pub struct CableHeat {
    /// What lies round it.
    pub lies_in: LiesIn,
    /// Diameter of a core's conductor, m.
    pub core_m: Q,
    /// Diameter of a core over its insulation, m.
    pub insulated_m: Q,
    /// Diameter under the jacket, m.
    pub under_jacket_m: Q,
    /// Outer diameter, m.
    pub outer_m: Q,
    /// Insulation of a core.
    pub insulation: Insulation,
    /// Jacket.
    pub jacket: Insulation,
}

/// What lies round a cable.
#[derive(Clone, Copy, Debug)]
pub enum LiesIn {
    /// Still water.
    Water,
    /// Sediment.
    Sediment {
        /// Depth of the cable's axis, m.
        buried_m: Q,
        /// Thermal resistivity, K m/W.
        resistivity_k_m_per_w: Q,
    },
    /// Still air.
    Air,
}

/// A material between conductor and water.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Insulation {
    /// Polyethylene, also cross-linked.
    Polyethylene,
    /// Polyvinyl chloride.
    Pvc,
    /// Ethylene propylene rubber.
    Epr,
    /// Silicone rubber.
    Silicone,
}

/// Mated contacts of a span.
#[derive(Clone, Copy, Debug)]
pub struct Contacts {
    /// Mated pins in the current loop (go and return).
    pub mated_pins_in_loop: u32,
    /// Resistance of each when new, ohm.
    pub resistance_ohm: Q,
    /// Resistance of each when aged, ohm.
    pub aged_ohm: Option<Q>,
    /// The pin that a leak would eat.
    pub pin: Option<Pin>,
}

/// A round pin of a contact.
#[derive(Clone, Copy, Debug)]
pub struct Pin {
    /// Its metal.
    pub metal: PinMetal,
    /// Diameter, m.
    pub diameter_m: Q,
    /// Length, m.
    pub length_m: Q,
}

/// Metals of pins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PinMetal {
    /// Copper and its alloys.
    Copper,
    /// Nickel.
    Nickel,
    /// Silver.
    Silver,
    /// Iron.
    Iron,
}
