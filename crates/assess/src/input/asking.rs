//! Requests and joining notices as the network carries them.

use network::{CborItem, Flow, TopicName, cbor_encode};
use plan::{Action, BehaviourIx, Line, ModuleIx, RequestIx, When};

use timeline::Ns;

use super::delivery::Answer;
use super::payload::request_bytes;
use super::traffic::{start_limit, times};
use super::{InputError, Streams, Traffic, at_most};

/// Names under which question and answer of a request are carried, and their sizes. No filter with a wildcard matches them, because they begin with `$` (OASIS MQTT 5.0,
/// section 4.7.2).
#[derive(Clone, Debug)]
pub struct Asking {
    /// Of the question.
    pub question: TopicName,
    /// Of the answer.
    pub answer: TopicName,
    /// Payload size of the question, bytes.
    pub question_bytes: u32,
    /// Payload size of the answer, bytes.
    pub answer_bytes: u32,
}

/// The joining notice of one module.
#[derive(Clone, Debug)]
pub struct Notice {
    /// Its topic.
    pub name: TopicName,
    /// Its payload size, bytes.
    pub bytes: u32,
}

fn name(of: &str) -> Result<TopicName, InputError> {
    TopicName::parse(of).map_err(|source| InputError::Topic {
        what: format!("\"{of}\""),
        source,
    })
}

pub(super) fn asking(line: &Line) -> Result<Vec<Asking>, InputError> {
    let all = line.requests.iter().map(|q| {
        let [question_bytes, answer_bytes] = request_bytes(q)?;
        Ok(Asking {
            question_bytes,
            answer_bytes,
            question: name(&format!("$question/{}", q.id))?,
            answer: name(&format!("$answer/{}", q.id))?,
        })
    });
    all.collect()
}

/// One notice a module, or none.
pub(super) fn joining(line: &Line) -> Result<Vec<Notice>, InputError> {
    let Some(joining) = line.joining else {
        return Ok(Vec::new());
    };
    let all = (0..line.modules.len()).map(|m| {
        Ok(Notice {
            name: name(&format!("joining/{}", line.modules[m].id))?,
            bytes: match joining.size_bytes {
                Some(bytes) => bytes,
                None => {
                    let told = cbor_encode(&told(line, ModuleIx(m)));
                    let told = told.expect("texts and lists can always be written");
                    u32::try_from(told.len()).expect("a module has fewer than 4 GB of names")
                }
            },
        })
    });
    all.collect()
}

/// What a module tells of itself: its id, and the ids of its sensors, detectors, outputs and of the topics that it publishes.
fn told(line: &Line, module: ModuleIx) -> CborItem {
    let m = &line.modules[module.0];
    let text = |t: &str| CborItem::Text(t.to_owned());
    let list = |all: Vec<&str>| CborItem::List(all.into_iter().map(text).collect());
    let own = |d: &&plan::Detector| d.on.module == module;
    let mut topics: Vec<&str> = line
        .behaviours
        .iter()
        .filter(|b| b.on == module)
        .flat_map(|b| &b.actions)
        .filter_map(|a| match a {
            Action::Publish { topic, .. } => Some(line.topics[topic.0].name.as_str()),
            _ => None,
        })
        .collect();
    topics.sort_unstable();
    topics.dedup();
    let detectors = line.detectors.iter().filter(own);
    CborItem::Map(vec![
        (text("id"), text(&m.id)),
        (
            text("sensors"),
            list(m.sensors.iter().map(|s| s.id.as_str()).collect()),
        ),
        (
            text("detectors"),
            list(detectors.map(|d| d.id.as_str()).collect()),
        ),
        (
            text("outputs"),
            list(m.outputs.iter().map(|o| o.id.as_str()).collect()),
        ),
        (text("topics"), list(topics)),
    ])
}

/// Modules that make a request.
#[must_use]
pub fn askers(line: &Line, request: RequestIx) -> Vec<ModuleIx> {
    let asks = |b: &&plan::Behaviour| {
        let mut actions = b.actions.iter();
        actions.any(|a| matches!(a, Action::Ask { request: q, .. } if *q == request))
    };
    let mut all: Vec<ModuleIx> = line.behaviours.iter().filter(asks).map(|b| b.on).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Whether anybody answers a request.
pub(crate) fn answers(line: &Line, request: RequestIx) -> bool {
    line.behaviours.iter().any(|b| {
        matches!(b.when, When::Asked { request: q } if q == request)
            && b.actions.iter().any(|a| matches!(a, Action::Answer { .. }))
    })
}

/// Adds questions and their answers: for each request and each module that makes it, one flow there and one back.
pub(super) fn questions(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
    back: &mut Vec<Answer>,
) -> Result<(), InputError> {
    let mut answers = Vec::new();
    for (q, request) in line.requests.iter().enumerate() {
        for asker in askers(line, RequestIx(q)) {
            if traffic.topology.route(asker.0, request.to.0).is_none() {
                continue;
            }
            let asks = |b: &plan::Behaviour| {
                let same = |a: &&Action| matches!(a, Action::Ask { request: r, .. } if r.0 == q);
                b.actions.iter().filter(same).count()
            };
            let mut by = (0..line.behaviours.len())
                .filter(|b| line.behaviours[*b].on == asker && asks(&line.behaviours[*b]) > 0);
            let mut late = Ns::ZERO;
            let limit = match (request.at_most, by.next(), by.next()) {
                (Some(rate), ..) => Some(at_most(|| format!("request.{}", request.id), rate)?),
                (None, Some(one), None) => {
                    let (one, flow) = (BehaviourIx(one), streams.flows.len());
                    late = streams.start_late(line, one, flow)?;
                    start_limit(line, one)?
                        .map(|limit| times(limit, asks(&line.behaviours[one.0])))
                        .transpose()?
                }
                _ => None,
            };
            streams
                .asked
                .push((RequestIx(q), asker, streams.flows.len()));
            streams.others.push(format!(
                "questions of request.{} by {}",
                request.id,
                line.module_path(asker)
            ));
            streams.flows.push(Flow {
                node: asker.0,
                targets: vec![request.to.0],
                bytes: traffic.asking[q].question_bytes,
                priority: request.priority,
                at_most: limit,
                late: Some(late),
            });
            answers.push((q, asker, streams.flows.len() - 1));
        }
    }
    for (q, asker, of) in answers {
        let request = &line.requests[q];
        back.push(Answer { of, target: 0 });
        streams.others.push(format!(
            "answers of request.{} to {}",
            request.id,
            line.module_path(asker)
        ));
        streams.flows.push(Flow {
            node: request.to.0,
            targets: vec![asker.0],
            bytes: traffic.asking[q].answer_bytes,
            priority: request.priority,
            at_most: streams.flows[of].at_most,
            late: None,
        });
    }
    Ok(())
}
