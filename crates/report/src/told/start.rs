//! A start of the line, for people and for programs.

use std::fmt::Write as _;

use assess::Start;
use assess::input::Contacts;
use serde_json::{Value, json};

use super::check::wrap;

/// Events told one by one in the text; a hiccup may have thousands.
const TOLD_EVENTS: usize = 40;
/// Of those that are left out, the last are told.
const LAST_EVENTS: usize = 8;
/// Samples of each voltage and current in the JSON.
const MOST_SAMPLES: usize = 400;

/// State of the contacts, in a word.
pub(crate) fn contacts(contacts: Contacts) -> &'static str {
    match contacts {
        Contacts::New => "new",
        Contacts::Aged => "aged",
    }
}

/// A time of a start: milliseconds below a second.
fn instant(s: f64) -> String {
    if s < 1.0 {
        format!("{:.3} ms", 1000.0 * s)
    } else {
        format!("{s:.3} s")
    }
}

/// The outcome, when each module reaches its voltage, switches on and has booted, the supplies, and what happened in order.
#[must_use]
pub fn start_text(name: &str, start: &Start) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{name}\n\nStart with {} contacts, from empty capacitors: {}",
        contacts(start.contacts),
        start.outcome
    );
    for row in wrap(&start.told, 106) {
        let _ = writeln!(out, "  {row}");
    }
    let besides = start.ohms.iter().chain(&start.remedy);
    for row in besides.flat_map(|told| wrap(told, 106)) {
        let _ = writeln!(out, "  {row}");
    }
    let width = start
        .modules
        .iter()
        .map(|m| m.path.len())
        .chain(start.supplies.iter().map(|s| s.path.len()))
        .max()
        .unwrap_or(0);
    let _ = writeln!(
        out,
        "\n  {:width$}    on at   reached     switched on   has booted    fell out   at the end",
        ""
    );
    let time = |s: Option<f64>| s.map_or_else(|| "never".to_owned(), instant);
    for m in &start.modules {
        let _ = writeln!(
            out,
            "  {:width$}  {:>5} V  {:>10}  {:>12}  {:>11}  {:>10}   {:.2} V, {}",
            m.path,
            m.on_v,
            time(m.reached_s),
            // The switching on that lasted.
            time(m.switched_on_s.last().copied()),
            time(m.booted_s),
            match m.fell_out_s.len() {
                0 => "-".to_owned(),
                // Periods that are alike are not told one by one.
                n if !start.alike_s.is_empty() => format!("over {n} x"),
                n => format!("{n} x"),
            },
            m.end_v,
            if m.runs { "runs" } else { "does not run" }
        );
    }
    let _ = writeln!(
        out,
        "\n  {:width$}    limit     inrush       peak          at   leaves limit   at the end",
        ""
    );
    for s in &start.supplies {
        let _ = writeln!(
            out,
            "  {:width$}  {:>7}  {:>7.3} A  {:>7.3} A  {:>10}  {:>13}   {:.3} A{}",
            s.path,
            s.limit_a
                .map_or_else(|| "none".to_owned(), |a| format!("{a} A")),
            s.inrush_a,
            s.peak_a,
            instant(s.peak_at_s),
            s.left_limit_s.map_or_else(|| "-".to_owned(), instant),
            s.end_a,
            if s.backfed { ", took current in" } else { "" }
        );
    }
    let _ = writeln!(out, "\nIn order");
    let all = start.events.len();
    for (i, event) in start.events.iter().enumerate() {
        let left_out = all.saturating_sub(TOLD_EVENTS);
        if left_out > 0 && i == TOLD_EVENTS - LAST_EVENTS {
            let _ = writeln!(out, "  {:>12}  {left_out} more", "...");
        }
        if left_out > 0 && i >= TOLD_EVENTS - LAST_EVENTS && i < all - LAST_EVENTS {
            continue;
        }
        let _ = writeln!(
            out,
            "  {:>12}  {:width$}  {}",
            instant(event.at_s),
            event.subject,
            event.what
        );
    }
    let _ = writeln!(
        out,
        "  {:>12}  {}",
        instant(start.end_s),
        match start.outcome {
            "started" => "the line is at rest",
            "unsettled" => "left here: the time was up",
            _ => "left here: nothing new comes",
        }
    );
    out
}

/// The same as one JSON object, with at most 400 samples of each voltage and current.
#[must_use]
pub fn start_json(name: &str, start: &Start) -> Value {
    let step = start.time_s.len().div_ceil(MOST_SAMPLES).max(1);
    let some = |all: &[f64]| -> Vec<f64> { all.iter().copied().step_by(step).collect() };
    json!({
        "format": "start/1",
        "name": name,
        "contacts": contacts(start.contacts),
        "outcome": start.outcome,
        "told": start.told,
        "remedy": start.remedy,
        "ohms": start.ohms,
        "ready_s": start.ready_s,
        "end_s": start.end_s,
        "modules": start.modules.iter().map(|m| json!({
            "subject": m.path,
            "on_v": m.on_v,
            "off_v": m.off_v,
            "lock_out": m.lock_out,
            "wakes_after_s": m.wakes_after_s,
            "capacitance_f": m.capacitance_f,
            "boot_power_w": m.boot_power_w,
            "boot_s": m.boot_s,
            "running_power_w": m.running_power_w,
            "reached_s": m.reached_s,
            "switched_on_s": m.switched_on_s,
            "fell_out_s": m.fell_out_s,
            "booted_s": m.booted_s,
            "runs": m.runs,
            "end_v": m.end_v,
            "voltage_v": some(&m.voltage_v),
        })).collect::<Vec<_>>(),
        "supplies": start.supplies.iter().map(|s| json!({
            "subject": s.path,
            "open_v": s.open_v,
            "limit_a": s.limit_a,
            "inrush_a": s.inrush_a,
            "peak_a": s.peak_a,
            "peak_at_s": s.peak_at_s,
            "left_limit_s": s.left_limit_s,
            "end_a": s.end_a,
            "backfed": s.backfed,
            "current_a": some(&s.current_a),
        })).collect::<Vec<_>>(),
        "events": start.events.iter().map(|e| json!({
            "at_s": e.at_s, "subject": e.subject, "what": e.what,
        })).collect::<Vec<_>>(),
        "sample_times_s": some(&start.time_s),
    })
}
