//! Threshold with hysteresis, shortest and longest length, and hold-off.
//!
//! The *value* of a cell is its level, or its level less its background where the detector has a background stage; a
//! cell whose background is unknown has no value and counts as quiet.
//!
//! - *Begin.* A sound begins with a cell whose value is at or above `on_above_db`. It goes on while the value is not
//!   below `off_below_db`. Its length is that of its cells, end to end.
//! - *Onset* is told at the first cell. *Confirmed* ([`Confirm::Early`]) is told at the first cell with which the
//!   length reaches `shortest_s`. *Ended* is told at the first quiet cell; the event ends with the cell before.
//! - *Too short*: a quiet cell before `shortest_s` is reached.
//! - *Too long*: the first cell with which the length exceeds `longest_s`; whatever goes on belongs to the same sound,
//!   and nothing new begins before a quiet cell.
//! - *Hold-off* runs from the end of every sound that was confirmed, also of one that was then found too long. A sound
//!   that begins in it is followed silently; if it still goes on in the first cell that begins at or after the end of
//!   the hold-off, its onset is told then, with its true beginning, and its length counts from there. A sound that is
//!   over by then, or too long by then, is never told. So between two confirmed notices lies at least the hold-off.
//! - *End of the stretch*: a confirmed sound ends with [`Ending::StretchEnded`]; one not yet confirmed, and with
//!   [`Confirm::AtEnd`] any, is dropped with [`Reason::StretchEnded`]. The hold-off is over, because the next stretch
//!   has a time of its own.

use alloc::vec::Vec;

use crate::cell::Cell;
use crate::notice::{Ending, Event, EventId, Notice, Reason, Told};
use crate::resolve::TriggerSpec;
use crate::spec::Confirm;

#[derive(Clone, Debug)]
pub(crate) struct TriggerLogic {
    spec: TriggerSpec,
    next_id: u64,
    state: State,
    hold_until: u64,
}

#[derive(Clone, Copy, Debug)]
enum State {
    Quiet,
    Open(Open),
    /// The sound was found too long and still goes on; `end` is the end of its latest cell.
    Overlong {
        end: u64,
        confirmed: bool,
    },
}

#[derive(Clone, Copy, Debug)]
struct Open {
    /// `None` while it is followed silently in the hold-off.
    id: Option<EventId>,
    confirmed: bool,
    begin: u64,
    end: u64,
    peak_level_db: f64,
    energy: f64,
    cells: u64,
    background_db: Option<f64>,
    score_db: f64,
}

impl TriggerLogic {
    pub(crate) fn new(spec: TriggerSpec) -> Self {
        Self {
            spec,
            next_id: 0,
            state: State::Quiet,
            hold_until: 0,
        }
    }

    pub(crate) fn set_threshold(&mut self, on_above_db: f64, off_below_db: f64) {
        self.spec.on_above_db = on_above_db;
        self.spec.off_below_db = off_below_db;
    }

    fn value(&self, cell: &Cell) -> Option<f64> {
        if self.spec.over_background {
            cell.background_db
                .map(|background_db| cell.level_db - background_db)
        } else {
            Some(cell.level_db)
        }
    }

    pub(crate) fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        let value = self.value(cell);
        let quiet = value.is_none_or(|value| value < self.spec.off_below_db);
        match (self.state, value) {
            (State::Quiet, Some(value)) if value >= self.spec.on_above_db => {
                let open = self.begin(cell, value);
                self.follow(open, cell, out);
            }
            (State::Quiet, _) => {}
            (State::Open(open), Some(value)) if !quiet => {
                let open = self.extend(open, cell, value);
                self.follow(open, cell, out);
            }
            (State::Open(open), _) => {
                self.state = State::Quiet;
                self.close(open, cell.known_at_sample, out);
            }
            (State::Overlong { end, confirmed }, _) if quiet => {
                self.state = State::Quiet;
                if confirmed {
                    self.hold_until = end.saturating_add(self.spec.hold_off_samples);
                }
            }
            (State::Overlong { confirmed, .. }, _) => {
                self.state = State::Overlong {
                    end: cell.end_sample,
                    confirmed,
                };
            }
        }
    }

    fn excess_db(&self, value: f64) -> f64 {
        if self.spec.over_background {
            value
        } else {
            value - self.spec.on_above_db
        }
    }

    fn begin(&self, cell: &Cell, value: f64) -> Open {
        Open {
            id: None,
            confirmed: false,
            begin: cell.begin_sample,
            end: cell.end_sample,
            peak_level_db: cell.level_db,
            energy: cell.power,
            cells: 1,
            background_db: cell.background_db,
            score_db: self.excess_db(value),
        }
    }

    fn extend(&self, mut open: Open, cell: &Cell, value: f64) -> Open {
        open.end = cell.end_sample;
        open.peak_level_db = open.peak_level_db.max(cell.level_db);
        open.energy += cell.power;
        open.cells += 1;
        open.score_db = open.score_db.max(self.excess_db(value));
        open
    }

    /// What a cell that belongs to an open sound gives cause to tell.
    fn follow(&mut self, mut open: Open, cell: &Cell, out: &mut Vec<Told>) {
        let known_at_sample = cell.known_at_sample;
        let length = open.end.saturating_sub(open.begin);
        if self
            .spec
            .longest_samples
            .is_some_and(|longest| length > longest)
        {
            if let Some(id) = open.id {
                out.push(Told {
                    notice: Notice::Dropped(id, Reason::TooLong),
                    known_at_sample,
                });
            }
            self.state = State::Overlong {
                end: open.end,
                confirmed: open.confirmed,
            };
            return;
        }
        if open.id.is_none() && cell.begin_sample >= self.hold_until {
            let id = EventId(self.next_id);
            self.next_id += 1;
            open.id = Some(id);
            out.push(Told {
                notice: Notice::Onset(id),
                known_at_sample,
            });
        }
        if let Some(id) = open.id
            && !open.confirmed
            && self.spec.confirm == Confirm::Early
            && length >= self.spec.shortest_samples
        {
            open.confirmed = true;
            out.push(Told {
                notice: Notice::Confirmed(id),
                known_at_sample,
            });
        }
        self.state = State::Open(open);
    }

    /// A quiet cell follows an open sound.
    fn close(&mut self, open: Open, known_at_sample: u64, out: &mut Vec<Told>) {
        let Some(id) = open.id else { return };
        if open.end.saturating_sub(open.begin) < self.spec.shortest_samples {
            out.push(Told {
                notice: Notice::Dropped(id, Reason::TooShort),
                known_at_sample,
            });
            return;
        }
        if !open.confirmed {
            out.push(Told {
                notice: Notice::Confirmed(id),
                known_at_sample,
            });
        }
        out.push(Told {
            notice: Notice::Ended(open.event(id, Ending::Quiet)),
            known_at_sample,
        });
        self.hold_until = open.end.saturating_add(self.spec.hold_off_samples);
    }

    /// Begin of the sound that is followed, if it may still become an event.
    pub(crate) fn followed_from(&self) -> Option<u64> {
        match self.state {
            State::Open(open) => Some(open.begin),
            State::Quiet | State::Overlong { .. } => None,
        }
    }

    pub(crate) fn end_stretch(&mut self, known_at_sample: u64, out: &mut Vec<Told>) {
        if let State::Open(open) = self.state
            && let Some(id) = open.id
        {
            let notice = if open.confirmed {
                Notice::Ended(open.event(id, Ending::StretchEnded))
            } else {
                Notice::Dropped(id, Reason::StretchEnded)
            };
            out.push(Told {
                notice,
                known_at_sample,
            });
        }
        self.state = State::Quiet;
        self.hold_until = 0;
    }
}

impl Open {
    fn event(&self, id: EventId, ending: Ending) -> Event {
        Event {
            id,
            begin_sample: self.begin,
            end_sample: self.end,
            peak_level_db: self.peak_level_db,
            mean_level_db: mean_level_db(self.energy, self.cells),
            background_db: self.background_db,
            score_db: self.score_db,
            pulses: None,
            ending,
        }
    }
}

pub(crate) fn mean_level_db(energy: f64, count: u64) -> f64 {
    10.0 * libm::log10(energy / count as f64)
}
