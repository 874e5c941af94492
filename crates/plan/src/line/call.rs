//! Calls that detectors are to find.

use super::{Decibels, Q, Template};
use crate::cue_sheet::SoundKind;
use crate::site::Site;

/// A sound that detectors are to find.
#[derive(Clone, Debug)]
pub struct Call {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it is; never a hum. The path of a recording is relative to the plan's folder.
    pub what: SoundKind,
    /// The recording that it is, if it is one.
    pub recording: Option<Template>,
    /// Source level, dB re 1 uPa m, in the meaning of [`crate::Sound::source_level_db`]; its spread is that from call to call.
    pub source_level_db: Decibels,
    /// Depth of the source, m.
    pub depth_m: Q,
}
