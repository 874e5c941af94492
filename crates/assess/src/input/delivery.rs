//! On which terms topics are delivered, and the acknowledgements that these cost.

use std::collections::BTreeMap;

use network::{AtMost, DelayBound, Flow, Keep, Retry, Terms, WhyUnknown, delay_bounds};
use plan::{Line, ModuleIx, Topic};
use timeline::Ns;

use super::asking::questions;
use super::sync::exchange;
use super::{InputError, Streams, Traffic, ns};

/// Rounds in which what goes back is as late as the bound says; later ones take whole spans of the limit, to come to an end.
const EXACT_ROUNDS: u32 = 8;
/// Rounds after which what goes back is given up as late without end.
const MOST_ROUNDS: u32 = 16;

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

/// Messages that a topic with this limit, which it may follow so late, may publish from the first sending of one until the time that its acknowledgement is given after so many sendings is over.
#[must_use]
pub(crate) fn since(retry: Retry, (limit, late): (AtMost, Ns), sendings: u32) -> u128 {
    let span_ns = u128::from(retry.after.0) * u128::from(sendings) + u128::from(late.0);
    span_ns.div_ceil(u128::from(limit.per().0)) * u128::from(limit.messages())
}

/// Sendings of one message that its receiver can tell from one it had, as long as each takes no longer than the next is waited for: the first, and those until which no
/// more messages may have come than it remembers below the highest.
#[must_use]
pub(crate) fn told_apart(retry: Retry, limit: Option<(AtMost, Ns)>) -> u32 {
    let remembered = |sendings: &u32| {
        limit.is_some_and(|l| since(retry, l, *sendings) < u128::from(retry.remembers))
    };
    let again = (2..=retry.at_most.saturating_add(1)).take_while(remembered);
    again.last().map_or(1, |sendings| sendings)
}

/// The flows that may be sent again before they are acknowledged although nothing is lost: those whose bound there and back passes the time after which they are. `streams.answers` is the
/// first acknowledgement.
pub(super) fn repeated(line: &Line, streams: &Streams, bounds: &[Vec<DelayBound>]) -> Vec<usize> {
    let mut answer = streams.answers;
    let mut found = Vec::new();
    for (flow, (_, topic)) in streams.of.iter().enumerate() {
        let Some(retry) = line.topics[topic.0].retry else {
            continue;
        };
        let mut late = false;
        for there in &bounds[flow] {
            if let (DelayBound::Known { total, .. }, DelayBound::Known { total: back, .. }) =
                (there, &bounds[answer][0])
            {
                late |= total.as_s_f64() + back.as_s_f64() > retry.after_s.si;
            }
            answer += 1;
        }
        if late {
            found.push(flow);
        }
    }
    found
}

/// What goes back: which flow it answers, and to which of its targets that comes.
pub(super) struct Answer {
    pub(super) of: usize,
    pub(super) target: usize,
}

/// Adds questions, and what goes back: an answer for each question, and one flow of acknowledgements for each flow that is delivered at least once and each of its
/// receivers. Answers with the time are there already.
///
/// What goes back has the limit of what it answers, and is as late as that is: at most its bound behind it, once all that goes back is counted in it. So is what a question starts. That lateness is found in rounds from
/// none on. What answers something that has no bound is late without end: also where it shares its way with others than that did;
/// `streams.endless` says whence.
pub(super) fn talk_back(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
) -> Result<(), InputError> {
    let (first, mut answers) = (streams.flows.len(), Vec::new());
    let mut places = Vec::new();
    for module in (0..line.modules.len()).map(ModuleIx) {
        if let Some(exchange) = exchange(line, traffic, streams, module) {
            let (of, target) = (exchange.ask, 0);
            answers.push(Answer { of, target });
            places.push(exchange.answer);
        }
    }
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
                at_most: flow.at_most,
                late: None,
            });
        }
    }
    // Questions stand between acknowledgements and answers.
    places.extend(first..streams.flows.len());
    let before = streams.flows.len();
    questions(line, traffic, streams, &mut answers)?;
    let asked = streams.asked.len();
    places.extend(before + asked..streams.flows.len());
    for (request, flow) in &streams.led {
        for (_, _, of) in streams.asked.iter().filter(|(q, ..)| q == request) {
            let (of, target) = (*of, 0);
            answers.push(Answer { of, target });
            places.push(*flow);
        }
    }
    if answers.is_empty() {
        return Ok(());
    }
    let mut late = vec![Some(Ns::ZERO); answers.len()];
    let mut endless: BTreeMap<usize, (usize, WhyUnknown)> = BTreeMap::new();
    for round in 0..MOST_ROUNDS {
        for place in &places {
            streams.flows[*place].late = Some(Ns::ZERO);
        }
        // Several may start one flow.
        for (place, late) in places.iter().zip(&late) {
            let flow = &mut streams.flows[*place];
            flow.late = flow.late.zip(*late).map(|(a, b)| a.max(b));
        }
        let Ok(bounds) = delay_bounds(&traffic.topology, &streams.flows) else {
            break;
        };
        let mut fits = true;
        for ((answer, place), late) in answers.iter().zip(&places).zip(&mut late) {
            let Some(counted) = *late else { continue };
            let of = &streams.flows[answer.of];
            let after = match &bounds[answer.of][answer.target] {
                DelayBound::Known { total, .. } => of.late.and_then(|l| l.checked_add(*total)),
                DelayBound::Unknown(why) => {
                    let root = match why {
                        WhyUnknown::LateWithoutEnd { flow } => endless.get(flow).copied(),
                        why => Some((answer.of, *why)),
                    };
                    if let Some(root) = root {
                        endless.entry(*place).or_insert(root);
                    }
                    None
                }
            };
            let next = match (after, of.at_most) {
                (Some(after), _) if after <= counted => continue,
                (Some(after), Some(limit)) if round >= EXACT_ROUNDS => {
                    let per = limit.per();
                    per.checked_mul(after.0.div_ceil(per.0))
                }
                (after, _) => after,
            };
            *late = next;
            fits = false;
        }
        if fits {
            streams.endless = endless;
            return Ok(());
        }
    }
    streams.endless = endless;
    for place in places {
        streams.flows[place].late = None;
    }
    Ok(())
}
