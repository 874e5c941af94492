//! One start of the line, followed in time, with the names of the plan.

use plan::Line;
use power::startup::{EventKind, Outcome, Phase, Report, Settings, StartupError};

use crate::input::{Contacts, InputError, StartInput, startup};
use crate::memo::Memo;
use crate::start_ohms::ohms;
use crate::start_remedy::remedy;
use crate::start_runs::at_once;
use crate::start_words::{Finding, finding};

/// Samples kept of each voltage and current.
const TRACE_POINTS: usize = 2_000;
/// Switchings followed before a start that does not repeat itself is left.
const MOST_EVENTS: usize = 2_000;
/// However short the boots, a start is followed for so long, s.
const SHORTEST_S: f64 = 60.0;
/// Longest time that may be followed, s.
const LONGEST_S: f64 = 1e6;
/// A start may take so many times the boots one after the other and the charging of all capacitors.
const PATIENCE: f64 = 4.0;

/// Why a start cannot be told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StartError {
    /// The input cannot be built.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The plan does not say enough, or says what the start cannot follow.
    #[error("{}", .0.join("; "))]
    Open(Vec<String>),
    /// A capacitor hangs directly at a supply without resistance and limit.
    #[error(
        "{supply} has neither resistance nor current limit, and a capacitor hangs at its terminals: its inrush is not defined"
    )]
    IdealInrush {
        /// The supply: a typed path.
        supply: String,
    },
    /// The core refuses.
    #[error(transparent)]
    Core(#[from] StartupError),
    /// The plan has nothing that starts.
    #[error("no module with a power input hangs on a supply")]
    Nothing,
}

/// A module in a start.
#[derive(Clone, Debug, PartialEq)]
pub struct StartModule {
    /// Its typed path.
    pub path: String,
    /// Voltage at which it switches on, V.
    pub on_v: f64,
    /// Voltage below which it goes off, V.
    pub off_v: f64,
    /// Whether that is a lock-out, and not the lowest voltage of a bare converter.
    pub lock_out: bool,
    /// Time before which it does not switch on, s.
    pub wakes_after_s: f64,
    /// Input capacitor, F.
    pub capacitance_f: f64,
    /// Power at the input while it boots, W.
    pub boot_power_w: f64,
    /// Time to boot, s.
    pub boot_s: f64,
    /// Power at the input afterwards, W.
    pub running_power_w: f64,
    /// When its voltage first came to `on_v`, s, between samples; `None` if it never did.
    pub reached_s: Option<f64>,
    /// When it switched on, s, each time.
    pub switched_on_s: Vec<f64>,
    /// When it fell out, s, each time.
    pub fell_out_s: Vec<f64>,
    /// When it last had booted, s; `None` if it never has.
    pub booted_s: Option<f64>,
    /// Whether it runs at the end.
    pub runs: bool,
    /// Its voltage at the end, V.
    pub end_v: f64,
    /// Its voltage at [`Start::time_s`], V.
    pub voltage_v: Vec<f64>,
}

/// A supply in a start.
#[derive(Clone, Debug, PartialEq)]
pub struct StartSupply {
    /// Its typed path.
    pub path: String,
    /// Open-circuit voltage, V.
    pub open_v: f64,
    /// Its current limit, A.
    pub limit_a: Option<f64>,
    /// Largest current of the start, A.
    pub peak_a: f64,
    /// When that was, s, to the nearest sample.
    pub peak_at_s: f64,
    /// Largest current before the first module switched on: the inrush of the capacitors, A.
    pub inrush_a: f64,
    /// Current at the end, A.
    pub end_a: f64,
    /// When it first left its limit, s.
    pub left_limit_s: Option<f64>,
    /// Whether it took current in at some time.
    pub backfed: bool,
    /// Its current at [`Start::time_s`], A.
    pub current_a: Vec<f64>,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct StartEvent {
    /// When, s after the supplies came on.
    pub at_s: f64,
    /// To whom: a typed path.
    pub subject: String,
    /// What.
    pub what: String,
}

/// A start, followed to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// State of the contacts.
    pub contacts: Contacts,
    /// One word: `started`, `hiccup`, `latch-low`, `deadlock`, `falls-out`, `never-reaches` or `unsettled`.
    pub outcome: &'static str,
    /// The outcome in a sentence.
    pub told: String,
    /// What would start it, or why nothing of the kind does. `None` when it starts, or could not be followed to an end.
    pub remedy: Option<String>,
    /// Which ohms of the line keep it from starting, and fewer of which alone would let it start. `None` when it starts, or does not with short leads either.
    pub ohms: Option<String>,
    /// When the last module had booted, s; `None` unless all run.
    pub ready_s: Option<f64>,
    /// When the run ended, s.
    pub end_s: f64,
    /// The modules with a power input that a supply feeds, in the plan's order.
    pub modules: Vec<StartModule>,
    /// The supplies.
    pub supplies: Vec<StartSupply>,
    /// What happened, in order.
    pub events: Vec<StartEvent>,
    /// From when to when it goes on alike, s: periods that are not sampled one by one.
    pub alike_s: Vec<(f64, f64)>,
    /// Times of the samples, s; not evenly spaced.
    pub time_s: Vec<f64>,
}

/// A start with what it was computed from.
pub(crate) struct Followed {
    pub(crate) input: StartInput,
    pub(crate) report: Report,
    pub(crate) finding: Finding,
}

/// How long a start is followed when nobody says, s.
pub(crate) fn patience_s(line: &Line, input: &StartInput) -> f64 {
    let modules = &input.line.modules;
    let boots_s: f64 = modules.iter().map(|m| m.boot_s).sum();
    let held_s = modules
        .iter()
        .map(|m| m.not_before_s)
        .fold(0.0_f64, f64::max);
    let charge_c: f64 = {
        let farads: f64 = modules.iter().map(|m| m.capacitance_f).sum();
        let volts = line
            .supplies
            .iter()
            .map(|s| s.voltage_v.si)
            .fold(0.0_f64, f64::max);
        farads * volts
    };
    let limit_a = line
        .supplies
        .iter()
        .filter_map(|s| s.current_limit_a)
        .map(|q| q.si)
        .fold(f64::INFINITY, f64::min);
    (SHORTEST_S + PATIENCE * (boots_s + held_s + charge_c / limit_a)).min(LONGEST_S)
}

pub(crate) fn settings(longest_s: f64) -> Settings {
    Settings {
        longest_s,
        trace_points: TRACE_POINTS,
        most_events: MOST_EVENTS,
    }
}

/// The input of a start, if the plan says enough.
pub(crate) fn ready(line: &Line, contacts: Contacts) -> Result<StartInput, StartError> {
    let input = startup(line, contacts)?;
    if !input.unknowns.is_empty() {
        return Err(StartError::Open(input.unknowns));
    }
    if input.line.modules.is_empty() && input.resistors.is_empty() && input.unfed.is_empty() {
        return Err(StartError::Nothing);
    }
    Ok(input)
}

/// With the supply's name where the core knows only a number.
pub(crate) fn named(line: &Line, input: &StartInput, error: StartupError) -> StartError {
    match error {
        StartupError::IdealInrush { source_index, .. } => StartError::IdealInrush {
            supply: format!("supply.{}", line.supplies[input.sources[source_index]].id),
        },
        other => StartError::Core(other),
    }
}

/// Follows a start for at most `longest_s`, or as long as its boots and capacitors may take.
pub(crate) fn follow(
    line: &Line,
    contacts: Contacts,
    longest_s: Option<f64>,
    memo: &Memo,
) -> Result<Followed, StartError> {
    let input = ready(line, contacts)?;
    let longest_s = longest_s.unwrap_or_else(|| patience_s(line, &input));
    let report = at_once(&input.line, &settings(longest_s), memo);
    let report = report.as_ref().clone();
    let report = report.map_err(|e| named(line, &input, e))?;
    let finding = finding(line, &input, &report).map_err(|e| named(line, &input, e))?;
    Ok(Followed {
        input,
        report,
        finding,
    })
}

/// Switches a line on, with new or aged contacts, and follows it for at most `longest_s` seconds (above zero, at most 1e6;
/// as long as boots and capacitors may take, when not given).
///
/// # Errors
/// [`StartError`].
pub fn start(line: &Line, contacts: Contacts, longest_s: Option<f64>) -> Result<Start, StartError> {
    let memo = Memo::with_room(0);
    let followed = follow(line, contacts, longest_s, &memo)?;
    let remedy = match followed.report.outcome {
        Outcome::Unsettled { .. } => None,
        _ if followed.finding.starts => None,
        _ => Some(remedy(line, &memo)?.told_with(line, &memo)),
    };
    let ohms = ohms(line, contacts, &followed, &memo)?;
    let Followed {
        input,
        report,
        finding,
    } = followed;
    let time_s = report.trace.time_s.clone();
    let path = |i: usize| line.module_path(input.modules[i]);
    let supply = |i: usize| format!("supply.{}", line.supplies[input.sources[i]].id);
    let modules = modules(&input, &report, &path);
    let first_on_s = report
        .modules
        .iter()
        .filter_map(|m| m.on_s.first().copied())
        .fold(f64::INFINITY, f64::min);
    let supplies = (0..input.sources.len())
        .map(|i| {
            let current_a = report.trace.source_currents_a[i].clone();
            // The first of several that are equal.
            let peak = (0..time_s.len())
                .rev()
                .max_by(|a, b| current_a[*a].total_cmp(&current_a[*b]));
            let inrush_a = time_s
                .iter()
                .zip(&current_a)
                .take_while(|(at_s, _)| **at_s < first_on_s)
                .map(|(_, a)| *a)
                .fold(0.0_f64, f64::max);
            StartSupply {
                path: supply(i),
                open_v: input.line.network.sources[i].voltage_v,
                limit_a: input.line.network.sources[i].current_limit_a,
                peak_a: report.peak_currents_a[i],
                peak_at_s: peak.map_or(0.0, |k| time_s[k]),
                inrush_a,
                end_a: report.source_currents_a[i],
                left_limit_s: report.left_limit_s[i],
                backfed: report.backfed.contains(&i),
                current_a,
            }
        })
        .collect();
    let ready_s = finding.starts.then(|| ready_s(line, &input, &report));
    Ok(Start {
        contacts,
        outcome: finding.word,
        told: finding.why,
        remedy,
        ohms,
        ready_s,
        end_s: report.end_s,
        events: events(&report, &input, &path, &supply),
        alike_s: report
            .events
            .iter()
            .filter_map(|e| match e.kind {
                EventKind::Skipped { lasting_s, .. } => Some((e.at_s, e.at_s + lasting_s)),
                _ => None,
            })
            .collect(),
        modules,
        supplies,
        time_s,
    })
}

fn modules(
    input: &StartInput,
    report: &Report,
    path: &dyn Fn(usize) -> String,
) -> Vec<StartModule> {
    let time_s = &report.trace.time_s;
    input
        .line
        .modules
        .iter()
        .zip(&report.modules)
        .enumerate()
        .map(|(i, (module, record))| {
            let (on_v, off_v, lock_out) = match module.input {
                power::startup::Input::LockOut { on_v, off_v } => (on_v, off_v, true),
                power::startup::Input::Bare { minimum_v } => (minimum_v, minimum_v, false),
            };
            let voltage_v = report.trace.voltages_v[module.node].clone();
            let seen_s = first_above(time_s, &voltage_v, on_v);
            // A module that is not held off switches on the instant it gets there.
            let reached_s = match record.on_s.first() {
                Some(on_s) if module.not_before_s == 0.0 => Some(*on_s),
                Some(on_s) => Some(seen_s.map_or(*on_s, |s| s.min(*on_s))),
                None => seen_s,
            };
            StartModule {
                path: path(i),
                on_v,
                off_v,
                lock_out,
                wakes_after_s: module.not_before_s,
                capacitance_f: module.capacitance_f,
                boot_power_w: module.boot_power_w,
                boot_s: module.boot_s,
                running_power_w: module.running_power_w,
                reached_s,
                switched_on_s: record.on_s.clone(),
                fell_out_s: record.off_s.clone(),
                booted_s: record.boot_end_s,
                runs: record.phase == Phase::Running,
                end_v: record.voltage_v,
                voltage_v,
            }
        })
        .collect()
}

/// When the last module had booted, and the last that is a resistor and nothing else had come to its lowest voltage for good (to
/// the straight line between two samples), s.
pub(crate) fn ready_s(line: &Line, input: &StartInput, report: &Report) -> f64 {
    let booted = report.modules.iter().filter_map(|m| m.boot_end_s);
    let time_s = &report.trace.time_s;
    let resistors = input.resistors.iter().filter_map(|(ix, node)| {
        let minimum_v = line.modules[ix.0].input.as_ref()?.minimum_v.si;
        let voltage_v = &report.trace.voltages_v[*node];
        let below = voltage_v.iter().rposition(|v| *v < minimum_v)?;
        first_above(&time_s[below..], &voltage_v[below..], minimum_v)
    });
    booted.chain(resistors).fold(0.0_f64, f64::max)
}

/// When a sampled voltage first comes to a level, on the straight line between two samples.
fn first_above(time_s: &[f64], voltage_v: &[f64], level_v: f64) -> Option<f64> {
    let k = voltage_v.iter().position(|v| *v >= level_v)?;
    if k == 0 {
        return Some(time_s[0]);
    }
    let (before_v, after_v) = (voltage_v[k - 1], voltage_v[k]);
    let share = (level_v - before_v) / (after_v - before_v);
    Some(time_s[k - 1] + share * (time_s[k] - time_s[k - 1]))
}

fn events(
    report: &Report,
    input: &StartInput,
    path: &dyn Fn(usize) -> String,
    supply: &dyn Fn(usize) -> String,
) -> Vec<StartEvent> {
    let event = |kind: &EventKind| match *kind {
        EventKind::On { module } => {
            let m = &input.line.modules[module];
            let what = if m.boot_s > 0.0 {
                format!(
                    "switches on and boots, {:.2} W for {} s",
                    m.boot_power_w, m.boot_s
                )
            } else {
                "switches on".to_owned()
            };
            (path(module), what)
        }
        EventKind::Off { module } => (path(module), "falls out".to_owned()),
        EventKind::Collapse { module } => (
            path(module),
            "its voltage collapses: no operating point is left".to_owned(),
        ),
        EventKind::Flutter { module } => (
            path(module),
            "switches on and off without end, as nothing slows it down: it has no input capacitor"
                .to_owned(),
        ),
        EventKind::Skipped {
            module,
            periods,
            lasting_s,
        } => (
            path(module),
            format!("goes on like this {periods:.0} times, {lasting_s:.3} s"),
        ),
        EventKind::BootEnd { module } => (
            path(module),
            format!(
                "has booted and runs, {:.2} W",
                input.line.modules[module].running_power_w
            ),
        ),
        EventKind::LimitReached { source } => {
            (supply(source), "comes to its current limit".to_owned())
        }
        EventKind::LimitLeft { source } => (supply(source), "leaves its current limit".to_owned()),
    };
    report
        .events
        .iter()
        .map(|e| {
            let (subject, what) = event(&e.kind);
            StartEvent {
                at_s: e.at_s,
                subject,
                what,
            }
        })
        .collect()
}
