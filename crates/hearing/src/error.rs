//! Why recordings cannot be heard.

use std::path::PathBuf;

use detect::{PushError, SpecError};
use recording::RecordingError;
use signal::FilterError;
use thiserror::Error;

/// Files that cannot be put in order.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LineUpError {
    /// Two recordings of the same sensors at the same time.
    #[error(
        "{} begins {overlap_s} s before {} ends: the same sensors cannot have heard both",
        later.display(),
        earlier.display()
    )]
    Overlap {
        /// The file that begins first.
        earlier: PathBuf,
        /// The file that begins before the other has ended.
        later: PathBuf,
        /// By how much, s.
        overlap_s: f64,
    },
    /// Together they are longer than can be counted.
    #[error("with {} there are more frames than can be counted", at.display())]
    TooLong {
        /// The file at which the count ends.
        at: PathBuf,
    },
}

/// A task that cannot be: nothing was heard.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum HearError {
    /// A detector that cannot be at this rate.
    #[error("detector {detector} of ear {ear} (both counted from 0): {source}")]
    Detector {
        /// Index of the ear.
        ear: usize,
        /// Index among its detectors.
        detector: usize,
        /// Why.
        source: SpecError,
    },
    /// The caller asked to stop.
    #[error("cancelled")]
    Cancelled,
    /// A rate without levels.
    #[error(transparent)]
    Rate(#[from] FilterError),
    /// A calibration that is no positive number.
    #[error(
        "full scale of ear {ear} is {full_scale_upa} uPa, it must be greater than zero and at most 3.4e38"
    )]
    FullScale {
        /// Index of the ear.
        ear: usize,
        /// The value.
        full_scale_upa: f64,
    },
}

/// Why one file could not be heard to its end. Every message names the file.
#[derive(Debug, Error)]
pub enum FileError {
    /// The file cannot be read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The file is another than the one surveyed.
    #[error(
        "{}: was {was_rate_hz} Hz, {was_channels} channels when first looked at, now {rate_hz} Hz, {channels} channels",
        file.display()
    )]
    Changed {
        /// The file.
        file: PathBuf,
        /// Rate at the survey, Hz.
        was_rate_hz: u32,
        /// Channels at the survey.
        was_channels: u16,
        /// Rate now, Hz.
        rate_hz: u32,
        /// Channels now.
        channels: u16,
    },
    /// It has no such channel.
    #[error("{}: has {channels} channels, channel {wanted} is asked for", file.display())]
    Channel {
        /// The file.
        file: PathBuf,
        /// Its channels.
        channels: u16,
        /// Number of the wanted one, from 1.
        wanted: u32,
    },
    /// A sample so large that its pressure is no 32-bit number.
    #[error(
        "{}: sample {value:e} in frame {frame} (from 0), channel {channel} (from 1) is beyond any sound: its pressure cannot be held",
        file.display()
    )]
    Beyond {
        /// The file.
        file: PathBuf,
        /// Index of the frame in the file.
        frame: u64,
        /// Number of the channel, from 1.
        channel: u32,
        /// The sample, full scale 1.0.
        value: f32,
    },
    /// A detector does not take the samples.
    #[error("{}: near frame {frame}: {source}", file.display())]
    Detector {
        /// The file.
        file: PathBuf,
        /// Index of the first frame of the block in the file.
        frame: u64,
        /// Why.
        source: PushError,
    },
}
