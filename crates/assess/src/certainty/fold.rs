//! What all draws come to: shares with their limits, margins, and the inputs that move them.

use chance::{clopper_pearson, value_at_share};
use plan::{Line, Must, Reading};

use super::gather::{Draw, HeldYears, Whole};
use super::movers::{Sway, movers};
use super::{Certainty, CertaintyAsk, DrawnInput, NoLine};
use crate::check::Check;
use crate::judged::Judged;
use crate::verdict::{Verdict, Word};

/// Confidence of the limits of a share, two-sided.
pub(super) const CONFIDENCE: f64 = 0.95;
/// Shares of the draws below each of the margins that are told.
const SHARES: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];

/// How surely one requirement, or one of what is checked in every plan, is met.
#[derive(Clone, PartialEq, Debug)]
pub struct Certain {
    /// Its id.
    pub id: String,
    /// Shall or should.
    pub must: Must,
    /// Permit, clause or document.
    pub clause: Option<String>,
    /// The requirement in plain words.
    pub sentence: String,
    /// Its word with every value as written.
    pub nominal: Word,
    /// What the draws say of it.
    pub sureness: Sureness,
}

/// What the draws say of a requirement.
#[derive(Clone, PartialEq, Debug)]
pub enum Sureness {
    /// It was judged in every draw.
    Drawn(Box<DrawnShare>),
    /// It was not: what it rests on is of the plan as written.
    AsWritten {
        /// Why.
        why: String,
    },
}

/// A requirement in all draws.
#[derive(Clone, PartialEq, Debug)]
pub struct DrawnShare {
    /// Draws in which it is met, those in which it is marginal among them.
    pub met: usize,
    /// Draws in which it is marginal.
    pub marginal: usize,
    /// Draws in which it is broken.
    pub broken: usize,
    /// Draws in which it is unknown, those that gave no line among them.
    pub unknown: usize,
    /// The first draw that has a line and in which it is unknown, counted from 0, and why.
    pub first_unknown: Option<(usize, String)>,
    /// Limits of the share of all draws in which it is met, 0 to 1, two-sided at 95 % confidence: the lower one as if it were broken
    /// wherever it is unknown, the upper one as if it were met there.
    pub share_low: f64,
    /// The upper one.
    pub share_high: f64,
    /// Margins of the draws in which it is known and has one in the unit of the plan as written; `None` where there are none.
    pub margins: Option<Margins>,
    /// Of the years that are the draws' own, those in which it held; `None` where it asks for no years.
    pub years: Option<HeldYears>,
}

/// Margins of the draws.
#[derive(Clone, PartialEq, Debug)]
pub struct Margins {
    /// Their unit: that of the plan as written; where it has no margin, that of most draws.
    pub unit: String,
    /// How many draws have a margin in that unit.
    pub draws: usize,
    /// Draws in which it is known without a margin in that unit: a line that collapses has no voltage, but a share of its load. They
    /// count in the shares of draws and in no margin.
    pub without: usize,
    /// The first of these, counted from 0, and the unit of its margin, where it has one.
    pub first_without: Option<(usize, Option<String>)>,
    /// Below which 5, 25, 50, 75 and 95 % of them lie.
    pub at_5_25_50_75_95: [f64; 5],
    /// The lowest and the highest.
    pub lowest_highest: (f64, f64),
    /// The inputs that move them, the strongest first; those alone that stand out of chance beside the stronger ones.
    pub moved_by: Vec<Matters>,
}

/// How an input moves the margin of a requirement.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Matters {
    /// Which of [`Certainty::inputs`].
    pub input: usize,
    /// How it does.
    pub moves: Sway,
    /// Rank correlation of the margins with its values, or with their distance from the middle, beside the stronger inputs: above zero where
    /// more of it leaves more. That of the strongest is Spearman's.
    pub rank_correlation: f64,
}

/// A plan that has been drawn.
pub(super) struct Sample<'a> {
    pub(super) reading: &'a Reading,
    pub(super) line: &'a Line,
    /// As it is written.
    pub(super) check: &'a Check,
    pub(super) ask: &'a CertaintyAsk,
    /// Of each input its share in every draw.
    pub(super) columns: &'a [Vec<f64>],
    /// Why a requirement of the line was not drawn.
    pub(super) kept: &'a [Option<String>],
    pub(super) draws: &'a [Draw],
}

pub(super) fn fold(sample: &Sample<'_>, inputs: Vec<DrawnInput>, whole: &Whole) -> Certainty {
    let Sample { check, draws, .. } = *sample;
    let mut places = 0..;
    let mut drawn = |judged: &Judged| {
        let place = places.next().expect("there are places for ever");
        Sureness::Drawn(Box::new(share(sample, whole, place, judged)))
    };
    let mut requirements = Vec::new();
    for (r, kept) in sample.line.requirements.iter().zip(sample.kept) {
        let judged = super::of(&check.requirements, &r.id);
        let judged = judged.expect("a check judges every requirement of the line");
        let sureness = match kept {
            Some(why) => Sureness::AsWritten { why: why.clone() },
            None => drawn(judged),
        };
        requirements.push(certain(judged, sureness));
    }
    let standing = check.standing.iter();
    let standing = standing.map(|judged| certain(judged, drawn(judged)));
    let standing = standing.collect();
    let no_line = whole.no_line.as_ref().map(|(first, why)| NoLine {
        draws: draws.iter().filter(|draw| draw.is_none()).count(),
        first: *first,
        why: why.clone(),
    });
    let asks_years = |c: &Certain| matches!(&c.sureness, Sureness::Drawn(s) if s.years.is_some());
    Certainty {
        name: sample.reading.name.clone(),
        draws: sample.ask.draws,
        seed: sample.ask.seed,
        years_each: requirements
            .iter()
            .any(asks_years)
            .then_some(sample.ask.years),
        inputs,
        no_line,
        requirements,
        standing,
    }
}

fn certain(judged: &Judged, sureness: Sureness) -> Certain {
    Certain {
        id: judged.id.clone(),
        must: judged.must,
        clause: judged.clause.clone(),
        sentence: judged.sentence.clone(),
        nominal: judged.word(),
        sureness,
    }
}

fn share(sample: &Sample<'_>, whole: &Whole, place: usize, nominal: &Judged) -> DrawnShare {
    let draws = sample.draws;
    let (mut met, mut marginal, mut broken, mut unknown) = (0, 0, 0, 0);
    let mut known: Vec<(usize, Option<(f64, &str)>)> = Vec::new();
    for (i, draw) in draws.iter().enumerate() {
        let one = draw.as_ref().map(|all| &all[place]);
        match one.map_or(Word::Unknown, |one| one.word) {
            Word::Met => met += 1,
            Word::Marginal => {
                met += 1;
                marginal += 1;
            }
            Word::Broken => broken += 1,
            // A draw is judged in full; were one not, nothing would be known of it.
            Word::Unknown | Word::Provisional => {
                unknown += 1;
                continue;
            }
        }
        known.push((i, one.and_then(|one| whole.margin(one))));
    }
    let limits = |met: usize| {
        clopper_pearson(met as u64, draws.len() as u64, CONFIDENCE)
            .expect("there are draws, and no more met than made")
    };
    let of_place = &whole.places[place];
    DrawnShare {
        met,
        marginal,
        broken,
        unknown,
        first_unknown: of_place.first_unknown.clone(),
        share_low: limits(met).0,
        share_high: limits(met + unknown).1,
        margins: margins(sample.columns, &known, nominal),
        years: of_place.years(),
    }
}

/// The unit of the margin as written; where there is none, that which most draws have, of equals that which comes first.
fn unit_of(nominal: &Judged, known: &[(usize, Option<(f64, &str)>)]) -> Option<String> {
    match nominal.verdicts.first() {
        Some(Verdict::Known(first)) => return Some(first.margin.unit.clone()),
        Some(Verdict::Provisional(first)) => return Some(first.margin.unit.clone()),
        Some(Verdict::Unknown { .. }) | None => {}
    }
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for (_, unit) in known.iter().filter_map(|(_, margin)| *margin) {
        match counts.iter_mut().find(|(known, _)| *known == unit) {
            Some((_, count)) => *count += 1,
            None => counts.push((unit, 1)),
        }
    }
    let most = counts.iter().rev().max_by_key(|(_, count)| *count)?;
    Some(most.0.to_owned())
}

fn margins(
    columns: &[Vec<f64>],
    known: &[(usize, Option<(f64, &str)>)],
    nominal: &Judged,
) -> Option<Margins> {
    let unit = unit_of(nominal, known)?;
    let mut first_without = None;
    let (mut drawn, mut values) = (Vec::new(), Vec::new());
    for (i, margin) in known {
        match margin {
            Some((value, of)) if *of == unit => {
                drawn.push(*i);
                values.push(*value);
            }
            _ => {
                first_without.get_or_insert_with(|| (*i, margin.map(|(_, of)| of.to_owned())));
            }
        }
    }
    let mut ascending = values.clone();
    ascending.sort_by(f64::total_cmp);
    let (lowest, highest) = (*ascending.first()?, *ascending.last()?);
    let moved_by = movers(columns, &drawn, &values);
    Some(Margins {
        unit,
        draws: values.len(),
        without: known.len() - values.len(),
        first_without,
        at_5_25_50_75_95: SHARES.map(|share| value_at_share(&ascending, share).unwrap_or(f64::NAN)),
        lowest_highest: (lowest, highest),
        moved_by,
    })
}
