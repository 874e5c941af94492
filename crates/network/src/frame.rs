//! Frames on a link and fragments of a message.
//!
//! Frame time = ceil(8 (max(payload, least payload) + overhead) 1e9 / rate) nanoseconds: the definition of a bit rate (IEEE 802.3 counts preamble,
//! delimiter, header, check sequence and gap as time on the wire, which is what `overhead` holds). A message of `bytes` crosses as `ceil(bytes / mtu)`
//! fragments, every one full but the last; an empty message is one empty fragment.

use timeline::Ns;

use crate::can::DataTooLong;

/// The most fragments one message may be cut into.
pub const MAX_FRAGMENTS: u32 = 1 << 20;

/// A frame or a message that cannot be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// A rate of zero.
    #[error("a link of 0 bit/s carries no frame")]
    NoRate,
    /// The frame time does not fit in an [`Ns`].
    #[error("a frame of {bytes} bytes at {rate_bps} bit/s lasts longer than time can say")]
    TooSlow {
        /// Bytes on the wire.
        bytes: u64,
        /// Link rate in bit/s.
        rate_bps: u64,
    },
    /// More data than a frame of this kind holds.
    #[error(transparent)]
    DataTooLong(#[from] DataTooLong),
    /// A largest payload of zero.
    #[error("a largest payload of 0 bytes carries nothing")]
    NoMtu,
    /// More than [`MAX_FRAGMENTS`] fragments.
    #[error(
        "a message of {bytes} bytes in payloads of {mtu_bytes} bytes needs {fragments} fragments; the limit is {MAX_FRAGMENTS}"
    )]
    TooManyFragments {
        /// Message size in bytes.
        bytes: u32,
        /// Largest payload in bytes.
        mtu_bytes: u32,
        /// Fragments needed.
        fragments: u32,
    },
}

/// How long a frame occupies a link: `max(payload, min_payload) + overhead` bytes at `rate_bps`, rounded up to a whole nanosecond.
///
/// # Errors
/// [`FrameError::NoRate`], [`FrameError::TooSlow`].
pub fn frame_time(
    payload_bytes: u32,
    overhead_bytes: u32,
    min_payload_bytes: u32,
    rate_bps: u64,
) -> Result<Ns, FrameError> {
    if rate_bps == 0 {
        return Err(FrameError::NoRate);
    }
    let bytes = u64::from(payload_bytes.max(min_payload_bytes)) + u64::from(overhead_bytes);
    let ns = (u128::from(bytes) * 8_000_000_000).div_ceil(u128::from(rate_bps));
    u64::try_from(ns)
        .map(Ns)
        .map_err(|_| FrameError::TooSlow { bytes, rate_bps })
}

/// How many fragments a message of `bytes` needs when each carries at most `mtu_bytes`; at least 1.
///
/// # Errors
/// [`FrameError::NoMtu`], [`FrameError::TooManyFragments`].
pub fn fragment_count(bytes: u32, mtu_bytes: u32) -> Result<u32, FrameError> {
    if mtu_bytes == 0 {
        return Err(FrameError::NoMtu);
    }
    let fragments = bytes.div_ceil(mtu_bytes).max(1);
    if fragments > MAX_FRAGMENTS {
        return Err(FrameError::TooManyFragments {
            bytes,
            mtu_bytes,
            fragments,
        });
    }
    Ok(fragments)
}

/// Payload of fragment `index` (from 0) of `count`.
pub(crate) fn fragment_bytes(bytes: u32, mtu_bytes: u32, index: u32, count: u32) -> u32 {
    if index + 1 < count {
        mtu_bytes
    } else {
        bytes - mtu_bytes * (count - 1)
    }
}
