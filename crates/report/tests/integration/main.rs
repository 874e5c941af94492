//! Pictures and outputs as a caller meets them.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod busy;
mod levels;
mod output;
mod pictures;
mod pixels;
mod spectrum;
mod told;
