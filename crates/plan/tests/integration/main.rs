//! Checks of the plan and cue-sheet files.

mod bad;
mod bad_calls;
mod bad_chain;
mod bad_content;
mod bad_cues;
mod bad_failures;
mod bad_figures;
mod bad_hours;
mod bad_links;
mod bad_power;
mod bad_routines;
mod bad_shore;
mod bad_stages;
mod bad_sync;
mod bad_things;
mod bad_values;
mod bad_votes;
mod draws;
mod edits;
mod good;
mod guide;
mod hostile;
#[cfg(unix)]
mod links;
mod schema;
mod support;
