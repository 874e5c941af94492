//! What is told of what would mend a plan.

use std::collections::BTreeSet;

use plan::Edit;
use quantity::Money;

use super::heard::Heard;
use crate::check::{Check, Status};
use crate::compare::Moves;
use crate::judged::Judged;
use crate::verdict::{Verdict, Word};

/// A key that a remedy sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Turned {
    /// Its path.
    pub path: String,
    /// As it is written now; `None` where it is not.
    pub from: Option<String>,
    /// As it would be written.
    pub to: String,
    /// File of the value now, and line in it; `None` where it is not written.
    pub place: Option<(String, usize)>,
    /// Whether the value now is that of a catalogue part, which stays as it is: the plan's own table gets the key.
    pub overrides_part: bool,
}

/// A requirement or standing check as a whole, by the worst of its verdicts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WholeMoved {
    /// Its id.
    pub requirement: String,
    /// Its word without the change; `None` where it is not there.
    pub before: Option<Word>,
    /// Its word with it.
    pub after: Option<Word>,
}

/// A change that mends a requirement.
#[derive(Clone, Debug)]
pub struct Remedy {
    /// Number by which it may be applied, from 1.
    pub number: usize,
    /// Ids of the remedies of the plan that it is made of.
    pub declared: Vec<String>,
    /// The keys that it sets.
    pub turned: Vec<Turned>,
    /// The edits of the plan's text.
    pub edits: Vec<Edit>,
    /// The plan's text with it.
    pub text: String,
    /// What it costs as a whole; `None` where the plan does not say that of every change in it, or in several currencies.
    pub cost: Option<Money>,
    /// What each change in it costs, one of a single change; `None` where the plan does not say.
    pub costs: Vec<Option<Money>>,
    /// Of a voltage, the least share of its load that the line can carry with it; `None` of others, and where it is not known.
    pub carries: Option<f64>,
    /// How large the change is.
    pub size: f64,
    /// The word of the requirement with it, but for what is unknown before and after: met or marginal.
    pub word: Word,
    /// Subjects of the requirement that stay unknown with it, and why: while there is one, the requirement is not met.
    pub still_unknown: Vec<(String, String)>,
    /// The worst verdict of the requirement with it.
    pub verdict: Verdict,
    /// What became of all verdicts.
    pub moves: Moves,
    /// What became of other requirements and standing checks as wholes, where that has another word.
    pub wholes: Vec<WholeMoved>,
    /// Other binding requirements that held and are broken or unknown with it: requirement, subject and word.
    pub breaks: Vec<(String, String, Word)>,
    /// Binding requirements that are broken as it is and stay so, of which it breaks more: requirement and subject.
    pub still_broken: Vec<(String, String)>,
    /// Other binding requirements and standing checks that are broken as it is, and broken with it, by id.
    pub stays_broken: Vec<String>,
    /// Requirements whose evidence has to be made anew with it.
    pub anew: Vec<String>,
    /// Detectors whose thresholds it moves: what they miss and how often they cry wolf.
    pub heard: Vec<Heard>,
}

/// A change of one thing that helps and does not suffice.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// The keys.
    pub paths: Vec<String>,
    /// The value that helps most, of the first key.
    pub to: String,
    /// The word of the requirement with it.
    pub word: Word,
    /// The least margin with it, in margins below which it is marginal.
    pub least: f64,
}

/// A requirement that does not hold, and what would mend it.
#[derive(Clone, Debug)]
pub struct Mended {
    /// As it is.
    pub judged: Judged,
    /// The least margin now, in margins below which it is marginal.
    pub least: f64,
    /// Changes that mend it, best first.
    pub remedies: Vec<Remedy>,
    /// How many things were tried one by one, and how many plans were judged for it.
    pub tried: (usize, usize),
    /// Whether pairs were tried, as no single change makes it met without breaking something else.
    pub in_pairs: bool,
    /// What helps most and does not suffice.
    pub nearest: Vec<Sweep>,
    /// What no key can be turned for, and how far each falls short: means of recovery. Sentences.
    pub falls_short: Vec<String>,
}

impl Mended {
    /// The currencies of its remedies' costs, by their letters; with more than one, costs are told apart and not compared.
    #[must_use]
    pub fn currencies(&self) -> Vec<String> {
        let all = self.remedies.iter().filter_map(|r| r.cost);
        let all: BTreeSet<[u8; 3]> = all.map(|c| c.currency).collect();
        let words = all.iter();
        words
            .map(|c| String::from_utf8_lossy(c).into_owned())
            .collect()
    }
}

/// What would mend a plan.
#[derive(Clone, Debug)]
pub struct Remedies {
    /// Name of the deployment.
    pub name: String,
    /// The check without a change.
    pub check: Check,
    /// Each requirement that was asked about.
    pub mended: Vec<Mended>,
    /// Status of the plan with what its draws say, as `check` gives it.
    pub status: Status,
    /// Requirements that only their share of draws breaks: no change is tried against draws.
    pub by_draws: Vec<String>,
}

impl Remedies {
    /// The remedy with a number.
    #[must_use]
    pub fn by_number(&self, number: usize) -> Option<&Remedy> {
        let mut all = self.mended.iter().flat_map(|m| &m.remedies);
        all.find(|r| r.number == number)
    }
}
