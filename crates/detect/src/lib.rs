//! Detector stages from samples to notices and events.
