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
//! - *Missed pulses.* With `of_last` above `at_least` a pulse may follow the last by several intervals: by `m`, the least
//!   whole number of `max_interval_s` that reaches it, up to `of_last - at_least + 1`. One that comes sooner than `m` times
//!   `min_interval_s` is off the beat and is passed over. Without it `m` is 1.
//! - *Train.* Pulses that follow each other so, within `max_interval_s` times the most that `m` may be. *Onset* is told with the first, *confirmed* when
//!   the latest `at_least` of them are no more than `of_last - 1` intervals apart, lie within `within_s` and each of their intervals differs from the one before by at
//!   most the share `steady` of that, *ended* when no further pulse has come within
//!   `max_interval_s` of the last (or, if a peak that began in time is still to be decided, when it is); dropped at
//!   that instant if not confirmed.
//! - *Hold-off* and *end of the stretch* as for a trigger, see `trigger.rs`: a train that begins in the hold-off is
//!   followed silently and its onset is told with its first pulse at or after the end of the hold-off.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use crate::cell::Cell;
use crate::judge::Judge;
use crate::notice::{Ending, Event, EventId, Intervals, Notice, Reason, Told};
use crate::resolve::PulsesSpec;
use crate::trigger::mean_level_db;

#[derive(Clone, Debug)]
pub(crate) struct PulseLogic {
    spec: PulsesSpec,
    judge: Judge,
    next_id: u64,
    turn: Turn,
    train: Option<Train>,
    /// Begins of the latest pulses of the train, at most `at_least`.
    latest: VecDeque<u64>,
    /// Intervals of the train up to each of these; none where no pulse may be missed.
    slots: VecDeque<u64>,
    hold_until: u64,
}

#[derive(Clone, Copy, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "a detector has one of these, not many"
)]
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
    /// Intervals so far, those of missed pulses among them.
    slot: u64,
    intervals: Spread,
    /// The last interval, samples, and how many pairs of successive intervals up to it were steady without a break.
    last_interval: Option<u64>,
    steady_pairs: u32,
    peak_sample: u64,
    peak_level_db: f64,
    energy: f64,
    background_db: f64,
    score_db: f64,
}

/// Mean and sum of squared distances from it, one value after another (B. P. Welford 1962, from memory).
#[derive(Clone, Copy, Debug, Default)]
struct Spread {
    count: f64,
    mean: f64,
    squares: f64,
}

impl Spread {
    fn add(&mut self, value: f64) {
        self.count += 1.0;
        let before = value - self.mean;
        self.mean += before / self.count;
        self.squares += before * (value - self.mean);
    }
}

impl PulseLogic {
    pub(crate) fn new(spec: PulsesSpec, judge: Judge) -> Self {
        let latest = VecDeque::with_capacity(spec.at_least as usize + 1);
        let slots = VecDeque::with_capacity(match spec.of_last > spec.at_least {
            true => spec.at_least as usize + 1,
            false => 0,
        });
        Self {
            spec,
            judge,
            next_id: 0,
            turn: START,
            train: None,
            latest,
            slots,
            hold_until: 0,
        }
    }

    pub(crate) fn judges(&self) -> bool {
        self.judge.waits()
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        (self.latest.capacity() + self.slots.capacity()) * size_of::<u64>() + self.judge.bytes()
    }

    pub(crate) fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        if let Some(peak) = self.turn(cell)
            && let Some(background_db) = peak.background_db
            && peak.level_db - background_db >= self.spec.rise_db
        {
            self.pulse(&peak, background_db, cell.known_at_sample, out);
        }
        if let Some(train) = self.train {
            let last_chance = train.last_begin.saturating_add(self.longest_gap());
            if cell.begin_sample > last_chance && !self.pending_until(last_chance) {
                self.end_train(train, Ending::Quiet, cell.known_at_sample, out);
            }
        }
    }

    /// Longest gap between two pulses of a train, samples.
    fn longest_gap(&self) -> u64 {
        let most = u64::from(self.spec.of_last - self.spec.at_least) + 1;
        self.spec.max_interval_samples.saturating_mul(most)
    }

    /// How many intervals a gap is; `None` of one that is off the beat.
    fn intervals_of(&self, gap: u64) -> Option<u64> {
        let count = gap.div_ceil(self.spec.max_interval_samples.max(1)).max(1);
        let least = self.spec.min_interval_samples.saturating_mul(count);
        (gap >= least).then_some(count)
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
            && begin.saturating_sub(train.last_begin) > self.longest_gap()
        {
            self.end_train(train, Ending::Quiet, known_at_sample, out);
        }
        let mut train = match self.train {
            Some(mut train) => {
                let gap = begin.saturating_sub(train.last_begin);
                let Some(count) = self.intervals_of(gap) else {
                    return;
                };
                train.slot += count;
                self.interval(&mut train, gap, count);
                train.last_begin = begin;
                train.last_end = peak.end_sample;
                train.pulses = train.pulses.saturating_add(1);
                if peak.level_db > train.peak_level_db {
                    train.peak_level_db = peak.level_db;
                    train.peak_sample = peak.middle_sample();
                }
                train.energy += peak.power;
                train.score_db = train.score_db.max(excess_db);
                train
            }
            None => {
                self.latest.clear();
                self.slots.clear();
                Train {
                    id: None,
                    confirmed: false,
                    begin,
                    last_begin: begin,
                    last_end: peak.end_sample,
                    pulses: 1,
                    slot: 0,
                    intervals: Spread::default(),
                    last_interval: None,
                    steady_pairs: 0,
                    peak_sample: peak.middle_sample(),
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
        if self.slots.capacity() > 0 {
            self.slots.push_back(train.slot);
            if self.slots.len() > self.spec.at_least as usize {
                self.slots.pop_front();
            }
        }
        let apart = self.slots.front().map_or(0, |first| train.slot - first);
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
            && apart < u64::from(self.spec.of_last)
            && (self.spec.steady.is_none() || train.steady_pairs + 2 >= self.spec.at_least)
        {
            train.confirmed = true;
            if !self.judge.waits() {
                out.push(Told {
                    notice: Notice::Confirmed(id),
                    known_at_sample,
                });
            }
        }
        self.train = Some(train);
    }

    /// A gap of so many intervals, of which one is told as the mean of them.
    fn interval(&self, train: &mut Train, interval: u64, count: u64) {
        train.intervals.add(interval as f64 / count as f64);
        if let (Some(steady), Some(last)) = (self.spec.steady, train.last_interval) {
            let is_steady = interval.abs_diff(last) as f64 <= steady * last as f64;
            train.steady_pairs = if is_steady {
                train.steady_pairs.saturating_add(1)
            } else {
                0
            };
        }
        train.last_interval = Some(interval);
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
        let mut tell = |notice| {
            out.push(Told {
                notice,
                known_at_sample,
            });
        };
        if !train.confirmed {
            let reason = match ending {
                Ending::Quiet => Reason::TooFewPulses,
                Ending::StretchEnded => Reason::StretchEnded,
            };
            return tell(Notice::Dropped(id, reason));
        }
        let event = train.event(id, ending, self.spec.rate_hz);
        if self.judge.waits() {
            if !self.judge.accepts(&event) {
                return tell(Notice::Dropped(id, Reason::Unlikely));
            }
            tell(Notice::Confirmed(id));
        }
        tell(Notice::Ended(event));
        self.hold_until = train.last_end.saturating_add(self.spec.hold_off_samples);
    }

    /// Begin of the train that is followed or, without one, of the peak that may begin it.
    pub(crate) fn followed_from(&self) -> Option<u64> {
        match (&self.train, self.turn) {
            (Some(train), _) => Some(train.begin),
            (None, Turn::Peak { highest }) => Some(highest.begin_sample),
            (None, Turn::Valley { .. }) => None,
        }
    }

    pub(crate) fn so_far(&self) -> Option<Event> {
        let train = self.train?;
        Some(train.event(train.id?, Ending::StretchEnded, self.spec.rate_hz))
    }

    pub(crate) fn end_stretch(&mut self, known_at_sample: u64, out: &mut Vec<Told>) {
        if let Some(train) = self.train {
            self.end_train(train, Ending::StretchEnded, known_at_sample, out);
        }
        self.turn = START;
        self.latest.clear();
        self.slots.clear();
        self.hold_until = 0;
    }
}

impl Train {
    fn event(&self, id: EventId, ending: Ending, rate_hz: f64) -> Event {
        let Spread {
            count,
            mean,
            squares,
        } = self.intervals;
        Event {
            id,
            begin_sample: self.begin,
            end_sample: self.last_end,
            peak_sample: self.peak_sample,
            peak_level_db: self.peak_level_db,
            mean_level_db: mean_level_db(self.energy, u64::from(self.pulses)),
            background_db: Some(self.background_db),
            score_db: self.score_db,
            pulses: Some(self.pulses),
            sweep: None,
            intervals: (count > 0.0).then(|| Intervals {
                mean_s: mean / rate_hz,
                spread: libm::sqrt(squares / count) / mean,
            }),
            ending,
        }
    }
}
