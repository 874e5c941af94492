//! Trains of pulses: peaks of the level over valley and background, with interval gating.
//!
//! - *Peak.* The level is followed from turn to turn: after a valley it must rise by `prominence_db` or more, then the
//!   highest cell since (the first of equals) is the peak, which is known when the level has fallen `prominence_db` or
//!   more below it; and so on from the lowest cell after it. Every local maximum of topological prominence at least
//!   `prominence_db` is found in this way and no other (Edelsbrunner, Letscher, Zomorodian, Topological persistence and
//!   simplification, 2002, from memory; the same set as `scipy.signal.find_peaks` with `prominence`, which the tests
//!   hold it to). A stretch begins in a valley.
//! - *Pulse.* A peak whose cell lies `rise_db` or more above its background, unless it follows the last pulse by less
//!   than `min_interval_s` (begin to begin of their cells): then it counts as part of that pulse and is passed over.
//!   A peak without a known background is none.
//! - *Train.* Pulses that follow each other within `max_interval_s`. *Onset* is told with the first, *confirmed* when
//!   the latest `at_least` of them lie within `within_s`, *ended* when no further pulse has come within
//!   `max_interval_s` of the last (or, if a peak that began in time is still to be decided, when it is); dropped at
//!   that instant if not confirmed.
//! - *Hold-off* and *end of the stretch* as for a trigger, see `trigger.rs`: a train that begins in the hold-off is
//!   followed silently and its onset is told with its first pulse at or after the end of the hold-off.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use crate::cell::Cell;
use crate::notice::{Ending, Event, EventId, Notice, Reason, Told};
use crate::resolve::PulsesSpec;
use crate::trigger::mean_level_db;

#[derive(Clone, Debug)]
pub(crate) struct PulseLogic {
    spec: PulsesSpec,
    next_id: u64,
    turn: Turn,
    train: Option<Train>,
    /// Begins of the latest pulses of the train, at most `at_least`.
    latest: VecDeque<u64>,
    hold_until: u64,
}

#[derive(Clone, Copy, Debug)]
enum Turn {
    /// Looking for a rise from the lowest level since the last peak; plus infinity before the first cell.
    Valley { lowest_db: f64 },
    /// Looking for the fall from the highest cell since the last valley.
    Peak { highest: Cell },
}

const START: Turn = Turn::Valley {
    lowest_db: f64::INFINITY,
};

#[derive(Clone, Copy, Debug)]
struct Train {
    id: Option<EventId>,
    confirmed: bool,
    begin: u64,
    last_begin: u64,
    last_end: u64,
    pulses: u32,
    peak_level_db: f64,
    energy: f64,
    background_db: f64,
    score_db: f64,
}

impl PulseLogic {
    pub(crate) fn new(spec: PulsesSpec) -> Self {
        let latest = VecDeque::with_capacity(spec.at_least as usize + 1);
        Self {
            spec,
            next_id: 0,
            turn: START,
            train: None,
            latest,
            hold_until: 0,
        }
    }

    pub(crate) fn bytes(&self) -> usize {
        size_of::<Self>() + self.latest.capacity() * size_of::<u64>()
    }

    pub(crate) fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        if let Some(peak) = self.turn(cell)
            && let Some(background_db) = peak.background_db
            && peak.level_db - background_db >= self.spec.rise_db
        {
            self.pulse(&peak, background_db, cell.known_at_sample, out);
        }
        if let Some(train) = self.train {
            let last_chance = train
                .last_begin
                .saturating_add(self.spec.max_interval_samples);
            if cell.begin_sample > last_chance && !self.pending_until(last_chance) {
                self.end_train(train, Ending::Quiet, cell.known_at_sample, out);
            }
        }
    }

    /// Follow the level; a peak comes out when it is known to be one.
    fn turn(&mut self, cell: &Cell) -> Option<Cell> {
        let prominence_db = self.spec.prominence_db;
        match self.turn {
            Turn::Valley { lowest_db } => {
                if cell.level_db - lowest_db >= prominence_db {
                    self.turn = Turn::Peak { highest: *cell };
                } else if cell.level_db < lowest_db {
                    self.turn = Turn::Valley {
                        lowest_db: cell.level_db,
                    };
                }
                None
            }
            Turn::Peak { highest } => {
                if cell.level_db > highest.level_db {
                    self.turn = Turn::Peak { highest: *cell };
                    None
                } else if highest.level_db - cell.level_db >= prominence_db {
                    self.turn = Turn::Valley {
                        lowest_db: cell.level_db,
                    };
                    Some(highest)
                } else {
                    None
                }
            }
        }
    }

    /// Whether a peak that could become a pulse, beginning at or before `last_chance`, is still undecided.
    fn pending_until(&self, last_chance: u64) -> bool {
        match self.turn {
            Turn::Valley { .. } => false,
            Turn::Peak { highest } => {
                highest.begin_sample <= last_chance
                    && highest.background_db.is_some_and(|background_db| {
                        highest.level_db - background_db >= self.spec.rise_db
                    })
            }
        }
    }

    fn pulse(
        &mut self,
        peak: &Cell,
        background_db: f64,
        known_at_sample: u64,
        out: &mut Vec<Told>,
    ) {
        let excess_db = peak.level_db - background_db;
        let begin = peak.begin_sample;
        if let Some(train) = self.train
            && begin.saturating_sub(train.last_begin) > self.spec.max_interval_samples
        {
            self.end_train(train, Ending::Quiet, known_at_sample, out);
        }
        let mut train = match self.train {
            Some(train)
                if begin.saturating_sub(train.last_begin) < self.spec.min_interval_samples =>
            {
                return;
            }
            Some(mut train) => {
                train.last_begin = begin;
                train.last_end = peak.end_sample;
                train.pulses = train.pulses.saturating_add(1);
                train.peak_level_db = train.peak_level_db.max(peak.level_db);
                train.energy += peak.power;
                train.score_db = train.score_db.max(excess_db);
                train
            }
            None => {
                self.latest.clear();
                Train {
                    id: None,
                    confirmed: false,
                    begin,
                    last_begin: begin,
                    last_end: peak.end_sample,
                    pulses: 1,
                    peak_level_db: peak.level_db,
                    energy: peak.power,
                    background_db,
                    score_db: excess_db,
                }
            }
        };
        self.latest.push_back(begin);
        if self.latest.len() > self.spec.at_least as usize {
            self.latest.pop_front();
        }
        if train.id.is_none() && begin >= self.hold_until {
            let id = EventId(self.next_id);
            self.next_id += 1;
            train.id = Some(id);
            out.push(Told {
                notice: Notice::Onset(id),
                known_at_sample,
            });
        }
        if let Some(id) = train.id
            && !train.confirmed
            && self.latest.len() == self.spec.at_least as usize
            && self
                .spec
                .within_samples
                .is_none_or(|within| begin.saturating_sub(self.latest[0]) <= within)
        {
            train.confirmed = true;
            out.push(Told {
                notice: Notice::Confirmed(id),
                known_at_sample,
            });
        }
        self.train = Some(train);
    }

    fn end_train(
        &mut self,
        train: Train,
        ending: Ending,
        known_at_sample: u64,
        out: &mut Vec<Told>,
    ) {
        self.train = None;
        let Some(id) = train.id else { return };
        let notice = if train.confirmed {
            self.hold_until = train.last_end.saturating_add(self.spec.hold_off_samples);
            Notice::Ended(train.event(id, ending))
        } else {
            let reason = match ending {
                Ending::Quiet => Reason::TooFewPulses,
                Ending::StretchEnded => Reason::StretchEnded,
            };
            Notice::Dropped(id, reason)
        };
        out.push(Told {
            notice,
            known_at_sample,
        });
    }

    /// Begin of the train that is followed or, without one, of the peak that may begin it.
    pub(crate) fn followed_from(&self) -> Option<u64> {
        match (&self.train, self.turn) {
            (Some(train), _) => Some(train.begin),
            (None, Turn::Peak { highest }) => Some(highest.begin_sample),
            (None, Turn::Valley { .. }) => None,
        }
    }

    pub(crate) fn end_stretch(&mut self, known_at_sample: u64, out: &mut Vec<Told>) {
        if let Some(train) = self.train {
            self.end_train(train, Ending::StretchEnded, known_at_sample, out);
        }
        self.turn = START;
        self.latest.clear();
        self.hold_until = 0;
    }
}

impl Train {
    fn event(&self, id: EventId, ending: Ending) -> Event {
        Event {
            id,
            begin_sample: self.begin,
            end_sample: self.last_end,
            peak_level_db: self.peak_level_db,
            mean_level_db: mean_level_db(self.energy, u64::from(self.pulses)),
            background_db: Some(self.background_db),
            score_db: self.score_db,
            pulses: Some(self.pulses),
            ending,
        }
    }
}
