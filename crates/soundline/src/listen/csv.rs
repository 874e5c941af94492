//! Events as CSV (RFC 4180, with line feeds): one row an event, empty where unknown.

use std::fmt::{Display, Write};

use super::json::{Told, ending};

const HEADER: &str = "recording,channel,sensor,detector,event,begin_s,end_s,begin_utc,end_utc,level_reference,peak_level_db,mean_level_db,background_db,score_db,pulses,ending\n";

/// The whole file.
pub(crate) fn events(told: &Told<'_>) -> String {
    let mut text = HEADER.to_owned();
    for outcome in told.outcomes {
        let name = quoted(&outcome.path.display().to_string());
        for event in outcome.events() {
            writeln!(
                text,
                "{name},{},{},{},{},{:.6},{:.6},{},{},{},{:.3},{:.3},{},{:.3},{},{}",
                told.channel(event.ear),
                told.assigned[event.ear].path,
                told.detector(event),
                event.number,
                event.begin_s,
                event.end_s,
                or_empty(event.begin_utc),
                or_empty(event.end_utc),
                outcome.ears[event.ear].level_reference(event.detector),
                event.peak_level_db,
                event.mean_level_db,
                or_empty(event.background_db.map(|level_db| format!("{level_db:.3}"))),
                event.score_db,
                or_empty(event.pulses),
                ending(event.ending),
            )
            .expect("writing to a string does not fail");
        }
    }
    text
}

fn or_empty(value: Option<impl Display>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A field in quotes where it must be.
fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}
