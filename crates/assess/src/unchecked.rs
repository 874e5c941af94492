//! Topics whose damage on the way nobody would notice: carriers without a check of their own, and payloads without a CRC.
//!
//! Ethernet and CAN frames end with a check (IEEE 802.3, ISO 11898), modems' frames do by common practice, and a stack with UDP has its checksum (RFC 768, from
//! memory). Of packed fields a warning stands at the topic, too.

use std::collections::BTreeMap;

use network::Medium;
use plan::{Action, LINKS_WITHOUT_CHECK, Line};

use crate::input::{Carrier, streams, traffic};

/// What is to be said of them, a sentence for each carrier.
pub(crate) fn unchecked(line: &Line) -> Vec<String> {
    let mut all: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for behaviour in &line.behaviours {
        for action in &behaviour.actions {
            if let Action::SendUp { uplink, topic, .. } = action {
                let (u, t) = (&line.uplinks[uplink.0], &line.topics[topic.0]);
                if !u.checked && !t.crc {
                    add(&mut all, format!("uplink.{}", u.id), &t.name);
                }
            }
        }
    }
    over_links(line, &mut all);
    all.into_iter()
        .map(|(carrier, topics)| {
            let way = match carrier.starts_with("uplink") {
                true => "`checked = true` where the service finds damaged messages itself",
                false => "a stack with udp, or a size that counts a check of its own",
            };
            format!(
                "whether damage on the way is noticed: {carrier} has no check of its own, and these topics have none either: {}; `crc = true` adds one to packed fields, or {way}",
                topics.join(", ")
            )
        })
        .collect()
}

fn add<'l>(all: &mut BTreeMap<String, Vec<&'l str>>, carrier: String, topic: &'l str) {
    let topics = all.entry(carrier).or_default();
    if !topics.contains(&topic) {
        topics.push(topic);
    }
}

/// Topics that cross serial links; none where the links cannot be worked out, which other verdicts tell.
fn over_links<'l>(line: &'l Line, all: &mut BTreeMap<String, Vec<&'l str>>) {
    if line
        .traffic
        .as_ref()
        .is_none_or(|t| t.stack.iter().any(|layer| layer == "udp"))
    {
        return;
    }
    let Ok(Some(traffic)) = traffic(line) else {
        return;
    };
    let Ok(streams) = streams(line, &traffic) else {
        return;
    };
    for ((_, topic), flow) in streams.of.iter().zip(&streams.flows) {
        let topic = &line.topics[topic.0];
        if topic.crc {
            continue;
        }
        for target in &flow.targets {
            let Some(route) = traffic.topology.route(flow.node, *target) else {
                continue;
            };
            for (medium, _) in route {
                let carrier = match medium {
                    Medium::Link(l) => Carrier::Span(traffic.link_spans[l]),
                    Medium::Bus(b) => traffic.shared[b],
                };
                let link = match carrier {
                    Carrier::Span(s) => line.spans[s.0].link.as_ref(),
                    Carrier::Bus(b) => Some(&line.buses[b.0].link),
                };
                if link.is_some_and(|l| LINKS_WITHOUT_CHECK.contains(&l.standard.as_str())) {
                    add(all, carrier.path(line), &topic.name);
                }
            }
        }
    }
}
