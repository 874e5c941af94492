//! What tuning a detector leaves beside the plan, for the requirements `recall` and `false-alarms`.
//!
//! The record holds counts, not limits: `check` works these out at the confidence that a requirement asks for. It counts only for the
//! detector chain and the labels whose digests it names. Its curve ([`TunedCurve`]) says what the same detector did at other thresholds.

use std::path::{Path, PathBuf};

use chance::{Day, LimitError, LimitsFrom, rate_limits};
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
        let rests_on = LimitsFrom::days(self.days.as_ref().map(Vec::len));
        let days = self.days.as_ref().map(|all| -> Vec<Day> {
            let day = |d: &TunedDay| Day {
                exposure: d.judged_s / period_s,
                events: d.false_alarms,
            };
            all.iter().map(day).collect()
        });
        let exposure = self.judged_s / period_s;
        let limits = rate_limits(days.as_deref(), self.false_alarms, exposure, confidence)?;
        Ok((limits, rests_on))
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
