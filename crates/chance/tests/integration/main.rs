//! Checks of the chance crate against facts outside it.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod chi_square;
mod days;
mod draws;
mod independent;
mod limits;
mod normal_share;
mod reference;
mod sampling;
mod waits;
