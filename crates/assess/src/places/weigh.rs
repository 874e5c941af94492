//! The check of a line with one module more against the check without it.

use std::collections::{BTreeMap, BTreeSet};

use plan::{Line, Must, That};

use crate::check::Check;
use crate::judged::Judged;
use crate::verdict::{Known, Ruling, Verdict, Word};

/// A margin that is less by this share only is the same.
const ROUNDING: f64 = 1e-9;

/// A verdict with the module in place, beside what was left without it.
#[derive(Clone, Debug, PartialEq)]
pub struct Bind {
    /// Id of the requirement or standing check.
    pub requirement: String,
    /// The verdict with the module in place.
    pub known: Known,
    /// The margin without it, in the unit of the margin; `None` for what is only there with it.
    pub margin_before: Option<f64>,
    /// The margin as a share of that without the module; of what is only there with it as a share of the least that its requirement has
    /// without it, or of the limit where it has none. Negative when broken.
    pub left: f64,
}

/// What the module changes, verdict by verdict.
#[derive(Clone, Debug, Default)]
pub(super) struct Weighed {
    /// Binding verdicts that are known, that which leaves least first.
    pub(super) known: Vec<Bind>,
    /// What was known or was not there without the module, and is unknown with it: subject and why.
    pub(super) unknown: Vec<(String, String, String)>,
    /// What was broken before and has less than before: requirement and subject.
    pub(super) worse: Vec<(String, String)>,
    /// What is recommended and broken by the module.
    pub(super) should: Vec<(String, String)>,
    /// Requirements whose evidence has to be made anew.
    pub(super) anew: BTreeSet<String>,
}

/// The names under which what is new is told.
pub(super) struct Names<'a> {
    /// Id of the module and of a span that hangs it on a neighbour.
    pub(super) module: &'a str,
    /// Id of the half of a span that lies beyond it.
    pub(super) further: &'a str,
    /// Id of the span that is cut.
    pub(super) cut: Option<&'a str>,
}

impl Names<'_> {
    fn is_new(&self, subject: &str) -> bool {
        let named = |path: String| names(subject, &path);
        named(format!("module.{}", self.module)) || named(format!("span.{}", self.module))
    }

    /// The subject as it was called without the module.
    fn before(&self, subject: &str) -> Option<String> {
        let further = format!("span.{}", self.further);
        let cut = self.cut.filter(|_| names(subject, &further))?;
        Some(subject.replace(&further, &format!("span.{cut}")))
    }
}

/// Whether a path stands in a text as a whole.
fn names(text: &str, path: &str) -> bool {
    text.match_indices(path).any(|(at, _)| {
        let next = text[at + path.len()..].chars().next();
        !next.is_some_and(|c| c.is_ascii_alphanumeric() || c == '-')
    })
}

/// All verdicts by requirement, subject and number among those of one subject.
fn table(check: &Check) -> BTreeMap<(&str, &str, usize), &Verdict> {
    let mut all = BTreeMap::new();
    for (judged, verdict, nth) in each(check) {
        all.insert((judged.id.as_str(), verdict.subject(), nth), verdict);
    }
    all
}

fn each(check: &Check) -> impl Iterator<Item = (&Judged, &Verdict, usize)> {
    let all = check.requirements.iter().chain(&check.standing);
    all.flat_map(|judged| {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        judged.verdicts.iter().map(move |verdict| {
            let nth = counts.entry(verdict.subject()).or_default();
            *nth += 1;
            (judged, verdict, *nth - 1)
        })
    })
}

/// Requirements that rest on records which a changed plan makes stale.
pub(crate) fn on_records(line: &Line) -> BTreeSet<&str> {
    let rests = |that: &That| {
        matches!(
            that,
            That::Rehearsed { .. }
                | That::Recall { .. }
                | That::FalseAlarms { .. }
                | That::DetectionRange { .. }
        )
    };
    let all = line.requirements.iter();
    all.filter(|r| rests(&r.that))
        .map(|r| r.id.as_str())
        .collect()
}

/// What was broken or unknown without the module; of one subject the worst.
pub(super) fn already(check: &Check, word: Word) -> Vec<(String, String, String)> {
    each(check)
        .filter(|(judged, verdict, nth)| {
            *nth == 0 && judged.must == Must::Shall && verdict.word() == word
        })
        .map(|(judged, verdict, _)| {
            let why = verdict.why().to_owned();
            (judged.id.clone(), verdict.subject().to_owned(), why)
        })
        .collect()
}

/// Holds one check against the other.
pub(super) fn weigh(before: &Check, after: &Check, line: &Line, new: &Names<'_>) -> Weighed {
    let known_before = table(before);
    let words: BTreeMap<&str, Word> = before
        .requirements
        .iter()
        .chain(&before.standing)
        .map(|j| (j.id.as_str(), j.word()))
        .collect();
    let mut least: BTreeMap<&str, f64> = BTreeMap::new();
    for ((id, ..), verdict) in &known_before {
        if let Verdict::Known(known) = verdict {
            let so_far = least.entry(id).or_insert(f64::INFINITY);
            *so_far = so_far.min(known.margin.value);
        }
    }
    let on_records = on_records(line);
    let mut weighed = Weighed::default();
    for (judged, verdict, nth) in each(after) {
        let (id, subject) = (judged.id.as_str(), verdict.subject());
        let at = |subject: &str| known_before.get(&(id, subject, nth)).copied();
        let was = at(subject).or_else(|| at(&new.before(subject)?));
        let was_word = match was {
            Some(was) => Some(was.word()),
            // Told of another subject than before, as of a start that now ends elsewhere.
            None if !new.is_new(subject) => words.get(id).copied(),
            None => None,
        };
        if on_records.contains(id) {
            weighed.anew.insert(id.to_owned());
            continue;
        }
        let place = || (id.to_owned(), subject.to_owned());
        let should = judged.must == Must::Should;
        match verdict {
            Verdict::Unknown { .. } | Verdict::Provisional(_) if should => {}
            Verdict::Unknown { .. } | Verdict::Provisional(_) => {
                if was_word != Some(Word::Unknown) {
                    let (id, subject) = place();
                    weighed
                        .unknown
                        .push((id, subject, verdict.why().to_owned()));
                }
            }
            Verdict::Known(known) => {
                let margin_before = match was {
                    Some(Verdict::Known(was)) => Some(was.margin.value),
                    _ => None,
                };
                let less = margin_before
                    .is_some_and(|was| known.margin.value < was - ROUNDING * was.abs());
                match (known.ruling, was_word) {
                    (Ruling::Broken, Some(Word::Broken)) if less => {
                        let place = place();
                        if !weighed.worse.contains(&place) {
                            weighed.worse.push(place);
                        }
                    }
                    (Ruling::Broken, Some(Word::Broken)) => {}
                    (Ruling::Broken, _) if should => weighed.should.push(place()),
                    _ if should => {}
                    _ => weighed.known.push(Bind {
                        requirement: id.to_owned(),
                        left: left(known, margin_before, least.get(id).copied()),
                        known: (**known).clone(),
                        margin_before,
                    }),
                }
            }
        }
    }
    let broken = |b: &Bind| b.known.ruling != Ruling::Broken;
    weighed.known.sort_by(|a, b| {
        (broken(a), a.left)
            .partial_cmp(&(broken(b), b.left))
            .expect("a share is a number")
    });
    weighed
}

/// How much is left: of the margin before, of the least of its requirement, or of the limit.
fn left(known: &Known, before: Option<f64>, least: Option<f64>) -> f64 {
    let margin = known.margin.value;
    match before.or(least) {
        Some(was) if was > 0.0 => margin / was,
        // A limit of nothing at all that is kept, and still is.
        Some(was) if margin >= was => 1.0,
        _ if known.limit.value != 0.0 => margin / known.limit.value.abs(),
        _ if margin < 0.0 => f64::NEG_INFINITY,
        _ => 1.0,
    }
}
