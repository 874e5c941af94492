//! Why recordings could not be listened to.

use std::io;
use std::path::{Path, PathBuf};

use assess::input::InputError;
use detect::PushError;
use hearing::{FileError, HearError, LineUpError};
use recording::RecordingError;
use report::{OutputError, PictureError};
use thiserror::Error;

use super::blank::Blank;
use super::ears::NoChannelNumber;

/// A request that cannot be carried out at all.
#[derive(Debug, Error)]
pub(crate) enum ListenError {
    /// `--as` is missing.
    #[error("nothing says which sensor made the sound")]
    NotAssigned {
        /// Sensors of the plan that hear, as typed paths.
        sensors: Vec<String>,
    },
    /// `--as` names no sensor that hears.
    #[error("`{sensor}` is no hydrophone or microphone of the plan")]
    UnknownSensor {
        /// What was named.
        sensor: String,
        /// Sensors of the plan that hear, as typed paths.
        sensors: Vec<String>,
    },
    /// Two sensors for one channel.
    #[error("channel {channel} is given to two sensors, {first} and {second}")]
    TwiceAssigned {
        /// Number of the channel, from 1.
        channel: u16,
        /// The sensor that has it already.
        first: String,
        /// The other.
        second: String,
    },
    /// A sensor without a channel number beside others.
    #[error("with several --as each must say its channel: 1={sensor}")]
    NoChannel {
        /// The sensor.
        sensor: String,
    },
    /// `--detector` names nothing.
    #[error("the plan has no detector `{id}`")]
    UnknownDetector {
        /// What was named.
        id: String,
        /// Detectors of the plan.
        detectors: Vec<String>,
    },
    /// `--detector` names a detector of a sensor that is not heard.
    #[error("detector `{id}` is on {on}, which no --as names")]
    DeafDetector {
        /// The detector.
        id: String,
        /// Its sensor.
        on: String,
    },
    /// A channel that is none.
    #[error(transparent)]
    Channel(#[from] NoChannelNumber),
    /// One start for several recordings.
    #[error("--start gives the start of one recording; there are {recordings}")]
    OneStart {
        /// How many.
        recordings: usize,
    },
    /// Recordings that cannot be put in order.
    #[error(transparent)]
    LineUp(#[from] LineUpError),
    /// `--out` does not end in .csv or .json.
    #[error("{}: an events file ends in .csv or .json", path.display())]
    OutName {
        /// The file.
        path: PathBuf,
    },
    /// One picture file for several channels or recordings.
    #[error("{}: {pictures} pictures do not go into one file", path.display())]
    OnePicture {
        /// The file.
        path: PathBuf,
        /// How many there are to be.
        pictures: usize,
    },
    /// Two recordings of the same name.
    #[error("{}: two recordings would make this picture", path.display())]
    SamePicture {
        /// The picture.
        path: PathBuf,
    },
    /// The user asked to stop.
    #[error("cancelled: {told} of {total} recordings are told above")]
    Cancelled {
        /// Recordings that were told.
        told: usize,
        /// Recordings that were named.
        total: usize,
    },
    /// One sensor for several channels.
    #[error("{sensor} is given to channels {first} and {second}")]
    OneSensor {
        /// The sensor.
        sensor: String,
        /// Number of the channel that has it already, from 1.
        first: u16,
        /// Number of the other, from 1.
        second: u16,
    },
    /// A sensor or detector without figures.
    #[error(transparent)]
    Input(#[from] InputError),
}

impl ListenError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            ListenError::NotAssigned { sensors } => Some(name_one(sensors)),
            ListenError::UnknownSensor { sensor, sensors } => Some(
                match quantity::nearest(sensor, sensors.iter().map(String::as_str)) {
                    Some(near) => format!("did you mean --as {near}?"),
                    None => name_one(sensors),
                },
            ),
            ListenError::UnknownDetector { id, detectors } => Some(
                match quantity::nearest(id, detectors.iter().map(String::as_str)) {
                    Some(near) => format!("did you mean --detector {near}?"),
                    None => format!("it has: {}", detectors.join(", ")),
                },
            ),
            ListenError::DeafDetector { on, .. } => Some(format!("add --as {on}")),
            ListenError::OneStart { .. } => {
                Some("put the start into each file name: ..._20270315T041500Z.wav".to_owned())
            }
            ListenError::OnePicture { .. } => Some("name a folder instead".to_owned()),
            ListenError::OneSensor { .. } => Some(
                "each channel has a sensor of its own: name another sensor, or leave a channel out"
                    .to_owned(),
            ),
            ListenError::SamePicture { .. } => {
                Some("listen to them one after the other, with two folders".to_owned())
            }
            ListenError::TwiceAssigned { .. }
            | ListenError::NoChannel { .. }
            | ListenError::LineUp(_)
            | ListenError::OutName { .. }
            | ListenError::Cancelled { .. }
            | ListenError::Channel(_)
            | ListenError::Input(_) => None,
        }
    }
}

/// What went wrong with one recording. Every message names it.
#[derive(Debug, Error)]
pub(crate) enum RecordingFault {
    /// It cannot be read, or not to its end.
    #[error(transparent)]
    Look(#[from] RecordingError),
    /// It was not heard to its end; what was heard before stands.
    #[error(transparent)]
    Hear(#[from] FileError),
    /// One sensor was named, and there are several channels.
    #[error("{}: has {channels} channels; --as must say which one", path.display())]
    WhichChannel {
        /// The recording.
        path: PathBuf,
        /// Its channels.
        channels: u16,
        /// The sensor that was named.
        sensor: String,
    },
    /// A channel was named that the recording does not have.
    #[error("{}: has {}, and no channel {channel} for {sensor}", path.display(), counted(*channels))]
    NoSuchChannel {
        /// The recording.
        path: PathBuf,
        /// The channel that was named, from 1.
        channel: u16,
        /// Its channels.
        channels: u16,
        /// The sensor that was named with it.
        sensor: String,
    },
    /// The rate is not that of the sensor.
    #[error("{}: is sampled at {rate_hz} Hz, {sensor} of the plan at {plan_rate_hz} Hz", path.display())]
    OtherRate {
        /// The recording.
        path: PathBuf,
        /// Its rate, Hz.
        rate_hz: u32,
        /// The sensor.
        sensor: String,
        /// The sensor's rate, Hz.
        plan_rate_hz: f64,
    },
    /// It begins before the one before it has ended.
    #[error("{}: {}", path.display(), overlaps(path, earlier, *overlap_s))]
    Overlap {
        /// The recording.
        path: PathBuf,
        /// The one before it.
        earlier: PathBuf,
        /// By how much, s.
        overlap_s: f64,
    },
    /// A detector cannot be at this rate.
    #[error("{}: {}", path.display(), hear_words(detector.as_deref(), source))]
    Ear {
        /// The recording.
        path: PathBuf,
        /// The detector, if one is to blame.
        detector: Option<String>,
        /// Why.
        source: HearError,
    },
    /// A channel without any sound.
    #[error("{}: channel {channel} {}", path.display(), match blank {
        Blank::Silent => "is exact silence, every sample is zero: nothing was recorded",
        Blank::Clipped => "is at full scale from end to end: nothing can be heard in it",
    })]
    Blank {
        /// The recording.
        path: PathBuf,
        /// Number of the channel, from 1.
        channel: u16,
        /// Why.
        blank: Blank,
    },
    /// A detector did not take some of its samples.
    #[error("{}: {source}", path.display())]
    Refused {
        /// The recording.
        path: PathBuf,
        /// Why.
        source: PushError,
    },
    /// The picture could not be drawn.
    #[error("{}: {source}", path.display())]
    Picture {
        /// The recording.
        path: PathBuf,
        /// Why.
        source: PictureError,
    },
    /// The picture could not be written.
    #[error(transparent)]
    Write(#[from] OutputError),
}

impl RecordingFault {
    /// Whether it kept the recording from being heard to its end.
    pub(crate) fn ends_the_hearing(&self) -> bool {
        matches!(self, RecordingFault::Hear(_))
    }

    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            RecordingFault::WhichChannel { sensor, .. } => {
                Some(format!("add the channel's number: --as 1={sensor}"))
            }
            RecordingFault::NoSuchChannel {
                channels: 1,
                sensor,
                ..
            } => Some(format!("name its only channel: --as {sensor}")),
            RecordingFault::NoSuchChannel {
                channels, sensor, ..
            } => Some(format!(
                "channels are counted from 1 to {channels}: --as 1={sensor}"
            )),
            RecordingFault::OtherRate { .. } => {
                Some("add --own-rate if the recording's rate is right, or mend the plan".to_owned())
            }
            RecordingFault::Overlap { path, earlier, .. } if path == earlier => None,
            RecordingFault::Overlap { .. } => Some(
                "are the start times in the names right? Give recordings of different sensors one after the other, each with its own --as"
                    .to_owned(),
            ),
            RecordingFault::Look(error) | RecordingFault::Hear(FileError::Recording(error)) => {
                reading_help(error)
            }
            RecordingFault::Hear(FileError::Beyond { .. } | FileError::Detector { .. }) => Some(
                "what was heard before it stands; cut the recording there, and listen to the rest as well"
                    .to_owned(),
            ),
            RecordingFault::Hear(FileError::Changed { .. } | FileError::Channel { .. })
            | RecordingFault::Ear { .. }
            | RecordingFault::Blank { .. }
            | RecordingFault::Refused { .. }
            | RecordingFault::Picture { .. }
            | RecordingFault::Write(_) => None,
        }
    }
}

fn overlaps(path: &Path, earlier: &Path, overlap_s: f64) -> String {
    if path == earlier {
        return "it is given twice; the second is left out".to_owned();
    }
    format!(
        "begins {overlap_s:.6} s before {} ends: the same sensors cannot have heard both; it is left out",
        earlier.display()
    )
}

/// Why nothing was heard, with the detector by its name in the plan.
pub(crate) fn hear_words(detector: Option<&str>, source: &HearError) -> String {
    match (detector, source) {
        (Some(id), HearError::Detector { source, .. }) => format!("detector.{id}: {source}"),
        (Some(id), source) => format!("detector.{id}: {source}"),
        (None, source) => source.to_string(),
    }
}

/// What to do about a recording that cannot be read, or not to its end.
fn reading_help(error: &RecordingError) -> Option<String> {
    const READ: &str = "WAV (integers of 8 to 32 bits, floats of 32 and 64), RF64, BW64, FLAC and Ogg Vorbis are read";
    match error {
        RecordingError::Io { file, source, .. } => match source.kind() {
            io::ErrorKind::IsADirectory => Some(format!(
                "name the recordings in it: {}",
                Path::new(file).join("*.wav").display()
            )),
            io::ErrorKind::NotFound => Some("check the name".to_owned()),
            _ => None,
        },
        RecordingError::NotARecording { .. } | RecordingError::Empty { .. } => {
            Some(format!("is this the right file? {READ}"))
        }
        RecordingError::Unsupported { .. } => Some(format!(
            "{READ}; turn it into WAV or FLAC, at the same rate"
        )),
        RecordingError::NotFinite { .. } => Some(
            "what was heard before it stands; does the recorder store floats in the order that the header tells?"
                .to_owned(),
        ),
        RecordingError::Damaged { .. } => Some(
            "what was heard before it stands; copy the file from the recorder once more".to_owned(),
        ),
        _ => None,
    }
}

/// A number of channels in words.
pub(crate) fn counted(channels: u16) -> String {
    match channels {
        1 => "1 channel".to_owned(),
        n => format!("{n} channels"),
    }
}

/// The sensors of the plan that may be named.
fn name_one(sensors: &[String]) -> String {
    match sensors {
        [] => "the plan has no hydrophone or microphone; describe one".to_owned(),
        [only] => format!("add --as {only} (or --as 1={only} for one of several channels)"),
        several => format!(
            "add one of --as {} (or --as 1=... for one of several channels)",
            several.join(", --as ")
        ),
    }
}
