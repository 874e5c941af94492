//! Voltage at each module and current of each supply, in every set of states that matters.

use std::cell::RefCell;

use plan::{Limits, Line, ModuleIx, PassWhen, Q, SupplyIx, That};
use power::Solution;

use crate::carried::{Carried, beside, carried};
use crate::combinations::FallsOut;
use crate::locked_out::beyond_the_supplies;
use crate::power_cases::{Case, METHOD, cases, sound, sound_of};
use crate::verdict::{Against, Evidence, Side, Verdict, Word, unknown};

/// A voltage closer to its limit than this is marginal, V.
pub(crate) const NARROW_V: f64 = 0.5;
/// A supply current closer to its limit than this is marginal, A.
pub(crate) const NARROW_A: f64 = 0.1;

/// What rounding leaves of a current, A.
const NOTHING_A: f64 = 1e-9;

/// Voltage of one module, or of each, against the limits given or its own.
pub(crate) fn voltage(line: &Line, of: Option<ModuleIx>, limits: Option<Limits>) -> Vec<Verdict> {
    let cases = match cases(line) {
        Ok(cases) => cases,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let (mut verdicts, good) = sound(line, &cases);
    if good.is_empty() {
        return verdicts;
    }
    let falling = cases.falls_out.iter();
    verdicts.extend(
        falling
            .filter(|f| of.is_none_or(|o| o == f.module))
            .map(|f| falls_out(line, f)),
    );
    verdicts.extend(never_on(line, |m| of.is_none_or(|o| o == m)));
    let asked = |m: ModuleIx| of.is_none_or(|o| o == m) && line.modules[m.0].input.is_some();
    let carried = carried(&good);
    let networks = Networks::default();
    for m in (0..line.modules.len()).map(ModuleIx).filter(|m| asked(*m)) {
        verdicts.push(module_voltage(
            line,
            (m, limits),
            &good,
            (&carried, &networks),
        ));
    }
    if let Some(m) = of.filter(|m| line.modules[m.0].input.is_none()) {
        verdicts.push(unknown(
            line.module_path(m),
            "this module has no power input",
        ));
    }
    verdicts
}

/// Whether some requirement asks that a module is at a voltage which its own input bears.
fn asked_by_a_requirement(line: &Line, m: ModuleIx) -> bool {
    let Some(input) = &line.modules[m.0].input else {
        return true;
    };
    line.binding().any(|r| match &r.that {
        That::Voltage { of, limits } => {
            let within = limits.is_none_or(|l| {
                l.at_least.is_some_and(|q| q.si >= input.minimum_v.si)
                    && l.at_most.is_some_and(|q| q.si <= input.maximum_v.si)
            });
            within && of.is_none_or(|o| o == m)
        }
        _ => false,
    })
}

/// Voltage of each module against its own limits, where no requirement asks for that over the sets of states that the line
/// carries; where some set is unknown what is broken, and what is missing. What it cannot carry is broken where nothing boots. While something boots that is for a requirement to ask,
/// as a plan may keep boots apart, and so is what a lock-out switches off then.
pub(crate) fn input_voltages(line: &Line) -> Vec<Verdict> {
    let left = left_to_the_check(line);
    if left.is_empty() {
        return Vec::new();
    }
    if line.supplies.is_empty() {
        return Vec::new();
    }
    let cases = match cases(line) {
        Ok(cases) => cases,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let (told, good) = sound(line, &cases);
    let unsure = told.iter().any(|v| v.word() == Word::Unknown);
    let carried = carried(&good);
    let networks = Networks::default();
    let each = left
        .iter()
        .map(|m| module_voltage(line, (*m, None), &good, (&carried, &networks)));
    let mut all: Vec<Verdict> = each
        .filter(|v| v.is_broken() || !unsure && v.word() != Word::Unknown)
        .collect();
    let (at_work, _) = sound_of(line, &cases, |case| !case.boots);
    all.extend(at_work.into_iter().filter(Verdict::is_broken));
    let falling = cases.falls_out.iter().filter(|f| !f.boots);
    let falling = falling.filter(|f| left.contains(&f.module));
    all.extend(falling.map(|f| falls_out(line, f)));
    all.extend(never_on(line, |m| left.contains(&m)));
    all.extend(told.into_iter().filter(|v| v.word() == Word::Unknown));
    all
}

/// Modules that their lock-outs never switch on: whatever voltage they see, they do not work at it.
fn never_on(line: &Line, wanted: impl Fn(ModuleIx) -> bool) -> impl Iterator<Item = Verdict> {
    let beyond = beyond_the_supplies(line).into_iter();
    beyond
        .filter(move |b| b.by_lock_out && wanted(b.module))
        .map(|b| b.verdict(line, line.module_path(b.module)))
}

/// What a line does not carry while some module boots: such sets of states are in no verdict where no requirement asks for voltages.
pub(crate) fn not_carried_booting(line: &Line) -> Option<String> {
    if left_to_the_check(line).is_empty() {
        return None;
    }
    let cases = cases(line).ok()?;
    let (told, _) = sound_of(line, &cases, |case| case.boots);
    let worst = told.into_iter().find(Verdict::is_broken)?;
    let why = worst.why();
    let sentence = why.lines().next().unwrap_or(why);
    Some(format!(
        "voltages while something boots and the others work: {}, {sentence}; a requirement on `voltage` asks for them",
        worst.subject()
    ))
}

/// The modules whose own limits no requirement asks for.
pub(crate) fn left_to_the_check(line: &Line) -> Vec<ModuleIx> {
    let modules = (0..line.modules.len()).map(ModuleIx);
    modules
        .filter(|m| !asked_by_a_requirement(line, *m))
        .collect()
}

/// The modules whose own limits no requirement asks for, where what the plan says is not enough to judge them.
pub(crate) fn open(line: &Line, told: bool) -> Option<String> {
    let left = left_to_the_check(line).into_iter();
    let left: Vec<String> = left.map(|m| line.module_path(m)).collect();
    (!told && !left.is_empty()).then(|| {
        format!(
            "whether these are at a voltage that their inputs bear: {}; a requirement on `voltage` says what is missing for that",
            left.join(", ")
        )
    })
}

/// A module that its lock-out switches off while it is asked to draw.
fn falls_out(line: &Line, f: &FallsOut) -> Verdict {
    let path = line.module_path(f.module);
    let cuts = match line.modules[f.module.0]
        .passes
        .map_or(PassWhen::Always, |p| p.power)
    {
        PassWhen::Powered | PassWhen::Running => ", and passes no power on",
        PassWhen::Always | PassWhen::Never => "",
    };
    let why = format!("with {} its lock-out switches it off{cuts}", f.name);
    let against = Against {
        side: Side::AtLeast,
        limit: f.off_v,
        narrow: NARROW_V,
        unit: "V".to_owned(),
    };
    against.judge(
        path,
        f.voltage_v,
        Evidence::computed(METHOD, &f.network),
        why,
    )
}

/// A voltage, V, and the set of states in which it is.
pub(crate) type VoltsAt<'c> = (&'c Case, f64);

/// Lowest and highest voltage of a module over these sets of states, V, each with its set; `None` where none has a voltage that matters.
pub(crate) fn extremes<'c>(
    m: ModuleIx,
    good: &[(&'c Case, &'c Solution)],
) -> Option<(VoltsAt<'c>, VoltsAt<'c>)> {
    let mut voltages = good.iter().filter_map(|(case, solution)| {
        let inlet = case.input.inlets[m.0];
        let no_matter = case.off[m.0] || (inlet.is_none() && case.idle);
        (!no_matter).then(|| (*case, inlet.map_or(0.0, |n| solution.voltages_v[n])))
    });
    let first = voltages.next()?;
    let (mut low, mut high) = (first, first);
    for v in voltages {
        if v.1 < low.1 {
            low = v;
        }
        if v.1 > high.1 {
            high = v;
        }
    }
    Some((low, high))
}

/// Evidence on the networks of sets of states, each digested once however many modules it is told of.
#[derive(Default)]
struct Networks<'c>(RefCell<Vec<(&'c Case, Evidence)>>);

impl<'c> Networks<'c> {
    fn evidence(&self, case: &'c Case) -> Evidence {
        let mut known = self.0.borrow_mut();
        let found = known.iter().find(|(of, _)| std::ptr::eq(*of, case));
        if let Some((_, evidence)) = found {
            return evidence.clone();
        }
        let evidence = Evidence::computed(METHOD, &case.input.network);
        known.push((case, evidence.clone()));
        evidence
    }
}

fn module_voltage<'c>(
    line: &Line,
    (m, limits): (ModuleIx, Option<Limits>),
    good: &[(&'c Case, &'c Solution)],
    (carried, networks): (&Carried, &Networks<'c>),
) -> Verdict {
    let path = line.module_path(m);
    let Some(input) = &line.modules[m.0].input else {
        return unknown(path, "this module has no power input");
    };
    let (low_limit, high_limit) = match limits {
        Some(l) => (l.at_least.map(|q| q.si), l.at_most.map(|q| q.si)),
        None => (Some(input.minimum_v.si), Some(input.maximum_v.si)),
    };
    let Some((low, high)) = extremes(m, good) else {
        return unknown(path, "no set of states has an operating point");
    };
    let side = |side, limit: Option<f64>, (case, value): (&'c Case, f64)| {
        limit.map(|limit| {
            let margin = if side == Side::AtLeast {
                value - limit
            } else {
                limit - value
            };
            (margin, side, limit, value, case)
        })
    };
    let worst = [
        side(Side::AtLeast, low_limit, low),
        side(Side::AtMost, high_limit, high),
    ]
    .into_iter()
    .flatten()
    .min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, side, limit, value, case)) = worst else {
        return unknown(path, "the requirement sets no limit");
    };
    let why = format!(
        "with {}; over all sets {:.2} V to {:.2} V",
        case.name, low.1, high.1
    );
    let against = Against {
        side,
        limit,
        narrow: NARROW_V,
        unit: "V".to_owned(),
    };
    let verdict = against.judge(path, value, networks.evidence(case), why);
    beside(verdict, carried)
}

/// Largest current of one supply, or of each, against the limit given or its own.
pub(crate) fn supply_current(
    line: &Line,
    of: Option<SupplyIx>,
    at_most_a: Option<Q>,
) -> Vec<Verdict> {
    let cases = match cases(line) {
        Ok(cases) => cases,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let (mut verdicts, good) = sound(line, &cases);
    if let Some(asked) = of {
        let path = format!("supply.{}", line.supplies[asked.0].id);
        for verdict in &mut verdicts {
            if let Verdict::Known(k) = verdict
                && k.subject.starts_with("supply.")
                && k.subject != path
            {
                // Beyond the limit of one supply nothing is known of the others.
                *verdict = unknown(
                    path.clone(),
                    format!("{} is over its limit: {}", k.subject, k.why),
                );
            }
        }
    }
    for (s, supply) in line
        .supplies
        .iter()
        .enumerate()
        .filter(|(s, _)| of.is_none_or(|o| o.0 == *s))
    {
        let path = format!("supply.{}", supply.id);
        let Some(limit) = at_most_a.or(supply.current_limit_a) else {
            verdicts.push(unknown(
                path,
                "neither the requirement nor the supply says how much it gives",
            ));
            continue;
        };
        let largest = good
            .iter()
            .filter_map(|(case, solution)| {
                let at = case.input.sources.iter().position(|x| *x == s)?;
                Some((*case, solution.source_currents_a[at]))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((case, current)) = largest {
            let against = Against {
                side: Side::AtMost,
                limit: limit.si,
                narrow: NARROW_A,
                unit: "A".to_owned(),
            };
            let evidence = Evidence::computed(METHOD, &case.input.network);
            verdicts.push(against.judge(
                path.clone(),
                current,
                evidence,
                format!("with {}", case.name),
            ));
        }
        verdicts.extend(fed_backwards(path, s, &good));
    }
    verdicts
}

/// A supply into which the others feed: the plan does not say whether it bears that.
fn fed_backwards(path: String, supply: usize, good: &[(&Case, &Solution)]) -> Option<Verdict> {
    let most = good
        .iter()
        .filter_map(|(case, solution)| {
            let at = case.input.sources.iter().position(|x| *x == supply)?;
            let taken_a = -solution.source_currents_a[at];
            (taken_a > NOTHING_A).then_some((*case, taken_a))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let why = format!(
        "with {} the other supplies feed {:.3} A into it, and nothing says that it bears that: give the supplies one voltage, or put a diode before it and leave it out of the plan where it gives nothing",
        most.0.name, most.1
    );
    Some(unknown(path, why))
}
