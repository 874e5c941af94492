//! A cue sheet for each single failure: the fault in time, and what the table of failures promises of it as expectations.
//!
//! In the first part each detection's message is published once, so that lamps are lit as by a call; then the part fails, and nothing is published from outside until
//! every output has had its time; then each detection's message is published once more. Where modules are without power at times only, the first part stays silent: the
//! table breaks a line with its outputs as at start. So does a topic that its `at_most` lets pass too seldom for both.

use std::fmt::Write as _;

use assess::input::Contacts;
use assess::{After, Breakage, CopyAfter, Failure, Failures, Safe};
use plan::{Action, Line, ModuleIx, OutputIx, PassWhen, TopicIx, When};

/// When the first message is published, s.
const FIRST_S: f64 = 10.0;
/// From message to message, s.
const APART_S: f64 = 1.0;
/// From the last message of the first part to the fault, s. Off a whole second, at which heartbeats leave.
const QUIET_S: f64 = 5.3;
/// At least so long after the fault nothing is on its way any more from before, s.
const LEAST_S: f64 = 10.0;
/// What is published at intervals is looked for up to this interval, s.
const LONGEST_INTERVAL_S: f64 = 900.0;
/// A topic of which one message uses up what its `at_most` lets pass for longer is published once.
const LONGEST_REST_S: f64 = 900.0;
/// Times are written to the nanosecond; a promise is held to from the next one on.
const STEP_S: f64 = 1e-9;

/// The cue sheet of a failure.
#[derive(Clone, Debug, PartialEq)]
pub struct FailureCues {
    /// What it is called in a sentence.
    pub failure: String,
    /// The name of its file.
    pub file: String,
    /// Its text, or why there is none.
    pub text: Result<String, String>,
}

/// The cue sheet of each failure, in the order of the table.
#[must_use]
pub fn failure_cues(line: &Line, failures: &Failures) -> Vec<FailureCues> {
    let each = failures.failures.iter().map(|failure| FailureCues {
        failure: failure.called(),
        file: format!(
            "{}-{}.toml",
            failure.subject.replace('.', "-"),
            failure.breakage.word()
        ),
        text: text(line, failures.contacts, failure),
    });
    each.collect()
}

/// The fault of a cue sheet that is the failure.
fn fault(line: &Line, failure: &Failure) -> Result<String, String> {
    let kind = match failure.breakage {
        Breakage::Cut => "kind = \"cut\"".to_owned(),
        Breakage::PoorContact { ohm } => {
            format!("kind = \"bad-contact\"\nresistance = \"{ohm} ohm\"")
        }
        Breakage::Unpowered => "kind = \"dead\"".to_owned(),
        Breakage::Hung => "kind = \"hang\"".to_owned(),
        Breakage::NoSupply => "kind = \"no-supply\"".to_owned(),
        Breakage::NoUplink => "kind = \"no-uplink\"".to_owned(),
        Breakage::Flooded => {
            let id = failure.subject.strip_prefix("module.").unwrap_or_default();
            let passes = line.module_by_id(id).and_then(|m| line.modules[m.0].passes);
            if passes.is_none_or(|p| p.power != PassWhen::Always) {
                return Err("a rehearsal has no short at the inlet of a flooded module".to_owned());
            }
            "kind = \"dead\"".to_owned()
        }
        Breakage::Shorted => return Err("a rehearsal has no short in a span".to_owned()),
        Breakage::Deaf => {
            return Err("these sheets publish in the place of what is heard: a fault `deaf` beside a sound shows it".to_owned());
        }
        Breakage::WrongClock => {
            return Err("what a wrong clock spoils is no message, output or uplink".to_owned());
        }
    };
    Ok(format!("{kind}\nof = \"{}\"", failure.subject))
}

fn text(line: &Line, contacts: Contacts, failure: &Failure) -> Result<String, String> {
    let after = failure
        .outcome
        .as_ref()
        .map_err(|why| format!("what comes of it is unknown: {why}"))?;
    let fault = fault(line, failure)?;
    let asked = detections(line, after);
    let first: Vec<bool> = (asked.iter())
        .map(|(_, topic)| {
            !after.unsteady.contains(&true) && rests_s(line, *topic) <= LONGEST_REST_S
        })
        .collect();
    let rest_s = (asked.iter().zip(&first).filter(|(_, first)| **first))
        .map(|((_, topic), _)| rests_s(line, *topic))
        .fold(0.0, f64::max);
    let broken_s = FIRST_S + APART_S * asked.len() as f64 + QUIET_S;
    let safe_s = after.outputs.iter().filter_map(|o| match o.safe {
        Safe::Within(s) => Some(s),
        _ => None,
    });
    let calm_s = broken_s + libm::ceil(safe_s.fold(LEAST_S, f64::max).max(rest_s)) + 1.0;
    let interval_s = after
        .copies
        .iter()
        .filter_map(|c| interval_s(line, c.from, c.topic))
        .filter(|s| *s <= LONGEST_INTERVAL_S)
        .fold(0.0, f64::max);
    let again_s = APART_S * asked.len() as f64;
    let end_s = calm_s + libm::ceil(again_s.max(interval_s)) + LEAST_S;
    let mut sheet = format!(
        "# {}: what `soundline failures` promises of it.\nformat = 1\n\n[rehearsal]\nname = \"{}\"\nduration = \"{} s\"\nseed = 1\nwind = \"5 m/s\"\nwave_height = \"1 m\"\ncontacts = \"{}\"\n",
        failure.called(),
        failure.called(),
        seconds(end_s),
        match contacts {
            Contacts::New => "new",
            Contacts::Aged => "aged",
        },
    );
    let _ = write!(
        sheet,
        "\n[fault.failure]\nat = \"{} s\"\n{fault}\n",
        seconds(broken_s)
    );
    for (part, from_s) in [("before", FIRST_S), ("after", calm_s)] {
        for (i, (module, topic)) in asked.iter().enumerate() {
            if part == "before" && !first[i] {
                continue;
            }
            let _ = write!(
                sheet,
                "\n[input.{part}-{i}]\nat = \"{} s\"\nmodule = \"{}\"\npublish = \"{}\"\n",
                seconds(from_s + APART_S * i as f64),
                line.module_path(*module),
                line.topics[topic.0].name
            );
        }
    }
    let mut expects = Expects { sheet, asked: 0 };
    expects.modules(line, after, broken_s);
    expects.outputs(line, after, broken_s);
    expects.copies(line, after, calm_s, &asked);
    expects.uplinks(line, failure, after, broken_s);
    if expects.asked == 0 {
        return Err("it changes nothing that a rehearsal could show".to_owned());
    }
    Ok(expects.sheet)
}

struct Expects {
    sheet: String,
    asked: usize,
}

impl Expects {
    fn expect(&mut self, id: &str, keys: &str, from_s: f64) {
        self.asked += 1;
        let id: String = id
            .chars()
            .map(|c| match c.is_ascii_alphanumeric() {
                true => c.to_ascii_lowercase(),
                false => '-',
            })
            .collect();
        let _ = write!(
            self.sheet,
            "\n[expect.e{}-{id}]\n{keys}\nfrom = \"{} s\"\n",
            self.asked,
            seconds(from_s)
        );
    }

    /// Who stops, and who does not.
    fn modules(&mut self, line: &Line, after: &After, broken_s: f64) {
        let known = after.works_on.iter().enumerate();
        for (m, works) in known.filter_map(|(m, works)| Some((m, (*works)?))) {
            if works && after.unsteady[m] {
                continue;
            }
            let path = line.module_path(ModuleIx(m));
            let count = match works {
                true => "at_most = 0",
                false => "at_least = 1",
            };
            let keys = format!("that = \"down\"\nof = \"{path}\"\n{count}");
            self.expect(&format!("{path}-down"), &keys, broken_s);
        }
    }

    fn outputs(&mut self, line: &Line, after: &After, broken_s: f64) {
        let all = line.modules.iter().enumerate().flat_map(|(m, module)| {
            (0..module.outputs.len()).map(move |output| OutputIx {
                module: ModuleIx(m),
                output,
            })
        });
        let steady = |(output, came): &(OutputIx, &assess::OutputAfter)| {
            came.steady && !after.unsteady[output.module.0]
        };
        for (output, came) in all.zip(&after.outputs).filter(steady) {
            let path = line.output_path(output);
            // A trip takes its millisecond.
            let at_s = broken_s + 2.0 * rehearsal::TRIP.as_s_f64();
            match (&came.safe, came.does) {
                (Safe::Within(s), _) => {
                    let keys = format!("that = \"fail-safe\"\nof = \"{path}\"");
                    self.expect(&path, &keys, at_s.max(broken_s + s + STEP_S));
                }
                (_, assess::Does::Off) => {
                    let keys = format!("that = \"stays\"\nof = \"{path}\"\nto = \"off\"");
                    self.expect(&path, &keys, at_s);
                }
                _ => {}
            }
        }
    }

    /// Which messages still come, of those that are published again.
    fn copies(&mut self, line: &Line, after: &After, calm_s: f64, asked: &[(ModuleIx, TopicIx)]) {
        let mut told: Vec<(TopicIx, ModuleIx)> =
            after.copies.iter().map(|c| (c.topic, c.to)).collect();
        told.sort_unstable();
        told.dedup();
        for (topic, to) in told {
            let of_it = || {
                let all = after.copies.iter();
                all.filter(move |c| (c.topic, c.to) == (topic, to))
            };
            let published = |c: &&CopyAfter| {
                asked.contains(&(c.from, topic))
                    || interval_s(line, c.from, topic).is_some_and(|s| s <= LONGEST_INTERVAL_S)
            };
            if !of_it().any(|c| published(&c)) {
                continue;
            }
            let count = if !of_it().any(|c| c.comes || !c.steady) {
                "at_most = 0"
            } else if of_it().filter(published).any(|c| c.comes && c.steady) {
                "at_least = 1"
            } else {
                continue;
            };
            let name = &line.topics[topic.0].name;
            let to = line.module_path(to);
            let keys = format!("that = \"delivered\"\ntopic = \"{name}\"\nat = \"{to}\"\n{count}");
            self.expect(&format!("{name}-{to}"), &keys, calm_s);
        }
    }

    /// Nothing goes ashore by an uplink that is gone, or whose module has stopped.
    fn uplinks(&mut self, line: &Line, failure: &Failure, after: &After, broken_s: f64) {
        for uplink in &line.uplinks {
            let path = format!("uplink.{}", uplink.id);
            let is_gone = failure.breakage == Breakage::NoUplink && failure.subject == path;
            let at = uplink.module.0;
            if is_gone || after.works_on[at] == Some(false) && !after.unsteady[at] {
                let keys = format!("that = \"sent\"\nof = \"{path}\"\nat_most = 0");
                let at_s = broken_s + 2.0 * rehearsal::TRIP.as_s_f64();
                self.expect(&path, &keys, at_s);
            }
        }
    }
}

/// What modules publish when their detectors hear, and somebody else hears then: module and topic.
fn detections(line: &Line, after: &After) -> Vec<(ModuleIx, TopicIx)> {
    let mut all: Vec<(ModuleIx, TopicIx)> = Vec::new();
    for copy in &after.copies {
        let heard = line.behaviours.iter().any(|b| {
            b.on == copy.from
                && matches!(b.when, When::Heard { .. } | When::Voted { .. })
                && publishes(&b.actions, copy.topic)
        });
        let own = (copy.from, copy.topic);
        if heard && !all.contains(&own) {
            all.push(own);
        }
    }
    all
}

/// How often a module publishes a topic at intervals, s; `None` where it does not.
fn interval_s(line: &Line, from: ModuleIx, topic: TopicIx) -> Option<f64> {
    let all = line.behaviours.iter().filter_map(|b| match b.when {
        When::Each { period_s } if b.on == from && publishes(&b.actions, topic) => {
            Some(period_s.si)
        }
        _ => None,
    });
    all.reduce(f64::min)
}

/// How long a topic rests after a message until its `at_most` lets one more pass, s.
fn rests_s(line: &Line, topic: TopicIx) -> f64 {
    let at_most = line.topics[topic.0].at_most.as_ref();
    at_most
        .filter(|rate| rate.count < 2.0)
        .map_or(0.0, |rate| rate.per_s)
}

fn publishes(actions: &[Action], topic: TopicIx) -> bool {
    let is = |a: &Action| matches!(a, Action::Publish { topic: t, .. } if *t == topic);
    actions.iter().any(is)
}

/// To the nanosecond, without needless zeros.
fn seconds(s: f64) -> String {
    let text = format!("{s:.9}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
