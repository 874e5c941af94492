//! Packed payloads whose damage on the way nobody would notice: neither they nor a link on their way have a check. (Uplinks, whose services mostly do, stay with
//! what `check` calls still open.)

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::Resolver;
use crate::line::{Action, Line, Link, ModuleIx, Traffic, When};
use crate::mistake::{Code, Mistake};
use crate::read::join;
use crate::topic_name;

/// Links whose frames end with no check: TIA-485 and TIA-232 carry bare characters, SDI-12 characters with a parity bit, and of a free link the plan says nothing.
pub const LINKS_WITHOUT_CHECK: &[&str] = &["TIA-485", "TIA-232", "SDI-12", "free"];

/// Warns of them. Of several ways through a mesh the one over the fewest spans counts.
pub(super) fn unchecked(r: &mut Resolver<'_>, line: &Line) {
    let of_udp = |t: &Traffic| t.stack.iter().any(|layer| layer == "udp");
    if line.traffic.as_ref().is_none_or(of_udp)
        || r.declared.lost("behaviour", line.behaviours.len())
    {
        return;
    }
    let mut bare: BTreeMap<usize, BTreeSet<String>> = BTreeMap::new();
    for b in &line.behaviours {
        for action in &b.actions {
            if let Action::Publish { topic, .. } = action {
                let name = &line.topics[topic.0].name;
                let hears = |when: &When| matches!(when, When::Told { filter } if topic_name::matches(filter, name));
                for hearer in line.behaviours.iter().filter(|h| hears(&h.when)) {
                    let carriers = bare.entry(topic.0).or_default();
                    carriers.extend(carriers_between(line, b.on, hearer.on));
                }
            }
        }
    }
    for (topic, carriers) in bare {
        let topic = &line.topics[topic];
        // Of a size nobody knows what it holds; a check may be among it.
        if topic.crc || topic.fields.is_empty() || carriers.is_empty() {
            continue;
        }
        r.part = format!("topic.\"{}\"", topic.name);
        r.tell(
            Mistake::warning(
                Code::NoCheck,
                topic.at,
                format!(
                    "nobody would notice damage on the way of `{}`: {} {} no check of {} own",
                    topic.name,
                    join(carriers.iter().map(String::as_str)),
                    if carriers.len() == 1 { "has" } else { "have" },
                    if carriers.len() == 1 { "its" } else { "their" }
                ),
            )
            .label("nor have these fields")
            .help(
                "add `crc = true` to the topic, or take a stack with udp, whose checksum sees it",
            ),
        );
    }
}

/// The carriers without a check on the way from one module to another.
fn carriers_between(line: &Line, from: ModuleIx, to: ModuleIx) -> BTreeSet<String> {
    let mut came_by: Vec<Option<usize>> = vec![None; line.modules.len()];
    let mut reached = VecDeque::from([from]);
    while let Some(at) = reached.pop_front() {
        for (index, span) in line.spans.iter().enumerate() {
            let next = match (span.from == at, span.to == at) {
                (true, _) => span.to,
                (_, true) => span.from,
                _ => continue,
            };
            let carries = span.link.is_some() || span.bus.is_some();
            if carries && next != from && came_by[next.0].is_none() {
                came_by[next.0] = Some(index);
                reached.push_back(next);
            }
        }
    }
    let bare = |link: &Link| LINKS_WITHOUT_CHECK.contains(&link.standard.as_str());
    let mut carriers = BTreeSet::new();
    let mut at = to;
    while let Some(index) = came_by[at.0] {
        let span = &line.spans[index];
        match (&span.link, span.bus) {
            (Some(link), _) if bare(link) => {
                carriers.insert(format!("span.{}", span.id));
            }
            (None, Some(bus)) if bare(&line.buses[bus.0].link) => {
                carriers.insert(format!("bus.{}", line.buses[bus.0].id));
            }
            _ => {}
        }
        at = if span.from == at { span.to } else { span.from };
    }
    carriers
}
