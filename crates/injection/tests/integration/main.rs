//! Checks of the injection crate against facts outside it.

mod bench;
mod counts;
mod curves;
mod distractors;
mod frozen;
mod ideal;
mod losses;
mod recall;
mod recorded;
