//! On which terms topics are delivered, and the acknowledgements that these cost.

use network::{AtMost, DelayBound, Flow, Keep, Retry, Terms, delay_bounds};
use plan::{Line, Topic};
use timeline::Ns;

use super::asking::questions;
use super::{InputError, Streams, Traffic, ns};

/// Rounds after which the burst of acknowledgements is given up as without a bound.
const MOST_ROUNDS: u64 = 16;

/// The terms of a topic as the network takes them.
///
/// # Errors
/// [`InputError::Time`].
pub fn terms(topic: &Topic) -> Result<Terms, InputError> {
    let what = || format!("topic \"{}\"", topic.name);
    let retry = topic
        .retry
        .map(|retry| {
            Ok::<Retry, InputError>(Retry {
                after: ns(what, retry.after_s.si)?,
                at_most: retry.at_most,
                acknowledgement_bytes: retry.acknowledgement_bytes,
                remembers: retry.remembers,
            })
        })
        .transpose()?;
    let keep = topic
        .keep
        .map(|keep| {
            Ok::<Keep, InputError>(Keep {
                messages: keep.messages,
                longest: ns(what, keep.longest_s.si)?,
            })
        })
        .transpose()?;
    Ok(Terms {
        retry,
        retained: topic.retained,
        keep,
    })
}

/// What goes back: which flow it answers, and to which of its targets that comes.
pub(super) struct Answer {
    pub(super) of: usize,
    pub(super) target: usize,
}

/// Adds questions, and what goes back: an answer for each question, and one flow of acknowledgements for each flow that is delivered at least once and each of its
/// receivers.
///
/// In a span P of its topic's limit a receiver is told of at most n messages of the publisher, and of those that were late: with a lateness of at most
/// k P no more than (k + 1) n in P, and n in P in the long run. So it acknowledges at most (k + 1) n in (k + 1) P; k is the least whole number that the bound on
/// lateness allows once the acknowledgements are counted in it. Without such a number they have no limit.
pub(super) fn talk_back(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
) -> Result<(), InputError> {
    let (first, mut answers) = (streams.flows.len(), Vec::new());
    for (of, (module, topic)) in streams.of.iter().enumerate() {
        let Some(retry) = traffic.terms[topic.0].retry else {
            continue;
        };
        let flow = streams.flows[of].clone();
        for (target, &node) in flow.targets.iter().enumerate() {
            answers.push(Answer { of, target });
            streams.others.push(format!(
                "acknowledgements of {} by module.{}",
                line.topics[topic.0].name, line.modules[node].id
            ));
            streams.flows.push(Flow {
                node,
                targets: vec![module.0],
                bytes: retry.acknowledgement_bytes,
                priority: flow.priority,
                at_most: None,
            });
        }
    }
    // Questions stand between acknowledgements and answers.
    let mut places: Vec<usize> = (first..streams.flows.len()).collect();
    let before = streams.flows.len();
    questions(line, traffic, streams, &mut answers)?;
    let asked = streams.asked.len();
    places.extend(before + asked..streams.flows.len());
    if answers.is_empty() {
        return Ok(());
    }
    let mut late = vec![1u64; answers.len()];
    for _ in 0..MOST_ROUNDS {
        for ((place, answer), late) in places.iter().zip(&answers).zip(&late) {
            let limit = streams.flows[answer.of].at_most;
            streams.flows[*place].at_most = limit.and_then(|l| spread(l, late + 1));
        }
        let Ok(bounds) = delay_bounds(&traffic.topology, &streams.flows) else {
            break;
        };
        let mut fits = true;
        for (answer, late) in answers.iter().zip(&mut late) {
            let (DelayBound::Known { total, .. }, Some(limit)) = (
                &bounds[answer.of][answer.target],
                streams.flows[answer.of].at_most,
            ) else {
                // Nothing that shares their way has a bound, whatever they ask for.
                continue;
            };
            let periods = total.0.div_ceil(limit.per().0).max(1);
            if periods > *late {
                *late = periods;
                fits = false;
            }
        }
        if fits {
            return Ok(());
        }
    }
    for place in places {
        streams.flows[place].at_most = None;
    }
    Ok(())
}

/// So many times as many in so many times the span.
fn spread(limit: AtMost, times: u64) -> Option<AtMost> {
    let messages = u32::try_from(u64::from(limit.messages()).checked_mul(times)?).ok()?;
    let per: Ns = limit.per().checked_mul(times)?;
    AtMost::new(messages, per).ok()
}
