//! The line against its requirements: each discipline's input, verdicts and the evidence they rest on.

pub mod evidence;
pub mod input;
