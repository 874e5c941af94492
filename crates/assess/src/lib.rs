//! The line against its requirements: each discipline's input, verdicts and the evidence they rest on.
//!
//! [`check`] is a pure function of a plan that has been read and of the evidence that lies beside it. Each kind of
//! requirement is judged in one place; a verdict with a value cannot be made without its evidence.

mod assumed;
mod check;
mod delay_verdicts;
pub mod evidence;
pub mod input;
mod link_verdicts;
mod open;
mod other_verdicts;
mod power_verdicts;
mod queue;
mod reach;
mod uplink_verdicts;
mod verdict;

pub use check::{Check, Shelf, Status, check};
pub use verdict::{Evidence, Figure, Judged, Known, Ruling, Verdict, Word};
