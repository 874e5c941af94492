//! What behaviours set detectors to.

use std::fmt::Write as _;

use plan::{DetectorIx, Line};
use quantity::{Dimension, show};
use rehearsal::Outcome;
use serde_json::{Map, Value, json};

/// Unit of a detector's thresholds, with their reference; `dB` where only its hold-off is settable.
pub(super) fn unit(line: &Line, detector: DetectorIx) -> &'static str {
    match line.detectors[detector.0].settable.threshold_unit {
        "" => "dB",
        unit => unit,
    }
}

/// A setting in words.
pub(super) fn words(
    line: &Line,
    detector: DetectorIx,
    threshold_db: f64,
    hold_off_s: f64,
    restored: bool,
) -> String {
    let id = &line.detectors[detector.0].id;
    let to = format!(
        "{threshold_db} {}, hold-off {}",
        unit(line, detector),
        show(hold_off_s, Dimension::Time)
    );
    if restored {
        format!("detector.{id} comes back with the plan's setting: {to}")
    } else {
        format!("detector.{id} is set to {to}")
    }
}

/// What became of the settings, at the end.
pub(super) fn totals(out: &mut String, line: &Line, outcome: &Outcome) {
    for s in &outcome.settings {
        let id = &line.detectors[s.detector.0].id;
        if s.changes == 0 {
            let _ = writeln!(out, "detector.{id}: settable, and never set");
            continue;
        }
        let _ = writeln!(
            out,
            "detector.{id}: set {} times, {} times back to the plan's setting by a stop of its module; threshold from {} to {} {}, hold-off from {} to {}; at the end {} {} and {}",
            s.changes,
            s.restored,
            s.threshold_db.0,
            s.threshold_db.1,
            unit(line, s.detector),
            show(s.hold_off_s.0, Dimension::Time),
            show(s.hold_off_s.1, Dimension::Time),
            s.last_threshold_db,
            unit(line, s.detector),
            show(s.last_hold_off_s, Dimension::Time),
        );
    }
}

/// The same by name.
pub(super) fn totals_json(line: &Line, outcome: &Outcome) -> Value {
    let all = outcome.settings.iter().map(|s| {
        let level = |db: f64| json!({ "value": db, "unit": unit(line, s.detector) });
        let told = json!({ "changes": s.changes, "restored": s.restored,
            "lowest_threshold": level(s.threshold_db.0), "highest_threshold": level(s.threshold_db.1),
            "shortest_hold_off_s": s.hold_off_s.0, "longest_hold_off_s": s.hold_off_s.1,
            "last_threshold": level(s.last_threshold_db), "last_hold_off_s": s.last_hold_off_s });
        (format!("detector.{}", line.detectors[s.detector.0].id), told)
    });
    Value::Object(all.collect::<Map<String, Value>>())
}
