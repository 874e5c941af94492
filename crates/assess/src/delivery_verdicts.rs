//! Retries and requests: whether an acknowledgement, or an answer, is there in time when nothing is broken.

use network::{AtMost, DelayBound, Retry, delay_bounds};
use plan::{Line, Q};

use timeline::Ns;

use crate::delay_verdicts::why_unknown;
use crate::input::{Streams, Traffic, answers, since, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A time closer to its limit than this is marginal, s.
const NARROW_S: f64 = 0.001;
const METHOD: &str = "network-calculus bounds there and back (docs/method/network.md, Delivery; Le Boudec & Thiran 2001)";

const NARROW_MESSAGES: f64 = 1.0;
const FORGOTTEN_METHOD: &str =
    "limit times sendings against numbers remembered (docs/method/network.md, Delivery)";

/// For each stream that is delivered at least once: the longest time until the last of its acknowledgements, against the time after which it is sent again. A
/// shorter time would send again what has arrived, which no bound counts.
pub(crate) fn retries(line: &Line) -> Vec<Verdict> {
    if line.topics.iter().all(|t| t.retry.is_none()) {
        return Vec::new();
    }
    let (traffic, streams, bounds) = match bounded(line) {
        Ok(all) => all,
        Err(why) => return vec![unknown("retries", why)],
    };
    let mut verdicts = Vec::new();
    let mut answer = streams.answers;
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
        let limit = streams.flows[f].at_most.zip(streams.flows[f].late);
        if let (Some(_), Some((terms, limit))) = (&longest, traffic.terms[topic.0].retry.zip(limit))
        {
            verdicts.extend(forgotten(subject.clone(), terms, limit));
        }
        verdicts.push(match (why_not, longest) {
            (Some(why), _) => unknown(subject, why),
            // Nobody else hears it.
            (None, None) => continue,
            (None, Some((seconds, why))) => {
                judged(subject, seconds, retry.after_s, why, &traffic, &streams)
            }
        });
    }
    verdicts
}

/// A receiver that has heard of more messages since than it remembers cannot tell a repeat from one it had, and drops it: then repeats help nothing. Told where it may be so.
fn forgotten(subject: String, retry: Retry, limit: (AtMost, Ns)) -> Option<Verdict> {
    let come = since(retry, limit, retry.at_most.saturating_add(1));
    if come < u128::from(retry.remembers) {
        return None;
    }
    let against = Against {
        side: Side::AtMost,
        limit: f64::from(retry.remembers) - 1.0,
        narrow: NARROW_MESSAGES,
        unit: "messages".to_owned(),
    };
    let why = format!(
        "may be published while one is sent again, the last time {} after the first, and receivers remember the last {} numbers: a repeat that comes after more is dropped, although it was never delivered; `remembers` says how many",
        quantity::show(
            retry.after.as_s_f64() * f64::from(retry.at_most),
            quantity::Dimension::Time
        ),
        retry.remembers
    );
    let evidence = Evidence::computed(FORGOTTEN_METHOD, &(&subject, retry, limit));
    Some(against.judge(subject, come as f64, evidence, why))
}

/// For each request and each module that makes it: the longest time to the answer, when the module that is asked answers at once.
pub(crate) fn requests(line: &Line) -> Vec<Verdict> {
    if line.requests.is_empty() {
        return Vec::new();
    }
    let (traffic, streams, bounds) = match bounded(line) {
        Ok(all) => all,
        Err(why) => return vec![unknown("requests", why)],
    };
    let mut verdicts = Vec::new();
    for (request, asker, there) in &streams.asked {
        let q = &line.requests[request.0];
        let subject = format!("request.{} of {}", q.id, line.module_path(*asker));
        if !answers(line, *request) {
            verdicts.push(unknown(subject, "no behaviour answers it"));
            continue;
        }
        let back = &bounds[*there + streams.asked.len()][0];
        verdicts.push(match (&bounds[*there][0], back) {
            (DelayBound::Known { total, .. }, DelayBound::Known { total: back, .. }) => {
                let (there_s, back_s) = (total.as_s_f64(), back.as_s_f64());
                let why = format!(
                    "{:.3} ms at most for the question, {:.3} ms at most for the answer, which goes at once",
                    1e3 * there_s,
                    1e3 * back_s
                );
                judged(subject, there_s + back_s, q.within_s, why, &traffic, &streams)
            }
            (DelayBound::Unknown(why), _) | (_, DelayBound::Unknown(why)) => {
                unknown(subject, why_unknown(line, Some(&traffic), &streams, why))
            }
        });
    }
    verdicts
}

type Bounded = (Traffic, Streams, Vec<Vec<DelayBound>>);

fn bounded(line: &Line) -> Result<Bounded, String> {
    let traffic = traffic(line).map_err(|e| e.to_string())?;
    let traffic = traffic.ok_or("the plan has no [traffic]")?;
    if !traffic.unknowns.is_empty() {
        return Err(traffic.unknowns.join("; "));
    }
    let streams = streams(line, &traffic).map_err(|e| e.to_string())?;
    let bounds = delay_bounds(&traffic.topology, &streams.flows).map_err(|e| e.to_string())?;
    Ok((traffic, streams, bounds))
}

fn judged(
    subject: String,
    seconds: f64,
    limit: Q,
    why: String,
    traffic: &Traffic,
    streams: &Streams,
) -> Verdict {
    let against = Against {
        side: Side::AtMost,
        limit: limit.si,
        narrow: NARROW_S,
        unit: "s".to_owned(),
    };
    let evidence = Evidence::computed(METHOD, &(&subject, streams.crossing(), &traffic.topology));
    against.judge(subject, seconds, evidence, why)
}
