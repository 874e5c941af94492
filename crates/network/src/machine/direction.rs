//! One direction of a link: its transmitter and the frames that wait for it.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use timeline::Ns;

use super::errors::Errors;
use super::records::{BusStats, DirectionStats};
use crate::bus::BusSpec;
use crate::topology::{LinkSpec, Over, Topology};

/// What a frame lies on in a direction.
#[derive(Clone, Debug)]
enum DirectionWire {
    Link(LinkSpec),
    /// From a station of a bus, which stands for all of them where it serves; `request` from the one that asks.
    Up {
        bus: BusSpec,
        request: bool,
    },
    /// From the hub: a frame is there already.
    Down,
}

#[derive(Clone, Debug)]
pub(super) struct Direction {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) propagation: Ns,
    /// What the far node adds.
    pub(super) far_processing: Ns,
    wire: DirectionWire,
    /// The last payload asked about and its frame time: streams repeat sizes, and a division costs more than a comparison.
    last_frame: (u32, Ns),
    pub(super) waiting: BinaryHeap<Waiting>,
    pub(super) serving_until: Option<Ns>,
    /// Which direction is being served: on a bus that of the station that speaks.
    pub(super) serving: u32,
    /// What follows on a bus of which another piece is being sent.
    pub(super) rest: Option<Waiting>,
    /// Bit errors, once a rate was set.
    pub(super) errors: Option<Box<Errors>>,
    /// Of the server of a CAN bus: what it sends is hit, and will be sent again.
    pub(super) hit: bool,
    pub(super) hits: u64,
    /// The controller of its station is off the bus.
    pub(super) off: bool,
    /// The bus on which it has its turns, if it does.
    pub(super) turns: Option<u32>,
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
    pub(super) order: u128,
    pub(super) seq: u64,
    pub(super) stream: u32,
    pub(super) fragment: u32,
    pub(super) slot: u32,
    pub(super) hop: u32,
    /// Pieces that have crossed a bus already, and when the first of them began.
    pub(super) pieces: u32,
    pub(super) begun: Option<Ns>,
    /// A bit error has hit it.
    pub(super) spoilt: bool,
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
            pieces: 0,
            begun: None,
            spoilt: false,
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
        let arc = topology.arcs()[index];
        let far_processing = topology.processing().get(arc.head).copied();
        let (wire, propagation) = match arc.over {
            Over::Link(link) => {
                let link = topology.links()[link];
                (DirectionWire::Link(link), link.propagation)
            }
            Over::Up(bus) | Over::Poll(bus) => {
                let bus = topology.buses()[bus].clone();
                let propagation = bus.propagation;
                let request = bus.asks(arc.tail);
                (DirectionWire::Up { bus, request }, propagation)
            }
            Over::Down(_) => (DirectionWire::Down, Ns::ZERO),
        };
        let mut direction = Direction {
            from: arc.tail,
            to: arc.head,
            propagation,
            // A hub adds nothing.
            far_processing: far_processing.map_or(Ns::ZERO, |ns| ns),
            wire,
            last_frame: (0, Ns::ZERO),
            waiting: BinaryHeap::new(),
            serving_until: None,
            serving: 0,
            rest: None,
            errors: None,
            hit: false,
            hits: 0,
            off: false,
            turns: None,
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

    /// The payload of the piece of a fragment that goes next, and whether it is the last.
    pub(super) fn piece(&self, fragment_bytes: u32, pieces: u32) -> (u32, bool) {
        match &self.wire {
            DirectionWire::Link(_) | DirectionWire::Down => (fragment_bytes, true),
            DirectionWire::Up { bus, .. } => {
                let left = fragment_bytes - pieces * bus.payload_bytes;
                (left.min(bus.payload_bytes), left <= bus.payload_bytes)
            }
        }
    }

    pub(super) fn frame_time(&mut self, payload_bytes: u32) -> Ns {
        if self.last_frame.0 != payload_bytes {
            self.last_frame = (payload_bytes, self.computed_frame_time(payload_bytes));
        }
        self.last_frame.1
    }

    fn computed_frame_time(&self, payload_bytes: u32) -> Ns {
        let time = match &self.wire {
            DirectionWire::Link(link) => link.frame_time(payload_bytes),
            DirectionWire::Up { bus, request } => bus.frame_time(*request, payload_bytes),
            DirectionWire::Down => Ok(Ns::ZERO),
        };
        time.expect("the topology accepts only links on which a full frame has a frame time")
    }

    /// Of the direction that serves a bus.
    pub(super) fn bus_stats(&self, reached: Ns) -> BusStats {
        let ahead = self
            .serving_until
            .and_then(|until| until.checked_sub(reached))
            .map_or(0, |ahead| ahead.0);
        BusStats {
            busy: Ns(self.busy_ns - ahead),
            waiting: self.waiting.len(),
            most_waiting: self.most_waiting,
            frames: self.frames,
            hit: self.hits,
            bus_offs: 0,
        }
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
