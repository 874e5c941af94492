//! Writing WAV, and RF64 where RIFF's 32-bit sizes end.
//!
//! Sources as in [`crate::riff`]. A `JUNK` chunk of the size of `ds64` is kept free behind the header, so that a file
//! that grows past 4 GiB becomes RF64 in place (EBU Tech 3306, section 4).

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleFormat {
    /// 16-bit integers.
    Pcm16,
    /// 24-bit integers.
    Pcm24,
    /// 32-bit floating point.
    Float32,
}

/// What to do when the file is there already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overwrite {
    /// Leave it and give an error.
    Refuse,
    /// Replace it when the new one is complete.
    Force,
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Written {
    /// Frames in the file.
    pub frames: u64,
    /// Length of the file, bytes.
    pub bytes: u64,
}

/// Why a file could not be written. Nothing is left under the final name.
#[derive(Debug, Error)]
pub enum WriteError {
    /// The file is there and must not be overwritten.
    #[error("{file} exists already")]
    Exists {
        /// The file.
        file: String,
    },
    /// The operating system refused.
    #[error("{file}: cannot {action}: {source}")]
    Io {
        /// The file.
        file: String,
        /// What was being done.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// Rate, channels or their product do not fit the header.
    #[error("{channels} channels at {rate_hz} Hz do not fit a WAV header")]
    Header {
        /// Rate, Hz.
        rate_hz: u32,
        /// Channels.
        channels: u16,
    },
    /// A sample is not finite, or beyond full scale in an integer format.
    #[error(
        "sample {value} in frame {frame} (counted from 0) of channel {} cannot be stored",
        u32::from(*.channel) + 1
    )]
    Sample {
        /// The sample, full scale = 1.0.
        value: f32,
        /// Index of its frame.
        frame: u64,
        /// Index of its channel, from 0.
        channel: u16,
    },
    /// The samples given are no whole number of frames.
    #[error("{samples} samples are not a whole number of frames of {channels} channels")]
    Frames {
        /// Samples given.
        samples: usize,
        /// Channels of the file.
        channels: u16,
    },
}

/// A WAV file being written, under a name of its own until [`WavWriter::finish`] gives it the final one; dropped before
/// that, it is removed.
///
/// Integer codes are the nearest to sample · 2^(bits-1), halves to even; samples from half a step below 1.0 up to 1.0
/// become the highest code.
pub struct WavWriter {
    out: BufWriter<File>,
    path: PathBuf,
    part: PathBuf,
    overwrite: Overwrite,
    header: Header,
    frames: u64,
    bytes: Vec<u8>,
    finished: bool,
}

impl WavWriter {
    /// Begins a file at `path` of `rate_hz` and `channels` (each at least 1).
    ///
    /// # Errors
    /// [`WriteError::Exists`], [`WriteError::Header`], [`WriteError::Io`].
    pub fn create(
        path: &Path,
        rate_hz: u32,
        channels: u16,
        format: SampleFormat,
        overwrite: Overwrite,
    ) -> Result<WavWriter, WriteError> {
        let header = Header::new(rate_hz, channels, format)?;
        refuse_existing(path, overwrite)?;
        let (part, file) = create_part(path)?;
        let mut writer = WavWriter {
            out: BufWriter::new(file),
            path: path.to_owned(),
            part,
            overwrite,
            header,
            frames: 0,
            bytes: Vec::new(),
            finished: false,
        };
        let start = header.bytes(0);
        writer
            .out
            .write_all(&start)
            .map_err(|source| writer.io("write", source))?;
        Ok(writer)
    }

    /// Adds interleaved samples, full scale = 1.0.
    ///
    /// # Errors
    /// [`WriteError::Frames`], [`WriteError::Sample`] (nothing of `samples` is written then), [`WriteError::Io`].
    pub fn write(&mut self, samples: &[f32]) -> Result<(), WriteError> {
        let channels = usize::from(self.header.channels);
        if !samples.len().is_multiple_of(channels) {
            return Err(WriteError::Frames {
                samples: samples.len(),
                channels: self.header.channels,
            });
        }
        let largest = if self.header.format == SampleFormat::Float32 {
            f32::MAX
        } else {
            1.0
        };
        if let Some(bad) = samples
            .iter()
            .position(|sample| sample.is_nan() || sample.abs() > largest)
        {
            return Err(WriteError::Sample {
                value: samples[bad],
                frame: self.frames + (bad / channels) as u64,
                channel: (bad % channels) as u16,
            });
        }
        for block in samples.chunks(16 * 1024) {
            self.bytes.clear();
            for &sample in block {
                self.header.format.store(sample, &mut self.bytes);
            }
            self.out
                .write_all(&self.bytes)
                .map_err(|source| self.io("write", source))?;
        }
        self.frames += (samples.len() / channels) as u64;
        Ok(())
    }

    /// Writes the sizes, brings the file to the disk and gives it its name.
    ///
    /// # Errors
    /// [`WriteError::Io`]; [`WriteError::Exists`] if the file has appeared meanwhile and must not be overwritten.
    pub fn finish(mut self) -> Result<Written, WriteError> {
        let data_bytes = self.frames * self.header.frame_bytes();
        let start = self.header.bytes(data_bytes);
        self.end(&start, data_bytes % 2 == 1)
            .map_err(|source| self.io("write", source))?;
        refuse_existing(&self.path, self.overwrite)?;
        fs::rename(&self.part, &self.path).map_err(|source| self.io("rename its part", source))?;
        self.finished = true;
        Ok(Written {
            frames: self.frames,
            bytes: start.len() as u64 + data_bytes + data_bytes % 2,
        })
    }

    fn end(&mut self, start: &[u8], pad: bool) -> io::Result<()> {
        if pad {
            self.out.write_all(&[0])?;
        }
        self.out.seek(SeekFrom::Start(0))?;
        self.out.write_all(start)?;
        self.out.flush()?;
        self.out.get_ref().sync_all()
    }

    fn io(&self, action: &'static str, source: io::Error) -> WriteError {
        WriteError::Io {
            file: self.path.display().to_string(),
            action,
            source,
        }
    }
}

impl Drop for WavWriter {
    fn drop(&mut self) {
        if !self.finished {
            // What cannot be removed stays under its ".part" name, which no one takes for a recording.
            let _ = fs::remove_file(&self.part);
        }
    }
}

fn refuse_existing(path: &Path, overwrite: Overwrite) -> Result<(), WriteError> {
    if overwrite == Overwrite::Refuse && path.symlink_metadata().is_ok() {
        return Err(WriteError::Exists {
            file: path.display().to_string(),
        });
    }
    Ok(())
}

/// Opens a file beside `path` that was not there: `NAME.part`, `NAME.part1`, ...
fn create_part(path: &Path) -> Result<(PathBuf, File), WriteError> {
    let mut last = None;
    for number in 0..100 {
        let mut name = path.as_os_str().to_owned();
        name.push(if number == 0 {
            ".part".to_owned()
        } else {
            format!(".part{number}")
        });
        let part = PathBuf::from(name);
        match OpenOptions::new().write(true).create_new(true).open(&part) {
            Ok(file) => return Ok((part, file)),
            Err(source) if source.kind() == io::ErrorKind::AlreadyExists => last = Some(source),
            Err(source) => {
                return Err(WriteError::Io {
                    file: part.display().to_string(),
                    action: "create it",
                    source,
                });
            }
        }
    }
    let source = last.expect("a hundred names were tried");
    Err(WriteError::Io {
        file: path.display().to_string(),
        action: "create a part beside it",
        source,
    })
}

impl SampleFormat {
    fn bits(self) -> u16 {
        match self {
            SampleFormat::Pcm16 => 16,
            SampleFormat::Pcm24 => 24,
            SampleFormat::Float32 => 32,
        }
    }

    fn store(self, sample: f32, bytes: &mut Vec<u8>) {
        match self {
            SampleFormat::Pcm16 => bytes.extend_from_slice(&code(sample, 16).to_le_bytes()[..2]),
            SampleFormat::Pcm24 => bytes.extend_from_slice(&code(sample, 24).to_le_bytes()[..3]),
            SampleFormat::Float32 => bytes.extend_from_slice(&sample.to_le_bytes()),
        }
    }
}

/// The code of a sample within ±1.0.
fn code(sample: f32, bits: u32) -> i32 {
    let full_scale = 1_i32 << (bits - 1);
    let code = (f64::from(sample) * f64::from(full_scale)).round_ties_even() as i32;
    code.min(full_scale - 1)
}

/// All that stands before the samples.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Header {
    rate_hz: u32,
    channels: u16,
    format: SampleFormat,
}

/// Largest size a RIFF field can hold while all ones means "not written".
const RIFF_LIMIT: u64 = u32::MAX as u64 - 1;

impl Header {
    pub(crate) fn new(
        rate_hz: u32,
        channels: u16,
        format: SampleFormat,
    ) -> Result<Header, WriteError> {
        let header = Header {
            rate_hz,
            channels,
            format,
        };
        let fits = u16::try_from(header.frame_bytes()).is_ok()
            && u32::try_from(header.frame_bytes() * u64::from(rate_hz)).is_ok();
        if rate_hz == 0 || channels == 0 || !fits {
            return Err(WriteError::Header { rate_hz, channels });
        }
        Ok(header)
    }

    fn frame_bytes(&self) -> u64 {
        u64::from(self.channels) * u64::from(self.format.bits() / 8)
    }

    /// The header of a file with so many bytes of samples; its length does not depend on them.
    pub(crate) fn bytes(&self, data_bytes: u64) -> Vec<u8> {
        let format = self.format_chunk();
        let frames = data_bytes / self.frame_bytes();
        let after_riff = 4 + 36 + format.len() as u64 + 12 + 8 + data_bytes + data_bytes % 2;
        let long = after_riff > RIFF_LIMIT;
        let short = |size: u64| if long { u32::MAX } else { size as u32 };
        let mut bytes = Vec::new();
        bytes.extend_from_slice(if long { b"RF64" } else { b"RIFF" });
        bytes.extend_from_slice(&short(after_riff).to_le_bytes());
        bytes.extend_from_slice(b"WAVE");
        bytes.extend_from_slice(if long { b"ds64" } else { b"JUNK" });
        bytes.extend_from_slice(&28_u32.to_le_bytes());
        for size in [after_riff, data_bytes, frames] {
            bytes.extend_from_slice(&if long { size } else { 0 }.to_le_bytes());
        }
        bytes.extend_from_slice(&0_u32.to_le_bytes());
        bytes.extend_from_slice(&format);
        bytes.extend_from_slice(b"fact");
        bytes.extend_from_slice(&4_u32.to_le_bytes());
        bytes.extend_from_slice(&u32::try_from(frames).unwrap_or(u32::MAX).to_le_bytes());
        bytes.extend_from_slice(b"data");
        bytes.extend_from_slice(&short(data_bytes).to_le_bytes());
        bytes
    }

    /// Plain PCM for up to two channels of 16 bits, the extensible form with no speakers named for all else.
    fn format_chunk(&self) -> Vec<u8> {
        let tag: u16 = if self.format == SampleFormat::Float32 {
            3
        } else {
            1
        };
        let (bits, frame_bytes) = (self.format.bits(), self.frame_bytes());
        let extensible = self.channels > 2 || bits > 16;
        let mut bytes = Vec::new();
        bytes.extend_from_slice(b"fmt ");
        bytes.extend_from_slice(&if extensible { 40_u32 } else { 16 }.to_le_bytes());
        bytes.extend_from_slice(&if extensible { 0xFFFE_u16 } else { tag }.to_le_bytes());
        bytes.extend_from_slice(&self.channels.to_le_bytes());
        bytes.extend_from_slice(&self.rate_hz.to_le_bytes());
        bytes.extend_from_slice(&((frame_bytes * u64::from(self.rate_hz)) as u32).to_le_bytes());
        bytes.extend_from_slice(&(frame_bytes as u16).to_le_bytes());
        bytes.extend_from_slice(&bits.to_le_bytes());
        if extensible {
            bytes.extend_from_slice(&22_u16.to_le_bytes());
            bytes.extend_from_slice(&bits.to_le_bytes());
            bytes.extend_from_slice(&0_u32.to_le_bytes());
            bytes.extend_from_slice(&tag.to_le_bytes());
            bytes.extend_from_slice(&crate::riff::REGISTERED);
        }
        bytes
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Cursor, Read};

    use super::*;
    use crate::info::Container;
    use crate::riff::layout;
    use crate::warning::Warnings;

    /// A header, then nothing that is ever read.
    struct Long {
        header: Cursor<Vec<u8>>,
    }

    impl Read for Long {
        fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
            self.header.read(out)
        }
    }

    impl Seek for Long {
        fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
            self.header.seek(to)
        }
    }

    /// EBU Tech 3306: RIFF sizes up to 2^32 - 2 stay RIFF, all beyond become RF64 with a header of the same length.
    #[test]
    fn verif_headers_turn_into_rf64_where_32_bits_end() {
        let header = Header::new(96_000, 1, SampleFormat::Pcm16).unwrap();
        let start = header.bytes(0).len() as u64;
        // The RIFF size is the file without its first 8 bytes.
        let last_short = u64::from(u32::MAX) - 1 - (start - 8);
        for (data_bytes, container) in [
            (2, Container::Wav),
            (last_short, Container::Wav),
            (last_short + 2, Container::Rf64),
            (1 << 40, Container::Rf64),
        ] {
            let bytes = header.bytes(data_bytes);
            assert_eq!(bytes.len() as u64, start, "{data_bytes}");
            let mut file = Long {
                header: Cursor::new(bytes),
            };
            let mut warnings = Warnings::default();
            let found = layout(&mut file, start + data_bytes, "long.wav", &mut warnings).unwrap();
            assert_eq!(
                (found.container, found.data_at),
                (container, start),
                "{data_bytes}"
            );
            assert_eq!(found.frames, data_bytes / 2, "{data_bytes}");
            assert_eq!(warnings.list(), [], "{data_bytes}");
        }
    }
}
