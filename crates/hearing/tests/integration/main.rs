//! Checks of files on their way to events: levels in closed form, cuts into files, gaps, failures.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

mod frozen;
mod hear;
mod measure;
mod noise;
mod pairs;
mod stretch;
mod trial;
