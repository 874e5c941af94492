//! Conductors and the direct-current network of the line.
//!
//! What each module gets over a long two-conductor line: loop resistance of the spans ([`conductor`]), the operating
//! point of the network with constant-power, constant-current and resistive loads ([`solve`]), how far it is from
//! collapse ([`collapse_factor`]), what may still be added at a place ([`reserve()`]), which combination of states is
//! the worst ([`Solver::worst`]), what is left when it cannot carry all ([`carried()`]), what flows into a short circuit ([`short_circuit_current_a`]), and what the loss in a
//! cable does to its resistance ([`heating`], [`solve_hot`]). Equations, sources, limits and checks:
//! `docs/method/power.md`.
//! What the sun gives a panel at sea stands in [`sun`]; measured and generated weather in [`weather`]; batteries and
//! capacitors in [`battery`]; the hourly year that brings them together in [`year`] (`docs/method/energy-year.md`).
//! What happens between the switch and rest stands in [`startup`] (`docs/method/start-up.md`).
//!
//! Nothing here says that a voltage is safe to touch, in water or out of it.

pub mod battery;
mod calendar;
mod carried;
pub mod conductor;
mod converter;
mod elimination;
pub mod fault;
pub mod heating;
mod hot;
mod network;
mod nose;
mod reserve;
mod solver;
pub mod startup;
pub mod sun;
mod topology;
pub mod weather;
mod worst;
pub mod year;

pub use calendar::MONTH_DAYS;
pub use carried::{Carried, Fallen, carried};
pub use converter::{Converter, ConverterError, EfficiencyCurve};
pub use fault::short_circuit_current_a;
pub use hot::{HotError, HotSolution, WarmSpan, solve_hot};
pub use network::{Branch, Load, LoadKind, Network, NetworkError, Part, Solution, Source};
pub use nose::collapse_factor;
pub use reserve::{Binding, Limits, Reserve, reserve};
pub use solver::{Scratch, Solver, has_operating_point, solve};
pub use topology::Method;
pub use worst::{
    AtMost, Choice, Choices, Combination, Extreme, LeastReserve, Weakest, Worst, WorstError,
};
