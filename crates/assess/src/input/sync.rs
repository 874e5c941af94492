//! What crosses the links besides topics: exchanges of the time, and streams that have room.

use network::{
    AtMost, Beside, DelayBound, Flow, StreamAsk, StreamRoom, WhyRefused, WhyUnknown, admit_beside,
    delay_bounds, stream_limit,
};
use plan::{Line, ModuleIx, StreamIx, TimeSync};
use timeline::Ns;

use super::delivery;
use super::{InputError, Streams, Traffic, ns};

/// The two flows of the exchange by which a module sets its clock, as places in [`Streams::flows`].
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exchange {
    pub(crate) ask: usize,
    pub(crate) answer: usize,
}

/// Modules that set their clocks: those that have one, but the master, and that reach it.
fn asking<'l>(
    line: &'l Line,
    traffic: &'l Traffic,
    sync: &'l TimeSync,
) -> impl Iterator<Item = usize> + 'l {
    let master = sync.master.0;
    (0..line.modules.len()).filter(move |&m| {
        m != master
            && line.modules[m].clock.is_some()
            && traffic.topology.route(m, master).is_some()
            && traffic.topology.route(master, m).is_some()
    })
}

/// The exchange of a module, if it sets its clock.
pub(crate) fn exchange(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    module: ModuleIx,
) -> Option<Exchange> {
    let sync = line.time_sync.as_ref()?;
    let place = asking(line, traffic, sync).position(|m| m == module.0)?;
    let ask = streams.of.len() + 2 * place;
    Some(Exchange {
        ask,
        answer: ask + 1,
    })
}

/// Adds a request and an answer for each module that sets its clock, one in each interval; how late an answer may be follows with all else that goes back.
pub(super) fn exchanges(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
) -> Result<(), InputError> {
    let Some(sync) = &line.time_sync else {
        return Ok(());
    };
    let what = || "time-sync".to_owned();
    let limit = AtMost::new(1, ns(what, sync.every_s.si)?).map_err(|source| InputError::Rate {
        what: what(),
        source,
    })?;
    let modules: Vec<usize> = asking(line, traffic, sync).collect();
    for m in modules {
        let path = line.module_path(ModuleIx(m));
        let asks = format!("requests of the time by {path}");
        let answers = format!("answers with the time for {path}");
        for (node, to, name, late) in [
            (m, sync.master.0, asks, Some(Ns::ZERO)),
            (sync.master.0, m, answers, None),
        ] {
            streams.others.push(name);
            streams.flows.push(Flow {
                node,
                targets: vec![to],
                bytes: sync.size_bytes,
                priority: sync.priority,
                at_most: Some(limit),
                late,
            });
        }
    }
    Ok(())
}

/// The streams of the plan as they ask for room, in order of their ids.
fn asks(line: &Line, traffic: &Traffic) -> Result<Vec<StreamAsk>, InputError> {
    let ask = |stream: &plan::Stream| {
        let what = || format!("stream.{}", stream.id);
        if traffic.topology.route(stream.from.0, stream.to.0).is_none() {
            return Err(InputError::NoWay {
                stream: what(),
                from: line.module_path(stream.from),
                to: line.module_path(stream.to),
            });
        }
        let limit = stream_limit(stream.rate_bps.si as u64, stream.packet_bytes, stream.burst);
        Ok(StreamAsk {
            flow: Flow {
                node: stream.from.0,
                targets: vec![stream.to.0],
                bytes: stream.packet_bytes,
                priority: stream.priority,
                at_most: Some(limit.map_err(|source| InputError::Rate {
                    what: what(),
                    source,
                })?),
                late: Some(Ns::ZERO),
            },
            within: stream.within_s.map(|q| ns(what, q.si)).transpose()?,
        })
    };
    line.streams.iter().map(ask).collect()
}

/// Adds the streams that have room beside topics, their acknowledgements and the time. With each choice of streams it is worked out anew how late what goes back may be.
pub(super) fn admitted(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
) -> Result<(), InputError> {
    if line.streams.is_empty() {
        return Ok(());
    }
    let asks = asks(line, traffic)?;
    let first = streams.flows.len();
    streams.rooms = admit_beside(&asks, |chosen| beside(line, traffic, streams, chosen))?;
    let has_room = |room: &&StreamRoom| matches!(room, StreamRoom::Admitted { .. });
    let admitted = streams.rooms.iter().filter(has_room).count();
    // What goes back stands behind the streams that have room.
    let place = |flow: &mut usize| {
        if *flow >= first {
            *flow += admitted;
        }
    };
    for room in &mut streams.rooms {
        match room {
            StreamRoom::Refused(WhyRefused::Repeated { flow }) => place(flow),
            StreamRoom::Refused(WhyRefused::Topic { flow, why }) => {
                place(flow);
                moved(why, place);
            }
            StreamRoom::Refused(WhyRefused::Unbounded(why)) => moved(why, place),
            StreamRoom::Refused(WhyRefused::TooLate { .. } | WhyRefused::Stream { .. })
            | StreamRoom::Admitted { .. } => {}
        }
    }
    for (s, (ask, room)) in asks.into_iter().zip(&streams.rooms).enumerate() {
        if matches!(room, StreamRoom::Admitted { .. }) {
            let stream = &line.streams[s];
            streams.packets.push((StreamIx(s), streams.flows.len()));
            streams.others.push(format!("stream.{}", stream.id));
            streams.flows.push(ask.flow);
        }
    }
    Ok(())
}

/// Bounds with some streams beside topics, the time, and what goes back for these.
fn beside(
    line: &Line,
    traffic: &Traffic,
    before: &Streams,
    chosen: &[Flow],
) -> Result<Beside, InputError> {
    let mut all = before.clone();
    let (first, behind) = (all.flows.len(), all.flows.len() + chosen.len());
    all.flows.extend_from_slice(chosen);
    all.others
        .extend(chosen.iter().map(|_| "a stream".to_owned()));
    all.answers = behind;
    delivery::talk_back(line, traffic, &mut all)?;
    let mut topics = delay_bounds(&traffic.topology, &all.flows)?;
    let repeated = delivery::repeated(line, &all, &topics);
    let streams = topics.splice(first..behind, []).flatten().collect();
    // Numbered as if there were no streams.
    let place = |flow: &mut usize| {
        if *flow >= behind {
            *flow -= behind - first;
        }
    };
    // What has no bound of its own says more than what follows it.
    let endless = std::mem::take(&mut all.endless);
    let unknown = |bound: &mut DelayBound| {
        if let DelayBound::Unknown(why) = bound {
            if let WhyUnknown::LateWithoutEnd { flow } = why
                && let Some((_, root)) = endless.get(flow)
            {
                *why = *root;
            }
            moved(why, place);
        }
    };
    let mut beside = Beside {
        topics,
        streams,
        repeated,
    };
    beside.repeated.iter_mut().for_each(place);
    beside.topics.iter_mut().flatten().for_each(unknown);
    beside.streams.iter_mut().for_each(unknown);
    Ok(beside)
}

/// Numbers the flow that an unknown bound names anew.
fn moved(why: &mut WhyUnknown, place: impl Fn(&mut usize)) {
    if let WhyUnknown::NoLimitDeclared { flow }
    | WhyUnknown::LateWithoutEnd { flow }
    | WhyUnknown::Ring { flow, .. } = why
    {
        place(flow);
    }
}
