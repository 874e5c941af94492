//! What came of the topics and of the faults, as tables and in JSON.

use std::fmt::Write as _;

use plan::{CueSheet, Line, Recovery, StorageIx};
use rehearsal::{Ashore, FaultCame, Harm, Outcome, Recovered, TopicCame, Unstored};
use serde_json::{Map, Value, json};

use super::streams::streams;
use super::text::clock;
use super::words;

/// Topic by topic what was published, delivered, lost and late; then fault by fault.
pub(super) fn what_came(out: &mut String, line: &Line, cues: &CueSheet, outcome: &Outcome) {
    let seen = |t: &TopicCame| t.published > 0 || t.held_back > 0;
    if outcome.topics.iter().any(seen) {
        topics(out, line, outcome);
    }
    streams(out, line, outcome);
    if !outcome.faults.is_empty() {
        let _ = writeln!(out, "\nWhat came of the faults");
    }
    for (i, came) in outcome.faults.iter().enumerate() {
        fault(out, line, (cues, i), came);
    }
}

fn topics(out: &mut String, line: &Line, outcome: &Outcome) {
    let names = line.topics.iter().map(|t| t.name.chars().count());
    let widest = names.max().unwrap_or(0).max(5);
    let _ = writeln!(
        out,
        "\nWhat came of the messages (late: later than the bound of `check`; medians up to 1.6 % too great)"
    );
    let _ = writeln!(
        out,
        "  {:widest$}  published  held back  copies  delivered    lost    late     least    median  greatest",
        "topic"
    );
    let rows = line.topics.iter().zip(&outcome.topics);
    for (topic, came) in rows.clone().filter(|(_, c)| c.published + c.held_back > 0) {
        let lost: u64 = came.lost.iter().map(|(_, n)| n).sum();
        let late = match came.unbounded >= came.delivered {
            true if came.delivered > 0 => "unknown".to_owned(),
            _ => came.late.to_string(),
        };
        let times = match &came.latency {
            Some(l) => [l.least, l.median, l.greatest].map(|t| words::took(t.as_s_f64())),
            None => ["-"; 3].map(str::to_owned),
        };
        let _ = writeln!(
            out,
            "  {:widest$}  {:>9}  {:>9}  {:>6}  {:>9}  {lost:>6}  {late:>6}  {:>8}  {:>8}  {:>8}",
            topic.name,
            came.published,
            came.held_back,
            came.copies,
            came.delivered,
            times[0],
            times[1],
            times[2]
        );
        let posted = [
            (came.kept, "waited for a way"),
            (came.sent_later, "went after they had waited"),
            (came.sent_again, "sent again"),
            (came.duplicates, "removed, for they were there already"),
            (
                came.repeated,
                "delivered once more, to a module that had forgotten them",
            ),
            (came.had, "of these held values that were there already"),
            (came.kept_at_end, "still waiting for a way at the end"),
            (
                came.under_way,
                "still under way or to be sent again at the end",
            ),
            (
                came.unbounded,
                "delivered without a bound by which they could be late",
            ),
        ];
        for (n, what) in posted.iter().filter(|(n, _)| *n > 0) {
            let _ = writeln!(out, "  {:widest$}  {n} {what}", "");
        }
        for (why, n) in &came.lost {
            let _ = writeln!(out, "  {:widest$}  {n} lost: {}", "", words::loss(*why));
        }
    }
    let silent = rows.filter(|(_, c)| c.published + c.held_back == 0).count();
    if silent > 0 {
        let _ = writeln!(
            out,
            "  nothing was published on {}",
            words::count(silent, "other topic")
        );
    }
}

fn fault(out: &mut String, line: &Line, (cues, index): (&CueSheet, usize), came: &FaultCame) {
    let _ = writeln!(out, "  {}", words::fault(line, cues, index));
    let Some(began) = came.began else {
        let _ = writeln!(out, "    it did not begin within the rehearsal");
        return;
    };
    let at = |s: f64| clock(s).trim_start().to_owned();
    let began_s = began.as_s_f64();
    let when = match came.over {
        Some(over) if over == began => format!("at {}", at(began_s)),
        Some(over) => format!("from {} to {}", at(began_s), at(over.as_s_f64())),
        None => format!("from {} to the end", at(began_s)),
    };
    let told = rows(line, came);
    let nothing = match told.is_empty() {
        true => "; nothing was lost or late, and no module stopped",
        false => "",
    };
    let _ = writeln!(out, "    {when}{nothing}");
    if !came.held_with.is_empty() && !told.is_empty() {
        let _ = writeln!(
            out,
            "    held together with {}: what they disturb counts to each",
            held_with(cues, came).join(", ")
        );
    }
    for row in told {
        let _ = writeln!(out, "    {row}");
    }
}

/// The faults that held while this one did.
fn held_with(cues: &CueSheet, came: &FaultCame) -> Vec<String> {
    let others = came.held_with.iter();
    others
        .map(|other| format!("fault.{}", cues.faults[*other].id))
        .collect()
}

/// What a fault cost, and how long that took to be over.
fn rows(line: &Line, came: &FaultCame) -> Vec<String> {
    let mut rows = Vec::new();
    let topics = came.topics.iter();
    let topics = topics.map(|(topic, harm)| (line.topics[topic.0].name.clone(), harm));
    let streams = came.streams.iter();
    let streams = streams.map(|(s, harm)| (format!("stream.{}", line.streams[s.0].id), harm));
    for (name, harm) in topics.chain(streams) {
        let Harm {
            lost,
            late,
            lost_after,
            late_after,
            unbounded,
        } = harm;
        let unknown = match unbounded {
            0 => String::new(),
            1 => "; of 1 copy delivered while it held no bound says whether in time".to_owned(),
            n => format!("; of {n} copies delivered while it held no bound says whether in time"),
        };
        rows.push(format!(
            "{name}: {lost} lost and {late} late while it held, {lost_after} and {late_after} afterwards{unknown}"
        ));
    }
    for (request, harm) in &came.requests {
        let lost = |n: u64| words::count(n as usize, "message");
        rows.push(format!(
            "request.{}: of the questions open while it held {} not answered in time, {} lost on the way; of those asked afterwards {}, {}",
            line.requests[request.0].id,
            harm.unanswered,
            lost(harm.lost),
            harm.unanswered_after,
            lost(harm.lost_after)
        ));
    }
    let (missed, missed_after) = (came.notices_missed, came.notices_missed_after);
    if missed + missed_after > 0 {
        let n = words::count(missed as usize, "joining notice");
        rows.push(format!(
            "{n} did not reach a module while it held, {missed_after} afterwards"
        ));
    }
    for (module, voltage_v) in &came.over_voltages {
        let input = line.modules[module.0].input.as_ref();
        let bears = input.map_or_else(String::new, |i| {
            quantity::show(i.maximum_v.si, quantity::Dimension::Voltage)
        });
        rows.push(format!(
            "{} had up to {voltage_v:.2} V, more than the {bears} that it bears: what becomes of it is not known",
            line.module_path(*module)
        ));
    }
    for (uplink, count) in &came.uplinks {
        let id = &line.uplinks[uplink.0].id;
        rows.push(format!("uplink.{id}: {}", ashore(count)));
    }
    if let Some((storage, lost)) = unstored(came) {
        rows.push(format!(
            "storage.{}: {:.1} MB went to make room, {:.1} MB found none",
            line.storages[storage.0].id,
            lost.dropped_bytes / 1e6,
            lost.lost_bytes / 1e6
        ));
    }
    for (what, how) in &came.recovered {
        let told = match how {
            Recovered::After(after) if after.0 == 0 => "as it was over".to_owned(),
            Recovered::After(after) => {
                format!("{} after it was over", words::took(after.as_s_f64()))
            }
            Recovered::Unbounded(after) => format!(
                "{} after it was over; no bound says whether in time",
                words::took(after.as_s_f64())
            ),
            Recovered::NotByTheEnd => "not by the end".to_owned(),
            Recovered::NothingPublished => "not known: nothing was published since".to_owned(),
            Recovered::NotOver => "not over".to_owned(),
        };
        rows.push(match what {
            Recovery::Module(m) => format!("{} works again: {told}", line.module_path(*m)),
            Recovery::Stream(s) => {
                format!("stream.{} comes again: {told}", line.streams[s.0].id)
            }
            Recovery::Topic { topic, to } => format!(
                "{} is told {} again: {told}",
                line.module_path(*to),
                line.topics[topic.0].name
            ),
        });
    }
    rows
}

/// What waited at an uplink that a fault disturbed, and what became of it.
fn ashore(count: &Ashore) -> String {
    let mut parts = Vec::new();
    if count.failed > 0 {
        parts.push(format!(
            "{} failed",
            words::count(count.failed as usize, "attempt")
        ));
    }
    if let Some(longest) = count.longest {
        parts.push(format!(
            "{} ashore that waited meanwhile, the latest {} after it was queued",
            words::count(count.sent as usize, "message"),
            words::took(longest.as_s_f64())
        ));
    }
    if count.given_up > 0 {
        parts.push(format!("{} given up", count.given_up));
    }
    if count.waiting > 0 {
        parts.push(format!("{} still waiting at the end", count.waiting));
    }
    parts.join(", ")
}

/// What a store lost, if anything.
fn unstored(came: &FaultCame) -> Option<(StorageIx, Unstored)> {
    came.store
        .filter(|(_, lost)| lost.dropped_bytes > 0.0 || lost.lost_bytes > 0.0)
}

/// Topic by topic, in JSON.
pub(super) fn topics_came_json(line: &Line, outcome: &Outcome) -> Value {
    let all: Map<String, Value> = line
        .topics
        .iter()
        .zip(&outcome.topics)
        .map(|(topic, came)| {
            let lost: Map<String, Value> = came
                .lost
                .iter()
                .map(|(why, n)| (words::loss(*why).to_owned(), json!(n)))
                .collect();
            let latency = came.latency.map(|l| {
                json!({ "least_ns": l.least.0, "median_ns": l.median.0, "greatest_ns": l.greatest.0 })
            });
            let told = json!({
                "published": came.published, "held_back": came.held_back, "copies": came.copies,
                "had_already": came.had, "kept_at_end": came.kept_at_end, "under_way": came.under_way, "delivered": came.delivered,
                "lost": lost, "late": came.late, "kept": came.kept, "sent_later": came.sent_later,
                "sent_again": came.sent_again, "duplicates": came.duplicates, "repeated": came.repeated, "without_a_bound": came.unbounded, "latency": latency,
            });
            (topic.name.clone(), told)
        })
        .collect();
    Value::Object(all)
}

/// Fault by fault, in JSON.
pub(super) fn faults_came_json(line: &Line, cues: &CueSheet, outcome: &Outcome) -> Value {
    let topic = |t: &plan::TopicIx| line.topics[t.0].name.clone();
    let all = cues.faults.iter().zip(&outcome.faults).map(|(fault, came)| {
        let topics: Vec<Value> = came
            .topics
            .iter()
            .map(|(t, h)| {
                json!({ "topic": topic(t), "lost": h.lost, "late": h.late, "lost_after": h.lost_after,
                        "late_after": h.late_after, "without_a_bound": h.unbounded })
            })
            .collect();
        let recovered: Vec<Value> = came
            .recovered
            .iter()
            .map(|(what, how)| {
                let mut told = match what {
                    Recovery::Module(m) => json!({ "module": line.module_path(*m) }),
                    Recovery::Stream(s) => {
                        json!({ "stream": format!("stream.{}", line.streams[s.0].id) })
                    }
                    Recovery::Topic { topic: t, to } => {
                        json!({ "topic": topic(t), "at": line.module_path(*to) })
                    }
                };
                let (word, after) = match how {
                    Recovered::After(after) => ("recovered", Some(after.0)),
                    Recovered::Unbounded(after) => ("told again, no bound", Some(after.0)),
                    Recovered::NotByTheEnd => ("not by the end", None),
                    Recovered::NothingPublished => ("nothing published", None),
                    Recovered::NotOver => ("not over", None),
                };
                told["how"] = json!(word);
                told["after_ns"] = json!(after);
                told
            })
            .collect();
        let uplinks: Vec<Value> = came
            .uplinks
            .iter()
            .map(|(u, c)| {
                json!({ "uplink": line.uplinks[u.0].id, "failed_attempts": c.failed, "sent": c.sent,
                        "longest_wait_ns": c.longest.map(|l| l.0), "given_up": c.given_up, "waiting": c.waiting })
            })
            .collect();
        let store = came.store.map(|(s, lost)| {
            json!({ "storage": line.storages[s.0].id, "dropped_bytes": lost.dropped_bytes, "lost_bytes": lost.lost_bytes })
        });
        let mut told = json!({ "id": format!("fault.{}", fault.id), "began_ns": came.began.map(|at| at.0),
                "over_ns": came.over.map(|at| at.0), "topics": topics, "recovered": recovered,
                "uplinks": uplinks, "store": store });
        told["held_with"] = json!(held_with(cues, came));
        told["notices_missed"] = json!(came.notices_missed);
        told["notices_missed_after"] = json!(came.notices_missed_after);
        let over = came.over_voltages.iter().map(|(m, voltage_v)| {
            let highest_v = line.modules[m.0].input.as_ref().map(|i| i.maximum_v.si);
            json!({ "module": line.module_path(*m), "voltage_v": voltage_v, "highest_v": highest_v })
        });
        told["over_voltages"] = over.collect();
        let requests = came.requests.iter().map(|(q, h)| {
            json!({ "request": format!("request.{}", line.requests[q.0].id), "lost": h.lost, "unanswered": h.unanswered,
                    "lost_after": h.lost_after, "unanswered_after": h.unanswered_after })
        });
        told["requests"] = requests.collect();
        // Only where there are some, as with all that streams tell.
        if !came.streams.is_empty() {
            let streams = came.streams.iter().map(|(s, h)| {
                json!({ "stream": format!("stream.{}", line.streams[s.0].id), "lost": h.lost, "late": h.late,
                        "lost_after": h.lost_after, "late_after": h.late_after })
            });
            told["streams"] = streams.collect();
        }
        told
    });
    all.collect()
}
