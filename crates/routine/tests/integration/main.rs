//! Checks of routines.
#![expect(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod arithmetic;
mod guide;
mod keys;
mod limits;
mod mistakes;
mod runs;
mod support;
