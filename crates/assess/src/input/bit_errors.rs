//! Bit error rates of the links, and the names under which errors are drawn.

use std::collections::BTreeMap;

use network::{ErrorNames, Medium};
use plan::{Line, ModuleIx, SpanIx};

use super::Traffic;
use super::links::{Carrier, Media};

/// The rates that the plan says.
pub(super) fn bit_errors(line: &Line, media: &Media) -> BTreeMap<Medium, f64> {
    let of = |link: Option<&plan::Link>| link.and_then(|l| l.bit_error_rate).map(|q| q.si);
    let of_span = |span: SpanIx| of(line.spans[span.0].link.as_ref());
    let links = media.link_spans.iter().enumerate();
    let links = links.filter_map(|(l, span)| Some((Medium::Link(l), of_span(*span)?)));
    let buses = media.shared.iter().enumerate().filter_map(|(b, shared)| {
        let rate = match shared {
            Carrier::Span(span) => of_span(*span),
            Carrier::Bus(bus) => of(Some(&line.buses[bus.0].link)),
        };
        Some((Medium::Bus(b), rate?))
    });
    links.chain(buses).collect()
}

/// The buses of which a rate above none is told.
pub(super) fn hit_buses(rates: &BTreeMap<Medium, f64>) -> Vec<usize> {
    let hit = rates.iter().filter_map(|(over, rate)| match over {
        Medium::Bus(bus) if *rate > 0.0 => Some(*bus),
        _ => None,
    });
    hit.collect()
}

impl Traffic {
    /// The names under which bit errors are drawn: typed paths, so that what is added to a plan moves no draw elsewhere.
    #[must_use]
    pub fn error_names(&self, line: &Line, seed: u64) -> ErrorNames {
        let of_span = |s: &SpanIx| format!("span.{}", line.spans[s.0].id);
        ErrorNames {
            seed,
            links: self.link_spans.iter().map(of_span).collect(),
            buses: self.shared.iter().map(|s| s.path(line)).collect(),
            nodes: (0..line.modules.len())
                .map(|m| line.module_path(ModuleIx(m)))
                .collect(),
        }
    }
}
