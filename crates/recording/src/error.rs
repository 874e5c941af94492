//! Why a recording cannot be read.

use std::io;

use thiserror::Error;

use crate::sniff::Looks;

/// Why a recording could not be opened or read. Every message names the file.
#[derive(Debug, Error)]
pub enum RecordingError {
    /// The operating system refused.
    #[error("{file}: cannot {action}: {source}")]
    Io {
        /// Name of the file.
        file: String,
        /// What was being done.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// The content is something else than sound, whatever the name ends in.
    #[error("{file}: not a recording: {looks}")]
    NotARecording {
        /// Name of the file.
        file: String,
        /// What the first bytes look like.
        looks: Looks,
    },
    /// A header says something that cannot be.
    #[error("{file}: byte {at_byte}: expected {expected}, found {found}")]
    Malformed {
        /// Name of the file.
        file: String,
        /// Offset of the field in the file, bytes from its start.
        at_byte: u64,
        /// What the format asks for.
        expected: &'static str,
        /// What stands there.
        found: String,
    },
    /// A coded stream (FLAC, Ogg) breaks off in a way that reading cannot pass.
    #[error("{file}: damaged near frame {at_frame}: {reason}")]
    Damaged {
        /// Name of the file.
        file: String,
        /// Index of the first frame that could not be given out.
        at_frame: u64,
        /// What the decoder found.
        reason: &'static str,
    },
    /// A correct file of a kind that is not read here.
    #[error("{file}: cannot be read: {what}")]
    Unsupported {
        /// Name of the file.
        file: String,
        /// What is not read.
        what: Unsupported,
    },
    /// A header asks for more than this reader allows.
    #[error("{file}: {quantity} is {value}, more than the {limit} that is read")]
    OverLimit {
        /// Name of the file.
        file: String,
        /// What is too large.
        quantity: &'static str,
        /// The value found.
        value: u64,
        /// The largest value read.
        limit: u64,
    },
    /// There is not one sample in the file.
    #[error("{file}: holds no samples ({bytes} bytes in all)")]
    Empty {
        /// Name of the file.
        file: String,
        /// Length of the file in bytes.
        bytes: u64,
    },
    /// A floating-point sample is not a number or is infinite (also: a 64-bit sample beyond the range of 32 bits).
    #[error(
        "{file}: sample {value} in frame {frame} (counted from 0) of channel {} is not finite",
        u32::from(*.channel) + 1
    )]
    NotFinite {
        /// Name of the file.
        file: String,
        /// Index of the frame from the start of the file.
        frame: u64,
        /// Index of the channel, from 0.
        channel: u16,
        /// The sample as stored, turned into 64 bits.
        value: f64,
    },
    /// The caller's buffer does not hold a whole number of frames, or none.
    #[error(
        "{file}: a buffer of {samples} samples is not a whole number of frames of {channels} channels"
    )]
    Buffer {
        /// Name of the file.
        file: String,
        /// Length of the buffer in samples.
        samples: usize,
        /// Channels of the recording.
        channels: u16,
    },
    /// An earlier read failed; what follows has no known place in time.
    #[error("{file}: reading has stopped after an earlier error")]
    Stopped {
        /// Name of the file.
        file: String,
    },
}

/// What a correct file may hold that is not read here.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Unsupported {
    /// A WAV format tag other than PCM (1), float (3) and extensible (0xFFFE).
    #[error("WAV format tag {tag:#06x}{}", tag_name(*.tag))]
    FormatTag {
        /// The tag.
        tag: u16,
    },
    /// An extensible WAV whose sub-format is not one of the registered numbers.
    #[error("WAV sub-format {guid}")]
    SubFormat {
        /// The sixteen bytes as hexadecimal digits, in file order.
        guid: String,
    },
    /// A sample size that is not read.
    #[error("{bits}-bit {kind} samples")]
    SampleSize {
        /// Bits per sample.
        bits: u16,
        /// "integer" or "floating-point".
        kind: &'static str,
    },
    /// Another container of sound.
    #[error("{name} (WAV, RF64, BW64, FLAC and Ogg Vorbis are read)")]
    Container {
        /// Name of the container.
        name: &'static str,
    },
    /// An Ogg stream whose content is neither Vorbis nor FLAC, or a coding feature that the decoder lacks.
    #[error("{what}")]
    Coding {
        /// What the decoder said.
        what: &'static str,
    },
    /// Vorbis of more than two channels, which the decoder does not get right in every file.
    #[error("Vorbis of {channels} channels (up to 2 are read; FLAC and WAV take more)")]
    VorbisChannels {
        /// Channels of the stream.
        channels: u16,
    },
    /// Several streams side by side in one Ogg file.
    #[error("{count} streams side by side in one Ogg file")]
    Streams {
        /// How many.
        count: usize,
    },
    /// A chained Ogg file that changes its rate or channels on the way.
    #[error(
        "after frame {at_frame} the stream changes from {from_rate_hz} Hz, {from_channels} channels to {to_rate_hz} Hz, {to_channels} channels"
    )]
    ChainChanges {
        /// Frames before the change.
        at_frame: u64,
        /// Rate before, Hz.
        from_rate_hz: u32,
        /// Channels before.
        from_channels: u16,
        /// Rate after, Hz.
        to_rate_hz: u32,
        /// Channels after.
        to_channels: u16,
    },
}

/// Names of format tags that turn up in practice (RFC 2361, appendix A).
fn tag_name(tag: u16) -> &'static str {
    match tag {
        0x0002 => " (ADPCM)",
        0x0006 => " (A-law)",
        0x0007 => " (mu-law)",
        0x0011 => " (IMA ADPCM)",
        0x0050 => " (MPEG)",
        0x0055 => " (MPEG layer 3)",
        _ => "",
    }
}
