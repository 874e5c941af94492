//! A change that mends a requirement, checked whole: what else it moves, mends and breaks.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use plan::{Line, Must, Reading};
use quantity::Money;

use super::found::{Remedy, Turned, WholeMoved};
use super::heard;
use super::knobs::Knob;
use super::search::{Search, Sets, carries, sets};
use crate::check::{Check, Tier, check_as_written};
use crate::compare::{moves, worst};
use crate::judged::Judged;
use crate::places::on_records;
use crate::verdict::{Verdict, Word};

/// A plan's text, read and checked whole.
type Whole = Arc<(Reading, Check)>;

/// Changed plans that have been checked whole, by their text: one change may mend several requirements.
pub(super) struct Wholes<'a> {
    line: &'a Line,
    /// The plan without a change.
    before: &'a Check,
    on_records: BTreeSet<&'a str>,
    kept: Mutex<BTreeMap<String, Whole>>,
}

impl<'a> Wholes<'a> {
    pub(super) fn new(line: &'a Line, before: &'a Check) -> Wholes<'a> {
        Wholes {
            line,
            before,
            on_records: on_records(line),
            kept: Mutex::default(),
        }
    }

    /// Two threads that ask at once may both check it.
    fn checked(&self, search: &Search<'_>, text: &str) -> Option<Whole> {
        let kept = || self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = kept().get(text) {
            return Some(found.clone());
        }
        let reading = search.read(text)?;
        let check = check_as_written(&reading, search.shelf(), search.memo(), Tier::Full);
        let whole = Arc::new((reading, check));
        kept().insert(text.to_owned(), whole.clone());
        Some(whole)
    }

    /// What is told of a change to a requirement.
    pub(super) fn remedy(&self, search: &Search<'_>, steps: &[(Knob, usize)]) -> Option<Remedy> {
        let all: Sets = steps
            .iter()
            .flat_map(|(knob, i)| sets(knob, &knob.steps[*i]))
            .collect();
        let (edits, text) = search.edited(&all)?;
        let whole = self.checked(search, &text)?;
        let (changed, after) = &*whole;
        let paths = all.iter().map(|(path, _)| path.as_str());
        let heard = heard::heard(paths, self.line, changed.line.as_ref()?, search.shelf());
        let id = &search.base.id;
        let of_its_kind = match search.standing {
            true => &after.standing,
            false => &after.requirements,
        };
        let judged = of_its_kind.iter().find(|j| j.id == *id)?;
        let beside = self.beside(after, (search.standing, id));
        let written = search.reading().written();
        let turned = all.iter().map(|(path, to)| {
            let now = written.iter().find(|w| w.path == *path);
            Turned {
                path: path.clone(),
                from: now.map(|w| w.text.trim_matches(['"', '\'']).to_owned()),
                to: to.clone(),
                place: now.map(|w| {
                    let sources = &search.reading().sources;
                    let file = sources.get(w.at.file).path.display().to_string();
                    (file, sources.line_column(w.at).0)
                }),
                overrides_part: now.is_some_and(|w| w.used_at.is_some()),
            }
        });
        let costs: Vec<Option<Money>> = steps.iter().map(|(k, i)| k.steps[*i].cost).collect();
        let declared = steps.iter().filter_map(|(k, _)| k.declared.clone());
        Some(Remedy {
            number: 0,
            declared: declared.collect(),
            turned: turned.collect(),
            edits,
            text,
            cost: costs.iter().copied().reduce(sum).flatten(),
            costs,
            carries: carries(judged),
            size: steps.iter().map(|(knob, i)| knob.steps[*i].size).sum(),
            word: search.word(judged),
            still_unknown: judged
                .verdicts
                .iter()
                .filter_map(|v| match v {
                    Verdict::Unknown { subject, why } => Some((subject.clone(), why.clone())),
                    Verdict::Known(_) | Verdict::Provisional(_) => None,
                })
                .collect(),
            verdict: known_first(judged)?.clone(),
            moves: moves(self.before, after),
            wholes: beside.wholes,
            breaks: beside.breaks,
            still_broken: beside.still_broken,
            stays_broken: beside.stays_broken,
            anew: beside.anew.into_iter().collect(),
            heard,
        })
    }

    /// Whether a voltage lies above what a module's input bears: whatever was broken before, that is damage.
    fn burns(&self, subject: &str, verdict: &Verdict) -> bool {
        let Verdict::Known(known) = verdict else {
            return false;
        };
        let module = subject
            .strip_prefix("module.")
            .and_then(|id| self.line.module_by_id(id));
        let input = module.and_then(|m| self.line.modules[m.0].input.as_ref());
        known.value.unit == "V" && input.is_some_and(|i| known.value.value > i.maximum_v.si)
    }

    /// What a change does to all but the requirement that it is to mend.
    fn beside(&self, after: &Check, (mends_standing, id): (bool, &str)) -> Beside {
        let (was, was_whole, is_whole) = (worst(self.before), words(self.before), words(after));
        let mut found = Beside::default();
        for ((standing, requirement, subject), (judged, verdict)) in worst(after) {
            let itself = standing == mends_standing && requirement == id;
            let falls = matches!(verdict.word(), Word::Broken | Word::Unknown);
            if itself || !falls {
                continue;
            }
            let whole = was_whole.get(&(standing, requirement)).copied();
            let held = match was.get(&(standing, requirement, subject)) {
                Some((_, v)) => matches!(v.word(), Word::Met | Word::Marginal),
                None => !matches!(whole, Some(Word::Broken | Word::Unknown)),
            };
            let (binds, word) = (judged.must == Must::Shall, verdict.word());
            if whole == Some(Word::Broken) {
                let was_broken = was
                    .get(&(standing, requirement, subject))
                    .is_some_and(|(_, v)| v.word() == Word::Broken);
                if binds && word == Word::Broken && !was_broken {
                    let burns = self.burns(subject, verdict);
                    let (requirement, subject) = (requirement.to_owned(), subject.to_owned());
                    if burns {
                        found.breaks.push((requirement, subject, word));
                    } else {
                        found.still_broken.push((requirement, subject));
                    }
                }
            } else if !held {
            } else if self.on_records.contains(requirement) && word == Word::Unknown {
                // A record that counts with the change says what it says.
                found.anew.insert(requirement.to_owned());
            } else if binds {
                let of = (requirement.to_owned(), subject.to_owned(), word);
                found.breaks.push(of);
            }
        }
        let binding = |key: &(bool, &str)| {
            let of_its_kind = if key.0 {
                &after.standing
            } else {
                &after.requirements
            };
            of_its_kind
                .iter()
                .any(|j| j.id == key.1 && j.must == Must::Shall)
        };
        let broken = Some(&Word::Broken);
        for key in was_whole.keys().filter(|k| binding(k)) {
            let is_other = *key != (mends_standing, id);
            if is_other && was_whole.get(key) == broken && is_whole.get(key) == broken {
                found.stays_broken.push(key.1.to_owned());
            }
        }
        let keys: BTreeSet<_> = was_whole.keys().chain(is_whole.keys()).collect();
        for key in keys {
            let (before, after) = (was_whole.get(key).copied(), is_whole.get(key).copied());
            if before != after && *key != (mends_standing, id) {
                found.wholes.push(WholeMoved {
                    requirement: key.1.to_owned(),
                    before,
                    after,
                });
            }
        }
        found
    }
}

/// What a change does beside mending.
#[derive(Default)]
struct Beside {
    wholes: Vec<WholeMoved>,
    breaks: Vec<(String, String, Word)>,
    still_broken: Vec<(String, String)>,
    stays_broken: Vec<String>,
    anew: BTreeSet<String>,
}

/// The word of each requirement and standing check as a whole, by whether it is a standing check and its id.
fn words(check: &Check) -> BTreeMap<(bool, &str), Word> {
    let requirements = check.requirements.iter().map(|j| (false, j));
    let all = requirements.chain(check.standing.iter().map(|j| (true, j)));
    all.map(|(standing, j)| ((standing, j.id.as_str()), j.word()))
        .collect()
}

/// The worst verdict with a value, else the first.
fn known_first(judged: &Judged) -> Option<&Verdict> {
    let mut all = judged.verdicts.iter();
    let known = all.clone().find(|v| matches!(v, Verdict::Known(_)));
    known.or_else(|| all.next())
}

/// Two costs together, where both are known and in one currency.
fn sum(a: Option<Money>, b: Option<Money>) -> Option<Money> {
    match (a, b) {
        (Some(a), Some(b)) if a.currency == b.currency => Some(Money {
            minor: a.minor.checked_add(b.minor)?,
            ..a
        }),
        _ => None,
    }
}
