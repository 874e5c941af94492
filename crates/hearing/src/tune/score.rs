//! What was found in a stretch against what is labelled there, threshold by threshold.
//!
//! Only the time counts in which the detector could decide. A label of which less than half lies in that time is set aside: an
//! event that takes it is neither a hit nor a false alarm.

use detect::{Rule, Sounding, match_events};

use super::days::DayCounts;
use super::labels::Label;
use super::trial::{Mark, Trial};

/// What was found at one threshold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Events that took a label.
    pub hits: u64,
    /// Events that took none.
    pub false_alarms: u64,
}

/// What an event at the threshold of the plan turned out to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It took the label on this line.
    Hit {
        /// Line of the label.
        line: usize,
    },
    /// It took none; `what` of the label that was not chosen and lies where it is.
    FalseAlarm {
        /// The kind of that label, if there is one.
        on: Option<String>,
    },
    /// It took a label that does not count, or began where the detector was still settling.
    SetAside,
}

/// A stretch, scored.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Score {
    /// Time in which the detector could decide, s.
    pub judged_s: f64,
    /// Time of the files that was heard, gaps among it, s.
    pub heard_s: f64,
    /// Labels that count.
    pub labelled: u64,
    /// Lines of the labels that do not.
    pub set_aside: Vec<usize>,
    /// By threshold.
    pub counts: Vec<Counts>,
    /// By day of UTC; `None` where a file has no time.
    pub days: Option<Vec<DayCounts>>,
    /// By event at the threshold of the plan, in the order of the trial.
    pub outcomes: Vec<Outcome>,
    /// Lines of the labels that count and were missed at the threshold of the plan.
    pub missed: Vec<usize>,
}

/// Labels of the files of a stretch, by file, in s of the file.
#[derive(Debug, Clone, Copy)]
pub struct OfStretch<'a> {
    /// Those to be found.
    pub chosen: &'a [Vec<Label>],
    /// Those of other kinds.
    pub others: &'a [Vec<Label>],
}

/// Scores a trial. `whole` is the threshold whose events the trial kept whole; `settling_s` is what does not count after the
/// begin of the stretch and after each gap, s.
#[must_use]
pub fn score(
    trial: &Trial,
    labels: OfStretch<'_>,
    rule: Rule,
    whole: usize,
    settling_s: f64,
) -> Score {
    let rate_hz = trial.rate_hz;
    let spans = settled(trial, settling_s);
    let chosen = in_stretch(trial, labels.chosen);
    let truth: Vec<Sounding> = chosen.iter().map(|(_, sounding)| *sounding).collect();
    let counts_for: Vec<bool> = truth
        .iter()
        .map(|t| {
            let judged_s = common_s(&spans, rate_hz, t.begin_s, t.end_s);
            2.0 * judged_s >= t.end_s - t.begin_s
        })
        .collect();
    let mut score = Score {
        judged_s: spans.iter().map(|(b, e)| e - b).sum::<u64>() as f64 / rate_hz,
        heard_s: trial.hearings.iter().map(|h| h.duration_s).sum(),
        labelled: counts_for.iter().filter(|counts| **counts).count() as u64,
        set_aside: chosen
            .iter()
            .zip(&counts_for)
            .filter(|(_, counts)| !**counts)
            .map(|((line, _), _)| *line)
            .collect(),
        ..Score::default()
    };
    let mut calendar = Calendar::of(trial, &spans);
    let others = in_stretch(trial, labels.others);
    let kinds: Vec<&Label> = labels.others.iter().flatten().collect();
    for (i, marks) in trial.marks.iter().enumerate() {
        let within: Vec<bool> = marks.iter().map(|m| holds(&spans, m.begin)).collect();
        let found: Vec<Sounding> = marks
            .iter()
            .zip(&within)
            .filter(|(_, within)| **within)
            .map(|(mark, _)| sounding(mark, rate_hz))
            .collect();
        let matching = match_events(&found, &truth, rule);
        let hits = matching.hits.iter().filter(|(_, t)| counts_for[*t]);
        score.counts.push(Counts {
            hits: hits.count() as u64,
            false_alarms: matching.false_alarms.len() as u64,
        });
        if let Some(calendar) = &mut calendar {
            let begins = marks.iter().zip(&within).filter(|(_, within)| **within);
            let begins: Vec<u64> = begins.map(|(mark, _)| mark.begin).collect();
            calendar.cried(matching.false_alarms.iter().map(|&f| begins[f]));
        }
        if i != whole {
            continue;
        }
        let mut outcomes = vec![Outcome::SetAside; found.len()];
        for &(f, t) in matching.hits.iter().filter(|(_, t)| counts_for[*t]) {
            outcomes[f] = Outcome::Hit { line: chosen[t].0 };
        }
        let alarms: Vec<Sounding> = matching.false_alarms.iter().map(|&f| found[f]).collect();
        let other: Vec<Sounding> = others.iter().map(|(_, sounding)| *sounding).collect();
        let mut on = vec![None; alarms.len()];
        for (f, t) in match_events(&alarms, &other, rule).hits {
            on[f].clone_from(&kinds[t].what);
        }
        for (&f, on) in matching.false_alarms.iter().zip(on) {
            outcomes[f] = Outcome::FalseAlarm { on };
        }
        let mut outcomes = outcomes.into_iter();
        let of_mark = |within: &bool| {
            within
                .then(|| outcomes.next())
                .flatten()
                .unwrap_or(Outcome::SetAside)
        };
        score.outcomes = within.iter().map(of_mark).collect();
        let missed = matching.missed.iter().filter(|&&t| counts_for[t]);
        score.missed = missed.map(|&t| chosen[t].0).collect();
    }
    score.days = calendar.map(|c| c.days);
    score
}

const SECONDS_PER_DAY: f64 = 86_400.0;

/// The days of UTC of a stretch all of whose files have a time.
struct Calendar {
    rate_hz: f64,
    /// First frame of each file in the stretch, and its time, s since 1970.
    files: Vec<(u64, f64)>,
    days: Vec<DayCounts>,
}

impl Calendar {
    /// With what was judged on each day; `None` where a file has no time.
    fn of(trial: &Trial, spans: &[(u64, u64)]) -> Option<Calendar> {
        let mut files = Vec::new();
        let mut origin = 0;
        for (hearing, start) in trial.hearings.iter().zip(&trial.starts) {
            let start = (*start)?;
            files.push((origin, start.as_nanosecond() as f64 * 1e-9));
            origin += hearing.frames;
        }
        let mut calendar = Calendar {
            rate_hz: trial.rate_hz,
            files,
            days: Vec::new(),
        };
        for &(begin, end) in spans {
            let mut from = begin;
            while from < end {
                let to = calendar.day_ends(from).min(end);
                let judged_s = (to - from) as f64 / calendar.rate_hz;
                calendar.day_at(from).judged_s += judged_s;
                from = to;
            }
        }
        Some(calendar)
    }

    /// The file in which a frame lies.
    fn file(&self, frame: u64) -> usize {
        let after = self.files.partition_point(|(origin, _)| *origin <= frame);
        after.saturating_sub(1)
    }

    fn seconds(&self, frame: u64) -> f64 {
        let (origin, start_s) = self.files[self.file(frame)];
        start_s + (frame - origin) as f64 / self.rate_hz
    }

    /// First frame that lies on another day than this one, or in the next file.
    fn day_ends(&self, frame: u64) -> u64 {
        let file = self.file(frame);
        let next = self
            .files
            .get(file + 1)
            .map_or(u64::MAX, |(origin, _)| *origin);
        let (origin, start_s) = self.files[file];
        let midnight_s =
            (libm::floor(self.seconds(frame) / SECONDS_PER_DAY) + 1.0) * SECONDS_PER_DAY;
        let frames = libm::ceil((midnight_s - start_s) * self.rate_hz) as u64;
        next.min(origin.saturating_add(frames)).max(frame + 1)
    }

    fn day_at(&mut self, frame: u64) -> &mut DayCounts {
        let day = libm::floor(self.seconds(frame) / SECONDS_PER_DAY) as i64;
        let at = match self.days.binary_search_by_key(&day, |d| d.day) {
            Ok(at) => at,
            Err(at) => {
                let fresh = DayCounts {
                    day,
                    judged_s: 0.0,
                    false_alarms: Vec::new(),
                };
                self.days.insert(at, fresh);
                at
            }
        };
        &mut self.days[at]
    }

    /// The false alarms of one more threshold, by the frames at which they begin.
    fn cried(&mut self, begins: impl Iterator<Item = u64>) {
        for day in &mut self.days {
            day.false_alarms.push(0);
        }
        for begin in begins {
            // What counts begins in judged time, and so on a day that is there.
            if let Some(count) = self.day_at(begin).false_alarms.last_mut() {
                *count += 1;
            }
        }
    }
}

/// Line and place in the stretch of the labels of its files.
fn in_stretch(trial: &Trial, labels: &[Vec<Label>]) -> Vec<(usize, Sounding)> {
    let mut all = Vec::new();
    let mut origin = 0;
    for (hearing, labels) in trial.hearings.iter().zip(labels) {
        let origin_s = origin as f64 / trial.rate_hz;
        all.extend(labels.iter().map(|label| {
            let place = Sounding {
                begin_s: origin_s + label.from_s,
                end_s: origin_s + label.to_s,
                score: 0.0,
                band_hz: label.band_hz,
            };
            (label.line, place)
        }));
        origin += hearing.frames;
    }
    all
}

fn sounding(mark: &Mark, rate_hz: f64) -> Sounding {
    Sounding {
        begin_s: mark.begin as f64 / rate_hz,
        end_s: mark.end as f64 / rate_hz,
        score: mark.score_db,
        band_hz: mark.band_hz,
    }
}

/// The judged spans without what lies within the settling time of a begin.
fn settled(trial: &Trial, settling_s: f64) -> Vec<(u64, u64)> {
    let settling = libm::ceil(settling_s * trial.rate_hz) as u64;
    let cut = |&(begin, end): &(u64, u64)| {
        let after = trial.begins.partition_point(|&b| b <= begin);
        let since = after.checked_sub(1).map_or(0, |i| trial.begins[i]);
        let begin = begin.max(since.saturating_add(settling));
        (begin < end).then_some((begin, end))
    };
    trial.judged.iter().filter_map(cut).collect()
}

fn holds(spans: &[(u64, u64)], frame: u64) -> bool {
    let after = spans.partition_point(|&(begin, _)| begin <= frame);
    after > 0 && frame < spans[after - 1].1
}

/// Time that the spans have in common with another, s.
fn common_s(spans: &[(u64, u64)], rate_hz: f64, begin_s: f64, end_s: f64) -> f64 {
    let first = spans.partition_point(|&(_, end)| end as f64 / rate_hz <= begin_s);
    spans[first..]
        .iter()
        .map(|&(b, e)| (b as f64 / rate_hz, e as f64 / rate_hz))
        .take_while(|&(b, _)| b < end_s)
        .map(|(b, e)| e.min(end_s) - b.max(begin_s))
        .sum()
}
