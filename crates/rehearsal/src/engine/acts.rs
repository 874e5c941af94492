//! What behaviours do: publish, switch, send up, enter a state, log.

use plan::{BehaviourIx, OutputIx};
use timeline::{Class, Ns};

use super::content::Led;
use super::messages::passes;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::record::{FailSafeStep, KeptBack, RecordId, Refusal, Root, Silence, What};

impl Engine<'_> {
    /// A behaviour starts, unless its module, its routine or its limit keeps it from it.
    pub(super) fn act(
        &mut self,
        behaviour: BehaviourIx,
        led: &Led,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        self.acts(behaviour, led, parent, root)?;
        self.handled(behaviour, led);
        Ok(())
    }

    fn acts(
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
        if self.routines.stands(behaviour) {
            if let Some(parent) = parent {
                self.silent(led, parent, Silence::Stopped);
            }
            return Ok(());
        }
        let gate = self.routines.gate(behaviour);
        if let Some(limit) = &mut self.behaviour_limits[gate.0]
            && !passes(limit, self.now)
        {
            self.held_back[gate.0] += 1;
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
        if self.run_routine(behaviour, led, started, root)? {
            return Ok(());
        }
        for action in &b.actions {
            let deed = self.deed(behaviour, action, led)?;
            self.perform(behaviour, deed, led, started, root)?;
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

    /// Switches an output for good, or for a time after which it returns to what it rests at; not away from its fail-safe state where its timer has run out.
    pub(super) fn switch(
        &mut self,
        output: OutputIx,
        on: bool,
        for_time: Option<Ns>,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) {
        if self.held_safe(output).is_some_and(|safe_on| safe_on != on) {
            let what = FailSafeStep::Withholds;
            self.record(parent, root, What::FailSafe { output, what });
            return;
        }
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
