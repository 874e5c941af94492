//! One requirement: each key that may be turned for it, then pairs, then what mends another.

use std::collections::BTreeSet;

use plan::Line;

use super::found::{Mended, Remedy, Sweep};
use super::knobs::Knob;
use super::pairs::{in_pairs, supply_pairs};
use super::search::{Search, Sets, Swept, least, sets};
use super::whole::Wholes;
use super::{Given, RemedyError, RemedyWatch, means};
use crate::threads::on_threads;
use crate::verdict::Word;

/// Of the knobs that help and do not suffice so many are tried in pairs.
const PAIRED: usize = 6;
/// What is told of a margin has two decimals: a knob that brings it less far does not help.
const SEEN: f64 = 0.01;
/// So many of the knobs that help and do not suffice are told.
const TOLD_NEAREST: usize = 5;

/// What is shared by all that is mended.
pub(super) struct Going<'a> {
    pub(super) wholes: &'a Wholes<'a>,
    pub(super) threads: usize,
    pub(super) watch: &'a RemedyWatch<'a>,
}

impl Going<'_> {
    /// Work on threads, in its order.
    fn each<T: Send>(
        &self,
        count: usize,
        work: impl Fn(usize) -> T + Sync,
    ) -> Result<Vec<T>, RemedyError> {
        if !(self.watch)(0, count as u64) {
            return Err(RemedyError::Cancelled);
        }
        let watch = |share: f64| {
            let done = libm::round(share * count as f64) as u64;
            (self.watch)(done, count as u64)
        };
        let done = on_threads(count, self.threads, &watch, |i| {
            Ok::<T, RemedyError>(work(i))
        });
        done?.ok_or(RemedyError::Cancelled)
    }

    /// Goes through the steps of knobs, each with what is changed beside it.
    pub(super) fn swept(
        &self,
        search: &Search<'_>,
        asked: &[(&Knob, Sets)],
    ) -> Result<Vec<Swept>, RemedyError> {
        self.each(asked.len(), |i| search.sweep(asked[i].0, &asked[i].1))
    }

    /// Changes checked whole; of each the steps of knobs that it is made of stay with it.
    pub(super) fn whole(
        &self,
        search: &Search<'_>,
        changes: Vec<Steps>,
    ) -> Result<Vec<(Steps, Remedy)>, RemedyError> {
        let checked = self.each(changes.len(), |i| self.wholes.remedy(search, &changes[i]))?;
        let both = changes.into_iter().zip(checked);
        Ok(both.filter_map(|(steps, r)| Some((steps, r?))).collect())
    }
}

/// The steps of knobs that a change is made of.
pub(super) type Steps = Vec<(Knob, usize)>;

/// What is known so far of what would mend a requirement.
pub(super) struct Mending<'a> {
    search: Search<'a>,
    /// Best first.
    remedies: Vec<(Steps, Remedy)>,
    tried: (usize, usize),
    in_pairs: bool,
    nearest: Vec<Sweep>,
}

/// A change that mends and breaks nothing else.
fn suffices(remedy: &Remedy) -> bool {
    remedy.breaks.is_empty() && remedy.word == Word::Met
}

impl<'a> Mending<'a> {
    pub(super) fn of(
        search: Search<'a>,
        knobs: &[Knob],
        going: &Going<'_>,
    ) -> Result<Mending<'a>, RemedyError> {
        let alone: Vec<(&Knob, Sets)> = knobs.iter().map(|k| (k, Sets::new())).collect();
        let swept = going.swept(&search, &alone)?;
        let mut plans: usize = swept.iter().map(|s| s.probes.len()).sum();
        let singles = knobs.iter().zip(&swept);
        let singles = singles.filter_map(|(knob, s)| Some(vec![(knob.clone(), s.smallest?)]));
        let mut remedies = going.whole(&search, singles.collect())?;
        let pairs_too = !remedies.iter().any(|(_, r)| suffices(r));
        let helps = helping(&search, knobs, &swept);
        if pairs_too {
            let best: Vec<usize> = helps.iter().take(PAIRED).map(|h| h.knob).collect();
            let asked = supply_pairs(knobs);
            let (found, judged) = in_pairs(&search, knobs, &best, &asked, going)?;
            let mut pairs = going.whole(&search, found)?;
            // A pair that mends no better than one change is only larger.
            if remedies.iter().any(|(_, r)| r.breaks.is_empty()) {
                pairs.retain(|(_, r)| suffices(r));
            }
            remedies.extend(pairs);
            plans += judged;
        }
        let count = knobs.len() as u64;
        (going.watch)(count, count);
        let short = helps.iter().filter(|h| swept[h.knob].smallest.is_none());
        let nearest = nearest(&search, knobs, short.take(TOLD_NEAREST).copied().collect());
        let mut found = Mending {
            search,
            remedies,
            tried: (knobs.len(), plans),
            in_pairs: pairs_too,
            nearest,
        };
        found.sort();
        Ok(found)
    }

    /// Whether something mends it and breaks nothing else: then what mends another is not tried for it any more.
    pub(super) fn suffices(&self) -> bool {
        self.remedies.iter().any(|(_, r)| suffices(r))
    }

    /// Where nothing that was tried suffices: what mends another requirement of the plan.
    pub(super) fn try_those_of(
        &mut self,
        other: &Mending<'_>,
        going: &Going<'_>,
    ) -> Result<(), RemedyError> {
        if self.suffices() {
            return Ok(());
        }
        let known = |text: &str| self.remedies.iter().any(|(_, r)| r.text == text);
        let new = other.remedies.iter().filter(|(_, r)| !known(&r.text));
        let asked: Vec<&Steps> = new.map(|(steps, _)| steps).collect();
        let probed = going.each(asked.len(), |i| {
            let all = asked[i].iter();
            let all: Sets = all
                .flat_map(|(knob, step)| sets(knob, &knob.steps[*step]))
                .collect();
            self.search.probe(&all).word
        })?;
        self.tried.1 += asked.len();
        let mend = asked.iter().zip(probed);
        let mend = mend.filter(|(_, word)| matches!(word, Some(Word::Met | Word::Marginal)));
        let mend: Vec<Steps> = mend.map(|(steps, _)| (*steps).clone()).collect();
        self.remedies.extend(going.whole(&self.search, mend)?);
        self.sort();
        Ok(())
    }

    fn sort(&mut self) {
        let by_rank = |a: &Remedy, b: &Remedy| rank(a).cmp(&rank(b));
        self.remedies
            .sort_by(|(_, a), (_, b)| by_rank(a, b).then(a.size.total_cmp(&b.size)));
        // What the check names may be what a key comes to by itself.
        let mut told = BTreeSet::new();
        self.remedies.retain(|(_, r)| told.insert(r.text.clone()));
    }

    /// What is told of it; its remedies have no numbers yet.
    pub(super) fn told(&self, plan: &Given<'_>, line: &Line) -> Mended {
        let remedies = self.remedies.iter().map(|(_, remedy)| remedy.clone());
        Mended {
            judged: self.search.base.clone(),
            least: least(&self.search.base),
            remedies: remedies.collect(),
            tried: self.tried,
            in_pairs: self.in_pairs,
            nearest: self.nearest.clone(),
            falls_short: means::falls_short(line, &self.search.base, plan.memo),
        }
    }
}

/// A knob that helps.
#[derive(Clone, Copy)]
struct Helping {
    knob: usize,
    /// The step that leaves most.
    step: usize,
    least: f64,
    word: Word,
}

/// The knobs that leave more without making the requirement met, those that leave most first.
fn helping(search: &Search<'_>, knobs: &[Knob], swept: &[Swept]) -> Vec<Helping> {
    let now = least(&search.base);
    let all = knobs.iter().zip(swept).enumerate();
    let helps = all.filter_map(|(knob, (_, swept))| {
        let (step, probe) = swept.best()?;
        let more = swept.word() != Some(Word::Met) && probe.least > now;
        more.then_some(Helping {
            knob,
            step,
            least: probe.least,
            word: probe.word?,
        })
    });
    let mut helps: Vec<Helping> = helps.collect();
    helps.sort_by(|a, b| b.least.total_cmp(&a.least).then(a.knob.cmp(&b.knob)));
    helps
}

/// What is told of knobs that help and do not suffice: as all years have it, of which few told that they do not.
fn nearest(search: &Search<'_>, knobs: &[Knob], helps: Vec<Helping>) -> Vec<Sweep> {
    let now = least(&search.base);
    let mut told: Vec<Sweep> = helps
        .into_iter()
        .filter_map(|h| {
            let knob = &knobs[h.knob];
            let (least, word) = match search.counts_few() {
                false => (h.least, h.word),
                true => {
                    let probe = search.probe_whole(&sets(knob, &knob.steps[h.step]));
                    (probe.least, probe.word?)
                }
            };
            (least > now + SEEN).then(|| Sweep {
                paths: knob.paths.clone(),
                to: knob.steps[h.step].values[0].clone(),
                word,
                least,
            })
        })
        .collect();
    told.sort_by(|a, b| b.least.total_cmp(&a.least));
    told
}

/// What breaks nothing else first, then met before marginal, then by cost where it is known: two currencies are not compared, and stand
/// one behind the other by their letters.
fn rank(remedy: &Remedy) -> (bool, bool, bool, Option<[u8; 3]>, i64) {
    (
        !remedy.breaks.is_empty(),
        remedy.word != Word::Met,
        remedy.cost.is_none(),
        remedy.cost.map(|c| c.currency),
        remedy.cost.map_or(0, |c| c.minor),
    )
}
