//! Checks of the quantity crate against facts outside it.

mod accepted;
