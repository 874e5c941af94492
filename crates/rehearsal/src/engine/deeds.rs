//! The closed set of what behaviours do. Rules and routines yield the same deeds, and these are done in one place.

use assess::input::ns;
use network::Value;
use plan::{Action, BehaviourIx, DetectorIx, OutputIx, RequestIx, TopicIx, UplinkIx};
use timeline::Ns;

use super::Engine;
use super::content::{Led, Of};
use crate::error::RehearsalError;
use crate::record::{KeptBack, RecordId, Root, What};

/// What is done now, with all that it needs.
#[derive(Clone, Debug)]
pub(super) enum Deed {
    Publish {
        topic: TopicIx,
        values: Option<Vec<Value>>,
    },
    Switch {
        output: OutputIx,
        on: bool,
        for_time: Option<Ns>,
    },
    SendUp {
        uplink: UplinkIx,
        topic: TopicIx,
        /// Whether it has values of its own; without them it sends on what it was told.
        own: bool,
        values: Option<Vec<Value>>,
    },
    Enter {
        state: usize,
        for_time: Ns,
    },
    Ask {
        request: RequestIx,
        values: Option<Vec<Value>>,
    },
    Answer {
        values: Option<Vec<Value>>,
    },
    Set {
        detector: DetectorIx,
        threshold_db: Option<f64>,
        hold_off_s: Option<f64>,
    },
    Log {
        text: String,
    },
}

impl Engine<'_> {
    /// The deed that an action of a rule is, for what led to it.
    pub(super) fn deed(
        &self,
        behaviour: BehaviourIx,
        action: &Action,
        led: &Led,
    ) -> Result<Deed, RehearsalError> {
        let b = &self.line.behaviours[behaviour.0];
        let time = |seconds: f64| ns(|| format!("behaviour.{}", b.id), seconds);
        Ok(match action {
            Action::Publish { topic, values } => Deed::Publish {
                topic: *topic,
                values: values
                    .as_ref()
                    .and_then(|v| self.fill(b.on, Of::Topic(*topic), v, led)),
            },
            Action::Switch { output, on, for_s } => Deed::Switch {
                output: *output,
                on: *on,
                for_time: for_s.map(|q| time(q.si)).transpose()?,
            },
            Action::SendUp {
                uplink,
                topic,
                values,
            } => Deed::SendUp {
                uplink: *uplink,
                topic: *topic,
                own: values.is_some(),
                values: values
                    .as_ref()
                    .and_then(|v| self.fill(b.on, Of::Topic(*topic), v, led)),
            },
            Action::Enter { state, for_s } => Deed::Enter {
                state: *state,
                for_time: time(for_s.si)?,
            },
            Action::Ask { request, values } => Deed::Ask {
                request: *request,
                values: values
                    .as_ref()
                    .and_then(|v| self.fill(b.on, Of::Question(*request), v, led)),
            },
            Action::Answer { request, values } => Deed::Answer {
                values: values
                    .as_ref()
                    .and_then(|v| self.fill(b.on, Of::Answer(*request), v, led)),
            },
            Action::Set {
                detector,
                threshold_db,
                hold_off_s,
            } => Deed::Set {
                detector: *detector,
                threshold_db: *threshold_db,
                hold_off_s: *hold_off_s,
            },
            Action::Log { text } => Deed::Log { text: text.clone() },
        })
    }

    pub(super) fn perform(
        &mut self,
        behaviour: BehaviourIx,
        deed: Deed,
        led: &Led,
        started: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let on = self.line.behaviours[behaviour.0].on;
        match deed {
            Deed::Publish { topic, values } => {
                let by = KeptBack::Behaviour(behaviour);
                self.publish(on, topic, values.as_deref(), by, Some(started), root)?;
            }
            Deed::Switch {
                output,
                on,
                for_time,
            } => self.switch(output, on, for_time, Some(started), root),
            Deed::SendUp {
                uplink,
                topic,
                own,
                values,
            } => {
                let content = match led {
                    _ if own => {
                        let content = self.packed(on, topic, values.as_deref())?;
                        *self.sequences.entry((on.0, topic.0)).or_insert(0) += 1;
                        content
                    }
                    Led::Told { topic: t, content } if *t == topic => content.clone(),
                    _ => None,
                };
                self.send_up(uplink, topic, content, started, root)?;
            }
            Deed::Enter { state, for_time } => self.wish(on, state, for_time, started, root),
            Deed::Ask { request, values } => {
                self.ask(behaviour, request, values.as_deref(), started, root)?;
            }
            Deed::Answer { values } => {
                self.answer(behaviour, led, values.as_deref(), started)?;
            }
            Deed::Set {
                detector,
                threshold_db,
                hold_off_s,
            } => self.set_detector(detector, (threshold_db, hold_off_s), started, root)?,
            Deed::Log { text } => {
                self.routines.logs_line(behaviour, self.now, &text);
                self.record(Some(started), root, What::Logged { module: on, text });
            }
        }
        Ok(())
    }
}
