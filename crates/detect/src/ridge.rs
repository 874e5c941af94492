//! Following a frequency that moves: peaks linked from frame to frame, judged by length and by the straight line through them.
//!
//! - *Peak.* A peak of a cell that lies at least `above_db` over the background of its own frequency.
//! - *Link.* A peak goes on with a ridge if its frequency differs from that of the ridge's latest peak by no more than the steepest
//!   slope allows in the time between, and one bin; against the sense of a rising or falling ridge by one bin at most. Of all
//!   pairs of ridge and peak the closest is linked first: closest to where the ridge's own line would be (until it has four peaks: to
//!   its latest peak); of equals the older ridge, then the stronger peak. A ridge takes one peak of a cell. What is left begins new ridges.
//! - *Gap.* A ridge is over at the first cell with which it has been unheard for longer than `gap_s`.
//! - *Line.* Least squares of the frequencies of its peaks against the middles of their tiles.
//! - *Told.* A ridge of `shortest_s` or more that was heard in three cells or more and in at least half of the cells from its begin to
//!   its end (else it is never told of) is told when it is over: onset, and then
//!   confirmed and ended if the slope of its line lies within the limits and goes the right way, otherwise dropped. The
//!   line of a part of a ridge says little, so nothing is told of one that goes on, but that it is too long: onset and dropped at
//!   the first cell with which its length exceeds `longest_s`; whatever goes on belongs to the same ridge.
//! - *Hold-off* runs from the end of every confirmed ridge. A ridge that is over before the end of it is not told of. Without a hold-off, ridges
//!   that lie beside each other or cross are told each for itself.
//! - *End of the stretch*: a ridge that is long enough to be told of is dropped with [`Reason::StretchEnded`].
//!
//! At most 32 ridges are followed; for one more, the one that has been unheard for the longest time gives way.

use alloc::vec::Vec;

use crate::cell::{Cell, Peak, Peaks};
use crate::judge::Judge;
use crate::notice::{Ending, Event, EventId, Notice, Reason, Sweep, Told};
use crate::resolve::RidgeSpec;
use crate::spec::Sense;
use crate::trigger::mean_level_db;

const MOST_RIDGES: usize = 32;
/// Peaks that a line needs to mean anything.
const LEAST_PEAKS: u64 = 3;
/// Peaks from which on a ridge's own line foretells its next.
const FORETELLING_PEAKS: u64 = 4;

#[derive(Clone, Debug)]
pub(crate) struct RidgeLogic {
    spec: RidgeSpec,
    /// Distance between the cells of a frame, Hz.
    bin_hz: f64,
    judge: Judge,
    next_id: u64,
    hold_until: u64,
    /// Oldest first.
    ridges: Vec<Ridge>,
}

#[derive(Clone, Copy, Debug)]
struct Ridge {
    begin: u64,
    /// End of the cell of its latest peak.
    end: u64,
    overlong: bool,
    /// Numbers of its first and latest cell.
    first_index: u64,
    last_index: u64,
    line: Line,
    last_hz: f64,
    last_middle: u64,
    peak_level_db: f64,
    peak_sample: u64,
    energy: f64,
    background_db: f64,
    score_db: f64,
}

impl RidgeLogic {
    pub(crate) fn new(spec: RidgeSpec, bin_hz: f64, judge: Judge) -> Self {
        Self {
            spec,
            bin_hz,
            judge,
            next_id: 0,
            hold_until: 0,
            ridges: Vec::with_capacity(MOST_RIDGES),
        }
    }

    pub(crate) fn judges(&self) -> bool {
        self.judge.waits()
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        self.ridges.capacity() * size_of::<Ridge>() + self.judge.bytes()
    }

    pub(crate) fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        let mut peaks: [Option<Peak>; Peaks::MOST] = [None; Peaks::MOST];
        let loud = cell
            .peaks
            .iter()
            .filter(|peak| peak.excess_db >= self.spec.above_db);
        for (place, peak) in peaks.iter_mut().zip(loud) {
            *place = Some(*peak);
        }
        while let Some((ridge, peak)) = self.closest(cell, &peaks) {
            let found = peaks[peak].take().expect("the closest peak is free");
            self.ridges[ridge].take(&found, cell, self.spec.rate_hz);
            self.drop_overlong(ridge, cell, out);
        }
        for peak in peaks.iter().flatten() {
            self.begin(peak, cell);
        }
        self.close(cell, out);
    }

    /// The pair of ridge and peak that lie closest, of those that may be linked.
    fn closest(&self, cell: &Cell, peaks: &[Option<Peak>; Peaks::MOST]) -> Option<(usize, usize)> {
        let middle = cell.middle_sample();
        let mut best: Option<(f64, usize, usize)> = None;
        for (i, ridge) in self.ridges.iter().enumerate() {
            if ridge.last_middle >= middle {
                continue;
            }
            let after_s = (middle - ridge.last_middle) as f64 / self.spec.rate_hz;
            for (j, peak) in peaks.iter().enumerate() {
                let Some(peak) = peak else { continue };
                if !self.may_follow(peak.frequency_hz - ridge.last_hz, after_s) {
                    continue;
                }
                let foretold_hz = ridge.last_hz + ridge.foretold_slope() * after_s;
                let away_hz = (peak.frequency_hz - foretold_hz).abs();
                if best.is_none_or(|(least_hz, ..)| away_hz < least_hz) {
                    best = Some((away_hz, i, j));
                }
            }
        }
        best.map(|(_, ridge, peak)| (ridge, peak))
    }

    fn may_follow(&self, jump_hz: f64, after_s: f64) -> bool {
        let bin_hz = self.bin_hz;
        let far_hz = self.spec.most_slope_hz_per_s * after_s + bin_hz;
        let (down_hz, up_hz) = match self.spec.sense {
            Sense::Rising => (bin_hz, far_hz),
            Sense::Falling => (far_hz, bin_hz),
            Sense::Any => (far_hz, far_hz),
        };
        (-down_hz..=up_hz).contains(&jump_hz)
    }

    fn begin(&mut self, peak: &Peak, cell: &Cell) {
        if self.ridges.len() == MOST_RIDGES {
            let lapsed = (0..MOST_RIDGES)
                .min_by_key(|&i| self.ridges[i].end)
                .expect("all places are taken");
            self.ridges.remove(lapsed);
        }
        self.ridges.push(Ridge {
            begin: cell.begin_sample,
            end: cell.end_sample,
            overlong: false,
            first_index: cell.index,
            last_index: cell.index,
            line: Line::from(peak.frequency_hz),
            last_hz: peak.frequency_hz,
            last_middle: cell.middle_sample(),
            peak_level_db: peak.level_db,
            peak_sample: cell.middle_sample(),
            energy: power(peak.level_db),
            background_db: peak.level_db - peak.excess_db,
            score_db: peak.excess_db,
        });
    }

    fn drop_overlong(&mut self, ridge: usize, cell: &Cell, out: &mut Vec<Told>) {
        let found = &mut self.ridges[ridge];
        let length = found.end - found.begin;
        if !found.overlong
            && self
                .spec
                .longest_samples
                .is_some_and(|longest| length > longest)
        {
            found.overlong = true;
            if self.is_held(self.ridges[ridge].end) {
                return;
            }
            let id = self.onset(cell.known_at_sample, out);
            out.push(Told {
                notice: Notice::Dropped(id, Reason::TooLong),
                known_at_sample: cell.known_at_sample,
            });
        }
    }

    /// Tell of the ridges that are over with this cell.
    fn close(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        let mut at = 0;
        while at < self.ridges.len() {
            if cell.end_sample - self.ridges[at].end > self.spec.gap_samples {
                let ridge = self.ridges.remove(at);
                self.tell(&ridge, cell.known_at_sample, out);
            } else {
                at += 1;
            }
        }
    }

    fn is_held(&self, end: u64) -> bool {
        end < self.hold_until
    }

    fn is_long_enough(&self, ridge: &Ridge) -> bool {
        !ridge.overlong
            && ridge.end - ridge.begin >= self.spec.shortest_samples
            && ridge.line.peaks >= LEAST_PEAKS
            && 2 * ridge.line.peaks > ridge.last_index - ridge.first_index
            && !self.is_held(ridge.end)
    }

    fn tell(&mut self, ridge: &Ridge, known_at_sample: u64, out: &mut Vec<Told>) {
        if !self.is_long_enough(ridge) {
            return;
        }
        let id = self.onset(known_at_sample, out);
        let event = ridge.event(id, self.spec.rate_hz);
        let mut tell = |notice| {
            out.push(Told {
                notice,
                known_at_sample,
            });
        };
        if !self.is_wanted(ridge.line.slope()) {
            tell(Notice::Dropped(id, Reason::WrongSlope));
        } else if !self.judge.accepts(&event) {
            tell(Notice::Dropped(id, Reason::Unlikely));
        } else {
            tell(Notice::Confirmed(id));
            tell(Notice::Ended(event));
            if self.spec.hold_off_samples > 0 {
                self.hold_until = ridge.end.saturating_add(self.spec.hold_off_samples);
            }
        }
    }

    fn is_wanted(&self, slope_hz_per_s: f64) -> bool {
        let steepness = match self.spec.sense {
            Sense::Rising => slope_hz_per_s,
            Sense::Falling => -slope_hz_per_s,
            Sense::Any => slope_hz_per_s.abs(),
        };
        (self.spec.least_slope_hz_per_s..=self.spec.most_slope_hz_per_s).contains(&steepness)
    }

    fn onset(&mut self, known_at_sample: u64, out: &mut Vec<Told>) -> EventId {
        let id = EventId(self.next_id);
        self.next_id += 1;
        out.push(Told {
            notice: Notice::Onset(id),
            known_at_sample,
        });
        id
    }

    /// Begin of the earliest ridge that may still become an event.
    pub(crate) fn followed_from(&self) -> Option<u64> {
        self.ridges
            .iter()
            .filter(|ridge| !ridge.overlong)
            .map(|ridge| ridge.begin)
            .min()
    }

    pub(crate) fn end_stretch(&mut self, known_at_sample: u64, out: &mut Vec<Told>) {
        while !self.ridges.is_empty() {
            let ridge = self.ridges.remove(0);
            if self.is_long_enough(&ridge) {
                let id = self.onset(known_at_sample, out);
                out.push(Told {
                    notice: Notice::Dropped(id, Reason::StretchEnded),
                    known_at_sample,
                });
            }
        }
        self.hold_until = 0;
    }
}

impl Ridge {
    fn take(&mut self, peak: &Peak, cell: &Cell, rate_hz: f64) {
        let middle = cell.middle_sample();
        let first_middle = self.begin + (cell.end_sample - cell.begin_sample) / 2;
        self.line
            .take((middle - first_middle) as f64 / rate_hz, peak.frequency_hz);
        self.end = cell.end_sample;
        self.last_index = cell.index;
        self.last_hz = peak.frequency_hz;
        self.last_middle = middle;
        if peak.level_db > self.peak_level_db {
            self.peak_level_db = peak.level_db;
            self.peak_sample = middle;
        }
        self.energy += power(peak.level_db);
        self.score_db = self.score_db.max(peak.excess_db);
    }

    fn foretold_slope(&self) -> f64 {
        if self.line.peaks >= FORETELLING_PEAKS {
            self.line.slope()
        } else {
            0.0
        }
    }

    fn event(&self, id: EventId, rate_hz: f64) -> Event {
        // The line's times count from the middle of the first tile; all tiles are as long as that of the last peak.
        let half_s = (self.end - self.last_middle) as f64 / rate_hz;
        let length_s = (self.end - self.begin) as f64 / rate_hz;
        Event {
            id,
            begin_sample: self.begin,
            end_sample: self.end,
            peak_sample: self.peak_sample,
            peak_level_db: self.peak_level_db,
            mean_level_db: mean_level_db(self.energy, self.line.peaks),
            background_db: Some(self.background_db),
            score_db: self.score_db,
            pulses: None,
            sweep: Some(Sweep {
                from_hz: self.line.at(-half_s),
                to_hz: self.line.at(length_s - half_s),
            }),
            intervals: None,
            ending: Ending::Quiet,
        }
    }
}

/// Sums for the straight line through points: times from the first, frequencies from the first one's.
#[derive(Clone, Copy, Debug)]
struct Line {
    first_hz: f64,
    peaks: u64,
    t: f64,
    f: f64,
    tt: f64,
    tf: f64,
}

impl Line {
    fn from(first_hz: f64) -> Self {
        Self {
            first_hz,
            peaks: 1,
            t: 0.0,
            f: 0.0,
            tt: 0.0,
            tf: 0.0,
        }
    }

    fn take(&mut self, after_s: f64, frequency_hz: f64) {
        let f = frequency_hz - self.first_hz;
        self.peaks += 1;
        self.t += after_s;
        self.f += f;
        self.tt += after_s * after_s;
        self.tf += after_s * f;
    }

    /// Hz/s; needs two points at different times.
    fn slope(&self) -> f64 {
        let n = self.peaks as f64;
        (n * self.tf - self.t * self.f) / (n * self.tt - self.t * self.t)
    }

    fn at(&self, after_s: f64) -> f64 {
        let n = self.peaks as f64;
        self.first_hz + self.f / n + self.slope() * (after_s - self.t / n)
    }
}

fn power(level_db: f64) -> f64 {
    libm::pow(10.0, level_db / 10.0)
}
