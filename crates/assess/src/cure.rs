//! What stays broken, or breaks, where modules are held off so that a line starts: who cures the start has not cured the line.

use plan::{Line, LockOut, ModuleIx, Q, That};
use quantity::show_number;

use crate::input::{Contacts, Draw, electric};
use crate::memo::Memo;
use crate::standing::{BOOTS_CARRIED, INPUT_VOLTAGE};
use crate::start_words::listed;
use crate::verdict::{Verdict, Word};
use crate::waking::{waking, while_modules_boot};
use crate::{boot_verdicts, power_verdicts, reserve_verdicts, start_verdicts};

/// One key that is written for a start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Change {
    /// A module waits so long before it switches on, s.
    WakesAfter(ModuleIx, f64),
    /// A module gets a lock-out that switches on and off at these voltages, V.
    LockOut(ModuleIx, f64, f64),
}

impl Change {
    /// The key with its value, as a plan writes them.
    pub(crate) fn key(&self, line: &Line) -> (String, String) {
        match self {
            Change::WakesAfter(m, s) => (
                format!("{}.wakes_after", line.module_path(*m)),
                format!("{s} s"),
            ),
            Change::LockOut(m, on_v, off_v) => (
                format!("{}.input.lock_out", line.module_path(*m)),
                format!("{{ on = \"{on_v} V\", off = \"{off_v} V\" }}"),
            ),
        }
    }
}

/// The line with these keys written.
pub(crate) fn changed(line: &Line, changes: &[Change]) -> Line {
    let mut line = line.clone();
    for change in changes {
        match *change {
            Change::WakesAfter(m, s) => {
                let module = &mut line.modules[m.0];
                module.wakes_after_s = Some(Q {
                    si: s,
                    law: None,
                    at: module.at,
                });
            }
            Change::LockOut(m, on_v, off_v) => {
                let module = &mut line.modules[m.0];
                let at = module.at;
                let volts = |si| Q { si, law: None, at };
                if let Some(input) = &mut module.input {
                    input.lock_out = Some(LockOut {
                        on_v: volts(on_v),
                        off_v: volts(off_v),
                    });
                }
            }
        }
    }
    line
}

/// What of voltages, currents, boots and starts stays broken with these keys, breaks or is no longer known, in words; nothing where all of it holds.
pub(crate) fn beside(line: &Line, changes: &[Change], memo: &Memo) -> Option<String> {
    let cured = changed(line, changes);
    let before = judged(line, memo);
    let after = judged(&cured, memo);
    let was = |id: &str| {
        let found = before.iter().find(|(other, _)| other == id);
        found.map(|(_, verdicts)| word(verdicts))
    };
    let (mut stays, mut breaks, mut unknown) = (Vec::new(), Vec::new(), Vec::new());
    for (id, verdicts) in &after {
        match (word(verdicts), was(id)) {
            (Some(Word::Broken), Some(Some(Word::Broken))) => stays.push(told(id, verdicts)),
            (Some(Word::Broken), _) => breaks.push(told(id, verdicts)),
            (Some(Word::Unknown), Some(Some(Word::Met | Word::Marginal))) => {
                unknown.push(format!("`{id}`"));
            }
            _ => {}
        }
    }
    let mut said = Vec::new();
    let mut say = |of: &[String], head: &str| {
        if !of.is_empty() {
            said.push(format!("{head}: {}", listed(of)));
        }
    };
    say(
        &stays,
        "that cures the boots alone, and with it stays broken",
    );
    say(&breaks, "with it breaks");
    say(&unknown, "with it is no longer known");
    said.extend(too_low(&cured));
    (!said.is_empty()).then(|| said.join("; "))
}

/// The verdicts that boots and delays bear on, by requirement or standing check.
fn judged(line: &Line, memo: &Memo) -> Vec<(String, Vec<Verdict>)> {
    let each = line.requirements.iter().filter_map(|r| {
        let verdicts = match &r.that {
            That::Voltage { of, limits } => power_verdicts::voltage(line, *of, *limits),
            That::SupplyCurrent { of, at_most_a } => {
                power_verdicts::supply_current(line, *of, *at_most_a)
            }
            That::CollapseFactor { at_least } => reserve_verdicts::collapse_factor(line, *at_least),
            That::Reserve { of, at_least_w } => reserve_verdicts::reserve(line, *of, *at_least_w),
            That::ReadyWithin { of, at_most_s } => {
                boot_verdicts::ready_within(line, *of, *at_most_s, memo)
            }
            That::StartUp { at_most_s } => start_verdicts::plainly(line, *at_most_s, memo),
            _ => return None,
        };
        Some((r.id.clone(), verdicts))
    });
    let mut all: Vec<_> = each.collect();
    all.push((
        INPUT_VOLTAGE.to_owned(),
        power_verdicts::input_voltages(line),
    ));
    all.push((BOOTS_CARRIED.to_owned(), boot_verdicts::boots_carried(line)));
    all
}

fn worst(verdicts: &[Verdict]) -> Option<&Verdict> {
    verdicts.iter().min_by(|a, b| Verdict::worse_first(a, b))
}

fn word(verdicts: &[Verdict]) -> Option<Word> {
    worst(verdicts).map(Verdict::word)
}

fn told(id: &str, verdicts: &[Verdict]) -> String {
    match worst(verdicts) {
        Some(Verdict::Known(k)) => format!(
            "`{id}` ({}: {} {}, limit {})",
            k.subject,
            show_number(k.value.value),
            k.value.unit,
            show_number(k.limit.value)
        ),
        _ => format!("`{id}`"),
    }
}

/// The module that is furthest below what its input needs at an instant at which modules boot, where one is.
fn too_low(line: &Line) -> Option<String> {
    let waking = waking(line);
    let electric = electric(line).ok()?;
    let mut worst: Option<(f64, String)> = None;
    for contacts in [Contacts::New, Contacts::Aged] {
        for at_s in waking.instants(line) {
            let conditions = waking.conditions(line, contacts, at_s);
            // Where there is no operating point `boots-carried` says so.
            let Ok(input) = electric.input(line, &conditions) else {
                continue;
            };
            let Ok(solution) = power::solve(&input.network) else {
                continue;
            };
            for (m, module) in line.modules.iter().enumerate() {
                let (Some(own), Some(node)) = (&module.input, input.inlets[m]) else {
                    continue;
                };
                if matches!(conditions.draws[m], Draw::Nothing) {
                    continue;
                }
                let (v, needs_v) = (solution.voltages_v[node], own.minimum_v.si);
                if v >= needs_v
                    || worst
                        .as_ref()
                        .is_some_and(|(short_v, _)| *short_v >= needs_v - v)
                {
                    continue;
                }
                let booting = waking.boot_at(line, at_s);
                worst = Some((
                    needs_v - v,
                    format!(
                        "{} {} has {v:.2} V, and its input needs {} V",
                        while_modules_boot(line, &booting, at_s, contacts),
                        line.module_path(ModuleIx(m)),
                        show_number(needs_v)
                    ),
                ));
            }
        }
    }
    worst.map(|(_, told)| told)
}
