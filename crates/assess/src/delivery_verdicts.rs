//! Retries: whether an acknowledgement is there in time when nothing is broken.

use network::{DelayBound, delay_bounds};
use plan::Line;

use crate::delay_verdicts::why_unknown;
use crate::input::{streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A time closer to its limit than this is marginal, s.
const NARROW_S: f64 = 0.001;
const METHOD: &str = "network-calculus bounds of a message and its acknowledgement (docs/method/network.md, Delivery; Le Boudec & Thiran 2001)";

/// For each stream that is delivered at least once: the longest time until the last of its acknowledgements, against the time after which it is sent again. A
/// shorter time would send again what has arrived, which no bound counts.
pub(crate) fn retries(line: &Line) -> Vec<Verdict> {
    if line.topics.iter().all(|t| t.retry.is_none()) {
        return Vec::new();
    }
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Ok(Some(both)) => both,
        Ok(None) => return vec![unknown("retries", "the plan has no [traffic]")],
        Err(error) => return vec![unknown("retries", error.to_string())],
    };
    if !traffic.unknowns.is_empty() {
        return vec![unknown("retries", traffic.unknowns.join("; "))];
    }
    let bounds = match delay_bounds(&traffic.topology, &streams.flows) {
        Ok(bounds) => bounds,
        Err(error) => return vec![unknown("retries", error.to_string())],
    };
    let mut verdicts = Vec::new();
    let mut answer = streams.of.len();
    for (f, (module, topic)) in streams.of.iter().enumerate() {
        let Some(retry) = line.topics[topic.0].retry else {
            continue;
        };
        let subject = format!(
            "\"{}\" of {}",
            line.topics[topic.0].name,
            line.module_path(*module)
        );
        let mut longest: Option<(f64, String)> = None;
        let mut why_not = None;
        for (there, node) in bounds[f].iter().zip(&streams.flows[f].targets) {
            let back = &bounds[answer][0];
            answer += 1;
            match (there, back) {
                (DelayBound::Known { total, .. }, DelayBound::Known { total: back, .. }) => {
                    let (there_s, back_s) = (total.as_s_f64(), back.as_s_f64());
                    let seconds = there_s + back_s;
                    if longest.as_ref().is_none_or(|(s, _)| seconds > *s) {
                        let why = format!(
                            "{:.3} ms at most to module.{}, {:.3} ms at most for the acknowledgement",
                            1e3 * there_s,
                            line.modules[*node].id,
                            1e3 * back_s
                        );
                        longest = Some((seconds, why));
                    }
                }
                (DelayBound::Unknown(why), _) | (_, DelayBound::Unknown(why)) => {
                    why_not = Some(why_unknown(line, Some(&traffic), &streams, why));
                }
            }
        }
        verdicts.push(match (why_not, longest) {
            (Some(why), _) => unknown(subject, why),
            // Nobody else hears it.
            (None, None) => continue,
            (None, Some((seconds, why))) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: retry.after_s.si,
                    narrow: NARROW_S,
                    unit: "s".to_owned(),
                };
                let inputs = (&subject, streams.crossing(), &traffic.topology);
                let evidence = Evidence::computed(METHOD, &inputs);
                against.judge(subject, seconds, evidence, why)
            }
        });
    }
    verdicts
}
