//! At which corner of its slips a deployment was judged, in words.

use plan::Line;
use quantity::{Dimension, show};

/// A start in words: `start 6 wk late`.
pub(crate) fn started(late_s: f64) -> String {
    late("start", late_s)
}

/// A recovery in words: `recovered 12 wk late`.
pub(crate) fn recovered(late_s: f64) -> String {
    late("recovered", late_s)
}

fn late(what: &str, late_s: f64) -> String {
    if late_s == 0.0 {
        return format!("{what} as planned");
    }
    format!("{what} {} late", show(late_s, Dimension::Time))
}

/// The slip of the start, where there is one, s.
pub(crate) fn start_slip_s(line: &Line) -> Option<f64> {
    let slip = line.deployment.start_slip_s.map(|q| q.si);
    slip.filter(|s| *s > 0.0)
}

/// The slip of the recovery, where there is one, s.
fn recovery_slip_s(line: &Line) -> Option<f64> {
    let slip = line.deployment.recovery_slip_s.map(|q| q.si);
    slip.filter(|s| *s > 0.0)
}

/// `, recovered 12 wk late` behind a figure of the end; nothing without a slip.
pub(crate) fn at_the_end(line: &Line) -> String {
    recovery_slip_s(line).map_or_else(String::new, |s| format!(", {}", recovered(s)))
}

/// ` (start 6 wk late)` behind a figure of the latest start; nothing without a slip.
pub(crate) fn at_the_latest_start(line: &Line) -> String {
    start_slip_s(line).map_or_else(String::new, |s| format!(" ({})", started(s)))
}

/// ` (start 6 wk late, recovered 12 wk late)` behind a figure of the latest recovery; nothing without slips.
pub(crate) fn at_the_latest_recovery(line: &Line) -> String {
    let both = [
        start_slip_s(line).map(started),
        recovery_slip_s(line).map(recovered),
    ];
    let both: Vec<String> = both.into_iter().flatten().collect();
    match both.is_empty() {
        true => String::new(),
        false => format!(" ({})", both.join(", ")),
    }
}

/// The corner of years that were run for the planned and the last start, by how many of them were worse for each; nothing without slips.
pub(crate) fn of_years(line: &Line, (planned, last): (usize, usize)) -> String {
    let start = start_slip_s(line).map(|late_s| {
        let years = |n: usize| match n {
            1 => "1 year".to_owned(),
            n => format!("{n} years"),
        };
        match planned.cmp(&last) {
            std::cmp::Ordering::Less => format!("{}, worse in {}", started(late_s), years(last)),
            std::cmp::Ordering::Greater => {
                format!("{}, worse in {}", started(0.0), years(planned))
            }
            std::cmp::Ordering::Equal if planned == 0 => {
                format!(
                    "{} or {} late, all alike",
                    started(0.0),
                    show(late_s, Dimension::Time)
                )
            }
            std::cmp::Ordering::Equal => format!(
                "{} or {} late, each worse in {}",
                started(0.0),
                show(late_s, Dimension::Time),
                years(last)
            ),
        }
    });
    let end = recovery_slip_s(line).map(|s| format!("cells as old as when {}", recovered(s)));
    let both: Vec<String> = [start, end].into_iter().flatten().collect();
    match both.is_empty() {
        true => String::new(),
        false => format!("; worst corner: {}", both.join("; ")),
    }
}
