//! Bit error rates of the links, and the names under which errors are drawn.

use std::collections::BTreeMap;

use network::{ErrorNames, Medium};
use plan::{Line, ModuleIx, SpanIx};
use timeline::Ns;

use super::links::{Carrier, Media};
use super::traffic::path_of;
use super::{InputError, Traffic, ns};

/// The rates that the plan says.
pub(super) fn bit_errors(line: &Line, media: &Media) -> BTreeMap<Medium, f64> {
    let links = media.link_spans.iter().enumerate();
    let links = links.filter_map(|(l, span)| {
        let rate = line.spans[span.0].link.as_ref()?.bit_error_rate?;
        Some((Medium::Link(l), rate.si))
    });
    let buses = shared_links(line, media)
        .filter_map(|(b, link)| Some((Medium::Bus(b), link.bit_error_rate?.si)));
    links.chain(buses).collect()
}

/// The least times between two bit errors that the plan says of buses.
pub(super) fn errors_apart(line: &Line, media: &Media) -> Result<Vec<(usize, Ns)>, InputError> {
    let stated = shared_links(line, media).filter_map(|(b, link)| Some((b, link.errors_apart_s?)));
    stated
        .map(|(b, apart)| Ok((b, ns(|| media.shared[b].path(line), apart.si)?)))
        .collect()
}

/// What the plan says of each bus.
fn shared_links<'l>(
    line: &'l Line,
    media: &'l Media,
) -> impl Iterator<Item = (usize, &'l plan::Link)> {
    let shared = media.shared.iter().enumerate();
    shared.filter_map(|(b, carrier)| {
        let link = match carrier {
            Carrier::Span(span) => line.spans[span.0].link.as_ref()?,
            Carrier::Bus(bus) => &line.buses[bus.0].link,
        };
        Some((b, link))
    })
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
    /// The typed path of a link or bus.
    #[must_use]
    pub fn path_of(&self, line: &Line, over: Medium) -> String {
        path_of(line, &self.link_spans, &self.shared, over)
    }

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
