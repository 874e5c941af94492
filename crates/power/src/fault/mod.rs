//! Faults of the line: shorts, broken spans, poor contacts and leaks.
//!
//! [`bolted_short`] says what flows and which loads live through it, [`settled`] the same of a network with its loads
//! dropping out one after another (a broken span, a weak supply), [`contact_borne`] which resistance a span bears,
//! [`leak`] and [`leak_borne`] what a leak from the conductors to the water costs and which one the line bears,
//! [`leaky_line`] what insulation that leaks everywhere does, [`insulation_reading_ohm`] what a tester reads.
//! Equations, sources, limits and checks: `docs/method/power.md`.

mod contact;
mod insulation;
mod leak;
mod short;

pub use contact::{Borne, contact_borne};
pub use insulation::{LeakyLine, LeakyLineError, insulation_reading_ohm, leaky_line};
pub use leak::{Leak, at_place, leak, leak_borne};
pub use short::{Faulted, bolted_short, settled, short_circuit_current_a};
