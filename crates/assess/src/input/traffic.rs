//! Links, topics, streams and uplinks.

use std::collections::BTreeMap;

use network::{
    AtMost, Filter, Flow, Layer, Medium, StreamRoom, Terms, TopicName, Topology, WhyUnknown,
    stack_overhead,
};
use plan::{
    Action, BehaviourIx, Line, ModuleIx, PassWhen, RequestIx, SpanIx, StreamIx, TopicIx, When,
};
use quantity::EventRate;
use timeline::Ns;

use super::asking::{Asking, Notice, askers, asking, joining};
use super::bit_errors::{bit_errors, errors_apart, hit_buses};
use super::links::{Carrier, Stack, media};
use super::{InputError, delivery, payload_bytes, sync, terms};

/// The network of links, subscriptions included.
#[derive(Clone, Debug)]
pub struct Traffic {
    /// One node a module, in the line's order.
    pub topology: Topology,
    /// The span of each link.
    pub link_spans: Vec<SpanIx>,
    /// What each shared bus of the topology is in the plan.
    pub shared: Vec<Carrier>,
    /// Which module hears what.
    pub subscriptions: Vec<(usize, Filter)>,
    /// Name of each topic, in the line's order.
    pub names: Vec<TopicName>,
    /// Payload size of each topic, bytes.
    pub bytes: Vec<u32>,
    /// On which terms each topic is delivered.
    pub terms: Vec<Terms>,
    /// Bit error rates, where the plan says them.
    pub bit_errors: BTreeMap<Medium, f64>,
    /// How each request is carried, in the line's order.
    pub asking: Vec<Asking>,
    /// The joining notice of each module; empty when there are none.
    pub joining: Vec<Notice>,
    /// What the plan does not say and the delays need.
    pub unknowns: Vec<String>,
}

/// A time of the plan in whole nanoseconds.
///
/// # Errors
/// [`InputError::Time`].
pub fn ns(what: impl FnOnce() -> String, seconds_s: f64) -> Result<Ns, InputError> {
    Ns::from_s_f64(seconds_s).map_err(|source| InputError::Time {
        what: what(),
        source,
    })
}

/// The typed path of a link or bus.
pub(super) fn path_of(
    line: &Line,
    link_spans: &[SpanIx],
    shared: &[Carrier],
    over: Medium,
) -> String {
    match over {
        Medium::Link(l) => format!("span.{}", line.spans[link_spans[l].0].id),
        Medium::Bus(b) => shared[b].path(line),
    }
}

/// Links, nodes and subscriptions of the line; `None` when the plan has no links.
///
/// # Errors
/// [`InputError`] for frames, links or topics that cannot be.
pub fn traffic(line: &Line) -> Result<Option<Traffic>, InputError> {
    let Some(framing) = &line.traffic else {
        return Ok(None);
    };
    let layers = framing
        .stack
        .iter()
        .map(|name| Layer::by_name(name))
        .collect::<Result<Vec<_>, _>>()?;
    let overhead = match layers.as_slice() {
        [] => None,
        layers => Some(stack_overhead(layers)?),
    };
    let mut unknowns = Vec::new();
    let media = media(
        line,
        Stack {
            overhead,
            packet_bytes: framing.packet_bytes,
        },
    )?;
    let bit_errors = bit_errors(line, &media);
    let mut processing = Vec::new();
    for module in &line.modules {
        let what = || format!("module.{}", module.id);
        match module.processing_s {
            Some(q) => processing.push(ns(what, q.si)?),
            None => {
                unknowns.push(format!(
                    "module.{} says nothing of its processing time",
                    module.id
                ));
                processing.push(Ns::ZERO);
            }
        }
    }
    let never = |passes: plan::Passes| passes.data == PassWhen::Never;
    let ends: Vec<usize> = (0..line.modules.len())
        .filter(|&m| line.modules[m].passes.is_some_and(never))
        .collect();
    let mut subscriptions = Vec::new();
    for behaviour in &line.behaviours {
        if let When::Told { filter } = &behaviour.when {
            let filter = Filter::parse(filter).map_err(|source| InputError::Topic {
                what: format!("behaviour.{}", behaviour.id),
                source,
            })?;
            subscriptions.push((behaviour.on.0, filter));
        }
    }
    for vote in &line.votes {
        let elsewhere = |d: &&plan::DetectorIx| line.detectors[d.0].on.module != vote.on;
        for (_, topic) in vote
            .of
            .iter()
            .filter(elsewhere)
            .flat_map(|d| line.tellers(*d))
        {
            let name = &line.topics[topic.0].name;
            let filter = Filter::parse(name).map_err(|source| InputError::Topic {
                what: format!("topic \"{name}\""),
                source,
            })?;
            subscriptions.push((vote.on.0, filter));
        }
    }
    if line.joining.is_some_and(|j| j.to_all) {
        let all = Filter::parse("joining/+").map_err(|source| InputError::Topic {
            what: "[joining]".to_owned(),
            source,
        })?;
        subscriptions.extend((0..line.modules.len()).map(|m| (m, all.clone())));
    }
    let names = line
        .topics
        .iter()
        .map(|t| {
            TopicName::parse(&t.name).map_err(|source| InputError::Topic {
                what: format!("topic \"{}\"", t.name),
                source,
            })
        })
        .collect::<Result<_, _>>()?;
    let apart = errors_apart(line, &media)?;
    Ok(Some(Traffic {
        topology: Topology::new(processing, media.links, framing.packet_bytes)
            .and_then(|topology| topology.with_buses(media.buses))
            .map_err(|source| InputError::Topology {
                what: source.over().map_or_else(
                    || "the links".to_owned(),
                    |over| path_of(line, &media.link_spans, &media.shared, over),
                ),
                source,
            })?
            .without_relays(&ends)
            .with_bit_errors_on(&hit_buses(&bit_errors))
            .with_errors_apart(&apart),
        link_spans: media.link_spans,
        shared: media.shared,
        subscriptions,
        names,
        bytes: line
            .topics
            .iter()
            .map(payload_bytes)
            .collect::<Result<_, _>>()?,
        terms: line.topics.iter().map(terms).collect::<Result<_, _>>()?,
        bit_errors,
        asking: asking(line)?,
        joining: joining(line)?,
        unknowns,
    }))
}

/// A limit of the plan as the network enforces it.
///
/// # Errors
/// [`InputError::Rate`] for a limit that lets nothing pass, [`InputError::NotWhole`] for one of two and a half.
pub fn at_most(what: impl Fn() -> String, rate: EventRate) -> Result<AtMost, InputError> {
    let per = ns(&what, rate.per_s)?;
    // A fraction of a message cannot pass: "0.5 per hour" is one in two hours.
    let (count, per) = if rate.count < 1.0 {
        (1.0, ns(&what, rate.per_s / rate.count)?)
    } else if rate.count.fract() == 0.0 {
        (rate.count, per)
    } else {
        return Err(InputError::NotWhole {
            what: what(),
            count: rate.count,
        });
    };
    AtMost::new(count as u32, per).map_err(|source| InputError::Rate {
        what: what(),
        source,
    })
}

/// Everything that is published, one stream for each module and topic.
#[derive(Clone, Debug, Default)]
pub struct Streams {
    /// Publishing module and topic of each flow.
    pub of: Vec<(ModuleIx, TopicIx)>,
    /// The flows as the bounds take them: those of `of`, then those of `others`.
    pub flows: Vec<Flow>,
    /// What flows besides topics, in words.
    pub others: Vec<String>,
    /// Of each request and each module that makes it, the flow of its questions; that of the answers lies as many behind it as there are of these.
    pub asked: Vec<(RequestIx, ModuleIx, usize)>,
    /// Flows that have no other limit than that of the questions of a request that start them: as late as those may arrive.
    pub(crate) led: Vec<(RequestIx, usize)>,
    /// Which of `flows` is the first acknowledgement, behind the time and the streams that have room.
    pub(crate) answers: usize,
    /// Flows that may be late without end, each with the flow on the way to it that has no bound of its own, and why that has none.
    pub(crate) endless: BTreeMap<usize, (usize, WhyUnknown)>,
    /// Each stream of the plan that has room, with its place in `flows`.
    pub packets: Vec<(StreamIx, usize)>,
    /// For each stream of the plan whether it has room.
    pub rooms: Vec<StreamRoom>,
}

impl Streams {
    /// What a flow is, in words.
    #[must_use]
    pub fn name(&self, line: &Line, flow: usize) -> String {
        match self.of.get(flow) {
            Some((module, topic)) => format!(
                "{} of module.{}",
                line.topics[topic.0].name, line.modules[module.0].id
            ),
            None => self.others[flow - self.of.len()].clone(),
        }
    }

    /// How long after the instants that [`start_limit`] counts the one behaviour may start that has a flow as its limit: what waits for an answer, until its time is over.
    /// Of what is asked that is found with all bounds.
    pub(super) fn start_late(
        &mut self,
        line: &Line,
        behaviour: BehaviourIx,
        flow: usize,
    ) -> Result<Ns, InputError> {
        let b = &line.behaviours[behaviour.0];
        match b.when {
            _ if b.at_most.is_some() => {}
            When::Asked { request } => self.led.push((request, flow)),
            When::Answered { request } | When::Unanswered { request } => {
                let q = &line.requests[request.0];
                return ns(|| format!("request.{}", q.id), q.within_s.si);
            }
            _ => {}
        }
        Ok(Ns::ZERO)
    }

    /// The flows that cross a link: all that a bound or a load reads.
    pub(crate) fn crossing(&self) -> Vec<&Flow> {
        let crossing = self.flows.iter().filter(|f| !f.targets.is_empty());
        crossing.collect()
    }
}

/// The streams of the line with what each may publish at most.
///
/// A topic's own `at_most` holds for each module that publishes it. Without one the limit is that of what starts the
/// publishing behaviours: a behaviour's `at_most`, its period, or the hold-off of its detector.
///
/// # Errors
/// [`InputError::Rate`], [`InputError::Time`].
pub fn streams(line: &Line, traffic: &Traffic) -> Result<Streams, InputError> {
    streams_with(line, traffic, &[])
}

/// As [`streams`], and modules that publish a topic besides, as often as its own `at_most` lets them.
///
/// # Errors
/// As there.
pub fn streams_with(
    line: &Line,
    traffic: &Traffic,
    besides: &[(ModuleIx, TopicIx)],
) -> Result<Streams, InputError> {
    let mut all = Streams::default();
    for m in 0..line.modules.len() {
        for (t, topic) in line.topics.iter().enumerate() {
            let publishers: Vec<BehaviourIx> = line
                .behaviours
                .iter()
                .enumerate()
                .filter(|(_, b)| b.on.0 == m && publishes(&b.actions, TopicIx(t)))
                .map(|(i, _)| BehaviourIx(i))
                .collect();
            let besides = besides.contains(&(ModuleIx(m), TopicIx(t)));
            if publishers.is_empty() && !besides {
                continue;
            }
            let mut late = Ns::ZERO;
            let limit = match topic.at_most {
                Some(rate) => Some(at_most(|| format!("topic \"{}\"", topic.name), rate)?),
                None => match publishers.as_slice() {
                    [one] if !besides => {
                        late = all.start_late(line, *one, all.flows.len())?;
                        start_limit(line, *one)?
                            .map(|limit| times(limit, publishings(line, *one, TopicIx(t))))
                            .transpose()?
                    }
                    _ => None,
                },
            };
            let targets: Vec<usize> = subscribers(traffic, t)
                .into_iter()
                .filter(|&n| n != m && traffic.topology.route(m, n).is_some())
                .collect();
            all.of.push((ModuleIx(m), TopicIx(t)));
            all.flows.push(Flow {
                node: m,
                targets,
                bytes: traffic.bytes[t],
                priority: topic.priority,
                at_most: limit,
                late: Some(late),
            });
        }
    }
    sync::exchanges(line, traffic, &mut all)?;
    sync::admitted(line, traffic, &mut all)?;
    all.answers = all.flows.len();
    delivery::talk_back(line, traffic, &mut all)?;
    Ok(all)
}

fn publishes(actions: &[Action], wanted: TopicIx) -> bool {
    actions
        .iter()
        .any(|a| matches!(a, Action::Publish { topic, .. } if *topic == wanted))
}

/// How often one run of a behaviour publishes a topic.
fn publishings(line: &Line, behaviour: BehaviourIx, wanted: TopicIx) -> usize {
    line.behaviours[behaviour.0]
        .actions
        .iter()
        .filter(|a| matches!(a, Action::Publish { topic, .. } if *topic == wanted))
        .count()
}

/// A limit on runs as a limit on messages, when each run publishes so many.
pub(super) fn times(limit: AtMost, each: usize) -> Result<AtMost, InputError> {
    let each = u32::try_from(each).unwrap_or(u32::MAX);
    AtMost::new(limit.messages().saturating_mul(each), limit.per()).map_err(|source| {
        InputError::Rate {
            what: "traffic".to_owned(),
            source,
        }
    })
}

/// Modules that hear a topic, ascending.
fn subscribers(traffic: &Traffic, topic: usize) -> Vec<usize> {
    let mut nodes: Vec<usize> = traffic
        .subscriptions
        .iter()
        .filter(|(_, filter)| filter.matches(&traffic.names[topic]))
        .map(|(node, _)| *node)
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// How often a behaviour can start at most: one entry for each thing that may start it, `None` where nothing limits that.
///
/// Its own `at_most`, its period, or the hold-off of its detector or vote; without them, for one that is told, what each module may
/// publish that its filter matches and that reaches it.
///
/// # Errors
/// [`InputError::Rate`], [`InputError::Time`], [`InputError::Topic`].
pub fn start_limits(
    line: &Line,
    talk: Option<(&Traffic, &Streams)>,
    behaviour: BehaviourIx,
) -> Result<Vec<Option<AtMost>>, InputError> {
    let b = &line.behaviours[behaviour.0];
    let When::Told { filter } = &b.when else {
        return Ok(vec![start_limit(line, behaviour)?]);
    };
    let (None, Some((traffic, streams))) = (b.at_most, talk) else {
        return Ok(vec![start_limit(line, behaviour)?]);
    };
    let filter = Filter::parse(filter).map_err(|source| InputError::Topic {
        what: format!("behaviour.{}", b.id),
        source,
    })?;
    let told = streams
        .of
        .iter()
        .zip(&streams.flows)
        .filter(|((_, topic), flow)| {
            filter.matches(&traffic.names[topic.0]) && flow.targets.contains(&b.on.0)
        });
    Ok(told.map(|(_, flow)| flow.at_most).collect())
}

/// How often a behaviour can start at most, when that follows from what is written at it. What questions and their answers start follows them as late as
/// [`Streams::start_late`] says: then it may start oftener for a while, not in the long run.
pub(super) fn start_limit(
    line: &Line,
    behaviour: BehaviourIx,
) -> Result<Option<AtMost>, InputError> {
    let b = &line.behaviours[behaviour.0];
    let what = || format!("behaviour.{}", b.id);
    if let Some(rate) = b.at_most {
        return at_most(what, rate).map(Some);
    }
    // As often as all modules may ask it, or as it may ask itself.
    let by_requests = match b.when {
        When::Asked { request } => Some((request, askers(line, request).len())),
        When::Answered { request } if b.routine.is_none() => Some((request, 1)),
        // Told of what is refused as often again as the limit lets through.
        When::Answered { request } | When::Unanswered { request } => Some((request, 2)),
        _ => None,
    };
    if let Some((request, times_asked)) = by_requests {
        let q = &line.requests[request.0];
        let limit = q
            .at_most
            .map(|rate| at_most(|| format!("request.{}", q.id), rate));
        return match limit.transpose()? {
            Some(limit) if times_asked > 0 => times(limit, times_asked).map(Some),
            _ => Ok(None),
        };
    }
    let period_s = match &b.when {
        When::Each { period_s } => Some(period_s.si),
        When::Heard { detector, notice } if *notice != plan::NoticeKind::Onset => line.detectors
            [detector.0]
            .shortest_hold_off_s()
            .filter(|s| *s > 0.0),
        When::Voted { vote } => Some(line.votes[vote.0].hold_off_s.si).filter(|s| *s > 0.0),
        _ => None,
    };
    let Some(period_s) = period_s else {
        return Ok(None);
    };
    let per = ns(what, period_s)?;
    AtMost::new(1, per)
        .map(Some)
        .map_err(|source| InputError::Rate {
            what: what(),
            source,
        })
}
