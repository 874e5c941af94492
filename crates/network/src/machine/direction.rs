//! One direction of a link: its transmitter and the frames that wait for it.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use timeline::Ns;

use super::records::DirectionStats;
use crate::topology::{LinkSpec, Topology};

#[derive(Clone, Debug)]
pub(super) struct Direction {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) propagation: Ns,
    /// What the far node adds.
    pub(super) far_processing: Ns,
    link: LinkSpec,
    /// The last payload asked about and its frame time: streams repeat sizes, and a division costs more than a comparison.
    last_frame: (u32, Ns),
    pub(super) waiting: BinaryHeap<Waiting>,
    pub(super) serving_until: Option<Ns>,
    /// Counts interruptions, so that the end of a transmission that was cut short is recognised as stale.
    pub(super) epoch: u32,
    /// Link and both ends are up.
    pub(super) usable: bool,
    /// Listed in `Machine::touched`.
    pub(super) touched: bool,
    pub(super) busy_ns: u64,
    pub(super) most_waiting: usize,
    pub(super) frames: u64,
}

/// A frame, with all that orders it among those that wait.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Waiting {
    /// Prio above, instant queued in the lower 64 bits.
    order: u128,
    seq: u64,
    stream: u32,
    pub(super) fragment: u32,
    pub(super) slot: u32,
    pub(super) hop: u32,
}

impl Waiting {
    pub(super) fn new(
        priority: u8,
        queued: Ns,
        stream: u32,
        seq: u64,
        fragment: u32,
        slot: u32,
        hop: u32,
    ) -> Waiting {
        Waiting {
            order: u128::from(priority) << 64 | u128::from(queued.0),
            seq,
            stream,
            fragment,
            slot,
            hop,
        }
    }

    pub(super) fn queued(&self) -> Ns {
        Ns(self.order as u64)
    }

    fn key(&self) -> (u128, u32, u64, u32) {
        (self.order, self.stream, self.seq, self.fragment)
    }
}

impl Ord for Waiting {
    /// Reversed, because the standard heap gives the greatest first.
    fn cmp(&self, other: &Self) -> Ordering {
        other
            .key()
            .cmp(&self.key())
            .then_with(|| (other.slot, other.hop).cmp(&(self.slot, self.hop)))
    }
}

impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Direction {
    pub(super) fn new(topology: &Topology, index: usize) -> Direction {
        let link = &topology.links()[index / 2];
        let to = topology.head(index);
        let mut direction = Direction {
            from: topology.tail(index),
            to,
            propagation: link.propagation,
            far_processing: topology.processing()[to],
            link: *link,
            last_frame: (0, Ns::ZERO),
            waiting: BinaryHeap::new(),
            serving_until: None,
            epoch: 0,
            usable: true,
            touched: false,
            busy_ns: 0,
            most_waiting: 0,
            frames: 0,
        };
        direction.last_frame.1 = direction.computed_frame_time(0);
        direction
    }

    pub(super) fn frame_time(&mut self, payload_bytes: u32) -> Ns {
        if self.last_frame.0 != payload_bytes {
            self.last_frame = (payload_bytes, self.computed_frame_time(payload_bytes));
        }
        self.last_frame.1
    }

    fn computed_frame_time(&self, payload_bytes: u32) -> Ns {
        self.link
            .frame_time(payload_bytes)
            .expect("the topology accepts only links on which a full frame has a frame time")
    }

    pub(super) fn stats(&self, index: usize, topology: &Topology, reached: Ns) -> DirectionStats {
        // A transmission is booked in full when it starts; what lies ahead is not yet busy time.
        let ahead = self
            .serving_until
            .and_then(|until| until.checked_sub(reached))
            .map_or(0, |ahead| ahead.0);
        DirectionStats {
            link: index / 2,
            from: topology.tail(index),
            to: topology.head(index),
            busy: Ns(self.busy_ns - ahead),
            waiting: self.waiting.len(),
            most_waiting: self.most_waiting,
            frames: self.frames,
        }
    }
}
