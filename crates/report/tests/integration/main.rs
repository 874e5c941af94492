//! Pictures and outputs as a caller meets them.

mod output;
mod pictures;
mod spectrum;
