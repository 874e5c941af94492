//! The links ashore: messages queued, attempts and their luck, and the power that sending draws.

use std::collections::BTreeMap;
use std::sync::Arc;

use assess::input::{ns, success_at, uplink_spec};
use chance::Stream;
use network::{Outcome as Attempted, Uplink, UplinkEvent, UplinkMessage};
use plan::{CueSheet, Line, ModuleIx, TopicIx, UplinkIx};
use timeline::Ns;

use super::outcome::UplinkCount;
use super::{Engine, Origin};
use crate::error::RehearsalError;
use crate::record::{Content, RecordId, Root, What};

pub(super) struct UplinkNow {
    pub(super) uplink: Uplink,
    chance: Option<f64>,
    /// Name of the random stream that decides its attempts.
    stream: String,
    waiting: BTreeMap<u64, Waiting>,
    pub(super) offered: u64,
    pub(super) count: UplinkCount,
}

/// A message that waits for the shore.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    origin: Origin,
    /// Attempts begun to send it.
    attempts: u64,
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
        content: Option<Arc<Content>>,
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
                topic,
                message,
                bytes,
                content,
            },
        );
        let u = &mut self.uplinks[uplink.0];
        u.offered += 1;
        u.waiting.insert(
            message,
            Waiting {
                origin: Origin {
                    record,
                    root,
                    heard: None,
                },
                attempts: 0,
            },
        );
        let offered = UplinkMessage {
            id: message,
            bytes,
            priority: self.line.topics[topic.0].priority,
        };
        let dropped = u
            .uplink
            .offer(self.now, offered)
            .map_err(|source| self.uplink_error(uplink, source))?;
        if let Some(gone) = dropped {
            let now = &mut self.uplinks[uplink.0];
            now.count.dropped += 1;
            let Waiting { origin, .. } = now
                .waiting
                .remove(&gone.id)
                .expect("an uplink drops only messages that wait");
            let message = gone.id;
            self.record(
                Some(origin.record),
                origin.root,
                What::NoRoom { uplink, message },
            );
        }
        Ok(())
    }

    pub(super) fn step_uplink(&mut self, index: usize) -> Result<(), RehearsalError> {
        let uplink = UplinkIx(index);
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
            if lucky {
                Attempted::Arrived
            } else {
                Attempted::Failed
            }
        });
        for event in events {
            self.uplink_event(uplink, event)?;
        }
        Ok(())
    }

    /// Records what an uplink tells. The uplink numbers its attempts over its life; the records number those of each message.
    fn uplink_event(&mut self, uplink: UplinkIx, event: UplinkEvent) -> Result<(), RehearsalError> {
        let message = match event {
            UplinkEvent::Started { id, .. }
            | UplinkEvent::Sent { id, .. }
            | UplinkEvent::Failed { id, .. }
            | UplinkEvent::Expired { id, .. } => id,
            UplinkEvent::CapReached { billed, .. } => {
                self.uplinks[uplink.0].count.months_capped += 1;
                self.record(None, None, What::CapReached { uplink, billed });
                return Ok(());
            }
        };
        let now = &mut self.uplinks[uplink.0];
        let waiting = now
            .waiting
            .get_mut(&message)
            .expect("an uplink tells only of messages that wait");
        if matches!(event, UplinkEvent::Started { .. }) {
            waiting.attempts += 1;
        }
        let Waiting { origin, attempts } = *waiting;
        let what = match event {
            UplinkEvent::Started { .. } => What::Attempt {
                uplink,
                message,
                attempt: attempts,
            },
            UplinkEvent::Failed { billed, .. } => {
                now.count.billed += u64::from(billed);
                What::Failed {
                    uplink,
                    message,
                    attempt: attempts,
                }
            }
            UplinkEvent::Sent { billed, .. } => {
                now.count.sent += 1;
                now.count.billed += u64::from(billed);
                now.waiting.remove(&message);
                What::Sent {
                    uplink,
                    message,
                    billed,
                }
            }
            UplinkEvent::Expired { .. } => {
                now.count.expired += 1;
                now.waiting.remove(&message);
                What::Expired { uplink, message }
            }
            UplinkEvent::CapReached { .. } => unreachable!("told above"),
        };
        let record = self.record(Some(origin.record), origin.root, what);
        if matches!(event, UplinkEvent::Started { .. }) {
            self.sends(uplink, record, origin.root)?;
        }
        Ok(())
    }

    /// A module stops: what its uplinks are sending fails, and they try nothing until it works again.
    pub(super) fn stop_uplinks(&mut self, module: ModuleIx) -> Result<(), RehearsalError> {
        for index in self.uplinks_at(module) {
            let mut events = Vec::new();
            let uplink = UplinkIx(index);
            self.uplinks[index]
                .uplink
                .stop(self.now, &mut events)
                .map_err(|source| self.uplink_error(uplink, source))?;
            for event in events {
                self.uplink_event(uplink, event)?;
            }
        }
        Ok(())
    }

    /// A module works again: its uplinks try with no failures behind them.
    pub(super) fn start_uplinks(&mut self, module: ModuleIx) -> Result<(), RehearsalError> {
        for index in self.uplinks_at(module) {
            self.uplinks[index]
                .uplink
                .start(self.now)
                .map_err(|source| self.uplink_error(UplinkIx(index), source))?;
        }
        Ok(())
    }

    fn uplinks_at(&self, module: ModuleIx) -> Vec<usize> {
        let all = self.line.uplinks.iter().enumerate();
        all.filter(|(_, plan)| plan.module == module)
            .map(|(index, _)| index)
            .collect()
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
        let session = ns(|| format!("uplink.{}", u.id), u.attempt_s())?;
        self.wish(u.module, state, session, parent, root);
        Ok(())
    }
}

/// An uplink in the sea of the cue sheet.
pub(super) fn uplink_now(
    line: &Line,
    cues: &CueSheet,
    ix: UplinkIx,
) -> Result<UplinkNow, RehearsalError> {
    let plan = &line.uplinks[ix.0];
    let wave_height_m = cues.wave_height_m.map(|q| q.si);
    let success = success_at(plan, cues.wind_m_s.si, wave_height_m).map_err(|error| {
        RehearsalError::NotSaid {
            what: vec![error.to_string()],
        }
    })?;
    let uplink = Uplink::new(uplink_spec(line, ix)?).map_err(|source| RehearsalError::Uplink {
        at: Ns::ZERO,
        uplink: plan.id.clone(),
        source,
    })?;
    Ok(UplinkNow {
        uplink,
        chance: (success < 1.0).then_some(success),
        stream: format!("uplink/{}", plan.id),
        waiting: BTreeMap::new(),
        offered: 0,
        count: UplinkCount::default(),
    })
}
