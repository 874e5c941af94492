//! Checks of `signal` against outside truth and of its own identities.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod bands;
mod bank;
mod budget;
mod chain;
mod cuts;
mod decimation;
mod delay;
mod filters;
mod frames;
mod frozen;
mod levels;
mod pick_up;
mod spectra;
mod support;
mod synth;
