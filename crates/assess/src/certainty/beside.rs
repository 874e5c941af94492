//! What draws that lie beside a plan say in a later check, and the shares of draws that requirements ask for.

use std::cmp::Reverse;

use chance::{bad_share_bound, clopper_pearson};
use plan::{DrawnDigests, Line};
use power::year::ShareOfYears;
use quantity::{Dimension, show};

use super::counts_false_alarms;
use super::fold::CONFIDENCE as BOTH_SIDES;
use super::record::{DRAWS, DrawnRecord, DrawsRecord};
use crate::check::{Check, Shelf};
use crate::verdict::{Against, Evidence, OF_DRAWS, Side, Verdict, unknown};
use crate::years::CONFIDENCE;

/// What draws that lie beside a plan are worth.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum DrawsBeside {
    /// There are none.
    Nothing,
    /// They are of another state of the plan, and count for nothing.
    Stale,
    /// They are of the plan as it is.
    Current,
}

/// In how many draws a requirement was met, by a record that lies beside the plan and is of it as it is.
#[derive(Clone, PartialEq, Debug)]
pub struct InDraws {
    /// How many draws.
    pub draws: u64,
    /// Their seed.
    pub seed: u64,
    /// Draws in which it is met, those in which it is marginal among them.
    pub met: u64,
    /// Draws in which it is unknown.
    pub unknown: u64,
    /// Limits of the share of all draws in which it is met, as [`super::DrawnShare::share_low`].
    pub share_low: f64,
    /// The upper one.
    pub share_high: f64,
    /// Digest of what was drawn from.
    pub inputs_digest: String,
    /// Digest of the record.
    pub result_digest: String,
}

impl Check {
    /// Tells beside each verdict what the draws on the shelf say of it, and judges the shares of draws that requirements ask for.
    pub(crate) fn with_draws(mut self, line: &Line, plan: &DrawnDigests, shelf: &Shelf) -> Check {
        let all = shelf.draws.iter();
        let current: Vec<&DrawsRecord> = all.filter(|r| r.is_of(plan)).collect();
        self.draws = match (shelf.draws.len(), current.len()) {
            (0, _) => DrawsBeside::Nothing,
            (_, 0) => DrawsBeside::Stale,
            _ => DrawsBeside::Current,
        };
        for judged in &mut self.standing {
            let found = best(&current, |r| r.of_standing(plan, &judged.id));
            judged.in_draws = found.and_then(|(record, one)| InDraws::of(record, one));
        }
        for judged in &mut self.requirements {
            let id = judged.id.clone();
            let r = line.requirements.iter().find(|r| r.id == id);
            // What was drawn before recordings were held against labels counted other false alarms.
            let of_now = |one: &&DrawnRecord| {
                one.not_drawn.is_some() || !r.is_some_and(|r| counts_false_alarms(r, shelf))
            };
            let asked = r.and_then(|r| r.share_of_draws).map(|share| share.si);
            let found = asked
                .and_then(|share| {
                    refuting(
                        &current,
                        |record| record.of_requirement(plan, &id).filter(of_now),
                        share,
                    )
                })
                .or_else(|| {
                    best(&current, |record| {
                        record.of_requirement(plan, &id).filter(of_now)
                    })
                });
            judged.in_draws = found.and_then(|(record, one)| InDraws::of(record, one));
            if let Some(share) = asked {
                let asked = ShareOfYears {
                    share,
                    confidence: CONFIDENCE,
                };
                let beside = match found {
                    None if !current.is_empty() => DrawsBeside::Stale,
                    _ => self.draws,
                };
                let verdict =
                    claim(asked, found, beside, shelf).unwrap_or_else(|why| unknown(OF_DRAWS, why));
                judged.add(verdict);
            }
        }
        // Of a plan of which limits alone have changed records are there, and nothing that is judged has counts in them.
        let mut all = self.standing.iter().chain(&self.requirements);
        if self.draws == DrawsBeside::Current && all.all(|j| j.in_draws.is_none()) {
            self.draws = DrawsBeside::Stale;
        }
        self
    }

    /// The same without what draws say.
    #[must_use]
    pub fn without_draws(&self) -> Check {
        let mut check = self.clone();
        check.draws = DrawsBeside::Nothing;
        for judged in check.requirements.iter_mut().chain(&mut check.standing) {
            judged.in_draws = None;
            judged.verdicts.retain(|v| !v.is_of_draws());
        }
        check
    }
}

/// Of the records that say something of a requirement the one with most draws; of several that with the fewest in which it is met.
fn best<'r>(
    current: &[&'r DrawsRecord],
    of: impl Fn(&'r DrawsRecord) -> Option<&'r DrawnRecord>,
) -> Option<(&'r DrawsRecord, &'r DrawnRecord)> {
    let said = current
        .iter()
        .filter_map(|record| Some((*record, of(record)?)));
    said.min_by_key(|(record, one)| (Reverse(record.draws), one.met, record.seed))
}

/// The record that refutes a share, of several that with most draws: a claim that one seed refutes no other seed shows.
fn refuting<'r>(
    current: &[&'r DrawsRecord],
    of: impl Fn(&'r DrawsRecord) -> Option<&'r DrawnRecord>,
    share: f64,
) -> Option<(&'r DrawsRecord, &'r DrawnRecord)> {
    let asked = ShareOfYears {
        share,
        confidence: CONFIDENCE,
    };
    let refutes = |record: &'r DrawsRecord| {
        let drawn = of(record).filter(|one| one.not_drawn.is_none());
        drawn.is_some_and(|one| {
            asked
                .is_refuted_by(one.broken, record.draws)
                .is_ok_and(|refuted| refuted)
        })
    };
    let those: Vec<&DrawsRecord> = current.iter().copied().filter(|r| refutes(r)).collect();
    best(&those, of)
}

impl InDraws {
    /// `None` where it was not drawn.
    fn of(record: &DrawsRecord, one: &DrawnRecord) -> Option<Self> {
        if one.not_drawn.is_some() {
            return None;
        }
        let limits = |met: u64| clopper_pearson(met, record.draws, BOTH_SIDES).ok();
        Some(Self {
            draws: record.draws,
            seed: record.seed,
            met: one.met,
            unknown: one.unknown,
            share_low: limits(one.met)?.0,
            share_high: limits(one.met + one.unknown)?.1,
            inputs_digest: record.inputs_digest.clone(),
            result_digest: record.digest(),
        })
    }
}

/// The verdict on a share of draws; why it is not known.
fn claim(
    asked: ShareOfYears,
    found: Option<(&DrawsRecord, &DrawnRecord)>,
    beside: DrawsBeside,
    shelf: &Shelf,
) -> Result<Verdict, String> {
    let share = show(asked.share, Dimension::Ratio);
    let sure = show(asked.confidence, Dimension::Ratio);
    let words = format!("{share} of draws at {sure} confidence");
    let needed = asked
        .years_needed()
        .map_err(|_| format!("no number of draws shows {words}: the share must lie below 100 %"))?;
    let command = shelf
        .certainty_command
        .as_deref()
        .map_or_else(String::new, |command| format!("; `{command}` draws it"));
    let (record, one) = found.ok_or_else(|| match beside {
        DrawsBeside::Stale => format!(
            "the draws beside the plan are of another state of it, or of another limit, and count for nothing{command}"
        ),
        _ => format!(
            "nothing that was drawn lies beside the plan; {needed} draws without a bad one show {words}{command}"
        ),
    })?;
    if let Some(why) = &one.not_drawn {
        return Err(format!("it is not drawn: {why}"));
    }
    let said = |e: &dyn std::fmt::Display| e.to_string();
    let draws = record.draws;
    // What is unknown supports nothing, and refutes nothing.
    let (not_met, broken) = (draws - one.met, one.broken);
    let allowed = asked.most_bad(draws).map_err(|e| said(&e))?;
    let shown = allowed.is_some_and(|allowed| not_met <= allowed);
    let refuted = asked.is_refuted_by(broken, draws).map_err(|e| said(&e))?;
    let unknown = match one.unknown {
        0 => String::new(),
        n => format!(", unknown in {n}"),
    };
    let counted = format!(
        "met in {} of {draws} draws{unknown} (seed {})",
        one.met, record.seed
    );
    let least = 1.0 - bad_share_bound(not_met, draws, CONFIDENCE).map_err(|e| said(&e))?;
    let most = bad_share_bound(draws - broken, draws, CONFIDENCE).map_err(|e| said(&e))?;
    let (value, end) = match (shown, refuted) {
        (true, _) => (least, "at least"),
        (false, true) => (most, "at most"),
        (false, false) => {
            return Err(format!(
                "{counted}, and that neither shows nor refutes {words}: it is met in {} to {} % of draws; more of them (--draws) may decide it",
                percent(least, f64::floor),
                percent(most, f64::ceil)
            ));
        }
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * asked.share,
        narrow: 0.0,
        unit: "% of draws".to_owned(),
    };
    let round = if shown { f64::floor } else { f64::ceil };
    let why = format!(
        "{counted}: at {sure} confidence {end} {} % of draws",
        percent(value, round)
    );
    let evidence = Evidence::Sampled {
        method: DRAWS,
        inputs: record.inputs_digest.clone(),
        draws,
        seed: record.seed,
    };
    // Of a claim that is shown without a bad draw the bound may lie below it by the rounding of the share as it is written.
    let value = if shown { value.max(asked.share) } else { value };
    Ok(against.judge(OF_DRAWS.to_owned(), 100.0 * value, evidence, why))
}

/// A share in percent with two digits after the point, rounded so that the limit holds.
fn percent(share: f64, round: fn(f64) -> f64) -> f64 {
    round(1e4 * share) / 100.0
}
