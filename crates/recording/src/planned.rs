//! Files that a recorder will write: how large, in which container, under which name.
//!
//! Sources: sizes of RIFF are 32-bit (file length less 8); RF64 gives them in 64 bits (EBU Tech 3306, 2009). A recorder that keeps a chunk free for `ds64`, as
//! that document advises, spends some bytes before its samples either way. Names hold the time of the first sample in ISO 8601 basic form, UTC, as [`crate::start_from_name`] reads it.

use jiff::Timestamp;
use jiff::tz::Offset;

use crate::info::Container;

/// Bytes before the samples, as [`crate::WavWriter`] writes them: head 12, room for `ds64` 36, extensible `fmt ` 48, `fact` 12, head of `data` 8.
pub const HEADER_BYTES: u64 = 116;
/// Most bytes of samples behind a header of 44 bytes in RIFF, whose size field holds the length less 8.
pub const MOST_RIFF_DATA_BYTES: u64 = u32::MAX as u64 - 36;

/// The container that an uncompressed file of so many bytes of samples needs: RF64 where the sizes of RIFF end.
#[must_use]
pub const fn planned_container(data_bytes: u64) -> Container {
    // A chunk of odd length is padded.
    let padded = data_bytes + data_bytes % 2;
    if padded + HEADER_BYTES - 8 > u32::MAX as u64 {
        Container::Rf64
    } else {
        Container::Wav
    }
}

/// Length of an uncompressed file with so many bytes of samples.
#[must_use]
pub const fn planned_file_bytes(data_bytes: u64) -> u64 {
    HEADER_BYTES + data_bytes + data_bytes % 2
}

/// Name of a file: place, time of its first sample in UTC to the millisecond, channel from 1: `harrow-sound_20270315T041500.250Z_ch01`, without an ending.
/// What of the place is neither an ASCII letter nor a digit becomes a hyphen.
#[must_use]
pub fn planned_name(place: &str, first_sample: Timestamp, channel: u16) -> String {
    let mut plain = String::new();
    for c in place.chars() {
        if c.is_ascii_alphanumeric() {
            plain.push(c.to_ascii_lowercase());
        } else if !plain.is_empty() && !plain.ends_with('-') {
            plain.push('-');
        }
    }
    let at = Offset::UTC.to_datetime(first_sample);
    format!(
        "{}_{:04}{:02}{:02}T{:02}{:02}{:02}.{:03}Z_ch{channel:02}",
        plain.trim_end_matches('-'),
        at.year(),
        at.month(),
        at.day(),
        at.hour(),
        at.minute(),
        at.second(),
        at.millisecond()
    )
}
