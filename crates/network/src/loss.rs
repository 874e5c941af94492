//! Frames lost to bit errors.
//!
//! Where each bit is wrong with the same chance `e`, whatever the others are, a frame of `n` bits is lost with `1 - (1 - e)^n`: one wrong bit spoils it, and the check
//! of the carrier finds that. `n` counts every bit of the frame's bytes on the wire, those of preamble and gap too, which errs towards more loss. A copy is lost where any of its frames is, on
//! any hop. Bursts of errors lose fewer frames at the same mean rate; the chance is then that of frames hit, not of bits. (Elementary probability, no standard.)
//!
//! Controllers of CAN repeat by themselves a frame that was hit: an error costs time there, and no message, until a controller is off the bus (`confinement`). Frames that are each hit with
//! the same chance p, whatever the others are, are repeated p/(1 - p) times on average (geometric law).

use crate::bus::BusSpec;
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

/// Chance that a frame is hit that a station sends on a bus, where each bit is wrong with this chance.
///
/// # Errors
/// [`LossError`].
pub fn bus_frame_loss(
    spec: &BusSpec,
    station: usize,
    payload_bytes: u32,
    bit_error_rate: f64,
) -> Result<f64, LossError> {
    let rate = check_rate(bit_error_rate)?;
    Ok(frame_loss(spec.wire_of(station).bits(payload_bytes)?, rate))
}

/// Chance that a copy of a message of `bytes` is lost on its way from one node to another, in an unbroken network where each bit on a medium is wrong with the chance
/// that `rate` tells. A bus whose controllers repeat what was hit loses nothing here: see [`can_sendings_to_bus_off`](crate::can_sendings_to_bus_off).
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
        let repeated = |bus: usize| topology.buses()[bus].repeats();
        let repeated = arc.over.bus().is_some_and(repeated);
        if rate == 0.0 || repeated || matches!(arc.over, Over::Down(_)) {
            continue;
        }
        let (wire, piece_bytes) = wire_of(topology, direction);
        for (count, index) in [(fragments - 1, 0), (1, fragments - 1)] {
            let left = fragment_bytes(bytes, mtu_bytes, index, fragments);
            let (full, rest) = (left / piece_bytes, left % piece_bytes);
            let mut bits = u64::from(full) * wire.bits(piece_bytes)?;
            if rest > 0 || left == 0 {
                bits += wire.bits(rest)?;
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
pub(crate) fn wire_of(topology: &Topology, direction: usize) -> (Wire, u32) {
    let arc = topology.arcs()[direction];
    match arc.over {
        Over::Link(link) => {
            let link = topology.links()[link];
            let of = Wire::Bytes {
                lead: link.lead,
                bits_per_byte: link.bits_per_byte,
                overhead_bytes: link.overhead_bytes,
                min_payload_bytes: link.min_payload_bytes,
            };
            (of, topology.mtu_bytes())
        }
        Over::Up(bus) | Over::Down(bus) | Over::Poll(bus) => {
            let spec = &topology.buses()[bus];
            (spec.wire_of(arc.tail), spec.payload_bytes)
        }
    }
}
