//! Checks of `signal` against outside truth and of its own identities.

mod bands;
mod chain;
mod cuts;
mod decimation;
mod filters;
mod levels;
mod spectra;
mod support;
mod synth;
