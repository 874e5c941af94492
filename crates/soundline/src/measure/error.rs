//! Why recordings could not be measured.

use std::io;
use std::path::PathBuf;

use hearing::MeasureError;
use thiserror::Error;

use crate::listen::RecordingFault;

/// A request that cannot be carried out at all.
#[derive(Debug, Error)]
pub(crate) enum MeasureCommandError {
    /// A folder cannot be read.
    #[error("{}: cannot list it: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A folder without a recording.
    #[error("{}: no file in it is named like a recording", path.display())]
    EmptyFolder {
        /// The folder.
        path: PathBuf,
    },
    /// `--out` does not end in .csv or .parquet.
    #[error("{}: a table ends in .csv or .parquet", path.display())]
    OutName {
        /// The file.
        path: PathBuf,
    },
    /// The plan does not say enough of a sensor's chain, or something that cannot be.
    #[error("the chain cannot be worked out: {source}")]
    Chain {
        /// Why.
        source: Box<assess::input::InputError>,
    },
    /// No module that was recorded has such a state.
    #[error("--state {state}: no sensor that was recorded sits on a module with this state")]
    NoState {
        /// What was written.
        state: String,
        /// The nearest that there is.
        near: Option<String>,
        /// All that there are.
        known: Vec<String>,
    },
    /// Both tables would be one file.
    #[error("{}: --out and --lines are two tables and need two names", path.display())]
    OneFile {
        /// The file.
        path: PathBuf,
    },
    /// The spectra of a period would take too much memory.
    #[error(
        "the spectra of {every_s} s at {rate_hz} Hz take {bytes} bytes of memory, more than {limit_bytes}"
    )]
    TooManyLines {
        /// Length of a period, s.
        every_s: u32,
        /// Highest rate of the recordings, Hz.
        rate_hz: u32,
        /// What they take, over all channels, bytes.
        bytes: u64,
        /// The most that is allowed, bytes.
        limit_bytes: u64,
    },
    /// Parquet was asked of a program that was built without it.
    #[error("{}: this program was built without Parquet", path.display())]
    #[cfg_attr(
        feature = "parquet",
        expect(dead_code, reason = "for programs without Parquet")
    )]
    NoParquet {
        /// The file.
        path: PathBuf,
    },
    /// A stretch cannot be measured at its rate.
    #[error("{}: {source}", path.display())]
    Stretch {
        /// Its first recording.
        path: PathBuf,
        /// Why.
        source: MeasureError,
    },
    /// Periods cannot wait for the document.
    #[error("the temporary file with the periods of the document cannot be written: {0}")]
    Kept(#[source] io::Error),
    /// The user asked to stop.
    #[error("cancelled: {}", if *.table { "no table was written" } else { "what is told above is not all" })]
    Cancelled {
        /// Whether a table was asked for.
        table: bool,
    },
}

impl MeasureCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            MeasureCommandError::EmptyFolder { .. } => Some(format!(
                "recordings end in {}; name a file of another name by itself",
                super::inputs::ENDINGS.join(", ")
            )),
            MeasureCommandError::NoState { near, known, .. } => Some(match near {
                Some(near) => format!("did you mean `{near}`?"),
                None if known.is_empty() => {
                    "the plan writes no `loads` of it: leave --state out, or write them".to_owned()
                }
                None => format!("its states are: {}", known.join(", ")),
            }),
            MeasureCommandError::NoParquet { .. } => Some(
                "name a .csv, or build with `cargo build --release --features parquet`".to_owned(),
            ),
            MeasureCommandError::TooManyLines { .. } => {
                Some("choose a shorter --every, or leave --lines out".to_owned())
            }
            MeasureCommandError::Kept(_) => Some(
                "free some room in the folder for temporary files, or name another one in TMPDIR"
                    .to_owned(),
            ),
            MeasureCommandError::Chain { .. }
            | MeasureCommandError::Folder { .. }
            | MeasureCommandError::OneFile { .. }
            | MeasureCommandError::OutName { .. }
            | MeasureCommandError::Stretch { .. }
            | MeasureCommandError::Cancelled { .. } => None,
        }
    }
}

/// What went wrong with one recording. Every message names it.
#[derive(Debug, Error)]
pub(crate) enum MeasureFault {
    /// It cannot be heard, or not to its end.
    #[error(transparent)]
    Recording(#[from] RecordingFault),
    /// Its rate is too low.
    #[error("{}: {source}", path.display())]
    Rate {
        /// The recording.
        path: PathBuf,
        /// Why.
        source: MeasureError,
    },
    /// Every sample of a channel is zero.
    #[error("{}: channel {channel} is exact silence, every sample is zero: nothing was recorded", path.display())]
    Silence {
        /// The recording.
        path: PathBuf,
        /// Number of the channel, from 1.
        channel: u16,
    },
    /// Not one second of a sensor could be averaged over.
    #[error("{sensor}, channel {channel}: not one figure: {}", match *.clipped_samples {
        0 => "no whole second was heard".to_owned(),
        n => format!("every second holds samples at full scale, {n} in all"),
    })]
    NoFigure {
        /// The sensor.
        sensor: String,
        /// Number of the channel, from 1.
        channel: u16,
        /// Its samples at full scale.
        clipped_samples: u64,
    },
    /// Every sample of a channel is at full scale.
    #[error("{}: channel {channel} is at full scale from end to end: nothing can be measured in it", path.display())]
    AllClipped {
        /// The recording.
        path: PathBuf,
        /// Number of the channel, from 1.
        channel: u16,
    },
}

impl MeasureFault {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            MeasureFault::Recording(fault) => fault.help(),
            MeasureFault::NoFigure {
                clipped_samples: 1..,
                ..
            } => Some("record again with less gain".to_owned()),
            MeasureFault::NoFigure { .. }
            | MeasureFault::Rate { .. }
            | MeasureFault::Silence { .. }
            | MeasureFault::AllClipped { .. } => None,
        }
    }
}
