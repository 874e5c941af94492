//! Faults begin, go on and end.

use assess::input::ns;
use chance::Stream;
use plan::{FaultKind, Leaves, Lengths, ModuleIx, RestartBy};
use timeline::{Class, Ns};

use super::lives::Stop;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::modules::Life;
use crate::record::{KeptBack, RecordId, What};

/// The least step of a drawn time: what is drawn is rounded up to whole ones.
const STEP_S: f64 = 1.0e-6;

/// The faults as they stand.
pub(super) struct FaultsNow {
    /// The record of each one's last beginning or end.
    records: Vec<Option<RecordId>>,
    pub(super) in_force: Vec<bool>,
    /// Goes up as each begins and ends, so that what was to come of it is void.
    pub(super) turns: Vec<u32>,
    /// Of a span that opens and closes: how often it has, and whether it is open.
    changes: Vec<u64>,
    pub(super) open: Vec<bool>,
    /// Of a drained supply: what it can still give, J, and whether that is nothing.
    pub(super) left_j: Vec<f64>,
    pub(super) spent: Vec<bool>,
    /// Which shared carriers are broken.
    pub(super) broken: Vec<bool>,
}

impl FaultsNow {
    pub(super) fn none(faults: usize, shared: usize) -> FaultsNow {
        FaultsNow {
            records: vec![None; faults],
            in_force: vec![false; faults],
            turns: vec![0; faults],
            changes: vec![0; faults],
            open: vec![false; faults],
            left_j: vec![0.0; faults],
            spent: vec![false; faults],
            broken: vec![false; shared],
        }
    }
}

impl Engine<'_> {
    pub(super) fn fault(&mut self, fault: usize, begins: bool) -> Result<(), RehearsalError> {
        let what = self.cues.faults[fault].what;
        let told = if begins {
            What::FaultBegins { fault }
        } else {
            What::FaultEnds { fault }
        };
        let id = self.record(self.faults.records[fault], None, told);
        let now = &mut self.faults;
        now.records[fault] = Some(id);
        // A restart, and a clock's jump, is over as it begins.
        let at_once = matches!(
            what,
            FaultKind::Restart { .. } | FaultKind::ClockStep { .. }
        );
        now.in_force[fault] = begins && !at_once;
        now.turns[fault] += 1;
        self.asked_for();
        if !matches!(
            what,
            FaultKind::NoUplink(_) | FaultKind::StorageFull(_) | FaultKind::Deaf(_)
        ) {
            self.bounds.disturbed();
        }
        match what {
            FaultKind::Cut(_)
            | FaultKind::BadContact { .. }
            | FaultKind::NoSupply(_)
            | FaultKind::BrownOut { .. }
            | FaultKind::Swapped { .. }
            | FaultKind::Unplugged {
                leaves: Leaves::Gap,
                ..
            } => self.rewire()?,
            FaultKind::Intermittent { .. } => {
                self.faults.open[fault] = begins;
                self.rewire()?;
                if begins {
                    self.change_later(fault)?;
                }
            }
            FaultKind::Drained { energy_j, .. } => {
                self.integrate();
                self.faults.left_j[fault] = energy_j.si;
                self.faults.spent[fault] = false;
                self.rewire()?;
            }
            FaultKind::BitErrors { span, .. } => self.renew_bit_errors(span)?,
            FaultKind::Deaf(sensor) => self.deafen(sensor)?,
            FaultKind::ClockStep { module, step_s } => {
                if begins {
                    self.clocks.step(module, self.now, step_s.si);
                }
            }
            FaultKind::Hang(module)
            | FaultKind::Dead(module)
            | FaultKind::Unplugged {
                module,
                leaves: Leaves::Joined,
            } => self.hold(module, id)?,
            FaultKind::Restart { module, by } => {
                if !self.restart(module, by, id)? {
                    self.record(Some(id), None, What::FaultEnds { fault });
                }
            }
            FaultKind::RebootLoop { module, .. } => {
                if begins && self.modules[module.0].works() {
                    self.reboot_later(fault)?;
                }
            }
            FaultKind::NoUplink(uplink) => {
                if begins {
                    let until = match self.cues.faults[fault].until_s {
                        Some(q) => ns(|| "the fault's end".to_owned(), q.si)?,
                        None => self.end.checked_add(Ns(1)).unwrap_or(self.end),
                    };
                    self.uplinks[uplink.0]
                        .uplink
                        .set_outage(self.now, until)
                        .map_err(|source| self.uplink_error(uplink, source))?;
                }
            }
            FaultKind::StorageFull(storage) => {
                let count = self.stuff_store(storage);
                self.came.stored(fault, storage, count, begins);
            }
            FaultKind::Flood { module, .. } => {
                if begins {
                    let turn = self.faults.turns[fault];
                    let goes = Happening::Goes { fault, turn };
                    self.queue
                        .push(self.now, Class::Publish, place(module.0), goes);
                }
            }
        }
        Ok(())
    }

    /// What comes of a fault in its time: a span opens or closes, a supply is spent, a module restarts or publishes once more.
    pub(super) fn goes(&mut self, fault: usize, turn: u32) -> Result<(), RehearsalError> {
        let parent = self.faults.records[fault].expect("a fault goes on once it has begun");
        let of_turn = self.faults.in_force[fault] && self.faults.turns[fault] == turn;
        match self.cues.faults[fault].what {
            FaultKind::Intermittent { span, .. } if of_turn => {
                self.asked_for();
                let open = !self.faults.open[fault];
                self.faults.open[fault] = open;
                self.faults.changes[fault] += 1;
                let told = What::Contact {
                    span,
                    open,
                    held_open_by: self.opened_by(span, Some(fault)),
                };
                self.record(Some(parent), None, told);
                self.rewire()?;
                self.change_later(fault)?;
            }
            FaultKind::Drained { supply, .. } if of_turn => {
                self.asked_for();
                self.integrate();
                self.faults.left_j[fault] = 0.0;
                self.faults.spent[fault] = true;
                self.record(Some(parent), None, What::Spent { supply });
                self.rewire()?;
            }
            // Here the turn is that of the module's life.
            FaultKind::RebootLoop { module, .. }
                if self.faults.in_force[fault] && self.modules[module.0].life_turn == turn =>
            {
                self.asked_for();
                self.restart(module, RestartBy::Watchdog, parent)?;
            }
            FaultKind::Flood {
                module,
                topic,
                every_s,
                ..
            } if of_turn => {
                if self.modules[module.0].works() {
                    let by = KeptBack::Fault(fault);
                    self.publish(module, topic, None, by, Some(parent), None)?;
                }
                let every = ns(|| self.named(fault), every_s.si)?;
                self.go_later(every, Class::Publish, place(module.0), fault, turn);
            }
            _ => {}
        }
        Ok(())
    }

    /// Restarts that a fault asks for are no switching on and off without end.
    fn asked_for(&mut self) {
        for m in &mut self.modules {
            m.unasked = 0;
        }
    }

    pub(super) fn named(&self, fault: usize) -> String {
        format!("fault.{}", self.cues.faults[fault].id)
    }

    /// At a place, as all that happens at an instant goes by place; beyond the end nothing waits.
    pub(super) fn go_later(
        &mut self,
        after: Ns,
        class: Class,
        at_place: u32,
        fault: usize,
        turn: u32,
    ) {
        let at = self.now.checked_add(after).filter(|at| *at < self.end);
        if let Some(at) = at {
            let goes = Happening::Goes { fault, turn };
            self.queue.push(at, class, at_place, goes);
        }
    }

    /// When a span that opens and closes does so next.
    fn change_later(&mut self, fault: usize) -> Result<(), RehearsalError> {
        let FaultKind::Intermittent {
            down_s,
            up_s,
            lengths,
            ..
        } = self.cues.faults[fault].what
        else {
            return Ok(());
        };
        let now = &self.faults;
        let mean_s = if now.open[fault] { down_s } else { up_s }.si;
        let (turn, number) = (now.turns[fault], now.changes[fault]);
        let name = self.named(fault);
        let length_s = match lengths {
            Lengths::Fixed => mean_s,
            Lengths::Exponential => {
                let drawn = Stream::named(self.cues.seed, &name, number).uniform();
                let steps = (-mean_s * libm::log1p(-drawn) / STEP_S).ceil();
                steps.max(1.0) * STEP_S
            }
        };
        let after = ns(|| name, length_s)?;
        self.go_later(after, Class::Fault, place(fault), fault, turn);
        Ok(())
    }

    /// A module has come up, or a loop has begun: it restarts once it has worked for its time.
    fn reboot_later(&mut self, fault: usize) -> Result<(), RehearsalError> {
        if let FaultKind::RebootLoop { module, after_s } = self.cues.faults[fault].what {
            let after = ns(|| self.named(fault), after_s.si)?;
            let turn = self.modules[module.0].life_turn;
            self.go_later(after, Class::Fault, place(fault), fault, turn);
        }
        Ok(())
    }

    /// A module works: those loops go on that catch it.
    pub(super) fn caught_in_a_loop(&mut self, module: ModuleIx) -> Result<(), RehearsalError> {
        for fault in 0..self.cues.faults.len() {
            let caught = matches!(self.cues.faults[fault].what, FaultKind::RebootLoop { module: m, .. } if m == module);
            if caught && self.faults.in_force[fault] {
                self.reboot_later(fault)?;
            }
        }
        Ok(())
    }

    /// A module is hung or dead by the faults that hold, or is so no more.
    fn hold(&mut self, module: ModuleIx, parent: RecordId) -> Result<(), RehearsalError> {
        let by = |kind: &dyn Fn(FaultKind) -> Option<ModuleIx>| {
            let mut held = self.holding();
            held.any(|f| kind(f) == Some(module))
        };
        let hung = by(&|f| match f {
            FaultKind::Hang(m) => Some(m),
            _ => None,
        });
        let dead = by(&|f| match f {
            FaultKind::Dead(m)
            | FaultKind::Unplugged {
                module: m,
                leaves: Leaves::Joined,
            } => Some(m),
            _ => None,
        });
        let m = &mut self.modules[module.0];
        if (m.hung, m.dead) == (hung, dead) {
            return Ok(());
        }
        let was_off = m.life == Life::Off;
        let is_freed = (m.hung && !hung) || (m.dead && !dead);
        let stop = if dead && !m.dead {
            Stop::NoPower
        } else {
            Stop::Hung
        };
        (m.hung, m.dead) = (hung, dead);
        if dead {
            m.life = Life::Off;
        }
        self.dirty = true;
        if is_freed {
            self.freed(module, parent)
        } else if was_off {
            Ok(())
        } else {
            self.stopped(module, stop, parent)
        }
    }

    /// The faults that hold, in the order of the cue sheet.
    pub(super) fn holding(&self) -> impl Iterator<Item = FaultKind> {
        let all = self.cues.faults.iter().zip(&self.faults.in_force);
        all.filter(|(_, holds)| **holds).map(|(f, _)| f.what)
    }
}

/// What becomes of a module by a fault, if it stops by it for certain.
pub(super) fn stopped_by(what: FaultKind) -> Option<ModuleIx> {
    match what {
        FaultKind::Hang(m)
        | FaultKind::Dead(m)
        | FaultKind::Restart { module: m, .. }
        | FaultKind::RebootLoop { module: m, .. }
        | FaultKind::Unplugged {
            module: m,
            leaves: Leaves::Joined,
        } => Some(m),
        _ => None,
    }
}
