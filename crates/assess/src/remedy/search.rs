//! The smallest step of a knob that mends a requirement: each step is an edit of the plan's text, read and judged anew.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use plan::{Edit, Reading, splice};

use super::Given;
use super::knobs::{Knob, Step};
use crate::check::{Shelf, check_one};
use crate::hang::read_with;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::verdict::{Verdict, Word};
use crate::years::FewYears;
use crate::years_deciding::deciding_years;

/// Fetches files of a plan, from several threads.
pub type SharedFetch<'a> = dyn Fn(&Path) -> std::io::Result<Vec<u8>> + Sync + 'a;

/// Steps that are gone through one by one; longer ladders are climbed by doubling and then halved.
const SHORT: usize = 10;

/// A requirement that is to be mended, in its plan.
pub(super) struct Search<'a> {
    plan: &'a Given<'a>,
    /// As it is without a change.
    pub(super) base: Judged,
    /// Whether it is a check of every plan, and no requirement of that id.
    pub(super) standing: bool,
    /// Subjects that are unknown without a change: a remedy need not make them known.
    unknown: BTreeSet<String>,
    /// Whether it rests on records: these are there for some steps and not for others, in no order.
    on_records: bool,
    /// Of a claim on years those that decide that it is broken, and how it is by these alone without a change.
    few: Option<(FewYears, Judged)>,
}

/// What came of one step.
#[derive(Clone, Debug)]
pub(super) struct Probe {
    /// The word of the requirement; `None` where the changed text is no good plan.
    pub(super) word: Option<Word>,
    /// The least margin, in margins below which it is marginal.
    pub(super) least: f64,
    /// Whether all figures are as they were.
    pub(super) same: bool,
}

impl Probe {
    /// Of a text that is no good plan.
    fn refused() -> Probe {
        Probe {
            word: None,
            least: f64::NEG_INFINITY,
            same: false,
        }
    }
}

/// A change: keys with their new values.
pub(super) type Sets = Vec<(String, String)>;

pub(super) fn sets(knob: &Knob, step: &Step) -> Sets {
    let pairs = knob.paths.iter().cloned().zip(step.values.iter().cloned());
    pairs.collect()
}

impl<'a> Search<'a> {
    pub(super) fn new(
        plan: &'a Given<'a>,
        (base, standing): (Judged, bool),
        on_records: bool,
    ) -> Search<'a> {
        let unknown = base.verdicts.iter().filter(|v| v.word() == Word::Unknown);
        let unknown = unknown.map(|v| v.subject().to_owned()).collect();
        let claim = || deciding_years(plan.reading, &base.id, plan.memo);
        let few = (!standing).then(claim).flatten().and_then(|few| {
            let of = (base.id.as_str(), false);
            let judged = check_one(plan.reading, plan.shelf, of, plan.memo, Some(&few))?;
            Some((few, judged))
        });
        Search {
            plan,
            base,
            standing,
            unknown,
            on_records,
            few,
        }
    }

    pub(super) fn reading(&self) -> &'a Reading {
        self.plan.reading
    }

    pub(super) fn shelf(&self) -> &'a Shelf {
        self.plan.shelf
    }

    pub(super) fn memo(&self) -> &'a Memo {
        self.plan.memo
    }

    /// Whether a step that does not mend it is told by few years.
    pub(super) fn counts_few(&self) -> bool {
        self.few.is_some()
    }

    /// The edits of a change and the text that they make; `None` where a key cannot be set.
    pub(super) fn edited(&self, sets: &Sets) -> Option<(Vec<Edit>, String)> {
        let (_, source) = self.plan.reading.sources.iter().next()?;
        let edits: Result<Vec<Edit>, _> = sets
            .iter()
            .map(|(path, value)| self.plan.reading.set(path, value))
            .collect();
        let edits = edits.ok()?;
        let text = splice(&source.text, &edits).ok()?;
        Some((edits, text))
    }

    /// A text read as the plan; `None` where it has mistakes.
    pub(super) fn read(&self, text: &str) -> Option<Reading> {
        let plan = self.plan;
        let reading = read_with(plan.path, plan.memo, &|wanted: &Path| {
            if wanted == plan.path {
                Ok(text.as_bytes().to_vec())
            } else {
                (plan.fetch)(wanted)
            }
        });
        (!reading.has_errors()).then_some(reading)
    }

    /// What comes of a change. One that leaves a claim on years broken may be told by the worst of them: as few years as it bears and one more.
    pub(super) fn probe(&self, sets: &Sets) -> Probe {
        let Some(reading) = self.edited(sets).and_then(|(_, text)| self.read(&text)) else {
            return Probe::refused();
        };
        if let Some((few, base)) = &self.few
            && let Some(judged) = self.judged(&reading, Some(few))
            && self.word(&judged) == Word::Broken
        {
            return self.seen(&judged, base);
        }
        self.whole_of(&reading)
    }

    /// The same by all years.
    pub(super) fn probe_whole(&self, sets: &Sets) -> Probe {
        let reading = self.edited(sets).and_then(|(_, text)| self.read(&text));
        reading.map_or_else(Probe::refused, |reading| self.whole_of(&reading))
    }

    fn whole_of(&self, reading: &Reading) -> Probe {
        match self.judged(reading, None) {
            Some(judged) => self.seen(&judged, &self.base),
            None => Probe::refused(),
        }
    }

    fn judged(&self, reading: &Reading, few: Option<&FewYears>) -> Option<Judged> {
        let of = (self.base.id.as_str(), self.standing);
        check_one(reading, self.plan.shelf, of, self.plan.memo, few)
    }

    fn seen(&self, judged: &Judged, base: &Judged) -> Probe {
        Probe {
            word: Some(self.word(judged)),
            least: least(judged),
            same: figures(judged) == figures(base),
        }
    }

    /// The word of a requirement, but for what was unknown before.
    pub(super) fn word(&self, judged: &Judged) -> Word {
        let counts =
            |v: &&Verdict| v.word() != Word::Unknown || !self.unknown.contains(v.subject());
        let words = judged.verdicts.iter().filter(counts).map(Verdict::word);
        words.min().unwrap_or(Word::Unknown)
    }

    /// Goes through the steps of a knob, with what is changed beside it.
    pub(super) fn sweep(&self, knob: &Knob, beside: &Sets) -> Swept {
        let count = knob.steps.len();
        let mut probes: BTreeMap<usize, Probe> = BTreeMap::new();
        if count == 0 {
            return Swept {
                smallest: None,
                probes,
            };
        }
        let mut at = |i: usize| -> Probe {
            let probe = probes.entry(i).or_insert_with(|| {
                let mut all = beside.clone();
                all.extend(sets(knob, &knob.steps[i]));
                self.probe(&all)
            });
            probe.clone()
        };
        // What changes nothing at its ends is not looked at between them.
        let no_matter = |p: &Probe| p.same && beside.is_empty();
        if no_matter(&at(count - 1)) && no_matter(&at(0)) {
            return Swept {
                smallest: None,
                probes,
            };
        }
        let mut word = |i: usize| at(i).word;
        let met = |w: Option<Word>| w == Some(Word::Met);
        // What is marginal already is mended by what makes it met alone.
        let enough_now = matches!(self.word(&self.base), Word::Met | Word::Marginal);
        let holds = |w: Option<Word>| met(w) || (w == Some(Word::Marginal) && !enough_now);
        let smallest = if knob.declared.is_some() || self.on_records {
            // Declared choices are in the order of their cost, not of their effect.
            let first = (0..count).find(|i| met(word(*i)));
            first.or_else(|| (0..count).find(|i| holds(word(*i))))
        } else {
            let first = smallest(count, &mut |i| met(word(i)));
            first.or_else(|| smallest(count, &mut |i| holds(word(i))))
        };
        Swept { smallest, probes }
    }
}

/// Of a voltage the least share of its load that the line carries.
pub(super) fn carries(judged: &Judged) -> Option<f64> {
    let shares = judged.verdicts.iter().filter_map(|v| match v {
        Verdict::Known(k) => k.collapse_factor,
        Verdict::Unknown { .. } | Verdict::Provisional(_) => None,
    });
    shares.min_by(f64::total_cmp)
}

/// What came of the steps of a knob.
pub(super) struct Swept {
    /// The smallest step that mends the requirement: to met or, where no step does, to marginal.
    pub(super) smallest: Option<usize>,
    /// What came of each step that was tried.
    pub(super) probes: BTreeMap<usize, Probe>,
}

impl Swept {
    /// The word of the requirement at the smallest step that mends it.
    pub(super) fn word(&self) -> Option<Word> {
        self.probes.get(&self.smallest?)?.word
    }

    /// The step that leaves most, and how much.
    pub(super) fn best(&self) -> Option<(usize, &Probe)> {
        let tried = self.probes.iter().filter(|(_, p)| p.word.is_some());
        let best = tried.max_by(|(i, a), (j, b)| a.least.total_cmp(&b.least).then(j.cmp(i)));
        best.map(|(i, p)| (*i, p))
    }
}

/// The smallest index that is good. Short ladders are gone through; long ones are climbed at 0, 1, 3, 7 ... and to the end until one
/// is good, and between that and the last bad one halved: there the good ones are taken to lie above the bad ones.
fn smallest(count: usize, good: &mut dyn FnMut(usize) -> bool) -> Option<usize> {
    if count <= SHORT {
        return (0..count).find(|i| good(*i));
    }
    let mut bad = None;
    let mut next = 0;
    let mut top = loop {
        if good(next) {
            break next;
        }
        bad = Some(next);
        if next == count - 1 {
            return None;
        }
        next = (2 * next + 1).min(count - 1);
    };
    let mut low = bad.map_or(0, |b| b + 1);
    while low < top {
        let middle = low + (top - low) / 2;
        if good(middle) {
            top = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(top)
}

/// Figures without what they rest on.
fn figures(judged: &Judged) -> Vec<(&str, Word, Option<[f64; 2]>)> {
    let all = judged.verdicts.iter();
    all.map(|v| {
        let of_known = match v {
            Verdict::Known(k) => Some([k.value.value, k.limit.value]),
            Verdict::Provisional(p) => Some([p.value.value, p.limit.value]),
            Verdict::Unknown { .. } => None,
        };
        (v.subject(), v.word(), of_known)
    })
    .collect()
}

/// The least margin in margins below which it is marginal, of what is known.
pub(super) fn least(judged: &Judged) -> f64 {
    let known = judged.verdicts.iter().filter_map(|v| {
        let (margin, narrow, limit) = match v {
            Verdict::Known(k) => (k.margin.value, k.narrow, k.limit.value),
            Verdict::Provisional(p) => (p.margin.value, p.narrow, p.limit.value),
            Verdict::Unknown { .. } => return None,
        };
        Some(if narrow > 0.0 {
            margin / narrow
        } else if limit != 0.0 {
            margin / limit.abs()
        } else {
            margin
        })
    });
    known.min_by(f64::total_cmp).unwrap_or(f64::NEG_INFINITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against going through all, on every ladder whose good steps lie above the bad ones.
    #[test]
    fn verif_the_smallest_step_is_found_with_few_looks() {
        for count in 1..200 {
            for first in 0..=count {
                let mut looks = 0;
                let found = smallest(count, &mut |i| {
                    looks += 1;
                    i >= first
                });
                assert_eq!(found, (first < count).then_some(first));
                assert!(looks <= 18, "{looks} of {count}");
            }
        }
    }
}
