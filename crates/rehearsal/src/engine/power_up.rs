//! The whole line comes up: at the first instant all supplies come on, and each module switches on and boots when the start that `check` and `soundline start` follow says so
//! (capacitors, current limits, lock-outs, `wakes_after`). Until all have booted, no voltage is watched here: that start has it; then the rules of a rehearsal go on.

use assess::input::{ns, startup};
use assess::start;
use plan::{CueSheet, DetectorIx, Line, ModuleIx};
use timeline::{Class, Ns};

use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::modules::Life;
use crate::record::{RecordId, What};

/// A start that leads to a line at work.
pub(super) struct PowerUp {
    /// When each module switches on, or falls out again, in order.
    switchings: Vec<(Ns, ModuleIx, bool)>,
    /// When all have booted.
    ready: Ns,
}

/// The start of the line, if the cue sheet begins with one.
///
/// # Errors
/// [`RehearsalError::DoesNotStart`], and what the start needs and the plan does not say.
pub(super) fn power_up(line: &Line, cues: &CueSheet) -> Result<Option<PowerUp>, RehearsalError> {
    if !cues.begins_switched_on {
        return Ok(None);
    }
    let contacts = super::contacts(cues);
    let not_known = |why: String| RehearsalError::DoesNotStart { why };
    let found = start(line, contacts, None).map_err(|e| not_known(e.to_string()))?;
    let Some(ready_s) = found.ready_s else {
        return Err(not_known(found.told));
    };
    let ready = ns(|| "the start".to_owned(), ready_s)?;
    let mut what = Vec::new();
    for (module, _) in startup(line, contacts)?.resistors {
        what.push(format!(
            "{} draws like a resistor: from when on it works in a start is not followed",
            line.module_path(module)
        ));
    }
    for fault in cues.faults.iter().filter(|f| f.at_s.si <= ready_s) {
        what.push(format!(
            "fault.{} begins before all modules have booted, at {ready_s:.3} s: a start that is disturbed is not followed",
            fault.id
        ));
    }
    if !what.is_empty() {
        return Err(RehearsalError::NotSaid { what });
    }
    let mut switchings = Vec::new();
    for m in &found.modules {
        let module = (0..line.modules.len()).map(ModuleIx);
        let module = module.filter(|ix| line.module_path(*ix) == m.path);
        for module in module {
            let times = [(&m.switched_on_s, true), (&m.fell_out_s, false)];
            for (all, on) in times {
                for at_s in all {
                    switchings.push((ns(|| m.path.clone(), *at_s)?, module, on));
                }
            }
        }
    }
    switchings.sort_unstable_by_key(|s| (s.0, s.1));
    Ok(Some(PowerUp { switchings, ready }))
}

impl Engine<'_> {
    /// At the first instant: every module that hangs on a supply is off, and what follows has its time.
    pub(super) fn switch_on(&mut self, up: PowerUp) -> Result<(), RehearsalError> {
        let comes_on = self.record(None, None, What::ComesOn);
        for (m, module) in self.line.modules.iter().enumerate() {
            if module.input.is_none() {
                continue;
            }
            let ix = ModuleIx(m);
            let now = &mut self.modules[m];
            now.life = Life::Off;
            now.told_down = true;
            now.outputs_on.fill(false);
            now.stopped_by = Some(comes_on);
            self.came.is_off(ix);
            self.ears.stop(ix);
        }
        for (d, detector) in self.line.detectors.iter().enumerate() {
            if self.line.modules[detector.on.module.0].input.is_some() {
                self.silence(DetectorIx(d));
            }
        }
        for (at, module, on) in up.switchings {
            let switches = Happening::Switches {
                module,
                on,
                parent: comes_on,
            };
            self.queue
                .push(at, Class::Supply, place(module.0), switches);
        }
        // Behind the last boot, which is of the same class.
        self.rising_until = Some(up.ready);
        self.queue
            .push(up.ready, Class::Settle, 0, Happening::AllBooted);
        self.dirty = true;
        self.reach_nodes()
    }

    /// Whether the line still comes up.
    pub(super) fn rises(&self) -> bool {
        self.rising_until.is_some()
    }

    pub(super) fn all_booted(&mut self) {
        self.rising_until = None;
        self.dirty = true;
    }

    /// A module switches on in a start, or falls out again.
    pub(super) fn switches(
        &mut self,
        module: ModuleIx,
        on: bool,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        if !on {
            self.modules[module.0].life = Life::Off;
            self.dirty = true;
            return self.stopped(module, super::lives::Stop::NoPower, parent);
        }
        if self.line.modules[module.0].boot.is_some() {
            let first = !self.modules[module.0].has_been_on;
            self.boot(module, parent)?;
            // To come on for the first time is no restart.
            self.modules[module.0].restarts -= u32::from(first);
            self.modules[module.0].has_been_on = true;
            return Ok(());
        }
        // Nothing boots in a housing that has no loads.
        let m = &mut self.modules[module.0];
        m.life = Life::Works;
        m.told_down = false;
        self.dirty = true;
        let up = self.record(Some(parent), None, What::Up { module });
        self.outputs_start(module, up);
        self.start_uplinks(module)?;
        self.reach_nodes()
    }
}
