//! Messages that bit errors lose: of each topic the copy that is lost most often.

use network::{Flow, Medium, bus_frame_loss, can_sendings_to_bus_off, copy_loss};
use plan::{Line, Q, TopicIx};

use crate::input::{Streams, Traffic, streams, told_apart, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A loss closer to its limit than this is marginal, points of percent.
const NARROW_POINTS: f64 = 0.001;
/// Where a controller leaves its CAN bus after more sendings than this on average, what is lost so lies far below the digits of any limit.
const SENDINGS_TO_BUS_OFF: f64 = 1e12;
const METHOD: &str = "chance that a frame on the way is hit, bit errors independent, repeats that are told apart and those of CAN (docs/method/network.md)";

/// Whether the plan says a bit error rate somewhere.
pub(crate) fn some_rate(line: &Line) -> bool {
    let own = line.spans.iter().filter_map(|s| s.link.as_ref());
    let mut links = own.chain(line.buses.iter().map(|b| &b.link));
    links.any(|l| l.bit_error_rate.is_some())
}

/// Share of the copies of one topic, or of each that crosses a link, that is lost.
pub(crate) fn message_loss(line: &Line, of: Option<TopicIx>, at_most: Q) -> Vec<Verdict> {
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Err(error) => return vec![unknown("the links", error.to_string())],
        Ok(None) => return vec![unknown("the links", "the plan has no [traffic]")],
        Ok(Some(both)) => both,
    };
    let asked = (0..line.topics.len()).map(TopicIx);
    let asked = asked.filter(|t| of.is_none_or(|of| of == *t));
    let verdicts: Vec<Verdict> = asked
        .filter_map(|topic| of_topic(line, &traffic, &streams, topic, at_most))
        .collect();
    match (verdicts.is_empty(), of) {
        (false, _) => verdicts,
        (true, Some(topic)) => vec![unknown(
            format!("topic \"{}\"", line.topics[topic.0].name),
            "nobody publishes it to another module",
        )],
        (true, None) => vec![unknown(
            "the links",
            "no topic is published to another module",
        )],
    }
}

/// Chance that bit errors lose a copy of a flow of a topic on its way to one of its targets; what no `bit_error_rate` is written for loses nothing.
///
/// # Errors
/// In words.
pub(crate) fn copy_lost(
    traffic: &Traffic,
    flow: &Flow,
    topic: TopicIx,
    target: usize,
) -> Result<f64, String> {
    let rate = |over: Medium| traffic.bit_errors.get(&over).copied().unwrap_or(0.0);
    let lost = copy_loss(&traffic.topology, rate, flow.node, target, flow.bytes);
    lost.map(|loss| all_sendings(traffic, flow, topic, loss))
        .map_err(|e| e.to_string())
}

/// Lost where every sending is hit that its receiver could still tell from one it had.
fn all_sendings(traffic: &Traffic, flow: &Flow, topic: TopicIx, loss: f64) -> f64 {
    let retry = traffic.terms[topic.0].retry;
    let sendings = retry.map_or(1, |r| told_apart(r, flow.at_most.zip(flow.late)));
    libm::pow(loss, f64::from(sendings))
}

/// `None` for a topic that crosses no link.
fn of_topic(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    topic: TopicIx,
    at_most: Q,
) -> Option<Verdict> {
    let subject = format!("topic \"{}\"", line.topics[topic.0].name);
    let rate = |over: Medium| traffic.bit_errors.get(&over).copied().unwrap_or(0.0);
    let mut worst: Option<(f64, usize, usize)> = None;
    let mut silent = Vec::new();
    let mut repeated = false;
    for (flow, (_, of)) in streams.flows.iter().zip(&streams.of) {
        for &target in flow.targets.iter().filter(|_| *of == topic) {
            let route = traffic.topology.route(flow.node, target)?;
            let said = |over: &Medium| traffic.bit_errors.contains_key(over);
            let unsaid = route.iter().filter(|(over, _)| !said(over));
            repeated |= route.iter().any(|(over, _)| repeats(traffic, *over));
            let leaving = route.iter().find_map(|(over, _)| {
                leaves_the_bus(traffic, *over, rate(*over))
                    .map(|why| format!("{}: {why}", traffic.path_of(line, *over)))
            });
            if let Some(why) = leaving {
                return Some(unknown(subject, why));
            }
            silent.extend(unsaid.map(|(over, _)| traffic.path_of(line, *over)));
            match copy_loss(&traffic.topology, rate, flow.node, target, flow.bytes) {
                Err(error) => return Some(unknown(subject, error.to_string())),
                Ok(loss) => {
                    let loss = all_sendings(traffic, flow, topic, loss);
                    if worst.is_none_or(|(most, ..)| loss > most) {
                        worst = Some((loss, flow.node, target));
                    }
                }
            }
        }
    }
    let (loss, from, to) = worst?;
    silent.sort();
    silent.dedup();
    if !silent.is_empty() {
        let why = format!("no `bit_error_rate` is written for {}", silent.join(", "));
        return Some(unknown(subject, why));
    }
    let against = Against {
        side: Side::AtMost,
        limit: 100.0 * at_most.si,
        narrow: NARROW_POINTS,
        unit: "%".to_owned(),
    };
    let module = |node: usize| format!("module.{}", line.modules[node].id);
    let inputs = (
        &traffic.topology,
        &traffic.bit_errors,
        streams.crossing(),
        (topic.0, traffic.terms[topic.0].retry),
    );
    let evidence = Evidence::computed(METHOD, &inputs);
    let mut why = format!("of those from {} to {}", module(from), module(to));
    if repeated {
        why.push_str("; on CAN an error costs time and no message");
    }
    Some(against.judge(subject, 100.0 * loss, evidence, why))
}

/// Whether the controllers themselves send again what was hit, so that an error costs time and no message.
fn repeats(traffic: &Traffic, over: Medium) -> bool {
    match over {
        Medium::Link(_) => false,
        Medium::Bus(b) => traffic.topology.buses()[b].repeats(),
    }
}

/// Says so where so many of the longest frames are hit that controllers leave a CAN bus now and then.
fn leaves_the_bus(traffic: &Traffic, over: Medium, rate: f64) -> Option<String> {
    let Medium::Bus(b) = over else { return None };
    let spec = &traffic.topology.buses()[b];
    if !spec.repeats() {
        return None;
    }
    let hit = bus_frame_loss(spec, spec.stations[0], spec.payload_bytes, rate).ok()?;
    let sendings = can_sendings_to_bus_off(hit);
    (sendings < SENDINGS_TO_BUS_OFF).then(|| {
        format!(
            "{:.3} % of its longest frames are hit, so that a controller leaves the bus after {sendings:.3e} of them on average, and what is lost until it is back is not worked out",
            100.0 * hit
        )
    })
}
