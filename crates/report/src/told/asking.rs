//! Requests and joining notices, and what it took to deliver messages.

use std::fmt::Write as _;

use plan::{Line, ModuleIx, RequestIx};
use rehearsal::{AskStep, Content, JoinStep, Outcome, Silence};
use serde_json::{Map, Value, json};

use super::{content, words};

/// A step of a request in words.
pub(super) fn ask_words(
    line: &Line,
    request: RequestIx,
    module: ModuleIx,
    what: AskStep,
    held: Option<&Content>,
) -> String {
    let q = &line.requests[request.0];
    let at = line.module_path(module);
    let values = content::asking_words(q, what, held);
    match what {
        AskStep::Asked { .. } => {
            let to = line.module_path(q.to);
            format!("{at} asks {to} for request.{}{values}", q.id)
        }
        AskStep::Reached => format!("{at} is asked for request.{}", q.id),
        AskStep::Answered { .. } => format!("{at} answers request.{}{values}", q.id),
        AskStep::Silent { why } => {
            format!("{at} gives no answer of request.{}: {}", q.id, silence(why))
        }
        AskStep::NoWay => format!(
            "{at} learns that no way leads to {} for request.{}",
            line.module_path(q.to),
            q.id
        ),
        AskStep::Returned { after } => format!(
            "{at} has the answer of request.{}{values} after {:.6} s",
            q.id,
            after.as_s_f64()
        ),
        AskStep::Late { after } => format!(
            "the answer of request.{} reaches {at} too late, after {:.6} s: it is not taken",
            q.id,
            after.as_s_f64()
        ),
        AskStep::Forgotten => format!(
            "the answer of request.{} reaches {at}, which has stopped since it asked: it is not taken",
            q.id
        ),
        AskStep::Unanswered => format!(
            "{at} has no answer of request.{} within its {}",
            q.id,
            quantity::show(q.within_s.si, quantity::Dimension::Time)
        ),
        AskStep::Lost { why } => format!(
            "a message of request.{} is lost on its way to {at}: {}",
            q.id,
            words::loss(why)
        ),
    }
}

fn silence(why: Silence) -> &'static str {
    match why {
        Silence::NotGiven => "its routine gave none",
        Silence::Fails => "its routine stopped on the way",
        Silence::Stopped => "its routine has stopped",
    }
}

/// A step of a joining notice in words.
pub(super) fn join_words(line: &Line, module: ModuleIx, what: JoinStep) -> String {
    let of = line.module_path(module);
    match what {
        JoinStep::Told { .. } => format!("{of} tells what it is"),
        JoinStep::Learnt { by, after } => format!(
            "{} learns of {of}, {:.6} s after that began to boot",
            line.module_path(by),
            after.as_s_f64()
        ),
        JoinStep::Missed { by, why } => format!(
            "{} does not learn of {of}: {}",
            line.module_path(by),
            words::loss(why)
        ),
    }
}

/// Whether a step is told among what happens beside the sounds.
pub(super) fn ask_told(what: AskStep) -> bool {
    !matches!(
        what,
        AskStep::Asked { .. } | AskStep::Reached | AskStep::Answered { .. }
    )
}

/// Kind and keys of a step of a request.
pub(super) fn ask_json(
    line: &Line,
    request: RequestIx,
    ask: u64,
    module: ModuleIx,
    what: AskStep,
    held: Option<&Content>,
) -> (&'static str, Value) {
    let mut told = json!({ "request": format!("request.{}", line.requests[request.0].id), "ask": ask,
            "module": line.module_path(module) });
    let kind = match what {
        AskStep::Asked { message } => {
            told["message"] = json!(message.0);
            "asked"
        }
        AskStep::Reached => "question-reached",
        AskStep::Answered { message } => {
            told["message"] = json!(message.0);
            "answer-sent"
        }
        AskStep::Returned { after } => {
            told["after_ns"] = json!(after.0);
            "answered"
        }
        AskStep::Late { after } => {
            told["after_ns"] = json!(after.0);
            "answered-late"
        }
        AskStep::Forgotten => "answer-forgotten",
        AskStep::Unanswered => "unanswered",
        AskStep::Silent { why } => {
            told["why"] = json!(silence(why));
            "answer-not-given"
        }
        AskStep::NoWay => "no-way",
        AskStep::Lost { why } => {
            told["why"] = json!(words::loss(why));
            "request-lost"
        }
    };
    let q = &line.requests[request.0];
    (kind, content::asking_json(told, q, what, held))
}

/// Kind and keys of a step of a joining notice.
pub(super) fn join_json(line: &Line, module: ModuleIx, what: JoinStep) -> (&'static str, Value) {
    let mut told = json!({ "module": line.module_path(module) });
    let kind = match what {
        JoinStep::Told { message } => {
            told["message"] = json!(message.0);
            "joining-told"
        }
        JoinStep::Learnt { by, after } => {
            told["by"] = json!(line.module_path(by));
            told["after_boot_ns"] = json!(after.0);
            "joining-learnt"
        }
        JoinStep::Missed { by, why } => {
            told["by"] = json!(line.module_path(by));
            told["why"] = json!(words::loss(why));
            "joining-missed"
        }
    };
    (kind, told)
}

/// What came of requests and joining notices, at the end.
pub(super) fn totals(out: &mut String, line: &Line, outcome: &Outcome) {
    for (q, c) in line.requests.iter().zip(&outcome.requests) {
        let longest = c.longest.map_or_else(String::new, |l| {
            format!(", the longest after {:.6} s", l.as_s_f64())
        });
        let held_back = match c.held_back {
            0 => String::new(),
            n => format!(", {n} held back"),
        };
        let open = match c.open {
            0 => String::new(),
            n => format!(", {n} still open at the end"),
        };
        let silent = match c.silent {
            0 => String::new(),
            n => format!("; {n} given no answer by the routine that was asked"),
        };
        let clamped = match c.clamped {
            0 => String::new(),
            n => format!("; {n} values lay outside their field"),
        };
        let _ = writeln!(
            out,
            "request.{}: {} asked{held_back}, {} answered in time{longest}, {} not answered in time, of these {} late{open}; {} messages lost{silent}{clamped}",
            q.id, c.asked, c.answered, c.unanswered, c.late, c.lost
        );
    }
    for (m, c) in line.modules.iter().zip(&outcome.joins) {
        if c.notices > 0 {
            let longest = c.longest.map_or_else(String::new, |l| {
                format!(", the last {:.6} s after it began to boot", l.as_s_f64())
            });
            let times = words::times(c.notices);
            let _ = writeln!(
                out,
                "module.{} told {times} what it is: {} learnt it{longest}, {} did not",
                m.id, c.learnt, c.missed
            );
        }
    }
}

/// Who learnt of whom, by module.
pub(super) fn acquaintances(out: &mut String, line: &Line, outcome: &Outcome) {
    if outcome.acquaintances.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\nWho learnt of whom, when first, and how long the notice was on its way"
    );
    for a in &outcome.acquaintances {
        let (of, by) = (line.module_path(a.of), line.module_path(a.by));
        let bound = match a.bound {
            Some(bound) => format!("at most {}", words::took(bound.as_s_f64())),
            None => "without a bound".to_owned(),
        };
        let _ = match a.learnt {
            Some((at, way)) => writeln!(
                out,
                "  {by} of {of} at {:.6} s, after {} ({bound})",
                at.as_s_f64(),
                words::took(way.as_s_f64())
            ),
            None => writeln!(out, "  {by} never of {of}"),
        };
    }
}

/// The same in JSON.
pub(super) fn acquaintances_json(line: &Line, outcome: &Outcome) -> Vec<Value> {
    let all = outcome.acquaintances.iter().map(|a| {
        json!({ "of": line.module_path(a.of), "by": line.module_path(a.by), "first_ns": a.learnt.map(|l| l.0.0),
                "latency_ns": a.learnt.map(|l| l.1.0), "bound_ns": a.bound.map(|b| b.0) })
    });
    all.collect()
}

/// The same by name.
pub(super) fn totals_json(
    line: &Line,
    outcome: &Outcome,
) -> (Map<String, Value>, Map<String, Value>) {
    let requests = line.requests.iter().zip(&outcome.requests);
    let requests = requests.map(|(q, c)| {
        let told = json!({ "asked": c.asked, "held_back": c.held_back, "answered": c.answered, "unanswered": c.unanswered, "open": c.open, "late": c.late, "lost": c.lost,
                "given_no_answer": c.silent, "clamped": c.clamped,
                "longest_ns": c.longest.map(|l| l.0) });
        (format!("request.{}", q.id), told)
    });
    let joins = line.modules.iter().zip(&outcome.joins);
    let joins = joins.filter(|(_, c)| c.notices > 0).map(|(m, c)| {
        let told = json!({ "notices": c.notices, "learnt": c.learnt, "missed": c.missed,
                "longest_after_boot_ns": c.longest.map(|l| l.0) });
        (format!("module.{}", m.id), told)
    });
    (requests.collect(), joins.collect())
}

/// What it took to deliver the messages that may be sent again, are held or kept.
pub(super) fn on_terms(out: &mut String, t: &network::PostStats) {
    if t.due == 0 {
        return;
    }
    let late = match t.acknowledged_late {
        0 => String::new(),
        n => format!(" ({n} after they were given up)"),
    };
    let _ = writeln!(
        out,
        "Of these may be sent again, are held or wait: {} copies, {} delivered, {} kept at the end; {} sent again, {} duplicates removed, {} delivered twice, {} acknowledged{}, {} never confirmed, {} of {} acknowledgements lost, {} held and sent",
        t.due,
        t.delivered,
        t.kept,
        t.again,
        t.duplicates,
        t.repeated,
        t.acknowledged,
        late,
        t.unconfirmed,
        t.answers_lost,
        t.answers,
        t.retained
    );
    for (why, n) in &t.dropped {
        let _ = writeln!(out, "  {n} lost: {}", words::network_loss(*why));
    }
}
