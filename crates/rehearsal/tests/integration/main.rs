//! Checks of the rehearsal.
#![expect(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod ear;
mod run;
