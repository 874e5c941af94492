//! Nodes, links and routes.
//!
//! Every link is point to point and full duplex: its two directions never wait for each other. A route has the fewest hops; where several do, each
//! node is reached from the lowest-numbered node of the level before it, over the lowest-numbered link. On a tree there is only one route anyway.

use timeline::Ns;

use crate::frame::frame_time;

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
}

/// Nodes and links, checked.
#[derive(Clone, Debug)]
pub struct Topology {
    links: Vec<LinkSpec>,
    processing: Vec<Ns>,
    mtu_bytes: u32,
    /// By node: (neighbour, direction towards it), ascending.
    neighbours: Vec<Vec<(usize, usize)>>,
    /// By node: whether it hands on what is meant for others.
    relays: Vec<bool>,
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
    /// More nodes or links than 2^31 - 1.
    #[error("{count} nodes or links are too many; the limit is 2147483647")]
    TooMany {
        /// How many.
        count: usize,
    },
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
        let mut neighbours = vec![Vec::new(); nodes];
        for (index, link) in links.iter().enumerate() {
            check_link(index, link, nodes, mtu_bytes)?;
            neighbours[link.a].push((link.b, 2 * index));
            neighbours[link.b].push((link.a, 2 * index + 1));
        }
        for list in &mut neighbours {
            list.sort_unstable();
        }
        Ok(Topology {
            links,
            processing,
            mtu_bytes,
            neighbours,
            relays: vec![true; nodes],
        })
    }

    /// The same network where some nodes send and receive, but hand on nothing that is meant for others; numbers of nodes that
    /// do not exist change nothing.
    #[must_use]
    pub fn without_relays(mut self, ends: &[usize]) -> Topology {
        for &node in ends {
            if let Some(relays) = self.relays.get_mut(node) {
                *relays = false;
            }
        }
        self
    }

    /// The links, in the order given.
    #[must_use]
    pub fn links(&self) -> &[LinkSpec] {
        &self.links
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

    /// The links of the route from one node to another, in order; empty from a node to itself, `None` when there is no route or no such node.
    #[must_use]
    pub fn route(&self, from: usize, to: usize) -> Option<Vec<usize>> {
        self.directions(from, to).map(|directions| {
            directions
                .into_iter()
                .map(|direction| direction / 2)
                .collect()
        })
    }

    /// The directions of the route, in order. Direction `2 l` of link `l` runs from `a` to `b`, direction `2 l + 1` back.
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
        let mut arrived_by = vec![None; self.node_count()];
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
        let link = &self.links[direction / 2];
        if direction.is_multiple_of(2) {
            link.a
        } else {
            link.b
        }
    }

    /// The node a direction leads to.
    pub(crate) fn head(&self, direction: usize) -> usize {
        let link = &self.links[direction / 2];
        if direction.is_multiple_of(2) {
            link.b
        } else {
            link.a
        }
    }
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
    match frame_time(
        mtu_bytes,
        link.overhead_bytes,
        link.min_payload_bytes,
        link.rate_bps,
    ) {
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
