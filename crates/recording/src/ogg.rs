//! The end of an Ogg file, which tells how long it is.
//!
//! Source: RFC 3533, section 6 (page header): `OggS`, version 0, flags (2 first page, 4 last page), 64-bit count of the
//! last frame that ends in the page (all ones: none does), 32-bit serial number of the stream, page number, checksum,
//! number of segments, their lengths, their bytes.

use std::io::{self, Read, SeekFrom};

use crate::recording::ReadSeek;

const HEADER: usize = 27;
/// Longest page: header, 255 lengths, 255 segments of 255 bytes.
const PAGE_LIMIT: u64 = HEADER as u64 + 255 + 255 * 255;
const LAST_PAGE: u8 = 4;

/// What the end of a file tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tail {
    /// The file ends with the last page of its first stream, which counts so many frames.
    SameStream { last_count: u64 },
    /// The last page belongs to another stream: only reading tells the length.
    Chained,
    /// No last page at the end: the file is cut off, or a page in front of other bytes.
    Unknown,
}

/// Reads the end of a file of `length` bytes; leaves the reader at its start.
pub(crate) fn tail(reader: &mut dyn ReadSeek, length: u64) -> io::Result<Tail> {
    let first = bytes(reader, 0, HEADER as u64)?;
    let end = bytes(reader, length.saturating_sub(PAGE_LIMIT), PAGE_LIMIT)?;
    reader.seek(SeekFrom::Start(0))?;
    let Some(last) = (0..end.len())
        .rev()
        .map(|at| &end[at..])
        .find(|page| is_whole(page))
    else {
        return Ok(Tail::Unknown);
    };
    if first.get(14..18) != last.get(14..18) {
        return Ok(Tail::Chained);
    }
    let mut count = [0; 8];
    count.copy_from_slice(&last[6..14]);
    let last_count = u64::from_le_bytes(count);
    if last[5] & LAST_PAGE == 0 || last_count == u64::MAX {
        return Ok(Tail::Unknown);
    }
    Ok(Tail::SameStream { last_count })
}

fn bytes(reader: &mut dyn ReadSeek, at: u64, count: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    reader.seek(SeekFrom::Start(at))?;
    reader.take(count).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Whether `page` is one page from its first byte to its last.
fn is_whole(page: &[u8]) -> bool {
    if !page.starts_with(b"OggS\0") || page.len() < HEADER {
        return false;
    }
    let segments = usize::from(page[26]);
    let Some(lengths) = page.get(HEADER..HEADER + segments) else {
        return false;
    };
    page.len()
        == HEADER
            + segments
            + lengths
                .iter()
                .map(|&length| usize::from(length))
                .sum::<usize>()
}
