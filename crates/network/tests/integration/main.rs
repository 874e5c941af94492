//! Checks of the network against an independent simulator, published rules and closed forms.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of tests: a failed unwrap is a failed test"
)]

mod admission;
mod bound;
mod bus;
mod bus_runs;
mod can;
mod can_errors;
mod clocks;
mod faults;
mod latency;
mod links;
mod losses;
mod payload;
mod post;
mod properties;
mod queueing;
mod rate_limit;
mod single_failures;
mod sizes;
mod streams;
mod support;
mod topics;
mod turns;
mod twin;
mod two_buses;
mod uplink;
mod uplink_lone;
mod uplink_packed;
mod uplink_sea;
mod uplink_tries;
