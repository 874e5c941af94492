//! Events as CSV (RFC 4180, with line feeds): one row an event, and of an event with more than one other hydrophone one row for each of
//! them; empty where unknown. `later_s` is how much later the channel `other_channel` hears it (negative: earlier). `heard_s` and `recording_s` say how much of the
//! recording was heard, and how long it is.

use std::fmt::{Display, Write};

use super::json::{Told, ending};

const HEADER: &str = "recording,channel,sensor,detector,event,begin_s,end_s,begin_utc,end_utc,level_reference,peak_level_db,mean_level_db,background_db,score_db,pulses,peak_s,mean_interval_s,interval_spread,sweep_from_hz,sweep_to_hz,ending,full_scale_samples,heard_s,recording_s,other_channel,later_s,time_uncertainty_s,elevation_deg,elevation_least_deg,elevation_most_deg,not_told\n";

/// From `other_channel` on.
const ARRIVAL_COLUMNS: usize = 7;

/// The whole file.
pub(crate) fn events(told: &Told<'_>) -> String {
    let mut text = HEADER.to_owned();
    for outcome in told.outcomes {
        let name = quoted(&outcome.path.display().to_string());
        let heard_s = outcome.hearing.as_ref().map_or(0.0, |h| h.duration_s);
        let whole_s = outcome.whole_s();
        for event in outcome.events() {
            let row = format!(
                "{name},{},{},{},{},{:.6},{:.6},{},{},{},{:.3},{:.3},{},{:.3},{},{:.6},{},{},{},{},{},{},{:.6},{}",
                told.labels.channel(event.ear),
                told.labels.assigned[event.ear].path,
                told.labels.detector(event),
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
                event.peak_s,
                or_empty(event.intervals.map(|i| format!("{:.6}", i.mean_s))),
                or_empty(event.intervals.map(|i| format!("{:.4}", i.spread))),
                or_empty(event.sweep.map(|s| format!("{:.2}", s.from_hz))),
                or_empty(event.sweep.map(|s| format!("{:.2}", s.to_hz))),
                ending(event.ending),
                event.full_scale_samples,
                heard_s,
                or_empty(whole_s.map(|whole_s| format!("{whole_s:.6}"))),
            );
            let arrivals = told.labels.pairs.arrivals(event);
            if arrivals.is_empty() {
                writeln!(text, "{row}{}", ",".repeat(ARRIVAL_COLUMNS))
                    .expect("writing to a string does not fail");
            }
            for arrival in arrivals {
                writeln!(text, "{row},{}", arrival.csv(told.labels.assigned))
                    .expect("writing to a string does not fail");
            }
        }
    }
    text
}

fn or_empty(value: Option<impl Display>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A field in quotes where it must be.
pub(crate) fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}
