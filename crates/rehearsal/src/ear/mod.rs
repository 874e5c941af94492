//! From the sounds of a cue sheet and the sea to the cells of the detectors at one hydrophone.
//!
//! ```text
//! sounds -> delay, loss -> sum -> + sea and self-noise -> high-pass -> converter -> fronts of the detectors -> cells
//! ```
//!
//! An [`Ear`] runs open loop: what it hears is a function of seed, ear, time of the last restart and sample index, and so are
//! the cells, bit for bit, whatever steps [`Ear::advance`] is taken in and on whatever thread. Sample 0 is at time 0 of the
//! rehearsal. The method page is `docs/method/rehearsal-sound.md`.

mod arrival;
mod background;
mod error;
mod heard;
mod hum;
mod interpolate;
mod numbers;
mod path;
mod played;
mod ray;
mod sounding;
mod track;
mod voice;
mod way;

pub use arrival::Arrival;
pub use error::EarError;
pub use heard::{Ear, EarSpec, HeardCell, Sea, Taken};
pub use voice::Voice;
pub use way::Ways;
