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

mod found;
mod heard;
mod knobs;
mod ladder;
mod means;
mod mend;
mod pairs;
mod search;
mod whole;

use std::path::Path;

use plan::{Line, Reading, Requirement, That};
use quantity::nearest;

use crate::check::{Check, Shelf, Tier, check_as_written};
use crate::dawn_verdicts;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::places::on_records;
use crate::reach::Reach;
use crate::standing::{BOOTS_CARRIED, COMES_BACK};
use crate::start_verdicts::named_keys;
use crate::verdict::{Verdict, Word};
use crate::waking::staggered;

pub use found::{Mended, Remedies, Remedy, Sweep, Turned, WholeMoved};
pub use heard::{Heard, HeardCounts};
use knobs::{Knob, knobs, together};
pub(crate) use ladder::split;
use mend::{Going, Mending};
use search::Search;
pub use search::SharedFetch;
use whole::Wholes;

/// What is asked.
#[derive(Clone, Debug)]
pub struct RemedyAsk {
    /// One requirement or standing check; all that are broken when `None`.
    pub requirement: Option<String>,
    /// How many threads check.
    pub threads: usize,
}

/// Gets how many things have been tried, of how many, and says whether to go on.
pub type RemedyWatch<'a> = dyn Fn(u64, u64) -> bool + Sync + 'a;

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
    watch: &RemedyWatch<'_>,
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
    watch: &RemedyWatch<'_>,
) -> Result<Remedies, RemedyError> {
    let plan = Given {
        path,
        reading,
        shelf,
        fetch,
        memo,
    };
    all(&plan, ask, watch, &mut |_, _| {})
}

/// The same; `told` gets each requirement with its remedies as soon as these are final, in their order, behind the name of the deployment.
///
/// # Errors
/// [`RemedyError`].
pub fn remedies_as_found(
    path: &Path,
    reading: &Reading,
    shelf: &Shelf,
    fetch: &SharedFetch<'_>,
    ask: &RemedyAsk,
    watch: &RemedyWatch<'_>,
    told: &mut dyn FnMut(&str, &Mended),
) -> Result<Remedies, RemedyError> {
    let plan = Given {
        path,
        reading,
        shelf,
        fetch,
        memo: &Memo::new(),
    };
    all(&plan, ask, watch, told)
}

/// A plan that is to be mended.
struct Given<'a> {
    path: &'a Path,
    reading: &'a Reading,
    shelf: &'a Shelf,
    fetch: &'a SharedFetch<'a>,
    memo: &'a Memo,
}

fn all(
    plan: &Given<'_>,
    ask: &RemedyAsk,
    watch: &RemedyWatch<'_>,
    told: &mut dyn FnMut(&str, &Mended),
) -> Result<Remedies, RemedyError> {
    let reading = plan.reading;
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    let line = whole.ok_or(RemedyError::Plan)?;
    let before = check_as_written(reading, plan.shelf, plan.memo, Tier::Full);
    let asked = asked(&before, ask.requirement.as_deref())?;
    let wholes = Wholes::new(line, &before);
    let going = Going {
        wholes: &wholes,
        threads: ask.threads,
        watch,
    };
    let mut found: Vec<Mending<'_>> = Vec::new();
    let mut final_ones: Vec<Mended> = Vec::new();
    let last = asked.len();
    for (at, (judged, standing)) in asked.into_iter().enumerate() {
        let rests = !standing && on_records(line).contains(judged.id.as_str());
        let search = Search::new(plan, (judged, standing), rests);
        let knobs = turned_for(plan, line, &search);
        let mut one = Mending::of(search, &knobs, &going)?;
        for other in &found {
            one.try_those_of(other, &going)?;
        }
        for other in &mut found {
            other.try_those_of(&one, &going)?;
        }
        found.push(one);
        // What nothing mends without harm may yet be mended by what mends another.
        while let Some(next) = found.get_mut(final_ones.len())
            && (next.suffices() || at + 1 == last)
        {
            let mut mended = next.told(plan, line);
            let told_so_far: usize = final_ones.iter().map(|m| m.remedies.len()).sum();
            for (remedy, number) in mended.remedies.iter_mut().zip(told_so_far + 1..) {
                remedy.number = number;
            }
            told(&line.deployment.name, &mended);
            final_ones.push(mended);
        }
    }
    let drawn = before
        .clone()
        .with_draws(line, &reading.drawn_digests, plan.shelf);
    let pairs = drawn.requirements.iter().zip(&before.requirements);
    let by_draws = pairs.filter(|(with, without)| with.is_broken() && !without.is_broken());
    Ok(Remedies {
        name: line.deployment.name.clone(),
        status: drawn.status(),
        by_draws: by_draws.map(|(with, _)| with.id.clone()).collect(),
        check: before,
        mended: final_ones,
    })
}

/// All that may be changed for a requirement.
fn turned_for(plan: &Given<'_>, line: &Line, search: &Search<'_>) -> Vec<Knob> {
    let (reading, judged) = (plan.reading, &search.base);
    let mut requirements = line.requirements.iter();
    let own = requirements.find(|r| !search.standing && r.id == judged.id);
    let mut knobs = knobs(reading, line, &reads(reading, line, own));
    let asks = |wanted: fn(&That) -> bool| own.is_some_and(|r| wanted(&r.that));
    if asks(|that| matches!(that, That::StartUp { .. })) {
        knobs.extend(together(
            named_keys(line, judged.word(), plan.memo),
            reading,
        ));
    }
    let checks = |id: &str| search.standing && judged.id == id;
    if checks(BOOTS_CARRIED) {
        let keys = staggered(line).map_or_else(Vec::new, |found| found.keys(line));
        knobs.extend(together(keys, reading));
    } else if checks(COMES_BACK) || asks(|that| matches!(that, That::DawnRestarts { .. })) {
        knobs.extend(together(dawn_verdicts::named_keys(line), reading));
    }
    knobs
}

/// What is to be mended, each with whether it is a check of every plan. By its id a requirement, else such a check.
fn asked(check: &Check, id: Option<&str>) -> Result<Vec<(Judged, bool)>, RemedyError> {
    let own = || check.requirements.iter().map(|j| (j, false));
    let all = || own().chain(check.standing.iter().map(|j| (j, true)));
    let owned = |(judged, standing): (&Judged, bool)| (judged.clone(), standing);
    let Some(id) = id else {
        let broken = all().filter(|(j, _)| j.word() == Word::Broken);
        return Ok(broken.map(owned).collect());
    };
    let Some((judged, standing)) = all().find(|(j, _)| j.id == id) else {
        return Err(RemedyError::NoRequirement {
            id: id.to_owned(),
            near: nearest(id, all().map(|(j, _)| j.id.as_str())).map(str::to_owned),
            all: all().map(|(j, _)| j.id.clone()).collect(),
        });
    };
    match (judged.word(), &judged.verdicts[0]) {
        (Word::Unknown, Verdict::Unknown { why, .. }) => Err(RemedyError::Unknown {
            id: id.to_owned(),
            why: why.clone(),
        }),
        (Word::Met, _) => Ok(Vec::new()),
        _ => Ok(vec![(judged.clone(), standing)]),
    }
}

/// Whether a requirement reads a thing. A standing check may read anything.
fn reads<'a>(
    reading: &'a Reading,
    line: &'a Line,
    own: Option<&Requirement>,
) -> impl Fn(&str) -> bool + 'a {
    let reach = Reach { reading, line };
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
