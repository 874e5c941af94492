//! Streams: whether each has room on the links that it crosses, and how late its packets may be.

use network::{Flow, Medium, StreamRoom, WhyRefused, WhyUnknown, bus_load, rate_left};
use plan::{Line, ModuleIx, Stream};

use crate::delay_verdicts::why_unknown;
use crate::input::{Streams, Traffic, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A link fuller than this short of its rate is marginal, points of percent.
const NARROW_POINTS: f64 = 2.0;
/// A packet closer to its limit than this share of it is marginal.
const NARROW_SHARE: f64 = 0.02;
const METHOD: &str = "admission by priority, network-calculus bounds (docs/method/network.md, Streams; Le Boudec & Thiran 2001)";

/// Each stream of the plan.
pub(crate) fn rooms(line: &Line) -> Vec<Verdict> {
    if line.streams.is_empty() {
        return Vec::new();
    }
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Err(error) => return vec![unknown("the streams", error.to_string())],
        Ok(None) => return vec![unknown("the streams", "the plan has no [traffic]")],
        Ok(Some(both)) => both,
    };
    if !traffic.unknowns.is_empty() {
        return vec![unknown("the streams", traffic.unknowns.join("; "))];
    }
    let rooms = line.streams.iter().zip(&streams.rooms);
    let judged = rooms.map(|(stream, room)| judged(line, &traffic, &streams, stream, room));
    judged.collect()
}

fn judged(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    stream: &Stream,
    room: &StreamRoom,
) -> Verdict {
    let subject = format!("stream.{}", stream.id);
    let inputs = (&traffic.topology, streams.crossing(), room);
    let evidence = || Evidence::computed(METHOD, &inputs);
    let full = Against {
        side: Side::AtMost,
        limit: 100.0,
        narrow: NARROW_POINTS,
        unit: "%".to_owned(),
    };
    let late = |within_s: f64| Against {
        side: Side::AtMost,
        limit: within_s,
        narrow: NARROW_SHARE * within_s,
        unit: "s".to_owned(),
    };
    let link = |link: usize, to: usize| {
        let span = &line.spans[traffic.link_spans[link].0];
        format!(
            "span.{} towards {}",
            span.id,
            line.module_path(ModuleIx(to))
        )
    };
    match room {
        StreamRoom::Admitted { total, hops } => {
            let fullest = hops
                .iter()
                .filter_map(|hop| match hop.over {
                    Medium::Link(l) => {
                        let (left_bps, share) = left(traffic, &streams.flows, l, hop.to)?;
                        let told =
                            format!("{} has {:.3} Mbit/s left", link(l, hop.to), left_bps / 1e6);
                        Some((share, told))
                    }
                    Medium::Bus(b) => {
                        let load = bus_load(&traffic.topology, &streams.flows, b).ok()?.ok()?;
                        let share = 1.0 - load.share;
                        let of = match load.turns {
                            Some(_) => "the turns of its busiest station",
                            None => "its time",
                        };
                        let path = traffic.shared[b].path(line);
                        Some((
                            share,
                            format!("{path} has {:.1} % of {of} left", 100.0 * share),
                        ))
                    }
                })
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let takes = format!("a packet takes {:.3} ms at most", 1e3 * total.as_s_f64());
            match (stream.within_s, fullest) {
                (Some(within), fullest) => {
                    let why = fullest.map_or(takes, |(_, told)| told);
                    late(within.si).judge(subject, total.as_s_f64(), evidence(), why)
                }
                (None, Some((share, told))) => full.judge(
                    subject,
                    100.0 * (1.0 - share),
                    evidence(),
                    format!("{told}; {takes}"),
                ),
                (None, None) => unknown(
                    subject,
                    format!("how full its way is has no figure; {takes}"),
                ),
            }
        }
        StreamRoom::Refused(WhyRefused::TooLate { total, longest }) => {
            let over = match longest.over {
                Medium::Link(l) => link(l, longest.to),
                Medium::Bus(b) => traffic.shared[b].path(line),
            };
            let why = format!(
                "refused; {:.3} ms of that at {over}",
                1e3 * longest.service.as_s_f64()
            );
            match stream.within_s {
                Some(within) => late(within.si).judge(subject, total.as_s_f64(), evidence(), why),
                None => unknown(subject, why),
            }
        }
        StreamRoom::Refused(WhyRefused::Unbounded(why)) => {
            refused(line, traffic, streams, stream, why, &full, evidence(), "")
        }
        StreamRoom::Refused(WhyRefused::Topic { flow, why }) => {
            let whose = format!(
                "; it would leave {} without a bound",
                streams.name(line, *flow)
            );
            refused(
                line,
                traffic,
                streams,
                stream,
                why,
                &full,
                evidence(),
                &whose,
            )
        }
        StreamRoom::Refused(WhyRefused::Repeated { flow }) => unknown(
            subject,
            format!(
                "refused; beside it {} may be sent again before its acknowledgement is there although nothing is lost, and no bound counts that: give its `retry` a longer `after`",
                streams.name(line, *flow)
            ),
        ),
        StreamRoom::Refused(WhyRefused::Stream {
            stream: other,
            total,
        }) => {
            let other = &line.streams[*other];
            match (total, other.within_s) {
                (Some(total), Some(within)) => {
                    let why = format!(
                        "refused; with it a packet of stream.{} may take so long",
                        other.id
                    );
                    late(within.si).judge(subject, total.as_s_f64(), evidence(), why)
                }
                _ => unknown(
                    subject,
                    format!("refused; with it stream.{} would have no bound", other.id),
                ),
            }
        }
    }
}

/// What a link has left one way, bit/s and as a share of its rate.
fn left(traffic: &Traffic, flows: &[Flow], link: usize, to: usize) -> Option<(f64, f64)> {
    let left = rate_left(&traffic.topology, flows, link, to).ok()?? as f64;
    Some((left, left / traffic.topology.links()[link].rate_bps as f64))
}

#[expect(
    clippy::too_many_arguments,
    reason = "a verdict, and all that its words need"
)]
fn refused(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    stream: &Stream,
    why: &WhyUnknown,
    full: &Against,
    evidence: Evidence,
    whose: &str,
) -> Verdict {
    let told = why_unknown(line, Some(traffic), streams, why);
    let way = traffic.topology.route(stream.from.0, stream.to.0);
    let on_its_way = |over: Medium| way.iter().flatten().any(|(m, _)| *m == over);
    let asked = match why {
        WhyUnknown::Overloaded {
            link,
            asked_bps,
            rate_bps,
            ..
        } if on_its_way(Medium::Link(*link)) => *asked_bps as f64 / *rate_bps as f64,
        WhyUnknown::BusFull { bus, asked_ppm } if on_its_way(Medium::Bus(*bus)) => {
            *asked_ppm as f64 / 1e6
        }
        _ => 0.0,
    };
    let subject = format!("stream.{}", stream.id);
    let why = format!("refused; {told}{whose}");
    if asked > 1.0 {
        full.judge(subject, 100.0 * asked, evidence, why)
    } else {
        unknown(subject, why)
    }
}
