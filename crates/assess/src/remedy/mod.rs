//! What would mend a plan: for each broken requirement the smallest change of one thing that makes it met, else of two; one that makes it only just met
//! is told too.
//!
//! A change is an edit of the plan's text, which is read and checked as any plan is: there is no second calculation. Along the steps
//! of a key only the requirement itself is judged; the step that is found is checked whole, so that a cure that breaks
//! something else is shown as such and stands below those that do not.
//!
//! Smallest is: of changes with a declared cost the cheapest, of each currency by itself; of others the one with the least sum of
//! `|ln(to / from)|` over the keys that it sets, so that doubling and halving are equally large. Two keys that are one decision (the two
//! levels of a trigger, what one state gives another of the time) count once. A level counts by the ratio of its powers, a change of kind as
//! much as a doubling.

mod heard;
mod knobs;
mod ladder;
mod search;

use std::collections::BTreeSet;
use std::path::Path;

use plan::{Edit, Line, Must, Reading, Requirement, That};
use quantity::{Money, nearest};

use crate::check::{Check, Shelf, Tier, check_as_written};
use crate::compare::{Moves, moves, worst};
use crate::dawn_verdicts;
use crate::memo::Memo;
use crate::places::on_records;
use crate::reach::Reach;
use crate::standing::{BOOTS_CARRIED, COMES_BACK};
use crate::start_verdicts::named_keys;
use crate::verdict::{Judged, Verdict, Word};
use crate::waking::staggered;

pub use heard::{Heard, HeardCounts};
use knobs::{Knob, knobs, together};
pub use search::SharedFetch;
use search::{Search, Sets, Swept, carries, least, sets};

/// Of the knobs that help and do not suffice so many are tried in pairs.
const PAIRED: usize = 6;
/// Steps of the first of a pair that are tried: these shares of its ladder.
const FIRST_OF_PAIR: [f64; 4] = [0.25, 0.5, 0.75, 1.0];
/// So many of the knobs that help and do not suffice are told.
const TOLD_NEAREST: usize = 5;

/// What is asked.
#[derive(Clone, Debug)]
pub struct RemedyAsk {
    /// One requirement or standing check; all that are broken when `None`.
    pub requirement: Option<String>,
    /// How many threads check.
    pub threads: usize,
}

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
    /// Other binding requirements that held and are broken or unknown with it: requirement, subject and word.
    pub breaks: Vec<(String, String, Word)>,
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
}

impl Remedies {
    /// The remedy with a number.
    #[must_use]
    pub fn by_number(&self, number: usize) -> Option<&Remedy> {
        let mut all = self.mended.iter().flat_map(|m| &m.remedies);
        all.find(|r| r.number == number)
    }
}

/// Why nothing can be said.
#[derive(Debug, thiserror::Error)]
pub enum RemedyError {
    /// The plan has no line or mistakes.
    #[error("the plan has mistakes")]
    Plan,
    /// No such requirement.
    #[error("there is no requirement `{id}`{}", near.as_ref().map_or_else(String::new, |n| format!("; did you mean `{n}`?")))]
    NoRequirement {
        /// What was asked.
        id: String,
        /// The nearest that is there.
        near: Option<String>,
        /// All requirements and standing checks that there are.
        all: Vec<String>,
    },
    /// It is unknown.
    #[error("`{id}` is unknown, so nothing can be said of what would mend it: {why}")]
    Unknown {
        /// The requirement.
        id: String,
        /// Why.
        why: String,
    },
    /// Somebody asked to stop.
    #[error("stopped")]
    Cancelled,
}

/// Looks for what would mend a plan.
///
/// `reading` is the plan at `path` as it was read by `fetch`, without errors. `watch` gets how many things have been tried, of how
/// many, and says whether to go on.
///
/// # Errors
/// [`RemedyError`].
pub fn remedies(
    path: &Path,
    reading: &Reading,
    shelf: &Shelf,
    fetch: &SharedFetch<'_>,
    ask: &RemedyAsk,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<Remedies, RemedyError> {
    remedies_with(path, reading, shelf, fetch, ask, &Memo::new(), watch)
}

/// The same, with results of earlier checks in place of what would come to the same.
///
/// # Errors
/// [`RemedyError`].
pub fn remedies_with(
    path: &Path,
    reading: &Reading,
    shelf: &Shelf,
    fetch: &SharedFetch<'_>,
    ask: &RemedyAsk,
    memo: &Memo,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<Remedies, RemedyError> {
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    let line = whole.ok_or(RemedyError::Plan)?;
    let before = check_as_written(reading, shelf, memo, Tier::Full);
    let asked = asked(&before, ask.requirement.as_deref())?;
    let mut number = 0;
    let mut mended = Vec::new();
    for judged in asked {
        let search = Search {
            on_records: on_records(line).contains(judged.id.as_str()),
            ..Search::new(path, reading, shelf, fetch, memo, judged.clone())
        };
        let mut knobs = knobs(reading, line, &reads(reading, line, &judged));
        let asks_start =
            |r: &Requirement| r.id == judged.id && matches!(r.that, That::StartUp { .. });
        if line.requirements.iter().any(asks_start) {
            knobs.extend(together(named_keys(line, judged.word(), memo), reading));
        }
        let asks_dawn =
            |r: &Requirement| r.id == judged.id && matches!(r.that, That::DawnRestarts { .. });
        if judged.id == BOOTS_CARRIED {
            let keys = staggered(line).map_or_else(Vec::new, |found| found.keys(line));
            knobs.extend(together(keys, reading));
        } else if judged.id == COMES_BACK || line.requirements.iter().any(asks_dawn) {
            knobs.extend(together(dawn_verdicts::named_keys(line), reading));
        }
        let mut one = mend(&search, &before, line, &knobs, ask.threads, watch)?;
        for remedy in &mut one.remedies {
            number += 1;
            remedy.number = number;
        }
        mended.push(one);
    }
    Ok(Remedies {
        name: line.deployment.name.clone(),
        check: before,
        mended,
    })
}

/// The requirements that are to be mended.
fn asked(check: &Check, id: Option<&str>) -> Result<Vec<Judged>, RemedyError> {
    let all = || check.requirements.iter().chain(&check.standing);
    let Some(id) = id else {
        let broken = all().filter(|j| j.word() == Word::Broken);
        return Ok(broken.cloned().collect());
    };
    let Some(judged) = all().find(|j| j.id == id) else {
        return Err(RemedyError::NoRequirement {
            id: id.to_owned(),
            near: nearest(id, all().map(|j| j.id.as_str())).map(str::to_owned),
            all: all().map(|j| j.id.clone()).collect(),
        });
    };
    match (judged.word(), &judged.verdicts[0]) {
        (Word::Unknown, Verdict::Unknown { why, .. }) => Err(RemedyError::Unknown {
            id: id.to_owned(),
            why: why.clone(),
        }),
        (Word::Met, _) => Ok(Vec::new()),
        _ => Ok(vec![judged.clone()]),
    }
}

/// Whether a requirement reads a thing. A standing check may read anything.
fn reads<'a>(reading: &'a Reading, line: &'a Line, judged: &Judged) -> impl Fn(&str) -> bool + 'a {
    let reach = Reach { reading, line };
    let own = line.requirements.iter().find(|r| r.id == judged.id);
    let parts = own.map(|r| {
        let mut parts = reach.of(&r.that);
        parts.extend(reach.events(r));
        parts
    });
    move |thing: &str| {
        parts.as_ref().is_none_or(|parts| {
            let below = format!("{thing}.");
            parts.contains(thing) || parts.iter().any(|p| p.starts_with(&below))
        })
    }
}

fn mend(
    search: &Search<'_>,
    before: &Check,
    line: &Line,
    knobs: &[Knob],
    threads: usize,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<Mended, RemedyError> {
    let count = knobs.len() as u64;
    let mut swept: Vec<Swept> = Vec::new();
    for batch in knobs.chunks(threads.max(1)) {
        if !watch(swept.len() as u64, count) {
            return Err(RemedyError::Cancelled);
        }
        let ask: Vec<(&Knob, Sets)> = batch.iter().map(|k| (k, Sets::new())).collect();
        swept.extend(each(search, &ask));
    }
    let mut judged_plans: usize = swept.iter().map(|s| s.probes.len()).sum();
    let mut remedies: Vec<Remedy> = Vec::new();
    for (knob, swept) in knobs.iter().zip(&swept) {
        if let Some(i) = swept.smallest {
            remedies.extend(whole(search, before, line, &[(knob, i)]));
        }
    }
    let suffices = |r: &Remedy| r.breaks.is_empty() && r.word == Word::Met;
    let in_pairs = !remedies.iter().any(suffices);
    let now = least(&search.base);
    let mut helps: Vec<(usize, usize, f64, Word)> = knobs
        .iter()
        .zip(&swept)
        .enumerate()
        .filter_map(|(k, (_, swept))| {
            let (i, probe) = swept.best()?;
            let helps = swept.word() != Some(Word::Met) && probe.least > now;
            helps.then_some((k, i, probe.least, probe.word?))
        })
        .collect();
    helps.sort_by(|a, b| b.2.total_cmp(&a.2).then(a.0.cmp(&b.0)));
    if in_pairs {
        let best: Vec<usize> = helps.iter().take(PAIRED).map(|h| h.0).collect();
        let (mut pairs, plans) = pairs(search, before, line, knobs, &best, threads, watch)?;
        // A pair that mends no better than one change is only larger.
        if remedies.iter().any(|r| r.breaks.is_empty()) {
            pairs.retain(suffices);
        }
        remedies.extend(pairs);
        judged_plans += plans;
    }
    watch(count, count);
    remedies.sort_by(|a, b| rank(a).cmp(&rank(b)).then(a.size.total_cmp(&b.size)));
    // What the check names may be what a key comes to by itself.
    let mut told = BTreeSet::new();
    remedies.retain(|r| told.insert(r.text.clone()));
    let short = helps.iter().filter(|(k, ..)| swept[*k].smallest.is_none());
    let nearest = short.take(TOLD_NEAREST).map(|(k, i, least, word)| Sweep {
        paths: knobs[*k].paths.clone(),
        to: knobs[*k].steps[*i].values[0].clone(),
        word: *word,
        least: *least,
    });
    Ok(Mended {
        judged: search.base.clone(),
        least: now,
        remedies,
        tried: (knobs.len(), judged_plans),
        in_pairs,
        nearest: nearest.collect(),
    })
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

/// Sweeps on threads of their own, in their order.
fn each(search: &Search<'_>, asked: &[(&Knob, Sets)]) -> Vec<Swept> {
    if let [(knob, beside)] = asked {
        return vec![search.sweep(knob, beside)];
    }
    std::thread::scope(|scope| {
        let running: Vec<_> = asked
            .iter()
            .map(|(knob, beside)| scope.spawn(move || search.sweep(knob, beside)))
            .collect();
        let done = running.into_iter();
        done.map(|r| r.join().expect("a check does not panic"))
            .collect()
    })
}

/// Steps of two knobs that mend together.
struct Pair<'k> {
    /// Which knobs.
    of: (usize, usize),
    /// Whether the requirement is then met, and not only just.
    met: bool,
    size: f64,
    steps: [(&'k Knob, usize); 2],
}

/// Of each pair of knobs the smallest change that mends the requirement, and how many plans were judged.
fn pairs(
    search: &Search<'_>,
    before: &Check,
    line: &Line,
    knobs: &[Knob],
    best: &[usize],
    threads: usize,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<(Vec<Remedy>, usize), RemedyError> {
    let mut asked: Vec<(usize, usize, usize)> = Vec::new();
    for (n, a) in best.iter().enumerate() {
        for b in &best[n + 1..] {
            let apart = |k: usize| knobs[k].paths.iter();
            if apart(*a).any(|p| apart(*b).any(|q| p == q)) {
                continue;
            }
            let last = knobs[*a].steps.len() - 1;
            let mut steps: Vec<usize> = FIRST_OF_PAIR
                .iter()
                .map(|share| libm::floor(last as f64 * share) as usize)
                .collect();
            steps.dedup();
            asked.extend(steps.into_iter().map(|i| (*a, i, *b)));
        }
    }
    let count = asked.len() as u64;
    let mut found: Vec<Pair<'_>> = Vec::new();
    let (mut done, mut plans) = (0, 0);
    for batch in asked.chunks(threads.max(1)) {
        if !watch(done, count) {
            return Err(RemedyError::Cancelled);
        }
        let ask: Vec<(&Knob, Sets)> = batch
            .iter()
            .map(|(a, i, b)| (&knobs[*b], sets(&knobs[*a], &knobs[*a].steps[*i])))
            .collect();
        for ((a, i, b), swept) in batch.iter().zip(each(search, &ask)) {
            plans += swept.probes.len();
            if let Some(j) = swept.smallest {
                let size = knobs[*a].steps[*i].size + knobs[*b].steps[j].size;
                found.push(Pair {
                    of: (*a, *b),
                    met: swept.word() == Some(Word::Met),
                    size,
                    steps: [(&knobs[*a], *i), (&knobs[*b], j)],
                });
            }
        }
        done += batch.len() as u64;
    }
    found.sort_by(|x, y| {
        let better = x.of.cmp(&y.of).then(y.met.cmp(&x.met));
        better.then(x.size.total_cmp(&y.size))
    });
    found.dedup_by_key(|pair| pair.of);
    let remedies = found
        .iter()
        .filter_map(|pair| whole(search, before, line, &pair.steps));
    Ok((remedies.collect(), plans))
}

/// A change, checked whole.
fn whole(
    search: &Search<'_>,
    before: &Check,
    line: &Line,
    steps: &[(&Knob, usize)],
) -> Option<Remedy> {
    let all: Sets = steps
        .iter()
        .flat_map(|(knob, i)| sets(knob, &knob.steps[*i]))
        .collect();
    let (edits, text) = search.edited(&all)?;
    let changed = search.read(&text)?;
    let after = check_as_written(&changed, search.shelf, search.memo, Tier::Full);
    let paths = all.iter().map(|(path, _)| path.as_str());
    let heard = heard::heard(paths, line, changed.line.as_ref()?, search.shelf);
    let id = &search.base.id;
    let mut judged = after.requirements.iter().chain(&after.standing);
    let judged = judged.find(|j| j.id == *id)?;
    let word = search.word(judged);
    let on_records = on_records(line);
    let mends_standing = before.requirements.iter().all(|j| j.id != *id);
    let was = worst(before);
    let mut breaks = Vec::new();
    let mut anew = BTreeSet::new();
    for ((standing, requirement, subject), (judged, verdict)) in worst(&after) {
        let held = was
            .get(&(standing, requirement, subject))
            .is_none_or(|(_, v)| matches!(v.word(), Word::Met | Word::Marginal));
        let falls = matches!(verdict.word(), Word::Broken | Word::Unknown);
        let itself = standing == mends_standing && requirement == id;
        if itself || !held || !falls {
            continue;
        }
        // A record that counts with the change says what it says.
        if on_records.contains(requirement) && verdict.word() == Word::Unknown {
            anew.insert(requirement.to_owned());
        } else if judged.must == Must::Shall {
            breaks.push((requirement.to_owned(), subject.to_owned(), verdict.word()));
        }
    }
    let written = search.reading.written();
    let turned = all.iter().map(|(path, to)| {
        let now = written.iter().find(|w| w.path == *path);
        Turned {
            path: path.clone(),
            from: now.map(|w| w.text.trim_matches(['"', '\'']).to_owned()),
            to: to.clone(),
            place: now.map(|w| {
                let sources = &search.reading.sources;
                let file = sources.get(w.at.file).path.display().to_string();
                (file, sources.line_column(w.at).0)
            }),
            overrides_part: now.is_some_and(|w| w.used_at.is_some()),
        }
    });
    let costs: Vec<Option<Money>> = steps.iter().map(|(k, i)| k.steps[*i].cost).collect();
    Some(Remedy {
        number: 0,
        declared: steps
            .iter()
            .filter_map(|(k, _)| k.declared.clone())
            .collect(),
        turned: turned.collect(),
        edits,
        text,
        cost: costs.iter().copied().reduce(sum).flatten(),
        costs,
        carries: carries(judged),
        size: steps.iter().map(|(knob, i)| knob.steps[*i].size).sum(),
        word,
        still_unknown: judged
            .verdicts
            .iter()
            .filter_map(|v| match v {
                Verdict::Unknown { subject, why } => Some((subject.clone(), why.clone())),
                Verdict::Known(_) | Verdict::Provisional(_) => None,
            })
            .collect(),
        verdict: known_first(judged)?.clone(),
        moves: moves(before, &after),
        breaks,
        anew: anew.into_iter().collect(),
        heard,
    })
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
