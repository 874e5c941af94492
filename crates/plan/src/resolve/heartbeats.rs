//! Heartbeats of modules: each becomes a behaviour of its module, so that what it asks of links, uplink and time counts as that of any other.

use super::behaviours::own_module;
use super::talk::topic;
use super::{Resolver, ix_of};
use crate::line::{Action, Behaviour, Heartbeat, Line, ModuleIx, SensorIx, UplinkIx, When};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn heartbeats(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("module") {
        let Some((t, at)) = f.table("heartbeat") else {
            continue;
        };
        let Some(module) = line.module_by_id(id) else {
            continue;
        };
        r.part = format!("module.{id}");
        let own_id = format!("heartbeat-{id}");
        if let Some(taken) = line.behaviours.iter().find(|b| b.id == own_id) {
            let taken = taken.at;
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    at,
                    format!(
                        "a heartbeat is a behaviour `{own_id}` of its module, and there is one"
                    ),
                )
                .label("this heartbeat")
                .related(taken, "this behaviour has the id"),
            );
            continue;
        }
        let Some((name, site)) = t.text("topic") else {
            continue;
        };
        let (Some(topic), Some(every_s)) = (topic(r, line, name, site), t.q("every")) else {
            continue;
        };
        if let Some(other) = line
            .modules
            .iter()
            .find(|m| m.heartbeat.is_some_and(|h| h.topic == topic))
        {
            let first = other.heartbeat.map_or(at, |h| h.at);
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    site,
                    "two modules whose heartbeats have one topic cannot be told apart",
                )
                .label("again here")
                .related(first, format!("this is the topic of module.{}", other.id))
                .help(format!("give each its own, for example \"health/{id}\"")),
            );
            continue;
        }
        let Some(by) = uplink(r, line, module, t) else {
            continue;
        };
        let Some(levels) = levels(r, line, t) else {
            continue;
        };
        let mut actions = vec![Action::Publish {
            topic,
            values: None,
        }];
        if let Some(uplink) = by {
            actions.push(Action::SendUp {
                uplink,
                topic,
                values: None,
            });
        }
        line.behaviours.push(Behaviour {
            id: own_id,
            at,
            on: module,
            when: When::Each { period_s: every_s },
            actions,
            routine: None,
            at_most: None,
        });
        line.modules[module.0].heartbeat_levels = levels;
        line.modules[module.0].heartbeat = Some(Heartbeat {
            at,
            topic,
            every_s,
            by,
        });
    }
    line.behaviours.sort_by(|a, b| a.id.cmp(&b.id));
}

/// The hydrophones behind `levels`.
fn levels(r: &mut Resolver<'_>, line: &Line, t: &Fields) -> Option<Vec<SensorIx>> {
    let Some((paths, _)) = t.references("levels") else {
        return (!t.has("levels")).then(Vec::new);
    };
    let mut levels = Vec::new();
    for (kind, path, site) in paths {
        if !r.names(*kind, path, *site) {
            return None;
        }
        let found = line.hydrophones().find(|s| line.sensor_path(*s) == *path);
        let Some(sensor) = found else {
            r.tell(
                Mistake::error(
                    Code::BadReference,
                    *site,
                    format!("`{path}` is no hydrophone, so there is no level of the sea in it"),
                )
                .label("another kind of sensor"),
            );
            return None;
        };
        levels.push(sensor);
    }
    levels.sort_unstable();
    levels.dedup();
    Some(levels)
}

/// The uplink behind `by`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
fn uplink(
    r: &mut Resolver<'_>,
    line: &Line,
    module: ModuleIx,
    t: &Fields,
) -> Option<Option<UplinkIx>> {
    if !t.has("by") {
        return Some(None);
    }
    let (_, path, site) = r.reference(t, "by")?;
    let uplink = ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?;
    own_module(
        r,
        line,
        module,
        line.uplinks[uplink.0].module,
        site,
        "an uplink is used by its own module",
    )?;
    Some(Some(uplink))
}
