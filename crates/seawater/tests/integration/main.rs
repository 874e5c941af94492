//! Held to TEOS-10 (gsw), numpy and scipy (reference/seawater), to published points and to properties.

mod absorption;
mod noise;
mod pressure_density;
mod profile;
mod rays;
mod reference;
mod sound_speed;
mod spreading;
mod two_ears;
