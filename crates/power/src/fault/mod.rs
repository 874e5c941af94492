//! Faults of the line: shorts, broken spans, poor contacts and leaks.
//!
//! [`bolted_short`] says what flows and which loads live through it, [`settled`] the same of a network with its loads
//! dropping out one after another (a broken span, a weak supply), [`contact_borne`] which resistance a span bears,
//! [`leak`] and [`leak_borne`] what a leak from the conductors to the water costs and which one the line bears,
//! [`leaky_line`] what insulation that leaks everywhere does, [`insulation_reading_ohm`] what a tester reads,
//! [`conductor_to_water_ohm`] and [`leak_to_water`] what both conductors lose to the water, [`Metal`] how long that leaves a contact.
//! Equations, sources, limits and checks: `docs/method/power.md`.

mod contact;
mod faraday;
mod insulation;
mod leak;
mod short;
mod to_water;

pub use contact::{Borne, contact_borne};
pub use faraday::{
    ALUMINIUM, COPPER, COPPER_IN_SEA_WATER, FARADAY_C_MOL, IRON, Metal, NICKEL, SILVER, ZINC,
};
pub use insulation::{LeakError, LeakyLine, insulation_reading_ohm, leaky_line};
pub use leak::{Leak, at_place, leak, leak_borne};
pub use short::{Faulted, bolted_short, settled, short_circuit_current_a};
pub use to_water::{
    HALVES_EACH_K, Insulated, PoleInWater, Soaked, ToWater, conductor_to_water_ohm,
    insulation_at_ohm, leak_to_water,
};
