//! Checks of the crate against sources outside it, and of its two methods against each other.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use proptest::test_runner::Config;

mod carried;
mod conductors;
mod converters;
mod copper;
mod faults;
mod heating;
mod leaks;
mod networks;
mod properties;
mod published;
mod refusals;
mod reserve;
mod roots;
mod startup;
mod sun;
mod sweep;
mod worst;
mod year;

/// 64 cases, or as many as the environment variable PROPTEST_CASES asks for.
fn cases() -> Config {
    let cases = std::env::var("PROPTEST_CASES").map_or(64, |count| count.parse().unwrap());
    Config {
        failure_persistence: None,
        ..Config::with_cases(cases)
    }
}
