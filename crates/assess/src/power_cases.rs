//! The network in every set of states that matters.
//!
//! On the high-voltage branch the largest loads give the lowest voltage everywhere, so the set in which every module draws
//! its most is the worst: the larger of its heaviest state and its boot, since one may restart while the others work. The
//! least loads give the highest voltage. The sets between them (the usual one, all in their heaviest states, all booting at
//! once) are there because people ask for them by name. Each is taken with new and with aged contacts.
//! Where exclusive groups forbid that set, lock-outs would not let it last, or which of its ways a module draws most in
//! depends on its voltage (loads in W, A and ohm), the worst combinations are searched
//! ([`crate::combinations`]).

use std::mem::discriminant;

use plan::{Line, Load, Module, ModuleIx, PassWhen};
use power::{LoadKind, NetworkError, Solution};

use crate::carried::NARROW_LOAD_PERCENT;
use crate::combinations::{Combinations, FallsOut, anything_falls_out, off_v};
use crate::input::{
    Conditions, Contacts, Draw, Electric, ElectricInput, Heaviest, InputError, boots, electric,
    heaviest_way,
};
use crate::power_verdicts::NARROW_A;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

pub(crate) const METHOD: &str = "direct-current network, high-voltage solution (docs/method/power.md; IEC 60228 and ASTM B258 conductors)";

const NO_LOAD: &str = "no load";
const HEAVIEST: &str = "every module in its heaviest state";
pub(crate) const LARGEST: &str = "every module at the larger of its boot and its heaviest state";

/// The sets of states that matter.
pub(crate) struct Cases {
    pub(crate) all: Vec<Case>,
    /// Modules that their lock-outs switch off in some set.
    pub(crate) falls_out: Vec<FallsOut>,
    /// Why some set was not found.
    pub(crate) not_found: Vec<String>,
    /// Why it is unknown how warm some cables become.
    warmth_unknown: Vec<String>,
}

impl Cases {
    /// Whether a case says something: all that it needs is known, or it collapses already with cables that are too cold.
    fn tells(&self, case: &Case) -> bool {
        let collapses = matches!(case.outcome, Err(NetworkError::CannotCarry { .. }));
        let mut unknowns = case.input.unknowns.iter();
        case.input.unknowns.is_empty()
            || collapses && unknowns.all(|u| self.warmth_unknown.contains(u))
    }
}

/// One set of states and what came of it.
#[derive(Clone)]
pub(crate) struct Case {
    pub(crate) name: String,
    /// Nothing draws: a module that passes power only while powered then passes none, and what lies behind it is left out.
    pub(crate) idle: bool,
    /// Some module boots.
    pub(crate) boots: bool,
    /// Modules that a lock-out has switched off: they draw nothing, and their voltage is no matter.
    pub(crate) off: Vec<bool>,
    pub(crate) input: ElectricInput,
    pub(crate) outcome: Result<Solution, NetworkError>,
}

pub(crate) fn cases(line: &Line) -> Result<Cases, InputError> {
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
        if boots(m) {
            Draw::Boot
        } else {
            state(m, false)
        }
    };
    let heaviest = line
        .modules
        .iter()
        .map(heaviest_way)
        .collect::<Result<Vec<_>, _>>()?;
    // By its unit alone where that is not known; the search then takes its place.
    let most = |m: usize| match &heaviest[m] {
        Some(found) => found.draw.clone(),
        None => state(&line.modules[m], true),
    };
    let mixed = lightest_unknown(line);
    let mut found = Cases {
        all: Vec::new(),
        falls_out: Vec::new(),
        not_found: Vec::new(),
        warmth_unknown: electric.warmth_unknown().to_vec(),
    };
    for contacts in [Contacts::New, Contacts::Aged] {
        let mut all = Vec::new();
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
                HEAVIEST,
                Conditions::with(line, contacts, |m| state(m, true)),
            ),
            (
                "every module booting at once",
                Conditions::with(line, contacts, boot),
            ),
            (
                LARGEST,
                Conditions {
                    draws: (0..line.modules.len()).map(most).collect(),
                    ..Conditions::usual(line, contacts)
                },
            ),
        ];
        for (name, conditions) in sets {
            let mut input = electric.input(line, &conditions)?;
            input.unknowns.extend(mixed.iter().cloned());
            let outcome = power::solve(&input.network);
            all.push(Case {
                name: format!("{name}, {}", age(contacts)),
                idle: name == NO_LOAD,
                boots: conditions.draws.contains(&Draw::Boot),
                off: vec![false; line.modules.len()],
                input,
                outcome,
            });
        }
        let heavy = |case: &Case| case.name.starts_with(HEAVIEST) || case.name.starts_with(LARGEST);
        let lasts = |case: &Case| case.idle || !anything_falls_out(line, case);
        let found_by_kind = |case: &Case| !heavy(case) || is_heaviest(line, case, &heaviest);
        if !line.exclusives.is_empty() || !all.iter().all(|case| lasts(case) && found_by_kind(case))
        {
            all.retain(|case| !heavy(case) && lasts(case));
            search(line, &electric, contacts, &mut all, &mut found)?;
        }
        found.all.extend(all);
    }
    Ok(found)
}

/// State of the contacts, in words.
pub(crate) fn age(contacts: Contacts) -> &'static str {
    match contacts {
        Contacts::New => "new contacts",
        Contacts::Aged => "aged contacts",
    }
}

/// The worst combinations in place of the sets that are not allowed or do not last.
fn search(
    line: &Line,
    electric: &Electric,
    contacts: Contacts,
    all: &mut Vec<Case>,
    found: &mut Cases,
) -> Result<(), InputError> {
    let worst = match Combinations::of(line, electric, contacts)? {
        Ok(combinations) => combinations.worst(line),
        Err(why) => Err(why),
    };
    match worst {
        Ok((cases, falls_out)) => {
            all.extend(cases);
            found.falls_out.extend(falls_out);
        }
        Err(why) => found
            .not_found
            .push(format!("with {}: {why}", age(contacts))),
    }
    Ok(())
}

/// Whether no module draws more in another way at the voltage that it has.
fn is_heaviest(line: &Line, case: &Case, heaviest: &[Option<Heaviest>]) -> bool {
    let in_range = |m: usize| {
        let (Ok(at), Some(inlet), Some(input)) =
            (&case.outcome, case.input.inlets[m], &line.modules[m].input)
        else {
            return true;
        };
        let range_v = input.minimum_v.si..=input.maximum_v.si;
        range_v.contains(&at.voltages_v[inlet])
    };
    heaviest.iter().enumerate().all(|(m, found)| {
        found
            .as_ref()
            .is_some_and(|found| found.everywhere || in_range(m))
    })
}

/// The highest voltage behind a module that passes power only while it is powered is that of the lightest states.
fn lightest_unknown(line: &Line) -> Vec<String> {
    let always = |m: &Module| {
        m.passes
            .is_none_or(|p| matches!(p.power, PassWhen::Always | PassWhen::Never))
    };
    if line.modules.iter().all(always) {
        return Vec::new();
    }
    let mixes = |m: &&Module| {
        m.loads
            .windows(2)
            .any(|w| discriminant(&w[0].load) != discriminant(&w[1].load))
    };
    let told = line.modules.iter().filter(mixes).map(|m| {
        format!(
            "module.{} mixes loads in W, A and ohm, so which state is the lightest depends on its voltage: write all in one unit",
            m.id
        )
    });
    told.collect()
}

/// Why the line does not keep its modules in the states in which they start; `None` where it does, and where that is not known.
pub(crate) fn not_kept(line: &Line) -> Option<String> {
    let electric = electric(line).ok()?;
    let of = |contacts: Contacts| {
        let input = electric
            .input(line, &Conditions::usual(line, contacts))
            .ok()?;
        if !input.unknowns.is_empty() {
            return None;
        }
        let found = match power::solve(&input.network) {
            Err(NetworkError::CannotCarry { scale, .. }) => {
                format!(
                    "the line carries only {:.1} % of what is drawn",
                    100.0 * scale
                )
            }
            Err(_) => return None,
            Ok(at) => {
                if let Some(over) = at.limited.first() {
                    let asked_a = at.source_currents_a[*over];
                    let supply = &line.supplies[input.sources[*over]].id;
                    format!("supply.{supply} is asked for {asked_a:.3} A, more than it gives")
                } else {
                    let too_low = |m: &usize| {
                        let module = &line.modules[*m];
                        let least_v = module.input.as_ref().map(|i| i.minimum_v.si);
                        let least_v = least_v.into_iter().chain(off_v(module)).fold(0.0, f64::max);
                        input.inlets[*m].is_some_and(|inlet| at.voltages_v[inlet] < least_v)
                    };
                    let m = (0..line.modules.len()).find(too_low)?;
                    let volts = at.voltages_v[input.inlets[m]?];
                    format!(
                        "{} is at {volts:.2} V, too low for it",
                        line.module_path(ModuleIx(m))
                    )
                }
            }
        };
        Some(format!(
            "with every module in the state in which it starts, {}, {found}",
            age(contacts)
        ))
    };
    of(Contacts::Aged).or_else(|| of(Contacts::New))
}

/// The verdicts that hold for every case: what is not said, what cannot be carried, what is over its limit. The second
/// part is the cases that are operating points.
pub(crate) fn sound<'c>(
    line: &Line,
    cases: &'c Cases,
) -> (Vec<Verdict>, Vec<(&'c Case, &'c Solution)>) {
    sound_of(line, cases, |_| true)
}

/// The same of those cases that are wanted.
pub(crate) fn sound_of<'c>(
    line: &Line,
    cases: &'c Cases,
    wanted: impl Fn(&Case) -> bool,
) -> (Vec<Verdict>, Vec<(&'c Case, &'c Solution)>) {
    let mut verdicts = Vec::new();
    let mut good = Vec::new();
    let mut missing: Vec<&String> = cases.all.iter().flat_map(|c| &c.input.unknowns).collect();
    missing.sort();
    missing.dedup();
    if !missing.is_empty() {
        let all: Vec<&str> = missing.iter().map(|s| s.as_str()).collect();
        verdicts.push(unknown("the line", all.join("; ")));
    }
    for why in &cases.not_found {
        verdicts.push(unknown(
            "the line",
            format!("the worst combination is not known {why}"),
        ));
    }
    for case in cases.all.iter().filter(|c| cases.tells(c) && wanted(c)) {
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
