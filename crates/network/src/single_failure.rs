//! Each node and each medium broken in turn: which nodes still reach a sink.
//!
//! On point-to-point links each module repeats what is meant for others, so what a broken one lets past decides how much falls silent with it. A node can break in two
//! ways that differ: it has no power (a relay may fall back to a wire, a module beside the pair leaves it whole), or it hangs (powered, so nothing falls back, and its driver may
//! hold a shared bus). What still goes past is the caller's claim, for each node and each way. A polled bus whose asking node is broken is silent whatever is claimed.
//!
//! Reach is that of the graph: a path over media that work, through nodes that hand on ([`Topology::without_relays`]), to a sink that works. It is found by breadth-first search
//! from each sink (all media carry both ways). Which route the machine's tables would take is not asked; routes here are found anew.
//!
//! Cost: (nodes and media) x (sinks) searches.

use crate::topology::{Medium, Topology};

/// How a node is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum How {
    /// Without power.
    Unpowered,
    /// With power, but its program stands still.
    Hung,
}

/// What a broken node does to what is meant for others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PastBroken {
    /// It goes past as through a node that works.
    Passes,
    /// It ends there; buses that the node is on still carry between the others.
    Stops,
    /// It ends there, and the buses that the node is on carry nothing.
    HoldsBuses,
}

/// What goes past a node, by how it is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StillPasses {
    /// Without power.
    pub unpowered: PastBroken,
    /// Hung.
    pub hung: PastBroken,
}

/// What is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Broken {
    /// A node, in one of its two ways.
    Node(usize, How),
    /// A link or a bus.
    Medium(Medium),
}

/// One failure, and what it silences.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SingleFailure {
    /// What is broken.
    pub broken: Broken,
    /// By node: whether it works and reaches a sink; a sink that works reaches itself.
    pub reaches: Vec<bool>,
    /// Nodes that reach a sink while all is whole and do not now, the broken one among them, ascending.
    pub lost: Vec<usize>,
}

/// Failures that cannot be tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FailureError {
    /// A sink that is no node.
    #[error("a sink is node {sink}, but there are {nodes} nodes (numbered from 0)")]
    NoSuchSink {
        /// Node named.
        sink: usize,
        /// Number of nodes.
        nodes: usize,
    },
    /// Nothing to reach.
    #[error("there is no sink to reach")]
    NoSink,
    /// A list of another length.
    #[error("what passes is told of {given} nodes, and there are {nodes}")]
    WrongLength {
        /// How many are told of.
        given: usize,
        /// Number of nodes.
        nodes: usize,
    },
}

/// Breaks each node without power and hung, then each link and each bus, in the order of their numbers. `passes` says of each node what goes past it.
///
/// # Errors
/// [`FailureError`].
pub fn single_failures(
    topology: &Topology,
    sinks: &[usize],
    passes: &[StillPasses],
) -> Result<Vec<SingleFailure>, FailureError> {
    checked(topology, sinks, passes)?;
    let nodes = topology.node_count();
    let unbroken = vec![None; nodes];
    let whole = reached(topology, sinks, &unbroken, &[], passes);
    let of_nodes =
        (0..nodes).flat_map(|node| [How::Unpowered, How::Hung].map(|how| Broken::Node(node, how)));
    let links = (0..topology.links().len()).map(Medium::Link);
    let buses = (0..topology.buses().len()).map(Medium::Bus);
    let all = of_nodes.chain(links.chain(buses).map(Broken::Medium));
    let one = |broken: Broken| {
        let mut ways = unbroken.clone();
        let mut cut = Vec::new();
        match broken {
            Broken::Node(node, how) => ways[node] = Some(how),
            Broken::Medium(medium) => cut.push(medium),
        }
        let reaches = reached(topology, sinks, &ways, &cut, passes);
        let lost = (0..nodes).filter(|&n| whole[n] && !reaches[n]).collect();
        SingleFailure {
            broken,
            reaches,
            lost,
        }
    };
    Ok(all.map(one).collect())
}

/// By node, whether it works and reaches a sink that works, with several nodes and media broken at once: `nodes` says of each how it is broken, `None` of one that works. A sink that
/// works reaches itself.
///
/// # Errors
/// [`FailureError`].
pub fn reaching(
    topology: &Topology,
    sinks: &[usize],
    nodes: &[Option<How>],
    media: &[Medium],
    passes: &[StillPasses],
) -> Result<Vec<bool>, FailureError> {
    checked(topology, sinks, passes)?;
    let count = topology.node_count();
    if nodes.len() != count {
        return Err(FailureError::WrongLength {
            given: nodes.len(),
            nodes: count,
        });
    }
    Ok(reached(topology, sinks, nodes, media, passes))
}

fn checked(
    topology: &Topology,
    sinks: &[usize],
    passes: &[StillPasses],
) -> Result<(), FailureError> {
    let nodes = topology.node_count();
    if sinks.is_empty() {
        return Err(FailureError::NoSink);
    }
    if let Some(&sink) = sinks.iter().find(|sink| **sink >= nodes) {
        return Err(FailureError::NoSuchSink { sink, nodes });
    }
    if passes.len() != nodes {
        return Err(FailureError::WrongLength {
            given: passes.len(),
            nodes,
        });
    }
    Ok(())
}

fn reached(
    topology: &Topology,
    sinks: &[usize],
    nodes: &[Option<How>],
    media: &[Medium],
    passes: &[StillPasses],
) -> Vec<bool> {
    let past = |node: usize| {
        // The hubs that stand for buses are no nodes of anybody.
        let how = nodes.get(node).copied().flatten();
        how.map(|how| match how {
            How::Unpowered => passes[node].unpowered,
            How::Hung => passes[node].hung,
        })
    };
    let silent = |bus: usize| {
        let spec = &topology.buses()[bus];
        let held = |&node: &usize| past(node) == Some(PastBroken::HoldsBuses);
        let asks = |node: usize| nodes[node].is_some() && spec.asks(node);
        spec.stations.iter().any(held) || (0..nodes.len()).any(asks)
    };
    let silent: Vec<bool> = (0..topology.buses().len()).map(silent).collect();
    let usable = |direction: usize| {
        let arc = topology.arcs()[direction];
        let ends_there = |node: usize| past(node).is_some_and(|p| p != PastBroken::Passes);
        !ends_there(arc.tail)
            && !ends_there(arc.head)
            && !media.contains(&arc.over.medium())
            && !arc.over.bus().is_some_and(|bus| silent[bus])
    };
    let mut reaches = vec![false; nodes.len()];
    for &sink in sinks.iter().filter(|sink| nodes[**sink].is_none()) {
        reaches[sink] = true;
        let arrived_by = topology.tree_from(sink, usable);
        for (reached, by) in reaches.iter_mut().zip(&arrived_by) {
            *reached |= by.is_some();
        }
    }
    for (reached, how) in reaches.iter_mut().zip(nodes) {
        *reached &= how.is_none();
    }
    reaches
}
