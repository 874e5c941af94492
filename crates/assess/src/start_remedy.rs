//! The delays with which a line starts that does not start by itself, or why there are none.
//!
//! The core finds an order and instants for one state of the contacts. Here the instants become times that a person would
//! write, modules that can start together are put together, and what is told has been followed with new and with aged
//! contacts.

use plan::Line;
use power::startup::{
    AtOnce, Input, NoOrder, Outcome, Report, Settings, Staged, StartupError, Stop,
};

use crate::cure::{self, Change};
use crate::input::{Contacts, StartInput};
use crate::locked_out;
use crate::memo::Memo;
use crate::start::{StartError, named, patience_s, ready, settings};
use crate::start_runs::{at_once, in_turn};
use crate::start_words::{Names, listed, seconds};

/// Factors on the waits between modules, tried in turn until the line starts with new and with aged contacts.
const STRETCHES: [f64; 4] = [1.0, 1.5, 2.0, 4.0];

/// A lock-out that is proposed opens at this share of the supply's voltage: high enough that the capacitors are full, low enough
/// for what the line loses. A choice of ours.
pub(crate) const OPENS_AT: f64 = 0.8;

/// A start in which no module falls out has two switchings of each module, and a few of a supply for each of them. One with more
/// is no start of this kind.
const SWITCHINGS_EACH: usize = 8;

/// Both states of the contacts.
#[derive(Clone)]
struct Both<'m> {
    inputs: [StartInput; 2],
    settings: Settings,
    memo: &'m Memo,
}

/// Delays of each module with which the line starts, s, and when the last has then booted, s.
type Delays = (Vec<f64>, f64);

/// What starts a line.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Helps {
    /// In a sentence, or why nothing does.
    pub(crate) told: String,
    /// What to write; nothing where nothing helps.
    pub(crate) changes: Vec<Change>,
}

impl Helps {
    fn nothing(why: impl Into<String>) -> Helps {
        Helps {
            told: why.into(),
            changes: Vec::new(),
        }
    }

    /// The keys to write, each with its value.
    pub(crate) fn keys(&self, line: &Line) -> Vec<(String, String)> {
        self.changes.iter().map(|c| c.key(line)).collect()
    }

    /// In a sentence, with what stays broken with it.
    pub(crate) fn told_with(&self, line: &Line, memo: &Memo) -> String {
        match cure::beside(line, &self.changes, memo).filter(|_| !self.changes.is_empty()) {
            Some(beside) => format!("{}; {beside}", self.told),
            None => self.told.clone(),
        }
    }
}

/// What to write of a module, and in words.
struct Write {
    what: Change,
    told: String,
}

/// Which delays start the line, or which lock-outs with which delays, or why none do.
pub(crate) fn remedy(line: &Line, memo: &Memo) -> Result<Helps, StartError> {
    let both = both(line, memo)?;
    if !both.inputs[0].unfed.is_empty() {
        let why = "no order of starting helps a module without a conductor";
        return Ok(Helps::nothing(why));
    }
    if let Some(beyond) = beyond_the_supplies(line, &both.inputs[0]) {
        return Ok(Helps::nothing(beyond));
    }
    let why = match both.search(line)? {
        Ok((delays_s, ready_s)) => {
            return Ok(told(delays(line, &both.inputs[0], &delays_s), ready_s));
        }
        Err(why) => why,
    };
    let (locked, lock_outs) = both.with_lock_outs(line);
    let names = Names {
        line,
        input: &both.inputs[0],
    };
    if !lock_outs.is_empty()
        && let Ok((delays_s, ready_s)) = locked.search(line)?
    {
        let mut each = lock_outs;
        each.extend(delays(line, &locked.inputs[0], &delays_s));
        let found = told(each, ready_s);
        return Ok(Helps {
            told: format!("{why}{}; {}", bare(&names), found.told),
            ..found
        });
    }
    Ok(Helps::nothing(format!("{why}{}", bare(&names))))
}

/// Modules that want more than any supply gives, even unloaded.
fn beyond_the_supplies(line: &Line, input: &StartInput) -> Option<String> {
    let mut all = locked_out::beyond_the_supplies(line);
    all.retain(|b| input.modules.contains(&b.module));
    locked_out::told(line, &all)
        .map(|told| format!("{told}: no order of starting helps; lower the one or raise the other"))
}

/// Which delays let a line start without any module falling out, that starts although some do. `None` where none were found.
pub(crate) fn without_falls(line: &Line, memo: &Memo) -> Result<Option<Helps>, StartError> {
    let both = both(line, memo)?;
    let found = both.search(line)?.ok();
    Ok(found.map(|(delays_s, ready_s)| told(delays(line, &both.inputs[0], &delays_s), ready_s)))
}

fn both<'m>(line: &Line, memo: &'m Memo) -> Result<Both<'m>, StartError> {
    let inputs = [ready(line, Contacts::New)?, ready(line, Contacts::Aged)?];
    let longest_s = inputs
        .iter()
        .map(|input| {
            // A staged start takes the boots in turn, once more than a start at once.
            2.0 * patience_s(line, input)
        })
        .fold(0.0_f64, f64::max)
        .min(1e6);
    Ok(Both {
        inputs,
        settings: settings(longest_s),
        memo,
    })
}

/// The modules with lock-out one after another, the greatest surge first, each when the one before has booted.
fn by_surge(input: &StartInput) -> (Vec<usize>, Vec<f64>) {
    let modules = &input.line.modules;
    let mut order: Vec<usize> = (0..modules.len())
        .filter(|&i| matches!(modules[i].input, Input::LockOut { .. }))
        .collect();
    let surge_w = |i: usize| modules[i].boot_power_w - modules[i].running_power_w;
    order.sort_by(|&a, &b| surge_w(b).total_cmp(&surge_w(a)).then(a.cmp(&b)));
    let mut waits_s = vec![0.0];
    waits_s.extend(order.iter().map(|&i| modules[i].boot_s));
    waits_s.truncate(order.len());
    (order, waits_s)
}

/// The wait of each module of an order after the one before it; of the first, after the supplies.
fn waits_s(order: &[usize], not_before_s: &[f64]) -> Vec<f64> {
    let mut before_s = 0.0;
    order
        .iter()
        .map(|&m| {
            let wait_s = not_before_s[m] - before_s;
            before_s = not_before_s[m];
            wait_s
        })
        .collect()
}

impl<'m> Both<'m> {
    /// Delays with which the line starts in both states, or why there are none.
    fn search(&self, line: &Line) -> Result<Result<Delays, String>, StartError> {
        let mut found = Vec::new();
        for (input, contacts) in self.inputs.iter().zip(["new", "aged"]) {
            let names = Names { line, input };
            let staged = in_turn(&input.line, &self.settings, self.memo);
            let staged = staged.as_ref().clone();
            match staged.map_err(|e| named(line, input, e))? {
                Staged::NotNeeded { .. } => found.push(by_surge(input)),
                Staged::InOrder {
                    order,
                    not_before_s,
                    ..
                } => {
                    let waits_s = waits_s(&order, &not_before_s);
                    found.push((order, waits_s));
                }
                Staged::Fails { why, .. } => {
                    return Ok(Err(format!(
                        "no order of starting helps with {contacts} contacts: {}",
                        none(&names, &why)
                    )));
                }
            }
        }
        // An order of the aged contacts first: there the line carries least.
        for (order, waits_s) in found.iter().rev() {
            if let Some(delays) = self.delays(line, order, waits_s)? {
                return Ok(Ok(delays));
            }
        }
        Ok(Err(
            "an order of starting exists with new contacts and one with aged, but none was found that starts the line with both"
                .to_owned(),
        ))
    }

    /// The same with a lock-out for each module that has none, and what to write for that. It opens at a share of the lowest
    /// supply's voltage and closes at the lowest voltage of the input; a module for which that cannot be stays as it is.
    fn with_lock_outs(&self, line: &Line) -> (Both<'m>, Vec<Write>) {
        let mut locked = self.clone();
        let lowest_v = line
            .supplies
            .iter()
            .map(|s| s.voltage_v.si)
            .fold(f64::INFINITY, f64::min);
        let on_v = (OPENS_AT * lowest_v).floor();
        let mut each = Vec::new();
        for (i, ix) in self.inputs[0].modules.iter().enumerate() {
            let highest_v = line.modules[ix.0]
                .input
                .as_ref()
                .map_or(f64::NEG_INFINITY, |input| input.maximum_v.si);
            let Input::Bare { minimum_v } = self.inputs[0].line.modules[i].input else {
                continue;
            };
            if on_v <= minimum_v || on_v >= highest_v {
                continue;
            }
            for input in &mut locked.inputs {
                input.line.modules[i].input = Input::LockOut {
                    on_v,
                    off_v: minimum_v,
                };
            }
            let path = line.module_path(*ix);
            let what = Change::LockOut(*ix, on_v, minimum_v);
            let (_, value) = what.key(line);
            each.push(Write {
                told: format!("{path} `lock_out = {value}` in its input"),
                what,
            });
        }
        (locked, each)
    }

    /// Written delays in this order with which the line starts in both states, for as few modules as go, and when the last
    /// module has then booted.
    fn delays(
        &self,
        line: &Line,
        order: &[usize],
        waits_s: &[f64],
    ) -> Result<Option<Delays>, StartError> {
        let modules = self.inputs[0].line.modules.len();
        let mut found = None;
        for stretch in STRETCHES {
            let mut delays_s = vec![0.0; modules];
            let mut at_s = 0.0;
            for (&module, wait_s) in order.iter().zip(waits_s) {
                at_s = round_up_s(at_s + stretch * wait_s);
                delays_s[module] = at_s;
            }
            found = self.starts(line, delays_s)?;
            if found.is_some() {
                break;
            }
        }
        let Some(mut best) = found else {
            return Ok(None);
        };
        // Modules without a delay, or with that of the one before, if it goes.
        let mut before_s = 0.0;
        for &module in order {
            for other_s in [0.0, before_s] {
                if best.0[module] > other_s
                    && let Some(better) = self.with(line, &best.0, &[module], other_s)?
                {
                    best = better;
                    break;
                }
            }
            before_s = best.0[module];
        }
        // Those that are left, earlier.
        let longest_wait_s = waits_s.iter().copied().fold(0.0_f64, f64::max);
        let mut groups_s: Vec<f64> = best.0.iter().copied().filter(|s| *s > 0.0).collect();
        groups_s.sort_by(f64::total_cmp);
        groups_s.dedup();
        let mut before_s = 0.0;
        for group_s in groups_s {
            let group: Vec<usize> = (0..modules).filter(|&i| best.0[i] == group_s).collect();
            for stretch in STRETCHES {
                let earlier_s = round_up_s(before_s + stretch * longest_wait_s);
                if earlier_s < group_s
                    && let Some(better) = self.with(line, &best.0, &group, earlier_s)?
                {
                    best = better;
                    break;
                }
            }
            before_s = best.0[group[0]];
        }
        Ok(Some(best))
    }

    /// As [`Both::starts`] with another delay for these modules.
    fn with(
        &self,
        line: &Line,
        delays_s: &[f64],
        modules: &[usize],
        delay_s: f64,
    ) -> Result<Option<Delays>, StartError> {
        let mut delays_s = delays_s.to_vec();
        for &module in modules {
            delays_s[module] = delay_s;
        }
        self.starts(line, delays_s)
    }

    /// The delays and when the last module has booted, if the line starts with them in both states and no module falls out on
    /// the way.
    fn starts(&self, line: &Line, delays_s: Vec<f64>) -> Result<Option<Delays>, StartError> {
        let mut ready_s = 0.0_f64;
        for input in &self.inputs {
            let mut core = input.line.clone();
            for (module, delay_s) in core.modules.iter_mut().zip(&delays_s) {
                module.not_before_s = *delay_s;
            }
            let settings = Settings {
                trace_points: 16,
                most_events: SWITCHINGS_EACH * (core.modules.len() + core.network.sources.len()),
                ..self.settings
            };
            let report = at_once(&core, &settings, self.memo);
            let report = match report.as_ref() {
                Ok(report) => report,
                Err(StartupError::TooManyEvents { .. }) => return Ok(None),
                Err(error) => return Err(named(line, input, error.clone())),
            };
            match last_boot_s(report) {
                Some(last_s) => ready_s = ready_s.max(last_s),
                None => return Ok(None),
            }
        }
        Ok(Some((delays_s, ready_s)))
    }
}

fn last_boot_s(report: &Report) -> Option<f64> {
    match &report.outcome {
        Outcome::Started { modules } if report.modules.iter().all(|m| m.off_s.is_empty()) => {
            Some(modules.iter().map(|m| m.boot_end_s).fold(0.0_f64, f64::max))
        }
        _ => None,
    }
}

/// Up to what a person would write: tenths below a second, halves to twenty seconds, whole seconds to two minutes, tens
/// beyond.
pub(crate) fn round_up_s(s: f64) -> f64 {
    let in_one = if s < 1.0 {
        10.0
    } else if s < 20.0 {
        2.0
    } else if s < 120.0 {
        1.0
    } else {
        0.1
    };
    (s * in_one).ceil() / in_one
}

/// What to write for these delays, the first first.
fn delays(line: &Line, input: &StartInput, delays_s: &[f64]) -> Vec<Write> {
    let mut modules: Vec<usize> = (0..delays_s.len())
        .filter(|&i| delays_s[i] != input.line.modules[i].not_before_s)
        .collect();
    modules.sort_by(|&a, &b| delays_s[a].total_cmp(&delays_s[b]).then(a.cmp(&b)));
    let names = Names { line, input };
    modules
        .iter()
        .map(|&i| {
            let what = Change::WakesAfter(input.modules[i], delays_s[i]);
            let (_, value) = what.key(line);
            Write {
                told: format!("{} `wakes_after = \"{value}\"`", names.module(i)),
                what,
            }
        })
        .collect()
}

fn told(each: Vec<Write>, ready_s: f64) -> Helps {
    let (changes, words): (Vec<_>, Vec<String>) =
        each.into_iter().map(|w| (w.what, w.told)).unzip();
    Helps {
        told: format!(
            "give {}: the line then starts with new and with aged contacts, and the last module has booted after {}",
            listed(&words),
            seconds(ready_s)
        ),
        changes,
    }
}

/// Why there is no order.
fn none(names: &Names<'_>, why: &NoOrder) -> String {
    match why {
        NoOrder::Running { carries } => not_carried(names, carries),
        NoOrder::WithoutLockOut { outcome } => format!(
            "the modules without lock-out do not start by themselves ({})",
            in_short(names, outcome)
        ),
        NoOrder::Exhausted(stop) => format!("every order was tried, and {}", ends(names, stop)),
        NoOrder::NotFound(stop) => format!(
            "of the many orders one was tried, nearest and hungriest first, and {}",
            ends(names, stop)
        ),
    }
}

fn not_carried(names: &Names<'_>, carries: &AtOnce) -> String {
    names
        .carries("what they draw when all run", carries)
        .unwrap_or_else(|| "the line does not carry all of them running".to_owned())
}

fn ends(names: &Names<'_>, stop: &Stop) -> String {
    let started = if stop.started.is_empty() {
        "none lets a first module start".to_owned()
    } else {
        format!("the longest ends after {}", names.modules(&stop.started))
    };
    let next: Vec<String> = stop
        .next
        .iter()
        .map(|(module, outcome)| {
            format!(
                "with {} added, {}",
                names.module(*module),
                in_short(names, outcome)
            )
        })
        .collect();
    if next.is_empty() {
        started
    } else {
        format!("{started}: {}", next.join("; "))
    }
}

/// An outcome in a few words.
fn in_short(names: &Names<'_>, outcome: &Outcome) -> String {
    match outcome {
        Outcome::Started { .. } => "all start".to_owned(),
        Outcome::Hiccup { module, .. } => {
            format!("{} falls out again and again", names.module(*module))
        }
        Outcome::LatchLow { module, voltage_v } => {
            format!("{} is held at {voltage_v:.2} V", names.module(*module))
        }
        Outcome::Deadlock { modules, .. } => {
            format!("{} stand in each other's way", names.modules(modules))
        }
        Outcome::FallsOut {
            module, voltage_v, ..
        } => format!(
            "{} falls out and stays at {voltage_v:.2} V",
            names.module(*module)
        ),
        Outcome::NeverReaches {
            module,
            voltage_v,
            on_v,
        } => format!(
            "{} stays at {voltage_v:.2} V and needs {on_v} V to switch on",
            names.module(*module)
        ),
        Outcome::Unsettled { at_s } => format!("nothing is at rest after {}", seconds(*at_s)),
    }
}

/// The modules that cannot be held off.
fn bare(names: &Names<'_>) -> String {
    let bare: Vec<usize> = (0..names.input.line.modules.len())
        .filter(|&i| matches!(names.input.line.modules[i].input, Input::Bare { .. }))
        .collect();
    if bare.is_empty() {
        return String::new();
    }
    format!(
        "; without a lock-out {} cannot be held off",
        names.modules(&bare)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_delays_are_rounded_up_to_what_is_written() {
        for (s, written) in [
            (0.0, "0"),
            (0.06, "0.1"),
            (4.001, "4.5"),
            (5.0, "5"),
            (19.6, "20"),
            (20.1, "21"),
            (121.0, "130"),
        ] {
            assert_eq!(round_up_s(s).to_string(), written);
        }
    }
}
