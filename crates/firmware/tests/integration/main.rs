//! Detectors in C against ours: the same events on golden sounds and on real recordings, compiled with every warning an error and under sanitizers.

#![expect(clippy::unwrap_used, reason = "a check that cannot go on fails")]

mod against;
mod built;
mod refused;
mod specs;
