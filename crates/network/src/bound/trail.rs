//! Which directions a flow takes, and in which order servers can be settled.

use std::collections::BTreeSet;

use super::{BoundError, Flow};
use crate::topology::Topology;

/// The directions a flow uses, each with the step that feeds it, and the steps that lead to each target.
pub(super) struct Trail {
    pub(super) steps: Vec<(usize, Option<usize>)>,
    pub(super) ends: Vec<Vec<usize>>,
}

impl Trail {
    pub(super) fn new(topology: &Topology, index: usize, flow: &Flow) -> Result<Trail, BoundError> {
        let mut trail = Trail {
            steps: Vec::new(),
            ends: Vec::new(),
        };
        for &to in &flow.targets {
            let route = topology
                .directions(flow.node, to)
                .ok_or(BoundError::NoPath {
                    flow: index,
                    from: flow.node,
                    to,
                })?;
            let mut end = Vec::new();
            for direction in route {
                let step = match trail
                    .steps
                    .iter()
                    .position(|&(known, _)| known == direction)
                {
                    Some(step) => step,
                    None => {
                        trail.steps.push((direction, end.last().copied()));
                        trail.steps.len() - 1
                    }
                };
                end.push(step);
            }
            trail.ends.push(end);
        }
        Ok(trail)
    }
}

/// Servers in an order in which each comes after all that feed it, and those for which there is none; `servers` holds that of each direction.
pub(super) fn feed_order(trails: &[Trail], servers: &[usize]) -> (Vec<usize>, Vec<usize>) {
    let mut feeds = BTreeSet::new();
    for trail in trails {
        for &(direction, before) in &trail.steps {
            if let Some(before) = before {
                feeds.insert((servers[trail.steps[before].0], servers[direction]));
            }
        }
    }
    let mut unmet = vec![0usize; servers.len()];
    for &(_, to) in &feeds {
        unmet[to] += 1;
    }
    let mut order = Vec::new();
    let mut ready: BTreeSet<usize> = (0..servers.len())
        .filter(|&server| unmet[server] == 0)
        .collect();
    while let Some(server) = ready.pop_first() {
        order.push(server);
        for &(_, to) in feeds.range((server, 0)..=(server, usize::MAX)) {
            unmet[to] -= 1;
            if unmet[to] == 0 {
                ready.insert(to);
            }
        }
    }
    let ringed = (0..servers.len())
        .filter(|&server| unmet[server] > 0)
        .collect();
    (order, ringed)
}
