//! In which slots of an hour ropes strum within what is listened for.

use mooring::{TideCourse, TideSpeeds};

use super::joint::SLOTS;

/// A rope that strums.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct StrumRun {
    pub(crate) tide: TideSpeeds,
    /// Ranges of speed in which that is heard, m/s.
    pub(crate) loud_m_s: Vec<(f64, f64)>,
}

/// The slots of each hour of a tide in which one of some ropes is heard, a bit each; nothing where there is no rope.
pub(crate) fn slots_that_strum(ropes: &[StrumRun], tide: &TideCourse) -> Vec<u8> {
    if ropes.is_empty() {
        return Vec::new();
    }
    let mut hours = vec![0; tide.both.len() / SLOTS];
    for rope in ropes {
        let loud_m_s = joined(&rope.loud_m_s);
        for (hour, both) in hours.iter_mut().zip(tide.both.chunks_exact(SLOTS)) {
            for (slot, both) in both.iter().enumerate() {
                let speed_m_s = rope.tide.speed_m_s(*both);
                // Without a branch, which no processor would foresee.
                let loud = loud_m_s.iter().fold(false, |loud, (low, high)| {
                    loud | (speed_m_s >= *low) & (speed_m_s < *high)
                });
                *hour |= u8::from(loud) << slot;
            }
        }
    }
    hours
}

/// The same ranges as few: those that overlap or touch are one.
pub(super) fn joined(ranges: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<(f64, f64)> = ranges.iter().copied().filter(|(a, b)| a < b).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut all: Vec<(f64, f64)> = Vec::new();
    for (low, high) in sorted {
        match all.last_mut() {
            Some(last) if low <= last.1 => last.1 = last.1.max(high),
            _ => all.push((low, high)),
        }
    }
    all
}
