//! Recordings that hold no sound: a recorder that ran, but heard nothing or nothing but its own limit.

use hearing::Hearing;

/// Why there is no sound in a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Blank {
    /// Every sample is zero.
    Silent,
    /// Every sample is at full scale.
    Clipped,
}

/// Whether the channel of an ear holds no sound at all; `None` also of one in which nothing was heard.
pub(crate) fn blank(hearing: &Hearing, ear: usize) -> Option<Blank> {
    let levels = hearing.levels.get(ear).copied().flatten()?;
    let spans = hearing.full_scale_s.get(ear).map_or(&[][..], Vec::as_slice);
    let clipped_s: f64 = spans.iter().map(|(from, to)| to - from).sum();
    if levels.level_db == f64::NEG_INFINITY {
        Some(Blank::Silent)
    } else if clipped_s >= levels.heard_s * (1.0 - 1e-9) {
        Some(Blank::Clipped)
    } else {
        None
    }
}
