//! Why an ear cannot be built, or cannot hear on.

use thiserror::Error;

/// What an ear, or a sound of the cue sheet, has wrong.
#[derive(Debug, Error)]
pub enum EarError {
    /// The sound's figures do not make a sound.
    #[error("sound.{sound}: {source}")]
    Synth {
        /// Id of the sound.
        sound: String,
        /// Why.
        source: signal::SynthError,
    },
    /// The recording that is the sound cannot be read.
    #[error("sound.{sound}: {source}")]
    Recording {
        /// Id of the sound.
        sound: String,
        /// Why.
        source: recording::RecordingError,
    },
    /// The recording has no such channel.
    #[error(
        "sound.{sound}: channel {channel} is asked for, counted from 1; the recording has {channels}"
    )]
    NoChannel {
        /// Id of the sound.
        sound: String,
        /// Channel asked for, from 1.
        channel: u32,
        /// Channels of the file.
        channels: u16,
    },
    /// The recording has several channels, and none is named.
    #[error(
        "sound.{sound}: the recording has {channels} channels; add `channel`, counted from 1, to say which one is played"
    )]
    WhichChannel {
        /// Id of the sound.
        sound: String,
        /// Channels of the file.
        channels: u16,
    },
    /// Samples are missing in the middle of the recording; a source has no gaps.
    #[error(
        "sound.{sound}: the recording has a gap before frame {frame}; a source without gaps is needed"
    )]
    RecordingGap {
        /// Id of the sound.
        sound: String,
        /// First frame after the gap.
        frame: u64,
    },
    /// The recording is too long to be held in memory.
    #[error(
        "sound.{sound}: the recording is longer than {limit_frames} frames, the most that is held in memory"
    )]
    RecordingTooLong {
        /// Id of the sound.
        sound: String,
        /// Most frames that are held.
        limit_frames: usize,
    },
    /// The recording holds nothing, or exact silence: it cannot be given a level.
    #[error("sound.{sound}: the recording is silent; no source level can be given to it")]
    RecordingSilent {
        /// Id of the sound.
        sound: String,
    },
    /// A figure of the sound that has to be a finite number, or a positive one, is not.
    #[error("sound.{sound}: {what} of {value} {unit} is not {expected}")]
    Value {
        /// Id of the sound.
        sound: String,
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// What would do.
        expected: &'static str,
    },
    /// The track's times do not rise, or it has no point.
    #[error(
        "sound.{sound}: point {point} of the track is missing, or not later than the one before"
    )]
    Track {
        /// Id of the sound.
        sound: String,
        /// Number of the point, from 0.
        point: usize,
    },
    /// The source is faster than the delay can be solved for.
    #[error("sound.{sound}: the source moves at {speed_m_s:.1} m/s; the limit is {limit_m_s} m/s")]
    TooFast {
        /// Id of the sound.
        sound: String,
        /// Its highest speed, m/s.
        speed_m_s: f64,
        /// Highest speed, m/s.
        limit_m_s: f64,
    },
    /// The source comes closer than the reference distance of its level.
    #[error(
        "sound.{sound}: the source comes within {range_m:.2} m of {ear}; its level holds from {limit_m} m on"
    )]
    TooClose {
        /// Id of the sound.
        sound: String,
        /// Name of the ear.
        ear: String,
        /// Least distance, m.
        range_m: f64,
        /// Least distance allowed, m.
        limit_m: f64,
    },
    /// The delay of a sound changes too fast to be solved for.
    #[error(
        "sound.{sound} to {ear}: its delay may change by {change:.3} s in a second; the limit is {limit}"
    )]
    Delay {
        /// Id of the sound.
        sound: String,
        /// Name of the ear.
        ear: String,
        /// Bound of the change, s/s.
        change: f64,
        /// Largest bound allowed, s/s.
        limit: f64,
    },
    /// The sound reaches so far above half the ear's rate that it cannot be filtered at this cost.
    #[error(
        "sound.{sound}: it reaches {high_hz:.0} Hz, more than {most} times the rate {rate_hz} Hz of {ear}"
    )]
    TooHigh {
        /// Id of the sound.
        sound: String,
        /// Name of the ear.
        ear: String,
        /// Highest frequency of the sound, Hz.
        high_hz: f64,
        /// Rate of the ear, Hz.
        rate_hz: f64,
        /// Most times the rate.
        most: f64,
    },
    /// The sea on the way of a sound lies outside what the formulas hold for.
    #[error("sound.{sound} to {ear}: {source}")]
    Path {
        /// Id of the sound.
        sound: String,
        /// Name of the ear.
        ear: String,
        /// Why.
        source: seawater::SeaError,
    },
    /// The ambient noise at the ear lies outside what the formula holds for.
    #[error("ambient noise at {ear}: {source}")]
    Ambient {
        /// Name of the ear.
        ear: String,
        /// Why.
        source: seawater::SeaError,
    },
    /// The noise of the ear, or of a sound, cannot be shaped.
    #[error("noise of {of}: {source}")]
    Noise {
        /// Ear or sound.
        of: String,
        /// Why.
        source: signal::SpectrumError,
    },
    /// The sensor chain refuses something.
    #[error("sensor chain of {ear}: {source}")]
    Chain {
        /// Name of the ear.
        ear: String,
        /// Why.
        source: signal::ChainError,
    },
    /// A detector cannot be built.
    #[error("detector {detector} of {ear}: {source}")]
    Detector {
        /// Name of the ear.
        ear: String,
        /// Index of the detector in the line.
        detector: usize,
        /// Why.
        source: detect::SpecError,
    },
    /// A detector works at another rate than the ear.
    #[error("detector {detector} works at {detector_rate_hz} Hz, its ear {ear} at {rate_hz} Hz")]
    RateDiffers {
        /// Name of the ear.
        ear: String,
        /// Index of the detector in the line.
        detector: usize,
        /// Rate of the detector, Hz.
        detector_rate_hz: f64,
        /// Rate of the ear, Hz.
        rate_hz: f64,
    },
    /// The rate of the ear cannot be kept as a fraction of whole numbers.
    #[error(
        "rate {rate_hz} Hz of {ear} is not between {min_hz} Hz and {max_hz} Hz in steps of 1 mHz"
    )]
    Rate {
        /// Name of the ear.
        ear: String,
        /// Rate of the ear, Hz.
        rate_hz: f64,
        /// Lowest rate, Hz.
        min_hz: f64,
        /// Highest rate, Hz.
        max_hz: f64,
    },
    /// A detector refuses the samples.
    #[error("detector {detector} of {ear}: {source}")]
    Push {
        /// Name of the ear.
        ear: String,
        /// Index of the detector in the line.
        detector: usize,
        /// Why.
        source: detect::PushError,
    },
    /// A sound would be heard at a time that no clock can say.
    #[error("sound.{sound}: {source}")]
    Time {
        /// Id of the sound.
        sound: String,
        /// Why.
        source: timeline::TimeError,
    },
    /// A sample's time lies beyond the clock.
    #[error("clock of {ear}: {source}")]
    Clock {
        /// Name of the ear.
        ear: String,
        /// Why.
        source: timeline::ClockError,
    },
}

impl EarError {
    /// Id of the sound of the cue sheet that it is about, where it is about one.
    #[must_use]
    pub fn sound(&self) -> Option<&str> {
        match self {
            EarError::Synth { sound, .. }
            | EarError::Recording { sound, .. }
            | EarError::NoChannel { sound, .. }
            | EarError::WhichChannel { sound, .. }
            | EarError::RecordingGap { sound, .. }
            | EarError::RecordingTooLong { sound, .. }
            | EarError::RecordingSilent { sound }
            | EarError::Value { sound, .. }
            | EarError::Track { sound, .. }
            | EarError::TooFast { sound, .. }
            | EarError::TooClose { sound, .. }
            | EarError::Delay { sound, .. }
            | EarError::TooHigh { sound, .. }
            | EarError::Path { sound, .. }
            | EarError::Time { sound, .. } => Some(sound),
            EarError::Ambient { .. }
            | EarError::Noise { .. }
            | EarError::Chain { .. }
            | EarError::Detector { .. }
            | EarError::RateDiffers { .. }
            | EarError::Rate { .. }
            | EarError::Push { .. }
            | EarError::Clock { .. } => None,
        }
    }
}
