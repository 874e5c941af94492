//! Behind each fuse, the place at which a short draws least through it.
//!
//! The zone of a fuse is all that lies behind its span without another fuse on the way. Loads are off: what they draw only
//! helps the fuse along.

use std::collections::VecDeque;

use plan::{Line, ModuleIx, SpanIx};
use power::fault::bolted_short;
use power::{Network, NetworkError};

use super::{FuseSees, FuseWeakest};
use crate::input::ElectricInput;

/// A fuse with its weakest place.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FuseZone {
    pub(crate) span: SpanIx,
    pub(crate) rating_a: f64,
    /// Least current through it, A.
    pub(crate) least_a: f64,
    /// Module at that place.
    pub(crate) place: ModuleIx,
}

impl FuseZone {
    pub(super) fn told(&self, line: &Line) -> FuseWeakest {
        FuseWeakest {
            sees: FuseSees {
                span: format!("span.{}", line.spans[self.span.0].id),
                rating_a: self.rating_a,
                current_a: self.least_a,
            },
            place: line.module_path(self.place),
        }
    }
}

/// Every fused span of the network with its weakest place.
///
/// # Errors
/// As [`bolted_short`].
pub(crate) fn fuse_zones(
    line: &Line,
    input: &ElectricInput,
) -> Result<Vec<FuseZone>, NetworkError> {
    let network = Network {
        loads: Vec::new(),
        ..input.network.clone()
    };
    let fuse_a = |branch: usize| input.branch_spans[branch].and_then(|s| line.spans[s.0].fuse_a);
    let steps = steps_from_sources(&network);
    let mut zones = Vec::new();
    for (branch, of) in input.branch_spans.iter().enumerate() {
        let (Some(span), Some(rating)) = (*of, fuse_a(branch)) else {
            continue;
        };
        let ends = network.spans[branch];
        let far = if steps[ends.a] <= steps[ends.b] {
            ends.b
        } else {
            ends.a
        };
        let mut weakest: Option<FuseZone> = None;
        for node in behind(&network, far, |b| fuse_a(b).is_some()) {
            let Some(m) = input.inlets.iter().position(|n| *n == Some(node)) else {
                continue;
            };
            let least_a = bolted_short(&network, node, &[])?.branch_currents_a[branch].abs();
            if weakest.as_ref().is_none_or(|w| least_a < w.least_a) {
                weakest = Some(FuseZone {
                    span,
                    rating_a: rating.si,
                    least_a,
                    place: ModuleIx(m),
                });
            }
        }
        zones.extend(weakest);
    }
    Ok(zones)
}

/// Nodes reached from `first` without a fused branch; `first` alone where a supply is among them.
fn behind(network: &Network, first: usize, fused: impl Fn(usize) -> bool) -> Vec<usize> {
    let mut reached = vec![first];
    let mut next = 0;
    while let Some(&node) = reached.get(next) {
        next += 1;
        for (branch, span) in network.spans.iter().enumerate() {
            let other = match (span.a == node, span.b == node) {
                (true, _) => span.b,
                (_, true) => span.a,
                _ => continue,
            };
            if !fused(branch) && !reached.contains(&other) {
                reached.push(other);
            }
        }
    }
    if network.sources.iter().any(|s| reached.contains(&s.node)) {
        return vec![first];
    }
    reached
}

fn steps_from_sources(network: &Network) -> Vec<usize> {
    let mut steps = vec![usize::MAX; network.nodes];
    let mut open = VecDeque::new();
    for source in &network.sources {
        steps[source.node] = 0;
        open.push_back(source.node);
    }
    while let Some(node) = open.pop_front() {
        for span in &network.spans {
            for (here, there) in [(span.a, span.b), (span.b, span.a)] {
                if here == node && steps[there] == usize::MAX {
                    steps[there] = steps[node] + 1;
                    open.push_back(there);
                }
            }
        }
    }
    steps
}
