//! A tuned detector as JSON and as CSV.

use std::fmt::Write as _;

use chance::{DAY_DRAWS, DAYS_SEED, LimitsFrom};
use detect::Rule;
use hearing::{Choice, Limited, Outcome, Parts, Point};
use serde_json::{Value, json};

use super::{Judged, Tuned};

/// The detector and its operating curve as one JSON object.
#[must_use]
pub fn tune_json(tuned: &Tuned) -> Value {
    let curve = &tuned.curve;
    let limited =
        |l: Option<Limited>| l.map(|l| json!({ "value": l.value, "low": l.low, "high": l.high }));
    let rate = |l: Option<Limited>| {
        l.map(|l| json!({ "value_per_h": l.value, "low_per_h": l.low, "high_per_h": l.high }))
    };
    let point = |p: &Point| {
        json!({
            "threshold_db": tuned.shown_db(p),
            "hits": p.counts.hits,
            "missed": curve.labelled - p.counts.hits,
            "false_alarms": p.counts.false_alarms,
            "recall": limited(p.recall),
            "precision": limited(p.precision),
            "f1": p.f1,
            "false_alarm_rate": rate(p.false_alarms_per_h),
        })
    };
    let allowance = tuned.allowance.as_ref().map(|a| {
        let (word, threshold_db, needed_s) = match a.choice {
            Choice::Threshold(i) => ("kept", Some(tuned.shown_db(&curve.points[i])), None),
            Choice::TooShort { needed_s } => ("too-short", None, Some(needed_s)),
            Choice::NoneKeepsIt => ("not-kept", None, None),
            Choice::NothingAllowed => ("nothing-left", None, None),
        };
        json!({
            "false_alarms_per_d": a.per_day,
            "from": a.from,
            "word": word,
            "threshold_db": threshold_db,
            "needed_s": needed_s,
        })
    });
    let (matched_by, within_s) = match tuned.rule {
        Rule::Overlap { least_s } => ("overlap", least_s),
        Rule::Begin { within_s } => ("begin", within_s),
    };
    json!({
        "format": "tune/1",
        "name": tuned.name,
        "detector": tuned.detector,
        "sensor": tuned.sensor,
        "threshold_reference": tuned.unit,
        "threshold_db": tuned.shown_db(tuned.own()),
        "labels": tuned.labels,
        "what": tuned.what,
        "matched_by": matched_by,
        "within_s": within_s,
        "settling_s": tuned.settling_s,
        "confidence": curve.confidence,
        "recordings": tuned.recordings,
        "heard_s": curve.heard_s,
        "judged_s": curve.judged_s,
        "limits_of_false_alarms_from": match curve.alarm_limits() {
            LimitsFrom::Days(_) => "days",
            LimitsFrom::FewDays(_) => "single events, too few days",
            LimitsFrom::NoDays => "single events, recordings without a time",
        },
        "days": curve.days.as_ref().map(|days| days.iter().map(|d| json!({
            "day_of_epoch": d.day,
            "judged_s": d.judged_s,
            "false_alarms": d.false_alarms[tuned.own],
        })).collect::<Vec<_>>()),
        "days_drawn": DAY_DRAWS,
        "days_seed": DAYS_SEED,
        "labelled": curve.labelled,
        "set_aside_lines": tuned.set_aside,
        "missed_lines": tuned.missed,
        "events": tuned.events.iter().map(|event| {
            let (word, line, on) = match &event.outcome {
                Outcome::Hit { line } => ("hit", Some(*line), None),
                Outcome::FalseAlarm { on } => ("false-alarm", None, on.clone()),
                Outcome::SetAside => ("set-aside", None, None),
            };
            json!({
                "recording": event.recording,
                "begin_s": event.begin_s,
                "end_s": event.end_s,
                "score_db": event.score_db,
                "word": word,
                "line": line,
                "on": on,
            })
        }).collect::<Vec<_>>(),
        "curve": curve.points.iter().map(point).collect::<Vec<_>>(),
        "highest_f1_threshold_db": curve.highest_f1().map(|i| tuned.shown_db(&curve.points[i])),
        "allowance": allowance,
        "judgement": tuned.judgement.as_ref().map(judgement_json),
    })
}

fn judgement_json(judged: &Judged) -> Value {
    let judgement = match &judged.fitted {
        Ok(judgement) => judgement,
        Err(why) => return json!({ "word": "not-fitted", "why": why.to_string() }),
    };
    let (parted_by, parts) = match judgement.parts {
        Parts::Recordings(n) => ("recording", n),
        Parts::Blocks(n) => ("time", n),
    };
    let weights = judgement.features.iter().zip(&judgement.model.weights);
    json!({
        "word": "fitted",
        "stage_toml": Judged::stage(judgement),
        "constant": judgement.model.constant,
        "weights": weights.map(|(f, w)| json!({ "feature": f.name(), "weight": w })).collect::<Vec<_>>(),
        "ridge": judged.ridge,
        "fitted_on_hits": judgement.hits,
        "fitted_on_false_alarms": judgement.false_alarms,
        "parted_by": parted_by,
        "parts": parts,
        "unseen": judgement.tried.iter().zip(&judged.points).map(|(tried, p)| json!({
            "likely": tried.least,
            "hits": tried.hits,
            "false_alarms": tried.false_alarms,
            "recall": p.recall.map(|l| json!({ "value": l.value, "low": l.low, "high": l.high })),
            "false_alarm_rate": p.false_alarms_per_h.map(|l| json!({
                "value_per_h": l.value, "low_per_h": l.low, "high_per_h": l.high,
            })),
        })).collect::<Vec<_>>(),
    })
}

/// The operating curve as CSV (RFC 4180, line feeds); empty where unknown.
#[must_use]
pub fn tune_csv(tuned: &Tuned) -> String {
    let mut out = String::from(
        "threshold_db,hits,missed,false_alarms,recall,recall_low,recall_high,precision,precision_low,precision_high,f1,false_alarms_per_h,false_alarms_per_h_low,false_alarms_per_h_high\n",
    );
    let three = |l: Option<Limited>| {
        l.map_or_else(
            || ",,".to_owned(),
            |l| format!("{:.6},{:.6},{:.6}", l.value, l.low, l.high),
        )
    };
    for p in &tuned.curve.points {
        let _ = writeln!(
            out,
            "{:.3},{},{},{},{},{},{},{}",
            tuned.shown_db(p),
            p.counts.hits,
            tuned.curve.labelled - p.counts.hits,
            p.counts.false_alarms,
            three(p.recall),
            three(p.precision),
            p.f1.map_or_else(String::new, |f1| format!("{f1:.6}")),
            three(p.false_alarms_per_h),
        );
    }
    out
}
