//! Finding the samples in RIFF WAVE, RF64 and BW64.
//!
//! Sources: *Multimedia Programming Interface and Data Specifications 1.0* (IBM and Microsoft, 1991), chapter 3, for
//! chunks, padding and `fmt `; *Multiple channel audio data and WAVE files* (Microsoft, 2001) for the extensible form;
//! EBU Tech 3306 (2009) for RF64 and its `ds64` chunk; ITU-R BS.2088-1 (2019) for BW64. Field offsets from memory,
//! checked in the tests against files that two other programs wrote.
//!
//! ```text
//! 0 "RIFF" | u32 size | "WAVE" | chunks: id[4] u32 size, payload, 1 byte of padding when size is odd
//! "fmt ": u16 tag, u16 channels, u32 rate, u32 bytes/s, u16 bytes/frame, u16 bits [, u16 more, u16 valid bits,
//!         u32 speakers, 16 bytes sub-format]
//! "ds64": u64 riff size, u64 data size, u64 frames, u32 entries, entries: id[4] u64 size
//! ```
//!
//! Deliberate: a data size of 0 or all ones, or longer than the file, is what a crashed recorder leaves, and is read to
//! the end of the file with a warning. A size of 0 that is followed by well-formed chunks to the end is taken at its word.

use std::io::{self, Read, Seek, SeekFrom};

mod format;

pub(crate) use format::REGISTERED;
use format::read_format;

use crate::error::{RecordingError, Unsupported};
use crate::info::Container;
use crate::pcm::Format;
use crate::warning::{Warning, Warnings};

/// Most chunks walked over before the data (ours), so that a file of empty chunks cannot hold the reader.
const CHUNKS_LIMIT: u64 = 10_000;
/// Most entries of a `ds64` table (ours).
const TABLE_LIMIT: u64 = 1_000;

/// All ones in 32 bits: never written in RIFF, "see the 64-bit sizes" in RF64 and BW64.
const SHORT_NOT_WRITTEN: u64 = u32::MAX as u64;

/// Where the samples are and how they are stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Layout {
    pub(crate) container: Container,
    pub(crate) format: Format,
    pub(crate) rate_hz: u32,
    pub(crate) data_at: u64,
    /// Whole frames that are there.
    pub(crate) frames: u64,
}

/// Reads the headers. `length` is the length of the file in bytes.
pub(crate) fn layout<R: Read + Seek + ?Sized>(
    reader: &mut R,
    length: u64,
    file: &str,
    warnings: &mut Warnings,
) -> Result<Layout, RecordingError> {
    let mut scan = Scan {
        reader,
        length,
        file,
    };
    let start = scan.take::<12>(0, "a RIFF header of 12 bytes")?;
    let container = match &start[..4] {
        b"RF64" => Container::Rf64,
        b"BW64" => Container::Bw64,
        _ => Container::Wav,
    };
    let mut sizes = LongSizes::default();
    let mut format = None;
    let mut at = 12;
    let mut walked = 0;
    loop {
        if walked == CHUNKS_LIMIT {
            return Err(scan.over_limit(
                "number of chunks before the data",
                walked + 1,
                CHUNKS_LIMIT,
            ));
        }
        let header = scan.take::<8>(at, "a chunk with the samples (\"data\")")?;
        let id = [header[0], header[1], header[2], header[3]];
        let short_size = u64::from(u32_at(&header, 4));
        let payload_at = at + 8;
        if walked == 0 && container != Container::Wav && &id != b"ds64" {
            return Err(scan.malformed(
                at,
                "the 64-bit sizes (\"ds64\") as the first chunk",
                id.escape_ascii().to_string(),
            ));
        }
        if &id == b"data" {
            let (format, rate_hz) = format.ok_or_else(|| {
                scan.malformed(
                    at,
                    "the format (\"fmt \") before the samples",
                    "\"data\"".into(),
                )
            })?;
            let stated = match container {
                Container::Wav => Stated {
                    bytes: short_size,
                    not_written: SHORT_NOT_WRITTEN,
                },
                _ if short_size == SHORT_NOT_WRITTEN => Stated {
                    bytes: sizes.data,
                    not_written: u64::MAX,
                },
                _ => Stated {
                    bytes: short_size,
                    not_written: u64::MAX,
                },
            };
            let bytes = data_bytes(&mut scan, payload_at, stated, warnings)?;
            let frames = whole_frames(&scan, bytes, &format, warnings)?;
            return Ok(Layout {
                container,
                format,
                rate_hz,
                data_at: payload_at,
                frames,
            });
        }
        let size = if short_size == SHORT_NOT_WRITTEN {
            sizes.of(id).unwrap_or(short_size)
        } else {
            short_size
        };
        let end = payload_at
            .checked_add(size)
            .filter(|&end| end <= length)
            .ok_or_else(|| {
                scan.malformed(
                    at + 4,
                    "a chunk that ends within the file",
                    format!(
                        "\"{}\" of {size} bytes where {} are left",
                        id.escape_ascii(),
                        length - payload_at
                    ),
                )
            })?;
        match &id {
            b"fmt " if format.is_some() => {
                return Err(scan.malformed(at, "one format (\"fmt \")", "a second one".into()));
            }
            b"fmt " => format = Some(read_format(&mut scan, payload_at, size, warnings)?),
            b"ds64" => sizes = read_long_sizes(&mut scan, payload_at, size)?,
            _ => {}
        }
        at = next_chunk(&mut scan, end, size, warnings)?;
        walked += 1;
    }
}

/// A reader with the length of its file and its name for messages.
struct Scan<'a, R: ?Sized> {
    reader: &'a mut R,
    length: u64,
    file: &'a str,
}

impl<R: Read + Seek + ?Sized> Scan<'_, R> {
    /// Reads `N` bytes at `at`, or says what was expected there.
    fn take<const N: usize>(
        &mut self,
        at: u64,
        expected: &'static str,
    ) -> Result<[u8; N], RecordingError> {
        let mut bytes = [0; N];
        if at.checked_add(N as u64).is_none_or(|end| end > self.length) {
            return Err(self.malformed(
                at,
                expected,
                format!("the end of the file at byte {}", self.length),
            ));
        }
        self.fill(at, &mut bytes)?;
        Ok(bytes)
    }

    fn fill(&mut self, at: u64, bytes: &mut [u8]) -> Result<(), RecordingError> {
        self.reader
            .seek(SeekFrom::Start(at))
            .and_then(|_| self.reader.read_exact(bytes))
            .map_err(|source| self.io(source))
    }

    fn io(&self, source: io::Error) -> RecordingError {
        RecordingError::Io {
            file: self.file.to_owned(),
            action: "read its headers",
            source,
        }
    }

    fn malformed(&self, at_byte: u64, expected: &'static str, found: String) -> RecordingError {
        RecordingError::Malformed {
            file: self.file.to_owned(),
            at_byte,
            expected,
            found,
        }
    }

    fn unsupported(&self, what: Unsupported) -> RecordingError {
        RecordingError::Unsupported {
            file: self.file.to_owned(),
            what,
        }
    }

    fn over_limit(&self, quantity: &'static str, value: u64, limit: u64) -> RecordingError {
        RecordingError::OverLimit {
            file: self.file.to_owned(),
            quantity,
            value,
            limit,
        }
    }
}

/// Start of the chunk after one that ends at `end`: behind the padding byte of an odd chunk, unless the writer left
/// it out, which shows where an id stands at once and none stands a byte later.
fn next_chunk<R: Read + Seek + ?Sized>(
    scan: &mut Scan<'_, R>,
    end: u64,
    size: u64,
    warnings: &mut Warnings,
) -> Result<u64, RecordingError> {
    if size.is_multiple_of(2) {
        return Ok(end);
    }
    if end + 5 <= scan.length {
        let bytes = scan.take::<5>(end, "a chunk")?;
        if is_id(&bytes[..4]) && !is_id(&bytes[1..]) {
            warnings.push(Warning::MissingPad { at_byte: end });
            return Ok(end);
        }
    }
    Ok(end + 1)
}

/// Printable ASCII that begins with a letter and has spaces at the end only.
fn is_id(bytes: &[u8]) -> bool {
    let word = bytes.trim_ascii_end();
    bytes.len() == 4
        && word.first().is_some_and(u8::is_ascii_alphabetic)
        && word.iter().all(u8::is_ascii_graphic)
}

/// A size in the header, and the size that a recorder writes as long as it does not know.
struct Stated {
    bytes: u64,
    not_written: u64,
}

/// Bytes of data from `at` on, given what the header states.
fn data_bytes<R: Read + Seek + ?Sized>(
    scan: &mut Scan<'_, R>,
    at: u64,
    stated: Stated,
    warnings: &mut Warnings,
) -> Result<u64, RecordingError> {
    let there = scan.length - at;
    let stated_bytes = stated.bytes;
    if stated_bytes == stated.not_written || (stated_bytes == 0 && !chunks_to_the_end(scan, at)?) {
        warnings.push(Warning::SizeNotWritten {
            stated_bytes,
            read_bytes: there,
        });
        return Ok(there);
    }
    if stated_bytes > there {
        warnings.push(Warning::SizeTooLong {
            stated_bytes,
            read_bytes: there,
        });
        return Ok(there);
    }
    let end = at + stated_bytes;
    if end < scan.length
        && !chunks_to_the_end(scan, end + stated_bytes % 2)?
        && !chunks_to_the_end(scan, end)?
    {
        warnings.push(Warning::TrailingBytes {
            at_byte: end,
            bytes: scan.length - end,
        });
    }
    Ok(stated_bytes)
}

/// Whether well-formed chunks fill the file exactly from `at` on (the last padding byte may lack).
fn chunks_to_the_end<R: Read + Seek + ?Sized>(
    scan: &mut Scan<'_, R>,
    mut at: u64,
) -> Result<bool, RecordingError> {
    for _ in 0..CHUNKS_LIMIT {
        if at == scan.length {
            return Ok(true);
        }
        if at + 8 > scan.length {
            return Ok(false);
        }
        let header = scan.take::<8>(at, "a chunk")?;
        let size = u64::from(u32_at(&header, 4));
        let end = at + 8 + size;
        if !is_id(&header[..4]) || end > scan.length {
            return Ok(false);
        }
        at = if end == scan.length {
            end
        } else {
            end + size % 2
        };
    }
    Ok(false)
}

fn whole_frames<R: Read + Seek + ?Sized>(
    scan: &Scan<'_, R>,
    bytes: u64,
    format: &Format,
    warnings: &mut Warnings,
) -> Result<u64, RecordingError> {
    let frame_bytes = format.frame_bytes() as u64;
    let (frames, dropped_bytes) = (bytes / frame_bytes, bytes % frame_bytes);
    if dropped_bytes > 0 {
        warnings.push(Warning::PartialFrame { dropped_bytes });
    }
    if frames == 0 {
        return Err(RecordingError::Empty {
            file: scan.file.to_owned(),
            bytes: scan.length,
        });
    }
    Ok(frames)
}

#[derive(Default)]
struct LongSizes {
    data: u64,
    table: Vec<([u8; 4], u64)>,
}

impl LongSizes {
    fn of(&self, id: [u8; 4]) -> Option<u64> {
        self.table
            .iter()
            .find(|(entry, _)| *entry == id)
            .map(|&(_, size)| size)
    }
}

fn read_long_sizes<R: Read + Seek + ?Sized>(
    scan: &mut Scan<'_, R>,
    at: u64,
    size: u64,
) -> Result<LongSizes, RecordingError> {
    if size < 28 {
        return Err(scan.malformed(
            at - 4,
            "64-bit sizes of at least 28 bytes",
            format!("{size}"),
        ));
    }
    let head = scan.take::<28>(at, "64-bit sizes of 28 bytes")?;
    let entries = u64::from(u32_at(&head, 24));
    if entries > TABLE_LIMIT {
        return Err(scan.over_limit("number of 64-bit sizes", entries, TABLE_LIMIT));
    }
    if 28 + 12 * entries > size {
        return Err(scan.malformed(
            at + 24,
            "a table that fits its chunk",
            format!("{entries} entries in {size} bytes"),
        ));
    }
    let mut sizes = LongSizes {
        data: u64_at(&head, 8),
        table: Vec::new(),
    };
    for entry in 0..entries {
        let bytes = scan.take::<12>(at + 28 + 12 * entry, "an entry of 12 bytes")?;
        sizes
            .table
            .push(([bytes[0], bytes[1], bytes[2], bytes[3]], u64_at(&bytes, 4)));
    }
    Ok(sizes)
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from(u16_at(bytes, at)) | u32::from(u16_at(bytes, at + 2)) << 16
}

fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from(u32_at(bytes, at)) | u64::from(u32_at(bytes, at + 4)) << 32
}
