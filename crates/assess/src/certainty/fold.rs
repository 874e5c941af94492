//! What all draws come to: shares with their limits, margins, and the inputs that move them.

use chance::{clopper_pearson, rank_correlation, value_at_share};
use plan::{Line, Must, Reading};

use super::{Certainty, CertaintyAsk, Draw, DrawnInput, NoLine, One};
use crate::check::Check;
use crate::verdict::{Figure, Judged, Word};
use crate::years::HeldYears;

/// Confidence of the limits of a share, two-sided.
const CONFIDENCE: f64 = 0.95;
/// Shares of the draws below each of the margins that are told.
const SHARES: [f64; 3] = [0.05, 0.5, 0.95];
/// An input moves a margin where their rank correlation is so many standard deviations from that of chance, 1 / sqrt(n - 1): one in 370
/// inputs that do nothing passes it (common practice).
const DEVIATIONS: f64 = 3.0;

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
        why: &'static str,
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
    /// Margins of the draws in which it is known; `None` where there are none.
    pub margins: Option<Margins>,
    /// Of the years that are the draws' own, those in which it held; `None` where it asks for no years.
    pub years: Option<HeldYears>,
}

/// Margins of the draws.
#[derive(Clone, PartialEq, Debug)]
pub struct Margins {
    /// Their unit.
    pub unit: String,
    /// Below which 5 %, 50 % and 95 % of them lie.
    pub at_5_50_95: [f64; 3],
    /// The lowest and the highest.
    pub lowest_highest: (f64, f64),
    /// The inputs that move them, the strongest first; those that stand out of chance alone.
    pub moved_by: Vec<Matters>,
}

/// How an input moves the margin of a requirement.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Matters {
    /// Which of [`Certainty::inputs`].
    pub input: usize,
    /// Spearman's rank correlation of its values with the margins: above zero where more of it leaves more.
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
    pub(super) kept: &'a [Option<&'static str>],
    pub(super) draws: &'a [Draw],
}

pub(super) fn fold(sample: &Sample<'_>, inputs: Vec<DrawnInput>) -> Certainty {
    let Sample {
        check,
        columns,
        draws,
        ..
    } = *sample;
    let mut place = 0;
    let mut requirements = Vec::new();
    for (r, kept) in sample.line.requirements.iter().zip(sample.kept) {
        let judged = super::of(&check.requirements, &r.id);
        let judged = judged.expect("a check judges every requirement of the line");
        let sureness = match kept {
            Some(why) => Sureness::AsWritten { why },
            None => {
                let at = place;
                place += 1;
                let of = |draw: &Draw| draw.as_ref().ok().map(|(all, _)| all[at].clone());
                Sureness::Drawn(Box::new(share(columns, draws, &of)))
            }
        };
        requirements.push(certain(judged, sureness));
    }
    let standing = check.standing.iter().map(|judged| {
        let of = |draw: &Draw| {
            let one = draw.as_ref().ok()?.1.get(&judged.id).cloned();
            // What is not there any more has nothing to be broken.
            Some(one.unwrap_or_else(|| One {
                word: Word::Unknown,
                margin: None,
                why: Some("the draw has nothing that this is about".to_owned()),
                years: None,
            }))
        };
        let sureness = Sureness::Drawn(Box::new(share(columns, draws, &of)));
        certain(judged, sureness)
    });
    let standing = standing.collect();
    let without = draws.iter().enumerate();
    let mut without = without.filter_map(|(i, draw)| Some((i, draw.as_ref().err()?)));
    let no_line = without.next().map(|(first, why)| NoLine {
        draws: 1 + without.count(),
        first,
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

fn share(columns: &[Vec<f64>], draws: &[Draw], of: &dyn Fn(&Draw) -> Option<One>) -> DrawnShare {
    let mut all = DrawnShare {
        met: 0,
        marginal: 0,
        broken: 0,
        unknown: 0,
        first_unknown: None,
        share_low: 0.0,
        share_high: 1.0,
        margins: None,
        years: None,
    };
    let mut known: Vec<(usize, Figure)> = Vec::new();
    for (i, draw) in draws.iter().enumerate() {
        let Some(one) = of(draw) else {
            all.unknown += 1;
            continue;
        };
        match one.word {
            Word::Met => all.met += 1,
            Word::Marginal => {
                all.met += 1;
                all.marginal += 1;
            }
            Word::Broken => all.broken += 1,
            // A draw is judged in full; were one not, nothing would be known of it.
            Word::Unknown | Word::Provisional => {
                all.unknown += 1;
                if let Some(why) = one.why {
                    all.first_unknown.get_or_insert((i, why));
                }
            }
        }
        if let Some(margin) = one.margin {
            known.push((i, margin));
        }
        if let Some(years) = one.years {
            let sum = all.years.get_or_insert_default();
            sum.held += years.held;
            sum.of += years.of;
        }
    }
    let of_all = draws.len() as u64;
    let limits = |met: usize| {
        clopper_pearson(met as u64, of_all, CONFIDENCE)
            .expect("there are draws, and no more met than made")
    };
    all.share_low = limits(all.met).0;
    all.share_high = limits(all.met + all.unknown).1;
    all.margins = margins(columns, &known);
    all
}

fn margins(columns: &[Vec<f64>], known: &[(usize, Figure)]) -> Option<Margins> {
    let values: Vec<f64> = known.iter().map(|(_, margin)| margin.value).collect();
    let mut ascending = values.clone();
    ascending.sort_by(f64::total_cmp);
    let (lowest, highest) = (*ascending.first()?, *ascending.last()?);
    let stands_out = DEVIATIONS / (values.len() as f64 - 1.0).max(1.0).sqrt();
    let mut moved_by: Vec<Matters> = columns
        .iter()
        .enumerate()
        .filter_map(|(input, column)| {
            let drawn: Vec<f64> = known.iter().map(|(i, _)| column[*i]).collect();
            let rank_correlation = rank_correlation(&drawn, &values)?;
            (rank_correlation.abs() > stands_out).then_some(Matters {
                input,
                rank_correlation,
            })
        })
        .collect();
    moved_by.sort_by(|a, b| {
        let size = |m: &Matters| m.rank_correlation.abs();
        size(b).total_cmp(&size(a)).then(a.input.cmp(&b.input))
    });
    Some(Margins {
        unit: known[0].1.unit.clone(),
        at_5_50_95: SHARES.map(|share| value_at_share(&ascending, share).unwrap_or(f64::NAN)),
        lowest_highest: (lowest, highest),
        moved_by,
    })
}
