//! The whole line in time: sound, samples, notices, behaviours, messages, outputs, energy.
//!
//! The engine is the only master: it steps the ears, the detectors' logic, the links, the uplinks and the voltages in one
//! order that [`timeline`] fixes. Every record names the record that caused it, so that a lamp or a message ashore can be
//! traced back to the sound.

pub mod ear;
