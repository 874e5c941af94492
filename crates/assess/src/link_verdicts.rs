//! Links: how busy they are, and whether they are too long for their standard.

use std::collections::BTreeSet;

use network::{LinkStandard, Medium, fragment_count};
use plan::{Line, Q, SpanIx};

use crate::input::{Streams, Traffic, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A load closer to its limit than this is marginal, points of percent.
const NARROW_POINTS: f64 = 2.0;
const LOAD_METHOD: &str =
    "declared rates times frame times (docs/method/network.md; IEEE 802.3 framing)";

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
        verdicts.push(match load(line, &traffic, &streams, l) {
            Err(why) => unknown(subject, why),
            Ok((share, why)) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: 100.0 * limit.si,
                    narrow: NARROW_POINTS,
                    unit: "%".to_owned(),
                };
                let inputs = (l, streams.crossing(), &traffic.topology);
                against.judge(
                    subject,
                    100.0 * share,
                    Evidence::computed(LOAD_METHOD, &inputs),
                    why,
                )
            }
        });
    }
    if let Some(s) = of.filter(|s| !traffic.link_spans.contains(s)) {
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
    for (flow, (module, topic)) in streams.flows.iter().zip(&streams.of) {
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
            let name = &line.topics[topic.0].name;
            let limit = flow.at_most.ok_or_else(|| {
                format!(
                    "topic \"{name}\" of {} has no `at_most`",
                    line.module_path(*module)
                )
            })?;
            let fragments = fragment_count(flow.bytes, mtu).map_err(|e| e.to_string())?;
            let time = |bytes| link.frame_time(bytes).map(timeline::Ns::as_s_f64);
            let last = flow.bytes - (fragments - 1) * mtu.min(flow.bytes);
            let message_s = f64::from(fragments - 1) * time(mtu).map_err(|e| e.to_string())?
                + time(last).map_err(|e| e.to_string())?;
            busy[d] += message_s * f64::from(limit.messages()) / limit.per().as_s_f64();
            who[d].push(format!("{name} of module.{}", line.modules[module.0].id));
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

/// Each link against the longest length that its standard calls for.
pub(crate) fn link_reach(line: &Line) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for span in &line.spans {
        let Some(link) = span.link.as_ref().filter(|l| l.rate_bps.is_none()) else {
            continue;
        };
        let subject = format!("span.{}", span.id);
        let longest = LinkStandard::by_name(&link.standard)
            .map_err(|e| e.to_string())
            .and_then(|standard| {
                let rate_bps = standard.rate_bps(None).map_err(|e| e.to_string())?;
                let longest_m = standard
                    .longest_m(rate_bps)
                    .ok_or_else(|| standard.source.to_owned())?;
                Ok((standard, longest_m))
            });
        verdicts.push(match longest {
            Err(why) => unknown(subject, why),
            Ok((standard, longest_m)) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: longest_m,
                    narrow: 0.0,
                    unit: "m".to_owned(),
                };
                let evidence = Evidence::computed(
                    "longest length of the link's standard",
                    &(span.length_m, standard),
                );
                against.judge(subject, span.length_m, evidence, standard.source.to_owned())
            }
        });
    }
    verdicts
}
