//! Shared buses: stations on one wire, and who may speak when.
//!
//! In a [`Topology`](crate::Topology) a bus that all stations hear is a hub without delay: a frame goes up from its station, which takes its turn and the frame time, and
//! down to each station that is meant, one propagation time from end to end later. On a polled bus only the station that asks hears the others, and they hear
//! it: what one tells another goes through it.

use timeline::Ns;

use crate::topology::{LONGEST_HOLD, TopologyError};
use crate::wire::Wire;

/// A wire that several stations share, one speaking at a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BusSpec {
    /// Nodes on it.
    pub stations: Vec<usize>,
    /// Bit rate, bit/s; of CAN FD that of arbitration.
    pub rate_bps: u64,
    /// Propagation time from end to end.
    pub propagation: Ns,
    /// How a frame lies on it; of a polled bus, how an answer does.
    pub wire: Wire,
    /// Largest payload of one frame, bytes; a larger piece of a message crosses as several frames and goes on when the last is there.
    pub payload_bytes: u32,
    /// Who may speak when.
    pub access: Access,
}

/// Who may speak when.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Access {
    /// Of those that wait when the wire falls free, the frame of the least priority number goes first, wherever it waits; among equals any.
    Priority,
    /// One station asks each other in turn. A request carries one frame to the station that is asked, its answer one frame back.
    Polled {
        /// The node that asks.
        by: usize,
        /// How a request lies on the wire.
        request: Wire,
        /// Longest silence before the answer, and before the next request.
        turnaround: Ns,
    },
    /// Each station may send one frame in each round; one that has none lets this much time pass.
    Round {
        /// Time of a turn that is not used, and what a turn costs beside its frame.
        gap: Ns,
    },
    /// Nobody says.
    Unsaid,
}

impl BusSpec {
    /// Whether its controllers themselves send again what was hit by a bit error, so that it costs time and no message: CAN with arbitration.
    #[must_use]
    pub fn repeats(&self) -> bool {
        let can = matches!(self.wire, Wire::Can { .. } | Wire::CanFd { .. });
        can && self.access == Access::Priority
    }

    /// Whether this node asks the others.
    pub(crate) fn asks(&self, node: usize) -> bool {
        matches!(self.access, Access::Polled { by, .. } if by == node)
    }

    /// How a frame from this node lies on it.
    pub(crate) fn wire_of(&self, node: usize) -> Wire {
        match self.access {
            Access::Polled { by, request, .. } if by == node => request,
            _ => self.wire,
        }
    }

    /// How long a frame lasts at worst; `request` for one from the station that asks.
    pub(crate) fn frame_time(
        &self,
        request: bool,
        payload_bytes: u32,
    ) -> Result<Ns, crate::frame::FrameError> {
        let wire = match self.access {
            Access::Polled { request: wire, .. } if request => wire,
            _ => self.wire,
        };
        wire.frame_time(self.rate_bps, payload_bytes)
    }

    pub(crate) fn check(&self, bus: usize, nodes: usize) -> Result<(), TopologyError> {
        for (at, &node) in self.stations.iter().enumerate() {
            if node >= nodes {
                return Err(TopologyError::NoSuchStation { bus, node, nodes });
            }
            if self.stations[..at].contains(&node) {
                return Err(TopologyError::StationTwice { bus, node });
            }
        }
        if self.stations.len() < 2 {
            return Err(TopologyError::TooFewStations {
                bus,
                stations: self.stations.len(),
            });
        }
        let (mut holds, mut asks) = (vec![self.propagation], true);
        match self.access {
            Access::Polled { by, turnaround, .. } => {
                asks = self.stations.contains(&by);
                holds.push(turnaround);
            }
            Access::Round { gap } => holds.push(gap),
            Access::Priority | Access::Unsaid => {}
        }
        if !asks {
            return Err(TopologyError::AskerElsewhere { bus });
        }
        if self.payload_bytes == 0 {
            return Err(TopologyError::BusFrame {
                bus,
                source: crate::frame::FrameError::NoMtu,
            });
        }
        for request in [false, true] {
            let time = self
                .frame_time(request, self.payload_bytes)
                .map_err(|source| TopologyError::BusFrame { bus, source })?;
            holds.push(time);
        }
        match holds.into_iter().find(|hold| *hold > LONGEST_HOLD) {
            Some(hold) => Err(TopologyError::BusTooSlow { bus, hold }),
            None => Ok(()),
        }
    }
}
