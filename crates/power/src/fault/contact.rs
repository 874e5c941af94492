//! Which resistance a poor contact may have before the line feels it.
//!
//! The extra resistance of one span is doubled from a milliohm until a limit is broken, then halved in. On a tree with
//! constant powers every voltage falls as it grows, so this is the first break; on a mesh, or with resistors, it is the
//! first that a doubling meets.

use crate::network::{Load, Network, NetworkError};
use crate::reserve::{Binding, Limits};
use crate::solver::{Scratch, Solver, check_given_node};

const FIRST_OHM: f64 = 1e-3;
const MOST_DOUBLINGS: u32 = 50;
/// To a part in 1e12 of what is found.
const HALVINGS: u32 = 40;

/// What a line bears of something that only worsens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Borne {
    /// The resistance at which the first limit is broken, ohm. Of a contact the least that is not borne, infinite where all
    /// is; of a leak the largest that is not borne, zero where all is.
    pub resistance_ohm: f64,
    /// What gives way first; `None` exactly where all is borne.
    pub binds: Option<Binding>,
}

/// The extra resistance of `span` at which the first limit is broken, and which. Zero where one is broken already.
///
/// Errors: as [`crate::solve`], but for what it says of loads that cannot be carried; lists of another length;
/// [`NetworkError::NoSuchSpan`] for a span that does not exist.
/// Source: definition, see the head of this module.
pub fn contact_borne(
    network: &Network,
    span: usize,
    limits: &Limits,
) -> Result<Borne, NetworkError> {
    if span >= network.spans.len() {
        return Err(NetworkError::NoSuchSpan {
            span,
            spans: network.spans.len(),
        });
    }
    let own_ohm = network.spans[span].resistance_ohm;
    let mut tried = Tried::new(network, limits)?;
    let (resistance_ohm, binds) = first_break(FIRST_OHM, |extra_ohm| {
        let ohm = own_ohm + extra_ohm;
        if !tried.solver.set_resistance(span, ohm) {
            let mut poor = network.clone();
            poor.spans[span].resistance_ohm = ohm;
            tried = Tried::new(&poor, limits)?;
        }
        tried.broken(&network.loads)
    })?;
    Ok(Borne {
        resistance_ohm,
        binds,
    })
}

/// The least `x` that breaks, and what breaks; zero when nothing is needed, infinite when nothing breaks.
pub(super) fn first_break(
    first: f64,
    mut breaks: impl FnMut(f64) -> Result<Option<Binding>, NetworkError>,
) -> Result<(f64, Option<Binding>), NetworkError> {
    if let Some(binds) = breaks(0.0)? {
        return Ok((0.0, Some(binds)));
    }
    let (mut low, mut high) = (0.0, first);
    let mut binds = None;
    for _ in 0..MOST_DOUBLINGS {
        binds = breaks(high)?;
        if binds.is_some() {
            break;
        }
        low = high;
        high *= 2.0;
    }
    if binds.is_none() {
        return Ok((f64::INFINITY, None));
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        match breaks(middle)? {
            None => low = middle,
            some => (high, binds) = (middle, some),
        }
    }
    Ok((high, binds))
}

/// A network planned once, tried against limits with many loads or resistances.
pub(super) struct Tried<'a> {
    solver: Solver,
    scratch: Scratch,
    limits: &'a Limits,
}

impl<'a> Tried<'a> {
    pub(super) fn new(network: &Network, limits: &'a Limits) -> Result<Self, NetworkError> {
        let solver = Solver::new(network)?;
        Ok(Self {
            scratch: solver.scratch(),
            solver,
            limits,
        })
    }

    /// What it breaks most with these loads: no operating point, a voltage, a source, a span; in this order. By how much it collapses is not asked.
    pub(super) fn broken(&mut self, loads: &[Load]) -> Result<Option<Binding>, NetworkError> {
        let Self {
            solver,
            scratch,
            limits,
        } = self;
        let Some(solution) = solver.operating_point(loads, scratch)? else {
            return Ok(Some(Binding::Collapse));
        };
        let (nodes, spans) = (solver.network.nodes, solver.network.spans.len());
        let lengths = [
            ("minimum_v", limits.minimum_v.len(), nodes),
            ("rated_a", limits.rated_a.len(), spans),
        ];
        for (quantity, given, wanted) in lengths {
            if given != wanted {
                return Err(NetworkError::WrongLength {
                    quantity,
                    given,
                    wanted,
                });
            }
        }
        let short_v = |i: usize| limits.minimum_v[i] - solution.voltages_v[i];
        let lowest = (0..nodes)
            .filter(|&i| short_v(i) > 0.0)
            .max_by(|&a, &b| short_v(a).total_cmp(&short_v(b)).then(b.cmp(&a)));
        if let Some(node) = lowest {
            return Ok(Some(Binding::Voltage { node }));
        }
        if let Some(&source) = solution.limited.first() {
            return Ok(Some(Binding::Source { source }));
        }
        let over = |span: &usize| {
            limits.rated_a[*span]
                .is_some_and(|rated_a| solution.branch_currents_a[*span].abs() > rated_a)
        };
        Ok((0..spans).find(over).map(|span| Binding::Span { span }))
    }
}

pub(super) fn check_nodes(network: &Network, nodes: [usize; 2]) -> Result<(), NetworkError> {
    nodes
        .into_iter()
        .try_for_each(|node| check_given_node(node, network.nodes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::{Branch, LoadKind, Source};

    /// Nodes 0 to 4 in a row from a source, a second span beside one of them, one without resistance, and a loop where asked for.
    fn network(with_loop: bool) -> Network {
        let span = |a, b, resistance_ohm| Branch {
            a,
            b,
            resistance_ohm,
        };
        let mut spans = vec![
            span(0, 1, 1.3),
            span(1, 2, 0.0),
            span(2, 3, 2.1),
            span(3, 4, 0.7),
        ];
        if with_loop {
            spans.push(span(2, 3, 3.7));
            spans.push(span(4, 0, 9.1));
        }
        let load = |node, power_w| Load {
            node,
            kind: LoadKind::Power { power_w },
        };
        Network {
            nodes: 5,
            spans,
            sources: vec![Source {
                node: 0,
                voltage_v: 24.0,
                resistance_ohm: 0.1,
                current_limit_a: Some(3.0),
            }],
            loads: vec![load(2, 4.0), load(3, 5.0), load(4, 6.0)],
        }
    }

    /// A span that gets another resistance in a network that stays planned leaves every bit as in one that is planned anew for each.
    #[test]
    fn verif_a_plan_that_is_kept_gives_what_a_new_one_gives() {
        for with_loop in [false, true] {
            let network = network(with_loop);
            let limits = Limits {
                minimum_v: vec![9.0; network.nodes],
                rated_a: vec![None; network.spans.len()],
            };
            for span in 0..network.spans.len() {
                let kept = contact_borne(&network, span, &limits).unwrap();
                let own_ohm = network.spans[span].resistance_ohm;
                let (anew_ohm, binds) = first_break(FIRST_OHM, |extra_ohm| {
                    let mut poor = network.clone();
                    poor.spans[span].resistance_ohm = own_ohm + extra_ohm;
                    Tried::new(&poor, &limits)?.broken(&poor.loads)
                })
                .unwrap();
                assert!(kept.resistance_ohm > 0.0);
                assert_eq!(kept.resistance_ohm.to_bits(), anew_ohm.to_bits(), "{span}");
                assert_eq!(kept.binds, binds);
            }
        }
    }
}
