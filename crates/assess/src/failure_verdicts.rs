//! Single failures: how many hydrophones one takes, when the shore can tell, whether outputs come to their fail-safe state. Where modules come and go after one, its worst time counts,
//! and a time that rests on a silence is unknown, as what comes back breaks it.

use plan::{Line, OutputIx, Q};
use quantity::{Dimension, show};

use crate::failures::{
    After, Failure, Failures, FailuresError, OutputAfter, Safe, Sees, failures, silences, wound_up,
};
use crate::input::Contacts;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A time closer to its limit than this share of it is marginal.
const NARROW_SHARE: f64 = 0.02;
const METHOD: &str = "each part broken in turn: the network settled, breadth-first search over what still passes (docs/method/failures.md)";

/// A table of failures as verdicts take it.
struct Table<'a> {
    known: Vec<(&'a Failure, &'a After)>,
    /// Why the rest is unknown.
    unknown: Vec<String>,
}

fn with_table(
    line: &Line,
    judge: impl FnOnce(&Table<'_>, &dyn Fn() -> Evidence) -> Vec<Verdict>,
) -> Vec<Verdict> {
    let found: Result<Failures, FailuresError> = failures(line, Contacts::Aged);
    let found = match found {
        Ok(found) => found,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let mut table = Table {
        known: Vec::new(),
        unknown: Vec::new(),
    };
    for failure in &found.failures {
        match &failure.outcome {
            Ok(after) => table.known.push((failure, after)),
            Err(why) => table.unknown.push(format!(
                "what comes of {} is unknown: {why}",
                failure.called()
            )),
        }
    }
    judge(&table, &|| Evidence::computed(METHOD, &found))
}

fn at_most(limit: f64, unit: &str, narrow: f64) -> Against {
    Against {
        side: Side::AtMost,
        limit,
        narrow,
        unit: unit.to_owned(),
    }
}

/// The verdict on the worst of what is known, or that it is unknown where what is not known may be worse.
fn worst(
    against: &Against,
    subject: String,
    (value, why): (f64, String),
    evidence: Evidence,
    unknowns: &[String],
) -> Verdict {
    match unknowns.first() {
        Some(first) if against.holds(value) => unknown(subject, first.clone()),
        _ => against.judge(subject, value, evidence, why),
    }
}

/// Hydrophones that the worst single failure takes from the line or from the shore.
pub(crate) fn single_failure(line: &Line, limit: u32) -> Vec<Verdict> {
    with_table(line, |table, evidence| {
        let against = at_most(f64::from(limit), "hydrophones lost", 0.0);
        let most = table
            .known
            .iter()
            .rev()
            .max_by_key(|(_, after)| after.lost_at_any_time().len());
        let (value, why) = most.map_or((0.0, "nothing can fail".to_owned()), |(failure, after)| {
            let lost = after.lost_at_any_time();
            let as_many =
                |(_, other): &&(&Failure, &After)| other.lost_at_any_time().len() == lost.len();
            let others = table.known.iter().filter(as_many).count() - 1;
            let at_times = match lost.len() > after.lost().len() {
                true => format!(", some at times only, as {}", after.comes_and_goes()),
                false => String::new(),
            };
            let why = match (lost.is_empty(), others) {
                (true, _) => format!("none of {} failures takes any", table.known.len()),
                (false, 0) => {
                    format!("{} takes {}{at_times}", failure.called(), lost.join(", "))
                }
                (false, others) => format!(
                    "{} takes {}{at_times}; {others} more of {} failures take as many",
                    failure.called(),
                    lost.join(", "),
                    table.known.len()
                ),
            };
            (lost.len() as f64, why)
        });
        vec![worst(
            &against,
            "the line".to_owned(),
            (value, why),
            evidence(),
            &table.unknown,
        )]
    })
}

/// Time until the shore can tell that a failure has taken a hydrophone from it.
pub(crate) fn time_to_notice(line: &Line, at_most_s: Q) -> Vec<Verdict> {
    if line.uplinks.is_empty() {
        return vec![unknown("the shore", "the plan has no uplink")];
    }
    with_table(line, |table, evidence| {
        let mut unknowns = table.unknown.clone();
        let takes = |(_, after): &&(&Failure, &After)| {
            let mut times = after.at_all_times();
            times.any(|t| !t.lost_to_shore.is_empty())
        };
        let taking: Vec<_> = table.known.iter().filter(takes).collect();
        let quiet: Vec<String> = taking
            .iter()
            .filter(|(_, after)| is_quiet(after))
            .map(|(failure, _)| failure.called())
            .collect();
        let subject = "the shore".to_owned();
        if let Some(first) = quiet.first() {
            let why = format!(
                "after {first}{} the shore takes the silence for a quiet sea, because no heartbeat that it hears stops: give the module that has an uplink a `heartbeat` with `by`, and the others one that it hears",
                and_more(quiet.len())
            );
            let against = at_most(0.0, "failures that nothing tells", 0.0);
            return vec![against.judge(subject, quiet.len() as f64, evidence(), why)];
        }
        let mut latest: Option<(f64, String)> = None;
        for (failure, after) in taking {
            let seen = |t: &After| (t.shore, t.shore_notices_s.clone());
            if after.others.iter().any(|t| seen(t) != seen(after)) {
                unknowns.push(format!(
                    "after {} {}: heartbeats come between, so when the shore can tell is unknown; more power in hand there, so that nothing comes and goes, settles it, and a rehearsal shows it",
                    failure.called(),
                    after.comes_and_goes()
                ));
                continue;
            }
            match &after.shore_notices_s {
                Some(Ok(s)) if latest.as_ref().is_none_or(|(worst, _)| s > worst) => {
                    latest = Some((*s, format!("after {}", failure.called())));
                }
                Some(Ok(_)) | None => {}
                Some(Err(why)) => unknowns.push(why.clone()),
            }
        }
        let none = || {
            (
                0.0,
                "no failure takes a hydrophone from the shore".to_owned(),
            )
        };
        let limit_s = at_most_s.si;
        let against = at_most(limit_s, "s", NARROW_SHARE * limit_s);
        let latest = latest.unwrap_or_else(none);
        vec![worst(&against, subject, latest, evidence(), &unknowns)]
    })
}

/// Whether a failure leaves the shore with a quiet sea: for good, or at all those times at which it takes a hydrophone.
fn is_quiet(after: &After) -> bool {
    let mut taking = after
        .at_all_times()
        .filter(|t| !t.lost_to_shore.is_empty())
        .peekable();
    after.shore == Sees::Quiet || taking.peek().is_some() && taking.all(|t| t.shore == Sees::Quiet)
}

fn and_more(all: usize) -> String {
    match all {
        0 | 1 => String::new(),
        more => format!(" and {} more failures", more - 1),
    }
}

/// Time until an output, or each, is in its fail-safe state after any failure for which it may no longer be asked.
pub(crate) fn fail_safe(line: &Line, of: Option<OutputIx>, at_most_s: Q) -> Vec<Verdict> {
    let wanted = of.map(|o| line.output_path(o));
    with_table(line, |table, evidence| {
        let mut outputs: Vec<&str> = table
            .known
            .iter()
            .flat_map(|(_, after)| after.outputs.iter().map(|o| o.output.as_str()))
            .filter(|o| wanted.as_ref().is_none_or(|w| w == o))
            .collect();
        outputs.sort_unstable();
        outputs.dedup();
        if outputs.is_empty() {
            let why = match table.unknown.first() {
                Some(first) => first.clone(),
                None => "the line has no output".to_owned(),
            };
            return vec![unknown(
                wanted.clone().unwrap_or_else(|| "the line".to_owned()),
                why,
            )];
        }
        let each = outputs
            .into_iter()
            .map(|output| safe(table, output, at_most_s.si, evidence()));
        each.collect()
    })
}

fn safe(table: &Table<'_>, output: &str, limit_s: f64, evidence: Evidence) -> Verdict {
    let mut unknowns = table.unknown.clone();
    let mut never = Vec::new();
    let mut latest: Option<(f64, String)> = None;
    for (failure, after) in &table.known {
        match safe_at_all_times(failure, after, output) {
            Safe::NotNeeded => {}
            Safe::Never => never.push(failure.called()),
            Safe::Unknown(why) => unknowns.push(why),
            Safe::Within(s) => {
                if latest.as_ref().is_none_or(|(worst, _)| s > *worst) {
                    latest = Some((s, format!("after {}", failure.called())));
                }
            }
        }
    }
    let subject = output.to_owned();
    if let Some(first) = never.first() {
        let slow = latest
            .filter(|(s, _)| *s > limit_s)
            .map_or_else(String::new, |(s, after)| {
                format!("; it takes {} {after}", show(s, Dimension::Time))
            });
        let why = format!(
            "nothing brings it to its fail-safe state after {first}{}{slow}",
            and_more(never.len())
        );
        let against = at_most(0.0, "failures that leave it unsafe", 0.0);
        return against.judge(subject, never.len() as f64, evidence, why);
    }
    let none = || (0.0, "no failure keeps anybody from asking it".to_owned());
    let against = at_most(limit_s, "s", NARROW_SHARE * limit_s);
    let latest = latest.unwrap_or_else(none);
    worst(&against, subject, latest, evidence, &unknowns)
}

/// Whether an output comes to its fail-safe state at the worst of all times after a failure.
fn safe_at_all_times(failure: &Failure, after: &After, output: &str) -> Safe {
    let own: Vec<&OutputAfter> = after
        .at_all_times()
        .filter_map(|t| t.outputs.iter().find(|o| o.output == output))
        .collect();
    let Some((first, others)) = own.split_first() else {
        return Safe::NotNeeded;
    };
    if own.iter().any(|o| o.safe == Safe::Never) {
        return Safe::Never;
    }
    if let Some(unknown) = own.iter().find(|o| matches!(o.safe, Safe::Unknown(_))) {
        return unknown.safe.clone();
    }
    let differs = others
        .iter()
        .any(|o| (o.does, &o.safe) != (first.does, &first.safe));
    if differs && own.iter().any(|o| o.by_timer) {
        return Safe::Unknown(format!(
            "after {} {}: what comes back may wind its timer up again, so when it is in its fail-safe state is unknown; more power in hand there, so that nothing comes and goes, settles it, and a rehearsal shows it",
            failure.called(),
            after.comes_and_goes()
        ));
    }
    let within_s = own.iter().filter_map(|o| match o.safe {
        Safe::Within(s) => Some(s),
        _ => None,
    });
    within_s
        .max_by(f64::total_cmp)
        .map_or(Safe::NotNeeded, Safe::Within)
}

/// Outputs that would go to their fail-safe state while the line is whole, because heartbeats come further apart than they wait.
pub(crate) fn false_trips(line: &Line) -> Vec<Verdict> {
    // Why the silences are unknown is told where failures are asked for.
    let Ok(silences) = silences(line, Contacts::Aged) else {
        return Vec::new();
    };
    let each = silences.into_iter().filter_map(|silence| {
        let output = silence.output;
        let subject = line.output_path(output);
        let own = &line.modules[output.module.0].outputs[output.output];
        let within_s = own.fails_safe_within_s?.si;
        let whose = line.module_path(silence.asker);
        Some(match silence.at_most_s {
            Err(why) => unknown(subject, why),
            Ok(s) => at_most(within_s, "s", 0.0).judge(
                subject,
                s,
                Evidence::computed(METHOD, &(s, within_s)),
                format!("between two heartbeats of {whose} at most, from its `every` and the longest time of a message on its way"),
            ),
        })
    });
    let mut verdicts: Vec<Verdict> = each.collect();
    for never in wound_up(line).unwrap_or_default() {
        let output = never.output;
        let own = &line.modules[output.module.0].outputs[output.output];
        let Some(within) = own.fails_safe_within_s.filter(|_| never.by.is_empty()) else {
            continue;
        };
        let longest_s = line.deployment.longest_s();
        verdicts.push(at_most(within.si, "s", 0.0).judge(
            line.output_path(output),
            longest_s,
            Evidence::computed(METHOD, &(longest_s, within.si)),
            format!(
                "none of the modules that have a part in asking for it sends a heartbeat that {} hears: nothing winds up its timer, and {} after its module has begun to work it is in its fail-safe state for as long as that works",
                line.module_path(output.module),
                show(within.si, Dimension::Time)
            ),
        ));
    }
    verdicts
}
