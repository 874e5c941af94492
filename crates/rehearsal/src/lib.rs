//! The whole line in time: sound, samples, notices, behaviours, messages, outputs, energy.

pub mod ear;
