//! Checks of the detector against SciPy, published distributions and its own documented rules.

#![expect(clippy::unwrap_used, reason = "a check that cannot go on fails")]

mod cfar;
mod costs;
mod cuts;
mod distractors;
mod frames;
mod frozen;
mod grammar;
mod latency;
mod learned;
mod levels;
mod logic;
mod matching;
mod median;
mod real;
mod ridge;
mod rules;
mod spec;
mod stages;
mod support;
mod twin;
mod urkowitz;
mod voting;
