//! Modules trip, stop, wake, boot and listen again.

use assess::input::ns;
use plan::{DetectorIx, ModuleIx, OutputIx, RestartBy};
use timeline::Class;

use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::modules::Life;
use crate::record::{RecordId, What};

/// Restarts of one module without a fault after which the rehearsal gives up.
const MOST_RESTARTS: u32 = 200;

/// Why a module stops.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Stop {
    /// Its program hangs: its state and its outputs stay as they are.
    Hung,
    /// It has no power: it forgets its state, and its outputs are off.
    NoPower,
}

impl Engine<'_> {
    pub(super) fn trip(
        &mut self,
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].pending = false;
        if self.stays_on(module) {
            return Ok(());
        }
        let m = &mut self.modules[module.0];
        m.life = Life::Off;
        m.trips(self.now);
        self.dirty = true;
        self.stopped(module, Stop::NoPower, parent)
    }

    /// A module stops working: its ears with it, and nothing that its program meant to do later is done. One that is down
    /// already (it hung, and now loses its power) does not go down once more.
    pub(super) fn stopped(
        &mut self,
        module: ModuleIx,
        stop: Stop,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        let m = &mut self.modules[module.0];
        m.forget();
        let voltage_v = m.voltage_v;
        let cause = if std::mem::replace(&mut m.told_down, true) {
            parent
        } else {
            self.record(Some(parent), None, What::Down { module, voltage_v })
        };
        self.modules[module.0].stopped_by = Some(cause);
        self.ears.stop(module);
        self.forget_votes(module);
        self.forget_routines(module);
        self.stop_uplinks(module)?;
        for (d, detector) in self.line.detectors.iter().enumerate() {
            if detector.on.module == module {
                self.silence(DetectorIx(d));
                self.restore_setting(DetectorIx(d))?;
            }
        }
        if stop == Stop::NoPower {
            self.fall_back(module, cause);
        }
        self.reach_nodes()
    }

    /// A fault that held a module is over: it is off, and boots when its voltage suffices.
    pub(super) fn freed(
        &mut self,
        module: ModuleIx,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        let m = &mut self.modules[module.0];
        m.life = Life::Off;
        m.need_not_wait();
        m.forget();
        self.fall_back(module, parent);
        self.reach_nodes()
    }

    /// A module without power forgets its state, and its outputs are off.
    fn fall_back(&mut self, module: ModuleIx, parent: RecordId) {
        let plan = &self.line.modules[module.0];
        self.modules[module.0].state = plan.starts_in;
        self.stop_timers(module);
        for (o, output) in plan.outputs.iter().enumerate() {
            let m = &mut self.modules[module.0];
            m.outputs_rest[o] = output.starts_on;
            if std::mem::take(&mut m.outputs_on[o]) {
                let output = OutputIx { module, output: o };
                self.record(Some(parent), None, What::Switched { output, on: false });
            }
        }
    }

    /// A module works: its outputs are as at start.
    pub(super) fn outputs_start(&mut self, module: ModuleIx, parent: RecordId) {
        let plan = &self.line.modules[module.0];
        for (o, output) in plan.outputs.iter().enumerate() {
            let m = &mut self.modules[module.0];
            if output.starts_on && !std::mem::replace(&mut m.outputs_on[o], true) {
                let output = OutputIx { module, output: o };
                self.record(Some(parent), None, What::Switched { output, on: true });
            }
        }
        self.wind_up_own(module, Some(parent));
    }

    pub(super) fn wake(
        &mut self,
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].pending = false;
        let m = &self.modules[module.0];
        if !self.switches_on(module) || m.dead || m.hung {
            return Ok(());
        }
        // While a fault holds its pauses alone see to it that time goes on.
        let is_free = self.holding().next().is_none();
        let m = &mut self.modules[module.0];
        m.unasked += 1;
        m.tries(self.now);
        if is_free && m.unasked > MOST_RESTARTS {
            return Err(RehearsalError::RestartLoop {
                at: self.now,
                module: self.line.modules[module.0].id.clone(),
                times: m.restarts,
            });
        }
        self.boot(module, parent)
    }

    /// A module that works or boots is restarted by a fault. One without power, dead or hung stays as it is: false.
    pub(super) fn restart(
        &mut self,
        module: ModuleIx,
        by: RestartBy,
        parent: RecordId,
    ) -> Result<bool, RehearsalError> {
        let m = &mut self.modules[module.0];
        if m.life == Life::Off || m.hung || m.dead {
            return Ok(false);
        }
        m.life = Life::Off;
        m.need_not_wait();
        self.dirty = true;
        self.stopped(module, Stop::NoPower, parent)?;
        match by {
            // It boots once the next settling has found its voltage, as after a trip.
            RestartBy::Power => {}
            RestartBy::Watchdog => self.boot(module, parent)?,
        }
        Ok(true)
    }

    pub(super) fn boot(
        &mut self,
        module: ModuleIx,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        let plan = &self.line.modules[module.0];
        let Some(boot) = plan.boot else {
            return Err(RehearsalError::NotSaid {
                what: vec![format!(
                    "module.{} restarts, and says nothing of its boot",
                    plan.id
                )],
            });
        };
        let m = &mut self.modules[module.0];
        m.life = Life::Boots;
        m.life_turn += 1;
        m.told_down = false;
        m.restarts += 1;
        let turn = m.life_turn;
        self.dirty = true;
        let boots = self.record(Some(parent), None, What::Boots { module });
        self.asks.boots(module, self.now);
        let own = self.sequences.iter().filter(|((m, _), _)| *m == module.0);
        self.numbered.extend(own.map(|(of, next)| (*of, *next)));
        let time = ns(|| format!("module.{}", plan.id), boot.time_s.si)?;
        if let Some(at) = self.now.checked_add(time) {
            self.queue.push(
                at,
                Class::Supply,
                place(module.0),
                Happening::Booted {
                    module,
                    turn,
                    parent: boots,
                },
            );
        }
        self.reach_nodes()
    }

    pub(super) fn booted(
        &mut self,
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].life = Life::Works;
        self.dirty = true;
        let up = self.record(Some(parent), None, What::Up { module });
        self.outputs_start(module, up);
        self.start_uplinks(module)?;
        self.caught_in_a_loop(module)?;
        let plan = &self.line.modules[module.0];
        let listens = plan.sensors.iter().any(|s| s.chain.is_some());
        if listens {
            let mut settles_s: f64 = 0.0;
            for sensor in plan.sensors.iter().filter(|s| s.chain.is_some()) {
                match sensor.settles_s {
                    Some(q) => settles_s = settles_s.max(q.si),
                    None => {
                        return Err(RehearsalError::NotSaid {
                            what: vec![format!(
                                "module.{}.sensor.{} restarts, and says nothing of its settling time",
                                plan.id, sensor.id
                            )],
                        });
                    }
                }
            }
            let settles = ns(|| format!("module.{}", plan.id), settles_s)?;
            if let Some(at) = self.now.checked_add(settles) {
                self.queue.push(
                    at,
                    Class::Supply,
                    place(module.0),
                    Happening::Listens { module, turn, at },
                );
            }
        }
        self.reach_nodes()?;
        self.join(module, up)
    }
}
