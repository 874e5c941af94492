//! One year of hearing, hour by hour: what keeps each hydrophone deaf, causes at once and not multiplied.
//!
//! An hour is cut into six slots. Power, path, clock and heave take whole hours; a start takes the beginning of an hour, up to its last second; strum takes slots, and pick-up a part of each. What is heard is what none of
//! them takes. When in a slot electronics drown a hydrophone is not known: a year has two ends, in one of which that falls on nothing else that keeps it or another hydrophone deaf
//! ([`Falls::Apart`]) and in the other on as much as it can ([`Falls::Together`]). Of each cause is told what it takes by itself and what it alone takes; so the time that is lost lies between the largest of the first and their sum (Frechet), whatever depends on what.

use power::year::MONTH_DAYS;

use super::at_once::{Room, at_once};
use super::cause::Cause;
use super::strums::StrumRun;

/// Slots of an hour.
pub(crate) const SLOTS: usize = 6;
pub(super) const SLOT_S: f64 = 600.0;
pub(super) const HOUR_S: f64 = 3600.0;
const HOURS: usize = 8760;

/// What a hydrophone depends on.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct EarRun {
    /// The track of its power; `None` for one that is never off, or of which that is not known.
    pub(crate) power: Option<usize>,
    /// From the return of its power until it hears and is heard, s.
    pub(crate) start_s: f64,
    /// Tracks of the power of what leads on from it, with the time that the slowest of each takes to boot, s.
    pub(crate) path: Vec<(usize, f64)>,
    /// Track of the power of what sets its clock, and the hours for which the clock is good without it.
    pub(crate) clock: Option<(usize, f64)>,
    /// Wind of each month above which its chain is clipped, m/s.
    pub(crate) clips_above_m_s: Option<[f64; 12]>,
    /// Ropes beside it.
    pub(crate) strum: Vec<StrumRun>,
    /// The largest share of the time in which electronics may drown what its detectors listen for, 0 to 1: the same of every slot.
    pub(crate) drowned: f64,
    /// The least.
    pub(crate) drowned_least: f64,
}

impl EarRun {
    /// Whether it is drowned at times and not at others: for how long at a stretch is not known.
    pub(crate) fn drowned_at_times(&self) -> bool {
        self.drowned > 0.0 && self.drowned_least < 1.0
    }
}

/// How the times in which electronics drown hydrophones fall.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Falls {
    /// At their most, on nothing else that keeps a hydrophone deaf, and of several hydrophones so that they are together for the least time.
    Apart,
    /// At their least, on all else that does.
    Together,
}

/// What happens in a year, hour by hour from 1 January.
#[derive(Clone, Copy)]
pub(crate) struct Tracks<'a> {
    /// Whether the power of each track is off.
    pub(crate) off: &'a [Vec<bool>],
    /// The wind, m/s; empty where nothing asks for it.
    pub(crate) wind_m_s: &'a [f64],
    /// Of each hydrophone the slots of each hour that strum, a bit each; empty of one beside which no rope does.
    pub(crate) slots: &'a [Vec<u8>],
    /// The hour at which the deployment begins: the year goes round to it.
    pub(crate) first_hour: usize,
}

/// A year of one hydrophone, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct EarYear {
    pub(crate) heard_s: [f64; 12],
    /// What each cause takes by itself.
    pub(crate) alone_s: [f64; 7],
    /// What no other takes.
    pub(crate) only_s: [f64; 7],
    /// The longest time without hearing.
    pub(crate) gap_s: f64,
}

/// A year of so many hydrophones at once, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct OnceYear {
    pub(crate) heard_s: [f64; 12],
    pub(crate) gap_s: f64,
}

/// A year of the line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct JointYear {
    pub(crate) ears: Vec<EarYear>,
    /// At least one at once, at least two, and so on.
    pub(crate) at_once: Vec<OnceYear>,
    /// The same year where electronics take the least that they can, where it is not known when they do: this one is that of the most.
    pub(crate) at_best: Option<Box<JointYear>>,
}

/// What goes on from hour to hour.
#[derive(Clone, Default)]
struct Going {
    was_off: bool,
    /// Of its start still to come, s.
    start_left_s: f64,
    path: Vec<(bool, f64)>,
    /// Hours since its clock could be set.
    unset_h: f64,
    gap_s: f64,
}

/// An hour of a hydrophone.
#[derive(Clone, Copy, Default)]
pub(super) struct Hour {
    /// Causes that take it whole.
    whole: u8,
    /// Slots that strum.
    slots: u8,
    /// Its first seconds that a start takes, and that the path takes.
    starting_s: f64,
    path_s: f64,
    /// The seconds of each slot in which it is drowned.
    pub(super) drowned_s: f64,
    /// Whether these come after what takes the first seconds of a slot, and not with it.
    pub(super) after: bool,
}

impl Hour {
    pub(super) fn heard(&self) -> bool {
        self.whole == 0 && self.slots == 0 && !self.begins_deaf()
    }

    /// Whether something takes its first seconds: only then is a slot heard in part.
    pub(super) fn begins_deaf(&self) -> bool {
        [self.starting_s, self.path_s, self.drowned_s] != [0.0; 3]
    }

    /// Whether a slot is deaf, of an hour that does not begin deaf.
    pub(super) fn deaf(&self, slot: usize) -> bool {
        self.whole != 0 || self.slots & (1 << slot) != 0
    }

    /// From when on a slot is heard but for what drowns it at times, s from its beginning; all of it deaf at [`SLOT_S`].
    pub(super) fn known_from_s(&self, slot: usize) -> f64 {
        if self.deaf(slot) || self.drowned_s >= SLOT_S {
            return SLOT_S;
        }
        let (starting_s, path_s) = self.begins(slot);
        starting_s.max(path_s)
    }

    /// From when to when a slot is drowned, s from its beginning.
    fn drowned(&self, slot: usize) -> (f64, f64) {
        if !self.after {
            return (0.0, self.drowned_s);
        }
        let (starting_s, path_s) = self.begins(slot);
        let to_s = (starting_s.max(path_s) + self.drowned_s).min(SLOT_S);
        (to_s - self.drowned_s, to_s)
    }

    fn begins(&self, slot: usize) -> (f64, f64) {
        let first_s = SLOT_S * slot as f64;
        let of = |prefix_s: f64| (prefix_s - first_s).clamp(0.0, SLOT_S);
        (of(self.starting_s), of(self.path_s))
    }
}

/// Runs a year.
pub(crate) fn year(ears: &[EarRun], tracks: &Tracks<'_>) -> JointYear {
    let mut found = run(ears, tracks, Falls::Apart);
    if ears.iter().any(EarRun::drowned_at_times) {
        found.at_best = Some(Box::new(run(ears, tracks, Falls::Together)));
    }
    found
}

fn run(ears: &[EarRun], tracks: &Tracks<'_>, falls: Falls) -> JointYear {
    let mut found = JointYear {
        ears: vec![EarYear::default(); ears.len()],
        at_once: vec![OnceYear::default(); ears.len()],
        at_best: None,
    };
    let mut going: Vec<Going> = ears
        .iter()
        .map(|ear| Going {
            path: vec![(false, 0.0); ear.path.len()],
            ..Going::default()
        })
        .collect();
    let mut gaps_s = vec![0.0; ears.len()];
    let mut hours = vec![Hour::default(); ears.len()];
    let mut room = Room::default();
    let months = month_of_hours();
    for turn in 0..HOURS {
        let at = (tracks.first_hour + turn) % HOURS;
        let month = months[at];
        for (ix, ear) in ears.iter().enumerate() {
            let slots = tracks.slots.get(ix).map_or(&[][..], Vec::as_slice);
            let mut hour = hour_of((ear, slots), &mut going[ix], tracks, at, month);
            (hour.drowned_s, hour.after) = match falls {
                Falls::Apart => (ear.drowned * SLOT_S, true),
                Falls::Together => (ear.drowned_least * SLOT_S, false),
            };
            hours[ix] = hour;
            account(&hour, month, &mut found.ears[ix], &mut going[ix].gap_s);
        }
        at_once(&hours, month, &mut found.at_once, &mut gaps_s, &mut room);
    }
    for (ear, going) in found.ears.iter_mut().zip(&going) {
        ear.gap_s = ear.gap_s.max(going.gap_s);
    }
    for (once, gap_s) in found.at_once.iter_mut().zip(&gaps_s) {
        once.gap_s = once.gap_s.max(*gap_s);
    }
    found
}

fn month_of_hours() -> Vec<usize> {
    let months = MONTH_DAYS.iter().enumerate();
    months
        .flat_map(|(month, days)| core::iter::repeat_n(month, 24 * usize::from(*days)))
        .collect()
}

fn hour_of(
    (ear, slots): (&EarRun, &[u8]),
    going: &mut Going,
    tracks: &Tracks<'_>,
    at: usize,
    month: usize,
) -> Hour {
    let mut hour = Hour::default();
    let off = ear.power.is_some_and(|track| tracks.off[track][at]);
    if off {
        hour.whole |= Cause::Power.bit();
        going.start_left_s = 0.0;
    } else {
        if going.was_off {
            going.start_left_s = ear.start_s;
        }
        hour.starting_s = going.start_left_s.min(HOUR_S);
        going.start_left_s -= hour.starting_s;
    }
    going.was_off = off;
    for (&(track, boots_s), (was_off, left_s)) in ear.path.iter().zip(&mut going.path) {
        let off = tracks.off[track][at];
        if off {
            hour.whole |= Cause::Path.bit();
            *left_s = 0.0;
        } else {
            if *was_off {
                *left_s = boots_s;
            }
            let part_s = left_s.min(HOUR_S);
            hour.path_s = hour.path_s.max(part_s);
            *left_s -= part_s;
        }
        *was_off = off;
    }
    if let Some((track, holds_h)) = ear.clock {
        going.unset_h = if tracks.off[track][at] {
            going.unset_h + 1.0
        } else {
            0.0
        };
        if going.unset_h > holds_h {
            hour.whole |= Cause::Clock.bit();
        }
    }
    if let Some(above_m_s) = &ear.clips_above_m_s
        && tracks.wind_m_s[at] > above_m_s[month]
    {
        hour.whole |= Cause::Heave.bit();
    }
    hour.slots = slots.get(at).copied().unwrap_or(0);
    hour
}

fn account(hour: &Hour, month: usize, year: &mut EarYear, gap_s: &mut f64) {
    if hour.heard() {
        year.heard_s[month] += HOUR_S;
        close(&mut year.gap_s, gap_s);
        return;
    }
    if !hour.begins_deaf() {
        for slot in 0..SLOTS {
            if !hour.deaf(slot) {
                year.heard_s[month] += SLOT_S;
                close(&mut year.gap_s, gap_s);
                continue;
            }
            let strums = hour.slots & (1 << slot) != 0;
            let strum = if strums { Cause::Strum.bit() } else { 0 };
            *gap_s += SLOT_S;
            add(year, hour.whole | strum, SLOT_S);
        }
        return;
    }
    for slot in 0..SLOTS {
        let (starting_s, path_s) = hour.begins(slot);
        let mut whole = hour.whole;
        if hour.slots & (1 << slot) != 0 {
            whole |= Cause::Strum.bit();
        }
        let drowned_s = hour.drowned(slot);
        let mut ends = [starting_s, path_s, drowned_s.0, drowned_s.1, SLOT_S];
        ends.sort_unstable_by(f64::total_cmp);
        let mut from_s = 0.0;
        for end_s in ends {
            let seconds = end_s - from_s;
            if seconds > 0.0 {
                let mut causes = whole;
                if from_s < starting_s {
                    causes |= Cause::Starting.bit();
                }
                if from_s < path_s {
                    causes |= Cause::Path.bit();
                }
                if drowned_s.0 <= from_s && from_s < drowned_s.1 {
                    causes |= Cause::PickUp.bit();
                }
                if causes == 0 {
                    year.heard_s[month] += seconds;
                    close(&mut year.gap_s, gap_s);
                } else {
                    add(year, causes, seconds);
                    // For how long at a stretch it is drowned at times is not known, and no part of a time without.
                    if causes == Cause::PickUp.bit() && hour.drowned_s < SLOT_S {
                        close(&mut year.gap_s, gap_s);
                    } else {
                        *gap_s += seconds;
                    }
                }
            }
            from_s = end_s;
        }
    }
}

fn add(year: &mut EarYear, causes: u8, seconds: f64) {
    let one = causes.count_ones() == 1;
    // The bit of a cause is that of its place.
    let mut left = causes;
    while left != 0 {
        let cause = left.trailing_zeros() as usize;
        left &= left - 1;
        year.alone_s[cause] += seconds;
        if one {
            year.only_s[cause] += seconds;
        }
    }
}

pub(super) fn close(longest_s: &mut f64, gap_s: &mut f64) {
    if *gap_s > 0.0 {
        *longest_s = longest_s.max(*gap_s);
        *gap_s = 0.0;
    }
}

#[cfg(test)]
#[path = "joint_tests.rs"]
mod tests;
