//! Streams, and time along the line.

use super::behaviours::some_lost;
use super::talk::{state, whole};
use super::{Resolver, module_of};
use crate::field::RefKind;
use crate::line::{Action, Line, Stamps, Stream, TimeSync, Unwritten};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// Most packets of one message.
const MOST_PACKETS: u32 = 65_535;

pub(super) fn streams(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("stream") {
        r.part = format!("stream.{id}");
        if let Some(stream) = stream(r, id, f, line) {
            line.streams.push(stream);
        }
    }
}

fn stream(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Stream> {
    let from = r.reference(f, "from");
    let from = from.map(|(kind, path, _)| (kind, path.to_owned()));
    let to = r.module(line, f, "to");
    let (kind, from) = from?;
    let sensor = match kind {
        RefKind::Sensor => Some(r.sensor(line, f, "from")?),
        _ => None,
    };
    let (from, to) = (module_of(line, &from)?, to?);
    let ends = f.site_of("to").unwrap_or(f.site);
    if from == to {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                ends,
                "this stream goes from a module to itself",
            )
            .label("where it comes from")
            .help("a stream that crosses no link needs no room on one: leave it out"),
        );
        return None;
    }
    needs_traffic(r, line, f.site, "a stream")?;
    let (packet, packet_at) = f.amount("packet")?;
    let packet_bytes = whole(r, packet.si, packet_at)?;
    if let Some(traffic) = &line.traffic
        && packet_bytes.div_ceil(traffic.packet_bytes) > MOST_PACKETS
    {
        let message = format!("a packet of this size takes more than {MOST_PACKETS} frames");
        r.tell(Mistake::error(Code::OutOfRange, packet_at, message).label("too large"));
        return None;
    }
    if f.is_wrong("burst") || f.is_wrong("within") || f.is_wrong("in_state") {
        return None;
    }
    let in_state = match f.text("in_state") {
        Some((name, site)) => Some(state(r, line, from, name, site)?),
        None => None,
    };
    if !f.has("burst") {
        r.unwritten(Unwritten::Burst);
    }
    Some(Stream {
        id: id.to_owned(),
        at: f.site,
        from,
        sensor,
        to,
        rate_bps: f.q("rate")?,
        packet_bytes,
        burst: f
            .count("burst")
            .map_or(Some(1), |(n, _)| u32::try_from(*n).ok())?,
        priority: u8::try_from(*f.count("priority")?.0).ok()?,
        within_s: f.q("within"),
        in_state,
    })
}

/// Warns of streams that run in a state which nothing enters. Not asked while what might enter it has other mistakes.
pub(super) fn never_run(r: &mut Resolver<'_>, root: &Fields, line: &Line) {
    if some_lost(r, line) {
        return;
    }
    for stream in &line.streams {
        let Some(wanted) = stream.in_state else {
            continue;
        };
        let module = &line.modules[stream.from.0];
        let by_behaviour = line.behaviours.iter().any(|b| {
            let enters = |a: &Action| matches!(a, Action::Enter { state, .. } if *state == wanted);
            b.on == stream.from && b.actions.iter().any(enters)
        });
        let by_uplink = line
            .uplinks
            .iter()
            .any(|u| u.module == stream.from && u.sending_state == Some(wanted));
        let alone = module.loads.len() == 1 || module.starts_in == Some(wanted);
        let expected = module.duty.iter().any(|(state, _)| *state == wanted);
        if by_behaviour || by_uplink || alone || expected {
            continue;
        }
        let mut streams = root.keyed("stream");
        let written = streams.find(|(id, _)| *id == stream.id);
        let site = written.and_then(|(_, f)| f.site_of("in_state"));
        let state = &module.loads[wanted].state;
        r.part = format!("stream.{}", stream.id);
        r.tell(
            Mistake::warning(
                Code::Absent,
                site.unwrap_or(stream.at),
                format!("nothing enters the state `{state}` of module.{}: this stream never runs", module.id),
            )
            .label("never entered")
            .help(format!(
                "let a behaviour of that module do {{ enter = \"{state}\", for = \"10 min\" }}, or leave out `in_state`"
            )),
        );
    }
}

pub(super) fn time_sync(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    "time-sync".clone_into(&mut r.part);
    let Some((f, _)) = root.table("time-sync") else {
        return;
    };
    line.time_sync = sync(r, f, line);
}

fn sync(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<TimeSync> {
    let master = r.module(line, f, "master")?;
    needs_traffic(r, line, f.site, "setting clocks along the line")?;
    let (size, size_at) = f.amount("size")?;
    Some(TimeSync {
        at: f.site,
        master,
        every_s: f.q("every")?,
        stamps: match *f.choice("timestamps")?.0 {
            "wire" => Stamps::Wire,
            _ => Stamps::Software,
        },
        jitter_s: f.q("jitter")?,
        size_bytes: whole(r, size.si, size_at)?,
        priority: u8::try_from(*f.count("priority")?.0).ok()?,
    })
}

/// What crosses links needs links.
fn needs_traffic(r: &mut Resolver<'_>, line: &Line, at: Site, what: &str) -> Option<()> {
    if line.traffic.is_some() || r.declared.has("traffic") {
        return line.traffic.as_ref().map(|_| ());
    }
    r.tell(
        Mistake::error(
            Code::MissingKey,
            at,
            format!("{what} needs links, and the plan has no [traffic]"),
        )
        .label("nothing carries it"),
    );
    None
}
