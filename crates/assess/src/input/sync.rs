//! What crosses the links besides topics: exchanges of the time, and streams that have room.

use network::{AtMost, Flow, StreamAsk, StreamRoom, admit, stream_limit};
use plan::{Line, ModuleIx, TimeSync};
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

/// Adds the streams that have room beside topics, their acknowledgements and the time.
pub(super) fn admitted(
    line: &Line,
    traffic: &Traffic,
    streams: &mut Streams,
) -> Result<(), InputError> {
    if line.streams.is_empty() {
        return Ok(());
    }
    let asks = asks(line, traffic)?;
    let mut beside = streams.clone();
    delivery::talk_back(line, traffic, &mut beside)?;
    streams.rooms = admit(&traffic.topology, &beside.flows, &asks)?;
    for ((stream, ask), room) in line.streams.iter().zip(asks).zip(&streams.rooms) {
        if matches!(room, StreamRoom::Admitted { .. }) {
            streams.others.push(format!("stream.{}", stream.id));
            streams.flows.push(ask.flow);
        }
    }
    Ok(())
}
