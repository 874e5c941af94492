//! The link against a broker from Debian's packages, and without one.
#![expect(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod broker;
mod client;
mod faults;
mod inward;
mod line;
mod mirror;
mod replay;
mod requests;
