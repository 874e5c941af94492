//! What a start came to.

use crate::startup::circuit::{Circuit, Phase, Shortfall};
use crate::startup::line::{Input, Line, Settings, StartupError};
use crate::startup::record::{Event, EventKind, Ledger, Trace};
use crate::startup::run::{Effort, End, Run};
use crate::topology::Method;

/// Share of the unloaded voltage that counts as reached.
const REACHED: f64 = 0.9;
/// A start that runs out of time or switchings hiccups if a module has switched off at least this often.
const OFTEN: usize = 3;

/// A module that has started.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// The module.
    pub module: usize,
    /// When it switched on for the last time, s.
    pub on_s: f64,
    /// When it had booted, s.
    pub boot_end_s: f64,
}

/// How a start ends, in order of what is told first.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// Every module that is not held off for good runs, and the line is at rest.
    Started {
        /// Each of them, by module.
        modules: Vec<Start>,
    },
    /// A module switches on and off without end.
    Hiccup {
        /// The module that falls out first in the period.
        module: usize,
        /// Time after which all repeats, s; zero for a module without capacitor, which nothing slows down.
        period_s: f64,
        /// When this module switched on for the last time before it fell out, s.
        on_s: f64,
        /// When it then fell out, s.
        off_s: f64,
        /// Whether the state of the whole line came back to itself (within 1e-5). If not, the time or the
        /// switchings were up, and the period is the time between the module's last two falls.
        repeats: bool,
    },
    /// A module without lock-out stays below the voltage at which its converter regulates.
    LatchLow {
        /// The module.
        module: usize,
        /// Where it stays, V.
        voltage_v: f64,
    },
    /// The modules could all run, and at least one of those that do not start could boot beside those that run, but
    /// booting at the same time they stand in each other's way.
    Deadlock {
        /// The modules that do not start.
        modules: Vec<usize>,
        /// Largest share of their boot power that could be carried at once.
        carried_share: f64,
        /// What keeps it from being 1.
        shortfall: Shortfall,
        /// How it shows: a hiccup, a latch or a module that falls out.
        seen: Box<Outcome>,
    },
    /// A module was on, fell out and does not come back.
    FallsOut {
        /// The module.
        module: usize,
        /// When it fell out for the last time, s.
        off_s: f64,
        /// Where its voltage stays, V.
        voltage_v: f64,
        /// What it would need to switch on, V.
        on_v: f64,
    },
    /// A module never sees the voltage at which it switches on.
    NeverReaches {
        /// The module.
        module: usize,
        /// Where its voltage stays, V.
        voltage_v: f64,
        /// What it would need to switch on, V.
        on_v: f64,
    },
    /// The time was up before the line came to rest.
    Unsettled {
        /// When the run was left, s.
        at_s: f64,
    },
}

/// A module's part in a start.
#[derive(Clone, Debug, PartialEq)]
pub struct ModuleRecord {
    /// When it switched on, s, each time.
    pub on_s: Vec<f64>,
    /// When it fell out, s, each time.
    pub off_s: Vec<f64>,
    /// When it last had booted, s.
    pub boot_end_s: Option<f64>,
    /// What it does at the end.
    pub phase: Phase,
    /// Its voltage at the end, V.
    pub voltage_v: f64,
}

/// A start, followed to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What it came to.
    pub outcome: Outcome,
    /// Each module's part, in order of modules.
    pub modules: Vec<ModuleRecord>,
    /// Voltage of each node at the end, V.
    pub voltages_v: Vec<f64>,
    /// Current of each source at the end, A.
    pub source_currents_a: Vec<f64>,
    /// When the run ended, s.
    pub end_s: f64,
    /// For each source its largest current, A, at ends of steps and after switchings.
    pub peak_currents_a: Vec<f64>,
    /// For each source when it first left its current limit, s.
    pub left_limit_s: Vec<Option<f64>>,
    /// Sources that took current in at some time. A supply behind a diode would give nothing instead.
    pub backfed: Vec<usize>,
    /// For each node when it first came to 90 % of its voltage without modules, s.
    pub reached_s: Vec<Option<f64>>,
    /// All switchings in order.
    pub events: Vec<Event>,
    /// Samples for a picture.
    pub trace: Trace,
    /// Energy and charge.
    pub ledger: Ledger,
    /// Steps taken.
    pub effort: Effort,
}

/// Switches a line on and follows it until it is at rest, repeats itself, or the time is up.
///
/// Sources come on at full voltage at time zero, capacitors empty. Errors: a wrong line or setting; more switchings or
/// steps than allowed; a step that shrinks to nothing.
/// Method and sources: `docs/method/start-up.md`.
pub fn start_up(line: &Line, settings: &Settings) -> Result<Report, StartupError> {
    start_up_with_method(line, settings, Method::Automatic)
}

/// As [`start_up`], with a choice of elimination.
pub fn start_up_with_method(
    line: &Line,
    settings: &Settings,
    method: Method,
) -> Result<Report, StartupError> {
    settings.check()?;
    let circuit = Circuit::plan(line, method)?;
    let mut run = Run::new(&circuit, settings, circuit.marks_v(REACHED));
    let end = run.follow()?;
    let often = |module| run.falls_of(module) >= OFTEN;
    if end == End::SwitchingsAreUp && !(0..circuit.modules.len()).any(often) {
        return Err(StartupError::TooManyEvents {
            most: settings.most_events,
            at_s: run.at_s,
        });
    }
    Ok(report(&circuit, run, end))
}

fn report(circuit: &Circuit, mut run: Run<'_>, end: End) -> Report {
    let modules = module_records(circuit, &run);
    let outcome = outcome(circuit, &run, end, &modules);
    let joined = &circuit.topology.joined;
    let mut left_limit_s = vec![None; circuit.sources.len()];
    for event in &run.record.events {
        if let EventKind::LimitLeft { source } = event.kind {
            left_limit_s[source].get_or_insert(event.at_s);
        }
    }
    let mut into_a = vec![0.0; circuit.nodes()];
    circuit.charging_currents(&run.w.voltage_v, &run.w, &mut into_a);
    Report {
        outcome,
        modules,
        voltages_v: joined.iter().map(|&i| run.w.voltage_v[i]).collect(),
        source_currents_a: (0..circuit.sources.len())
            .map(|i| circuit.source_current_a(i, &run.w.voltage_v, &into_a, &run.w))
            .collect(),
        end_s: run.at_s,
        left_limit_s,
        backfed: (0..circuit.sources.len())
            .filter(|&i| run.record.backfed[i])
            .collect(),
        reached_s: joined.iter().map(|&i| run.record.marked_s[i]).collect(),
        trace: run.record.trace(circuit),
        ledger: run.record.close(circuit, &run.w.voltage_v),
        peak_currents_a: run.record.peak_a,
        events: run.record.events,
        effort: run.effort,
    }
}

fn module_records(circuit: &Circuit, run: &Run<'_>) -> Vec<ModuleRecord> {
    let mut records: Vec<ModuleRecord> = (0..circuit.modules.len())
        .map(|i| ModuleRecord {
            on_s: Vec::new(),
            off_s: Vec::new(),
            boot_end_s: None,
            phase: run.phases[i],
            voltage_v: run.w.voltage_v[circuit.module_at[i]],
        })
        .collect();
    for event in &run.record.events {
        match event.kind {
            EventKind::On { module } => records[module].on_s.push(event.at_s),
            EventKind::Off { module } => records[module].off_s.push(event.at_s),
            EventKind::BootEnd { module } => records[module].boot_end_s = Some(event.at_s),
            _ => {}
        }
    }
    records
}

fn outcome(circuit: &Circuit, run: &Run<'_>, end: End, records: &[ModuleRecord]) -> Outcome {
    let wanted: Vec<usize> = (0..circuit.modules.len())
        .filter(|&i| !circuit.modules[i].held_for_good())
        .collect();
    let (seen, stuck) = match end {
        End::Recurs { since_s } => hiccup_that_repeats(records, since_s, run.at_s),
        End::TimeIsUp | End::SwitchingsAreUp => match hiccup_so_far(records, &run.record.events) {
            Some(hiccup) => hiccup,
            None => return Outcome::Unsettled { at_s: run.at_s },
        },
        End::AtRest => match at_rest(circuit, run, records, &wanted) {
            Ok(modules) => return Outcome::Started { modules },
            Err(stuck) => stuck,
        },
    };
    if matches!(seen, Outcome::NeverReaches { .. }) {
        return seen;
    }
    let off = |i: &usize| !run.phases[*i].is_on();
    let stuck: Vec<usize> = wanted
        .iter()
        .copied()
        .filter(|i| stuck.contains(i) || off(i))
        .collect();
    deadlock(circuit, &wanted, &stuck).map_or(seen.clone(), |(carried_share, shortfall)| {
        Outcome::Deadlock {
            modules: stuck,
            carried_share,
            shortfall,
            seen: Box::new(seen),
        }
    })
}

/// Whether modules that do not start stand in each other's way: all could run, at least one of them could boot beside
/// those that run, but they cannot all boot at the same time. Then the share that could, and what is missing.
fn deadlock(circuit: &Circuit, wanted: &[usize], stuck: &[usize]) -> Option<(f64, Shortfall)> {
    if stuck.len() < 2 {
        return None;
    }
    let modules = circuit.modules.len();
    let with = |of_stuck: &dyn Fn(usize) -> Phase| -> Vec<Phase> {
        let phase = |i: usize| match (stuck.contains(&i), wanted.contains(&i)) {
            (true, _) => of_stuck(i),
            (false, true) => Phase::Running,
            (false, false) => Phase::Off,
        };
        (0..modules).map(phase).collect()
    };
    let carried = |phases: &[Phase], scaled: &[bool]| circuit.carried_share(phases, scaled);
    let all = vec![true; modules];
    let alone = |&only: &usize| {
        let phase = |i| {
            if i == only {
                Phase::Booting
            } else {
                Phase::Off
            }
        };
        carried(&with(&phase), &all).1.is_none()
    };
    if carried(&with(&|_| Phase::Running), &all).1.is_some() || !stuck.iter().any(alone) {
        return None;
    }
    let scaled: Vec<bool> = (0..modules).map(|i| stuck.contains(&i)).collect();
    let (carried_share, shortfall) = carried(&with(&|_| Phase::Booting), &scaled);
    shortfall.map(|shortfall| (carried_share, shortfall))
}

/// The modules that fall out at or after `since_s`, each with the first time.
fn falling_since(records: &[ModuleRecord], since_s: f64) -> Vec<(usize, f64)> {
    let first = |i: usize| {
        let off_s = records[i].off_s.iter().find(|&&off_s| off_s >= since_s);
        off_s.map(|&off_s| (i, off_s))
    };
    (0..records.len()).filter_map(first).collect()
}

/// The period that began at `since_s`, and the modules that fall out in it.
fn hiccup_that_repeats(
    records: &[ModuleRecord],
    since_s: f64,
    until_s: f64,
) -> (Outcome, Vec<usize>) {
    let falling = falling_since(records, since_s);
    let &(module, _) = falling
        .iter()
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .expect("a module that switched on twice has fallen out between");
    let seen = hiccup(records, module, until_s - since_s, true);
    (seen, falling.iter().map(|&(i, _)| i).collect())
}

/// Without a period that is known to repeat: of the modules that have fallen out often, the one whose last two falls
/// came last, and those that fell out between the two.
fn hiccup_so_far(records: &[ModuleRecord], events: &[Event]) -> Option<(Outcome, Vec<usize>)> {
    let last_two = |i: usize| match *records[i].off_s.as_slice() {
        [.., before_s, last_s] if records[i].off_s.len() >= OFTEN => Some((i, before_s, last_s)),
        _ => None,
    };
    let (module, before_s, last_s) = (0..records.len())
        .filter_map(last_two)
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let falling = falling_since(records, before_s);
    let skipped_s: f64 = events
        .iter()
        .filter(|event| event.at_s >= before_s && event.at_s < last_s)
        .map(|event| match event.kind {
            EventKind::Skipped { lasting_s, .. } => lasting_s,
            _ => 0.0,
        })
        .sum();
    let seen = hiccup(records, module, last_s - before_s - skipped_s, false);
    Some((seen, falling.iter().map(|&(i, _)| i).collect()))
}

fn hiccup(records: &[ModuleRecord], module: usize, period_s: f64, repeats: bool) -> Outcome {
    let record = &records[module];
    let off_s = *record.off_s.last().expect("the module fell out");
    let on_s = record.on_s.iter().rfind(|&&on_s| on_s <= off_s);
    Outcome::Hiccup {
        module,
        period_s,
        on_s: *on_s.expect("a module that fell out was on"),
        off_s,
        repeats,
    }
}

fn at_rest(
    circuit: &Circuit,
    run: &Run<'_>,
    records: &[ModuleRecord],
    wanted: &[usize],
) -> Result<Vec<Start>, (Outcome, Vec<usize>)> {
    let stuck: Vec<usize> = wanted
        .iter()
        .copied()
        .filter(|&i| records[i].phase != Phase::Running)
        .collect();
    let find = |test: &dyn Fn(usize) -> bool| stuck.iter().copied().find(|&i| test(i));
    let on_v = |i: usize| circuit.modules[i].on_v();
    let voltage_v = |i: usize| records[i].voltage_v;
    let bare = |i: usize| matches!(circuit.modules[i].input, Input::Bare { .. });
    let seen = if let Some(module) = find(&|i| run.flutters[i]) {
        Outcome::Hiccup {
            module,
            period_s: 0.0,
            on_s: run.at_s,
            off_s: run.at_s,
            repeats: true,
        }
    } else if let Some(module) = find(&bare) {
        Outcome::LatchLow {
            module,
            voltage_v: voltage_v(module),
        }
    } else if let Some(module) = find(&|i| !records[i].off_s.is_empty()) {
        Outcome::FallsOut {
            module,
            off_s: records[module].off_s[records[module].off_s.len() - 1],
            voltage_v: voltage_v(module),
            on_v: on_v(module),
        }
    } else if let Some(&module) = stuck
        .iter()
        .min_by(|&&a, &&b| (voltage_v(a) / on_v(a)).total_cmp(&(voltage_v(b) / on_v(b))))
    {
        Outcome::NeverReaches {
            module,
            voltage_v: voltage_v(module),
            on_v: on_v(module),
        }
    } else {
        let start = |&i: &usize| Start {
            module: i,
            on_s: *records[i]
                .on_s
                .last()
                .expect("a running module was switched on"),
            boot_end_s: records[i].boot_end_s.expect("a running module has booted"),
        };
        return Ok(wanted.iter().map(start).collect());
    };
    Err((seen, stuck))
}
