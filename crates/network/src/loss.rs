//! Frames lost to bit errors.
//!
//! Where each bit is wrong with the same chance `e`, whatever the others are, a frame of `n` bits is lost with `1 - (1 - e)^n`: one wrong bit spoils it, and the check
//! of the carrier finds that. `n` counts every bit of the frame's bytes on the wire, those of preamble and gap too, which errs towards more loss. A copy is lost where any of its frames is, on
//! any hop. Bursts of errors lose fewer frames at the same mean rate; the chance is then that of frames hit, not of bits. (Elementary probability, no standard.)
//!
//! Controllers of CAN repeat a frame that was hit by themselves; that is not part of this model, and a rate on such a bus is refused.

use crate::frame::{FrameError, fragment_bytes, fragment_count};
use crate::topology::{Medium, Over, Topology};
use crate::wire::Wire;

/// A chance of loss that cannot be worked out.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum LossError {
    /// A bit error rate that is no chance.
    #[error("a bit error rate of {rate} is not between 0 and 1")]
    NotAChance {
        /// The rate.
        rate: f64,
    },
    /// Bit errors on a bus whose controllers repeat what was hit.
    #[error(
        "bus {bus} has priority arbitration: its controllers repeat a frame that was hit, which is not worked out"
    )]
    Repeats {
        /// Bus index.
        bus: usize,
    },
    /// No route.
    #[error("there is no route from node {from} to node {to}")]
    NoPath {
        /// First node.
        from: usize,
        /// Last node.
        to: usize,
    },
    /// A message that cannot be sent.
    #[error(transparent)]
    Frame(#[from] FrameError),
}

/// Natural logarithm of the chance that a frame of so many bits has no wrong one.
fn whole_ln(bits: u64, bit_error_rate: f64) -> f64 {
    bits as f64 * libm::log1p(-bit_error_rate)
}

/// Chance that a frame of so many bits is lost where each bit is wrong with this chance, both from 0 to 1.
#[must_use]
pub fn frame_loss(bits: u64, bit_error_rate: f64) -> f64 {
    if bits == 0 {
        return 0.0;
    }
    -libm::expm1(whole_ln(bits, bit_error_rate))
}

/// Chance that a copy of a message of `bytes` is lost on its way from one node to another, in an unbroken network where each bit on a medium is wrong with the chance
/// that `rate` tells.
///
/// # Errors
/// [`LossError`].
pub fn copy_loss(
    topology: &Topology,
    rate: impl Fn(Medium) -> f64,
    from: usize,
    to: usize,
    bytes: u32,
) -> Result<f64, LossError> {
    let directions = topology
        .directions(from, to)
        .ok_or(LossError::NoPath { from, to })?;
    let mtu_bytes = topology.mtu_bytes();
    let fragments = fragment_count(bytes, mtu_bytes)?;
    let mut all_ln = 0.0;
    for direction in directions {
        let arc = topology.arcs()[direction];
        let rate = check_rate(rate(arc.over.medium()))?;
        if rate == 0.0 || matches!(arc.over, Over::Down(_)) {
            continue;
        }
        let (wire, piece_bytes) = wire_of(topology, direction)?;
        for (count, index) in [(fragments - 1, 0), (1, fragments - 1)] {
            let left = fragment_bytes(bytes, mtu_bytes, index, fragments);
            let (full, rest) = (left / piece_bytes, left % piece_bytes);
            let mut bits = u64::from(full) * wire.bits(piece_bytes);
            if rest > 0 || left == 0 {
                bits += wire.bits(rest);
            }
            all_ln += f64::from(count) * whole_ln(bits, rate);
        }
    }
    Ok(-libm::expm1(all_ln))
}

/// A rate that is a chance, and not of every bit.
pub(crate) fn check_rate(rate: f64) -> Result<f64, LossError> {
    if (0.0..1.0).contains(&rate) {
        Ok(rate)
    } else {
        Err(LossError::NotAChance { rate })
    }
}

/// How frames of a direction lie on the wire, and the largest payload of one.
pub(crate) fn wire_of(topology: &Topology, direction: usize) -> Result<(BitsOf, u32), LossError> {
    let arc = topology.arcs()[direction];
    match arc.over {
        Over::Link(link) => {
            let link = topology.links()[link];
            let of = BitsOf {
                bits_per_byte: link.bits_per_byte,
                overhead_bytes: link.overhead_bytes,
                min_payload_bytes: link.min_payload_bytes,
            };
            Ok((of, topology.mtu_bytes()))
        }
        Over::Up(bus) | Over::Down(bus) | Over::Poll(bus) => {
            let spec = &topology.buses()[bus];
            match spec.wire_of(arc.tail) {
                Wire::Bytes {
                    bits_per_byte,
                    overhead_bytes,
                    min_payload_bytes,
                    ..
                } => Ok((
                    BitsOf {
                        bits_per_byte,
                        overhead_bytes,
                        min_payload_bytes,
                    },
                    spec.payload_bytes,
                )),
                Wire::Can { .. } | Wire::CanFd { .. } => Err(LossError::Repeats { bus }),
            }
        }
    }
}

/// What makes the bits of a frame of bytes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BitsOf {
    bits_per_byte: u32,
    overhead_bytes: u32,
    min_payload_bytes: u32,
}

impl BitsOf {
    pub(crate) fn bits(self, payload_bytes: u32) -> u64 {
        let bytes = u64::from(payload_bytes.max(self.min_payload_bytes));
        (bytes + u64::from(self.overhead_bytes)) * u64::from(self.bits_per_byte)
    }
}
