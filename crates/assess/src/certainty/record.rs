//! What draws of a plan leave beside it: in how many of them each requirement was met.
//!
//! The record holds counts, not limits: `check` works these out. It counts only for the very plan, number of draws, seed and years that
//! its digest names.

use std::path::{Path, PathBuf};

use plan::DrawnDigests;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::fold::{Certain, Sureness};
use super::{Certainty, CertaintyAsk};
use crate::evidence::{EvidenceError, FORMAT, folder};

/// Method of draws. Whoever changes what draws count raises it, so that older evidence counts no longer.
pub const DRAWS: &str = "draws/5";

/// What draws of a plan came to.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrawsRecord {
    format: String,
    method: String,
    /// Digest of all that the draws rest on: method, what they read of the plan but the limits of its requirements, draws, seed, weather years of each.
    pub inputs_digest: String,
    /// Digest of the limits of all requirements: what is checked in every plan leaves out what a requirement asks for.
    pub limits_digest: String,
    /// How many draws.
    pub draws: u64,
    /// Their seed.
    pub seed: u64,
    /// Weather years of each draw's own, where something asks for years.
    pub years_each: u64,
    /// The program that made it.
    pub program: String,
    /// The plan's requirements.
    pub requirements: Vec<DrawnRecord>,
    /// What is checked in every plan.
    pub standing: Vec<DrawnRecord>,
}

/// What draws came to for one requirement.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrawnRecord {
    /// Its id.
    pub id: String,
    /// Digest of its limits; `None` of what is checked in every plan.
    pub limits_digest: Option<String>,
    /// Draws in which it is met, those in which it is marginal among them.
    pub met: u64,
    /// Draws in which it is marginal.
    pub marginal: u64,
    /// Draws in which it is broken.
    pub broken: u64,
    /// Draws in which it is unknown.
    pub unknown: u64,
    /// Why it was not drawn; then nothing was counted.
    pub not_drawn: Option<String>,
}

impl DrawsRecord {
    /// A record of what came of drawing a plan of these digests.
    #[must_use]
    pub fn new(
        plan: &DrawnDigests,
        ask: &CertaintyAsk,
        found: &Certainty,
        program: String,
    ) -> Self {
        let of = |all: &[Certain], limits: bool| {
            let each = all.iter().map(|one| {
                let limits = limits.then(|| plan.limits.get(&one.id)).flatten();
                DrawnRecord::of(one, limits.cloned())
            });
            each.collect()
        };
        let (draws, seed, years_each) = (ask.draws as u64, ask.seed, ask.years);
        Self {
            format: FORMAT.to_owned(),
            method: DRAWS.to_owned(),
            inputs_digest: inputs_digest(plan, draws, seed, years_each),
            limits_digest: plan.all_limits(),
            draws,
            seed,
            years_each,
            program,
            requirements: of(&found.requirements, true),
            standing: of(&found.standing, false),
        }
    }

    /// Reads a record.
    ///
    /// # Errors
    /// [`EvidenceError`], also for counts that do not add up.
    pub fn from_json(text: &str) -> Result<Self, EvidenceError> {
        let record: Self = serde_json::from_str(text)?;
        if record.format != FORMAT {
            return Err(EvidenceError::Format {
                found: record.format,
            });
        }
        let all = record.requirements.iter().chain(&record.standing);
        match all.into_iter().find(|one| !one.adds_up(record.draws)) {
            Some(one) => Err(EvidenceError::Counts { id: one.id.clone() }),
            None => Ok(record),
        }
    }

    /// The record as JSON, ending in a line end.
    #[must_use]
    pub fn to_json(&self) -> String {
        crate::evidence::record_text(self)
    }

    /// Whether it is of the plan with these digests, whatever limits its requirements have.
    #[must_use]
    pub fn is_of(&self, plan: &DrawnDigests) -> bool {
        self.inputs_digest == inputs_digest(plan, self.draws, self.seed, self.years_each)
    }

    /// What it says of a requirement with the limits that it has now.
    pub(super) fn of_requirement(&self, plan: &DrawnDigests, id: &str) -> Option<&DrawnRecord> {
        let of =
            |one: &&DrawnRecord| one.id == id && one.limits_digest.as_ref() == plan.limits.get(id);
        self.requirements.iter().find(of)
    }

    /// What it says of a standing check, where all requirements have the limits that they had.
    pub(super) fn of_standing(&self, plan: &DrawnDigests, id: &str) -> Option<&DrawnRecord> {
        let same = self.limits_digest == plan.all_limits();
        self.standing.iter().find(|one| same && one.id == id)
    }

    /// Digest of the record.
    #[must_use]
    pub fn digest(&self) -> String {
        plan::hex(&Sha256::digest(self.to_json().as_bytes()))
    }

    /// Where it belongs beside a plan: in a file named for its content.
    #[must_use]
    pub fn path(&self, plan: &Path) -> PathBuf {
        folder(plan).join(format!("draws-{}.json", &self.digest()[..16]))
    }
}

impl DrawnRecord {
    fn of(certain: &Certain, limits_digest: Option<String>) -> Self {
        let id = certain.id.clone();
        match &certain.sureness {
            Sureness::Drawn(drawn) => Self {
                id,
                limits_digest,
                met: drawn.met as u64,
                marginal: drawn.marginal as u64,
                broken: drawn.broken as u64,
                unknown: drawn.unknown as u64,
                not_drawn: None,
            },
            Sureness::AsWritten { why } => Self {
                id,
                limits_digest,
                met: 0,
                marginal: 0,
                broken: 0,
                unknown: 0,
                not_drawn: Some(why.clone()),
            },
        }
    }

    fn adds_up(&self, draws: u64) -> bool {
        let counted = [self.broken, self.unknown]
            .iter()
            .try_fold(self.met, |sum, n| sum.checked_add(*n));
        let whole = if self.not_drawn.is_some() { 0 } else { draws };
        counted == Some(whole) && self.marginal <= self.met
    }
}

fn inputs_digest(plan: &DrawnDigests, draws: u64, seed: u64, years_each: u64) -> String {
    let of_plan = &plan.but_limits;
    let inputs = format!("{DRAWS} {of_plan} {draws} {seed} {years_each}");
    plan::hex(&Sha256::digest(inputs.as_bytes()))
}
