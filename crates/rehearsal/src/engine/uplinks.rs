//! The links ashore: messages queued, attempts and their luck, and the power that sending draws.

use std::collections::BTreeMap;

use assess::input::{ns, uplink_spec};
use chance::Stream;
use network::{Outcome as Attempted, Uplink, UplinkEvent, UplinkMessage};
use plan::{Line, ModuleIx, TopicIx, UplinkIx};
use timeline::{Class, Ns};

use super::outcome::UplinkCount;
use super::{Engine, Happening, Origin, place};
use crate::error::RehearsalError;
use crate::record::{RecordId, Root, What};

pub(super) struct UplinkNow {
    pub(super) uplink: Uplink,
    chance: Option<f64>,
    /// Name of the random stream that decides its attempts.
    stream: String,
    pub(super) origins: BTreeMap<u64, Origin>,
    pub(super) offered: u64,
    pub(super) count: UplinkCount,
    /// End of the attempt under way.
    pub(super) busy_until: Ns,
}

impl Engine<'_> {
    pub(super) fn uplink_error(
        &self,
        uplink: UplinkIx,
        source: network::UplinkError,
    ) -> RehearsalError {
        RehearsalError::Uplink {
            at: self.now,
            uplink: self.line.uplinks[uplink.0].id.clone(),
            source,
        }
    }

    pub(super) fn send_up(
        &mut self,
        uplink: UplinkIx,
        topic: TopicIx,
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let bytes = match &self.traffic {
            Some(t) => t.bytes[topic.0],
            None => assess::input::payload_bytes(&self.line.topics[topic.0])?,
        };
        let message = self.uplinks[uplink.0].offered;
        let record = self.record(
            Some(parent),
            root,
            What::Queued {
                uplink,
                message,
                bytes,
            },
        );
        let u = &mut self.uplinks[uplink.0];
        u.offered += 1;
        u.origins.insert(message, Origin { record, root });
        let offered = u
            .uplink
            .offer(self.now, UplinkMessage { id: message, bytes });
        offered.map_err(|source| self.uplink_error(uplink, source))
    }

    pub(super) fn step_uplink(&mut self, index: usize) -> Result<(), RehearsalError> {
        let uplink = UplinkIx(index);
        let module = self.line.uplinks[index].module;
        let works = self.modules[module.0].works();
        let seed = self.cues.seed;
        let mut events = Vec::new();
        let UplinkNow {
            uplink: link,
            chance,
            stream,
            ..
        } = &mut self.uplinks[index];
        link.step_asking(&mut events, |attempt| {
            let lucky = chance.is_none_or(|p| Stream::named(seed, stream, attempt).uniform() < p);
            if works && lucky {
                Attempted::Arrived
            } else {
                Attempted::Failed
            }
        });
        for event in events {
            let (message, what) = match event {
                UplinkEvent::Started { id, attempt, .. } => (
                    id,
                    What::Attempt {
                        uplink,
                        message: id,
                        attempt,
                    },
                ),
                UplinkEvent::Sent { id, billed, .. } => (
                    id,
                    What::Sent {
                        uplink,
                        message: id,
                        billed,
                    },
                ),
                UplinkEvent::Failed { id, attempt, .. } => (
                    id,
                    What::Failed {
                        uplink,
                        message: id,
                        attempt,
                    },
                ),
                UplinkEvent::Expired { id, .. } => (
                    id,
                    What::Expired {
                        uplink,
                        message: id,
                    },
                ),
            };
            let origin = self.uplinks[index].origins[&message];
            let record = self.record(Some(origin.record), origin.root, what);
            let now = &mut self.uplinks[index];
            match event {
                UplinkEvent::Started { .. } => self.sends(uplink, record, origin.root)?,
                UplinkEvent::Failed { .. } => {}
                UplinkEvent::Sent { billed, .. } => {
                    now.count.sent += 1;
                    now.count.billed += u64::from(billed);
                    now.origins.remove(&message);
                }
                UplinkEvent::Expired { .. } => {
                    now.count.expired += 1;
                    now.origins.remove(&message);
                }
            }
        }
        Ok(())
    }

    /// The module of an uplink draws its sending power for the length of an attempt.
    fn sends(
        &mut self,
        uplink: UplinkIx,
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let u = &self.line.uplinks[uplink.0];
        let (Some(state), true) = (u.sending_state, self.modules[u.module.0].works()) else {
            return Ok(());
        };
        self.enter(u.module, Some(state), Some(parent), root);
        let turn = self.modules[u.module.0].state_turn;
        let session = ns(|| format!("uplink.{}", u.id), u.session_s.si)?;
        self.uplinks[uplink.0].busy_until = self.now.checked_add(session).unwrap_or(self.end);
        if let Some(at) = self.now.checked_add(session) {
            self.queue.push(
                at,
                Class::Supply,
                place(u.module.0),
                Happening::StateBack {
                    module: u.module,
                    turn,
                    parent,
                    root,
                },
            );
        }
        Ok(())
    }

    /// The state of a module while one of its uplinks is still sending.
    pub(super) fn sending_state(&self, module: ModuleIx) -> Option<usize> {
        self.line
            .uplinks
            .iter()
            .zip(&self.uplinks)
            .find(|(plan, now)| plan.module == module && now.busy_until > self.now)
            .and_then(|(plan, _)| plan.sending_state)
    }
}

pub(super) fn uplink_now(line: &Line, ix: UplinkIx) -> Result<UplinkNow, RehearsalError> {
    let plan = &line.uplinks[ix.0];
    let Some(success) = plan.success else {
        return Err(RehearsalError::NotSaid {
            what: vec![format!(
                "uplink.{} says nothing of its chance of success",
                plan.id
            )],
        });
    };
    let uplink = Uplink::new(uplink_spec(line, ix)?).map_err(|source| RehearsalError::Uplink {
        at: Ns::ZERO,
        uplink: plan.id.clone(),
        source,
    })?;
    Ok(UplinkNow {
        uplink,
        chance: (success.si < 1.0).then_some(success.si),
        stream: format!("uplink/{}", plan.id),
        origins: BTreeMap::new(),
        offered: 0,
        count: UplinkCount::default(),
        busy_until: Ns::ZERO,
    })
}
