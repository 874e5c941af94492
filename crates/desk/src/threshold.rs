//! The threshold of a detector moved: the plan with that one edit, and what comes of it beside what came before.

use std::path::Path;

use assess::{
    HeardCounts, Memo, ThresholdSide, Tier, UPLINK_MONTH_DAYS, Verdict, check_with, threshold_side,
};
use plan::{Line, Reading};
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::offsets::Offsets;
use crate::{edit, text};

/// Seconds of a day, in which false alarms are counted.
const DAY_S: f64 = 86_400.0;

/// `detector` is an id or a typed path; `on_above_db` takes the place of the number in its `on_above`.
pub(crate) fn moved(
    plan: &Path,
    memo: &Memo,
    go_on: &dyn Fn() -> bool,
    old: &str,
    detector: &str,
    on_above_db: f64,
) -> Result<Value, ApiError> {
    let before = text::read(plan, old, memo);
    text::line(&before)?;
    let id = detector.strip_prefix("detector.").unwrap_or(detector);
    let (key, value) = trigger(&before, id, on_above_db)?;
    let edit = edit::one(plan, memo, old, &key, &value)?;
    let new = edit::spliced(old, std::slice::from_ref(&edit))?;
    let after = text::read(plan, &new, memo);
    text::line(&after)?;
    let side = |reading: &Reading| -> Result<Value, ApiError> {
        let line = text::line(reading)?;
        let ix = line.detectors.iter().position(|d| d.id == id);
        let ix = plan::DetectorIx(ix.expect("it is there before and after"));
        let shelf = text::shelf(plan, reading, go_on);
        let (shelf, _) = shelf.ok_or_else(ApiError::cancelled)?;
        let check = check_with(reading, &shelf, memo, Tier::Quick);
        Ok(told(line, &threshold_side(line, &check, &shelf, ix)))
    };
    let offsets = Offsets::of(&new);
    let (from, to) = (edit.range.start, edit.range.start + edit.text.len());
    Ok(json!({
        "format": "threshold/1",
        "program": beside::PROGRAM,
        "detector": format!("detector.{id}"),
        "key": key,
        "on_above_db": on_above_db,
        "on_above": value,
        "before": side(&before)?,
        "after": side(&after)?,
        "text": new,
        "from": offsets.utf16(from),
        "to": offsets.utf16(to),
    }))
}

/// The key of the trigger, and its value with the other number: what it is relative to stays.
fn trigger(reading: &Reading, id: &str, on_above_db: f64) -> Result<(String, String), ApiError> {
    let head = format!("detector.{id}.stages[");
    let written = reading.written();
    let own = written
        .iter()
        .find(|w| w.path.starts_with(&head) && w.path.ends_with("].on_above"));
    let own = own.ok_or_else(|| {
        ApiError::unusable(
            "no-threshold",
            format!("the plan has no `detector.{id}` with a threshold `on_above`"),
        )
    })?;
    let text = own.text.trim_matches(['"', '\'']).trim();
    let unit = text.find("dB").map(|at| &text[at..]);
    let unit = unit.ok_or_else(|| {
        ApiError::unusable(
            "no-threshold",
            format!("`{}` is in no decibels: {text}", own.path),
        )
    })?;
    match on_above_db.is_finite() {
        true => Ok((own.path.clone(), format!("{on_above_db} {unit}"))),
        false => Err(ApiError::bad("bad-body", "`on_above_db` is no number")),
    }
}

fn told(line: &Line, side: &ThresholdSide) -> Value {
    json!({
        "misses": heard(side, |all| {
            let (missed, labelled) = all.iter().fold((0, 0), |s, c| (s.0 + c.missed, s.1 + c.labelled));
            json!({ "value": missed, "unit": format!("of {labelled} labels") })
        }),
        "false_alarms": heard(side, |all| {
            let (false_alarms, judged_s) = all.iter().fold((0, 0.0), |s, c| (s.0 + c.false_alarms, s.1 + c.judged_s));
            match judged_s > 0.0 {
                true => json!({ "value": false_alarms as f64 * DAY_S / judged_s, "unit": "per day" }),
                false => json!({ "unknown": "no recording was long enough to judge" }),
            }
        }),
        "messages": uplink(line, side, |billed, _| {
            Some(json!({ "value": billed, "unit": format!("messages in {UPLINK_MONTH_DAYS:.0} d") }))
        }),
        "cost": uplink(line, side, |_, cost| {
            let cost = cost?;
            let unit = String::from_utf8_lossy(&cost.currency).into_owned();
            cost.major().map(|value| json!({ "value": value, "unit": unit }))
        }),
        "charge": match side.charge.first() {
            None => json!({ "unknown": "no requirement asks for the lowest charge or for hours off" }),
            Some((id, verdict)) => judged(id, verdict),
        },
        "judged": side.judged.iter().map(|(id, v)| judged(id, v)).collect::<Vec<_>>(),
    })
}

fn heard(side: &ThresholdSide, of: impl Fn(&[HeardCounts]) -> Value) -> Value {
    match &side.heard {
        Err(why) => json!({ "unknown": why }),
        Ok(all) if all.is_empty() => {
            json!({ "unknown": "no record of labelled recordings counts: run `soundline tune`" })
        }
        Ok(all) => of(all),
    }
}

/// The uplink with the most messages.
fn uplink(
    line: &Line,
    side: &ThresholdSide,
    of: impl Fn(u64, Option<quantity::Money>) -> Option<Value>,
) -> Value {
    if line.uplinks.is_empty() {
        return json!({ "unknown": "the plan has no uplink" });
    }
    let unknown = side.uplinks.iter().find_map(|u| u.monthly.as_ref().err());
    if let Some(why) = unknown {
        return json!({ "unknown": why });
    }
    let known = side
        .uplinks
        .iter()
        .filter_map(|u| Some((&u.uplink, u.monthly.as_ref().ok()?)));
    let most = known.max_by_key(|(_, (billed, _))| *billed);
    let told = most.and_then(|(path, (billed, cost))| {
        let mut told = of(*billed, *cost)?;
        told["uplink"] = json!(path);
        Some(told)
    });
    told.unwrap_or_else(|| json!({ "unknown": "the cost is more than can be counted" }))
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
