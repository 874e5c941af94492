//! What was heard in one file.

use detect::{Ending, Intervals, Sweep};
use jiff::Timestamp;
use recording::Warning;

use crate::error::FileError;
use crate::pairs::{TimeHeard, Untold};

/// A finished sound that a detector found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Index of the ear.
    pub ear: usize,
    /// Index among the ear's detectors.
    pub detector: usize,
    /// Number among the ear's events that begin in this file, from 1, in order of their begin.
    pub number: u64,
    /// Begin, s after the first frame of the file.
    pub begin_s: f64,
    /// End, s after the first frame of the file in which it begins; it may lie in a following file.
    pub end_s: f64,
    /// Begin, where the start of the file is known (and the calendar reaches so far).
    pub begin_utc: Option<Timestamp>,
    /// End, likewise.
    pub end_utc: Option<Timestamp>,
    /// Middle of its highest cell, s after the first frame of the file.
    pub peak_s: f64,
    /// Highest level, dB re what [`Ear::level_reference`](crate::Ear::level_reference) tells.
    pub peak_level_db: f64,
    /// Energy mean of the levels, same reference.
    pub mean_level_db: f64,
    /// Background at its begin, same reference; `None` without a background stage, and after a likeness.
    pub background_db: Option<f64>,
    /// Greatest excess over the background, or over the threshold where there is no background, dB.
    pub score_db: f64,
    /// Number of pulses of a train.
    pub pulses: Option<u32>,
    /// The straight line through a ridge.
    pub sweep: Option<Sweep>,
    /// Intervals between the pulses of a train.
    pub intervals: Option<Intervals>,
    /// Samples of its channel at full scale from its begin to its end: with any, it may have been louder. Beyond 65,536
    /// such samples in one channel they are counted in cells, and the count is that of the cells that begin in it.
    pub full_scale_samples: u64,
    /// Whether its end was heard.
    pub ending: Ending,
    /// When the other ears of its pairs hear the same sound; empty without pairs.
    pub arrivals: Vec<Arrival>,
}

/// When another ear hears the sound of an event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Index of the other ear.
    pub ear: usize,
    /// The time, or why it is not told.
    pub time: Result<TimeHeard, Untold>,
}

/// Levels of one channel over the whole file, dB re the ear's reference. Minus infinity is exact silence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelLevels {
    /// Sound pressure level (of the mean square), dB.
    pub level_db: f64,
    /// Zero-to-peak level, dB.
    pub peak_level_db: f64,
    /// Sound exposure level, dB re the reference squared times 1 s.
    pub exposure_level_db: f64,
    /// The same level without the mean: what it is but for an offset of the recorder, dB.
    pub level_without_mean_db: f64,
    /// Magnitude of the mean as a share of full scale: the offset of the recorder.
    pub mean_share: f64,
    /// Time heard, s; gaps do not count.
    pub heard_s: f64,
}

/// What was heard in one file.
#[derive(Debug, Default)]
pub struct Hearing {
    /// Events that begin in it, by ear, then in order of their begin.
    pub events: Vec<Found>,
    /// Levels by ear; `None` where nothing was heard.
    pub levels: Vec<Option<ChannelLevels>>,
    /// Frames up to where it was heard; missing ones count.
    pub frames: u64,
    /// The same in s.
    pub duration_s: f64,
    /// Samples (over all channels of the file) at full scale.
    pub full_scale_samples: u64,
    /// By ear: begin and end of the runs of samples at full scale, s after the first frame of the file.
    pub full_scale_s: Vec<Vec<(f64, f64)>>,
    /// What is odd about the file.
    pub warnings: Vec<Warning>,
    /// Warnings beyond those kept.
    pub warnings_left_out: u64,
    /// Why it was not heard to its end; what was heard before stands.
    pub failed: Option<FileError>,
}

impl Hearing {
    /// Puts the events in order and numbers them.
    pub(crate) fn number(&mut self) {
        self.events.sort_by(|a, b| {
            let begin = a.begin_s.total_cmp(&b.begin_s);
            a.ear
                .cmp(&b.ear)
                .then(begin)
                .then(a.detector.cmp(&b.detector))
        });
        let mut last = (usize::MAX, 0);
        for event in &mut self.events {
            last = if last.0 == event.ear {
                (event.ear, last.1 + 1)
            } else {
                (event.ear, 1)
            };
            event.number = last.1;
        }
    }
}
