//! How surely each requirement is met: the plan drawn many times within its spreads, every draw judged as `check` judges the plan.
//!
//! A draw is a point of a Latin hypercube; it gives a line of plain numbers ([`plan::Reading::line_at`]), and all that is fast runs on it
//! unchanged. Method, limits and what they claim: docs/method/certainty.md.

mod beside;
mod fold;
mod gather;
mod movers;
mod record;
mod turned;

use chance::{Stream, strata};
use plan::{Line, Reading, Requirement, That};

use crate::check::{Check, Shelf, judged};
use crate::hang::hung;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::reach::Reach;
use crate::standing::standing;
use crate::threads::on_threads;
use crate::verdict::{Evidence, Verdict};
use crate::years::{OwnYears, Years};

pub use beside::{DrawsBeside, InDraws};
pub use fold::{Certain, DrawnShare, Margins, Matters, Sureness};
use fold::{Sample, fold};
pub use gather::HeldYears;
use gather::{Draw, Gathered};
pub use movers::Sway;
pub use record::{DRAWS, DrawnRecord, DrawsRecord};
use turned::Turned;

/// Weather years of each draw, where nothing else is asked.
pub const FEW_YEARS: u64 = 3;
/// Most draws: all their points and margins are held at once, for ranks and shares take them all. With a hundred spreads and fifty
/// requirements these are some 160 MB, and the limits of a share lie less than 0.7 points apart (Clopper and Pearson, at one half).
pub(crate) const MOST_DRAWS: usize = 100_000;

/// What is asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct CertaintyAsk {
    /// How many draws.
    pub draws: usize,
    /// Seed of the draws and of their weather.
    pub seed: u64,
    /// Weather years of each draw's own.
    pub years: u64,
    /// Threads; the result does not depend on them.
    pub threads: usize,
}

impl CertaintyAsk {
    /// Whether so many draws and years can be made.
    ///
    /// # Errors
    /// [`CertaintyError::Draws`], [`CertaintyError::Years`].
    pub fn possible(&self) -> Result<(), CertaintyError> {
        let CertaintyAsk { draws, years, .. } = *self;
        if !(2..=MOST_DRAWS).contains(&draws) {
            return Err(CertaintyError::Draws { draws });
        }
        if !(1..=1000).contains(&years) {
            return Err(CertaintyError::Years { years });
        }
        Ok(())
    }
}

/// Why it cannot be told.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CertaintyError {
    /// The plan has mistakes.
    #[error("a plan with mistakes cannot be drawn: mend them first, `soundline check` tells them")]
    Mistakes,
    /// No draws, or too many.
    #[error("{draws} draws were asked for; from 2 to {MOST_DRAWS} can be made")]
    Draws {
        /// Asked for.
        draws: usize,
    },
    /// No weather years, or too many.
    #[error("{years} weather years of each draw were asked for; from 1 to 1000 can be run")]
    Years {
        /// Asked for.
        years: u64,
    },
}

/// A number that is drawn: the value of one place, or of all places to which a part of one batch brings it.
#[derive(Clone, PartialEq, Debug)]
pub struct DrawnInput {
    /// Paths of the values, ascending.
    pub paths: Vec<String>,
    /// Where it is written.
    pub at: plan::Site,
}

/// Draws that gave no line.
#[derive(Clone, PartialEq, Debug)]
pub struct NoLine {
    /// How many.
    pub draws: usize,
    /// The first of them, counted from 0.
    pub first: usize,
    /// Why that one has none.
    pub why: String,
}

/// How surely a plan holds.
#[derive(Clone, PartialEq, Debug)]
pub struct Certainty {
    /// Name of the deployment; `None` when the plan does not say.
    pub name: Option<String>,
    /// How many draws.
    pub draws: usize,
    /// Seed of the draws and of their weather.
    pub seed: u64,
    /// Weather years of each draw's own; `None` where nothing asked for any.
    pub years_each: Option<u64>,
    /// What is drawn.
    pub inputs: Vec<DrawnInput>,
    /// Draws that gave no line; `None` where all did.
    pub no_line: Option<NoLine>,
    /// The plan's requirements, by id.
    pub requirements: Vec<Certain>,
    /// What is checked in every plan.
    pub standing: Vec<Certain>,
}

/// Draws a plan and judges every draw. `check` is what came of checking the plan as it is written, with the same shelf; `watch` gets the
/// share that is done, 0 to 1, and says whether to go on; `Ok(None)` when it says no.
///
/// # Errors
/// [`CertaintyError`] for a plan with mistakes and for numbers of draws and years that cannot be made.
pub fn certainty(
    reading: &Reading,
    shelf: &Shelf,
    check: &Check,
    ask: &CertaintyAsk,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Option<Certainty>, CertaintyError> {
    let line = reading.line.as_ref().filter(|_| !reading.has_errors());
    let line = line.ok_or(CertaintyError::Mistakes)?;
    // What earlier draws say of a requirement is no part of it as it is written.
    let check = &check.without_draws();
    ask.possible()?;
    let inputs = inputs(reading);
    let columns: Vec<Vec<f64>> = inputs
        .iter()
        .map(|input| {
            // By its first path, so that a value that gets a spread moves no other.
            let name = format!("certainty/{}", input.paths[0]);
            strata(&mut Stream::named(ask.seed, &name, 0), ask.draws)
        })
        .collect();
    let kept: Vec<Option<String>> = line
        .requirements
        .iter()
        .map(|r| stays_nominal(r, of(&check.requirements, &r.id), shelf))
        .collect();
    let asked = line.requirements.iter().zip(&kept);
    let asked = asked.filter(|(_, kept)| kept.is_none());
    let asked = asked
        .map(|(r, _)| Asked {
            id: r.id.clone(),
            unknown: unknown_years(r, of(&check.requirements, &r.id)),
        })
        .collect();
    let ids = Ids {
        asked,
        standing: check.standing.iter().map(|j| j.id.clone()).collect(),
    };
    let gathered = Gathered::new(ids.asked.len() + ids.standing.len());
    // Draws have the sun and the sea in common, and whatever else no spread reaches.
    let memo = Memo::new();
    let of_point = |point: &[f64], number: usize, gathered: &Gathered| match reading.line_at(point)
    {
        Ok(line) => {
            let drawn = Drawn {
                reading,
                line: &line,
                number,
            };
            draw(&drawn, (shelf, &memo), &ids, ask, gathered)
        }
        Err(why) => {
            gathered.no_line(number, why.to_string());
            None
        }
    };
    let drawn = on_threads(ask.draws, ask.threads, watch, |i| {
        Ok(of_point(&point(&columns, i), i, &gathered))
    })?;
    let Some(drawn) = drawn else {
        return Ok(None);
    };
    let sample = Sample {
        reading,
        line,
        check,
        ask,
        columns: &columns,
        kept: &kept,
        draws: &drawn,
    };
    let whole = gathered.into_whole();
    let mut told = fold(&sample, inputs, &whole);
    let turned = Turned {
        columns: &columns,
        draws: &drawn,
        whole: &whole,
        again: &of_point,
        places: ids.asked.len() + ids.standing.len(),
    };
    let kept = turned.keep_what_is_read(&mut told, ask.threads, watch);
    Ok(kept.map(|()| told))
}

/// Where a draw lies.
fn point(columns: &[Vec<f64>], number: usize) -> Vec<f64> {
    columns.iter().map(|column| column[number]).collect()
}

/// What is drawn, in the order of a point.
fn inputs(reading: &Reading) -> Vec<DrawnInput> {
    let mut inputs: Vec<DrawnInput> = Vec::new();
    for spread in &reading.spreads {
        let Some(number) = spread.drawn_by else {
            continue;
        };
        match inputs.get_mut(number) {
            Some(input) => input.paths.push(spread.path.clone()),
            None => inputs.push(DrawnInput {
                paths: vec![spread.path.clone()],
                at: spread.at,
            }),
        }
    }
    inputs
}

/// What is judged in every draw, in the order of its places.
struct Ids {
    /// Requirements that are drawn.
    asked: Vec<Asked>,
    /// Standing checks of the plan as it is written.
    standing: Vec<String>,
}

/// A requirement that is drawn.
struct Asked {
    id: String,
    /// Of one on the years of several supplies the verdicts that are unknown as it is written: they stay so in every draw, whose few years
    /// would answer them by mistake.
    unknown: Vec<Verdict>,
}

impl Asked {
    /// A draw of it, with what stays unknown.
    fn kept(&self, mut judged: Judged) -> Judged {
        for unknown in &self.unknown {
            judged.verdicts.retain(|v| v.subject() != unknown.subject());
            judged.add(unknown.clone());
        }
        judged
    }
}

/// One draw with its line.
struct Drawn<'a> {
    reading: &'a Reading,
    line: &'a Line,
    number: usize,
}

fn draw(
    drawn: &Drawn<'_>,
    (shelf, memo): (&Shelf, &Memo),
    ids: &Ids,
    ask: &CertaintyAsk,
    gathered: &Gathered,
) -> Draw {
    let (reading, number) = (drawn.reading, drawn.number);
    // Each draw hangs at depths of its own.
    let line = &*hung(drawn.line, memo);
    let reach = Reach { reading, line };
    let own = OwnYears {
        seed: ask.seed,
        first: number as u64 * ask.years,
        count: ask.years,
    };
    let mut years = Years::of_a_draw(line, memo, own);
    let mut all = Vec::with_capacity(ids.asked.len() + ids.standing.len());
    for asked in &ids.asked {
        let r = line.requirements.iter().find(|r| r.id == asked.id);
        let judged = r.map(|r| asked.kept(judged(&reach, r, shelf, &mut years)));
        let held = years.take_held();
        let place = all.len();
        // Years of one supply do not say what another's are.
        let known = judged.as_ref().is_some_and(|j| {
            !j.verdicts
                .iter()
                .any(|v| matches!(v, Verdict::Unknown { .. }))
        });
        if let Some(held) = held.filter(|_| known) {
            gathered.years(place, &held);
        }
        all.push(gathered.one(place, number, judged.as_ref()));
    }
    let standing = standing(&reach, memo, &years.hangs);
    for id in &ids.standing {
        let place = all.len();
        all.push(gathered.one(place, number, of(&standing, id)));
    }
    Some(all.into_boxed_slice())
}

fn of<'c>(all: &'c [Judged], id: &str) -> Option<&'c Judged> {
    all.iter().find(|j| j.id == id)
}

/// Whether it asks something of years, in a share of them.
fn claims_years(that: &That) -> bool {
    matches!(
        that,
        That::OutageHours { .. }
            | That::LowestCharge { .. }
            | That::ListeningShare { .. }
            | That::ListeningGap { .. }
    )
}

/// Of a requirement on years the verdicts that are unknown as it is written.
fn unknown_years(r: &Requirement, nominal: Option<&Judged>) -> Vec<Verdict> {
    if !claims_years(&r.that) {
        return Vec::new();
    }
    let all = nominal.into_iter().flat_map(|j| &j.verdicts);
    all.filter(|v| matches!(v, Verdict::Unknown { .. }))
        .cloned()
        .collect()
}

/// Whether a requirement counts false alarms of labelled recordings, which are of the plan as it is written and in no draw: draws that were
/// made before they lay there counted other rates.
fn counts_false_alarms(r: &Requirement, shelf: &Shelf) -> bool {
    matches!(r.that, That::UplinkCost { .. }) && r.share.is_some() && !shelf.tunings.is_empty()
}

/// Why a requirement is not drawn but counts as it is written; `None` where it is drawn.
fn stays_nominal(r: &Requirement, nominal: Option<&Judged>, shelf: &Shelf) -> Option<String> {
    let sampled = |v: &Verdict| matches!(v, Verdict::Known(k) if matches!(k.evidence, Evidence::Sampled { .. }));
    let why = match r.that {
        That::Rehearsed { .. } => "a rehearsal is of the plan as it is written",
        That::Attested { .. } => "a document is of the plan as it is written",
        That::DetectionRange { .. } => {
            "detection ranges are measured with the plan as it is written; the spread of the call's level counts in them"
        }
        That::Recall { .. } | That::FalseAlarms { .. } => {
            "recordings were held against labels with the plan as it is written"
        }
        _ if counts_false_alarms(r, shelf) => {
            "the false alarms that it counts were measured with the plan as it is written"
        }
        // A draw's few years ask for no share of years, so that they would answer what cannot be answered.
        _ if claims_years(&r.that) => {
            let all = &nominal?.verdicts;
            let unknown = unknown_years(r, nominal);
            let first = unknown.first().filter(|_| unknown.len() == all.len())?;
            let (subject, why) = (first.subject(), first.why());
            return Some(format!("as it is written it is unknown: {subject}: {why}"));
        }
        _ if nominal.is_some_and(|j| j.verdicts.iter().any(sampled)) => {
            "its months are draws already, and no draw is nested in another"
        }
        _ => return None,
    };
    Some(why.to_owned())
}
