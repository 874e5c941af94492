//! Checks of the chance crate against facts outside it.

mod draws;
mod limits;
mod normal_share;
mod reference;
