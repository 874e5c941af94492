//! Behind each fuse, the place at which a short draws least through it.
//!
//! The zone of a fuse is all that lies behind its span without another fuse on the way, seen from an end that is fed without
//! this span. Where a supply lies in it, in a ring or beside a second supply, shorts in it are fed past the fuse, and what it
//! has to melt for is not bounded: that is told as unknown. Loads are off: what they draw only helps the fuse along.

use plan::{Line, ModuleIx, SpanIx};
use power::Network;
use power::fault::bolted_short;

use super::{FuseSees, FuseWeakest, WeakestShort, named};
use crate::input::ElectricInput;

/// A fuse with its weakest place.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FuseZone {
    pub(crate) span: SpanIx,
    pub(crate) rating_a: f64,
    /// The weakest place, or why it is unknown.
    pub(crate) weakest: Result<Weakest, String>,
}

/// Where a short draws least through a fuse.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Weakest {
    /// Current through the fuse, A.
    pub(crate) least_a: f64,
    /// Module at that place.
    pub(crate) place: ModuleIx,
}

impl FuseZone {
    pub(super) fn told(&self, line: &Line) -> FuseWeakest {
        let span = format!("span.{}", line.spans[self.span.0].id);
        FuseWeakest {
            weakest: self
                .weakest
                .as_ref()
                .map(|weakest| WeakestShort {
                    sees: FuseSees {
                        span: span.clone(),
                        rating_a: self.rating_a,
                        current_a: weakest.least_a,
                    },
                    place: line.module_path(weakest.place),
                })
                .map_err(Clone::clone),
            span,
        }
    }
}

/// Every fused span of the line with its weakest place.
pub(crate) fn fuse_zones(line: &Line, input: &ElectricInput) -> Vec<FuseZone> {
    let network = Network {
        loads: Vec::new(),
        ..input.network.clone()
    };
    let spans = line.spans.iter().enumerate();
    spans
        .filter_map(|(s, span)| {
            Some(FuseZone {
                span: SpanIx(s),
                rating_a: span.fuse_a?.si,
                weakest: weakest(line, input, &network, SpanIx(s)),
            })
        })
        .collect()
}

fn weakest(
    line: &Line,
    input: &ElectricInput,
    network: &Network,
    span: SpanIx,
) -> Result<Weakest, String> {
    let branch = input.branch_spans.iter().position(|of| *of == Some(span));
    let branch = branch.ok_or_else(|| "no supply feeds this span".to_owned())?;
    let fused = |b: usize| input.branch_spans[b].is_some_and(|s| line.spans[s.0].fuse_a.is_some());
    let source_in = |reached: &[usize]| {
        (0..network.sources.len()).find(|&s| reached.contains(&network.sources[s].node))
    };
    let ends = network.spans[branch];
    let mut least: Option<Weakest> = None;
    let mut past = None;
    for (near, far) in [(ends.a, ends.b), (ends.b, ends.a)] {
        if source_in(&reached(network, near, |b| b != branch)).is_none() {
            continue;
        }
        let zone = reached(network, far, |b| b != branch && !fused(b));
        if let Some(source) = source_in(&zone) {
            past = Some(source);
            continue;
        }
        for node in zone {
            let Some(m) = input.inlets.iter().position(|n| *n == Some(node)) else {
                continue;
            };
            let least_a = bolted_short(network, node, &[])
                .map_err(|error| named(line, input, &error))?
                .branch_currents_a[branch]
                .abs();
            if least.as_ref().is_none_or(|w| least_a < w.least_a) {
                least = Some(Weakest {
                    least_a,
                    place: ModuleIx(m),
                });
            }
        }
    }
    least.ok_or_else(|| match past {
        Some(source) => format!(
            "what lies behind it is fed past this fuse too, since supply.{} is reached from there without another fuse on the way (a ring, or a second supply): put a fuse into that way",
            line.supplies[input.sources[source]].id
        ),
        None => "no module's inlet lies behind it, so no short is worked out there".to_owned(),
    })
}

/// Nodes reached from `first` over the branches that count.
fn reached(network: &Network, first: usize, counts: impl Fn(usize) -> bool) -> Vec<usize> {
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
            if counts(branch) && !reached.contains(&other) {
                reached.push(other);
            }
        }
    }
    reached
}
