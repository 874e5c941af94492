//! The cue sheet: what has a time of its own goes into the queue.

use assess::input::ns;
use plan::{BehaviourIx, CueSheet, Line, ModuleIx, When};
use timeline::{Class, Ns};

use super::faults::stopped_by;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;

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
        for (i, answer) in self.cues.answers.iter().enumerate() {
            let at = ns(|| format!("answer.{}", answer.id), answer.at_s.si)?;
            let to = self.line.requests[answer.request.0].to;
            let happening = Happening::Answer { answer: i };
            self.queue.push(at, Class::Publish, place(to.0), happening);
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
}

/// A cue sheet with faults may restart any module: what a restart needs must then be said.
pub(super) fn restartable(line: &Line, cues: &CueSheet) -> Result<(), RehearsalError> {
    if cues.faults.is_empty() && !cues.begins_switched_on {
        return Ok(());
    }
    let mut what = Vec::new();
    for (i, module) in line.modules.iter().enumerate() {
        let mut faults = cues.faults.iter();
        let stopped = faults.any(|f| stopped_by(f.what) == Some(ModuleIx(i)));
        if module.input.is_none() && !stopped {
            continue;
        }
        if module.boot.is_none() && !module.loads.is_empty() {
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
