//! Links over spans, and buses that several spans share.

use super::{ModuleIx, Q};
use crate::site::Site;

/// A link over a span or a bus.
#[derive(Clone, Debug)]
pub struct Link {
    /// Name of the open standard or class, or `free`.
    pub standard: String,
    /// Rate in b/s when written (where the standard leaves it open it must be).
    pub rate_bps: Option<Q>,
    /// Longest length by its maker, m.
    pub longest_m: Option<Q>,
    /// Share of bits that arrive wrong, 0 to 1.
    pub bit_error_rate: Option<Q>,
    /// Of CAN: least time between two bit errors, s.
    pub errors_apart_s: Option<Q>,
    /// Of a radio in line of sight: heights of its antennas above the still water at both ends, m.
    pub antennas_m: Option<[Q; 2]>,
    /// How a frame lies on it; `None` on Ethernet.
    pub frame: Option<LinkFrame>,
    /// The module that asks the others in turn.
    pub polled_by: Option<ModuleIx>,
    /// Where the standard was named.
    pub at: Site,
}

/// How a frame lies on a link that is not Ethernet.
#[derive(Clone, Copy, Debug, Default)]
pub struct LinkFrame {
    /// Bytes that its protocol adds.
    pub header_bytes: Option<Q>,
    /// Largest piece of a message in one frame.
    pub packet_bytes: Option<Q>,
    /// Bits on the wire for each character.
    pub character_bits: Option<u32>,
    /// Bits of an identifier of CAN.
    pub id_bits: Option<u32>,
    /// Rate of the data of CAN FD, b/s.
    pub data_rate_bps: Option<Q>,
    /// Time before each frame, s.
    pub preamble_s: Option<Q>,
    /// Longest silence before an answer, s.
    pub turnaround_s: Option<Q>,
}

/// A link that several spans share.
#[derive(Clone, Debug)]
pub struct Bus {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// How data crosses it.
    pub link: Link,
}
