//! From a network as given to one that can be solved: nodes joined by zero resistance become one, nodes are put in
//! order of elimination, and the currents in the joining spans can be found afterwards.

use crate::elimination::{Elimination, Link, Mesh, Tree, inverse};
use crate::network::{Network, NetworkError};

/// Which elimination to use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Along the tree if the network is one, else as a mesh.
    Automatic,
    /// As a mesh, also if the network is a tree. For checks of one method against the other.
    Mesh,
}

/// A span of zero resistance: `child` hangs on `parent` through it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joint {
    pub(crate) span: usize,
    pub(crate) child: usize,
    pub(crate) parent: usize,
}

/// A span of the ordered network. `a` and `b` are joined nodes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Resistor {
    pub(crate) span: usize,
    pub(crate) a: usize,
    pub(crate) b: usize,
    pub(crate) conductance_s: f64,
}

/// The ordered network. "Joined" numbers count in order of elimination.
#[derive(Clone, Debug)]
pub(crate) struct Topology {
    /// Joined number of each node.
    pub(crate) joined: Vec<usize>,
    /// For each joined node, the node at which the current left over by the joints gathers; an ideal source sits there.
    pub(crate) gathers_at: Vec<usize>,
    /// Spans of zero resistance, outermost first.
    pub(crate) joints: Vec<Joint>,
    pub(crate) resistors: Vec<Resistor>,
    pub(crate) elimination: Elimination,
}

impl Topology {
    /// Plans a network whose numbers have been checked. `ideal[i]` says that source `i` holds its node.
    pub(crate) fn plan(
        network: &Network,
        ideal: &[bool],
        method: Method,
    ) -> Result<Self, NetworkError> {
        let (group, joints, roots) = join(network, ideal)?;
        let mut links = Vec::new();
        let mut resistors = Vec::new();
        for (i, span) in network.spans.iter().enumerate() {
            let (a, b) = (group[span.a], group[span.b]);
            if span.resistance_ohm == 0.0 {
                continue;
            }
            resistors.push(Resistor {
                span: i,
                a,
                b,
                conductance_s: 1.0 / span.resistance_ohm,
            });
            if a != b {
                links.push(Link {
                    a,
                    b,
                    resistance_ohm: span.resistance_ohm,
                });
            }
        }
        check_fed(network, &group, &links)?;
        let root = ideal
            .iter()
            .position(|&holds| holds)
            .map_or(network.sources[0].node, |i| network.sources[i].node);
        let tree = match method {
            Method::Automatic => Tree::plan(roots.len(), &links, group[root]),
            Method::Mesh => None,
        };
        let (elimination, order) = match tree {
            Some((tree, order)) => (Elimination::Tree(tree), order),
            None => {
                let (mesh, order) = Mesh::plan(roots.len(), &links);
                (Elimination::Mesh(mesh), order)
            }
        };
        let rank = inverse(&order);
        for resistor in &mut resistors {
            resistor.a = rank[resistor.a];
            resistor.b = rank[resistor.b];
        }
        Ok(Self {
            joined: group.iter().map(|&g| rank[g]).collect(),
            gathers_at: order.iter().map(|&old| roots[old]).collect(),
            joints,
            resistors,
            elimination,
        })
    }

    /// Another resistance above zero of a span that has one.
    pub(crate) fn set_resistance(&mut self, span: usize, resistance_ohm: f64) {
        let Some(of) = self.resistors.iter_mut().find(|r| r.span == span) else {
            return;
        };
        of.conductance_s = 1.0 / resistance_ohm;
        let ends = |r: &Resistor| (r.a.min(r.b), r.a.max(r.b));
        let between = ends(of);
        // Whose ends are joined carries nothing.
        if between.0 == between.1 {
            return;
        }
        match &mut self.elimination {
            Elimination::Tree(tree) => tree.set_resistance(between.0, resistance_ohm),
            Elimination::Mesh(mesh) => {
                let beside = self.resistors.iter().filter(|r| ends(r) == between);
                let together_s = beside.fold(0.0, |sum, r| sum + r.conductance_s);
                mesh.set_conductance(between, together_s);
            }
        }
    }

    pub(crate) fn joined_nodes(&self) -> usize {
        self.gathers_at.len()
    }

    /// The spans of zero resistance from a node to where their currents gather, each with its end on that side, and that
    /// node.
    pub(crate) fn way_to_root(&self, node: usize) -> (Vec<(usize, usize)>, usize) {
        let mut way = Vec::new();
        let mut at = node;
        // Outermost first: a joint nearer to the root comes later.
        for joint in &self.joints {
            if joint.child == at {
                way.push((joint.span, joint.parent));
                at = joint.parent;
            }
        }
        (way, at)
    }

    /// For each joined node the number of its part, when the held nodes are taken out; held nodes have none.
    pub(crate) fn parts(&self, held: &[bool]) -> Vec<Option<usize>> {
        let mut neighbours = vec![Vec::new(); self.joined_nodes()];
        for resistor in &self.resistors {
            neighbours[resistor.a].push(resistor.b);
            neighbours[resistor.b].push(resistor.a);
        }
        let mut part = vec![None; self.joined_nodes()];
        let mut parts = 0;
        for first in 0..part.len() {
            if held[first] || part[first].is_some() {
                continue;
            }
            part[first] = Some(parts);
            let mut open = vec![first];
            while let Some(node) = open.pop() {
                for &other in &neighbours[node] {
                    if !held[other] && part[other].is_none() {
                        part[other] = Some(parts);
                        open.push(other);
                    }
                }
            }
            parts += 1;
        }
        part
    }
}

/// Joins nodes along spans of zero resistance. Returns the group of each node, the joints (outermost first), and the
/// root node of each group: that of its ideal source, else its lowest.
#[expect(
    clippy::type_complexity,
    reason = "three lists that belong together once"
)]
fn join(
    network: &Network,
    ideal: &[bool],
) -> Result<(Vec<usize>, Vec<Joint>, Vec<usize>), NetworkError> {
    let mut neighbours = vec![Vec::new(); network.nodes];
    for (i, span) in network.spans.iter().enumerate() {
        if span.resistance_ohm == 0.0 {
            neighbours[span.a].push((span.b, i));
            neighbours[span.b].push((span.a, i));
        }
    }
    let held_by = holders(network, ideal)?;
    let held_first = (0..network.nodes)
        .filter(|&node| held_by[node].is_some())
        .chain((0..network.nodes).filter(|&node| held_by[node].is_none()));
    let mut group = vec![usize::MAX; network.nodes];
    let mut joints = Vec::new();
    let mut roots = Vec::new();
    for root in held_first {
        if group[root] != usize::MAX {
            continue;
        }
        let number = roots.len();
        roots.push(root);
        group[root] = number;
        let mut open = vec![(root, usize::MAX)];
        let mut next = 0;
        while next < open.len() {
            let (node, through) = open[next];
            next += 1;
            for &(other, span) in &neighbours[node] {
                if span == through {
                    continue;
                }
                if group[other] == number {
                    return Err(NetworkError::ShortedLoop { span });
                }
                if let (Some(second), Some(first)) = (held_by[other], held_by[root]) {
                    return Err(NetworkError::TiedSources { first, second });
                }
                group[other] = number;
                joints.push(Joint {
                    span,
                    child: other,
                    parent: node,
                });
                open.push((other, span));
            }
        }
    }
    joints.reverse();
    Ok((group, joints, roots))
}

/// The ideal source that holds each node.
fn holders(network: &Network, ideal: &[bool]) -> Result<Vec<Option<usize>>, NetworkError> {
    let mut held_by = vec![None; network.nodes];
    for (second, source) in network.sources.iter().enumerate() {
        if !ideal[second] {
            continue;
        }
        if let Some(first) = held_by[source.node] {
            return Err(NetworkError::TiedSources { first, second });
        }
        held_by[source.node] = Some(second);
    }
    Ok(held_by)
}

fn check_fed(network: &Network, group: &[usize], links: &[Link]) -> Result<(), NetworkError> {
    let groups = group.iter().max().map_or(0, |last| last + 1);
    let mut neighbours = vec![Vec::new(); groups];
    for link in links {
        neighbours[link.a].push(link.b);
        neighbours[link.b].push(link.a);
    }
    let mut fed = vec![false; groups];
    let mut open: Vec<usize> = network.sources.iter().map(|s| group[s.node]).collect();
    while let Some(node) = open.pop() {
        if !std::mem::replace(&mut fed[node], true) {
            open.extend(&neighbours[node]);
        }
    }
    match (0..network.nodes).find(|&node| !fed[group[node]]) {
        Some(node) => Err(NetworkError::Unfed { node }),
        None => Ok(()),
    }
}
