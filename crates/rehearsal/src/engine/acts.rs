//! What behaviours do: publish, switch, send up, enter a state, log.

use assess::input::ns;
use plan::{Action, BehaviourIx, OutputIx};
use timeline::{Class, Ns};

use super::content::Led;
use super::messages::passes;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::record::{KeptBack, RecordId, Refusal, Root, What};

impl Engine<'_> {
    pub(super) fn act(
        &mut self,
        behaviour: BehaviourIx,
        led: &Led,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let b = &self.line.behaviours[behaviour.0];
        if !self.modules[b.on.0].works() {
            self.idle(behaviour, parent, root);
            return Ok(());
        }
        if let Some(limit) = &mut self.behaviour_limits[behaviour.0]
            && !passes(limit, self.now)
        {
            self.record(
                parent,
                root,
                What::Refused {
                    what: KeptBack::Behaviour(behaviour),
                    why: Refusal::Behaviour,
                },
            );
            return Ok(());
        }
        let started = self.record(parent, root, What::Started { behaviour });
        for action in &b.actions {
            match action {
                Action::Publish { topic, values } => {
                    let by = KeptBack::Behaviour(behaviour);
                    let values = values.as_ref();
                    let values = values.and_then(|v| self.fill(b.on, *topic, v, led));
                    self.publish(b.on, *topic, values.as_deref(), by, Some(started), root)?;
                }
                Action::Switch { output, on, for_s } => {
                    let for_s = for_s
                        .map(|q| ns(|| format!("behaviour.{}", b.id), q.si))
                        .transpose()?;
                    self.switch(*output, *on, for_s, Some(started), root);
                }
                Action::SendUp {
                    uplink,
                    topic,
                    values,
                } => {
                    let content = match (values, led) {
                        (Some(values), _) => {
                            let values = self.fill(b.on, *topic, values, led);
                            let content = self.packed(b.on, *topic, values.as_deref())?;
                            *self.sequences.entry((b.on.0, topic.0)).or_insert(0) += 1;
                            content
                        }
                        // Without values of its own it sends on what it was told.
                        (None, Led::Told { topic: t, content }) if t == topic => content.clone(),
                        (None, _) => None,
                    };
                    self.send_up(*uplink, *topic, content, started, root)?;
                }
                Action::Enter { state, for_s } => {
                    let time = ns(|| format!("behaviour.{}", b.id), for_s.si)?;
                    self.wish(b.on, *state, time, started, root);
                }
                Action::Ask { request } => self.ask(behaviour, *request, started, root)?,
                Action::Answer { .. } => self.answer(behaviour, led, started)?,
                Action::Log { text } => {
                    self.record(
                        Some(started),
                        root,
                        What::Logged {
                            module: b.on,
                            text: text.clone(),
                        },
                    );
                }
            }
        }
        Ok(())
    }

    /// A behaviour does not run because its module does not work. With nothing else that led to it, the cause is what stopped
    /// the module; one cause is told once.
    fn idle(&mut self, behaviour: BehaviourIx, parent: Option<RecordId>, root: Option<Root>) {
        let module = self.line.behaviours[behaviour.0].on;
        let cause = parent.or(self.modules[module.0].stopped_by);
        if self.idle_told[behaviour.0] == cause {
            return;
        }
        self.idle_told[behaviour.0] = cause;
        let refused = What::Refused {
            what: KeptBack::Behaviour(behaviour),
            why: Refusal::NotWorking,
        };
        self.record(cause, root, refused);
    }

    /// Switches an output for good, or for a time after which it returns to what it rests at.
    pub(super) fn switch(
        &mut self,
        output: OutputIx,
        on: bool,
        for_time: Option<Ns>,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) {
        let m = &mut self.modules[output.module.0];
        m.output_turns[output.output] += 1;
        let turn = m.output_turns[output.output];
        let changes = m.outputs_on[output.output] != on;
        m.outputs_on[output.output] = on;
        if for_time.is_none() {
            m.outputs_rest[output.output] = on;
        }
        let what = if changes {
            self.dirty = true;
            What::Switched { output, on }
        } else {
            What::Stays { output, on }
        };
        let parent = self.record(parent, root, what);
        if let Some(time) = for_time
            && let Some(at) = self.now.checked_add(time)
        {
            self.queue.push(
                at,
                Class::Supply,
                place(output.module.0),
                Happening::OutputBack {
                    output,
                    turn,
                    parent,
                    root,
                },
            );
        }
    }
}
