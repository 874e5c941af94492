//! Checks of the chance crate against facts outside it.

mod chi_square;
mod days;
mod draws;
mod independent;
mod limits;
mod normal_share;
mod reference;
mod sampling;
mod waits;
