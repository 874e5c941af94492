//! What came of the streams, as a table and in JSON.

use std::fmt::Write as _;

use plan::{Line, StreamIx};
use rehearsal::{Outcome, StreamCame, StreamStep};
use serde_json::{Map, Value, json};

use super::words;

/// A step of a stream in words.
pub(super) fn step_words(line: &Line, stream: StreamIx, what: StreamStep) -> String {
    let id = &line.streams[stream.0].id;
    match what {
        StreamStep::Begins => format!("stream.{id} begins"),
        StreamStep::Ends => format!("stream.{id} ends"),
        StreamStep::BeyondBound { after, bound } => format!(
            "beyond the bound: a packet of stream.{id} took {}, and none should take more than {}: please report this as a defect of soundline",
            words::took(after.as_s_f64()),
            words::took(bound.as_s_f64())
        ),
    }
}

/// Kind and keys of a step of a stream.
pub(super) fn step_json(line: &Line, stream: StreamIx, what: StreamStep) -> (&'static str, Value) {
    let mut told = json!({ "stream": format!("stream.{}", line.streams[stream.0].id) });
    let kind = match what {
        StreamStep::Begins => "stream-begins",
        StreamStep::Ends => "stream-ends",
        StreamStep::BeyondBound { after, bound } => {
            told["latency_ns"] = json!(after.0);
            told["bound_ns"] = json!(bound.0);
            "stream-beyond-the-bound"
        }
    };
    (kind, told)
}

/// Stream by stream what was sent, delivered and lost, how late, and how full its way was.
pub(super) fn streams(out: &mut String, line: &Line, outcome: &Outcome) {
    if outcome.streams.is_empty() {
        return;
    }
    let ids = line.streams.iter().map(|s| s.id.len() + "stream.".len());
    let widest = ids.max().unwrap_or(0).max(6);
    let _ = writeln!(
        out,
        "\nWhat came of the streams (packets; medians up to 1.6 % too great)"
    );
    let _ = writeln!(
        out,
        "  {:widest$}       sent  delivered      share       lost     least    median  greatest     bound       gap",
        "stream"
    );
    for (stream, came) in line.streams.iter().zip(&outcome.streams) {
        row(out, (&format!("stream.{}", stream.id), widest), came);
        if came.refused {
            continue;
        }
        for (why, n) in &came.lost {
            let _ = writeln!(out, "  {:widest$}  {n} lost: {}", "", words::loss(*why));
        }
        if came.late > 0 {
            let _ = writeln!(
                out,
                "  {:widest$}  {} later than the bound of `check`",
                "", came.late
            );
        }
        let soonest = came.soonest.map_or_else(String::new, |s| {
            format!(
                "one that waits for nothing takes {}; ",
                words::took(s.as_s_f64())
            )
        });
        let _ = writeln!(
            out,
            "  {:widest$}  {soonest}at most {} under way at once, {} at the end",
            "", came.most_under_way, came.under_way
        );
        let fullest = came.way.iter().max_by_key(|w| (w.busy, w.most_waiting));
        if let Some(w) = fullest {
            let _ = writeln!(
                out,
                "  {:widest$}  the fullest link of its way, {} towards {}, was busy for {:.1} % of the time; at most {} waited",
                "",
                w.over.path(line),
                line.module_path(w.to),
                100.0 * w.busy.as_s_f64() / outcome.duration_s,
                words::count(w.most_waiting, "frame")
            );
        }
    }
}

fn row(out: &mut String, (name, widest): (&str, usize), came: &StreamCame) {
    if came.refused {
        let _ = writeln!(
            out,
            "  {name:widest$}  `check` has no room for it: it did not run"
        );
        return;
    }
    let lost: u64 = came.lost.iter().map(|(_, n)| n).sum();
    let share = share(came).map_or_else(|| "-".to_owned(), |s| format!("{:.4} %", 100.0 * s));
    let or_none = |time_s: Option<f64>| time_s.map_or_else(|| "-".to_owned(), words::took);
    let latency = came.latency;
    let _ = writeln!(
        out,
        "  {name:widest$}  {:>9}  {:>9}  {share:>9}  {lost:>9}  {:>8}  {:>8}  {:>8}  {:>8}  {:>8}",
        came.sent,
        came.delivered,
        or_none(latency.map(|l| l.least.as_s_f64())),
        or_none(latency.map(|l| l.median.as_s_f64())),
        or_none(latency.map(|l| l.greatest.as_s_f64())),
        or_none(came.bound.map(|b| b.as_s_f64())),
        or_none(came.greatest_gap.map(|g| g.as_s_f64()))
    );
}

/// Packets delivered, of those delivered or lost.
fn share(came: &StreamCame) -> Option<f64> {
    let ended = came.sent - came.under_way;
    (ended > 0).then(|| came.delivered as f64 / ended as f64)
}

/// Stream by stream, in JSON.
pub(super) fn streams_json(line: &Line, outcome: &Outcome) -> Map<String, Value> {
    let all = line.streams.iter().zip(&outcome.streams);
    let told = all.map(|(stream, came)| {
        let lost: Map<String, Value> = came
            .lost
            .iter()
            .map(|(why, n)| (words::loss(*why).to_owned(), json!(n)))
            .collect();
        let latency = came.latency.map(|l| {
            json!({ "least_ns": l.least.0, "median_ns": l.median.0, "greatest_ns": l.greatest.0 })
        });
        let way: Vec<Value> = came
            .way
            .iter()
            .map(|w| {
                json!({ "over": w.over.path(line), "to": line.module_path(w.to), "most_waiting": w.most_waiting,
                        "busy_percent": 100.0 * w.busy.as_s_f64() / outcome.duration_s })
            })
            .collect();
        let value = json!({
            "ran": !came.refused, "sent": came.sent, "delivered": came.delivered, "lost": lost, "under_way": came.under_way,
            "delivered_percent": share(came).map(|s| 100.0 * s), "late": came.late, "beyond_the_bound": came.beyond_bound, "latency": latency,
            "greatest_gap_ns": came.greatest_gap.map(|g| g.0), "most_under_way": came.most_under_way, "bound_ns": came.bound.map(|b| b.0),
            "soonest_ns": came.soonest.map(|s| s.0), "way": way,
        });
        (format!("stream.{}", stream.id), value)
    });
    told.collect()
}
