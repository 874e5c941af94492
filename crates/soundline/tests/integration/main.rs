//! The program as its user meets it: arguments in, text, files and exit status out.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

mod allowance;
mod bad_input;
mod book;
#[cfg(target_os = "linux")]
mod cancel;
mod certainty;
mod chain;
mod check;
mod deaf;
mod desk;
mod dockside;
mod documents;
mod failures;
mod faults;
mod files;
mod first_page;
mod frame;
mod heard;
mod hours;
mod inputs;
mod learned;
mod live;
mod measure;
mod mooring;
mod new;
mod paths;
mod payload;
mod places;
mod planted;
mod range;
mod real;
mod records;
mod recovery;
mod rehearse;
mod rehearsed_part;
mod remedy;
mod reserve;
mod shapes;
mod slip;
mod start;
mod support;
mod tune;
mod two_ears;
mod uplink;
mod workpack;
mod year;
