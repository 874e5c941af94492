//! Checks of the quantity crate against facts outside it.

mod accepted;
mod outside;
mod properties;
mod refused;
mod shown;
