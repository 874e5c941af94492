//! Evidence that slow work leaves beside the plan, and that `check` reads.
//!
//! A record names its method and the digests of its exact inputs. A record whose digests are not those of the present plan
//! and cue sheet is stale: what rests on it is unknown.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::certainty::{DRAWS, DrawsRecord};
use crate::range::InjectionRecord;
use crate::tuning::{DaysError, TUNING, TUNING_WITHOUT_CURVE, Tuning};

/// Method of a rehearsal.
pub const REHEARSAL: &str = "rehearsal/1";
/// Version of every record.
pub(crate) const FORMAT: &str = "evidence/1";

/// What came of one piece of slow work.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    format: String,
    /// The method: [`REHEARSAL`].
    pub method: String,
    /// Digest of what a rehearsal reads of the plan ([`plan::Reading::rehearsed_digest`]).
    pub plan_digest: String,
    /// The cue sheet, relative to the plan's folder.
    pub cues: String,
    /// Digest of the cue sheet's canonical content.
    pub cues_digest: String,
    /// Seed of the random draws.
    pub seed: u64,
    /// The program that made it.
    pub program: String,
    /// The expectations and how they came out.
    pub expectations: Vec<ExpectationRecord>,
    /// Digest of everything that happened.
    pub result_digest: String,
}

/// How an expectation came out.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectationRecord {
    /// Its id.
    pub id: String,
    /// Whether it held.
    pub passed: bool,
    /// What was seen.
    pub said: String,
}

/// Why a text is no evidence.
#[derive(Debug, thiserror::Error)]
pub enum EvidenceError {
    /// Not the JSON of a record.
    #[error("not a record of evidence: {0}")]
    Json(#[from] serde_json::Error),
    /// A record of another method.
    #[error("`{found}` is a method that this program does not know")]
    Method {
        /// The method named.
        found: String,
    },
    /// Counts that do not add up.
    #[error("the counts of `{id}` do not add up to its draws")]
    Counts {
        /// The requirement.
        id: String,
    },
    /// An operating curve that cannot be.
    #[error("its operating curve cannot be: {why}")]
    Curve {
        /// What is wrong with it.
        why: &'static str,
    },
    /// Days that cannot be.
    #[error("a record of tuning whose days cannot be: {0}; run `soundline tune` again")]
    Days(#[from] DaysError),
    /// A record of another version.
    #[error("`{found}` is a format that this program does not read; it reads `{FORMAT}`")]
    Format {
        /// The format named.
        found: String,
    },
}

/// A record of any method.
#[derive(Clone, PartialEq, Debug)]
pub enum AnyRecord {
    /// Of a rehearsal.
    Rehearsal(Record),
    /// Of calls put into noise.
    Injection(InjectionRecord),
    /// Of tuning a detector.
    Tuning(Tuning),
    /// Of drawing the plan.
    Draws(DrawsRecord),
}

/// What every record says of itself.
#[derive(Deserialize)]
struct Head {
    format: String,
    method: String,
}

impl AnyRecord {
    /// Reads a record.
    ///
    /// # Errors
    /// [`EvidenceError`].
    pub fn from_json(text: &str) -> Result<AnyRecord, EvidenceError> {
        let head: Head = serde_json::from_str(text)?;
        if head.format != FORMAT {
            return Err(EvidenceError::Format { found: head.format });
        }
        if let Some(record) = InjectionRecord::from_json(text)? {
            return Ok(AnyRecord::Injection(record));
        }
        match head.method.as_str() {
            REHEARSAL => Ok(AnyRecord::Rehearsal(Record::from_json(text)?)),
            TUNING | TUNING_WITHOUT_CURVE => {
                let tuning: Tuning = serde_json::from_str(text)?;
                tuning.days_add_up()?;
                match tuning.odd_curve() {
                    None => Ok(AnyRecord::Tuning(tuning)),
                    Some(why) => Err(EvidenceError::Curve { why }),
                }
            }
            DRAWS => Ok(AnyRecord::Draws(DrawsRecord::from_json(text)?)),
            _ => Err(EvidenceError::Method { found: head.method }),
        }
    }

    /// The program that made it.
    #[must_use]
    pub fn program(&self) -> &str {
        match self {
            AnyRecord::Rehearsal(record) => &record.program,
            AnyRecord::Injection(record) => &record.program,
            AnyRecord::Tuning(tuning) => &tuning.program,
            AnyRecord::Draws(record) => &record.program,
        }
    }
}

impl Record {
    /// A record of a rehearsal.
    #[must_use]
    pub fn rehearsal(
        plan_digest: String,
        cues: String,
        cues_digest: String,
        seed: u64,
        program: String,
        expectations: Vec<ExpectationRecord>,
        result_digest: String,
    ) -> Record {
        Record {
            format: FORMAT.to_owned(),
            method: REHEARSAL.to_owned(),
            plan_digest,
            cues,
            cues_digest,
            seed,
            program,
            expectations,
            result_digest,
        }
    }

    /// Reads a record.
    ///
    /// # Errors
    /// [`EvidenceError`].
    pub fn from_json(text: &str) -> Result<Record, EvidenceError> {
        let record: Record = serde_json::from_str(text)?;
        if record.format == FORMAT {
            Ok(record)
        } else {
            Err(EvidenceError::Format {
                found: record.format,
            })
        }
    }

    /// The record as JSON, ending in a line end.
    #[must_use]
    pub fn to_json(&self) -> String {
        record_text(self)
    }

    /// How many expectations held.
    #[must_use]
    pub fn passed(&self) -> usize {
        self.expectations.iter().filter(|e| e.passed).count()
    }
}

/// A record as JSON, ending in a line end.
pub(crate) fn record_text(record: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(record).expect("strings and numbers become JSON");
    text.push('\n');
    text
}

/// The program as records name it: with the versions of the cores by which sounds are heard and nights are rehearsed, and the class of their
/// arithmetic. Two builds of one version that find something else in the same sound, or play the same night otherwise, are told apart by
/// these; `hearing` and `rehearsal` are those of the cores of these names.
#[must_use]
pub fn made_by(program: &str, hearing: u32, rehearsal: u32) -> String {
    format!(
        "{program}, signal {}, detect {}, hearing {hearing}, injection {}, rehearsal {rehearsal}, {}",
        signal::METHOD,
        detect::METHOD,
        injection::METHOD,
        learned::ARITHMETIC
    )
}

/// The folder beside a plan in which its evidence lies.
#[must_use]
pub fn folder(plan: &Path) -> PathBuf {
    plan.with_extension("evidence")
}

/// Where a record of a plan belongs: in a file named for its cue sheet and its content, so that two records never meet in one
/// file unless they are the same.
#[must_use]
pub fn path(plan: &Path, record: &Record) -> PathBuf {
    folder(plan).join(file_name(record))
}

/// The name of the file of a record.
pub(crate) fn file_name(record: &Record) -> String {
    let stem: String = Path::new(&record.cues)
        .with_extension("")
        .to_string_lossy()
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '-' {
                c
            } else {
                '-'
            }
        })
        .collect();
    let digest = Sha256::digest(record.to_json().as_bytes());
    let short = plan::hex(&digest[..8]);
    format!("rehearsal-{stem}-{short}.json")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_record_survives_its_json() {
        let record = Record::rehearsal(
            "aa".to_owned(),
            "cues/night.toml".to_owned(),
            "bb".to_owned(),
            7,
            "test".to_owned(),
            vec![ExpectationRecord {
                id: "x".to_owned(),
                passed: true,
                said: "seen".to_owned(),
            }],
            "cc".to_owned(),
        );
        assert_eq!(Record::from_json(&record.to_json()).unwrap(), record);
        assert_eq!(record.passed(), 1);
        let plan = Path::new("plans/a/plan.toml");
        // Python 3.11: hashlib.sha256 of json.dumps(record, indent=2) and a line end, first 16 digits.
        assert_eq!(
            path(plan, &record),
            Path::new("plans/a/plan.evidence/rehearsal-cues-night-ce511f485a92b668.json")
        );
        for change in [
            |r: &mut Record| r.seed = 8,
            |r: &mut Record| r.plan_digest = "ab".to_owned(),
            |r: &mut Record| r.program = "another".to_owned(),
            |r: &mut Record| r.expectations[0].passed = false,
            |r: &mut Record| r.cues = "cues-night.toml".to_owned(),
        ] {
            let mut other = record.clone();
            change(&mut other);
            assert_ne!(path(plan, &other), path(plan, &record));
        }
        let other = record.to_json().replace("evidence/1", "evidence/9");
        assert!(matches!(
            Record::from_json(&other),
            Err(EvidenceError::Format { .. })
        ));
        assert!(Record::from_json("{}").is_err());
    }
}
