//! What a detector finds and how often it cries wolf, from the evidence that `tune` leaves, with exact limits.
//!
//! The lower limit of the recall decides, and the upper limit of the rate of false alarms; both are two-sided. Where the limits lie on
//! both sides of what is asked, the recordings are too short for a verdict, and it is unknown.

use std::collections::BTreeSet;
use std::path::{Component, Path, PathBuf};

use chance::{
    COVERED_OF_TEN_DAYS, DAY_DRAWS, DAYS_SEED, FEWEST_DAYS, LEAST_OF_DAY_S, LimitsFrom,
    clopper_pearson, garwood,
};
use plan::{DetectorIx, Line, Q, That};
use quantity::{Dimension, EventRate, show, show_number};

use crate::check::{Shelf, setting};
use crate::input::{InputError, detector_spec, threshold_offset_db};
use crate::tuning::{OnCurve, ShelvedTuning, Tuning, chain_digest, steady_digest};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};
use crate::years::CONFIDENCE;

/// A recall less than this over its limit is marginal, points.
const NARROW_POINTS: f64 = 1.0;
/// False alarms, in the period of the limit, less than this under it are marginal.
const NARROW_ALARMS: f64 = 0.1;
/// Most labels and longest time that are worked out as what would be needed, over what there is.
const MOST_TIMES: f64 = 1e4;

/// What a requirement on a detector asks for.
pub(crate) struct Asked<'a> {
    pub(crate) of: DetectorIx,
    /// The file of labels as the plan writes it.
    pub(crate) labels: &'a str,
    pub(crate) confidence: Option<Q>,
}

impl Asked<'_> {
    fn confidence(&self) -> f64 {
        self.confidence.map_or(CONFIDENCE, |q| q.si)
    }

    fn subject(&self, line: &Line) -> String {
        format!("detector.{}", line.detectors[self.of.0].id)
    }

    /// The records that count: of this detector chain and these labels, of every kind, and of recordings that are still the same.
    fn fresh<'s>(&self, line: &Line, shelf: &'s Shelf) -> Result<Vec<&'s ShelvedTuning>, String> {
        let chain = chain_digest(line, self.of, None).map_err(|e| e.to_string())?;
        let own = |tuning: &Tuning| {
            (tuning.chain_digest == chain)
                .then_some(())
                .ok_or_else(another_chain)
        };
        let found = self.fresh_by(line, shelf, own)?;
        Ok(found.into_iter().map(|(shelved, ())| shelved).collect())
    }

    /// The same with what `of_chain` finds in each record; what it says against a record makes that one count for nothing.
    fn fresh_by<'s, T>(
        &self,
        line: &Line,
        shelf: &'s Shelf,
        of_chain: impl Fn(&'s Tuning) -> Result<T, String>,
    ) -> Result<Vec<(&'s ShelvedTuning, T)>, String> {
        let id = &line.detectors[self.of.0].id;
        let again = format!(
            "run `soundline tune` with its recordings and --labels {}",
            self.labels
        );
        let labels = match shelf.labels.get(self.labels) {
            Some(Ok(digest)) => digest,
            Some(Err(why)) => return Err(why.clone()),
            None => return Err("the labels have not been looked at".to_owned()),
        };
        let of_it = |s: &&ShelvedTuning| s.tuning.detector == *id;
        let mut why = format!("it has not been held against labels yet; {again}");
        let mut fresh = Vec::new();
        // What is wrong with a record of these very labels says more than a record of others.
        let mut told = false;
        for shelved in shelf.tunings.iter().filter(of_it) {
            let tuning = &shelved.tuning;
            let found = match of_chain(tuning) {
                _ if tuning.labels_digest != *labels => {
                    if told {
                        continue;
                    }
                    told = same_file(&tuning.labels, self.labels);
                    why = if told {
                        format!("the labels have changed since; {again}")
                    } else {
                        format!(
                            "it has been held against {}, which are other labels; {again}",
                            tuning.labels
                        )
                    };
                    continue;
                }
                Err(other) => {
                    told = true;
                    why = format!("{other}; {again}");
                    continue;
                }
                Ok(found) => found,
            };
            if !tuning.what.is_empty() {
                // A requirement names no kinds: it is held to all that is labelled.
                told = true;
                why = format!(
                    "it has been held against the labels of {} alone, and this asks of all that is labelled in {}; {again} and without --what",
                    tuning.what.join(", "),
                    self.labels
                );
            } else if let Some(first) = shelved.changed.first() {
                told = true;
                why = format!("{first} is not the recording that it was; {again}");
            } else if let Some(first) = shelved.unread.first() {
                told = true;
                why =
                    format!("whether it is still the recording that it was is not known: {first}");
            } else {
                fresh.push((shelved, found));
            }
        }
        if fresh.is_empty() {
            Err(why)
        } else {
            Ok(fresh)
        }
    }
}

fn another_chain() -> String {
    "the detector or its sensor has changed since, or the recordings had another rate".to_owned()
}

/// What a record says of a detector at the threshold that it has in the plan.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Says<'s> {
    /// Its own counts.
    Own,
    /// Its curve, there or between two thresholds of it.
    OnCurve(OnCurve<'s>),
}

/// The records that speak of a detector at the threshold that it has in the plan, by their own counts or by their curves, for each file of
/// labels that requirements on it name.
///
/// # Errors
/// Why there is none.
pub(crate) fn speaking<'s>(
    line: &Line,
    of: DetectorIx,
    shelf: &'s Shelf,
) -> Result<Vec<(&'s ShelvedTuning, Says<'s>)>, String> {
    if let Some(behaviour) = setting(line, of) {
        return Err(format!("behaviour.{behaviour} sets it while it listens"));
    }
    let named = |that: &That| match that {
        That::Recall { of: d, labels, .. } | That::FalseAlarms { of: d, labels, .. } => {
            (*d == of).then(|| labels.clone())
        }
        _ => None,
    };
    let named: BTreeSet<String> = line
        .requirements
        .iter()
        .filter_map(|r| named(&r.that))
        .collect();
    let words = |e: InputError| e.to_string();
    let mut why =
        "no requirement on `recall` or `false-alarms` of it says by which labels".to_owned();
    if named.is_empty() {
        return Err(why);
    }
    let chain = chain_digest(line, of, None).map_err(words)?;
    let steady = steady_digest(line, of, None).map_err(words)?;
    let spec = detector_spec(line, of, None).map_err(words)?;
    let offset_db = threshold_offset_db(line, of);
    let says = |tuning: &'s Tuning| -> Result<Says<'s>, String> {
        if tuning.chain_digest == chain {
            return Ok(Says::Own);
        }
        let Some(curve) = &tuning.curve else {
            return Err(format!(
                "{}, and its record is of a `soundline tune` that kept nothing of other thresholds",
                another_chain()
            ));
        };
        let Some(threshold_db) = spec
            .threshold_db()
            .filter(|_| curve.steady_digest == steady)
        else {
            return Err(format!(
                "more of it than its threshold is another: {}",
                another_chain()
            ));
        };
        match curve.at(threshold_db) {
            OnCurve::Beyond {
                lowest_db,
                highest_db,
            } => Err(format!(
                "it has been held against labels at thresholds from {} to {} dB, and not beyond (`--lowest`, `--highest`)",
                show_number(lowest_db - offset_db),
                show_number(highest_db - offset_db)
            )),
            there => Ok(Says::OnCurve(there)),
        }
    };
    let mut found = Vec::new();
    for labels in &named {
        let asked = Asked {
            of,
            labels,
            confidence: None,
        };
        match asked.fresh_by(line, shelf, says) {
            Ok(fresh) => found.extend(fresh),
            Err(none) => why = none,
        }
    }
    if found.is_empty() {
        Err(why)
    } else {
        Ok(found)
    }
}

/// The records of a detector that count, by the labels that requirements on it name: by their own counts, or as their curves have them at a
/// threshold that was tried.
///
/// # Errors
/// Why there is none.
pub(crate) fn counting(line: &Line, of: DetectorIx, shelf: &Shelf) -> Result<Vec<Tuning>, String> {
    let mut between = None;
    let all = speaking(line, of, shelf)?;
    let counted = all.into_iter().filter_map(|(s, says)| match says {
        Says::Own => Some(s.tuning.clone()),
        Says::OnCurve(OnCurve::At(point)) => Some(s.tuning.at_point(point)),
        Says::OnCurve(_) => {
            between = Some("it has been held against labels at thresholds on either side, and not at this one; run `soundline tune` at it");
            None
        }
    });
    let counted: Vec<Tuning> = counted.collect();
    match between {
        Some(why) if counted.is_empty() => Err(why.to_owned()),
        _ => Ok(counted),
    }
}

/// Whether a record names the file of labels that the plan does, which may be written with `./` or in full.
fn same_file(recorded: &str, written: &str) -> bool {
    let plain = |path| -> PathBuf {
        Path::new(path)
            .components()
            .filter(|c| *c != Component::CurDir)
            .collect()
    };
    let (recorded, written) = (plain(recorded), plain(written));
    recorded == written
        || (recorded.is_absolute() != written.is_absolute()
            && recorded.file_name() == written.file_name())
}

/// The share of labels that a detector finds.
pub(crate) fn recall(line: &Line, asked: &Asked<'_>, at_least: Q, shelf: &Shelf) -> Verdict {
    worst(line, asked, shelf, |tuning| {
        recall_of(tuning, asked, line, at_least.si)
    })
}

/// How often a detector tells of what is not labelled.
pub(crate) fn false_alarms(
    line: &Line,
    asked: &Asked<'_>,
    at_most: EventRate,
    shelf: &Shelf,
) -> Verdict {
    worst(line, asked, shelf, |tuning| {
        alarms_of(tuning, asked, line, at_most)
    })
}

/// Of several records that count the worst decides.
fn worst(
    line: &Line,
    asked: &Asked<'_>,
    shelf: &Shelf,
    judge: impl Fn(&Tuning) -> Verdict,
) -> Verdict {
    match asked.fresh(line, shelf) {
        Err(why) => unknown(asked.subject(line), why),
        Ok(shelved) => {
            let several = shelved.len();
            let judged = shelved.into_iter().map(|s| (judge(&s.tuning), &s.file));
            let (verdict, file) = judged
                .min_by(|(a, _), (b, _)| Verdict::worse_first(a, b))
                .expect("there is at least one record");
            if several == 1 {
                return verdict;
            }
            verdict.because(&format!(
                "; of {several} records that count this is the worst, {file}: move it away to leave it out"
            ))
        }
    }
}

fn recall_of(tuning: &Tuning, asked: &Asked<'_>, line: &Line, at_least: f64) -> Verdict {
    let subject = asked.subject(line);
    let confidence = asked.confidence();
    if tuning.labelled == 0 {
        return unknown(subject, format!("no label of {} counts", tuning.labels));
    }
    let (low, high) = match clopper_pearson(tuning.hits, tuning.labelled, confidence) {
        Ok(limits) => limits,
        Err(error) => return unknown(subject, error.to_string()),
    };
    let share = tuning.hits as f64 / tuning.labelled as f64;
    let seen = format!(
        "{} of {} labels of {} found, {:.1} %, which shows between {:.1} % and {:.1} % at {} confidence, two-sided; matched {}{}",
        tuning.hits,
        tuning.labelled,
        tuning.labels,
        100.0 * share,
        100.0 * low,
        100.0 * high,
        show(confidence, Dimension::Ratio),
        tuning.matched,
        left_out(tuning)
    );
    if low < at_least && high >= at_least {
        let more = if share <= at_least {
            "more labels would not show it unless more of them are found".to_owned()
        } else {
            let needed = growing(|times| {
                let labels = (tuning.labelled as f64 * times).ceil() as u64;
                let hits = (labels as f64 * share).floor() as u64;
                clopper_pearson(hits, labels, confidence)
                    .is_ok_and(|(low, _)| low >= at_least)
                    .then(|| format!("{labels}"))
            });
            match needed {
                Some(labels) => format!("at that share it takes about {labels} labels"),
                None => "the share lies too close to the limit to be shown".to_owned(),
            }
        };
        return unknown(subject, format!("{seen}: too few to tell; {more}"));
    }
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * at_least,
        narrow: NARROW_POINTS,
        unit: "%".to_owned(),
    };
    // The limit that decides: the lower one shows that it is met, the upper one that it is broken.
    let value = if low >= at_least { low } else { high };
    against.judge(subject, 100.0 * value, evidence(tuning), seen)
}

fn alarms_of(tuning: &Tuning, asked: &Asked<'_>, line: &Line, at_most: EventRate) -> Verdict {
    let subject = asked.subject(line);
    let confidence = asked.confidence();
    let period_s = at_most.per_s;
    let rate = |count: u64, judged_s: f64| garwood(count, judged_s / period_s, confidence);
    let ((low, high), from) = match tuning.alarm_limits(confidence, period_s) {
        Ok(limits) => limits,
        Err(_) => return unknown(subject, "there was no time in which it could decide"),
    };
    let period = show(period_s, Dimension::Time);
    let counted = format!(
        "{} in {} in which it could decide",
        match tuning.false_alarms {
            1 => "1 false alarm".to_owned(),
            n => format!("{n} false alarms"),
        },
        show(tuning.judged_s, Dimension::Time)
    );
    let whence = match from {
        LimitsFrom::NoDays => {
            return unknown(
                subject,
                format!(
                    "{counted}; what that shows is unknown: false alarms come in bursts, so that days are drawn whole, and recordings without a time cannot be put in days: name them by when they begin, or run `soundline tune` with --start"
                ),
            );
        }
        LimitsFrom::Days(days) => {
            format!(
                " ({days} days drawn whole {DAY_DRAWS} times, seed {DAYS_SEED}; known bias: of ten days in heavy bursts an upper limit at 95 % was measured to cover {} and not 97.5 %)",
                show(COVERED_OF_TEN_DAYS, Dimension::Ratio)
            )
        }
        LimitsFrom::FewDays(days) => format!(
            " (each taken as single: {} of which {} or more was judged {} too few to draw days whole, {FEWEST_DAYS} are needed, and where they come in bursts the limits are wider)",
            match days {
                1 => "1 day".to_owned(),
                days => format!("{days} days"),
            },
            show(LEAST_OF_DAY_S, Dimension::Time),
            if days == 1 { "is" } else { "are" },
        ),
    };
    let seen = format!(
        "{counted}, which shows between {} and {} in {period} at {} confidence, two-sided{whence}; matched {}{}",
        show_number(low),
        show_number(high),
        show(confidence, Dimension::Ratio),
        tuning.matched,
        left_out(tuning)
    );
    if low <= at_most.count && high > at_most.count {
        let per_s = tuning.false_alarms as f64 / tuning.judged_s;
        let more = if matches!(from, LimitsFrom::Days(_)) {
            "more days would narrow them".to_owned()
        } else if per_s * period_s >= at_most.count {
            "longer recordings would not show it unless it cries less often".to_owned()
        } else {
            let needed = growing(|times| {
                let judged_s = tuning.judged_s * times;
                let alarms = (per_s * judged_s).ceil() as u64;
                rate(alarms, judged_s)
                    .is_ok_and(|(_, high)| high <= at_most.count)
                    .then(|| show(judged_s, Dimension::Time))
            });
            match needed {
                Some(time) => format!("at that rate it takes about {time}"),
                None => "the rate lies too close to the limit to be shown".to_owned(),
            }
        };
        return unknown(subject, format!("{seen}: too short to tell; {more}"));
    }
    // Bursts widen the limits: of single events what is broken stands, and what is kept may not be.
    if let LimitsFrom::FewDays(days) = from
        && high <= at_most.count
    {
        let more = match FEWEST_DAYS - days {
            1 => "1 day".to_owned(),
            more => format!("{more} days"),
        };
        return unknown(
            subject,
            format!(
                "{seen}: it would be kept if each came by itself, which few days do not show; recordings of {more} more settle it"
            ),
        );
    }
    let against = Against {
        side: Side::AtMost,
        limit: at_most.count,
        narrow: NARROW_ALARMS,
        unit: format!("false alarms in {period}"),
    };
    let value = if high <= at_most.count { high } else { low };
    against.judge(subject, value, evidence(tuning), seen)
}

/// What is first enough when there is more and more of it, in steps of 2 %.
fn growing(enough: impl Fn(f64) -> Option<String>) -> Option<String> {
    let mut times = 1.0;
    while times < MOST_TIMES {
        if let Some(found) = enough(times) {
            return Some(found);
        }
        times *= 1.02;
    }
    None
}

/// What of labels and time the counts do not speak of.
fn left_out(tuning: &Tuning) -> String {
    let labels = match tuning.set_aside {
        0 => String::new(),
        n => format!(
            "; {n} more of {} labels lie where nothing was judged, and are neither found nor missed",
            tuning.labelled + n
        ),
    };
    let time = if tuning.settling_s > 0.0 {
        format!(
            "; the first {} after each begin were left out (`--settling`)",
            show(tuning.settling_s, Dimension::Time)
        )
    } else {
        String::new()
    };
    format!("{labels}{time}")
}

fn evidence(tuning: &Tuning) -> Evidence {
    Evidence::Recorded {
        detector: tuning.detector.clone(),
        chain_digest: tuning.chain_digest.clone(),
        labels: tuning.labels.clone(),
        labels_digest: tuning.labels_digest.clone(),
        recordings: tuning.recordings.len(),
        result_digest: tuning.digest(),
    }
}
