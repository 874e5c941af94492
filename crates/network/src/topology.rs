//! Nodes, links and routes.
//!
//! Every link is point to point and full duplex: its two directions never wait for each other. A route has the fewest hops; where several do, each
//! node is reached from the lowest-numbered node of the level before it, over the lowest-numbered link. On a tree there is only one route anyway. A shared bus
//! that all its stations hear counts as two hops, up and down; a polled one joins each station to the one that asks.

use std::fmt;

use timeline::Ns;

use crate::bus::{Access, BusSpec};
use crate::frame::FrameError;
use crate::wire::Wire;

/// The longest propagation, processing or frame time accepted: one hour.
pub const LONGEST_HOLD: Ns = Ns(3_600_000_000_000);
/// The largest frame accepted, payload and overhead together, bytes.
pub const LARGEST_FRAME_BYTES: u64 = 1 << 30;

/// A full-duplex point-to-point link between two nodes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LinkSpec {
    /// Node at one end.
    pub a: usize,
    /// Node at the other end.
    pub b: usize,
    /// Bit rate of each direction, bit/s.
    pub rate_bps: u64,
    /// Propagation time from end to end.
    pub propagation: Ns,
    /// Bytes added to each frame.
    pub overhead_bytes: u32,
    /// Shorter payloads are padded to this many bytes; 0 where nothing is padded.
    pub min_payload_bytes: u32,
    /// Bits on the wire for each byte: eight, or ten and more of a serial line.
    pub bits_per_byte: u32,
    /// Preamble before each frame that is not counted in bytes.
    pub lead: Ns,
}

impl LinkSpec {
    /// How long a frame with this payload occupies the link.
    ///
    /// # Errors
    /// [`FrameError::NoRate`], [`FrameError::TooSlow`].
    pub fn frame_time(&self, payload_bytes: u32) -> Result<Ns, FrameError> {
        let wire = Wire::Bytes {
            lead: self.lead,
            bits_per_byte: self.bits_per_byte,
            overhead_bytes: self.overhead_bytes,
            min_payload_bytes: self.min_payload_bytes,
        };
        wire.frame_time(self.rate_bps, payload_bytes)
    }
}

/// What a hop crosses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Medium {
    /// A link, by its index.
    Link(usize),
    /// A shared bus, by its index.
    Bus(usize),
}

/// A directed step between two nodes; of hubs of buses too, which come after the nodes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Arc {
    pub(crate) tail: usize,
    pub(crate) head: usize,
    pub(crate) over: Over,
}

/// What an arc is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Over {
    Link(usize),
    /// From a station to the hub of its bus.
    Up(usize),
    /// From the hub to a station.
    Down(usize),
    /// Between the station that asks and one that answers.
    Poll(usize),
}

impl Over {
    pub(crate) fn medium(self) -> Medium {
        match self {
            Over::Link(link) => Medium::Link(link),
            Over::Up(bus) | Over::Down(bus) | Over::Poll(bus) => Medium::Bus(bus),
        }
    }

    pub(crate) fn bus(self) -> Option<usize> {
        match self.medium() {
            Medium::Link(_) => None,
            Medium::Bus(bus) => Some(bus),
        }
    }
}

/// Nodes and links, checked.
#[derive(Clone)]
pub struct Topology {
    links: Vec<LinkSpec>,
    buses: Vec<BusSpec>,
    /// By direction: `2 l` and `2 l + 1` of each link, then those of the buses.
    arcs: Vec<Arc>,
    processing: Vec<Ns>,
    mtu_bytes: u32,
    /// By node: (neighbour, direction towards it), ascending.
    neighbours: Vec<Vec<(usize, usize)>>,
    /// By node: whether it hands on what is meant for others.
    relays: Vec<bool>,
    /// Buses that send again what bit errors hit, however often that is.
    repeating: Vec<usize>,
    /// Of buses that send again what bit errors hit: the least time between two errors, where it is stated.
    errors_apart: Vec<(usize, Ns)>,
}

// Digests are taken of what this writes: what bit errors add stands there where they are told, and moves no other network's digest.
impl fmt::Debug for Topology {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Topology {
            links,
            buses,
            arcs,
            processing,
            mtu_bytes,
            neighbours,
            relays,
            repeating,
            errors_apart,
        } = self;
        let mut told = f.debug_struct("Topology");
        told.field("links", links)
            .field("buses", buses)
            .field("arcs", arcs)
            .field("processing", processing)
            .field("mtu_bytes", mtu_bytes)
            .field("neighbours", neighbours)
            .field("relays", relays);
        if !repeating.is_empty() {
            told.field("repeating", repeating);
        }
        if !errors_apart.is_empty() {
            told.field("errors_apart", errors_apart);
        }
        told.finish()
    }
}

/// A network that cannot be built.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TopologyError {
    /// A link names a node that does not exist.
    #[error("link {link} ends at node {node}, but there are {nodes} nodes (numbered from 0)")]
    NoSuchNode {
        /// Link index.
        link: usize,
        /// Node named.
        node: usize,
        /// Number of nodes.
        nodes: usize,
    },
    /// A link from a node to itself.
    #[error("link {link} joins node {node} to itself")]
    Loop {
        /// Link index.
        link: usize,
        /// Node named twice.
        node: usize,
    },
    /// A rate of zero.
    #[error("link {link} has a rate of 0 bit/s")]
    NoRate {
        /// Link index.
        link: usize,
    },
    /// Bytes of no bits.
    #[error("link {link} has bytes of 0 bits")]
    NoBits {
        /// Link index.
        link: usize,
    },
    /// An empty frame would take no time.
    #[error(
        "link {link} has neither overhead nor a least payload: an empty frame would take no time"
    )]
    EmptyFrame {
        /// Link index.
        link: usize,
    },
    /// A largest payload of zero bytes.
    #[error("a largest payload of 0 bytes carries nothing")]
    NoMtu,
    /// A frame larger than [`LARGEST_FRAME_BYTES`].
    #[error(
        "a full frame on link {link} has {bytes} bytes; the limit is {LARGEST_FRAME_BYTES} bytes"
    )]
    FrameTooLarge {
        /// Link index.
        link: usize,
        /// Bytes of a full frame.
        bytes: u64,
    },
    /// A full frame that lasts longer than [`LONGEST_HOLD`].
    #[error(
        "a full frame of {bytes} bytes on link {link} at {rate_bps} bit/s lasts longer than the limit of {LONGEST_HOLD}"
    )]
    FrameTooLong {
        /// Link index.
        link: usize,
        /// Bytes of a full frame.
        bytes: u64,
        /// Rate in bit/s.
        rate_bps: u64,
    },
    /// A propagation time longer than [`LONGEST_HOLD`].
    #[error(
        "the propagation time of {propagation} on link {link} is longer than the limit of {LONGEST_HOLD}"
    )]
    PropagationTooLong {
        /// Link index.
        link: usize,
        /// Time given.
        propagation: Ns,
    },
    /// A processing time longer than [`LONGEST_HOLD`].
    #[error(
        "the processing time of {processing} at node {node} is longer than the limit of {LONGEST_HOLD}"
    )]
    ProcessingTooLong {
        /// Node index.
        node: usize,
        /// Time given.
        processing: Ns,
    },
    /// A bus names a node that does not exist.
    #[error("bus {bus} has node {node} on it, but there are {nodes} nodes (numbered from 0)")]
    NoSuchStation {
        /// Bus index.
        bus: usize,
        /// Node named.
        node: usize,
        /// Number of nodes.
        nodes: usize,
    },
    /// A node is on a bus twice.
    #[error("bus {bus} has node {node} on it twice")]
    StationTwice {
        /// Bus index.
        bus: usize,
        /// Node named twice.
        node: usize,
    },
    /// A bus of fewer than two stations.
    #[error("bus {bus} has {stations} stations; it needs two")]
    TooFewStations {
        /// Bus index.
        bus: usize,
        /// How many.
        stations: usize,
    },
    /// The station that asks is not on the bus.
    #[error("the node that asks on bus {bus} is not one of its stations")]
    AskerElsewhere {
        /// Bus index.
        bus: usize,
    },
    /// A full frame that a bus cannot carry.
    #[error("bus {bus}: {source}")]
    BusFrame {
        /// Bus index.
        bus: usize,
        /// Why.
        source: FrameError,
    },
    /// A frame, a turnaround or a propagation of a bus that lasts longer than [`LONGEST_HOLD`].
    #[error("{hold} on bus {bus} is longer than the limit of {LONGEST_HOLD}")]
    BusTooSlow {
        /// Bus index.
        bus: usize,
        /// How long.
        hold: Ns,
    },
    /// More nodes or links than 2^31 - 1.
    #[error("{count} nodes or links are too many; the limit is 2147483647")]
    TooMany {
        /// How many.
        count: usize,
    },
}

impl TopologyError {
    /// The link or bus that it is about.
    #[must_use]
    pub fn over(&self) -> Option<Medium> {
        use TopologyError as E;
        match *self {
            E::NoSuchNode { link, .. }
            | E::Loop { link, .. }
            | E::NoRate { link }
            | E::NoBits { link }
            | E::EmptyFrame { link }
            | E::FrameTooLarge { link, .. }
            | E::FrameTooLong { link, .. }
            | E::PropagationTooLong { link, .. } => Some(Medium::Link(link)),
            E::NoSuchStation { bus, .. }
            | E::StationTwice { bus, .. }
            | E::TooFewStations { bus, .. }
            | E::AskerElsewhere { bus }
            | E::BusFrame { bus, .. }
            | E::BusTooSlow { bus, .. } => Some(Medium::Bus(bus)),
            E::NoMtu | E::ProcessingTooLong { .. } | E::TooMany { .. } => None,
        }
    }
}

impl Topology {
    /// Checks and joins: `processing[n]` is what node `n` adds to every frame it receives before it queues or delivers it, and there are as many nodes
    /// as entries; `mtu_bytes` is the largest payload of one frame.
    ///
    /// # Errors
    /// The first [`TopologyError`] found.
    pub fn new(
        processing: Vec<Ns>,
        links: Vec<LinkSpec>,
        mtu_bytes: u32,
    ) -> Result<Topology, TopologyError> {
        let nodes = processing.len();
        let count = nodes.max(links.len());
        if count > i32::MAX as usize {
            return Err(TopologyError::TooMany { count });
        }
        if mtu_bytes == 0 {
            return Err(TopologyError::NoMtu);
        }
        for (node, &processing) in processing.iter().enumerate() {
            if processing > LONGEST_HOLD {
                return Err(TopologyError::ProcessingTooLong { node, processing });
            }
        }
        let mut arcs = Vec::with_capacity(2 * links.len());
        for (index, link) in links.iter().enumerate() {
            check_link(index, link, nodes, mtu_bytes)?;
            for (tail, head) in [(link.a, link.b), (link.b, link.a)] {
                let over = Over::Link(index);
                arcs.push(Arc { tail, head, over });
            }
        }
        let neighbours = neighbours(nodes, &arcs);
        Ok(Topology {
            links,
            buses: Vec::new(),
            arcs,
            processing,
            mtu_bytes,
            neighbours,
            relays: vec![true; nodes],
            repeating: Vec::new(),
            errors_apart: Vec::new(),
        })
    }

    /// The same network with shared buses.
    ///
    /// # Errors
    /// The first [`TopologyError`] found.
    pub fn with_buses(mut self, buses: Vec<BusSpec>) -> Result<Topology, TopologyError> {
        let nodes = self.node_count();
        self.arcs.truncate(2 * self.links.len());
        for (index, bus) in buses.iter().enumerate() {
            bus.check(index, nodes)?;
            let hub = nodes + index;
            for &station in &bus.stations {
                let pair = match bus.access {
                    Access::Polled { by, .. } if by == station => continue,
                    Access::Polled { by, .. } => [
                        (by, station, Over::Poll(index)),
                        (station, by, Over::Poll(index)),
                    ],
                    _ => [
                        (station, hub, Over::Up(index)),
                        (hub, station, Over::Down(index)),
                    ],
                };
                let pair = pair.map(|(tail, head, over)| Arc { tail, head, over });
                self.arcs.extend(pair);
            }
        }
        self.neighbours = neighbours(nodes + buses.len(), &self.arcs);
        self.relays.resize(nodes, true);
        self.relays.resize(nodes + buses.len(), true);
        self.buses = buses;
        Ok(self)
    }

    /// The same network where some nodes send and receive, but hand on nothing that is meant for others; numbers of nodes that
    /// do not exist change nothing.
    #[must_use]
    pub fn without_relays(mut self, ends: &[usize]) -> Topology {
        let nodes = self.node_count();
        for node in ends.iter().filter(|node| **node < nodes) {
            self.relays[*node] = false;
        }
        self
    }

    /// The same network where bit errors are told of some buses: those of them whose controllers send again what was hit have no bounds, because nothing says how
    /// often that is at most. Others lose what is hit, which makes nothing late.
    #[must_use]
    pub fn with_bit_errors_on(mut self, buses: &[usize]) -> Topology {
        let spec = |bus: &usize| self.buses.get(*bus);
        let repeats = |bus: &usize| spec(bus).is_some_and(BusSpec::repeats);
        self.repeating = buses.iter().copied().filter(repeats).collect();
        self
    }

    /// The same network where a least time between two bit errors is stated of some buses: bounds of those whose controllers send again what was hit count what
    /// such errors cost. Times of zero and other buses change nothing.
    #[must_use]
    pub fn with_errors_apart(mut self, stated: &[(usize, Ns)]) -> Topology {
        let repeats = |bus: usize| self.buses.get(bus).is_some_and(BusSpec::repeats);
        let states = |(bus, apart): &(usize, Ns)| repeats(*bus) && *apart > Ns::ZERO;
        self.errors_apart = stated.iter().copied().filter(states).collect();
        self
    }

    /// Whether bit errors come so often as they like on a bus that sends again what they hit.
    pub(crate) fn repeats_without_end(&self, bus: usize) -> bool {
        self.repeating.contains(&bus) && self.errors_apart(bus).is_none()
    }

    /// The least time between two errors on a bus that sends again what they hit, where it is stated.
    #[must_use]
    pub fn errors_apart(&self, bus: usize) -> Option<Ns> {
        let stated = self.errors_apart.iter().find(|(of, _)| *of == bus);
        stated.map(|(_, apart)| *apart)
    }

    /// The links, in the order given.
    #[must_use]
    pub fn links(&self) -> &[LinkSpec] {
        &self.links
    }

    /// The shared buses, in the order given.
    #[must_use]
    pub fn buses(&self) -> &[BusSpec] {
        &self.buses
    }

    pub(crate) fn arcs(&self) -> &[Arc] {
        &self.arcs
    }

    /// How many nodes there are.
    #[must_use]
    pub fn node_count(&self) -> usize {
        self.processing.len()
    }

    /// What each node adds to a frame it receives.
    #[must_use]
    pub fn processing(&self) -> &[Ns] {
        &self.processing
    }

    /// Largest payload of one frame, bytes.
    #[must_use]
    pub fn mtu_bytes(&self) -> u32 {
        self.mtu_bytes
    }

    /// What the route from one node to another crosses, in order, each with the node it leads to; empty from a node to itself, `None` when there is no route
    /// or no such node.
    #[must_use]
    pub fn route(&self, from: usize, to: usize) -> Option<Vec<(Medium, usize)>> {
        let hop = |direction: usize| {
            let arc = self.arcs[direction];
            match arc.over {
                Over::Link(link) => Some((Medium::Link(link), arc.head)),
                Over::Poll(bus) | Over::Down(bus) => Some((Medium::Bus(bus), arc.head)),
                Over::Up(_) => None,
            }
        };
        self.directions(from, to)
            .map(|directions| directions.into_iter().filter_map(hop).collect())
    }

    /// The directions of the route, in order. Direction `2 l` of link `l` runs from `a` to `b`, direction `2 l + 1` back; those of buses follow.
    pub(crate) fn directions(&self, from: usize, to: usize) -> Option<Vec<usize>> {
        if from >= self.node_count() || to >= self.node_count() {
            return None;
        }
        let arrived_by = self.tree_from(from, |_| true);
        let mut back = Vec::new();
        let mut node = to;
        while node != from {
            let direction = arrived_by[node]?;
            back.push(direction);
            node = self.tail(direction);
        }
        back.reverse();
        Some(back)
    }

    /// For each node, the direction by which the route from `from` enters it; `None` for `from` itself and what cannot be reached.
    pub(crate) fn tree_from(
        &self,
        from: usize,
        usable: impl Fn(usize) -> bool,
    ) -> Vec<Option<usize>> {
        let mut arrived_by = vec![None; self.neighbours.len()];
        let mut level = vec![from];
        while !level.is_empty() {
            let mut next = Vec::new();
            let relaying = |node: &&usize| **node == from || self.relays[**node];
            for &node in level.iter().filter(relaying) {
                for &(neighbour, direction) in &self.neighbours[node] {
                    if neighbour != from && arrived_by[neighbour].is_none() && usable(direction) {
                        arrived_by[neighbour] = Some(direction);
                        next.push(neighbour);
                    }
                }
            }
            next.sort_unstable();
            level = next;
        }
        arrived_by
    }

    /// The node a direction starts at.
    pub(crate) fn tail(&self, direction: usize) -> usize {
        self.arcs[direction].tail
    }

    /// The node a direction leads to.
    pub(crate) fn head(&self, direction: usize) -> usize {
        self.arcs[direction].head
    }
}

fn neighbours(count: usize, arcs: &[Arc]) -> Vec<Vec<(usize, usize)>> {
    let mut neighbours = vec![Vec::new(); count];
    for (direction, arc) in arcs.iter().enumerate() {
        neighbours[arc.tail].push((arc.head, direction));
    }
    for list in &mut neighbours {
        list.sort_unstable();
    }
    neighbours
}

fn check_link(
    index: usize,
    link: &LinkSpec,
    nodes: usize,
    mtu_bytes: u32,
) -> Result<(), TopologyError> {
    for node in [link.a, link.b] {
        if node >= nodes {
            return Err(TopologyError::NoSuchNode {
                link: index,
                node,
                nodes,
            });
        }
    }
    if link.a == link.b {
        return Err(TopologyError::Loop {
            link: index,
            node: link.a,
        });
    }
    if link.rate_bps == 0 {
        return Err(TopologyError::NoRate { link: index });
    }
    if link.overhead_bytes == 0 && link.min_payload_bytes == 0 {
        return Err(TopologyError::EmptyFrame { link: index });
    }
    let bytes = u64::from(mtu_bytes.max(link.min_payload_bytes)) + u64::from(link.overhead_bytes);
    if bytes > LARGEST_FRAME_BYTES {
        return Err(TopologyError::FrameTooLarge { link: index, bytes });
    }
    if link.bits_per_byte == 0 {
        return Err(TopologyError::NoBits { link: index });
    }
    match link.frame_time(mtu_bytes) {
        Ok(time) if time <= LONGEST_HOLD => {}
        _ => {
            return Err(TopologyError::FrameTooLong {
                link: index,
                bytes,
                rate_bps: link.rate_bps,
            });
        }
    }
    if link.propagation > LONGEST_HOLD {
        return Err(TopologyError::PropagationTooLong {
            link: index,
            propagation: link.propagation,
        });
    }
    Ok(())
}
