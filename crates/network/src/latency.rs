//! How soon a message can be there: its latency in an otherwise empty network.
//!
//! Fragment `i` leaves a node when it has arrived there and fragment `i - 1` has left; it arrives at the next node one frame time, one propagation time
//! and one processing time later. For `k` equal fragments over `n` equal links this is the pipeline formula of store-and-forward switching,
//! T = (n + k - 1) 8 (M/k + h)/R + n (t + q), with t the propagation and q the processing.

use timeline::Ns;

use crate::frame::{FrameError, fragment_bytes, fragment_count};
use crate::topology::{Over, Topology};

/// A latency that does not exist.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LatencyError {
    /// No such node, or no route.
    #[error("there is no route from node {from} to node {to}")]
    NoPath {
        /// First node.
        from: usize,
        /// Last node.
        to: usize,
    },
    /// The route crosses a shared bus, where even an empty network makes a message wait for its turn.
    #[error("the route from node {from} to node {to} crosses a shared bus")]
    Shared {
        /// First node.
        from: usize,
        /// Last node.
        to: usize,
    },
    /// The message cannot be sent.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// The latency does not fit in an [`Ns`].
    #[error("the latency from node {from} to node {to} is longer than time can say")]
    TooLong {
        /// First node.
        from: usize,
        /// Last node.
        to: usize,
    },
}

/// The time from publishing a message of `bytes` at `from` until its last fragment is delivered at `to`, when nothing else is under way; exact, and the
/// least any message of this size can take. Zero from a node to itself.
///
/// # Errors
/// [`LatencyError`].
pub fn no_queue_latency(
    topology: &Topology,
    from: usize,
    to: usize,
    bytes: u32,
) -> Result<Ns, LatencyError> {
    let route = topology
        .directions(from, to)
        .ok_or(LatencyError::NoPath { from, to })?;
    let mtu_bytes = topology.mtu_bytes();
    let fragments = fragment_count(bytes, mtu_bytes)?;
    let too_long = LatencyError::TooLong { from, to };
    let mut link_free = vec![Ns::ZERO; route.len()];
    let mut arrived = Ns::ZERO;
    for index in 0..fragments {
        let payload_bytes = fragment_bytes(bytes, mtu_bytes, index, fragments);
        arrived = Ns::ZERO;
        for (free, &direction) in link_free.iter_mut().zip(&route) {
            let Over::Link(link) = topology.arcs()[direction].over else {
                return Err(LatencyError::Shared { from, to });
            };
            let link = &topology.links()[link];
            let time = link.frame_time(payload_bytes)?;
            *free = arrived.max(*free).checked_add(time).ok_or(too_long)?;
            arrived = free
                .checked_add(link.propagation)
                .and_then(|at| at.checked_add(topology.processing()[topology.head(direction)]))
                .ok_or(too_long)?;
        }
    }
    Ok(arrived)
}
