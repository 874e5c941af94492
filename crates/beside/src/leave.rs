//! Evidence left beside the plan, and what a rehearsal leaves.

use std::path::{Path, PathBuf};

use assess::evidence::{ExpectationRecord, Record as EvidenceRecord, folder};
use plan::{CueSheet, Line, Reading};
use rehearsal::{Outcome, Record};
use report::{Inputs, OutputError, Overwrite, record_json, rehearsal_json, write_atomically};
use sha2::{Digest, Sha256};

use crate::program::computed_by;

/// Leaves evidence in its folder beside the plan. Its name says what is in it: what is replaced is the same.
///
/// # Errors
/// As [`write_atomically`], and for a folder that cannot be made.
pub fn leave(plan: &Path, path: &Path, evidence: &str, inputs: &Inputs) -> Result<(), OutputError> {
    let folder = folder(plan);
    std::fs::create_dir_all(&folder).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: folder.clone(),
        source,
    })?;
    write_atomically(path, evidence.as_bytes(), Overwrite::Force, inputs)
}

/// The lines of a trace, and the digest of all that a rehearsal showed: of its records and of the whole.
#[derive(Clone, Debug, Default)]
pub struct TraceDigest(Sha256);

impl TraceDigest {
    /// One record as its line, with its line end.
    ///
    /// # Errors
    /// Of JSON.
    pub fn line(
        &mut self,
        line: &Line,
        cues: &CueSheet,
        record: &Record,
    ) -> Result<String, serde_json::Error> {
        let mut text = serde_json::to_string(&record_json(line, cues, record))?;
        text.push('\n');
        self.0.update(text.as_bytes());
        Ok(text)
    }

    /// SHA-256 in hexadecimal; two that are equal say that nothing differed.
    #[must_use]
    pub fn end(mut self, line: &Line, cues: &CueSheet, outcome: &Outcome) -> String {
        let whole = rehearsal_json(line, cues, outcome).to_string();
        self.0.update(whole.as_bytes());
        plan::hex(&self.0.finalize())
    }
}

/// A rehearsal that came to its end.
#[derive(Clone, Copy, Debug)]
pub struct Rehearsed<'a> {
    /// Path of the cue sheet.
    pub cues_path: &'a Path,
    /// Digest of the cue sheet with its recordings ([`crate::cue_digest`]).
    pub cues_digest: &'a str,
    /// The cue sheet.
    pub cues: &'a CueSheet,
    /// What came of it.
    pub outcome: &'a Outcome,
    /// Digest of all that it showed ([`TraceDigest`]).
    pub result_digest: &'a str,
}

/// What a rehearsal leaves beside the plan for `check`, and where.
#[must_use]
pub fn rehearsal_evidence(
    plan: &Path,
    reading: &Reading,
    of: &Rehearsed<'_>,
) -> (PathBuf, EvidenceRecord) {
    let folder = plan.parent().unwrap_or(Path::new(""));
    let relative = of.cues_path.strip_prefix(folder).unwrap_or(of.cues_path);
    let expectations = of.outcome.expectations.iter();
    let record = EvidenceRecord::rehearsal(
        reading.rehearsed_digest.clone(),
        relative.display().to_string(),
        of.cues_digest.to_owned(),
        of.cues.seed,
        computed_by(),
        expectations
            .map(|e| ExpectationRecord {
                id: e.id.clone(),
                passed: e.passed,
                said: e.said.clone(),
            })
            .collect(),
        of.result_digest.to_owned(),
    );
    (assess::evidence::path(plan, &record), record)
}
