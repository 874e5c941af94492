//! Ears run ahead; their cells wait in the queue, and the detectors' notices start behaviours.

use plan::{BehaviourIx, DetectorIx, FaultKind, ModuleIx, NoticeKind, SensorIx, When};
use timeline::{Class, Ns, Queue};

use super::content::{Heard, Led};
use super::{Engine, Happening, place};
use crate::ear::HeardCell;
use crate::error::RehearsalError;
use crate::hearing::WaitingCell;
use crate::record::{RecordId, Root, What};

/// How far the ears run ahead at most.
const AHEAD: Ns = Ns(1_000_000_000);

impl Engine<'_> {
    /// Runs the ears one second on. What they hear beyond a fault is void once the fault has happened.
    pub(super) fn hear_ahead(&mut self) -> Result<(), RehearsalError> {
        let until = self
            .horizon
            .checked_add(AHEAD)
            .unwrap_or(self.end)
            .min(self.end);
        self.horizon = until;
        let queue = &mut self.queue;
        self.ears.advance(
            self.line,
            until,
            |_| true,
            |hearing, turn, heard| {
                put(queue, hearing, turn, heard);
            },
        )
    }

    /// Runs the ears of a module that has just begun to listen to where the others are.
    pub(super) fn catch_up(&mut self, module: ModuleIx) -> Result<(), RehearsalError> {
        let queue = &mut self.queue;
        self.ears.advance(
            self.line,
            self.horizon,
            |m| m == module,
            |hearing, turn, heard| {
                put(queue, hearing, turn, heard);
            },
        )
    }

    /// A hydrophone is deaf by the faults that hold, or hears again: then as after a restart of its module, from now on.
    pub(super) fn deafen(&mut self, sensor: SensorIx) -> Result<(), RehearsalError> {
        let deaf = self.holding().any(|f| f == FaultKind::Deaf(sensor));
        if !self.ears.deafen(sensor, deaf, self.now) {
            return Ok(());
        }
        if !deaf {
            return self.catch_up(sensor.module);
        }
        for (d, detector) in self.line.detectors.iter().enumerate() {
            if detector.on == sensor {
                self.silence(DetectorIx(d));
            }
        }
        Ok(())
    }

    pub(super) fn cell(&mut self, waiting: &WaitingCell) {
        let hearing = &self.ears.hearings[waiting.hearing];
        if hearing.turn != waiting.turn || !self.modules[hearing.module.0].works() {
            return;
        }
        let detector = waiting.detector;
        self.hears(detector, &waiting.cell);
        let mut told = Vec::new();
        let Some(decider) = &mut self.ears.deciders[detector.0] else {
            return;
        };
        decider.logic.push(&waiting.cell, &mut told);
        self.tell_all(detector, &told);
    }

    /// Records from when on a detector can hear: with a background, once the background is known.
    fn hears(&mut self, detector: DetectorIx, cell: &detect::Cell) {
        let Some(decider) = &mut self.ears.deciders[detector.0] else {
            return;
        };
        if !decider.hears && cell.decidable {
            decider.hears = true;
            self.record(None, None, What::Hears { detector });
        }
    }

    /// Tells notices that became known together, each with what is known of its event by then.
    fn tell_all(&mut self, detector: DetectorIx, told: &[detect::Told]) {
        let logic = self.ears.deciders[detector.0].as_ref().map(|d| &d.logic);
        let so_far = logic.and_then(detect::Logic::so_far);
        for t in told {
            let id = t.notice.id();
            let over = told.iter().find_map(|later| match later.notice {
                detect::Notice::Ended(event) if event.id == id => Some(event),
                _ => None,
            });
            let event = over.or(so_far.filter(|event| event.id == id));
            self.tell(detector, t, event);
        }
    }

    fn tell(&mut self, detector: DetectorIx, told: &detect::Told, event: Option<detect::Event>) {
        let notice = &told.notice;
        let rate_hz = self
            .line
            .sensor(self.line.detectors[detector.0].on)
            .chain
            .as_ref();
        let rate_hz = rate_hz.map(|chain| chain.rate_hz.si);
        let heard = event.zip(rate_hz).map(|(event, rate_hz)| Heard {
            event,
            known_at_sample: told.known_at_sample,
            rate_hz,
        });
        let led = |notice| Led::Heard {
            detector,
            notice,
            heard,
        };
        use detect::Notice;
        let id = match notice {
            Notice::Onset(id) | Notice::Confirmed(id) | Notice::Dropped(id, _) => id.0,
            Notice::Ended(event) => event.id.0,
        };
        if matches!(notice, Notice::Onset(_)) {
            let root = self.ears.root(self.line, detector, self.now);
            if let Some(d) = &mut self.ears.deciders[detector.0] {
                d.open.push((id, root, None));
            }
        }
        let known = self.ears.deciders[detector.0]
            .as_ref()
            .and_then(|d| d.open.iter().find(|(e, ..)| *e == id).copied());
        let (root, parent) = known.map_or((None, None), |(_, root, parent)| (root, parent));
        let kind = match notice {
            Notice::Onset(_) => NoticeKind::Onset,
            Notice::Confirmed(_) => NoticeKind::Confirmed,
            Notice::Ended(event) => {
                let record = self.record(
                    parent,
                    root,
                    What::Event {
                        detector,
                        event: *event,
                    },
                );
                self.close(detector, id);
                self.start_heard(
                    detector,
                    NoticeKind::Ended,
                    &led(NoticeKind::Ended),
                    id,
                    Some(record),
                    root,
                );
                return;
            }
            Notice::Dropped(_, reason) => {
                self.record(
                    parent,
                    root,
                    What::Dropped {
                        detector,
                        event: id,
                        reason: *reason,
                    },
                );
                self.close(detector, id);
                return;
            }
        };
        if kind == NoticeKind::Confirmed {
            self.confirmed[detector.0] += 1;
        }
        self.start_heard(detector, kind, &led(kind), id, parent, root);
    }

    fn close(&mut self, detector: DetectorIx, id: u64) {
        if let Some(d) = &mut self.ears.deciders[detector.0] {
            d.open.retain(|(e, ..)| *e != id);
        }
    }

    fn start_heard(
        &mut self,
        detector: DetectorIx,
        notice: NoticeKind,
        led: &Led,
        event: u64,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) {
        let record = self.record(
            parent,
            root,
            What::Noticed {
                detector,
                event,
                notice,
            },
        );
        if let Some(d) = &mut self.ears.deciders[detector.0]
            && let Some(open) = d.open.iter_mut().find(|(e, ..)| *e == event)
        {
            open.2 = Some(record);
        }
        if notice == NoticeKind::Confirmed {
            let on = self.line.detectors[detector.0].on.module;
            self.count(on, detector, self.now, record, root);
        }
        for (i, b) in self.line.behaviours.iter().enumerate() {
            if matches!(&b.when, When::Heard { detector: d, notice: n } if *d == detector && *n == notice)
            {
                let act = Happening::Act {
                    behaviour: BehaviourIx(i),
                    led: led.clone(),
                    parent: Some(record),
                    root,
                };
                self.queue.push(self.now, Class::Act, place(b.on.0), act);
            }
        }
    }

    /// What a detector had open is dropped: its samples have stopped.
    pub(super) fn silence(&mut self, detector: DetectorIx) {
        let mut told = Vec::new();
        if let Some(d) = &mut self.ears.deciders[detector.0] {
            d.logic.gap(0, &mut told);
        }
        self.tell_all(detector, &told);
        let heard = self.ears.deciders[detector.0]
            .as_mut()
            .is_some_and(|d| std::mem::replace(&mut d.hears, false));
        if heard {
            self.record(None, None, What::Deaf { detector });
        }
    }
}

fn put(queue: &mut Queue<Happening>, hearing: usize, turn: u32, heard: &HeardCell) {
    let cell = WaitingCell {
        hearing,
        turn,
        detector: heard.detector,
        cell: heard.cell,
    };
    queue.push(
        heard.known_at,
        Class::Notice,
        place(heard.detector.0),
        Happening::Cell(cell),
    );
}
