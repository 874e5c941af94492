//! The operating curve of a record of tuning: what the detector did in the same recordings at other thresholds than its own.
//!
//! It counts for a detector that differs from the one of the record in its deciding threshold alone (and in what moves with it by as many
//! decibels, `off_below` of a trigger): one pass with many thresholds gives at each the events of a detector of its own
//! (docs/method/evaluation.md).

use chance::{LimitError, LimitsFrom, clopper_pearson};
use detect::{Spec, Stage};
use plan::{DetectorIx, Line};
use quantity::SECONDS_PER_DAY;
use serde::{Deserialize, Serialize};

use super::{Tuning, digest_of};
use crate::input::{InputError, detector_spec};

/// Thresholds that differ by no more are one, dB.
const SAME_DB: f64 = 1e-6;

/// What a detector did at many thresholds.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TunedCurve {
    /// Digest of all that decides what the detector makes of a recording but its deciding threshold ([`steady_digest`]).
    pub steady_digest: String,
    /// By threshold, rising.
    pub points: Vec<TunedPoint>,
}

/// What it did at one of them.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TunedPoint {
    /// The deciding threshold as the stages have it, dB: of a fixed level re 1 uPa, in air too.
    pub threshold_db: f64,
    /// Labels that were found.
    pub hits: u64,
    /// Events that found none.
    pub false_alarms: u64,
    /// These on each day of the record; `None` where it has no days.
    pub by_day: Option<Vec<u64>>,
}

/// Where a threshold lies on a curve.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum OnCurve<'a> {
    /// At one that was tried.
    At(&'a TunedPoint),
    /// Between these two.
    Between(&'a TunedPoint, &'a TunedPoint),
    /// Below the first or above the last, dB.
    Beyond {
        /// The first.
        lowest_db: f64,
        /// The last.
        highest_db: f64,
    },
}

impl TunedCurve {
    /// Where a threshold lies, dB as the stages have it. A curve without points is beyond itself.
    #[must_use]
    pub fn at(&self, threshold_db: f64) -> OnCurve<'_> {
        let same = |p: &&TunedPoint| (p.threshold_db - threshold_db).abs() <= SAME_DB;
        if let Some(point) = self.points.iter().find(same) {
            return OnCurve::At(point);
        }
        let after = self
            .points
            .partition_point(|p| p.threshold_db < threshold_db);
        match (after.checked_sub(1), self.points.get(after)) {
            (Some(before), Some(next)) => OnCurve::Between(&self.points[before], next),
            _ => OnCurve::Beyond {
                lowest_db: self.points.first().map_or(f64::NAN, |p| p.threshold_db),
                highest_db: self.points.last().map_or(f64::NAN, |p| p.threshold_db),
            },
        }
    }
}

/// Digest of all that decides what a detector makes of a recording at a rate (that of its sensor when not given), its deciding threshold
/// left out: two detectors that have it differ in that one number at most, and in what moves with it.
///
/// # Errors
/// As [`super::chain_digest`].
pub fn steady_digest(
    line: &Line,
    detector: DetectorIx,
    rate_hz: Option<f64>,
) -> Result<String, InputError> {
    let spec = detector_spec(line, detector, rate_hz)?;
    digest_of(line, detector, &steady(&spec))
}

/// The detector with its deciding threshold at 0 dB.
fn steady(spec: &Spec) -> Spec {
    let mut spec = spec.with_threshold_db(0.0).unwrap_or_else(|| spec.clone());
    for stage in &mut spec.stages {
        if let Stage::Trigger {
            off_below_db: follows,
            ..
        }
        | Stage::Pulses {
            prominence_db: follows,
            ..
        } = stage
        {
            // The last digits of a difference are those of the numbers that it is of.
            *follows = libm::round(*follows / SAME_DB) * SAME_DB;
        }
    }
    spec
}

/// A count with its two-sided limits.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Counted {
    /// As it was counted.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Counted {
    /// A line from one to another: the value at a share of the way, with the wider of the limits on either side.
    fn between(a: Counted, b: Counted, share: f64) -> Counted {
        Counted {
            value: a.value + share * (b.value - a.value),
            low: a.low.min(b.low),
            high: a.high.max(b.high),
        }
    }
}

/// What a record shows of a detector at one threshold.
#[derive(Clone, PartialEq, Debug)]
pub struct HeardAt {
    /// The file of labels.
    pub labels: String,
    /// The file of the record.
    pub record: String,
    /// Labels that count.
    pub labelled: u64,
    /// Time in which the detector could decide, s.
    pub judged_s: f64,
    /// Labels that it did not find.
    pub missed: f64,
    /// Share of the labels that it did not find, 0 to 1, with the limits of Clopper and Pearson; `None` without labels.
    pub missed_share: Option<Counted>,
    /// False alarms a day, with the limits that their days show, or else those of so many single events.
    pub false_alarms_per_d: Counted,
    /// What these limits rest on.
    pub limits_from: LimitsFrom,
    /// The thresholds beside it, dB as the stages have them, where it was not tried itself: values lie on a line between theirs, and
    /// limits are the wider ones.
    pub between_db: Option<(f64, f64)>,
}

impl Tuning {
    /// The record as it would be at a threshold that was tried.
    #[must_use]
    pub fn at_point(&self, point: &TunedPoint) -> Tuning {
        let days = self.days.as_ref().map(|days| {
            let by_day = point.by_day.as_deref().unwrap_or(&[]);
            let mut days = days.clone();
            for (day, alarms) in days.iter_mut().zip(by_day) {
                day.false_alarms = *alarms;
            }
            days
        });
        Tuning {
            hits: point.hits,
            false_alarms: point.false_alarms,
            days,
            curve: None,
            ..self.clone()
        }
    }

    /// What its counts show, at a confidence, two-sided.
    ///
    /// # Errors
    /// [`LimitError`] for a confidence that is none, or without any time.
    pub fn heard(&self, record: &str, confidence: f64) -> Result<HeardAt, LimitError> {
        let missed = self.labelled.saturating_sub(self.hits);
        let share = |part: u64| -> Result<Counted, LimitError> {
            let (low, high) = clopper_pearson(part, self.labelled, confidence)?;
            let value = part as f64 / self.labelled as f64;
            Ok(Counted { value, low, high })
        };
        let ((low, high), limits_from) = self.alarm_limits(confidence, SECONDS_PER_DAY)?;
        Ok(HeardAt {
            labels: self.labels.clone(),
            record: record.to_owned(),
            labelled: self.labelled,
            judged_s: self.judged_s,
            missed: missed as f64,
            missed_share: (self.labelled > 0).then(|| share(missed)).transpose()?,
            false_alarms_per_d: Counted {
                value: self.false_alarms as f64 * SECONDS_PER_DAY / self.judged_s,
                low,
                high,
            },
            limits_from,
            between_db: None,
        })
    }

    /// What lies between two thresholds that were tried.
    ///
    /// # Errors
    /// As [`Tuning::heard`].
    pub fn heard_between(
        &self,
        (below, above): (&TunedPoint, &TunedPoint),
        threshold_db: f64,
        record: &str,
        confidence: f64,
    ) -> Result<HeardAt, LimitError> {
        let a = self.at_point(below).heard(record, confidence)?;
        let b = self.at_point(above).heard(record, confidence)?;
        let (low_db, high_db) = (below.threshold_db, above.threshold_db);
        let share = (threshold_db - low_db) / (high_db - low_db);
        let shares = a.missed_share.zip(b.missed_share);
        Ok(HeardAt {
            missed: a.missed + share * (b.missed - a.missed),
            missed_share: shares.map(|(a, b)| Counted::between(a, b, share)),
            false_alarms_per_d: Counted::between(a.false_alarms_per_d, b.false_alarms_per_d, share),
            between_db: Some((low_db, high_db)),
            ..a
        })
    }

    /// Why a record that was read cannot be: a curve that does not belong to it.
    pub(crate) fn odd_curve(&self) -> Option<&'static str> {
        let points = &self.curve.as_ref()?.points;
        let days = self.days.as_ref().map(Vec::len);
        let rising = points
            .windows(2)
            .all(|w| w[0].threshold_db < w[1].threshold_db);
        if points.is_empty() || points.iter().any(|p| !p.threshold_db.is_finite()) || !rising {
            return Some("its thresholds do not rise");
        }
        if points.iter().any(|p| p.hits > self.labelled) {
            return Some("it finds more labels than there are");
        }
        if points
            .iter()
            .any(|p| p.by_day.as_ref().map(Vec::len) != days)
        {
            return Some("its days are not those of the record");
        }
        None
    }
}
