//! Checks of the ear: sounds and sea to samples and cells.

mod call;
mod chain;
mod doppler;
mod hum;
mod level;
mod noise;
mod played;
mod sameness;
mod support;
mod ways;
