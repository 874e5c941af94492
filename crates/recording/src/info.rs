//! What a recording says about itself.

use std::fmt;

use jiff::Timestamp;

/// Highest rate read, Hz (ours): far above any hydrophone converter.
pub(crate) const RATE_LIMIT_HZ: u32 = 100_000_000;

/// What a recording says about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Info {
    /// Frames per second, Hz; 1 to 100 000 000.
    pub rate_hz: u32,
    /// Samples in a frame; 1 to 1024.
    pub channels: u16,
    /// Frames in the file, where it can be told without reading it all. For a file that a crashed recorder left it is
    /// what the length of the file gives.
    pub frames: Option<u64>,
    /// How samples are stored.
    pub encoding: Encoding,
    /// What they are stored in.
    pub container: Container,
    /// Instant of the first sample, from the file name ([`start_from_name`](crate::start_from_name)); `None` with a
    /// warning that says why.
    pub start: Option<Timestamp>,
}

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// 8-bit unsigned integers, 128 in the middle.
    Pcm8,
    /// 16-bit signed integers.
    Pcm16,
    /// 24-bit signed integers.
    Pcm24,
    /// 32-bit signed integers (rounded to the 24-bit mantissa of `f32` when read).
    Pcm32,
    /// 32-bit floating point.
    Float32,
    /// 64-bit floating point (rounded to `f32` when read).
    Float64,
    /// FLAC, without loss.
    Flac {
        /// Bits per sample.
        bits: u8,
    },
    /// Vorbis I, with loss: what the ear would not miss is not the sea's any more. Up to 2 channels.
    Vorbis,
}

impl fmt::Display for Encoding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Encoding::Pcm8 => f.write_str("8-bit unsigned integer"),
            Encoding::Pcm16 => f.write_str("16-bit integer"),
            Encoding::Pcm24 => f.write_str("24-bit integer"),
            Encoding::Pcm32 => f.write_str("32-bit integer"),
            Encoding::Float32 => f.write_str("32-bit float"),
            Encoding::Float64 => f.write_str("64-bit float"),
            Encoding::Flac { bits } => write!(f, "{bits}-bit FLAC"),
            Encoding::Vorbis => f.write_str("Vorbis (with loss)"),
        }
    }
}

/// What samples are stored in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// RIFF WAVE, 32-bit sizes.
    Wav,
    /// RF64, 64-bit sizes (EBU Tech 3306).
    Rf64,
    /// BW64, 64-bit sizes (ITU-R BS.2088).
    Bw64,
    /// FLAC's own stream (RFC 9639).
    Flac,
    /// Ogg pages (RFC 3533).
    Ogg,
}

impl fmt::Display for Container {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Container::Wav => "WAV",
            Container::Rf64 => "RF64",
            Container::Bw64 => "BW64",
            Container::Flac => "FLAC",
            Container::Ogg => "Ogg",
        })
    }
}
