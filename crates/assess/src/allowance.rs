//! How often a detector may tell, real or not, before what the plan asks of its uplink and its batteries no longer holds.
//!
//! The events of the detector (`expects`) are raised until a requirement is no longer kept; everything else stays as it is expected. An
//! uplink is counted at the rates that are expected, as the batteries are, and not at those that are declared at most: those hold
//! whatever the detector tells, because behaviours limit themselves, and what they then leave untold are real calls too.

use plan::{Action, DetectorIx, Line, Requirement, That, UplinkIx, When};
use quantity::{Dimension, EventRate, SECONDS_PER_DAY, show};

use crate::check::{Shelf, Tier, verdicts};
use crate::input::{
    InputError, MONTH_DAYS, SECONDS_PER_HOUR, billed_alone, payload_bytes, runs_per_h,
};
use crate::memo::Memo;
use crate::verdict::Word;
use crate::years::Years;

/// Events a day above which nothing is looked for, and below which there are none.
pub(crate) const MOST_PER_DAY: f64 = 1e5;
const LEAST_PER_DAY: f64 = 1e-2;
/// Halvings of the ratio of the two: to 1 in 10^6, and to 1 % where years are drawn for each.
const HALVINGS: u32 = 24;
const HALVINGS_OF_YEARS: u32 = 11;

/// What one part of the plan leaves for the events of a detector.
#[derive(Clone, Debug, PartialEq)]
pub struct EventLimit {
    /// The part: a typed path.
    pub from: String,
    /// Most events a day, real ones among them; `None` when it holds however many there are.
    pub events_per_day: Option<f64>,
    /// Why so many.
    pub why: String,
}

/// What the plan leaves for the events of a detector: by requirement on an uplink or a battery, and by the limits of the behaviours that
/// it starts.
///
/// # Errors
/// [`InputError`] for what the plan does not say and the rates need.
pub fn event_limits(line: &Line, detector: DetectorIx) -> Result<Vec<EventLimit>, InputError> {
    let memo = Memo::new();
    let mut limits = Vec::new();
    for r in &line.requirements {
        limits.extend(of_requirement(line, detector, r, &memo)?);
    }
    for b in &line.behaviours {
        let (When::Heard { detector: d, .. }, Some(at_most)) = (&b.when, b.at_most) else {
            continue;
        };
        if *d == detector {
            limits.push(EventLimit {
                from: format!("behaviour.{}", b.id),
                events_per_day: Some(at_most.count / at_most.per_s * SECONDS_PER_DAY),
                why: "starts no more often (its `at_most`): of what comes beyond that nothing is told, real calls among it".to_owned(),
            });
        }
    }
    Ok(limits)
}

fn of_requirement(
    line: &Line,
    detector: DetectorIx,
    r: &Requirement,
    memo: &Memo,
) -> Result<Option<EventLimit>, InputError> {
    let from = format!("requirement.{}", r.id);
    let limit = |events_per_day: Option<f64>, why: String| {
        Some(EventLimit {
            from: from.clone(),
            events_per_day,
            why,
        })
    };
    let (of, most, period_s) = match &r.that {
        That::UplinkMessages { of, at_most, .. } => (*of, at_most.count, at_most.per_s),
        That::UplinkCost { of, at_most, .. } => {
            let uplink = &line.uplinks[of.0];
            if uplink.price.minor <= 0 {
                return Ok(limit(None, "messages cost nothing".to_owned()));
            }
            let Some(most) = uplink.affordable(*at_most) else {
                return Ok(limit(
                    Some(0.0),
                    "a month costs more even without any message".to_owned(),
                ));
            };
            (*of, most as f64, MONTH_DAYS * SECONDS_PER_DAY)
        }
        That::OutageHours { .. }
        | That::LowestCharge { .. }
        | That::Autonomy { .. }
        | That::CellLife { .. } => {
            let found = largest(HALVINGS_OF_YEARS, |per_day| {
                let changed = expecting(line, detector, per_day);
                let mut years = Years::new(&changed, memo, Tier::Full);
                let all = verdicts(&changed, r, "", &Shelf::default(), &mut years);
                Ok(all
                    .iter()
                    .all(|v| matches!(v.word(), Word::Met | Word::Marginal)))
            })?;
            let why = match found {
                None => "holds however many events there are",
                Some(0.0) => "does not hold, or is not known, even without any event",
                Some(_) => "holds with so many events and no longer with more",
            };
            return Ok(limit(found, why.to_owned()));
        }
        _ => return Ok(None),
    };
    let others = messages(&expecting(line, detector, 0.0), of, period_s)?;
    let found = largest(HALVINGS, |per_day| {
        Ok(messages(&expecting(line, detector, per_day), of, period_s)? <= most)
    })?;
    let why = format!(
        "{most:.0} messages in {} by uplink.{}, of which everything else is expected to take {others:.1}",
        show(period_s, Dimension::Time),
        line.uplinks[of.0].id
    );
    Ok(limit(found, why))
}

/// The line with another number of events expected of a detector.
pub(crate) fn expecting(line: &Line, detector: DetectorIx, per_day: f64) -> Line {
    let mut changed = line.clone();
    changed.detectors[detector.0].expects = Some(EventRate {
        count: per_day,
        per_s: SECONDS_PER_DAY,
    });
    changed
}

/// Billed messages that are expected on an uplink in a time.
pub(crate) fn messages(line: &Line, uplink: UplinkIx, period_s: f64) -> Result<f64, InputError> {
    let mut sum = 0.0;
    for (behaviour, runs_per_h) in line.behaviours.iter().zip(runs_per_h(line)?) {
        for action in &behaviour.actions {
            if let Action::SendUp {
                uplink: u, topic, ..
            } = action
                && *u == uplink
            {
                let bytes = payload_bytes(&line.topics[topic.0])?;
                let each = billed_alone(&line.uplinks[u.0], bytes);
                sum += each as f64 * runs_per_h * period_s / SECONDS_PER_HOUR;
            }
        }
    }
    Ok(sum)
}

/// The largest number of events a day that is still good, to the last halving and never above; `None` when all are.
fn largest(
    halvings: u32,
    mut good: impl FnMut(f64) -> Result<bool, InputError>,
) -> Result<Option<f64>, InputError> {
    if good(MOST_PER_DAY)? {
        return Ok(None);
    }
    if !good(LEAST_PER_DAY)? {
        return Ok(Some(0.0));
    }
    let (mut low, mut high) = (LEAST_PER_DAY, MOST_PER_DAY);
    for _ in 0..halvings {
        let middle = (low * high).sqrt();
        if good(middle)? {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Some(low))
}
