//! Checks of the rehearsal.

mod ear;
mod run;
