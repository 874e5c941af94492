//! A direction of a point-to-point link: streams of one priority behind those that go first.

use super::{BoundError, Inflow, NS_PER_S, Net, Step, WhyUnknown, small};
use crate::frame::{FrameError, fragment_bytes, fragment_count};
use crate::topology::{LinkSpec, Topology};

/// A flow at one direction, in bits on that wire.
struct Load {
    inflow: Inflow,
    burst_bits: u128,
    rate_bps: u128,
    frame_bits: u128,
}

pub(super) fn settle(
    net: &Net<'_>,
    direction: usize,
    link: usize,
    inflows: &[Inflow],
) -> Result<Vec<Step>, BoundError> {
    let loads = inflows
        .iter()
        .map(|inflow| load(net, link, *inflow))
        .collect::<Result<Vec<_>, _>>()?;
    loads
        .iter()
        .map(|load| step_bound(net.topology, direction, link, &loads, load))
        .collect()
}

fn load(net: &Net<'_>, link: usize, inflow: Inflow) -> Result<Load, BoundError> {
    let bytes = net.flows[inflow.flow].bytes;
    let spec = &net.topology.links()[link];
    let (message_bits, frame_bits) =
        wire_bits(spec, net.topology.mtu_bytes(), bytes).map_err(|source| BoundError::Frame {
            flow: inflow.flow,
            source,
        })?;
    let burst_bits = inflow
        .burst_scaled
        .checked_mul(message_bits)
        .ok_or(BoundError::TooLarge)?
        .div_ceil(inflow.per);
    let rate_bps = (inflow.messages * message_bits)
        .checked_mul(NS_PER_S)
        .ok_or(BoundError::TooLarge)?
        .div_ceil(inflow.per);
    Ok(Load {
        inflow,
        burst_bits,
        rate_bps,
        frame_bits,
    })
}

fn step_bound(
    topology: &Topology,
    direction: usize,
    link: usize,
    loads: &[Load],
    load: &Load,
) -> Result<Step, BoundError> {
    let rate_bps = topology.links()[link].rate_bps;
    let priority = load.inflow.priority;
    let first = || {
        loads
            .iter()
            .filter(move |other| other.inflow.priority < priority)
    };
    let equal = || {
        loads
            .iter()
            .filter(move |other| other.inflow.priority == priority)
    };
    let first_rate: u128 = first().map(|other| other.rate_bps).sum();
    let asked = first_rate + equal().map(|other| other.rate_bps).sum::<u128>();
    if asked > u128::from(rate_bps) || first_rate == u128::from(rate_bps) {
        let asked_bps = u64::try_from(asked).map_err(|_| BoundError::TooLarge)?;
        return Ok(Err(WhyUnknown::Overloaded {
            link,
            to: topology.head(direction),
            asked_bps,
            rate_bps,
        }));
    }
    let rate = u128::from(rate_bps) - first_rate;
    let blocking = loads
        .iter()
        .filter(|other| other.inflow.priority > priority)
        .map(|other| other.frame_bits)
        .max()
        .map_or(0, |bits| bits);
    let frame = equal()
        .map(|other| other.frame_bits)
        .max()
        .expect("a load is among its equals");
    let ahead = blocking + frame + first().map(|other| other.burst_bits).sum::<u128>();
    let others = equal().map(|other| other.burst_bits).sum::<u128>() - load.burst_bits;
    let time = |bits: u128| {
        bits.checked_mul(NS_PER_S)
            .map(|scaled| scaled.div_ceil(rate))
            .ok_or(BoundError::TooLarge)
    };
    let held_ns = time(ahead + others)?;
    let stay_ns = time(ahead + others + load.burst_bits)?;
    let grown = load
        .inflow
        .messages
        .checked_mul(held_ns)
        .and_then(|more| more.checked_add(load.inflow.burst_scaled))
        .ok_or(BoundError::TooLarge)?;
    Ok(Ok((small(stay_ns)?, grown)))
}

/// Bits on the wire of a whole message, and of its largest frame; what comes before a frame counts as bits.
fn wire_bits(link: &LinkSpec, mtu_bytes: u32, bytes: u32) -> Result<(u128, u128), FrameError> {
    let fragments = fragment_count(bytes, mtu_bytes)?;
    let lead_bits = (u128::from(link.lead.0) * u128::from(link.rate_bps)).div_ceil(NS_PER_S);
    let frame_bits = |payload: u32| {
        let bytes =
            u128::from(payload.max(link.min_payload_bytes)) + u128::from(link.overhead_bytes);
        bytes * u128::from(link.bits_per_byte) + lead_bits
    };
    let first = frame_bits(fragment_bytes(bytes, mtu_bytes, 0, fragments));
    let last = frame_bits(fragment_bytes(bytes, mtu_bytes, fragments - 1, fragments));
    Ok((first * u128::from(fragments - 1) + last, first))
}
