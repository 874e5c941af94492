//! The desk over HTTP, on a real socket, with a copy of the first example.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod api;
mod bench_plan;
mod cues;
mod described;
mod guarded;
mod http;
mod jobs;
mod places;
mod quay;
mod sound;
mod threshold;
mod watched;
