//! What a start came to, in the words of whoever has to mend it.

use plan::Line;
use power::startup::{
    AtOnce, Input, Outcome, Phase, Report, Shortfall, StartupError, booting_at_once,
    running_at_once,
};

use crate::input::StartInput;

/// An outcome with the value that tells how far it is from a start.
pub(crate) struct Finding {
    pub(crate) starts: bool,
    pub(crate) word: &'static str,
    pub(crate) subject: String,
    pub(crate) value: f64,
    pub(crate) limit: f64,
    pub(crate) unit: &'static str,
    pub(crate) why: String,
}

/// Names of the plan for the numbers of the core.
pub(crate) struct Names<'a> {
    pub(crate) line: &'a Line,
    pub(crate) input: &'a StartInput,
}

impl Names<'_> {
    pub(crate) fn module(&self, i: usize) -> String {
        self.line.module_path(self.input.modules[i])
    }

    pub(crate) fn modules(&self, all: &[usize]) -> String {
        let names: Vec<String> = all.iter().map(|i| self.module(*i)).collect();
        listed(&names)
    }

    /// What a module does when its voltage is too low.
    fn lowest(&self, i: usize) -> String {
        match self.input.line.modules[i].input {
            Input::LockOut { off_v, .. } => {
                format!("the {off_v} V at which its lock-out switches off")
            }
            Input::Bare { minimum_v } => format!("the {minimum_v} V that it needs"),
        }
    }

    pub(crate) fn shortfall(&self, shortfall: Shortfall) -> String {
        match shortfall {
            Shortfall::Line => {
                "the line itself is too thin or too long for that: more collapses, whatever the supply could give"
                    .to_owned()
            }
            Shortfall::Supply { source } => {
                let supply = &self.line.supplies[self.input.sources[source]];
                let limit = supply
                    .current_limit_a
                    .map_or_else(String::new, |q| format!(", {} A", q.si));
                format!("the current limit of supply.{}{limit}, is short", supply.id)
            }
            Shortfall::Voltage { module } => format!(
                "more would pull {} below {}",
                self.module(module),
                self.lowest(module)
            ),
        }
    }

    /// What the line carries of what is asked, if not all.
    pub(crate) fn carries(&self, of_what: &str, carried: &AtOnce) -> Option<String> {
        carried.shortfall.map(|shortfall| {
            format!(
                "of {of_what} the line carries {:.1} %: {}",
                (1000.0 * carried.share).floor() / 10.0,
                self.shortfall(shortfall)
            )
        })
    }
}

/// "a, b and c".
#[must_use]
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

/// A time as it is told, s.
pub(crate) fn seconds(s: f64) -> String {
    if s >= 100.0 {
        format!("{s:.1} s")
    } else if s >= 1.0 {
        format!("{s:.2} s")
    } else {
        format!("{:.2} ms", 1000.0 * s)
    }
}

/// What a report says. Errors: as the core's, from the questions that are asked of the line besides.
pub(crate) fn finding(
    line: &Line,
    input: &StartInput,
    report: &Report,
) -> Result<Finding, StartupError> {
    let names = Names { line, input };
    if let Some(unfed) = input.unfed.first() {
        return Ok(voltage(
            "never-reaches",
            line.module_path(*unfed),
            (
                0.0,
                line.modules[unfed.0]
                    .input
                    .as_ref()
                    .map_or(f64::NAN, |i| i.minimum_v.si),
            ),
            "no conductor leads to it from a supply".to_owned(),
        ));
    }
    if let Some(low) = low_resistor(line, input, report) {
        return Ok(low);
    }
    Ok(match &report.outcome {
        Outcome::Started { modules } => {
            let all = modules.len() + input.resistors.len();
            let last = modules
                .iter()
                .max_by(|a, b| a.boot_end_s.total_cmp(&b.boot_end_s));
            Finding {
                starts: true,
                word: "started",
                subject: "the line".to_owned(),
                value: all as f64,
                limit: all as f64,
                unit: "modules that run",
                why: last.map_or_else(
                    || "nothing has to boot".to_owned(),
                    |last| {
                        format!(
                            "the last to have booted is {}, after {}{}",
                            names.module(last.module),
                            seconds(last.boot_end_s),
                            falls(&names, report)
                        )
                    },
                ),
            }
        }
        Outcome::Hiccup {
            module,
            period_s,
            on_s,
            off_s,
            repeats,
        } => {
            let mut why = if *period_s == 0.0 {
                format!(
                    "{} hiccups: it switches on and off without end, and no input capacitor slows it down",
                    names.module(*module)
                )
            } else {
                format!(
                    "{} hiccups: it switches on, falls out {} later, and does so {} every {}",
                    names.module(*module),
                    seconds(off_s - on_s),
                    if *repeats {
                        "without end,"
                    } else {
                        "again and again, of late"
                    },
                    seconds(*period_s)
                )
            };
            why = format!("{why}; {}", reason(&names, report)?);
            running("hiccup", &names, report, why)
        }
        Outcome::LatchLow { module, voltage_v } => voltage(
            "latch-low",
            names.module(*module),
            (*voltage_v, minimum_v(input, *module)),
            format!(
                "it latches low: without a lock-out its converter pulls as hard as it can at {voltage_v:.2} V and so holds the voltage below {}; {}",
                names.lowest(*module),
                reason(&names, report)?
            ),
        ),
        Outcome::Deadlock {
            modules,
            carried_share,
            shortfall,
            seen,
        } => Finding {
            starts: false,
            word: "deadlock",
            subject: names.modules(modules),
            value: 100.0 * carried_share,
            limit: 100.0,
            unit: "% of their boot power together",
            why: format!(
                "they boot at the same time and stand in each other's way, though all could run: of their boot power together the line carries {:.1} %: {}; {}",
                (1000.0 * carried_share).floor() / 10.0,
                names.shortfall(*shortfall),
                shows(&names, seen)
            ),
        },
        Outcome::FallsOut {
            module,
            off_s,
            voltage_v,
            on_v,
        } => voltage(
            "falls-out",
            names.module(*module),
            (*voltage_v, *on_v),
            format!(
                "it was on, fell out after {} and does not come back: its voltage stays at {voltage_v:.2} V, and it switches on at {on_v} V; {}",
                seconds(*off_s),
                reason(&names, report)?
            ),
        ),
        Outcome::NeverReaches {
            module,
            voltage_v,
            on_v,
        } => {
            let running = report.modules.iter().filter(|m| m.phase.is_on()).count();
            let others = if running == 0 {
                "though nothing else is on".to_owned()
            } else {
                format!("while {running} of the others are on")
            };
            voltage(
                "never-reaches",
                names.module(*module),
                (*voltage_v, *on_v),
                format!(
                    "it never comes to the {on_v} V at which it switches on: its voltage stays at {voltage_v:.2} V, {others}"
                ),
            )
        }
        Outcome::Unsettled { at_s } => Finding {
            why: format!(
                "not at rest after {}: {} modules run so far",
                seconds(*at_s),
                runs(report)
            ),
            ..running("unsettled", &names, report, String::new())
        },
    })
}

/// Modules that fell out before they ran.
fn falls(names: &Names<'_>, report: &Report) -> String {
    // Of periods that are alike the core tells the first and the last.
    let skipped = report
        .events
        .iter()
        .any(|e| matches!(e.kind, power::startup::EventKind::Skipped { .. }));
    let fell: Vec<String> = (0..report.modules.len())
        .filter_map(|i| {
            let times = match report.modules[i].off_s.len() {
                0 => return None,
                _ if skipped => "again and again".to_owned(),
                1 => "once".to_owned(),
                2 => "twice".to_owned(),
                n => format!("{n} times"),
            };
            Some(format!("{} {times}", names.module(i)))
        })
        .collect();
    if fell.is_empty() {
        String::new()
    } else {
        format!("; on the way there fell out: {}", listed(&fell))
    }
}

fn runs(report: &Report) -> usize {
    report
        .modules
        .iter()
        .filter(|m| m.phase == Phase::Running)
        .count()
}

/// A finding by how many modules run.
fn running(word: &'static str, names: &Names<'_>, report: &Report, why: String) -> Finding {
    let resistors = names.input.resistors.len();
    Finding {
        starts: false,
        word,
        subject: "the line".to_owned(),
        value: (runs(report) + resistors) as f64,
        limit: (report.modules.len() + resistors) as f64,
        unit: "modules that run",
        why,
    }
}

/// A finding by a voltage that is too low.
fn voltage(
    word: &'static str,
    subject: String,
    (value, limit): (f64, f64),
    why: String,
) -> Finding {
    Finding {
        starts: false,
        word,
        subject,
        value,
        limit,
        unit: "V",
        why,
    }
}

/// A module that is only a resistor and has too little voltage once the others are at rest.
fn low_resistor(line: &Line, input: &StartInput, report: &Report) -> Option<Finding> {
    if !matches!(report.outcome, Outcome::Started { .. }) {
        return None;
    }
    input.resistors.iter().find_map(|(ix, node)| {
        let minimum_v = line.modules[ix.0].input.as_ref()?.minimum_v.si;
        let voltage_v = report.voltages_v[*node];
        (voltage_v < minimum_v).then(|| {
            voltage(
                "never-reaches",
                line.module_path(*ix),
                (voltage_v, minimum_v),
                format!(
                    "with all the others running its voltage stays at {voltage_v:.2} V, below the {minimum_v} V that it needs"
                ),
            )
        })
    })
}

fn minimum_v(input: &StartInput, module: usize) -> f64 {
    match input.line.modules[module].input {
        Input::LockOut { on_v, .. } => on_v,
        Input::Bare { minimum_v } => minimum_v,
    }
}

/// How a deadlock is seen.
fn shows(names: &Names<'_>, seen: &Outcome) -> String {
    match seen {
        Outcome::Hiccup {
            module, period_s, ..
        } if *period_s == 0.0 => {
            format!(
                "it shows as {} switching on and off without end",
                names.module(*module)
            )
        }
        Outcome::Hiccup {
            module, period_s, ..
        } => format!(
            "it shows as {} falling out and starting again every {}",
            names.module(*module),
            seconds(*period_s)
        ),
        Outcome::LatchLow { module, voltage_v } => {
            format!(
                "it shows as {} held at {voltage_v:.2} V",
                names.module(*module)
            )
        }
        Outcome::FallsOut {
            module, voltage_v, ..
        } => format!(
            "it shows as {} falling out and staying at {voltage_v:.2} V",
            names.module(*module)
        ),
        Outcome::NeverReaches { module, .. } => {
            format!("it shows as {} never switching on", names.module(*module))
        }
        Outcome::Started { .. } | Outcome::Deadlock { .. } | Outcome::Unsettled { .. } => {
            "it shows as a line that does not come to rest".to_owned()
        }
    }
}

/// What is short at rest: of what all draw while they run, else of what all draw while they boot.
fn reason(names: &Names<'_>, report: &Report) -> Result<String, StartupError> {
    let line = &names.input.line;
    if let Some(short) = names.carries("what they draw when all run", &running_at_once(line)?) {
        return Ok(short);
    }
    let booting = booting_at_once(line)?;
    if let Some(short) = names.carries("what they draw when all boot at once", &booting) {
        return Ok(short);
    }
    let limited = report.left_limit_s.iter().any(Option::is_some)
        || report
            .events
            .iter()
            .any(|e| matches!(e.kind, power::startup::EventKind::LimitReached { .. }));
    Ok(if limited {
        "at rest the line would carry them all, booting too: the supply at its current limit does not lift them over the first moment".to_owned()
    } else {
        "at rest the line would carry them all, booting too: the voltage dips too low on the way"
            .to_owned()
    })
}
