//! The line while its modules boot, one instant after another: whether it has an operating point at each, and what would give it one.
//!
//! Modules take their turns as power reaches them ([`power::startup::turns`]). Whenever one switches on, those that boot draw their boot power, those that have booted draw what they draw in the state in
//! which they start, and the others nothing. No capacitor is looked at: what has no operating point at rest has none for as long as the boots last, whatever fills first.

use plan::{Line, ModuleIx, PassWhen};
use power::NetworkError;
use power::startup::{Passing, Turn, Waits, turns};

use crate::cure::{self, Change};
use crate::input::{Conditions, Contacts, Draw, Electric, ElectricInput, boots, electric};
use crate::locked_out::locked_out;
use crate::memo::Memo;
use crate::power_cases::age;
use crate::start_ohms::{
    MOST_SIZES, Ways, Wires, before_by_kind, on_the_bench, runs_on_the_bench, thicker,
    without_through,
};
use crate::start_remedy::{OPENS_AT, round_up_s};
use crate::start_words::listed;

/// With so much to spare a change counts as a cure.
const TO_SPARE: f64 = crate::carried::CARRIES_AT_LEAST;
/// A boot is given so many times its time before the next begins: a choice of ours.
const LONGER: f64 = 1.05;
const BOTH: [Contacts; 2] = [Contacts::New, Contacts::Aged];

/// When the modules of a line boot.
#[derive(Clone, Debug)]
pub(crate) struct Waking {
    /// The turn of each module of the plan; `None` where no power comes, or too low a voltage ever to switch on.
    pub(crate) turns: Vec<Option<Turn>>,
    /// What the plan does not say of boots.
    pub(crate) unknowns: Vec<String>,
}

/// One instant at which modules boot.
#[derive(Clone, Debug)]
pub(crate) struct Instant {
    /// s after the supplies come on.
    pub(crate) at_s: f64,
    /// The modules that boot.
    pub(crate) booting: Vec<ModuleIx>,
    /// State of the contacts.
    pub(crate) contacts: Contacts,
    /// The network.
    pub(crate) input: ElectricInput,
    /// The largest factor on all that is drawn in W with an operating point.
    pub(crate) share: f64,
}

/// What the line carries while its modules boot.
pub(crate) enum Booting {
    /// Nothing boots, or nothing that draws.
    Nothing,
    /// Not enough is said.
    Unknown(Vec<String>),
    /// The instant at which it carries least of what is drawn.
    Least(Box<Instant>),
    /// A supply is asked for more than it gives: the instant, the supply and A.
    OverLimit(Box<Instant>, usize, f64),
}

/// When each module boots if each does at its first attempt.
pub(crate) fn waking(line: &Line) -> Waking {
    let mut unknowns = Vec::new();
    let locked: Vec<ModuleIx> = (0..line.modules.len())
        .map(ModuleIx)
        .filter(|m| locked_out(line, *m).is_some())
        .collect();
    let modules = line.modules.iter().enumerate().map(|(m, module)| {
        let boot_s = match (&module.boot, boots(module)) {
            (Some(boot), true) => boot.time_s.si,
            (None, true) => {
                unknowns.push(format!("module.{} says nothing of its boot", module.id));
                0.0
            }
            (_, false) => 0.0,
        };
        Waits {
            held_s: module.wakes_after_s.map_or(0.0, |q| q.si),
            boot_s,
            passes: match module.passes.map_or(PassWhen::Always, |p| p.power) {
                PassWhen::Always => Passing::Always,
                PassWhen::Powered | PassWhen::Running if locked.contains(&ModuleIx(m)) => {
                    Passing::Never
                }
                PassWhen::Powered => Passing::Powered,
                PassWhen::Running => Passing::Running,
                PassWhen::Never => Passing::Never,
            },
        }
    });
    let modules: Vec<Waits> = modules.collect();
    let with_conductor = line.spans.iter().filter(|s| s.conductor.is_some());
    let conductors: Vec<(usize, usize)> = with_conductor.map(|s| (s.from.0, s.to.0)).collect();
    let fed: Vec<usize> = line.supplies.iter().map(|s| s.module.0).collect();
    match turns(&modules, &conductors, &fed) {
        Ok(mut turns) => {
            for m in locked {
                turns[m.0] = None;
            }
            Waking { turns, unknowns }
        }
        Err(error) => {
            unknowns.push(error.to_string());
            Waking {
                turns: vec![None; line.modules.len()],
                unknowns,
            }
        }
    }
}

impl Waking {
    /// The instants at which some module switches on and boots, the first first.
    pub(crate) fn instants(&self, line: &Line) -> Vec<f64> {
        let booting = (0..line.modules.len()).filter(|m| boots(&line.modules[*m]));
        let mut all: Vec<f64> = booting
            .filter_map(|m| self.turns[m])
            .filter(|t| t.ready_s > t.on_s)
            .map(|t| t.on_s)
            .collect();
        all.sort_by(f64::total_cmp);
        all.dedup();
        all
    }

    pub(crate) fn conditions(&self, line: &Line, contacts: Contacts, at_s: f64) -> Conditions {
        let mut conditions = Conditions::usual(line, contacts);
        for (m, module) in line.modules.iter().enumerate() {
            if module.input.is_none() {
                continue;
            }
            let Some(turn) = self.turns[m] else {
                conditions.draws[m] = Draw::Nothing;
                conditions.working[m] = false;
                continue;
            };
            if at_s < turn.on_s {
                conditions.draws[m] = Draw::Nothing;
            } else if at_s < turn.ready_s {
                conditions.draws[m] = Draw::Boot;
            }
            conditions.working[m] = at_s >= turn.ready_s;
        }
        conditions
    }

    /// The modules that boot at a time.
    pub(crate) fn boot_at(&self, line: &Line, at_s: f64) -> Vec<ModuleIx> {
        let boots_then = |m: &usize| {
            boots(&line.modules[*m])
                && self.turns[*m].is_some_and(|t| t.on_s <= at_s && at_s < t.ready_s)
        };
        let all = (0..line.modules.len()).filter(boots_then);
        all.map(ModuleIx).collect()
    }
}

/// What the line carries while its modules boot, with new and with aged contacts.
pub(crate) fn booting(line: &Line) -> Booting {
    of_turns(line, &waking(line), &BOTH)
}

fn of_turns(line: &Line, waking: &Waking, contacts: &[Contacts]) -> Booting {
    let times_s = waking.instants(line);
    if times_s.is_empty() && waking.unknowns.is_empty() {
        return Booting::Nothing;
    }
    let mut unknowns = waking.unknowns.clone();
    let electric: Electric = match electric(line) {
        Ok(electric) => electric,
        Err(error) => return Booting::Unknown(vec![error.to_string()]),
    };
    let mut least: Option<Instant> = None;
    let mut over: Option<(Instant, usize, f64)> = None;
    for &contacts in contacts {
        for &at_s in &times_s {
            let conditions = waking.conditions(line, contacts, at_s);
            let input = match electric.input(line, &conditions) {
                Ok(input) => input,
                Err(error) => return Booting::Unknown(vec![error.to_string()]),
            };
            unknowns.extend(input.unknowns.iter().cloned());
            let (share, limited) = match carried(&input) {
                Ok(found) => found,
                Err(error) => return Booting::Unknown(vec![error.to_string()]),
            };
            if share.is_infinite() {
                continue;
            }
            let instant = Instant {
                at_s,
                booting: waking.boot_at(line, at_s),
                contacts,
                input,
                share,
            };
            if let Some((source, asked_a)) = limited {
                let supply = instant.input.sources[source];
                over.get_or_insert((instant.clone(), supply, asked_a));
            }
            if least.as_ref().is_none_or(|known| share < known.share) {
                least = Some(instant);
            }
        }
    }
    if !unknowns.is_empty() {
        unknowns.sort();
        unknowns.dedup();
        return Booting::Unknown(unknowns);
    }
    match (least, over) {
        (Some(least), _) if least.share < 1.0 => Booting::Least(Box::new(least)),
        (_, Some((instant, supply, asked_a))) => {
            Booting::OverLimit(Box::new(instant), supply, asked_a)
        }
        (Some(least), None) => Booting::Least(Box::new(least)),
        (None, None) => Booting::Nothing,
    }
}

/// The factor on all that is drawn in W up to which there is an operating point, and the source over its limit with its current where there is one.
fn carried(input: &ElectricInput) -> Result<(f64, Option<(usize, f64)>), NetworkError> {
    match power::solve(&input.network) {
        Ok(solution) => {
            let over = solution.limited.first();
            let over = over.map(|s| (*s, solution.source_currents_a[*s]));
            Ok((power::collapse_factor(&input.network)?, over))
        }
        Err(NetworkError::CannotCarry { scale, .. }) => Ok((scale, None)),
        Err(error) => Err(error),
    }
}

/// What the line carries with these turns, 0 where that is not known or a supply is over its limit.
fn share(line: &Line, waking: &Waking, contacts: &[Contacts]) -> f64 {
    match of_turns(line, waking, contacts) {
        Booting::Least(least) => least.share,
        Booting::Nothing => f64::INFINITY,
        Booting::Unknown(_) | Booting::OverLimit(..) => 0.0,
    }
}

/// The modules that boot at an instant, and when, in words.
pub(crate) fn while_booting(line: &Line, instant: &Instant) -> String {
    while_modules_boot(line, &instant.booting, instant.at_s, instant.contacts)
}

/// The same of these modules at this time.
pub(crate) fn while_modules_boot(
    line: &Line,
    booting: &[ModuleIx],
    at_s: f64,
    contacts: Contacts,
) -> String {
    let paths: Vec<String> = booting.iter().map(|m| line.module_path(*m)).collect();
    let once = if paths.len() > 1 {
        " boot at once"
    } else {
        " boots"
    };
    let at = if at_s > 0.0 {
        format!(", {at_s} s after power comes,")
    } else {
        String::new()
    };
    format!("while {}{once}{at} with {}", listed(&paths), age(contacts))
}

/// The ohms before the module that has most of them, and what alone would let the line carry its boots.
pub(crate) fn what_helps(line: &Line, instant: &Instant, memo: &Memo) -> Vec<String> {
    let wires = Wires::at_rest(&instant.input);
    let all = Ways::of(wires);
    let ways: Vec<_> = instant
        .booting
        .iter()
        .filter_map(|m| all.way_to(*m))
        .collect();
    let mut told = Vec::new();
    let now = waking(line);
    if let Some(far) = ways.iter().max_by(|a, b| a.ohm.total_cmp(&b.ohm))
        && let Ok(ohms) = before_by_kind(line, wires, far)
    {
        // Short leads and new contacts are those of the bench.
        let on_the_bench = share(&on_the_bench(line), &now, &[Contacts::New]);
        told.push(match instant.share < 1.0 && on_the_bench >= 1.0 {
            true => format!("{} {ohms}", runs_on_the_bench()),
            false => ohms,
        });
    }
    let without = without_through(line);
    let carries = share(&without, &now, &[instant.contacts]);
    if carries.is_finite() && carries > instant.share * (1.0 + 1e-9) {
        told.push(format!(
            "without the through-resistance of its modules it would carry {:.1} %",
            100.0 * carries
        ));
    }
    if instant.contacts == Contacts::Aged {
        let carries = share(line, &now, &[Contacts::New]);
        if carries > 0.0 && carries.is_finite() {
            told.push(format!(
                "with new contacts it carries {:.1} %",
                100.0 * carries
            ));
        }
    }
    let mut spans: Vec<usize> = ways.iter().flat_map(|w| w.spans(wires)).collect();
    spans.sort_unstable();
    spans.dedup();
    let sizes = (1..=MOST_SIZES).find_map(|sizes| {
        let (thicker, changed) = thicker(line, &spans, sizes);
        let carries = share(&thicker, &now, &BOTH);
        (!changed.is_empty() && carries >= TO_SPARE).then_some((changed, carries))
    });
    match sizes {
        Some((changed, carries)) => told.push(format!(
            "with {} it would carry {:.1} %",
            listed(&changed),
            100.0 * carries
        )),
        None if spans.is_empty() => {}
        None => told.push(format!(
            "no conductor up to {MOST_SIZES} sizes thicker on the way makes it carry {:.0} %",
            100.0 * TO_SPARE
        )),
    }
    match staggered(line) {
        Some(found) => told.push(found.told(line, memo)),
        None => told.push("no staggering of the boots makes it carry them".to_owned()),
    }
    told
}

/// Delays with which the line carries its boots.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Staggered {
    /// Modules with the delay that each needs and has not, s.
    pub(crate) delays_s: Vec<(ModuleIx, f64)>,
    /// The least share of what is drawn that the line then carries.
    pub(crate) share: f64,
}

impl Staggered {
    /// In words, with what stays broken with it.
    pub(crate) fn told(&self, line: &Line, memo: &Memo) -> String {
        format!(
            "with boots staggered it would carry {:.1} %: give {}{}",
            100.0 * self.share,
            self.delays(line),
            self.beside(line, memo)
        )
    }

    /// What stays broken with it, behind a semicolon; nothing where all holds.
    pub(crate) fn beside(&self, line: &Line, memo: &Memo) -> String {
        let beside = cure::beside(line, &self.changes(line), memo);
        beside.map_or_else(String::new, |told| format!("; {told}"))
    }

    /// What to write for it. A module without a lock-out gets one, on at a share of the lowest supply's voltage and off at its input's lowest.
    pub(crate) fn changes(&self, line: &Line) -> Vec<Change> {
        let volts = line.supplies.iter().map(|s| s.voltage_v.si);
        let on_v = libm::floor(OPENS_AT * volts.fold(f64::INFINITY, f64::min));
        let mut changes = Vec::new();
        for (m, delay_s) in &self.delays_s {
            let input = line.modules[m.0].input.as_ref();
            if let Some(input) = input.filter(|i| i.lock_out.is_none()) {
                changes.push(Change::LockOut(*m, on_v, input.minimum_v.si));
            }
            changes.push(Change::WakesAfter(*m, *delay_s));
        }
        changes
    }

    /// The keys to write for it, each with its value.
    pub(crate) fn keys(&self, line: &Line) -> Vec<(String, String)> {
        self.changes(line).iter().map(|c| c.key(line)).collect()
    }

    /// What to write for it.
    pub(crate) fn delays(&self, line: &Line) -> String {
        let each: Vec<String> = self
            .delays_s
            .iter()
            .map(|(m, s)| format!("{} `wakes_after = \"{s} s\"`", line.module_path(*m)))
            .collect();
        let bare: Vec<String> = self
            .delays_s
            .iter()
            .map(|(m, _)| *m)
            .filter(|m| {
                let input = line.modules[m.0].input.as_ref();
                input.is_none_or(|i| i.lock_out.is_none())
            })
            .map(|m| line.module_path(m))
            .collect();
        let lock_outs = match bare.as_slice() {
            [] => String::new(),
            bare => format!(
                ", and a `lock_out` in the input of {}, without which nothing holds a module off",
                listed(bare)
            ),
        };
        format!("{}{lock_outs}", listed(&each))
    }
}

/// The modules that boot in as few groups one after another as the line carries with 10 % to spare, else with the most that any number of groups leaves. `None` where no staggering
/// makes the line carry all its boots.
pub(crate) fn staggered(line: &Line) -> Option<Staggered> {
    let mut best: Option<Staggered> = None;
    // How far from its collapse a line is costs many times what it costs to see that it has collapsed.
    let carried = groupings(line).filter(|staged| carries_all(&staged.line));
    for (_, found) in carried.filter_map(Staged::judged) {
        if found.share >= TO_SPARE {
            return Some(found);
        }
        if best.as_ref().is_none_or(|b| found.share > b.share) {
            best = Some(found);
        }
    }
    best.filter(|b| b.share >= 1.0)
}

/// The line with its modules booting in two, three and more groups one after another, up to one by one; each group is of neighbours by their ohms, the nearest first and the
/// furthest first.
pub(crate) fn staggerings(line: &Line) -> impl Iterator<Item = (Line, Staggered)> {
    groupings(line).filter_map(Staged::judged)
}

/// The same before anything is worked out of them.
fn groupings(line: &Line) -> impl Iterator<Item = Staged> {
    let near = nearest_first(line).unwrap_or_default();
    let far: Vec<ModuleIx> = near.iter().rev().copied().collect();
    let count = near.len();
    // Numbers of groups between which the largest group stays as large are one and the same.
    let numbers =
        (2..=count).filter(move |n| *n == 2 || count.div_ceil(*n) < count.div_ceil(n - 1));
    numbers.flat_map(move |groups| {
        [
            in_groups(line, &near, groups),
            in_groups(line, &far, groups),
        ]
    })
}

/// Whether the line has an operating point at each instant at which modules boot, as far as that is known.
fn carries_all(line: &Line) -> bool {
    let waking = waking(line);
    let Ok(electric) = electric(line) else {
        return false;
    };
    let carries = |contacts, at_s| {
        let conditions = waking.conditions(line, contacts, at_s);
        let input = electric.input(line, &conditions);
        input.is_ok_and(|input| power::has_operating_point(&input.network).unwrap_or(false))
    };
    // The last instants, at which all others draw what they draw, are the hardest as a rule.
    let mut times_s = waking.instants(line).into_iter().rev();
    times_s.all(|at_s| BOTH.iter().all(|contacts| carries(*contacts, at_s)))
}

fn nearest_first(line: &Line) -> Option<Vec<ModuleIx>> {
    let now = waking(line);
    if !now.unknowns.is_empty() {
        return None;
    }
    let electric = electric(line).ok()?;
    let all = electric
        .input(line, &Conditions::usual(line, Contacts::Aged))
        .ok()?;
    let ways = Ways::of(Wires::at_rest(&all));
    let mut near: Vec<(f64, ModuleIx)> = (0..line.modules.len())
        .map(ModuleIx)
        .filter(|m| boots(&line.modules[m.0]) && now.turns[m.0].is_some())
        .filter_map(|m| Some((ways.ohm_to(m)?, m)))
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    Some(near.into_iter().map(|(_, m)| m).collect())
}

/// A line whose modules boot in groups.
struct Staged {
    line: Line,
    /// Modules with the delay that each needs and has not, s.
    delays_s: Vec<(ModuleIx, f64)>,
}

impl Staged {
    /// With the least share that it carries; `None` where that is not known or nothing is delayed.
    fn judged(self) -> Option<(Line, Staggered)> {
        let Staged { line, delays_s } = self;
        if delays_s.is_empty() {
            return None;
        }
        let share = share(&line, &waking(&line), &BOTH);
        share
            .is_finite()
            .then_some((line, Staggered { delays_s, share }))
    }
}

fn in_groups(line: &Line, order: &[ModuleIx], groups: usize) -> Staged {
    let mut staged = line.clone();
    let mut at_s = 0.0;
    let mut delays_s = Vec::new();
    let size = order.len().div_ceil(groups);
    for group in order.chunks(size) {
        let mut longest_s = 0.0_f64;
        for &m in group {
            let module = &mut staged.modules[m.0];
            let boot_s = module.boot.map_or(0.0, |b| b.time_s.si);
            longest_s = longest_s.max(boot_s);
            let had_s = module.wakes_after_s.map_or(0.0, |q| q.si);
            module.wakes_after_s = Some(plan::Q {
                si: at_s,
                law: None,
                at: module.at,
            });
            if had_s != at_s {
                delays_s.push((m, at_s));
            }
        }
        at_s = round_up_s(at_s + LONGER * longest_s);
    }
    Staged {
        line: staged,
        delays_s,
    }
}
