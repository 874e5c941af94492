//! Single failures: how many hydrophones one takes, when the shore can tell, whether outputs come to their fail-safe state. Where modules come and go after one, its worst time counts,
//! and a time that rests on a silence is unknown, as what comes back breaks it.

use plan::{Line, OutputIx, Q};
use quantity::{Dimension, show};

use crate::failures::{
    After, Ashore, Breakage, Failure, Failures, FailuresError, Heard, Safe, Sees, Whole,
    failures_by, silences, wound_up,
};
use crate::input::Contacts;
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::start_words::listed;
use crate::verdict::{Against, Evidence, Side, Verdict, Word, unknown};

/// So many failures are told by name beside the worst.
const MOST_NAMED: usize = 4;
/// A time closer to its limit than this share of it is marginal.
const NARROW_SHARE: f64 = 0.02;
/// A timer that bit errors run out no more often than this on average in a deployment holds (common practice), and one that they run out more seldom than this is told without them.
const SELDOM_TRIPS: f64 = 0.01;
const NEVER_TRIPS: f64 = 1e-6;
const METHOD: &str = "each part broken in turn: the network settled, breadth-first search over what still passes (docs/method/failures.md)";

/// A table of failures as verdicts take it.
struct Table<'a> {
    known: Vec<Known<'a>>,
    /// Why the rest is unknown.
    unknown: Vec<String>,
    /// What hydrophones do while nothing is broken.
    whole: &'a Whole,
    hydrophones: usize,
}

impl Table<'_> {
    /// Why nothing that may be lost says how much is: there is no hydrophone, or one does not work while nothing is broken.
    fn deaf_already(&self) -> Option<String> {
        if self.hydrophones == 0 {
            return Some("it has no hydrophone".to_owned());
        }
        let first = self.whole.without_power.first()?;
        Some(format!(
            "{first}{} does not work while nothing is broken: its module has no power, or too little",
            and_more_of(self.whole.without_power.len(), "hydrophone")
        ))
    }

    /// The same of the shore, which must learn of each hydrophone that has a detector.
    fn unheard_already(&self) -> Option<String> {
        if let Some(why) = self.deaf_already() {
            return Some(why);
        }
        let first = self.whole.not_ashore.first()?;
        Some(format!(
            "while nothing is broken the shore learns of no detection of {first}{}, so that no failure can take it from there: let a behaviour send what it hears up, and the messages that it answers reach it",
            and_more_of(self.whole.not_ashore.len(), "hydrophone")
        ))
    }
}

/// A failure of which it is known what comes of it.
struct Known<'a> {
    failure: &'a Failure,
    /// At first.
    first: &'a After,
    /// At its worst time.
    worst: After,
}

impl Known<'_> {
    /// Why something of it is unknown, by name where modules come and go.
    fn unknown(&self, why: &str) -> String {
        match self.first.others.is_empty() {
            true => why.to_owned(),
            false => format!("after {}, {why}", self.failure.called()),
        }
    }
}

fn with_table(
    line: &Line,
    ashore: Ashore,
    judge: impl FnOnce(&Table<'_>, &dyn Fn() -> Evidence) -> Vec<Verdict>,
) -> Vec<Verdict> {
    let found: Result<Failures, FailuresError> = failures_by(line, Contacts::Aged, ashore);
    let found = match found {
        Ok(found) => found,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let mut table = Table {
        known: Vec::new(),
        unknown: Vec::new(),
        whole: &found.whole,
        hydrophones: found.hydrophones,
    };
    for failure in &found.failures {
        match &failure.outcome {
            Ok(first) => table.known.push(Known {
                failure,
                first,
                worst: first.at_worst(),
            }),
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

/// What would be met, where it cannot be as something is missing before anything breaks.
fn unless_missing(verdict: Verdict, missing: Option<String>) -> Vec<Verdict> {
    let stands = matches!(verdict.word(), Word::Broken | Word::Unknown);
    vec![match missing {
        Some(why) if !stands => unknown(verdict.subject(), why),
        _ => verdict,
    }]
}

/// Hydrophones that the worst single failure takes from the line or from the shore.
pub(crate) fn single_failure(line: &Line, limit: u32) -> Vec<Verdict> {
    with_table(line, Ashore::default(), |table, evidence| {
        let against = at_most(f64::from(limit), "hydrophones lost", 0.0);
        let count = |known: &Known<'_>| known.worst.lost().len();
        let most = table.known.iter().rev().max_by_key(|known| count(known));
        let (value, why) = most.map_or((0.0, "nothing can fail".to_owned()), |known| {
            let (failure, lost) = (known.failure, known.worst.lost());
            let same = |other: &&Known<'_>| other.failure == failure;
            let (as_many, fewer): (Vec<_>, Vec<_>) = (table.known.iter())
                .filter(|other| !same(other))
                .partition(|other| count(other) == lost.len());
            let others = as_many.len();
            let at_times = match lost.len() > known.first.lost().len() {
                true => format!(", some at times only, as {}", known.first.comes_and_goes()),
                false => String::new(),
            };
            let why = match (lost.is_empty(), others) {
                (true, _) => format!("none of {} failures takes any", table.known.len()),
                (false, 0) => {
                    format!("{} takes {}{at_times}", failure.called(), lost.join(", "))
                }
                (false, _) => format!(
                    "{}{} takes {}{at_times}; {others} more of {} failures take as many: {}",
                    failure.called(),
                    harm(known),
                    lost.join(", "),
                    table.known.len(),
                    named(&as_many)
                ),
            };
            let besides: Vec<_> = fewer.into_iter().filter(|k| !harm(k).is_empty()).collect();
            let why = match besides.is_empty() {
                true => why,
                false => format!(
                    "{why}; failures that take fewer do other harm: {}",
                    named(&besides)
                ),
            };
            (lost.len() as f64, why)
        });
        let verdict = worst(
            &against,
            "the line".to_owned(),
            (value, why),
            evidence(),
            &table.unknown,
        );
        unless_missing(verdict, table.deaf_already())
    })
}

/// What a failure does beside taking hydrophones: a silence that passes for a quiet sea, outputs that nothing brings to their fail-safe state.
fn harm(known: &Known<'_>) -> String {
    let mut does = Vec::new();
    if known.worst.shore == Sees::Quiet {
        does.push("the shore takes it for a quiet sea".to_owned());
    }
    let unsafe_ones = known.worst.outputs.iter().filter(|o| o.safe == Safe::Never);
    let unsafe_ones: Vec<String> = unsafe_ones.map(|o| o.output.clone()).collect();
    if !unsafe_ones.is_empty() {
        does.push(format!("it leaves {} unsafe", listed(&unsafe_ones)));
    }
    match does.is_empty() {
        true => String::new(),
        false => format!(" ({})", does.join(", and ")),
    }
}

/// Failures by name with what else they do: first uplinks and spans, whose silence is most easily taken for a calm, then those that do harm, then the others.
fn named(failures: &[&Known<'_>]) -> String {
    let mut all: Vec<&&Known<'_>> = failures.iter().collect();
    let of_a_link =
        |k: &Known<'_>| matches!(k.failure.breakage, Breakage::NoUplink | Breakage::Cut);
    all.sort_by_key(|k| {
        (
            k.failure.breakage != Breakage::NoUplink,
            harm(k).is_empty(),
            !of_a_link(k),
        )
    });
    let told = all.iter().take(MOST_NAMED);
    let mut told: Vec<String> = told
        .map(|k| format!("{}{}", k.failure.called(), harm(k)))
        .collect();
    if all.len() > MOST_NAMED {
        told.push(format!("{} more", all.len() - MOST_NAMED));
    }
    listed(&told)
}

/// Time until the shore can tell that a failure has taken a hydrophone from it.
pub(crate) fn time_to_notice(
    line: &Line,
    at_most_s: Q,
    load: &mut UnderLoad<'_>,
    memo: &Memo,
) -> Vec<Verdict> {
    if line.uplinks.is_empty() {
        return vec![unknown("the shore", "the plan has no uplink")];
    }
    let ashore = Ashore::of(line, load, memo);
    let stay_out = ashore.told(line);
    with_table(line, ashore, |table, evidence| {
        let mut unknowns = table.unknown.clone();
        let takes = |known: &&Known<'_>| !known.worst.lost_to_shore.is_empty();
        let taking: Vec<_> = table.known.iter().filter(takes).collect();
        let quiet: Vec<String> = taking
            .iter()
            .filter(|known| known.worst.shore == Sees::Quiet)
            // Of one whose time is unknown somebody may yet tell it.
            .filter(|known| known.worst.shore_notices_s.is_none())
            .map(|known| known.failure.called())
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
        // Of a hydrophone that is deaf what is missing is told once all else is known.
        let (deaf, others): (Vec<_>, Vec<_>) = taking
            .into_iter()
            .partition(|known| known.failure.breakage == Breakage::Deaf);
        for known in others.into_iter().chain(deaf) {
            match &known.worst.shore_notices_s {
                Some(Ok(s)) if latest.as_ref().is_none_or(|(worst, _)| s > worst) => {
                    latest = Some((*s, format!("after {}", known.failure.called())));
                }
                Some(Ok(_)) | None => {}
                Some(Err(why)) => unknowns.push(known.unknown(why)),
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
        let mut latest = latest.unwrap_or_else(none);
        if let Some(stay_out) = &stay_out {
            latest.1.push_str(&format!("; {stay_out}"));
        }
        let verdict = worst(&against, subject, latest, evidence(), &unknowns);
        unless_missing(verdict, table.unheard_already())
    })
}

fn and_more(all: usize) -> String {
    and_more_of(all, "failure")
}

fn and_more_of(all: usize, what: &str) -> String {
    match all {
        0 | 1 => String::new(),
        2 => format!(" and 1 more {what}"),
        more => format!(" and {} more {what}s", more - 1),
    }
}

/// Time until an output, or each, is in its fail-safe state after any failure for which it may no longer be asked.
pub(crate) fn fail_safe(line: &Line, of: Option<OutputIx>, at_most_s: Q) -> Vec<Verdict> {
    let wanted = of.map(|o| line.output_path(o));
    with_table(line, Ashore::default(), |table, evidence| {
        let mut outputs: Vec<&str> = table
            .known
            .iter()
            .flat_map(|known| known.worst.outputs.iter().map(|o| o.output.as_str()))
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
    for known in &table.known {
        let own = known.worst.outputs.iter().find(|o| o.output == output);
        match own.map(|o| &o.safe) {
            None | Some(Safe::NotNeeded) => {}
            Some(Safe::Never) => never.push(known.failure.called()),
            Some(Safe::Unknown(why)) => unknowns.push(known.unknown(why)),
            Some(Safe::Within(s)) => {
                if latest.as_ref().is_none_or(|(worst, _)| s > worst) {
                    latest = Some((*s, format!("after {}", known.failure.called())));
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
    let verdict = worst(&against, subject, latest, evidence, &unknowns);
    let keeps = |known: &&Known<'_>| {
        let own = known.worst.outputs.iter().find(|o| o.output == output);
        known.failure.breakage == Breakage::Deaf
            && own.is_none_or(|o| matches!(o.safe, Safe::NotNeeded))
    };
    let deaf: Vec<String> = table
        .known
        .iter()
        .filter(keeps)
        .map(|known| known.failure.called())
        .collect();
    match deaf.first() {
        Some(first) => verdict.because(&format!(
            "; it goes on as before after {first}{}, which takes nobody who asks it away",
            and_more(deaf.len())
        )),
        None => verdict,
    }
}

/// A timer that heartbeats wind up, against the longest time between two, and where bit errors lose some against how often so many in a row are lost that it runs out.
///
/// Of `N` heartbeats each lost with a chance `p` on its own, `k` lost in a row begin `p^k (1 + (N - k) (1 - p))` times on average, which is no less than the chance that they ever do (textbook probability).
fn trips(line: &Line, subject: String, within_s: f64, (whose, heard): (&str, Heard)) -> Verdict {
    let Heard {
        apart_s,
        way_s,
        lost,
    } = heard;
    let longest_s = apart_s + way_s;
    let between = format!(
        "between two heartbeats of {whose} at most, from its `every`, what its topic lets through and the longest time of a message on its way"
    );
    let whole = at_most(within_s, "s", 0.0).judge(
        subject.clone(),
        longest_s,
        Evidence::computed(METHOD, &(longest_s, within_s)),
        between,
    );
    if lost <= 0.0 || whole.is_broken() {
        return whole;
    }
    let in_a_row = libm::floor((within_s - way_s) / apart_s).max(1.0);
    let all = libm::floor(line.deployment.longest_s() / apart_s).max(in_a_row);
    let times = libm::pow(lost, in_a_row) * (1.0 + (all - in_a_row) * (1.0 - lost));
    if times <= NEVER_TRIPS {
        return whole;
    }
    let number = quantity::show_number;
    let why = format!(
        "bit errors lose {} % of the heartbeats of {whose}, and {in_a_row:.0} in a row that are lost run its timer of {} out: so often in {all:.0} of them until the latest recovery",
        number(100.0 * lost),
        show(within_s, Dimension::Time)
    );
    let evidence = Evidence::computed(METHOD, &(apart_s, way_s, lost, within_s, all));
    let against = at_most(SELDOM_TRIPS, "times on average", 0.0);
    let by_errors = against.judge(subject, times, evidence, why);
    match by_errors.is_broken() {
        true => by_errors,
        false => whole.because(&format!(
            "; bit errors run it out {} times on average until the latest recovery",
            number(times)
        )),
    }
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
        Some(match silence.heard {
            Err(why) => unknown(subject, why),
            Ok(heard) => trips(line, subject, within_s, (&whose, heard)),
        })
    });
    let mut verdicts: Vec<Verdict> = each.collect();
    for never in wound_up(line).unwrap_or_default() {
        let output = never.output;
        let own = &line.modules[output.module.0].outputs[output.output];
        let Some(within) = own.fails_safe_within_s.filter(|_| never.by.is_empty()) else {
            continue;
        };
        verdicts.push(at_most(0.0, "timers that nothing winds up", 0.0).judge(
            line.output_path(output),
            1.0,
            Evidence::computed(METHOD, &(line.output_path(output), within.si)),
            format!(
                "none of the modules that have a part in asking for it sends a heartbeat that {} hears: nothing winds up its timer, and {} after its module has begun to work it is in its fail-safe state for as long as that works",
                line.module_path(output.module),
                show(within.si, Dimension::Time)
            ),
        ));
    }
    verdicts
}
