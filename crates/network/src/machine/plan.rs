//! The way a topic's messages take from one publisher to all who subscribe.

use super::records::{DropReason, NodeState};
use crate::topology::Topology;

/// The tree over which frames are copied. Fixed when a message is published: a later fault does not turn its frames round.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// In preorder, so that the targets beyond a hop are neighbours in `targets`.
    pub(super) hops: Vec<Hop>,
    /// Children of all hops one after another, then those of the publisher.
    kids: Vec<u32>,
    roots: (u32, u32),
    /// Nodes delivered to, in preorder.
    pub(super) targets: Vec<usize>,
    /// Subscribers that cannot be reached, ascending, each with the reason.
    pub(super) unreachable: Vec<(usize, DropReason)>,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Hop {
    pub(super) direction: u32,
    pub(super) kids: (u32, u32),
    /// Index in `targets` if the node at the end subscribes.
    pub(super) target: Option<u32>,
    /// The targets at or beyond the end of this hop.
    pub(super) under: (u32, u32),
}

impl Plan {
    pub(super) fn new(
        topology: &Topology,
        publisher: usize,
        subscribers: &[usize],
        node_states: &[NodeState],
        usable: impl Fn(usize) -> bool,
    ) -> Plan {
        let publisher_down = node_states[publisher] != NodeState::Up;
        let arrived_by = topology.tree_from(publisher, usable);
        // Hubs of buses come after the nodes.
        let vertices = arrived_by.len();
        let mut needed = vec![false; vertices];
        let mut wanted = vec![false; vertices];
        let mut unreachable = Vec::new();
        for &node in subscribers.iter().filter(|&&node| node != publisher) {
            if publisher_down || node_states[node] != NodeState::Up {
                unreachable.push((node, DropReason::NodeDown));
            } else if arrived_by[node].is_none() {
                unreachable.push((node, DropReason::NoPath));
            } else {
                wanted[node] = true;
                let mut at = node;
                while !needed[at]
                    && let Some(direction) = arrived_by[at]
                {
                    needed[at] = true;
                    at = topology.tail(direction);
                }
            }
        }
        let mut children = vec![Vec::new(); vertices];
        for node in (0..vertices).rev().filter(|&node| needed[node]) {
            if let Some(direction) = arrived_by[node] {
                children[topology.tail(direction)].push((node, direction));
            }
        }
        let mut plan = Plan {
            hops: Vec::new(),
            kids: Vec::new(),
            roots: (0, 0),
            targets: Vec::new(),
            unreachable,
        };
        let mut hop_of = vec![0u32; vertices];
        let mut order = Vec::new();
        let mut stack = children[publisher].clone();
        while let Some((node, direction)) = stack.pop() {
            hop_of[node] = small(plan.hops.len());
            let first = small(plan.targets.len());
            let target = wanted[node].then_some(first);
            if wanted[node] {
                plan.targets.push(node);
            }
            plan.hops.push(Hop {
                direction: small(direction),
                kids: (0, 0),
                target,
                under: (first, small(plan.targets.len())),
            });
            order.push(node);
            stack.extend_from_slice(&children[node]);
        }
        for (index, &node) in order.iter().enumerate().rev() {
            let begin = small(plan.kids.len());
            for &(child, _) in &children[node] {
                plan.kids.push(hop_of[child]);
                let beyond = plan.hops[hop_of[child] as usize].under.1;
                plan.hops[index].under.1 = plan.hops[index].under.1.max(beyond);
            }
            plan.hops[index].kids = (begin, small(plan.kids.len()));
        }
        let begin = small(plan.kids.len());
        plan.kids
            .extend(children[publisher].iter().map(|&(child, _)| hop_of[child]));
        plan.roots = (begin, small(plan.kids.len()));
        plan
    }

    pub(super) fn kids(&self, hop: &Hop) -> &[u32] {
        &self.kids[hop.kids.0 as usize..hop.kids.1 as usize]
    }

    pub(super) fn roots(&self) -> &[u32] {
        &self.kids[self.roots.0 as usize..self.roots.1 as usize]
    }
}

fn small(index: usize) -> u32 {
    u32::try_from(index).expect("a topology has fewer than 2^31 links and nodes")
}
