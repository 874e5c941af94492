//! Checks of the injection crate against facts outside it.

mod bench;
mod counts;
mod curves;
mod ideal;
mod losses;
mod recall;
