//! The cue sheet: what has a time of its own goes into the queue, and faults begin and end.

use assess::input::{Carrier, ns};
use network::LinkState;
use plan::{BehaviourIx, CueSheet, FaultKind, Line, Span, When};
use timeline::{Class, Ns};

use super::lives::Stop;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::modules::Life;
use crate::record::What;

impl Engine<'_> {
    /// Puts everything with a time of its own into the queue.
    pub(super) fn cue(&mut self) -> Result<(), RehearsalError> {
        for (i, fault) in self.cues.faults.iter().enumerate() {
            let what = || format!("fault.{}", fault.id);
            let place = place(i);
            self.queue.push(
                ns(what, fault.at_s.si)?,
                Class::Fault,
                place,
                Happening::Fault {
                    fault: i,
                    begins: true,
                },
            );
            if let Some(until) = fault.until_s {
                self.queue.push(
                    ns(what, until.si)?,
                    Class::Fault,
                    place,
                    Happening::Fault {
                        fault: i,
                        begins: false,
                    },
                );
            }
        }
        for (i, input) in self.cues.inputs.iter().enumerate() {
            let at = ns(|| format!("input.{}", input.id), input.at_s.si)?;
            self.queue.push(
                at,
                Class::Publish,
                place(input.module.0),
                Happening::Input { input: i },
            );
        }
        for (i, behaviour) in self.line.behaviours.iter().enumerate() {
            if let When::Each { period_s } = behaviour.when {
                let at = ns(|| format!("behaviour.{}", behaviour.id), period_s.si)?;
                if at == Ns::ZERO {
                    return Err(RehearsalError::NoInterval {
                        behaviour: behaviour.id.clone(),
                        period_s: period_s.si,
                    });
                }
                self.queue.push(
                    at,
                    Class::Act,
                    place(behaviour.on.0),
                    Happening::Each {
                        behaviour: BehaviourIx(i),
                    },
                );
            }
        }
        for (h, (_, arrivals)) in self.ears.arrivals().into_iter().enumerate() {
            for (a, arrival) in arrivals.iter().enumerate() {
                self.queue.push(
                    arrival.from,
                    Class::Probe,
                    place(h),
                    Happening::Arrives {
                        hearing: h,
                        arrival: a,
                    },
                );
            }
        }
        Ok(())
    }

    pub(super) fn fault(&mut self, fault: usize, begins: bool) -> Result<(), RehearsalError> {
        let what = self.cues.faults[fault].what;
        let parent = self.fault_records[fault];
        let id = self.record(
            parent,
            None,
            if begins {
                What::FaultBegins { fault }
            } else {
                What::FaultEnds { fault }
            },
        );
        self.fault_records[fault] = Some(id);
        self.faults_in_force[fault] = begins;
        // An uplink keeps count of its outages by itself.
        if self.another_holds(fault) && !matches!(what, FaultKind::NoUplink(_)) {
            return Ok(());
        }
        match what {
            FaultKind::Cut(span) => {
                self.whole[span.0] = !begins;
                self.dirty = true;
                if let (Some(traffic), Some(machine)) = (&self.traffic, &mut self.machine) {
                    let state = |cut| match cut {
                        true => LinkState::Down,
                        false => LinkState::Up,
                    };
                    // A bus is as whole as all its pieces.
                    let bus = self.line.spans[span.0].bus;
                    let piece = |s: &Span| s.bus.is_some() && s.bus == bus;
                    let mut pieces = self.line.spans.iter().zip(&self.whole);
                    let broken = pieces.any(|(s, whole)| piece(s) && !whole);
                    let of = |carrier: &Carrier| match carrier {
                        Carrier::Span(s) => *s == span,
                        Carrier::Bus(b) => Some(*b) == bus,
                    };
                    let mut done = Ok(());
                    if let Some(link) = traffic.link_spans.iter().position(|s| *s == span) {
                        done = machine.set_link(self.now, link, state(begins));
                    }
                    if let Some(at) = traffic.shared.iter().position(of) {
                        done = machine.set_bus(self.now, at, state(begins || broken));
                    }
                    done.map_err(|source| RehearsalError::Machine {
                        at: self.now,
                        source,
                    })?;
                }
                self.drain_drops();
            }
            FaultKind::Hang(module) | FaultKind::Dead(module) => {
                let was_off = self.modules[module.0].life == Life::Off;
                let m = &mut self.modules[module.0];
                match what {
                    FaultKind::Hang(_) => m.hung = begins,
                    _ => {
                        m.dead = begins;
                        m.life = Life::Off;
                    }
                }
                self.dirty = true;
                let stop = match what {
                    FaultKind::Hang(_) => Stop::Hung,
                    _ => Stop::NoPower,
                };
                if !begins {
                    self.freed(module, id)?;
                } else if !was_off {
                    self.stopped(module, stop, id)?;
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
            FaultKind::NoSupply(supply) => {
                self.giving[supply.0] = !begins;
                self.dirty = true;
            }
        }
        Ok(())
    }

    /// Whether another fault of the same kind at the same place is in force.
    fn another_holds(&self, fault: usize) -> bool {
        let what = self.cues.faults[fault].what;
        self.cues
            .faults
            .iter()
            .zip(&self.faults_in_force)
            .enumerate()
            .any(|(i, (f, holds))| i != fault && *holds && f.what == what)
    }
}

/// A cue sheet with faults may restart any module: what a restart needs must then be said.
pub(super) fn restartable(line: &Line, cues: &CueSheet) -> Result<(), RehearsalError> {
    if cues.faults.is_empty() {
        return Ok(());
    }
    let mut what = Vec::new();
    for (i, module) in line.modules.iter().enumerate() {
        let stopped =
            |what: FaultKind| matches!(what, FaultKind::Hang(m) | FaultKind::Dead(m) if m.0 == i);
        if module.input.is_none() && !cues.faults.iter().any(|f| stopped(f.what)) {
            continue;
        }
        if module.boot.is_none() {
            what.push(format!(
                "module.{} may restart, and says nothing of its boot",
                module.id
            ));
        }
        for sensor in module
            .sensors
            .iter()
            .filter(|s| s.chain.is_some() && s.settles_s.is_none())
        {
            what.push(format!(
                "module.{}.sensor.{} may restart, and says nothing of its settling time (settles_in)",
                module.id, sensor.id
            ));
        }
    }
    if what.is_empty() {
        Ok(())
    } else {
        Err(RehearsalError::NotSaid { what })
    }
}
