//! Checks of `recording` against other programs, the formats' definitions, and damaged files.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

mod bytes;
mod coded;
mod hostile;
mod libsndfile;
mod long;
mod names;
mod planned;
mod real;
mod stretches;
mod wav;
mod writer;
