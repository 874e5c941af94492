//! What tuning a detector leaves beside the plan, for the requirements `recall` and `false-alarms`.
//!
//! The record holds counts, not limits: `check` works these out at the confidence that a requirement asks for. It counts only for the
//! detector chain and the labels whose digests it names. Its curve ([`TunedCurve`]) says what the same detector did at other thresholds.

use std::path::{Path, PathBuf};

use chance::{Day, LEAST_OF_DAY_S, LimitError, LimitsFrom, rate_limits};
use detect::Spec;
use plan::{DetectorIx, Line};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::evidence::{FORMAT, folder};
use crate::input::{InputError, detector_spec, sensor_chain};

mod curve;

pub use curve::{Counted, HeardAt, OnCurve, TunedCurve, TunedPoint, steady_digest};

/// Method of a tuning.
pub const TUNING: &str = "tune/4";
/// The same without its operating curve: it is read, and what the detector does at other thresholds is unknown.
pub const TUNING_WITHOUT_CURVE: &str = "tune/3";

/// What one detector did against one file of labels.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tuning {
    /// The version of the document.
    pub format: String,
    /// The method: [`TUNING`], or [`TUNING_WITHOUT_CURVE`].
    pub method: String,
    /// The program that made it.
    pub program: String,
    /// Digest of the whole plan at the time; it does not decide whether the record counts.
    pub plan_digest: String,
    /// Id of the detector.
    pub detector: String,
    /// Digest of its stages and of its sensor's chain ([`chain_digest`]).
    pub chain_digest: String,
    /// The file of labels, relative to the plan's folder where it lies there.
    pub labels: String,
    /// Digest of its content.
    pub labels_digest: String,
    /// Kinds of labels that were chosen; empty for all.
    pub what: Vec<String>,
    /// How events and labels were matched, in words.
    pub matched: String,
    /// Time after each begin that did not count, s.
    pub settling_s: f64,
    /// The recordings.
    pub recordings: Vec<TunedRecording>,
    /// Labels that count.
    pub labelled: u64,
    /// Labels of the same kinds that do not, as less than half of each lies in time in which the detector could decide.
    pub set_aside: u64,
    /// Those that were found.
    pub hits: u64,
    /// Events that found none.
    pub false_alarms: u64,
    /// Time in which the detector could decide, s.
    pub judged_s: f64,
    /// The same by day of UTC; `None` where a recording has no time.
    pub days: Option<Vec<TunedDay>>,
    /// What it did at other thresholds; `None` of a record of [`TUNING_WITHOUT_CURVE`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub curve: Option<TunedCurve>,
}

/// A day of UTC on which a detector could decide.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TunedDay {
    /// Days since 1970-01-01.
    pub day: i64,
    /// Time of it in which it could decide, s.
    pub judged_s: f64,
    /// Events that begin in it and found no label.
    pub false_alarms: u64,
}

const DAY_S: f64 = 86_400.0;
/// Sums of times agree to so much a day, s.
const NEAR_S: f64 = 0.01;

/// Days of a record that cannot be.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum DaysError {
    /// More than a day, or less than nothing.
    #[error("day {day} says that {judged_s} s of it were judged, and a day has 0 to 86400 s")]
    Length {
        /// Days since 1970-01-01.
        day: i64,
        /// Time judged, s.
        judged_s: f64,
    },
    /// A day twice, or out of order.
    #[error("day {day} does not come after the one before it")]
    Order {
        /// Days since 1970-01-01.
        day: i64,
    },
    /// Other false alarms than those of all.
    #[error("its days have {of_days} false alarms together, and it says {of_all}")]
    Alarms {
        /// Of the days.
        of_days: u64,
        /// Of all.
        of_all: u64,
    },
    /// Another time than that of all.
    #[error("its days have {of_days_s} s judged together, and it says {of_all_s} s")]
    Time {
        /// Of the days, s.
        of_days_s: f64,
        /// Of all, s.
        of_all_s: f64,
    },
}

/// A recording by its content.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TunedRecording {
    /// The file, relative to the plan's folder where it lies there.
    pub file: String,
    /// Its size, bytes.
    pub bytes: u64,
    /// SHA-256 of its content, hexadecimal.
    pub sha256: String,
}

/// A record as it lies on the shelf.
#[derive(Clone, PartialEq, Debug)]
pub struct ShelvedTuning {
    /// The record.
    pub tuning: Tuning,
    /// Its file.
    pub file: String,
    /// Recordings that are there and no longer what they were.
    pub changed: Vec<String>,
    /// Recordings that are there and cannot be read, each with why.
    pub unread: Vec<String>,
}

impl Tuning {
    /// An empty record of this format and method.
    #[must_use]
    pub fn begun() -> Tuning {
        Tuning {
            format: FORMAT.to_owned(),
            method: TUNING.to_owned(),
            program: String::new(),
            plan_digest: String::new(),
            detector: String::new(),
            chain_digest: String::new(),
            labels: String::new(),
            labels_digest: String::new(),
            what: Vec::new(),
            matched: String::new(),
            settling_s: 0.0,
            recordings: Vec::new(),
            labelled: 0,
            set_aside: 0,
            hits: 0,
            false_alarms: 0,
            judged_s: 0.0,
            days: None,
            curve: None,
        }
    }

    /// Limits of its false alarms in a period of so many s, and what they rest on: the days of its recordings drawn whole, or single
    /// events.
    ///
    /// # Errors
    /// [`LimitError`] for a confidence that is none, or without any time.
    pub fn alarm_limits(
        &self,
        confidence: f64,
        period_s: f64,
    ) -> Result<((f64, f64), LimitsFrom), LimitError> {
        let judged_s: Option<Vec<f64>> = self
            .days
            .as_ref()
            .map(|all| all.iter().map(|d| d.judged_s).collect());
        let rests_on = LimitsFrom::days(judged_s.as_deref());
        let days = self.days.as_ref().map(|all| -> Vec<Day> {
            let there = all.iter().filter(|d| d.judged_s > 0.0);
            there
                .map(|d| Day {
                    exposure: d.judged_s / period_s,
                    events: d.false_alarms,
                })
                .collect()
        });
        let exposure = self.judged_s / period_s;
        let limits = rate_limits(
            days.as_deref(),
            LEAST_OF_DAY_S / period_s,
            self.false_alarms,
            exposure,
            confidence,
        )?;
        Ok((limits, rests_on))
    }

    /// What of its days cannot be, held against each other and against its sums.
    ///
    /// # Errors
    /// Every variant of [`DaysError`].
    pub fn days_add_up(&self) -> Result<(), DaysError> {
        let Some(days) = &self.days else {
            return Ok(());
        };
        for (at, d) in days.iter().enumerate() {
            if !(0.0..=DAY_S + NEAR_S).contains(&d.judged_s) {
                return Err(DaysError::Length {
                    day: d.day,
                    judged_s: d.judged_s,
                });
            }
            if at > 0 && days[at - 1].day >= d.day {
                return Err(DaysError::Order { day: d.day });
            }
        }
        let false_alarms = days
            .iter()
            .fold(0u64, |sum, d| sum.saturating_add(d.false_alarms));
        if false_alarms != self.false_alarms {
            return Err(DaysError::Alarms {
                of_days: false_alarms,
                of_all: self.false_alarms,
            });
        }
        let judged_s: f64 = days.iter().map(|d| d.judged_s).sum();
        let near_s = NEAR_S * (1 + days.len()) as f64;
        if (judged_s - self.judged_s).abs() > near_s {
            return Err(DaysError::Time {
                of_days_s: judged_s,
                of_all_s: self.judged_s,
            });
        }
        Ok(())
    }

    /// The record as JSON, ending in a line end.
    #[must_use]
    pub fn to_json(&self) -> String {
        crate::evidence::record_text(self)
    }

    /// Digest of the record.
    #[must_use]
    pub fn digest(&self) -> String {
        plan::hex(&Sha256::digest(self.to_json().as_bytes()))
    }

    /// Where it belongs beside a plan: in a file named for its detector and its content.
    #[must_use]
    pub fn path(&self, plan: &Path) -> PathBuf {
        let digest = self.digest();
        folder(plan).join(format!("tune-{}-{}.json", self.detector, &digest[..16]))
    }
}

/// Digest of all that decides what a detector makes of a recording at a rate (that of its sensor when not given): its stages with their
/// templates, and the sensor's sensitivity, gain and converter.
///
/// # Errors
/// As [`detector_spec`] and [`sensor_chain`].
pub fn chain_digest(
    line: &Line,
    detector: DetectorIx,
    rate_hz: Option<f64>,
) -> Result<String, InputError> {
    let spec = detector_spec(line, detector, rate_hz)?;
    digest_of(line, detector, &spec)
}

/// Digest of a detector's stages, and of the chain of its sensor.
fn digest_of(line: &Line, detector: DetectorIx, spec: &Spec) -> Result<String, InputError> {
    let chain = sensor_chain(line, line.detectors[detector.0].on)?;
    let kind = line.sensor(line.detectors[detector.0].on).kind;
    let whole = format!("{spec:?} {:?} {kind:?}", chain.full_scale_upa());
    Ok(plan::hex(&Sha256::digest(whole.as_bytes())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::{AnyRecord, Record};

    /// Days of more than 24 h, days that come twice and sums that differ are no record.
    #[test]
    fn verif_days_that_cannot_be_are_refused() {
        let day = |day, judged_s, false_alarms| TunedDay {
            day,
            judged_s,
            false_alarms,
        };
        let of = |days: &[TunedDay], judged_s, false_alarms| {
            let tuning = Tuning {
                judged_s,
                false_alarms,
                days: Some(days.to_vec()),
                ..Tuning::begun()
            };
            AnyRecord::from_json(&tuning.to_json()).map_err(|e| e.to_string())
        };
        let whole = [day(5, 80_000.0, 1), day(6, 86_400.0, 2)];
        assert!(of(&whole, 166_400.0, 3).is_ok());
        let long = [day(5, 166_400.0, 3)];
        let twice = [day(5, 80_000.0, 1), day(5, 86_400.0, 2)];
        for (days, judged_s, alarms, told) in [
            (&whole[..], 166_400.0, 4, "3 false alarms together"),
            (&whole[..], 166_500.0, 3, "166400 s judged together"),
            (&long[..], 166_400.0, 3, "a day has 0 to 86400 s"),
            (&twice[..], 166_400.0, 3, "does not come after"),
        ] {
            let error = of(days, judged_s, alarms).unwrap_err();
            assert!(error.contains(told), "{error}");
        }
    }

    #[test]
    fn verif_a_record_survives_its_json_and_is_told_from_a_rehearsal() {
        let tuning = Tuning {
            detector: "upcall".to_owned(),
            judged_s: 0.1 + 0.2,
            hits: 3,
            ..Tuning::begun()
        };
        match AnyRecord::from_json(&tuning.to_json()).unwrap() {
            AnyRecord::Tuning(read) => assert_eq!(read, tuning),
            other => panic!("it is a tuning: {other:?}"),
        }
        let rehearsal = Record::rehearsal(
            "aa".to_owned(),
            "night.toml".to_owned(),
            "bb".to_owned(),
            7,
            "test".to_owned(),
            Vec::new(),
            "cc".to_owned(),
        );
        match AnyRecord::from_json(&rehearsal.to_json()).unwrap() {
            AnyRecord::Rehearsal(read) => assert_eq!(read, rehearsal),
            other => panic!("it is a rehearsal: {other:?}"),
        }
        let path = tuning.path(Path::new("a/plan.toml"));
        assert!(path.starts_with("a/plan.evidence"));
        let other = Tuning {
            hits: 2,
            ..tuning.clone()
        };
        assert_ne!(other.path(Path::new("a/plan.toml")), path);
        assert!(AnyRecord::from_json(&tuning.to_json().replace("tune/4", "tune/9")).is_err());
    }
}
