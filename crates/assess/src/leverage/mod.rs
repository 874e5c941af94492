//! Which of the values that a plan does not write matter most: each that is a number behind a key is written elsewhere within a span of
//! ours, and the plan is read and checked as any plan is.

mod keys;

use std::path::Path;

use plan::{Line, Reading, splice};

use crate::check::{Check, Shelf, Tier, check_as_written};
use crate::hang::read_with;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::places::on_records;
use crate::remedy::SharedFetch;
use crate::threads::on_threads;
use crate::verdict::{Figure, Verdict, Word};

use keys::{Behind, behind};

/// Share of a limit that stands for the marginal width of a kind without one (a choice of ours).
const WIDTH_OF_LIMIT: f64 = 0.1;

/// A value that counts although the plan does not write it, and what comes of another one.
#[derive(Clone, PartialEq, Debug)]
pub struct Assumption {
    /// In a sentence, as [`Check::assumed`] has it.
    pub told: String,
    /// What was written in its place; empty where it is no number behind a key.
    pub tried: Vec<Tried>,
}

/// A value that was written in the place of an assumed one.
#[derive(Clone, PartialEq, Debug)]
pub struct Tried {
    /// The keys that got it, all at once.
    pub keys: Vec<String>,
    /// The value.
    pub value: String,
    /// What came of it.
    pub came: Came,
}

/// What comes of a value.
#[derive(Clone, PartialEq, Debug)]
pub enum Came {
    /// The plan cannot have it, beside what else it writes.
    Refused,
    /// No margin moves.
    Nothing,
    /// The requirement or standing check that it moves most.
    Moves(Box<Leverage>),
}

/// What moves.
#[derive(Clone, PartialEq, Debug)]
pub struct Leverage {
    /// Id of the requirement or standing check.
    pub requirement: String,
    /// The margin of its worst verdict as the plan is.
    pub before: Figure,
    /// Its word as the plan is.
    pub word_before: Word,
    /// The margin with the value; `None` where it becomes unknown.
    pub after: Option<Figure>,
    /// Its word with the value.
    pub word_after: Word,
    /// How far the margin moves, in widths within which it is marginal; where its kind has none in tenths of its limit. Infinite where it becomes unknown. Where the worst
    /// verdict becomes one of another unit, how far the shares of their limits that are left are apart, in tenths.
    pub widths: f64,
}

impl Assumption {
    /// What moved most, and by which value.
    #[must_use]
    pub fn most(&self) -> Option<(&Tried, &Leverage)> {
        let moved = self.tried.iter().filter_map(|t| match &t.came {
            Came::Moves(moved) => Some((t, &**moved)),
            Came::Refused | Came::Nothing => None,
        });
        // Of equals the first.
        moved.reduce(|most, one| {
            if one.1.widths > most.1.widths {
                one
            } else {
                most
            }
        })
    }

    /// By how many widths it moves a verdict at most; `None` of what is no number behind a key, or could not be tried.
    #[must_use]
    pub fn widths(&self) -> Option<f64> {
        let known = self.tried.iter().any(|t| t.came != Came::Refused);
        known.then(|| self.most().map_or(0.0, |(_, moved)| moved.widths))
    }
}

/// The plan and how its files are got.
#[derive(Clone, Copy)]
pub struct LeverageOf<'a> {
    /// Path of the plan.
    pub path: &'a Path,
    /// The plan as it was read by `fetch`.
    pub reading: &'a Reading,
    /// What lies beside it.
    pub shelf: &'a Shelf,
    /// Gets its files.
    pub fetch: &'a SharedFetch<'a>,
    /// Results of earlier checks.
    pub memo: &'a Memo,
}

/// What [`Check::assumed`] lists, that with most leverage first; what is no number behind a key stands behind, in the order in which it was.
///
/// `watch` gets the share that is done and says whether to go on. `None` where it did not, and of a plan with mistakes.
#[must_use]
pub fn assumed_by_leverage(
    of: &LeverageOf<'_>,
    check: &Check,
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Option<Vec<Assumption>> {
    let reading = of.reading;
    let line = reading.line.as_ref().filter(|_| !reading.has_errors())?;
    let before = check_as_written(reading, of.shelf, of.memo, Tier::Full);
    let written = reading.written();
    let groups: Vec<Vec<Behind>> = check
        .assumed
        .iter()
        .map(|told| behind(line, &written, told))
        .collect();
    let work: Vec<(usize, &Behind, &str)> = groups
        .iter()
        .enumerate()
        .flat_map(|(of, group)| group.iter().map(move |one| (of, one)))
        .flat_map(|(of, one)| one.values.iter().map(move |v| (of, one, v.as_str())))
        .collect();
    let tried = on_threads(work.len(), threads, watch, |ix| {
        let (_, one, value) = work[ix];
        Ok::<_, std::convert::Infallible>(Tried {
            keys: one.keys.clone(),
            value: value.to_owned(),
            came: with(of, line, &before, &one.keys, value),
        })
    });
    let tried = tried.unwrap_or_default()?;
    let mut all: Vec<Assumption> = check
        .assumed
        .iter()
        .map(|told| Assumption {
            told: told.clone(),
            tried: Vec::new(),
        })
        .collect();
    for ((of, ..), one) in work.iter().zip(tried) {
        all[*of].tried.push(one);
    }
    // Stable: equals stay in their order.
    all.sort_by(|a, b| {
        let key = |one: &Assumption| one.widths().unwrap_or(-1.0);
        key(b).total_cmp(&key(a))
    });
    Some(all)
}

/// What comes of keys that get a value.
fn with(of: &LeverageOf<'_>, line: &Line, before: &Check, keys: &[String], value: &str) -> Came {
    let changed = || {
        let (_, source) = of.reading.sources.iter().next()?;
        let edits = keys.iter().map(|key| of.reading.set(key, value));
        let edits: Vec<_> = edits.collect::<Result<_, _>>().ok()?;
        let text = splice(&source.text, &edits).ok()?;
        let reading = read_with(of.path, of.memo, &|wanted: &Path| match wanted == of.path {
            true => Ok(text.as_bytes().to_vec()),
            false => (of.fetch)(wanted),
        });
        (!reading.has_errors()).then_some(reading)
    };
    let Some(reading) = changed() else {
        return Came::Refused;
    };
    let after = check_as_written(&reading, of.shelf, of.memo, Tier::Full);
    // Records are of the plan as it is: with another value they say nothing.
    let records = on_records(line);
    // A requirement may be called as a check of every plan is.
    let pairs = [
        (&before.requirements, &after.requirements),
        (&before.standing, &after.standing),
    ];
    let moved = pairs.into_iter().flat_map(|(was, is)| {
        let judged = was.iter().filter(|j| !records.contains(j.id.as_str()));
        judged.filter_map(|was| moved(was, is.iter().find(|is| is.id == was.id)?))
    });
    let most = moved.reduce(
        |most, one| {
            if one.widths > most.widths { one } else { most }
        },
    );
    most.map_or(Came::Nothing, |one| Came::Moves(Box::new(one)))
}

/// How far the worst verdict moves; `None` where it stays or was not known before.
fn moved(was: &Judged, is: &Judged) -> Option<Leverage> {
    let (before, narrow, limit) = margin(was)?;
    let word = |after: Option<Figure>, widths: f64| Leverage {
        requirement: was.id.clone(),
        before: before.clone(),
        word_before: was.word(),
        after,
        word_after: is.word(),
        widths,
    };
    let Some((after, _, limit_after)) = margin(is) else {
        return Some(word(None, f64::INFINITY));
    };
    let tenths = |limit: f64| match limit == 0.0 {
        true => 1.0,
        false => WIDTH_OF_LIMIT * limit.abs(),
    };
    let widths = if after.unit == before.unit {
        let width = if narrow > 0.0 { narrow } else { tenths(limit) };
        (after.value - before.value).abs() / width
    } else {
        // A line that collapses has no voltage, but a share of its load: each counts by its own limit.
        (after.value / tenths(limit_after) - before.value / tenths(limit)).abs()
    };
    // Two ways to one figure differ by rounding.
    (widths > 1e-9).then(|| word(Some(after), widths))
}

/// Margin, marginal width and limit of the worst verdict, where that is known.
fn margin(of: &Judged) -> Option<(Figure, f64, f64)> {
    match of.verdicts.first()? {
        Verdict::Known(k) => Some((k.margin.clone(), k.narrow, k.limit.value)),
        Verdict::Provisional(p) => Some((p.margin.clone(), p.narrow, p.limit.value)),
        Verdict::Unknown { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use plan::Must;

    use super::*;
    use crate::verdict::{Against, Evidence, Side, unknown};

    fn judged(verdict: Verdict) -> Judged {
        Judged::new(
            "one".to_owned(),
            Must::Shall,
            None,
            String::new(),
            vec![verdict],
        )
    }

    fn at(value: f64, limit: f64, unit: &str) -> Judged {
        let against = Against {
            side: Side::AtLeast,
            limit,
            narrow: 0.0,
            unit: unit.to_owned(),
        };
        let evidence = Evidence::computed("a test", &value.to_bits());
        judged(against.judge("it".to_owned(), value, evidence, String::new()))
    }

    /// By hand: 24 V over 12 V leave a whole limit, 80 % of the load 20 % less than one, 12 tenths apart. Only what becomes unknown has no measure.
    #[test]
    fn verif_a_worst_verdict_of_another_unit_moves_by_shares_of_the_limits() {
        let before = at(24.0, 12.0, "V");
        let found = moved(&before, &at(80.0, 100.0, "% of the load")).unwrap();
        assert!((found.widths - 12.0).abs() < 1e-12, "{found:?}");
        assert_eq!(found.after.as_ref().map(|f| f.value), Some(-20.0));
        let same = moved(&before, &at(18.0, 12.0, "V")).unwrap();
        assert!((same.widths - 5.0).abs() < 1e-12, "{same:?}");
        assert!(moved(&before, &before).is_none());
        let lost = moved(&before, &judged(unknown("it", "nothing is known"))).unwrap();
        assert!(lost.widths.is_infinite() && lost.after.is_none());
    }
}
