//! Single failures of a line, for people and for programs.

use std::fmt::Write as _;

use assess::{After, Breakage, Does, Failure, Failures, OutputAfter, Safe, Sees};
use quantity::{Dimension, show};
use serde_json::{Value, json};

use super::check::{list, wrap};
use super::contacts;

const WIDTH: usize = 108;
/// Width of the words before what is told of a failure.
const HEAD: usize = 22;

/// The failures, the worst first, those that come to the same together; what they rest on.
#[must_use]
pub fn failures_text(name: &str, failures: &Failures) -> String {
    let mut out = format!(
        "{name}\n\nSingle failures with {} contacts, the worst first\n",
        contacts(failures.contacts)
    );
    for row in wrap(&headline(failures), WIDTH) {
        let _ = writeln!(out, "{row}");
    }
    for (missing, does) in [
        (
            &failures.whole.without_power,
            "these do not work, as their modules have no power, or too little",
        ),
        (
            &failures.whole.not_ashore,
            "the shore learns of no detection of these",
        ),
    ] {
        if !missing.is_empty() {
            let told = format!("While nothing is broken {does}: {}", missing.join(", "));
            for row in wrap(&told, WIDTH) {
                let _ = writeln!(out, "{row}");
            }
        }
    }
    let known: Vec<(&Failure, &After)> = failures
        .failures
        .iter()
        .filter_map(|f| Some((f, f.outcome.as_ref().ok()?)))
        .collect();
    let mut told = vec![false; known.len()];
    for i in 0..known.len() {
        if told[i] {
            continue;
        }
        let same: Vec<usize> = (i..known.len())
            .filter(|&j| !told[j] && alike(known[i].1, known[j].1))
            .collect();
        for &j in &same {
            told[j] = true;
        }
        let names: Vec<String> = same.iter().map(|&j| known[j].0.called()).collect();
        out.push('\n');
        for (k, row) in wrap(&names.join("; "), WIDTH).iter().enumerate() {
            let _ = writeln!(out, "{}{row}", if k == 0 { "" } else { "  " });
        }
        let all: Vec<&After> = same.iter().map(|&j| known[j].1).collect();
        after(&mut out, known[i].1, &all);
    }
    let unknown: Vec<String> = failures
        .failures
        .iter()
        .filter_map(|f| Some(format!("{}: {}", f.called(), f.outcome.as_ref().err()?)))
        .collect();
    list(&mut out, "Unknown", &unknown);
    list(&mut out, "What this rests on", &failures.rests_on);
    out
}

fn headline(failures: &Failures) -> String {
    let known: Vec<After> = failures
        .failures
        .iter()
        .filter_map(|f| Some(f.outcome.as_ref().ok()?.at_worst()))
        .collect();
    let count = |wanted: &dyn Fn(&After) -> bool| known.iter().filter(|a| wanted(a)).count();
    // What is not known is not among what is well.
    let unknown = failures.failures.len() - known.len();
    let and_unknown = |of: usize| match of {
        0 => String::new(),
        n => format!(", and after {n} more whether one does is unknown"),
    };
    let most = known.iter().map(|a| a.lost().len()).max().unwrap_or(0);
    let mut said = vec![format!(
        "Of {} failures {} take a hydrophone from the line or the shore, {most} of {} at most",
        failures.failures.len(),
        count(&|a| !a.lost().is_empty()),
        failures.hydrophones
    )];
    if failures.has_shore {
        let told_by_none = count(&|a| a.shore == Sees::Quiet && a.shore_notices_s.is_none());
        let told_by_some = count(&|a| a.shore == Sees::Quiet && a.shore_notices_s.is_some());
        said.push(format!(
            "after {} of them the shore takes the silence for a quiet sea{}",
            told_by_none + told_by_some,
            match told_by_some {
                0 => String::new(),
                n => format!(", and whether anything tells it is unknown of {n}"),
            }
        ));
    }
    let never = |a: &After| a.outputs.iter().any(|o| o.safe == Safe::Never);
    let unsure = |a: &After| a.outputs.iter().any(|o| matches!(o.safe, Safe::Unknown(_)));
    said.push(format!(
        "{} leave an output that nothing brings to its fail-safe state{}",
        count(&never),
        and_unknown(count(&|a| !never(a) && unsure(a)))
    ));
    if unknown > 0 {
        said.push(format!("what comes of {unknown} is unknown"));
    }
    format!("{}.", said.join("; "))
}

/// Whether two come to the same, but for the voltages of what goes on.
fn alike(a: &After, b: &After) -> bool {
    After {
        voltages_v: Vec::new(),
        ..a.clone()
    } == After {
        voltages_v: Vec::new(),
        ..b.clone()
    }
}

fn after(out: &mut String, after: &After, all: &[&After]) {
    let mut row = |head: &str, tail: &str| {
        for (i, part) in wrap(tail, WIDTH - HEAD).iter().enumerate() {
            let head = if i == 0 { head } else { "" };
            let _ = writeln!(out, "    {head:width$}{part}", width = HEAD - 4);
        }
    };
    if !after.without_power.is_empty() {
        row("without power", &after.without_power.join(", "));
    }
    if !after.tries_again.is_empty() {
        row(
            "boots again",
            &format!(
                "{}: the voltage is back once it has dropped out",
                after.tries_again.join(", ")
            ),
        );
    }
    if !after.at_times.is_empty() {
        let with = match after.tries_again.is_empty() {
            true => "while outputs are on that are asked for",
            false => "while others boot, or outputs are on that are asked for",
        };
        row(
            "at times too",
            &format!("{} without power, {with}", after.at_times.join(", ")),
        );
    }
    let worst = after.at_worst();
    let lost = worst.lost();
    if worst.lost_to_line == worst.lost_to_shore && !lost.is_empty() {
        row("lost", &lost.join(", "));
    } else {
        if !worst.lost_to_line.is_empty() {
            row("lost to the line", &worst.lost_to_line.join(", "));
        }
        if !worst.lost_to_shore.is_empty() {
            row("lost to the shore", &worst.lost_to_shore.join(", "));
        }
    }
    if lost.is_empty() {
        row("lost", "no hydrophone");
    }
    let at_times = after.lost_at_times();
    if !at_times.is_empty() {
        row("at times only", &at_times.join(", "));
    }
    if !after.times_wrong.is_empty() {
        row("times wrong of", &after.times_wrong.join(", "));
    }
    for output in worst.outputs.iter().filter(|o| o.does != Does::AsBefore) {
        row(
            "output",
            &format!("{} {}", output.output, output_words(output)),
        );
    }
    if let Some(words) = shore_words(&worst) {
        row("the shore", &words);
    }
    let lowest = all
        .iter()
        .flat_map(|a| &a.voltages_v)
        .min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((module, v)) = lowest {
        row("lowest voltage", &format!("{v:.2} V at {module}"));
    }
}

fn output_words(o: &OutputAfter) -> String {
    let does = match o.does {
        Does::AsBefore => "is asked as before".to_owned(),
        Does::Off => "is off without power".to_owned(),
        Does::Stays => "stays as it was, as its module hangs".to_owned(),
        Does::Unasked if o.asked_by == 0 => "is asked by none any more".to_owned(),
        Does::Unasked => format!(
            "is asked by {} of {} hydrophones",
            o.asked_by, o.asked_before
        ),
    };
    let safe = match &o.safe {
        Safe::NotNeeded => return does,
        Safe::Within(0.0) => "that is its fail-safe state".to_owned(),
        Safe::Within(s) => format!("in its fail-safe state within {}", time(*s)),
        Safe::Never => "nothing brings it to its fail-safe state".to_owned(),
        Safe::Unknown(why) => format!("whether it fails safe is unknown: {why}"),
    };
    format!("{does}; {safe}")
}

fn shore_words(after: &After) -> Option<String> {
    let notices = match &after.shore_notices_s {
        None => None,
        Some(Ok(s)) => Some(format!("within {}", time(*s))),
        Some(Err(why)) => Some(format!("after a time that is unknown: {why}")),
    };
    match (after.shore, notices) {
        (Sees::NoShore, _) => None,
        (Sees::Alerts, None) => Some("sees all alerts as before, and nothing tells it".to_owned()),
        (Sees::Alerts, Some(when)) => Some(format!(
            "sees all alerts as before, and can tell that something is wrong {when}"
        )),
        (Sees::Quiet, Some(_)) => Some(format!(
            "takes the silence for a quiet sea{}",
            match &after.shore_notices_s {
                Some(Err(why)) => format!(", and whether anything tells it is unknown: {why}"),
                _ => String::new(),
            }
        )),
        (Sees::Unknown, Some(when)) => Some(format!(
            "seems to see a quiet sea, and can tell that it does not {when}"
        )),
        (Sees::Unknown | Sees::Quiet, None) => {
            Some("takes the silence for a quiet sea: no heartbeat that it would miss".to_owned())
        }
    }
}

fn time(s: f64) -> String {
    show(s, Dimension::Time)
}

/// The same as one JSON object.
#[must_use]
pub fn failures_json(name: &str, failures: &Failures) -> Value {
    let each: Vec<Value> = failures.failures.iter().map(failure_json).collect();
    json!({
        "format": "failures/1",
        "name": name,
        "contacts": contacts(failures.contacts),
        "hydrophones": failures.hydrophones,
        "has_shore": failures.has_shore,
        "while_whole": {
            "without_power": failures.whole.without_power,
            "not_ashore": failures.whole.not_ashore,
        },
        "failures": each,
        "rests_on": failures.rests_on,
    })
}

fn failure_json(failure: &Failure) -> Value {
    let mut told = match &failure.outcome {
        Err(why) => json!({ "unknown": why }),
        Ok(after) => {
            let worst = after.at_worst();
            let outputs: Vec<Value> = worst.outputs.iter().map(output_json).collect();
            let voltages: Vec<Value> = after
                .voltages_v
                .iter()
                .map(|(module, v)| json!({ "module": module, "voltage_v": v }))
                .collect();
            let notices = worst.shore_notices_s.as_ref();
            json!({
                "without_power": after.without_power,
                "boots_again": after.tries_again,
                "without_power_at_times": after.at_times,
                "lost_to_line": worst.lost_to_line,
                "lost_to_shore": worst.lost_to_shore,
                "lost_at_times": after.lost_at_times(),
                "times_wrong": after.times_wrong,
                "outputs": outputs,
                "shore_sees": match worst.shore {
                    Sees::NoShore => "no-shore",
                    Sees::Alerts => "alerts",
                    Sees::Unknown => "unknown",
                    Sees::Quiet => "quiet",
                },
                "shore_notices_s": notices.and_then(|n| n.as_ref().ok()),
                "shore_notices_unknown": notices.and_then(|n| n.as_ref().err()),
                "voltages": voltages,
            })
        }
    };
    told["of"] = json!(failure.subject);
    told["breakage"] = json!(failure.breakage.word());
    told["added_ohm"] = match failure.breakage {
        Breakage::PoorContact { ohm } => json!(ohm),
        _ => Value::Null,
    };
    told["called"] = json!(failure.called());
    told
}

fn output_json(o: &OutputAfter) -> Value {
    let (safe, within_s, unknown) = match &o.safe {
        Safe::NotNeeded => ("not-needed", None, None),
        Safe::Within(s) => ("within", Some(*s), None),
        Safe::Never => ("never", None, None),
        Safe::Unknown(why) => ("unknown", None, Some(why)),
    };
    json!({
        "output": o.output,
        "does": match o.does {
            Does::AsBefore => "as-before",
            Does::Off => "off",
            Does::Stays => "stays",
            Does::Unasked => "unasked",
        },
        "asked_by": o.asked_by,
        "asked_before": o.asked_before,
        "fail_safe": safe,
        "fail_safe_within_s": within_s,
        "unknown": unknown,
    })
}
