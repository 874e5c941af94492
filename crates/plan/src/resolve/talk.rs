//! Traffic and topics.

use std::collections::BTreeMap;

use quantity::EventRate;

use super::Resolver;
use super::delivery;
use super::topic_field::{different, topic_field};
use crate::line::{Line, Link, ModuleIx, Q, Topic, TopicField, TopicIx, Traffic, Unwritten};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::site::Site;

/// Priority of a topic that says none.
const PRIORITY: u8 = 1;
/// Most packets of one message, so that one message cannot fill the memory of a rehearsal.
const MOST_PACKETS: f64 = 65_535.0;
/// Layers that a stack may name, from the wire upwards.
const LAYERS: &[&str] = &["ethernet", "ipv4", "ipv6", "udp"];

pub(super) fn traffic(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    "traffic".clone_into(&mut r.part);
    let Some((f, _)) = root.table("traffic") else {
        if !root.has("traffic")
            && let Some(span) = line
                .spans
                .iter()
                .find(|s| s.link.is_some() || s.bus.is_some())
        {
            r.tell(
                Mistake::error(Code::MissingKey, span.at, "nothing says how messages are framed on the links")
                    .label("this span has a link")
                    .help("add [traffic] with stack = [\"ethernet\", \"ipv6\", \"udp\"] and packet = \"1400 B\""),
            );
        }
        return;
    };
    let Some((packet, site)) = f.amount("packet").filter(|_| !f.is_wrong("stack")) else {
        return;
    };
    let stack = f.texts("stack").map_or(&[][..], |(layers, _)| layers);
    for (layer, at) in stack {
        if !LAYERS.contains(&layer.as_str()) {
            r.tell(
                Mistake::error(
                    Code::UnknownWord,
                    *at,
                    format!("\"{layer}\" is no layer that is known"),
                )
                .label("unknown word")
                .help(format!("the words are: {}", join(LAYERS.iter().copied()))),
            );
            return;
        }
    }
    if stack.is_empty()
        && let Some(at) = framed_by_the_stack(line)
    {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                at,
                "this link has no frame of its own, and [traffic] has no `stack`",
            )
            .label("here")
            .help("add stack = [\"ethernet\", \"ipv6\", \"udp\"] to [traffic]"),
        );
        return;
    }
    if let Some(packet_bytes) = whole(r, packet.si, site) {
        line.traffic = Some(Traffic {
            stack: stack.iter().map(|(l, _)| l.clone()).collect(),
            packet_bytes,
        });
    }
}

/// The first link that has no frame of its own.
fn framed_by_the_stack(line: &Line) -> Option<Site> {
    let of_spans = line.spans.iter().filter_map(|s| s.link.as_ref());
    let mut links = of_spans.chain(line.buses.iter().map(|b| &b.link));
    let own = |l: &&Link| l.frame.is_some() || l.standard == "SDI-12";
    links.find(|l| !own(l)).map(|l| l.at)
}

pub(super) fn whole(r: &mut Resolver<'_>, bytes: f64, site: Site) -> Option<u32> {
    if bytes.fract() == 0.0 && bytes <= f64::from(u32::MAX) {
        return Some(bytes as u32);
    }
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            site,
            "a size here is a whole number of bytes",
        )
        .label("not whole"),
    );
    None
}

pub(super) fn topics(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    let mut schemas: BTreeMap<u8, Site> = BTreeMap::new();
    for (name, f) in root.keyed("topic") {
        r.part = format!("topic.{name}");
        if f.has("fields") == f.has("size") {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    f.site,
                    "a topic gives either its `fields` or its `size`",
                )
                .label(if f.has("size") {
                    "both here"
                } else {
                    "neither here"
                })
                .help(if f.has("size") {
                    "remove one of them"
                } else {
                    "add `fields = [ ... ]` for a packed payload, or `size = \"60 B\"`"
                }),
            );
            continue;
        }
        let read: Vec<Option<TopicField>> = f
            .tables("fields")
            .iter()
            .map(|x| topic_field(r, x))
            .collect();
        let Some(fields) = read.into_iter().collect::<Option<Vec<_>>>() else {
            continue;
        };
        different(r, f, "fields");
        if f.is_wrong("fields") || f.is_wrong("size") {
            continue;
        }
        let schema_id = f
            .count("schema_id")
            .and_then(|(id, site)| Some((u8::try_from(*id).ok()?, site)));
        if !frame_fits(r, f, schema_id, &mut schemas) {
            continue;
        }
        let size_bytes = f.q("size");
        if let Some(size) = size_bytes
            && (whole(r, size.si, size.at).is_none() || too_many_packets(r, size, line))
        {
            continue;
        }
        let Some(retry) = delivery::retry(r, f) else {
            continue;
        };
        if f.is_wrong("keep") || f.has("keep") && delivery::keep(f).is_none() {
            continue;
        }
        let retained = f.flag("retained").is_some_and(|(yes, _)| *yes);
        let Some(numbering_bytes) = delivery::numbers_fit(r, f, retry.as_ref(), retained) else {
            continue;
        };
        if !f.has("priority") {
            r.unwritten(Unwritten::Priority);
        }
        let count = |key| f.count(key).and_then(|(bits, _)| u32::try_from(*bits).ok());
        line.topics.push(Topic {
            name: name.to_owned(),
            at: f.site,
            at_most: most(r, f),
            priority: f
                .count("priority")
                .map_or(PRIORITY, |(n, _)| u8::try_from(*n).unwrap_or(PRIORITY)),
            fields,
            schema_id: schema_id.map(|(id, _)| id),
            sequence_bits: count("sequence_bits"),
            starts_bits: count("starts_bits"),
            crc: f.flag("crc").is_some_and(|(yes, _)| *yes),
            size_bytes,
            numbering_bytes,
            retry,
            retained,
            keep: delivery::keep(f),
        });
    }
}

/// Tells what stands around fields where there are none, and a schema id that another topic has.
fn frame_fits(
    r: &mut Resolver<'_>,
    f: &Fields,
    schema_id: Option<(u8, Site)>,
    schemas: &mut BTreeMap<u8, Site>,
) -> bool {
    let around = ["schema_id", "sequence_bits", "starts_bits", "crc"];
    let key = around.into_iter().find(|key| f.has(key));
    if let Some(key) = key
        && f.has("size")
    {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of(key).unwrap_or(f.site),
                format!("`{key}` belongs to a packed payload"),
            )
            .label("this topic has none")
            .help("write `fields = [ ... ]` instead of `size`, or count it in the size and remove this key"),
        );
        return false;
    }
    if let Some((id, site)) = schema_id {
        if let Some(first) = schemas.get(&id) {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    site,
                    format!(
                        "two topics have the schema id {id}, by which they should be told apart"
                    ),
                )
                .label("again here")
                .related(*first, "first here"),
            );
            return false;
        }
        schemas.insert(id, site);
    }
    true
}

/// The most that may pass of something in a time: a whole number, or less than one.
pub(super) fn most(r: &mut Resolver<'_>, f: &Fields) -> Option<EventRate> {
    let (rate, site) = f.event_rate("at_most")?;
    if rate.count <= 0.0 {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                "at most none in a time lets nothing pass",
            )
            .label("nothing would ever pass")
            .help("write a limit above 0, or remove what it limits"),
        );
        return None;
    }
    if rate.count > 1.0 && rate.count.fract() != 0.0 {
        let mut mistake = Mistake::error(
            Code::OutOfRange,
            site,
            format!(
                "a limit that is enforced counts whole ones, not {}",
                rate.count
            ),
        )
        .label("not whole");
        let whole = (2..=100).find(|k| (rate.count * f64::from(*k)).fract() == 0.0);
        if let Some(times) = whole.map(f64::from) {
            let period = quantity::show(rate.per_s * times, quantity::Dimension::Time);
            mistake = mistake.help(format!("write \"{} per {period}\"", rate.count * times));
        }
        r.tell(mistake);
        return None;
    }
    Some(*rate)
}

/// Tells a payload that needs more packets than one message may have.
fn too_many_packets(r: &mut Resolver<'_>, size: Q, line: &Line) -> bool {
    let Some(traffic) = &line.traffic else {
        return false;
    };
    let packets = (size.si / f64::from(traffic.packet_bytes)).ceil();
    let too_many = packets > MOST_PACKETS;
    if too_many {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                size.at,
                format!("a message of this size is {packets} packets; at most {MOST_PACKETS} are followed"),
            )
            .label(format!("in packets of {} B", traffic.packet_bytes))
            .help("send it in parts, or write a larger `packet` in [traffic]"),
        );
    }
    too_many
}

pub(super) fn state(
    r: &mut Resolver<'_>,
    line: &Line,
    module: ModuleIx,
    name: &str,
    site: Site,
) -> Option<usize> {
    let m = &line.modules[module.0];
    let found = m.loads.iter().position(|l| l.state == name);
    if found.is_none() && !r.declared.has_state(&m.id, name) {
        let all = join(m.loads.iter().map(|l| l.state.as_str()));
        r.tell(
            Mistake::error(
                Code::NamesNothing,
                site,
                format!("`module.{}` has no state `{name}`", m.id),
            )
            .label("names nothing")
            .related(m.at, "the module")
            .help(format!("its states are: {all}")),
        );
    }
    found
}

pub(super) fn topic(r: &mut Resolver<'_>, line: &Line, name: &str, site: Site) -> Option<TopicIx> {
    let found = line.topics.iter().position(|t| t.name == name).map(TopicIx);
    if found.is_none() && !r.declared.has_topic(name) {
        let names = line.topics.iter().map(|t| t.name.as_str());
        let help = match quantity::nearest(name, names.clone()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("declare it as [topic.\"{name}\"]"),
        };
        r.tell(
            Mistake::error(
                Code::NamesNothing,
                site,
                format!("there is no topic `{name}`"),
            )
            .label("names nothing")
            .help(help),
        );
    }
    found
}
