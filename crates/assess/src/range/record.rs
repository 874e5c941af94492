//! What sampling leaves beside the plan: counts, keyed by the digest of all that they rest on.

use std::path::{Path, PathBuf};

use injection::Curve;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{INJECTION, RangeError, Sampled, Subject};
use crate::evidence::{EvidenceError, FORMAT, folder};

/// Counts of calls that were put into noise.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InjectionRecord {
    format: String,
    method: String,
    /// Digest of detector, chain, noise and call.
    pub inputs_digest: String,
    /// The detector.
    pub detector: String,
    /// The call.
    pub call: String,
    /// The program that made it.
    pub program: String,
    /// Seed of every draw.
    pub seed: u64,
    wind_m_s: f64,
    noise_level_db_re_1upa: f64,
    calls: u64,
    points: Vec<PointRecord>,
    by_chance: u64,
    false_alarms: u64,
    listened_s: f64,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PointRecord {
    snr_db: f64,
    found: u64,
    clipped: u64,
}

impl InjectionRecord {
    /// A record of what was sampled; `None` for what came of recorded noise, which no requirement reads, or of a wind whose noise this
    /// subject does not have.
    #[must_use]
    pub fn new(subject: &Subject, sampled: &Sampled, program: &str) -> Option<Self> {
        let wind_m_s = sampled.wind_m_s?;
        let points = sampled.curve.points();
        Some(Self {
            format: FORMAT.to_owned(),
            method: INJECTION.to_owned(),
            inputs_digest: subject.digest(wind_m_s).ok()?,
            detector: subject.detector.clone(),
            call: subject.call.clone(),
            program: program.to_owned(),
            seed: sampled.seed,
            wind_m_s,
            noise_level_db_re_1upa: sampled.noise_level_db,
            calls: points.first().map_or(0, |p| p.calls),
            points: points
                .iter()
                .zip(&sampled.clipped)
                .map(|(p, &clipped)| PointRecord {
                    snr_db: p.snr_db,
                    found: p.found,
                    clipped,
                })
                .collect(),
            by_chance: sampled.by_chance,
            false_alarms: sampled.false_alarms,
            listened_s: sampled.listened_s,
        })
    }

    /// Reads a record; `None` where the text is a record of another method.
    ///
    /// # Errors
    /// [`EvidenceError`] for what is no record, or one of another version.
    pub fn from_json(text: &str) -> Result<Option<Self>, EvidenceError> {
        #[derive(Deserialize)]
        struct Head {
            format: String,
            method: String,
        }
        let head: Head = serde_json::from_str(text)?;
        if head.method != INJECTION {
            return Ok(None);
        }
        if head.format != FORMAT {
            return Err(EvidenceError::Format { found: head.format });
        }
        Ok(Some(serde_json::from_str(text)?))
    }

    /// The record as JSON, ending in a line end.
    #[must_use]
    pub fn to_json(&self) -> String {
        crate::evidence::record_text(self)
    }

    /// The wind in whose noise they were put, m/s.
    #[must_use]
    pub fn wind_m_s(&self) -> f64 {
        self.wind_m_s
    }

    /// Calls at each ratio.
    #[must_use]
    pub fn calls(&self) -> u64 {
        self.calls
    }

    /// Noise alone that was listened to, s.
    #[must_use]
    pub fn listened_s(&self) -> f64 {
        self.listened_s
    }

    /// What was sampled.
    ///
    /// # Errors
    /// [`RangeError::Injection`] for counts that cannot be.
    pub fn sampled(&self) -> Result<Sampled, RangeError> {
        let counts: Vec<(f64, u64)> = self.points.iter().map(|p| (p.snr_db, p.found)).collect();
        Ok(Sampled {
            wind_m_s: Some(self.wind_m_s),
            noise_level_db: self.noise_level_db_re_1upa,
            curve: Curve::new(&counts, self.calls)?,
            by_chance: self.by_chance,
            false_alarms: self.false_alarms,
            listened_s: self.listened_s,
            clipped: self.points.iter().map(|p| p.clipped).collect(),
            seed: self.seed,
            kept: true,
        })
    }

    /// Where it belongs beside a plan: in a file named for its content.
    #[must_use]
    pub fn path(&self, plan: &Path) -> PathBuf {
        let digest = Sha256::digest(self.to_json().as_bytes());
        let name = self.detector.replace('.', "-");
        folder(plan).join(format!("injection-{name}-{}.json", plan::hex(&digest[..8])))
    }
}
