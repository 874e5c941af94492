//! Checks of the plan and cue-sheet files.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

mod bad;
mod bad_cues;
mod bad_things;
mod bad_values;
mod good;
mod guide;
mod hostile;
#[cfg(unix)]
mod links;
mod schema;
mod support;
