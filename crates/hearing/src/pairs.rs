//! The time between two ears: each event of one of them looked for in the other.
//!
//! Of the sound before now each ear of a pair keeps what an event that is not decided may still need, 10 MB at most. When an
//! event is over, and as much has been heard after it as sound may need to the other ear, the sound of the event (with the windows of its
//! cells; of a long one a piece about its loudest) is looked for in the other channel. What makes the answer doubtful is told instead of it, see
//! [`Untold`].

use std::collections::VecDeque;
use std::ops::Range;

use detect::Event;
use signal::{DelayError, likeness_by_chance, time_difference, time_difference_bound_s};
use thiserror::Error;

use crate::full_scale::FullScale;
use crate::heard::{Arrival, Found};

/// Samples that are kept of an ear, a quarter more at times (ours: 8 MB).
const MOST_KEPT: usize = 1 << 21;
/// How long after it begins the sound that is looked for may end and be over, samples (ours). What is kept reaches back farther at any
/// cut into blocks: by what a block or a window may be ahead of the sample at which the end is known.
const OLDEST: u64 = MOST_KEPT as u64 - (1 << 18);
/// Longest piece of an event that is looked for, samples (ours).
const LONGEST: u64 = 1 << 19;
/// With what probability channels with nothing in common may pass for alike (ours).
const CHANCE: f64 = 1e-3;
/// A next peak of this share of the highest leaves the choice open (ours), as does one within so many standard deviations of the difference.
const OPEN_SHARE: f64 = 0.95;
const OPEN_DEVIATIONS: f64 = 3.0;
/// No time is told more finely than this share of a sample, k = 2 (ours).
const FINEST: f64 = 0.02;

/// Two ears between which times are told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EarPair {
    /// Index of one ear.
    pub first: usize,
    /// Index of the other.
    pub second: usize,
    /// The longest time there can be between them, clocks included, s.
    pub most_s: f64,
}

impl EarPair {
    fn other(&self, ear: usize) -> Option<usize> {
        match ear {
            _ if ear == self.first => Some(self.second),
            _ if ear == self.second => Some(self.first),
            _ => None,
        }
    }
}

/// When another ear hears the sound of an event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeHeard {
    /// By how much it hears the sound later, s; negative where it hears it earlier.
    pub later_s: f64,
    /// Uncertainty of that by the estimate alone (k = 2), s: the larger of what the phases tell and of the bound.
    pub uncertainty_s: f64,
    /// Least possible uncertainty (k = 2) by band, length and signal-to-noise ratio, s.
    pub bound_s: f64,
    /// Correlation coefficient of the two channels at that time.
    pub likeness: f64,
    /// Signal-to-noise ratio in the band that the likeness tells, the same in both, dB; `None` where they are alike to the last digit.
    pub snr_db: Option<f64>,
    /// Length of the sound that was looked for, s.
    pub over_s: f64,
    /// Band in which it was, Hz.
    pub band_hz: (f64, f64),
}

/// Why the time to another ear is not told.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum Untold {
    /// The recording begins, ends or has a gap there.
    #[error(
        "the recording begins, ends or has a gap within {most_s:.4} s of the sound, the longest time to the other hydrophone"
    )]
    Gap {
        /// The longest time, s.
        most_s: f64,
    },
    /// Samples at full scale.
    #[error("{samples} samples at full scale: what was louder may be cut off")]
    FullScale {
        /// How many, in both channels.
        samples: u64,
    },
    /// The detector has no band.
    #[error("its detector has no band, and the time is taken within one")]
    NoBand,
    /// Nothing was found by any detector of the other ear.
    #[error("no event of the other channel lies within {most_s:.4} s of it")]
    NotHeard {
        /// The longest time, s.
        most_s: f64,
    },
    /// The channels are no more alike than any two may be.
    #[error(
        "the channels are alike by {likeness:.2} at the best, and with nothing in common they may be by {by_chance:.2}"
    )]
    Unlike {
        /// Height of the peak.
        likeness: f64,
        /// Height that is reached by chance once in a thousand.
        by_chance: f64,
    },
    /// Two times fit about as well.
    #[error("two times fit about as well: likeness {likeness:.3} and {next:.3}")]
    Open {
        /// Height of the peak.
        likeness: f64,
        /// Height of the next.
        next: f64,
    },
    /// The sound is longer than what is kept.
    #[error(
        "its end is known {after_s:.0} s after the sound about its loudest begins, and that is kept for {kept_s:.0} s"
    )]
    TooLong {
        /// From the begin of what is looked for to the sample at which the end is known, s.
        after_s: f64,
        /// For how long it is kept, s.
        kept_s: f64,
    },
    /// Sound, or the clocks, may need longer than is kept.
    #[error(
        "the other hydrophone may hear it up to {most_s:.1} s before or after it: too far to look"
    )]
    TooFar {
        /// The longest time, s.
        most_s: f64,
    },
    /// Too short a sound in too narrow a band.
    #[error("{over_s:.4} s of {wide_hz:.1} Hz are too little to tell a time from")]
    TooLittle {
        /// Length of the sound, s.
        over_s: f64,
        /// Width of the band, Hz.
        wide_hz: f64,
    },
    /// No peak.
    #[error("{0}")]
    Delay(DelayError),
}

/// An event that waits for the other ears.
#[derive(Debug)]
pub(crate) struct Waiting {
    pub(crate) file: usize,
    pub(crate) found: Found,
    event: Event,
    /// Frame after the last one that was needed to know of it.
    known: u64,
    beyond: u64,
    band_hz: Option<(f64, f64)>,
    /// By pair of this ear, in order: what came of it, as soon as it is known.
    arrivals: Vec<(EarPair, Option<Result<TimeHeard, Untold>>)>,
}

/// Frames of an ear that are kept.
#[derive(Debug, Default)]
struct Kept {
    wanted: bool,
    /// First frame since the last gap; `None` until one is heard.
    began: Option<u64>,
    first: u64,
    samples: Vec<f32>,
    /// Begins and ends of its events.
    events: VecDeque<(u64, u64)>,
}

impl Kept {
    fn end(&self) -> u64 {
        self.first + self.samples.len() as u64
    }

    fn part(&self, frames: &Range<u64>) -> Option<&[f32]> {
        let begin = frames.start.checked_sub(self.first)?;
        let end = frames.end.checked_sub(self.first)?;
        self.samples.get(begin as usize..end as usize)
    }

    fn drop_before(&mut self, frame: u64) {
        let length = self.samples.len();
        let old = usize::try_from(frame.saturating_sub(self.first)).unwrap_or(length);
        // Moving what stays is worth it only for a good part of it.
        let old = match old.min(length) {
            old if 2 * old >= length => old,
            old if length > MOST_KEPT + MOST_KEPT / 4 => old.max(length - MOST_KEPT),
            _ => return,
        };
        self.samples.drain(..old);
        self.first += old as u64;
    }
}

/// What is known of an ear while it is heard.
#[derive(Clone, Copy)]
pub(crate) struct EarNow<'a> {
    /// No event of it that is still to be ended begins before this frame; `None` without detectors.
    pub(crate) undecided_from: Option<u64>,
    pub(crate) full_scale: &'a FullScale,
}

/// Pairs at work.
#[derive(Debug)]
pub(crate) struct Pairs {
    rate_hz: f64,
    pairs: Vec<EarPair>,
    kept: Vec<Kept>,
    waiting: Vec<Waiting>,
    /// The farthest that the windows of any detector's cells reach beyond an event.
    beyond: u64,
}

impl Pairs {
    pub(crate) fn new(pairs: &[EarPair], ears: usize, rate_hz: f64) -> Self {
        let mut kept: Vec<Kept> = (0..ears).map(|_| Kept::default()).collect();
        for pair in pairs {
            kept[pair.first].wanted = true;
            kept[pair.second].wanted = true;
        }
        Self {
            rate_hz,
            pairs: pairs.to_vec(),
            kept,
            waiting: Vec::new(),
            beyond: 0,
        }
    }

    /// Whether there are any.
    pub(crate) fn any(&self) -> bool {
        !self.pairs.is_empty()
    }

    /// Whether the ear belongs to a pair.
    pub(crate) fn wants(&self, ear: usize) -> bool {
        self.kept[ear].wanted
    }

    /// Makes room for a detector whose windows reach so far beyond its events.
    pub(crate) fn reach(&mut self, beyond: u64) {
        self.beyond = self.beyond.max(beyond);
    }

    fn most(&self, pair: &EarPair) -> u64 {
        (pair.most_s * self.rate_hz).ceil() as u64 + 1
    }

    /// Takes an event that is over, which the frame before `known` told; `beyond` is how far the windows of its cells reach beyond it.
    pub(crate) fn take(
        &mut self,
        file: usize,
        found: Found,
        event: &Event,
        known: u64,
        beyond: u64,
        band_hz: Option<(f64, f64)>,
    ) {
        let ear = found.ear;
        let own = self.pairs.iter().filter(|pair| pair.other(ear).is_some());
        let arrivals = own.map(|pair| (*pair, None)).collect();
        self.kept[ear]
            .events
            .push_back((event.begin_sample, event.end_sample));
        self.waiting.push(Waiting {
            file,
            found,
            event: *event,
            known,
            beyond,
            band_hz,
            arrivals,
        });
    }

    /// Keeps the next frames of an ear.
    pub(crate) fn hear(&mut self, ear: usize, first: u64, pressure_upa: &[f32]) {
        let kept = &mut self.kept[ear];
        if kept.began.is_none() {
            kept.began = Some(first);
            kept.first = first;
        }
        debug_assert_eq!(kept.end(), first, "frames follow each other");
        kept.samples.extend_from_slice(pressure_upa);
    }

    /// Works out what can be, and hands out the events of which all is known. `over` is whether nothing follows what was heard.
    pub(crate) fn settle(&mut self, ears: &[EarNow<'_>], over: bool) -> Vec<(usize, Found)> {
        for at in 0..self.waiting.len() {
            for pair in 0..self.waiting[at].arrivals.len() {
                if self.waiting[at].arrivals[pair].1.is_none() {
                    let known = self.time(&self.waiting[at], pair, ears, over);
                    self.waiting[at].arrivals[pair].1 = known;
                }
            }
        }
        let mut done = Vec::new();
        let mut waiting = std::mem::take(&mut self.waiting);
        waiting.retain_mut(|one| {
            let all = one
                .arrivals
                .iter()
                .all(|(pair, known)| known.is_some() && (over || self.decided(one, pair, ears)));
            if all {
                let mut found = one.found.clone();
                found.arrivals = one
                    .arrivals
                    .iter()
                    .map(|(pair, known)| self.arrival(one, pair, *known, ears))
                    .collect();
                done.push((one.file, found));
            }
            !all
        });
        self.waiting = waiting;
        self.forget(ears, over);
        done
    }

    /// Whether the other ear can tell of no further event about the same time.
    fn decided(&self, one: &Waiting, pair: &EarPair, ears: &[EarNow<'_>]) -> bool {
        let other = pair.other(one.found.ear).expect("a pair of this ear");
        let until = one.event.end_sample + self.most(pair);
        ears[other]
            .undecided_from
            .is_none_or(|undecided| undecided >= until)
    }

    fn arrival(
        &self,
        one: &Waiting,
        pair: &EarPair,
        known: Option<Result<TimeHeard, Untold>>,
        ears: &[EarNow<'_>],
    ) -> Arrival {
        let other = pair.other(one.found.ear).expect("a pair of this ear");
        let most = self.most(pair);
        let about = |&(begin, end): &(u64, u64)| {
            begin < one.event.end_sample + most && one.event.begin_sample < end + most
        };
        let listens = ears[other].undecided_from.is_some();
        let time = match known.expect("all is known") {
            Ok(_) if listens && !self.kept[other].events.iter().any(about) => {
                Err(Untold::NotHeard {
                    most_s: pair.most_s,
                })
            }
            time => time,
        };
        Arrival { ear: other, time }
    }

    /// How far before its begin an event is looked for, frames.
    pub(crate) fn margin(&self) -> u64 {
        let longest = self.pairs.iter().map(|pair| self.most(pair)).max();
        self.beyond + 2 * longest.unwrap_or(0)
    }

    /// Forgets what no event needs any more.
    fn forget(&mut self, ears: &[EarNow<'_>], over: bool) {
        let margin = self.margin();
        let waits = self.waiting.iter().map(|one| one.event.begin_sample);
        let open = ears.iter().filter_map(|ear| ear.undecided_from);
        let from = waits.chain(open).min().unwrap_or(u64::MAX);
        let from = from.saturating_sub(margin);
        for kept in self.kept.iter_mut().filter(|kept| kept.wanted) {
            if over {
                kept.began = None;
                kept.samples.clear();
                kept.events.clear();
                continue;
            }
            kept.drop_before(from);
            while kept.events.front().is_some_and(|(_, end)| *end < from) {
                kept.events.pop_front();
            }
        }
    }

    /// Begin of the earliest event that waits.
    pub(crate) fn waits_from(&self) -> Option<u64> {
        self.waiting.iter().map(|one| one.event.begin_sample).min()
    }

    /// Events of a file that wait.
    pub(crate) fn waiting_in(&self, file: usize) -> usize {
        self.waiting.iter().filter(|one| one.file == file).count()
    }

    /// The time to the other ear of a pair; `None` while more has to be heard.
    fn time(
        &self,
        one: &Waiting,
        pair: usize,
        ears: &[EarNow<'_>],
        over: bool,
    ) -> Option<Result<TimeHeard, Untold>> {
        let (pair, _) = &one.arrivals[pair];
        let (own, most) = (one.found.ear, self.most(pair));
        let other = pair.other(own).expect("a pair of this ear");
        let Some(band_hz) = one.band_hz else {
            return Some(Err(Untold::NoBand));
        };
        if most > MOST_KEPT as u64 / 4 {
            return Some(Err(Untold::TooFar {
                most_s: pair.most_s,
            }));
        }
        let piece = piece(&one.event, one.beyond);
        let gap = Untold::Gap {
            most_s: pair.most_s,
        };
        let Some(begin) = piece.start.checked_sub(most) else {
            return Some(Err(gap));
        };
        let around = begin..piece.end + most;
        if self.kept[other].end() < around.end && !over {
            return None;
        }
        if self.kept[other]
            .began
            .is_none_or(|began| around.start < began)
        {
            return Some(Err(gap));
        }
        let age = one.known.max(around.end) - around.start;
        let gone = |ear: usize, frame: u64| frame < self.kept[ear].first;
        if age > OLDEST || gone(own, piece.start) || gone(other, around.start) {
            return Some(Err(Untold::TooLong {
                after_s: age as f64 / self.rate_hz,
                kept_s: OLDEST as f64 / self.rate_hz,
            }));
        }
        let sound = self.kept[own].part(&piece);
        let (Some(sound), Some(heard)) = (sound, self.kept[other].part(&around)) else {
            return Some(Err(gap));
        };
        let count =
            |ear: usize, frames: &Range<u64>| ears[ear].full_scale.count(frames.start, frames.end);
        let samples = count(own, &piece) + count(other, &around);
        if samples > 0 {
            return Some(Err(Untold::FullScale { samples }));
        }
        Some(between(sound, heard, self.rate_hz, band_hz))
    }
}

/// The frames of an event that are looked for: all, or of a long one a piece about its loudest.
fn piece(event: &Event, beyond: u64) -> Range<u64> {
    let whole = event.begin_sample.saturating_sub(beyond)..event.end_sample + beyond;
    if whole.end - whole.start <= LONGEST {
        return whole;
    }
    let begin = event
        .peak_sample
        .saturating_sub(LONGEST / 2)
        .clamp(whole.start, whole.end - LONGEST);
    begin..begin + LONGEST
}

/// The time by which a sound is heard later in another channel, or why none is told.
fn between(
    sound: &[f32],
    other: &[f32],
    rate_hz: f64,
    band_hz: (f64, f64),
) -> Result<TimeHeard, Untold> {
    let over_s = sound.len() as f64 / rate_hz;
    let most_s = (other.len() - sound.len()) as f64 / 2.0 / rate_hz;
    let wide_hz = band_hz.1 - band_hz.0;
    let too_little = Untold::TooLittle { over_s, wide_hz };
    let by_chance = likeness_by_chance(CHANCE, band_hz, over_s, most_s).map_err(|_| too_little)?;
    let found = time_difference(sound, other, rate_hz, band_hz).map_err(Untold::Delay)?;
    let likeness = found.likeness;
    if likeness.is_nan() || likeness <= by_chance {
        return Err(Untold::Unlike {
            likeness,
            by_chance,
        });
    }
    let rest = 1.0 - (likeness * likeness).min(1.0);
    if let Some(next) = found.next {
        let deviation = rest / (over_s * wide_hz).sqrt();
        if next > OPEN_SHARE * likeness || likeness - next < OPEN_DEVIATIONS * deviation {
            return Err(Untold::Open { likeness, next });
        }
    }
    let snr = likeness / (1.0 - likeness);
    let snr = (snr.is_finite() && snr > 0.0).then_some(snr);
    let bound_s = match snr {
        Some(snr) => 2.0 * time_difference_bound_s(snr, band_hz, over_s).map_err(Untold::Delay)?,
        None => 0.0,
    };
    if !found.spread_s.is_finite() {
        return Err(too_little);
    }
    Ok(TimeHeard {
        later_s: found.later_s,
        uncertainty_s: (2.0 * found.spread_s).max(bound_s).max(FINEST / rate_hz),
        bound_s,
        likeness,
        snr_db: snr.map(|snr| 10.0 * libm::log10(snr)),
        over_s,
        band_hz,
    })
}
