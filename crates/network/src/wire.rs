//! How long a frame occupies a wire, by the kind of link.
//!
//! Bytes: `lead + ceil(bits per byte (max(payload, least) + overhead) 1e9 / rate)`: eight bits a byte on Ethernet and behind a modem's preamble, ten with start
//! and stop bit (8N1, and 7E1 with its parity), eleven with both parity and eight data bits. CAN and CAN FD: bits at worst of [`can_frame_bits`] and
//! [`can_fd_frame_bits`], where a higher protocol's header lies within the data bytes.
//!
//! SDI-12 version 1.4 (read in instruments' manuals): a break of at least 12 ms and a mark of at least 8.33 ms wake the sensors, then a command; the answer begins within
//! 15 ms of its end. Ten bits a character at 1200 baud, at most 1.66 ms of mark between two.

use timeline::Ns;

use crate::can::{CanIds, can_fd_frame_bits, can_frame_bits};
use crate::frame::FrameError;

/// Rate of SDI-12, bit/s.
pub const SDI12_RATE_BPS: u64 = 1200;
/// Break and mark before each command of SDI-12: 12 ms and ten bits of 1/1200 s.
pub const SDI12_WAKE: Ns = Ns(20_333_334);
/// An answer of SDI-12 begins within this time.
pub const SDI12_ANSWER_WITHIN: Ns = Ns(15_000_000);
/// Ten bits of a character of SDI-12 and two of the mark that may follow (1.66 ms are 1.99 bits).
pub const SDI12_SLOWEST_BITS: u32 = 12;

/// How a frame lies on a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Wire {
    /// Bytes of equally many bits.
    Bytes {
        /// Silence, break or preamble before each frame.
        lead: Ns,
        /// Bits on the wire for each byte.
        bits_per_byte: u32,
        /// Bytes added to each frame.
        overhead_bytes: u32,
        /// Shorter payloads are padded to this many bytes.
        min_payload_bytes: u32,
    },
    /// CAN 2.0.
    Can {
        /// Length of identifiers.
        ids: CanIds,
        /// Data bytes that a higher protocol keeps for itself.
        header_bytes: u32,
    },
    /// CAN FD.
    CanFd {
        /// Length of identifiers.
        ids: CanIds,
        /// Data bytes that a higher protocol keeps for itself.
        header_bytes: u32,
        /// Rate of the data, bit/s.
        data_rate_bps: u64,
    },
}

impl Wire {
    /// Bits of a frame with this payload that an error can hit: all of its bytes, preamble and gap among them; of CAN those at worst.
    pub(crate) fn bits(self, payload_bytes: u32) -> Result<u64, FrameError> {
        let data = |header: u32| payload_bytes.saturating_add(header);
        match self {
            Wire::Bytes {
                bits_per_byte,
                overhead_bytes,
                min_payload_bytes,
                ..
            } => {
                let bytes =
                    u64::from(payload_bytes.max(min_payload_bytes)) + u64::from(overhead_bytes);
                Ok(bytes * u64::from(bits_per_byte))
            }
            Wire::Can { ids, header_bytes } => {
                Ok(u64::from(can_frame_bits(ids, data(header_bytes))?))
            }
            Wire::CanFd {
                ids, header_bytes, ..
            } => {
                let bits = can_fd_frame_bits(ids, data(header_bytes))?;
                Ok(u64::from(bits.arbitration) + u64::from(bits.data))
            }
        }
    }

    /// How long a frame with this payload occupies the wire, at worst; rounded up to a whole nanosecond.
    ///
    /// # Errors
    /// [`FrameError`].
    pub fn frame_time(self, rate_bps: u64, payload_bytes: u32) -> Result<Ns, FrameError> {
        let data = |header: u32| payload_bytes.saturating_add(header);
        match self {
            Wire::Bytes {
                lead,
                bits_per_byte,
                overhead_bytes,
                min_payload_bytes,
            } => {
                let bytes =
                    u64::from(payload_bytes.max(min_payload_bytes)) + u64::from(overhead_bytes);
                let bits = u128::from(bytes) * u128::from(bits_per_byte);
                let too_slow = FrameError::TooSlow { bytes, rate_bps };
                bits_time(bits, rate_bps, too_slow)?
                    .checked_add(lead)
                    .ok_or(too_slow)
            }
            Wire::Can { ids, header_bytes } => {
                let bits = can_frame_bits(ids, data(header_bytes))?;
                let bytes = u64::from(data(header_bytes));
                bits_time(
                    u128::from(bits),
                    rate_bps,
                    FrameError::TooSlow { bytes, rate_bps },
                )
            }
            Wire::CanFd {
                ids,
                header_bytes,
                data_rate_bps,
            } => {
                let bits = can_fd_frame_bits(ids, data(header_bytes))?;
                let bytes = u64::from(data(header_bytes));
                let too_slow = FrameError::TooSlow { bytes, rate_bps };
                let slow = bits_time(u128::from(bits.arbitration), rate_bps, too_slow)?;
                let fast = bits_time(u128::from(bits.data), data_rate_bps, too_slow)?;
                slow.checked_add(fast).ok_or(too_slow)
            }
        }
    }
}

/// Time of so many bits, rounded up.
pub(crate) fn bits_time(bits: u128, rate_bps: u64, too_slow: FrameError) -> Result<Ns, FrameError> {
    if rate_bps == 0 {
        return Err(FrameError::NoRate);
    }
    let ns = bits
        .checked_mul(1_000_000_000)
        .ok_or(too_slow)?
        .div_ceil(u128::from(rate_bps));
    u64::try_from(ns).map(Ns).map_err(|_| too_slow)
}
