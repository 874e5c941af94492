//! Voltage at each module and current of each supply, in every set of states that matters.
//!
//! On the high-voltage branch the largest loads give the lowest voltage everywhere, so the set in which every module draws
//! its most is the worst: the larger of its heaviest state and its boot, since one may restart while the others work. The
//! least loads give the highest voltage. The sets between them (the usual one, all in their heaviest states, all booting at
//! once) are there because people ask for them by name. Each is taken with new and with aged contacts.

use std::mem::discriminant;

use plan::{Limits, Line, Load, Module, ModuleIx, Q, SupplyIx};
use power::{LoadKind, NetworkError, Solution};

use crate::input::{Conditions, Contacts, Draw, Electric, ElectricInput, InputError, electric};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A voltage closer to its limit than this is marginal, V.
const NARROW_V: f64 = 0.5;
/// A supply current closer to its limit than this is marginal, A.
const NARROW_A: f64 = 0.1;
/// A line that could carry less than this much more than its load is marginal, %.
const NARROW_LOAD_PERCENT: f64 = 10.0;
const METHOD: &str = "direct-current network, high-voltage solution (docs/method/power.md; IEC 60228 and ASTM B258 conductors)";

const NO_LOAD: &str = "no load";

/// One set of states and what came of it.
struct Case {
    name: String,
    /// Nothing draws: a module that passes power only while powered then passes none, and what lies behind it is left out.
    idle: bool,
    input: ElectricInput,
    outcome: Result<Solution, NetworkError>,
}

fn cases(line: &Line) -> Result<Vec<Case>, InputError> {
    let electric: Electric = electric(line)?;
    let size = |load: &Load| match load {
        Load::Power(q) => q.si,
        // At the same voltage the larger current and the smaller resistance draw more.
        Load::Current(q) => q.si,
        Load::Resistance(q) => 1.0 / q.si,
    };
    let extreme = |m: &Module, most: bool| {
        let by = |a: &usize, b: &usize| size(&m.loads[*a].load).total_cmp(&size(&m.loads[*b].load));
        if most {
            (0..m.loads.len()).max_by(by)
        } else {
            (0..m.loads.len()).min_by(by)
        }
    };
    let state = |m: &Module, most: bool| Draw::State {
        state: extreme(m, most),
        outputs_on: vec![most; m.outputs.len()],
    };
    let boot = |m: &Module| {
        if m.input.is_some() && !m.loads.is_empty() {
            Draw::Boot
        } else {
            state(m, false)
        }
    };
    let most = |m: &Module| match heavier(m, extreme(m, true)) {
        Some(Heavier::Boot) => Draw::Boot,
        Some(Heavier::State) | None => state(m, true),
    };
    let mut mixed: Vec<String> = line
        .modules
        .iter()
        .filter(|m| {
            m.loads
                .windows(2)
                .any(|w| discriminant(&w[0].load) != discriminant(&w[1].load))
        })
        .map(|m| {
            format!(
                "module.{} mixes loads in W, A and ohm, so which state is the heaviest depends on its voltage: write all in one unit",
                m.id
            )
        })
        .collect();
    mixed.extend(
        line.modules
            .iter()
            .filter(|m| heavier(m, extreme(m, true)).is_none())
            .map(|m| {
                format!(
                    "module.{} boots on W and works on A or ohm, so which of the two is heavier depends on its voltage: write all in W",
                    m.id
                )
            }),
    );
    let mut all = Vec::new();
    for (contacts, age) in [(Contacts::New, "new"), (Contacts::Aged, "aged")] {
        let sets = [
            (NO_LOAD, Conditions::with(line, contacts, |_| Draw::Nothing)),
            (
                "every module in its lightest state",
                Conditions::with(line, contacts, |m| state(m, false)),
            ),
            (
                "every module in the state in which it starts",
                Conditions::usual(line, contacts),
            ),
            (
                "every module in its heaviest state",
                Conditions::with(line, contacts, |m| state(m, true)),
            ),
            (
                "every module booting at once",
                Conditions::with(line, contacts, boot),
            ),
            (
                "every module at the larger of its boot and its heaviest state",
                Conditions::with(line, contacts, most),
            ),
        ];
        for (name, conditions) in sets {
            let mut input = electric.input(line, &conditions)?;
            input.unknowns.extend(mixed.iter().cloned());
            let outcome = power::solve(&input.network);
            all.push(Case {
                name: format!("{name}, {age} contacts"),
                idle: name == NO_LOAD,
                input,
                outcome,
            });
        }
    }
    Ok(all)
}

/// What a module draws more in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Heavier {
    Boot,
    State,
}

/// Whether a module draws more while it boots or in a state with all its outputs on. `None` where that depends on its voltage.
/// A boot of which nothing is said counts as the lighter; that it is not said is told elsewhere.
fn heavier(module: &Module, state: Option<usize>) -> Option<Heavier> {
    let (Some(input), Some(boot)) = (&module.input, module.boot) else {
        return Some(Heavier::State);
    };
    let outputs_w: f64 = module
        .outputs
        .iter()
        .filter_map(|o| o.power_w)
        .map(|q| q.si)
        .sum();
    // A load in A or ohm lies before the converter.
    let efficiency = input.efficiency.map_or(1.0, |q| q.si);
    let boot_w = boot.power_w.si - outputs_w;
    let at = |v: f64| match state.map(|s| module.loads[s].load) {
        Some(Load::Power(q)) => q.si,
        Some(Load::Current(q)) => q.si * v * efficiency,
        Some(Load::Resistance(q)) => v * v / q.si * efficiency,
        None => 0.0,
    };
    let (least_w, most_w) = (at(input.minimum_v.si), at(input.maximum_v.si));
    if least_w >= boot_w {
        Some(Heavier::State)
    } else if most_w < boot_w {
        Some(Heavier::Boot)
    } else {
        None
    }
}

/// The verdicts that hold for every case: what is not said, what cannot be carried, what is over its limit. The second
/// part is the cases that are operating points.
fn sound<'c>(line: &Line, cases: &'c [Case]) -> (Vec<Verdict>, Vec<(&'c Case, &'c Solution)>) {
    let mut verdicts = Vec::new();
    let mut good = Vec::new();
    let mut missing: Vec<&String> = cases.iter().flat_map(|c| &c.input.unknowns).collect();
    missing.sort();
    missing.dedup();
    if !missing.is_empty() {
        let all: Vec<&str> = missing.iter().map(|s| s.as_str()).collect();
        verdicts.push(unknown("the line", all.join("; ")));
    }
    for case in cases.iter().filter(|c| c.input.unknowns.is_empty()) {
        let evidence = || Evidence::computed(METHOD, &case.input.network);
        match &case.outcome {
            Ok(solution) if solution.limited.is_empty() => good.push((case, solution)),
            Ok(solution) => {
                for s in &solution.limited {
                    let supply = &line.supplies[case.input.sources[*s]];
                    let (asked, limit) = (
                        solution.source_currents_a[*s],
                        supply.current_limit_a.map_or(f64::NAN, |q| q.si),
                    );
                    let against = Against {
                        side: Side::AtMost,
                        limit,
                        narrow: NARROW_A,
                        unit: "A".to_owned(),
                    };
                    let why = format!(
                        "with {} more is asked of it than it gives: no voltage follows from that",
                        case.name
                    );
                    verdicts.push(against.judge(
                        format!("supply.{}", supply.id),
                        asked,
                        evidence(),
                        why,
                    ));
                }
            }
            Err(NetworkError::CannotCarry { scale, node }) => {
                let first = case
                    .input
                    .inlets
                    .iter()
                    .position(|n| *n == Some(*node))
                    .map_or_else(|| "the line".to_owned(), |m| line.module_path(ModuleIx(m)));
                let against = Against {
                    side: Side::AtLeast,
                    limit: 100.0,
                    narrow: NARROW_LOAD_PERCENT,
                    unit: "% of the load that is asked".to_owned(),
                };
                let why = format!(
                    "this line cannot carry that load: with {} it collapses, first at {first}{}",
                    case.name,
                    enough(line, case, *scale)
                );
                verdicts.push(against.judge("the line".to_owned(), 100.0 * scale, evidence(), why));
            }
            Err(error) => {
                verdicts.push(unknown("the line", format!("with {}: {error}", case.name)))
            }
        }
    }
    (verdicts, good)
}

/// What would just carry the load of a case of which the line carries only the share `scale`.
///
/// Kirchhoff's laws keep their form when every voltage grows by k and every power by k^2, and when every resistance grows by
/// 1/k and every power by k: so the share that is carried goes with the square of the supply's voltage, and with one over
/// the resistances. A load of constant current keeps neither form, a resistor not the second.
fn enough(line: &Line, case: &Case, scale: f64) -> String {
    let network = &case.input.network;
    let any = |wanted: fn(&LoadKind) -> bool| network.loads.iter().any(|l| wanted(&l.kind));
    let ([source], false) = (
        network.sources.as_slice(),
        any(|k| matches!(k, LoadKind::Current { .. })),
    ) else {
        return String::new();
    };
    let supply = &line.supplies[case.input.sources[0]];
    // Rounded up, so that what is said is enough.
    let volts = (10.0 * source.voltage_v / libm::sqrt(scale)).ceil() / 10.0;
    let resistances = if any(|k| matches!(k, LoadKind::Resistance { .. })) {
        String::new()
    } else {
        format!(
            ", or with all resistances, that of the supply among them, at {:.1} % of theirs",
            (1000.0 * scale).floor() / 10.0
        )
    };
    format!(
        "; it would just carry it with supply.{} at {volts:.1} V{resistances}",
        supply.id
    )
}

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
    let asked = |m: ModuleIx| of.is_none_or(|o| o == m) && line.modules[m.0].input.is_some();
    for m in (0..line.modules.len()).map(ModuleIx).filter(|m| asked(*m)) {
        verdicts.push(module_voltage(line, m, limits, &good));
    }
    if let Some(m) = of.filter(|m| line.modules[m.0].input.is_none()) {
        verdicts.push(unknown(
            line.module_path(m),
            "this module has no power input",
        ));
    }
    verdicts
}

fn module_voltage(
    line: &Line,
    m: ModuleIx,
    limits: Option<Limits>,
    good: &[(&Case, &Solution)],
) -> Verdict {
    let path = line.module_path(m);
    let Some(input) = &line.modules[m.0].input else {
        return unknown(path, "this module has no power input");
    };
    let (low_limit, high_limit) = match limits {
        Some(l) => (l.at_least.map(|q| q.si), l.at_most.map(|q| q.si)),
        None => (Some(input.minimum_v.si), Some(input.maximum_v.si)),
    };
    let mut voltages = good.iter().filter_map(|(case, solution)| {
        let inlet = case.input.inlets[m.0];
        let unfed = inlet.is_none() && case.idle;
        (!unfed).then(|| (case, inlet.map_or(0.0, |n| solution.voltages_v[n])))
    });
    let Some(first) = voltages.next() else {
        return unknown(path, "no set of states has an operating point");
    };
    let (mut low, mut high) = (first, first);
    for v in voltages {
        if v.1 < low.1 {
            low = v;
        }
        if v.1 > high.1 {
            high = v;
        }
    }
    let side = |side, limit: Option<f64>, (case, value): (&&Case, f64)| {
        limit.map(|limit| {
            let margin = if side == Side::AtLeast {
                value - limit
            } else {
                limit - value
            };
            (
                margin,
                side,
                limit,
                value,
                case.input.network.clone(),
                case.name.clone(),
            )
        })
    };
    let worst = [
        side(Side::AtLeast, low_limit, low),
        side(Side::AtMost, high_limit, high),
    ]
    .into_iter()
    .flatten()
    .min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, side, limit, value, network, name)) = worst else {
        return unknown(path, "the requirement sets no limit");
    };
    let why = format!(
        "with {name}; over all sets {:.2} V to {:.2} V",
        low.1, high.1
    );
    Against {
        side,
        limit,
        narrow: NARROW_V,
        unit: "V".to_owned(),
    }
    .judge(path, value, Evidence::computed(METHOD, &network), why)
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
            verdicts.push(against.judge(path, current, evidence, format!("with {}", case.name)));
        }
    }
    verdicts
}
