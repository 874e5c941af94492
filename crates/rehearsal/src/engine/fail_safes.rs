//! Outputs that go to their fail-safe state by themselves when those who may ask for them have not been heard for a time.
//!
//! An output has a timer for each module that has a part in asking for it and whose heartbeats its own module hears; with nobody to be heard it has one
//! that nothing winds up. A timer begins when its module begins to work, and anew with each heartbeat; it needs no program, and runs on
//! while its module hangs. It runs out at the end of its time, before a heartbeat that comes at that very instant. As long as one of them has run out the output
//! is in its fail-safe state whatever it is told; afterwards it stays so until it is told otherwise.

use assess::input::ns;
use assess::wound_up;
use plan::{Line, ModuleIx, OutputIx, TopicIx};
use timeline::{Class, Ns};

use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::record::{FailSafeStep, RecordId, What};

/// A timer of an output.
#[derive(Clone, Debug)]
pub(super) struct Timer {
    output: OutputIx,
    /// Whose heartbeats wind it up.
    by: Option<ModuleIx>,
    within: Ns,
    safe_on: bool,
    has_run_out: bool,
    /// Goes up as it is wound up or stops, so that what was to come of it is void.
    turn: u32,
}

/// All of them, in the order of outputs.
pub(super) fn timers(line: &Line) -> Result<Vec<Timer>, RehearsalError> {
    let mut all = Vec::new();
    for wound in wound_up(line)? {
        let output = wound.output;
        let own = &line.modules[output.module.0].outputs[output.output];
        // A plan that says the time says the state.
        let (Some(within_s), Some(safe_on)) = (own.fails_safe_within_s, own.fail_safe_on) else {
            continue;
        };
        let within = ns(|| line.output_path(output), within_s.si)?;
        let by = match wound.by.is_empty() {
            true => vec![None],
            false => wound.by.into_iter().map(Some).collect(),
        };
        all.extend(by.into_iter().map(|by| Timer {
            output,
            by,
            within,
            safe_on,
            has_run_out: false,
            turn: 0,
        }));
    }
    Ok(all)
}

impl Engine<'_> {
    /// At the beginning: the timers of modules that work.
    pub(super) fn wind_up_all(&mut self) {
        for m in 0..self.modules.len() {
            if self.modules[m].works() {
                self.wind_up_own(ModuleIx(m), None);
            }
        }
    }

    /// A module begins to work.
    pub(super) fn wind_up_own(&mut self, module: ModuleIx, parent: Option<RecordId>) {
        for timer in 0..self.timers.len() {
            if self.timers[timer].output.module == module {
                self.wind_up(timer, parent);
            }
        }
    }

    /// A module loses its power, and its timers with it.
    pub(super) fn stop_timers(&mut self, module: ModuleIx) {
        let own = |t: &&mut Timer| t.output.module == module;
        for timer in self.timers.iter_mut().filter(own) {
            timer.turn += 1;
            timer.has_run_out = false;
        }
    }

    /// A message has reached a module; if it is a heartbeat it winds up what waits for it there.
    pub(super) fn heartbeat(
        &mut self,
        from: ModuleIx,
        topic: TopicIx,
        at: ModuleIx,
        delivered: RecordId,
    ) {
        let own = self.line.modules[from.0].heartbeat;
        if own.is_none_or(|h| h.topic != topic) {
            return;
        }
        for timer in 0..self.timers.len() {
            let Timer {
                output,
                by,
                has_run_out,
                ..
            } = self.timers[timer];
            if output.module != at || by != Some(from) {
                continue;
            }
            self.wind_up(timer, Some(delivered));
            if has_run_out && self.held_safe(output).is_none() {
                let what = FailSafeStep::Over;
                self.record(Some(delivered), None, What::FailSafe { output, what });
            }
        }
    }

    fn wind_up(&mut self, timer: usize, parent: Option<RecordId>) {
        let now = &mut self.timers[timer];
        now.turn += 1;
        now.has_run_out = false;
        let (turn, module) = (now.turn, now.output.module);
        if let Some(at) = self.now.checked_add(now.within) {
            let runs_out = Happening::RunsOut {
                timer,
                turn,
                parent,
            };
            self.queue
                .push(at, Class::Supply, place(module.0), runs_out);
        }
    }

    pub(super) fn runs_out(&mut self, timer: usize, turn: u32, parent: Option<RecordId>) {
        let now = &mut self.timers[timer];
        if now.turn != turn {
            return;
        }
        now.has_run_out = true;
        let Timer {
            output,
            by: silent,
            safe_on,
            ..
        } = *now;
        let what = FailSafeStep::RunsOut { silent };
        let told = self.record(parent, None, What::FailSafe { output, what });
        self.switch(output, safe_on, None, Some(told), None);
    }

    /// The state in which a timer that has run out holds an output.
    pub(super) fn held_safe(&self, output: OutputIx) -> Option<bool> {
        let mut own = self.timers.iter().filter(|t| t.output == output);
        own.find(|t| t.has_run_out).map(|t| t.safe_on)
    }
}
