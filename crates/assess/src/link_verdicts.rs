//! Links: how busy they are, and whether they are too long for their standard.

use std::collections::BTreeSet;

use network::{Medium, bus_load, fragment_count};
use plan::{BusIx, Line, Link, Q, SpanIx};

use crate::delay_verdicts::{unlimited, why_unknown};
use crate::input::{Carrier, Streams, Traffic, bus_length, rate_of, standard_of, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, Word, unknown};

/// A link of which the plan says everything.
const FREE: &str = "free";

/// A load closer to its limit than this is marginal, points of percent.
const NARROW_POINTS: f64 = 2.0;
const LOAD_METHOD: &str =
    "declared rates times frame times (docs/method/network.md; IEEE 802.3 framing)";
const SHARED_METHOD: &str =
    "declared rates times frame times or turns (docs/method/network.md, Shared buses)";

/// Load of one span, or of each, in its busier direction.
pub(crate) fn link_load(line: &Line, of: Option<SpanIx>, limit: Q) -> Vec<Verdict> {
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Err(error) => return vec![unknown("the links", error.to_string())],
        Ok(None) => return vec![unknown("the links", "the plan has no [traffic]")],
        Ok(Some(both)) => both,
    };
    let mut verdicts = Vec::new();
    for (l, span) in traffic
        .link_spans
        .iter()
        .enumerate()
        .filter(|(_, s)| of.is_none_or(|o| o == **s))
    {
        let subject = format!("span.{}", line.spans[span.0].id);
        let found = load(line, &traffic, &streams, l);
        let inputs = (l, streams.crossing(), &traffic.topology);
        verdicts.push(judged(LOAD_METHOD, subject, found, limit.si, &inputs));
    }
    for (b, shared) in traffic.shared.iter().enumerate() {
        let asked = of.is_none_or(|o| match shared {
            Carrier::Span(s) => *s == o,
            Carrier::Bus(bus) => line.spans[o.0].bus == Some(*bus),
        });
        if !asked {
            continue;
        }
        let subject = shared.path(line);
        let found = shared_load(line, &traffic, &streams, b);
        let inputs = (b, streams.crossing(), &traffic.topology);
        verdicts.push(judged(SHARED_METHOD, subject, found, limit.si, &inputs));
    }
    let carries = |s: SpanIx| line.spans[s.0].link.is_some() || line.spans[s.0].bus.is_some();
    if let Some(s) = of.filter(|s| !carries(*s)) {
        verdicts.push(unknown(
            format!("span.{}", line.spans[s.0].id),
            "this span has no link",
        ));
    }
    verdicts
}

fn load(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    l: usize,
) -> Result<(f64, String), String> {
    let link = traffic.topology.links()[l];
    let mtu = traffic.topology.mtu_bytes();
    // Busy share from a to b, and back.
    let mut busy = [0.0f64; 2];
    let mut who: [Vec<String>; 2] = [Vec::new(), Vec::new()];
    for (f, flow) in streams.flows.iter().enumerate() {
        let mut directions = BTreeSet::new();
        for target in &flow.targets {
            let route = traffic.topology.route(flow.node, *target);
            for (over, to) in route.unwrap_or_default() {
                if over == Medium::Link(l) {
                    directions.insert(usize::from(to == link.a));
                }
            }
        }
        for d in directions {
            let limit = flow.at_most.ok_or_else(|| unlimited(line, streams, f))?;
            let fragments = fragment_count(flow.bytes, mtu).map_err(|e| e.to_string())?;
            let time = |bytes| link.frame_time(bytes).map(timeline::Ns::as_s_f64);
            let last = flow.bytes - (fragments - 1) * mtu.min(flow.bytes);
            let message_s = f64::from(fragments - 1) * time(mtu).map_err(|e| e.to_string())?
                + time(last).map_err(|e| e.to_string())?;
            busy[d] += message_s * f64::from(limit.messages()) / limit.per().as_s_f64();
            who[d].push(streams.name(line, f));
        }
    }
    let d = usize::from(busy[1] > busy[0]);
    let to = if d == 0 { link.b } else { link.a };
    let carried = if who[d].is_empty() {
        "nothing".to_owned()
    } else {
        who[d].join(", ")
    };
    Ok((
        busy[d],
        format!("towards module.{}: {carried}", line.modules[to].id),
    ))
}

/// Load of one bus, and who needs it.
fn shared_load(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    bus: usize,
) -> Result<(f64, String), String> {
    let name = |node: usize| format!("module.{}", line.modules[node].id);
    match bus_load(&traffic.topology, &streams.flows, bus).map_err(|e| e.to_string())? {
        Err(why) => Err(why_unknown(line, Some(traffic), streams, &why)),
        Ok(load) => Ok((
            load.share,
            match load.turns {
                Some((from, Some(to))) => {
                    format!("turns from {} to {}", name(from), name(to))
                }
                Some((from, None)) => format!("turns of {}", name(from)),
                None => "its time, all stations together".to_owned(),
            },
        )),
    }
}

/// Links that are asked for more than they carry, and all that are shared: what their streams may ask of them at most.
pub(crate) fn link_capacity(line: &Line) -> Vec<Verdict> {
    let Ok(Some(traffic)) = traffic(line) else {
        return Vec::new();
    };
    let Ok(streams) = streams(line, &traffic) else {
        return Vec::new();
    };
    let mut verdicts = Vec::new();
    for l in 0..traffic.link_spans.len() {
        // What is unknown of these is told where their load is asked for.
        let found = load(line, &traffic, &streams, l);
        if found.as_ref().is_ok_and(|(share, _)| *share > 1.0) {
            let subject = format!("span.{}", line.spans[traffic.link_spans[l].0].id);
            let inputs = (l, streams.crossing(), &traffic.topology);
            verdicts.push(judged(LOAD_METHOD, subject, found, 1.0, &inputs));
        }
    }
    for (b, shared) in traffic.shared.iter().enumerate() {
        let found = shared_load(line, &traffic, &streams, b);
        let inputs = (b, streams.crossing(), &traffic.topology);
        verdicts.push(judged(
            SHARED_METHOD,
            shared.path(line),
            found,
            1.0,
            &inputs,
        ));
    }
    verdicts
}

/// A share against its limit, both from 0 to 1.
fn judged(
    method: &'static str,
    subject: String,
    found: Result<(f64, String), String>,
    limit: f64,
    inputs: &impl std::fmt::Debug,
) -> Verdict {
    match found {
        Err(why) => unknown(subject, why),
        Ok((share, why)) => {
            let against = Against {
                side: Side::AtMost,
                limit: 100.0 * limit,
                narrow: NARROW_POINTS,
                unit: "%".to_owned(),
            };
            let evidence = Evidence::computed(method, inputs);
            against.judge(subject, 100.0 * share, evidence, why)
        }
    }
}

/// Each span's own link against the longest length that its standard, or its maker, calls for.
pub(crate) fn link_reach(line: &Line) -> Vec<Verdict> {
    let spans = line.spans.iter().filter_map(|span| {
        let link = span.link.as_ref()?;
        reach_of(format!("span.{}", span.id), link, span.length_m)
    });
    spans.collect()
}

/// Each bus against the longest length and the longest stub that its standard, or its maker, calls for.
pub(crate) fn bus_reach(line: &Line) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for (b, bus) in line.buses.iter().enumerate() {
        let length = bus_length(line, BusIx(b));
        let subject = format!("bus.{}", bus.id);
        let whole = reach_of(subject.clone(), &bus.link, length.whole_m);
        let stub = stub_of(subject, &bus.link, length.stub_m);
        // What is broken is told first, so that one subject has one verdict.
        verdicts.extend(match (whole, stub) {
            (Some(whole), Some(stub))
                if stub.word() == Word::Broken && whole.word() != Word::Broken =>
            {
                Some(stub)
            }
            (whole, _) => whole,
        });
    }
    verdicts
}

fn reach_of(subject: String, link: &Link, length_m: f64) -> Option<Verdict> {
    let found = standard_of(&subject, link).and_then(|s| Ok((s, rate_of(&subject, link)?)));
    let (standard, rate_bps) = match found {
        Err(error) => return Some(unknown(subject, error.to_string())),
        Ok(found) => found,
    };
    let (longest_m, source) = match (standard.longest_m(rate_bps), link.longest_m) {
        (Some(longest_m), _) => (longest_m, standard.source),
        (None, Some(by_maker)) => (
            by_maker.si,
            "longest length by its maker, as the plan says it",
        ),
        (None, None) if link.standard == FREE => return None,
        (None, None) => return Some(unknown(subject, standard.source)),
    };
    let evidence = Evidence::computed(
        "longest length of the link's standard",
        &(length_m, standard, rate_bps),
    );
    Some(at_most_m(longest_m).judge(subject, length_m, evidence, source.to_owned()))
}

fn stub_of(subject: String, link: &Link, stub_m: f64) -> Option<Verdict> {
    let standard = standard_of(&subject, link).ok()?;
    let (longest_m, source) = standard.longest_stub_m(rate_of(&subject, link).ok()?)?;
    let evidence = Evidence::computed("longest stub of the link's standard", &(stub_m, longest_m));
    Some(at_most_m(longest_m).judge(
        subject,
        stub_m,
        evidence,
        format!("its longest stub; {source}"),
    ))
}

fn at_most_m(limit: f64) -> Against {
    Against {
        side: Side::AtMost,
        limit,
        narrow: 0.0,
        unit: "m".to_owned(),
    }
}
