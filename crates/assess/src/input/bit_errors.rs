//! Bit error rates of the links, and the names under which errors are drawn.

use std::collections::BTreeMap;

use network::{ErrorNames, Medium};
use plan::{Line, ModuleIx, SpanIx};
use timeline::Ns;

use super::links::{Media, rate_of};
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

/// Of a bus of which the plan states both how often bits arrive wrong and the least time between two errors: the share of errors after which the next comes sooner than that,
/// while it is in use without pause. Errors that hit each bit by itself are as far apart as the waits of a Poisson process: `1 - exp(-T p R)`.
pub(crate) fn sooner_share(link: &plan::Link) -> Option<f64> {
    let (apart, rate) = (link.errors_apart_s?, link.bit_error_rate?);
    let bps = rate_of("", link).ok()? as f64;
    Some(-libm::expm1(-apart.si * rate.si * bps))
}

/// What the plan says of each bus.
fn shared_links<'l>(
    line: &'l Line,
    media: &'l Media,
) -> impl Iterator<Item = (usize, &'l plan::Link)> {
    let shared = media.shared.iter().enumerate();
    shared.filter_map(|(b, carrier)| Some((b, carrier.link(line)?)))
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
