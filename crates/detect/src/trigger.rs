//! Threshold with hysteresis, k of n, bridging, shortest and longest length, and hold-off.
//!
//! The *value* of a cell ([`Cell::value_db`]) is its level, or its level less its background where the detector has a background
//! stage, or a likeness; a cell of which it is unknown counts as quiet.
//!
//! - *Begin.* A sound begins when `at_least` of the `of_last` latest cells have a value at or above `on_above_db`, with the
//!   first of these (without such a rule: with the cell itself). It goes on while the value is not below `off_below_db`.
//!   Its length is that of its cells, end to end.
//! - *Dip.* Quiet cells that together are shorter than `bridge_s` belong to the sound if it goes on after them. The sound is
//!   over at the quiet cell with which they are as long as that (without bridging: at the first).
//! - *Onset* is told at the cell that completes the begin. *Confirmed* ([`Confirm::Early`]) is told at the first cell with
//!   which the length reaches `shortest_s`. *Ended* is told when it is over; the event ends with the last cell that was not
//!   quiet.
//! - *Too short*: over before `shortest_s` is reached.
//! - *Too long*: the first cell with which the length exceeds `longest_s`; whatever goes on belongs to the same sound,
//!   and nothing new begins before that is over.
//! - *Judged*: a finished sound that the logistic judgement refuses is dropped as unlikely and starts no hold-off.
//! - *Hold-off* runs from the end of every sound that was confirmed, also of one that was then found too long. A sound
//!   that begins in it is followed silently; if it still goes on in the first cell that begins at or after the end of
//!   the hold-off, its onset is told then, with its true beginning, and its length counts from there. A sound that is
//!   over by then, or too long by then, is never told. So between two confirmed notices lies at least the hold-off.
//! - *End of the stretch*: a confirmed sound ends with [`Ending::StretchEnded`]; one not yet confirmed, and with
//!   [`Confirm::AtEnd`] any, is dropped with [`Reason::StretchEnded`]. The hold-off is over, because the next stretch
//!   has a time of its own.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use crate::cell::Cell;
use crate::judge::Judge;
use crate::notice::{Ending, Event, EventId, Notice, Reason, Told};
use crate::resolve::TriggerSpec;
use crate::spec::{Confirm, KOfN};

#[derive(Clone, Debug)]
pub(crate) struct TriggerLogic {
    spec: TriggerSpec,
    judge: Judge,
    next_id: u64,
    state: State,
    hold_until: u64,
    /// The latest cells that belong to no sound yet, at most `of_last`; none where one cell is enough.
    recent: VecDeque<Recent>,
}

#[derive(Clone, Copy, Debug)]
struct Recent {
    cell: Cell,
    value: Option<f64>,
    hit: bool,
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
    /// Of the quiet cells since `end`: they count once the sound has gone on.
    dip_energy: f64,
    dip_cells: u64,
    peak_sample: u64,
    background_db: Option<f64>,
    score_db: f64,
}

impl TriggerLogic {
    pub(crate) fn new(spec: TriggerSpec, judge: Judge) -> Self {
        let of_last = match spec.k_of_n.of_last {
            1 => 0,
            more => more as usize,
        };
        Self {
            spec,
            judge,
            next_id: 0,
            state: State::Quiet,
            hold_until: 0,
            recent: VecDeque::with_capacity(of_last),
        }
    }

    pub(crate) fn judges(&self) -> bool {
        self.judge.waits()
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        self.recent.capacity() * size_of::<Recent>() + self.judge.bytes()
    }

    pub(crate) fn set_threshold(&mut self, on_above_db: f64, off_below_db: f64) {
        self.spec.on_above_db = on_above_db;
        self.spec.off_below_db = off_below_db;
    }

    pub(crate) fn set_hold_off(&mut self, samples: u64) {
        self.spec.hold_off_samples = samples;
    }

    pub(crate) fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        let value = cell.value_db;
        let quiet = value.is_none_or(|value| value < self.spec.off_below_db);
        match (self.state, value) {
            (State::Quiet, _) => {
                if let Some(open) = self.wait(cell, value) {
                    self.follow(open, cell, out);
                }
            }
            (State::Open(mut open), Some(value)) if !quiet => {
                self.extend(&mut open, cell, value);
                self.follow(open, cell, out);
            }
            (State::Open(mut open), _) => {
                if self.is_over(open.end, cell) {
                    self.state = State::Quiet;
                    self.close(open, cell.known_at_sample, out);
                } else {
                    open.dip(cell);
                    self.state = State::Open(open);
                }
            }
            (State::Overlong { end, confirmed }, _) if quiet => {
                if self.is_over(end, cell) {
                    self.state = State::Quiet;
                    if confirmed {
                        self.hold_until = end.saturating_add(self.spec.hold_off_samples);
                    }
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

    /// Whether a sound that was last not quiet at `end` is over with a quiet cell.
    fn is_over(&self, end: u64, quiet: &Cell) -> bool {
        quiet.end_sample.saturating_sub(end) >= self.spec.bridge_samples
    }

    /// The sound that a cell completes the begin of, if it does.
    fn wait(&mut self, cell: &Cell, value: Option<f64>) -> Option<Open> {
        let hit = value.filter(|value| *value >= self.spec.on_above_db);
        let KOfN { at_least, of_last } = self.spec.k_of_n;
        if of_last == 1 {
            return hit.map(|value| self.begin(cell, value));
        }
        if self.recent.len() == of_last as usize {
            self.recent.pop_front();
        }
        self.recent.push_back(Recent {
            cell: *cell,
            value,
            hit: hit.is_some(),
        });
        let hits = self.recent.iter().filter(|recent| recent.hit).count();
        if hit.is_none() || hits < at_least as usize {
            return None;
        }
        let mut open: Option<Open> = None;
        for recent in &self.recent {
            let loud = recent.value.filter(|v| *v >= self.spec.off_below_db);
            match (&mut open, loud) {
                (Some(open), Some(value)) => self.extend(open, &recent.cell, value),
                (Some(open), None) => open.dip(&recent.cell),
                (None, Some(value)) if recent.hit => open = Some(self.begin(&recent.cell, value)),
                (None, _) => {}
            }
        }
        self.recent.clear();
        open
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
            dip_energy: 0.0,
            dip_cells: 0,
            peak_sample: cell.middle_sample(),
            background_db: cell.background_db,
            score_db: self.excess_db(value),
        }
    }

    fn extend(&self, open: &mut Open, cell: &Cell, value: f64) {
        open.end = cell.end_sample;
        if cell.level_db > open.peak_level_db {
            open.peak_level_db = cell.level_db;
            open.peak_sample = cell.middle_sample();
        }
        open.energy += open.dip_energy + cell.power;
        open.cells += open.dip_cells + 1;
        open.dip_energy = 0.0;
        open.dip_cells = 0;
        open.score_db = open.score_db.max(self.excess_db(value));
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

    /// An open sound is over.
    fn close(&mut self, open: Open, known_at_sample: u64, out: &mut Vec<Told>) {
        let Some(id) = open.id else { return };
        if open.end.saturating_sub(open.begin) < self.spec.shortest_samples {
            out.push(Told {
                notice: Notice::Dropped(id, Reason::TooShort),
                known_at_sample,
            });
            return;
        }
        let event = open.event(id, Ending::Quiet);
        if !self.judge.accepts(&event) {
            out.push(Told {
                notice: Notice::Dropped(id, Reason::Unlikely),
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
            notice: Notice::Ended(event),
            known_at_sample,
        });
        self.hold_until = open.end.saturating_add(self.spec.hold_off_samples);
    }

    /// Begin of the sound that is followed, if it may still become an event.
    pub(crate) fn followed_from(&self) -> Option<u64> {
        match self.state {
            State::Open(open) => Some(open.begin),
            State::Quiet => self
                .recent
                .iter()
                .find(|recent| recent.hit)
                .map(|recent| recent.cell.begin_sample),
            State::Overlong { .. } => None,
        }
    }

    pub(crate) fn so_far(&self) -> Option<Event> {
        match self.state {
            State::Open(open) => Some(open.event(open.id?, Ending::StretchEnded)),
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
        self.recent.clear();
        self.hold_until = 0;
    }
}

impl Open {
    fn dip(&mut self, cell: &Cell) {
        self.dip_energy += cell.power;
        self.dip_cells += 1;
    }

    fn event(&self, id: EventId, ending: Ending) -> Event {
        Event {
            id,
            begin_sample: self.begin,
            end_sample: self.end,
            peak_sample: self.peak_sample,
            peak_level_db: self.peak_level_db,
            mean_level_db: mean_level_db(self.energy, self.cells),
            background_db: self.background_db,
            score_db: self.score_db,
            pulses: None,
            sweep: None,
            intervals: None,
            ending,
        }
    }
}

pub(crate) fn mean_level_db(energy: f64, count: u64) -> f64 {
    10.0 * libm::log10(energy / count as f64)
}
