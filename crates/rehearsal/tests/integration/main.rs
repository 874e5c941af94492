//! Checks of the rehearsal.
#![expect(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod answers;
mod asked_routines;
mod asking;
mod bounds;
mod chain;
mod clocks;
mod collapses;
mod conservation;
mod content;
mod cued_faults;
mod ear;
mod fail_safes;
mod fault_costs;
mod faults;
mod flood;
mod frozen;
mod nothing;
mod power_up;
mod relays;
mod routines;
mod run;
mod settings;
mod shore;
mod states;
mod steps;
mod streams;
mod sums;
mod support;
mod terms;
mod together;
mod voting;
