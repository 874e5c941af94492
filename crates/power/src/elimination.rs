//! Solution of `(L + diag(s)) x = r` on a resistive network, planned once and run many times.
//!
//! `L` is the conductance Laplacian of the spans, `s` what hangs from each node to ground (negative where
//! constant-power loads outweigh the rest), some nodes are held at a given `x`.
//! Both routes are symmetric elimination (`L D L'`) written in circuit terms: removing a node replaces its star of
//! conductances by the equivalent mesh between its neighbours and hands them its current and its conductance to
//! ground (star-mesh transformation, Rosen 1924; from memory). Conductances are only added, never subtracted, so that
//! a very short span beside a long one costs no digits. A pivot is the conductance that a node sees; the matrix is
//! positive definite exactly if all pivots are above zero.
//!
//! * [`Tree`]: nodes are removed from the leaves to the root, no fill, cost `O(n)`.
//! * [`Mesh`]: nodes are removed in order of fewest neighbours (minimum degree); trees hanging on loops cost as a
//!   tree does, only the loops fill in.
//!
//! Nodes are numbered in order of removal here.

use std::collections::{BTreeMap, BTreeSet};

/// A resistance between two nodes, numbered before ordering.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Link {
    pub(crate) a: usize,
    pub(crate) b: usize,
    pub(crate) resistance_ohm: f64,
}

/// The pivot of this node was not above zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NotPositiveDefinite;

/// A plan of elimination.
#[derive(Clone, Debug)]
pub(crate) enum Elimination {
    Tree(Tree),
    Mesh(Mesh),
}

/// What a factorisation leaves for the solves.
#[derive(Clone, Debug, Default)]
pub(crate) struct Factor {
    /// Tree: share handed on to the parent; mesh: reciprocal of the pivot.
    pivot: Vec<f64>,
    /// Mesh: conductances to the nodes removed later.
    conductance_s: Vec<f64>,
}

impl Elimination {
    pub(crate) fn factor(
        &self,
        to_ground_s: &mut [f64],
        held: &[bool],
        factor: &mut Factor,
    ) -> Result<(), NotPositiveDefinite> {
        match self {
            Self::Tree(tree) => tree.factor(to_ground_s, held, factor),
            Self::Mesh(mesh) => mesh.factor(to_ground_s, held, factor),
        }
    }

    /// Solves for `x`; held nodes keep the `x` they come with. `r` is used up.
    pub(crate) fn solve(&self, factor: &Factor, held: &[bool], r: &mut [f64], x: &mut [f64]) {
        match self {
            Self::Tree(tree) => tree.solve(factor, held, r, x),
            Self::Mesh(mesh) => mesh.solve(factor, held, r, x),
        }
    }

    pub(crate) fn new_factor(&self) -> Factor {
        match self {
            Self::Tree(tree) => Factor {
                pivot: vec![0.0; tree.parent.len()],
                conductance_s: Vec::new(),
            },
            Self::Mesh(mesh) => Factor {
                pivot: vec![0.0; mesh.start.len() - 1],
                conductance_s: vec![0.0; mesh.base_s.len()],
            },
        }
    }
}

/// Elimination along a tree.
#[derive(Clone, Debug)]
pub(crate) struct Tree {
    /// Node removed later through which this one is fed; of the last node, itself.
    parent: Vec<u32>,
    resistance_ohm: Vec<f64>,
    conductance_s: Vec<f64>,
}

impl Tree {
    /// Plans a tree. Returns the order of removal (old number of each new one), or `None` if the links are no tree.
    pub(crate) fn plan(nodes: usize, links: &[Link], root: usize) -> Option<(Self, Vec<usize>)> {
        if links.len() + 1 != nodes {
            return None;
        }
        let neighbours = neighbour_lists(nodes, links);
        let mut breadth_first = vec![root];
        let mut up = vec![None; nodes];
        let mut seen = vec![false; nodes];
        seen[root] = true;
        let mut next = 0;
        while next < breadth_first.len() {
            let node = breadth_first[next];
            next += 1;
            for &(other, link) in &neighbours[node] {
                if !seen[other] {
                    seen[other] = true;
                    up[other] = Some((node, link));
                    breadth_first.push(other);
                }
            }
        }
        if breadth_first.len() != nodes {
            return None;
        }
        let order: Vec<usize> = breadth_first.into_iter().rev().collect();
        let rank = inverse(&order);
        let mut tree = Self {
            parent: Vec::with_capacity(nodes),
            resistance_ohm: Vec::with_capacity(nodes),
            conductance_s: Vec::with_capacity(nodes),
        };
        for &old in &order {
            let (parent, resistance_ohm) = match up[old] {
                Some((node, link)) => (rank[node], links[link].resistance_ohm),
                None => (rank[old], f64::INFINITY),
            };
            tree.parent
                .push(u32::try_from(parent).expect("fewer than 2^32 nodes"));
            tree.resistance_ohm.push(resistance_ohm);
            tree.conductance_s.push(1.0 / resistance_ohm);
        }
        Some((tree, order))
    }

    /// Another resistance between a node and the one through which it is fed.
    pub(crate) fn set_resistance(&mut self, node: usize, resistance_ohm: f64) {
        self.resistance_ohm[node] = resistance_ohm;
        self.conductance_s[node] = 1.0 / resistance_ohm;
    }

    fn factor(
        &self,
        to_ground_s: &mut [f64],
        held: &[bool],
        factor: &mut Factor,
    ) -> Result<(), NotPositiveDefinite> {
        let root = self.parent.len() - 1;
        let share = &mut factor.pivot;
        let mut sound = true;
        for i in 0..root {
            let parent = self.parent[i] as usize;
            if held[i] {
                to_ground_s[parent] += self.conductance_s[i];
                continue;
            }
            let pivot = 1.0 + to_ground_s[i] * self.resistance_ohm[i];
            sound &= pivot > 0.0;
            share[i] = 1.0 / pivot;
            to_ground_s[parent] += to_ground_s[i] * share[i];
        }
        if !held[root] {
            sound &= to_ground_s[root] > 0.0;
            share[root] = 1.0 / to_ground_s[root];
        }
        if sound {
            Ok(())
        } else {
            Err(NotPositiveDefinite)
        }
    }

    fn solve(&self, factor: &Factor, held: &[bool], r: &mut [f64], x: &mut [f64]) {
        let root = self.parent.len() - 1;
        let share = &factor.pivot;
        for i in 0..root {
            let parent = self.parent[i] as usize;
            r[parent] += if held[i] {
                self.conductance_s[i] * x[i]
            } else {
                r[i] * share[i]
            };
        }
        if !held[root] {
            x[root] = r[root] * share[root];
        }
        for i in (0..root).rev() {
            if !held[i] {
                let parent = self.parent[i] as usize;
                x[i] = (x[parent] + self.resistance_ohm[i] * r[i]) * share[i];
            }
        }
    }
}

/// Elimination on any connected network.
#[derive(Clone, Debug)]
pub(crate) struct Mesh {
    /// Slots of node `i` are `start[i]..start[i + 1]`.
    start: Vec<usize>,
    /// Neighbour removed later, per slot.
    later: Vec<u32>,
    /// Conductance before any elimination, per slot; zero where only fill-in comes.
    base_s: Vec<f64>,
    /// Slot that each pair of slots of a node adds to, in the order in which the loops visit them.
    pair_slot: Vec<u32>,
}

impl Mesh {
    /// Plans any connected network. Returns the order of removal (old number of each new one).
    pub(crate) fn plan(nodes: usize, links: &[Link]) -> (Self, Vec<usize>) {
        let (order, later_sets) = minimum_degree(nodes, links);
        let rank = inverse(&order);
        let mut slots: Vec<BTreeMap<usize, usize>> = Vec::with_capacity(nodes);
        let mut mesh = Self {
            start: vec![0],
            later: Vec::new(),
            base_s: Vec::new(),
            pair_slot: Vec::new(),
        };
        for later in &later_sets {
            let mut ranks: Vec<usize> = later.iter().map(|&old| rank[old]).collect();
            ranks.sort_unstable();
            let mut of_node = BTreeMap::new();
            for other in ranks {
                of_node.insert(other, mesh.later.len());
                mesh.later
                    .push(u32::try_from(other).expect("fewer than 2^32 nodes"));
                mesh.base_s.push(0.0);
            }
            mesh.start.push(mesh.later.len());
            slots.push(of_node);
        }
        for link in links {
            let (a, b) = (rank[link.a], rank[link.b]);
            mesh.base_s[slots[a.min(b)][&a.max(b)]] += 1.0 / link.resistance_ohm;
        }
        for i in 0..nodes {
            for first in mesh.start[i]..mesh.start[i + 1] {
                for second in first + 1..mesh.start[i + 1] {
                    let (from, to) = (mesh.later[first] as usize, mesh.later[second] as usize);
                    let slot = u32::try_from(slots[from][&to]).expect("fewer than 2^32 slots");
                    mesh.pair_slot.push(slot);
                }
            }
        }
        (mesh, order)
    }

    /// Another conductance between two nodes that links join, all of these together; the one that is removed earlier first.
    pub(crate) fn set_conductance(&mut self, (first, later): (usize, usize), conductance_s: f64) {
        let slots = self.start[first]..self.start[first + 1];
        let slot = slots
            .into_iter()
            .find(|&slot| self.later[slot] as usize == later)
            .expect("what is joined has a slot");
        self.base_s[slot] = conductance_s;
    }

    fn factor(
        &self,
        to_ground_s: &mut [f64],
        held: &[bool],
        factor: &mut Factor,
    ) -> Result<(), NotPositiveDefinite> {
        let g = &mut factor.conductance_s;
        g.copy_from_slice(&self.base_s);
        let mut pair = 0;
        for i in 0..self.start.len() - 1 {
            let (first, end) = (self.start[i], self.start[i + 1]);
            if held[i] {
                for slot in first..end {
                    to_ground_s[self.later[slot] as usize] += g[slot];
                }
                pair += (end - first) * (end - first).saturating_sub(1) / 2;
                continue;
            }
            let mut pivot = to_ground_s[i];
            for slot in first..end {
                pivot += g[slot];
            }
            if !is_above_zero(pivot) {
                return Err(NotPositiveDefinite);
            }
            factor.pivot[i] = 1.0 / pivot;
            for slot in first..end {
                let share = g[slot] * factor.pivot[i];
                to_ground_s[self.later[slot] as usize] += share * to_ground_s[i];
                for second in slot + 1..end {
                    g[self.pair_slot[pair] as usize] += share * g[second];
                    pair += 1;
                }
            }
        }
        Ok(())
    }

    fn solve(&self, factor: &Factor, held: &[bool], r: &mut [f64], x: &mut [f64]) {
        let g = &factor.conductance_s;
        let nodes = self.start.len() - 1;
        for i in 0..nodes {
            let flow = if held[i] {
                x[i]
            } else {
                r[i] * factor.pivot[i]
            };
            for slot in self.start[i]..self.start[i + 1] {
                r[self.later[slot] as usize] += g[slot] * flow;
            }
        }
        for i in (0..nodes).rev() {
            if !held[i] {
                let mut sum = r[i];
                for slot in self.start[i]..self.start[i + 1] {
                    sum += g[slot] * x[self.later[slot] as usize];
                }
                x[i] = sum * factor.pivot[i];
            }
        }
    }
}

/// Order of removal by fewest neighbours (lowest number first among equals), and the neighbours each node has left
/// when it is removed, by old number.
fn minimum_degree(nodes: usize, links: &[Link]) -> (Vec<usize>, Vec<BTreeSet<usize>>) {
    let mut neighbours = vec![BTreeSet::new(); nodes];
    for link in links {
        neighbours[link.a].insert(link.b);
        neighbours[link.b].insert(link.a);
    }
    let mut queue: BTreeSet<(usize, usize)> =
        (0..nodes).map(|i| (neighbours[i].len(), i)).collect();
    let mut order = Vec::with_capacity(nodes);
    let mut later = Vec::with_capacity(nodes);
    while let Some((_, node)) = queue.pop_first() {
        let star = std::mem::take(&mut neighbours[node]);
        for &a in &star {
            queue.remove(&(neighbours[a].len(), a));
            neighbours[a].remove(&node);
            for &b in &star {
                if b != a {
                    neighbours[a].insert(b);
                }
            }
        }
        for &a in &star {
            queue.insert((neighbours[a].len(), a));
        }
        order.push(node);
        later.push(star);
    }
    (order, later)
}

fn neighbour_lists(nodes: usize, links: &[Link]) -> Vec<Vec<(usize, usize)>> {
    let mut lists = vec![Vec::new(); nodes];
    for (i, link) in links.iter().enumerate() {
        lists[link.a].push((link.b, i));
        lists[link.b].push((link.a, i));
    }
    lists
}

/// False for what is not a number too.
pub(crate) fn is_above_zero(value: f64) -> bool {
    value > 0.0
}

/// `inverse(order)[order[i]] == i`.
pub(crate) fn inverse(order: &[usize]) -> Vec<usize> {
    let mut rank = vec![0; order.len()];
    for (new, &old) in order.iter().enumerate() {
        rank[old] = new;
    }
    rank
}
