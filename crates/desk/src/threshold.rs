//! The threshold of a detector moved: the plan with that one change, and what comes of it beside what came before.

use std::path::Path;

use assess::tuning::{Counted, HeardAt};
use assess::{
    ASHORE_SHARE, Expected, LevelMoved, Levels, Memo, ThresholdAsk, ThresholdSide, Tier,
    UPLINK_MONTH_DAYS, UplinkMonthly, Verdict, threshold_moved,
};
use beside::Kept;
use chance::LimitsFrom;
use plan::{DetectorIx, Edit, Line, Reading};
use quantity::{Money, show_bare, show_number};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::{edit, text};

/// What is asked.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Ask {
    text: String,
    /// Id or typed path.
    detector: String,
    /// In the unit in which `on_above` is written.
    on_above_db: f64,
    /// Real events that come in a day; what the plan's `expects` leaves where it is not given.
    real_per_d: Option<f64>,
}

pub(crate) fn moved(
    plan: &Path,
    (memo, kept): (&Memo, &Kept),
    go_on: &dyn Fn() -> bool,
    ask: &Ask,
) -> Result<Value, ApiError> {
    let number = |x: f64, most: f64| x.is_finite() && x.abs() <= most;
    if !number(ask.on_above_db, MOST_DB) {
        return Err(ApiError::bad(
            "bad-body",
            "`on_above_db` is no level in decibels",
        ));
    }
    if ask
        .real_per_d
        .is_some_and(|r| !number(r, MOST_PER_DAY) || r < 0.0)
    {
        return Err(ApiError::bad(
            "bad-body",
            "`real_per_d` is no number of events a day",
        ));
    }
    let reading = text::read(plan, &ask.text, memo);
    let before = text::line(&reading)?;
    let id = ask
        .detector
        .strip_prefix("detector.")
        .unwrap_or(&ask.detector);
    let (levels, detector) = trigger(&reading, before, id)?;
    let sets = levels.moved(ask.on_above_db);
    let mut edits = set(&reading, &sets)?;
    let new = edit::spliced(&ask.text, &edits)?;
    let after_reading = text::read(plan, &new, memo);
    let after = after_reading.line.as_ref();
    let after = after.filter(|_| !after_reading.has_errors());
    let after = after.ok_or_else(|| refused(&after_reading, ask.on_above_db))?;
    let shelf = text::shelf(plan, &reading, kept, go_on);
    let (shelf, _) = shelf.ok_or_else(ApiError::cancelled)?;
    let found = threshold_moved(&ThresholdAsk {
        before,
        after,
        shelf: &shelf,
        detector,
        real_per_d: ask.real_per_d,
        memo,
        tier: Tier::Quick,
    });
    let mut told = json!({
        "format": "threshold/2",
        "program": beside::PROGRAM,
        "detector": format!("detector.{id}"),
        "unit": levels.unit(),
        "over": over(before, detector),
        "planned_db": levels.on_db(),
        "lies_above_db": lies_above_db(before, detector),
        "on_above_db": ask.on_above_db,
        "sets": sets.iter().map(set_json).collect::<Vec<_>>(),
        "real_per_d": known(&found.real_per_d, |real| json!({ "value": real, "unit": "per day" })),
        "tried_db": found.tried_db.map(|(low, high)| json!({ "low": low, "high": high })),
        "records": found.records,
        "before": side(&found.before),
        "after": side(&found.after),
        "text": new,
        "expects": Value::Null,
        "text_with_expects": Value::Null,
    });
    if let (Ok(events), Some(_)) = (
        &found.after.events_per_d,
        before.detectors[detector.0].expects,
    ) && ask.on_above_db != levels.on_db()
    {
        let rate = format!("{} per d", three_digits(events.value));
        let expects = edit::key(&reading, &format!("detector.{id}.expects"), &rate)?;
        edits.push(expects);
        told["expects"] = json!(rate);
        told["text_with_expects"] = json!(edit::spliced(&ask.text, &edits)?);
    }
    Ok(told)
}

/// No level in a plan is farther from 0 dB.
const MOST_DB: f64 = 1e4;
/// No sea has more.
const MOST_PER_DAY: f64 = 1e6;

/// A number of three digits, as a plan writes it.
fn three_digits(x: f64) -> String {
    let number: f64 = format!("{x:.2e}").parse().expect("it was just written");
    show_bare(number)
}

/// The levels of the detector's trigger, and the detector.
fn trigger(reading: &Reading, line: &Line, id: &str) -> Result<(Levels, DetectorIx), ApiError> {
    let none = || {
        ApiError::unusable(
            "no-threshold",
            format!("the plan has no `detector.{id}` with a threshold `on_above` in decibels"),
        )
    };
    let detector = line.detectors.iter().position(|d| d.id == id);
    let detector = DetectorIx(detector.ok_or_else(none)?);
    let head = format!("detector.{id}.stages[");
    let written = reading.written();
    let own = written
        .iter()
        .find(|w| w.path.starts_with(&head) && w.path.ends_with("].on_above"));
    let levels = own.and_then(|w| Levels::of(&written, &w.path));
    Ok((levels.ok_or_else(none)?, detector))
}

fn set(reading: &Reading, sets: &[LevelMoved]) -> Result<Vec<Edit>, ApiError> {
    let each = sets
        .iter()
        .map(|set| edit::key(reading, &set.path, &set.to));
    each.collect()
}

fn set_json(set: &LevelMoved) -> Value {
    json!({ "path": set.path, "from": set.from, "to": set.to })
}

/// What bare decibels are over; null where the unit says it.
fn over(line: &Line, detector: DetectorIx) -> Value {
    let detector = &line.detectors[detector.0];
    match (detector.over_background(), detector.of_learned()) {
        (true, _) => json!("the background"),
        (_, true) => json!("even odds"),
        _ => Value::Null,
    }
}

/// Below what no threshold of this detector may lie; null where nothing says so. One over a background lies above the background itself.
fn lies_above_db(line: &Line, detector: DetectorIx) -> Option<f64> {
    line.detectors[detector.0].over_background().then_some(0.0)
}

/// The mistake that the plan has with the threshold there.
fn refused(reading: &Reading, on_above_db: f64) -> ApiError {
    let told = text::unusable(reading);
    let Some(mistake) = reading.mistakes.iter().find(|m| m.is_error()) else {
        return told;
    };
    let said = format!(
        "the plan cannot have a threshold of {} dB here: {}",
        show_number(on_above_db),
        mistake.message
    );
    told.saying(said).help_of(mistake.help.clone())
}

fn known<T>(of: &Result<T, String>, told: impl Fn(&T) -> Value) -> Value {
    match of {
        Ok(value) => told(value),
        Err(why) => json!({ "unknown": why }),
    }
}

fn side(side: &ThresholdSide) -> Value {
    let most = busiest(&side.uplinks);
    let per_month = format!("messages in {UPLINK_MONTH_DAYS:.0} d");
    let of_most = |told: &dyn Fn(&UplinkMonthly) -> Value| match most {
        Ok(uplink) => {
            let mut told = told(uplink);
            told["uplink"] = json!(uplink.uplink);
            told
        }
        Err(why) => json!({ "unknown": why }),
    };
    json!({
        "misses": known(&side.heard, |h| json!({
            "value": h.missed,
            "unit": format!("of {} labels", h.labelled),
            "share": h.missed_share.map(|share| percent(&share)),
            "labels": h.labels,
            "record": h.record,
            "why": between(h),
        })),
        "false_alarms": known(&side.heard, |h| {
            let mut told = counted(&h.false_alarms_per_d, "per day");
            told["judged_s"] = json!(h.judged_s);
            told["limits_from"] = json!(limits_from(h.limits_from));
            told["why"] = between(h);
            told
        }),
        "events": known(&side.events_per_d, |events| counted(events, "per day")),
        "messages": of_most(&|uplink| {
            let most = uplink.at_most.as_ref().ok().map(|(most, _)| *most);
            let mut told = known(&uplink.expected, |e| json!({
                "value": e.messages,
                "unit": per_month,
                "at_high": e.messages_at_high,
                "held": e.held,
            }));
            told["at_most"] = json!(most);
            told
        }),
        "cost": of_most(&|uplink| {
            let most = uplink.at_most.as_ref().ok().and_then(|(_, cost)| *cost);
            let mut told = known(&uplink.expected, cost);
            told["at_most"] = json!(most.and_then(|cost| cost.major()));
            told
        }),
        "delay": of_most(&|uplink| known(&uplink.ashore_s, |s| json!({
            "value": s,
            "unit": "s",
            "share": { "value": 100.0 * ASHORE_SHARE, "unit": "%" },
        }))),
        "charge": known(&side.charge, |all| match all.first() {
            None => json!({ "unknown": "no requirement asks for charge, hours off or the life of cells" }),
            Some((id, verdict)) => judged(id, verdict),
        }),
        "judged": side.judged.iter().map(|(id, v)| judged(id, v)).collect::<Vec<_>>(),
    })
}

fn counted(of: &Counted, unit: &str) -> Value {
    json!({ "value": of.value, "low": of.low, "high": of.high, "unit": unit })
}

fn percent(of: &Counted) -> Value {
    json!({ "value": 100.0 * of.value, "low": 100.0 * of.low, "high": 100.0 * of.high, "unit": "%" })
}

/// Between which thresholds that were tried it lies; null where it was tried itself.
fn between(heard: &HeardAt) -> Value {
    match heard.between_db {
        None => Value::Null,
        Some((low, high)) => json!(format!(
            "not tried itself: on a line between {} dB and {} dB, with the wider of their limits",
            show_number(low),
            show_number(high)
        )),
    }
}

fn limits_from(of: LimitsFrom) -> String {
    match of {
        LimitsFrom::Days(days) => format!("{days} days drawn whole"),
        LimitsFrom::FewDays(days) => format!(
            "single events: {days} {} too few to draw days whole, and bursts make the limits wider",
            if days == 1 { "day is" } else { "days are" }
        ),
        LimitsFrom::NoDays => {
            "single events: the recordings have no time, and bursts make the limits wider"
                .to_owned()
        }
    }
}

fn cost(expected: &Expected) -> Value {
    let major = |cost: Option<Money>| cost.and_then(|cost| cost.major());
    match (major(expected.cost), expected.cost) {
        (Some(value), Some(cost)) => json!({
            "value": value,
            "unit": String::from_utf8_lossy(&cost.currency),
            "at_high": major(expected.cost_at_high),
            "held": expected.held,
        }),
        _ => json!({ "unknown": "the cost is more than can be counted" }),
    }
}

/// The uplink with the most messages; of several of which one is not known, that one.
fn busiest(uplinks: &[UplinkMonthly]) -> Result<&UplinkMonthly, &'static str> {
    let messages = |u: &UplinkMonthly| u.expected.as_ref().map_or(f64::INFINITY, |e| e.messages);
    let most = uplinks
        .iter()
        .max_by(|a, b| messages(a).total_cmp(&messages(b)));
    most.ok_or("the plan has no uplink")
}

fn judged(id: &str, verdict: &Verdict) -> Value {
    let figure = |f: &assess::Figure| json!({ "value": f.value, "unit": f.unit });
    let mut told = match verdict {
        Verdict::Known(k) => {
            let mut told = figure(&k.value);
            told["margin"] = figure(&k.margin);
            told["why"] = json!(k.why);
            told
        }
        Verdict::Provisional(p) => {
            let mut told = figure(&p.value);
            told["margin"] = figure(&p.margin);
            told["why"] = json!(p.why);
            told
        }
        Verdict::Unknown { why, .. } => json!({ "unknown": why }),
    };
    told["requirement"] = json!(id);
    told["ruling"] = json!(verdict.word().as_str());
    told
}
