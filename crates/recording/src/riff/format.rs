//! The chunk `fmt `: how samples are stored.

use std::io::{Read, Seek};

use super::{Scan, u16_at, u32_at};
use crate::error::{RecordingError, Unsupported};
use crate::info::{Encoding, RATE_LIMIT_HZ};
use crate::pcm::Format;
use crate::warning::{Warning, Warnings};

/// Most channels read (ours): a frame of 64-bit samples stays within 8 KiB.
const CHANNELS_LIMIT: u64 = 1024;

pub(super) fn read_format<R: Read + Seek + ?Sized>(
    scan: &mut Scan<'_, R>,
    at: u64,
    size: u64,
    warnings: &mut Warnings,
) -> Result<(Format, u32), RecordingError> {
    if size < 16 {
        return Err(scan.malformed(at - 4, "a format of at least 16 bytes", format!("{size}")));
    }
    let head = scan.take::<16>(at, "a format of 16 bytes")?;
    let mut tag = u16_at(&head, 0);
    let channels = u16_at(&head, 2);
    let rate_hz = u32_at(&head, 4);
    let (byte_rate, frame_bytes, bits) = (u32_at(&head, 8), u16_at(&head, 12), u16_at(&head, 14));
    let mut valid_bits = bits;
    if tag == 0xFFFE {
        if size < 40 {
            return Err(scan.malformed(
                at - 4,
                "an extensible format of 40 bytes",
                format!("{size}"),
            ));
        }
        let more = scan.take::<24>(at + 16, "an extensible format of 40 bytes")?;
        (tag, valid_bits) = (sub_format(scan, &more)?, u16_at(&more, 2));
        if valid_bits == 0 {
            warnings.push(Warning::ValidBitsMissing {
                container_bits: bits,
            });
            valid_bits = bits;
        }
    }
    let encoding = encoding(scan, tag, bits)?;
    if channels == 0 {
        return Err(scan.malformed(at + 2, "at least 1 channel", "0".into()));
    }
    if u64::from(channels) > CHANNELS_LIMIT {
        return Err(scan.over_limit("number of channels", channels.into(), CHANNELS_LIMIT));
    }
    if rate_hz == 0 {
        return Err(scan.malformed(at + 4, "a rate above 0 Hz", "0".into()));
    }
    if rate_hz > RATE_LIMIT_HZ {
        return Err(scan.over_limit("rate in Hz", rate_hz.into(), RATE_LIMIT_HZ.into()));
    }
    if valid_bits > bits {
        return Err(scan.malformed(
            at + 18,
            "no more valid bits than bits",
            format!("{valid_bits} of {bits}"),
        ));
    }
    let format = Format {
        encoding,
        valid_bits,
        channels,
    };
    if usize::from(frame_bytes) != format.frame_bytes() {
        return Err(scan.malformed(
            at + 12,
            "bytes per frame = channels times bytes per sample",
            format!("{frame_bytes} for {channels} channels of {bits} bits"),
        ));
    }
    let computed = u64::from(rate_hz) * u64::from(frame_bytes);
    if u64::from(byte_rate) != computed {
        warnings.push(Warning::ByteRateDisagrees {
            stated: byte_rate,
            computed,
        });
    }
    Ok((format, rate_hz))
}

/// The last 14 bytes of a sub-format that is a format tag in its first two.
pub(crate) const REGISTERED: [u8; 14] =
    [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];

fn sub_format<R: Read + Seek + ?Sized>(
    scan: &Scan<'_, R>,
    more: &[u8; 24],
) -> Result<u16, RecordingError> {
    let guid = &more[8..24];
    if guid[2..] == REGISTERED {
        return Ok(u16_at(guid, 0));
    }
    let guid = guid.iter().map(|byte| format!("{byte:02x}")).collect();
    Err(scan.unsupported(Unsupported::SubFormat { guid }))
}

fn encoding<R: Read + Seek + ?Sized>(
    scan: &Scan<'_, R>,
    tag: u16,
    bits: u16,
) -> Result<Encoding, RecordingError> {
    match (tag, bits) {
        (1, 8) => Ok(Encoding::Pcm8),
        (1, 16) => Ok(Encoding::Pcm16),
        (1, 24) => Ok(Encoding::Pcm24),
        (1, 32) => Ok(Encoding::Pcm32),
        (3, 32) => Ok(Encoding::Float32),
        (3, 64) => Ok(Encoding::Float64),
        (1, bits) => Err(scan.unsupported(Unsupported::SampleSize {
            bits,
            kind: "integer",
        })),
        (3, bits) => Err(scan.unsupported(Unsupported::SampleSize {
            bits,
            kind: "floating-point",
        })),
        (tag, _) => Err(scan.unsupported(Unsupported::FormatTag { tag })),
    }
}
