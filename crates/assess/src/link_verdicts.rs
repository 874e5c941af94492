//! Links: how busy they are, and whether they are too long for their standard.

use std::collections::BTreeSet;

use network::{Medium, bus_load, fragment_count};
use plan::{BusIx, Line, Link, Q, Span, SpanIx};
use quantity::show_number;

use crate::delay_verdicts::{unlimited, why_unknown};
use crate::input::{Carrier, Streams, Traffic, bus_length, rate_of, standard_of, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, Word, unknown};

/// A link of which the plan says everything.
const FREE: &str = "free";
/// A radio in line of sight.
const RADIO: &str = "line-of-sight";
/// Mean radius of the earth, m (IUGG), and how many times larger it seems to radio waves that bend in the mean atmosphere (ITU-R P.310, from memory).
const EARTH_M: f64 = 6_371_009.0;
const BENT_EARTH: f64 = 4.0 / 3.0;

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

/// Share of its time that a link or a bus is asked for, 0 to 1, and for what.
#[derive(Clone, PartialEq, Debug)]
pub struct LinkLoad {
    /// The typed path of its span or bus.
    pub path: String,
    /// The share in its busier direction and, in words, what it carries there; or why it is unknown.
    pub share: Result<(f64, String), String>,
}

/// Load of every link and bus; empty where the plan has none.
///
/// # Errors
/// A sentence: why no link is known.
pub fn link_loads(line: &Line) -> Result<Vec<LinkLoad>, String> {
    let Some(traffic) = traffic(line).map_err(|e| e.to_string())? else {
        return Ok(Vec::new());
    };
    let streams = streams(line, &traffic).map_err(|e| e.to_string())?;
    let links = traffic.link_spans.iter().enumerate();
    let links = links.map(|(l, span)| LinkLoad {
        path: format!("span.{}", line.spans[span.0].id),
        share: load(line, &traffic, &streams, l),
    });
    let shared = traffic.shared.iter().enumerate().map(|(b, s)| LinkLoad {
        path: s.path(line),
        share: shared_load(line, &traffic, &streams, b),
    });
    Ok(links.chain(shared).collect())
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
        let subject = format!("span.{}", span.id);
        if link.standard == RADIO {
            return Some(horizon(line, span, subject, link));
        }
        reach_of(subject, link, span.length_m)
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

/// A radio in line of sight against the horizon of its antennas, or the range that its maker says where that is shorter. A buoy takes its antenna down into
/// the trough of a wave of the significant height of the month with the highest. Within the horizon alone nothing is known: how far it is loud enough is its maker's to say.
fn horizon(line: &Line, span: &Span, subject: String, link: &Link) -> Verdict {
    let Some(antennas_m) = link.antennas_m else {
        return unknown(
            subject,
            "nothing says how high its `antennas` stand over the water",
        );
    };
    let waves_m = line.sea.wave_height_m.iter().map(|q| q.si);
    let highest_m = waves_m.reduce(f64::max);
    let mut lowered = false;
    let ends = [span.from, span.to].into_iter().zip(antennas_m);
    let heights_m = ends.map(|(end, antenna)| {
        let afloat = line.modules[end.0].hull.is_some();
        match highest_m.filter(|_| afloat) {
            Some(wave_m) => {
                lowered = true;
                (antenna.si - 0.5 * wave_m).max(0.0)
            }
            None => antenna.si,
        }
    });
    let heights_m: Vec<f64> = heights_m.collect();
    // Behind the crests an antenna at or below the still water sees nothing.
    let sunk = heights_m.contains(&0.0);
    let roots: f64 = match sunk {
        true => 0.0,
        false => heights_m.iter().map(|h| h.sqrt()).sum(),
    };
    let horizon_m = (2.0 * BENT_EARTH * EARTH_M).sqrt() * roots;
    let waves = match (lowered, highest_m) {
        (true, Some(wave_m)) => {
            format!(
                ", a buoy's in the trough of a wave of {} m",
                show_number(wave_m)
            )
        }
        _ => ", waves not counted".to_owned(),
    };
    let (longest_m, why) = match link.longest_m.filter(|q| q.si < horizon_m) {
        Some(by_maker) => (
            by_maker.si,
            format!(
                "range by its maker; the radio horizon of its antennas is {horizon_m:.0} m away{waves}"
            ),
        ),
        None => (
            horizon_m,
            format!(
                "the radio horizon of antennas {} m and {} m high over an earth of 4/3 its radius{waves}; whether it is loud enough there is not computed",
                show_number(antennas_m[0].si),
                show_number(antennas_m[1].si)
            ),
        ),
    };
    let evidence = Evidence::computed(
        "radio horizon over an earth of 4/3 its radius",
        &(span.length_m, heights_m, link.longest_m.map(|q| q.si)),
    );
    let verdict = at_most_m(longest_m).judge(subject, span.length_m, evidence, why);
    match link.longest_m {
        Some(_) => verdict,
        None => verdict.only_broken(format!(
            "the radio horizon of its antennas is {horizon_m:.0} m away{waves}, and nothing says how far it is loud enough: write `link_longest` by its maker or a trial at sea"
        )),
    }
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
