//! Faults of the line with the names of the plan: shorts, broken spans, poor contacts, leaks, and what a tester reads.

mod leaks;
mod states;
mod zones;

use plan::{Line, ModuleIx, SpanIx};
use power::fault::{Faulted, bolted_short, contact_borne, settled};
use power::{Binding, Network, NetworkError};
use quantity::{Dimension, show};

use crate::input::{Conditions, Contacts, Electric, ElectricInput, InputError, electric};
use crate::locked_out::beyond_the_supplies;
use crate::reserve::{limits, most_of_span, place};

use crate::insulation::{Acceptance, acceptance};
pub use leaks::{Insulation, LeakAt, LeakKnown};
pub(crate) use zones::fuse_zones;

/// Why faults cannot be told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultsError {
    /// The input cannot be built.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The plan does not say what the network needs.
    #[error("{}", .0.join("; "))]
    Open(Vec<String>),
    /// The plan has no supply.
    #[error("no supply feeds the line")]
    NoSupply,
}

/// A fuse and what a short draws through it.
#[derive(Clone, Debug, PartialEq)]
pub struct FuseSees {
    /// Its span: a typed path.
    pub span: String,
    /// Its rating, A.
    pub rating_a: f64,
    /// Current through it with all loads off, A.
    pub current_a: f64,
}

/// A bolted short at a module.
#[derive(Clone, Debug, PartialEq)]
pub struct ShortAt {
    /// Where: a typed path.
    pub place: String,
    /// What came of it, or why it is unknown.
    pub outcome: Result<ShortKnown, String>,
}

/// What a bolted short does.
#[derive(Clone, Debug, PartialEq)]
pub struct ShortKnown {
    /// Current into it with the loads that live, A.
    pub current_a: f64,
    /// Supplies at their current limit: typed paths.
    pub at_limit: Vec<String>,
    /// The fuse that sees the largest multiple of its rating.
    pub fuse: Option<FuseSees>,
    /// Modules that go on: typed paths.
    pub lives: Vec<String>,
    /// Modules that drop out: typed paths.
    pub drops: Vec<String>,
    /// Those of them whose voltage comes back far enough to start them again: typed paths.
    pub comes_back: Vec<String>,
    /// Whether a module that passes power only while it is powered takes the short off the line again.
    pub taken_off: bool,
}

/// A span that breaks.
#[derive(Clone, Debug, PartialEq)]
pub struct BrokenSpan {
    /// The span: a typed path.
    pub span: String,
    /// Modules without power: typed paths; or why it is unknown.
    pub dies: Result<Vec<String>, String>,
}

/// What a span bears of a poor contact.
#[derive(Clone, Debug, PartialEq)]
pub struct PoorContact {
    /// The span: a typed path.
    pub span: String,
    /// Extra resistance at which something gives way, ohm, infinite where nothing does; or why it is unknown.
    pub bears_ohm: Result<f64, String>,
    /// What gives way first.
    pub gives_way: String,
}

/// The faults of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Faults {
    /// State of the contacts.
    pub contacts: Contacts,
    /// Bolted shorts at each module.
    pub shorts: Vec<ShortAt>,
    /// The weakest place behind each fuse.
    pub fuses: Vec<FuseWeakest>,
    /// Broken spans.
    pub broken: Vec<BrokenSpan>,
    /// Poor contacts.
    pub poor: Vec<PoorContact>,
    /// Leaks at the far end of each span.
    pub leaks: Vec<LeakAt>,
    /// Leak of which the cost is told, ohm.
    pub leak_ohm: f64,
    /// What a tester reads.
    pub insulation: Insulation,
    /// What a reading of each leg must show.
    pub acceptance: Acceptance,
    /// What the figures rest on.
    pub rests_on: Vec<String>,
    /// Cautions.
    pub cautions: Vec<&'static str>,
}

/// A fuse and the place behind it at which a short draws least.
#[derive(Clone, Debug, PartialEq)]
pub struct FuseWeakest {
    /// Its span: a typed path.
    pub span: String,
    /// That place, or why it is unknown.
    pub weakest: Result<WeakestShort, String>,
}

/// The short that draws least through a fuse.
#[derive(Clone, Debug, PartialEq)]
pub struct WeakestShort {
    /// The fuse and its current.
    pub sees: FuseSees,
    /// The place: a typed path.
    pub place: String,
}

const TESTER: &str = "An insulation tester destroys converters, and what it charges bites: take every module off the line before the test, and discharge the cable after it.";

/// Every fault of the line, with these contacts; `leak_ohm` is the leak of which the cost is told, above zero.
///
/// Shorts and broken spans meet the modules in the states in which they start; contacts and leaks every set
/// of states or boots that the exclusive groups allow and in which no module could draw more.
///
/// # Errors
/// Every variant of [`FaultsError`].
pub fn faults(line: &Line, contacts: Contacts, leak_ohm: f64) -> Result<Faults, FaultsError> {
    if line.supplies.is_empty() {
        return Err(FaultsError::NoSupply);
    }
    let electric = electric(line)?;
    let usual = Conditions::usual(line, contacts);
    let base = electric.input(line, &usual)?;
    let heavy = states::heavy_sets(line, &electric, contacts)?;
    let mut unknowns = base.unknowns.clone();
    let sets = heavy.iter().flatten();
    unknowns.extend(sets.flat_map(|input| input.unknowns.iter().cloned()));
    unknowns.sort();
    unknowns.dedup();
    if !unknowns.is_empty() {
        return Err(FaultsError::Open(unknowns));
    }
    let zones = fuse_zones(line, &base);
    let fuses = zones.iter().map(|zone| zone.told(line)).collect();
    let mut shorts = Vec::new();
    for m in (0..line.modules.len()).filter(|m| base.inlets[*m].is_some()) {
        shorts.push(ShortAt {
            place: line.module_path(ModuleIx(m)),
            outcome: short(line, &electric, &usual, &base, m)?,
        });
    }
    let mut broken = Vec::new();
    let mut poor = Vec::new();
    let mut leaks = Vec::new();
    let poles = leaks::poles(line, &base);
    for SpanIx(span) in base.branch_spans.iter().flatten().copied() {
        let path = format!("span.{}", line.spans[span].id);
        broken.push(BrokenSpan {
            dies: dies(line, &electric, &usual, span)?,
            span: path.clone(),
        });
        poor.push(poor_contact(line, &heavy, SpanIx(span)));
        leaks.push(LeakAt {
            outcome: leaks::leak_at(line, &heavy, &poles, SpanIx(span), leak_ohm),
            span: path,
        });
    }
    let mut cautions = crate::cautions::cautions(line);
    cautions.insert(0, TESTER);
    Ok(Faults {
        contacts,
        shorts,
        fuses,
        broken,
        poor,
        leaks,
        leak_ohm,
        insulation: leaks::insulation(line),
        acceptance: acceptance(line),
        rests_on: rests_on(line, &electric),
        cautions,
    })
}

/// Each load's lowest voltage, V: its module's lock-out, or the lowest voltage of its input.
fn lowest_v(line: &Line, input: &ElectricInput) -> Vec<f64> {
    let of = |node: usize| {
        let m = input.inlets.iter().position(|n| *n == Some(node))?;
        let input = line.modules[m].input.as_ref()?;
        Some(input.lock_out.map_or(input.minimum_v.si, |l| l.off_v.si))
    };
    // A load without an input is a resistor at most, and a resistor lives at every voltage.
    let loads = input.network.loads.iter();
    loads.map(|load| of(load.node).unwrap_or(0.0)).collect()
}

/// The least that a span bears of a poor contact in any of these sets of states.
fn poor_contact(
    line: &Line,
    heavy: &Result<Vec<ElectricInput>, String>,
    span: SpanIx,
) -> PoorContact {
    let mut told = PoorContact {
        span: format!("span.{}", line.spans[span.0].id),
        bears_ohm: Ok(f64::INFINITY),
        gives_way: gives_way(line, None),
    };
    let heavy = match heavy {
        Ok(heavy) => heavy,
        Err(why) => {
            told.bears_ohm = Err(why.clone());
            return told;
        }
    };
    for input in heavy {
        let Some(branch) = branch_of(input, span) else {
            continue;
        };
        match contact_borne(&input.network, branch, &limits(line, input)) {
            Ok(borne) => {
                if told
                    .bears_ohm
                    .as_ref()
                    .is_ok_and(|least| borne.resistance_ohm < *least)
                {
                    told.bears_ohm = Ok(borne.resistance_ohm);
                    told.gives_way = gives_way(line, borne.binds.map(|b| (input, b)));
                }
            }
            Err(error) => told.bears_ohm = Err(error.to_string()),
        }
    }
    told
}

pub(crate) fn branch_of(input: &ElectricInput, span: SpanIx) -> Option<usize> {
    input.branch_spans.iter().position(|of| *of == Some(span))
}

fn gives_way(line: &Line, binds: Option<(&ElectricInput, Binding)>) -> String {
    let Some((input, binds)) = binds else {
        return "nothing".to_owned();
    };
    match binds {
        Binding::Collapse => "the line collapses".to_owned(),
        Binding::Source { source } => format!(
            "supply.{} at its current limit",
            line.supplies[input.sources[source]].id
        ),
        Binding::Span { span } => match input.branch_spans.get(span).copied().flatten() {
            Some(SpanIx(s)) => {
                let span = &line.spans[s];
                let of_the_fuse = most_of_span(span).is_some_and(|(_, fuse)| fuse);
                let what = if of_the_fuse {
                    "the rating of its fuse"
                } else {
                    "its rated current"
                };
                format!("span.{} at {what}", span.id)
            }
            None => "a way through a module".to_owned(),
        },
        Binding::Voltage { node } => input
            .inlets
            .iter()
            .position(|n| *n == Some(node))
            .map_or_else(
                || "a voltage".to_owned(),
                |m| {
                    let own = line.modules[m].input.as_ref();
                    let locks = own
                        .is_some_and(|i| i.lock_out.is_some_and(|l| l.off_v.si >= i.minimum_v.si));
                    let what = if locks {
                        "switched off by its lock-out"
                    } else {
                        "below its lowest voltage"
                    };
                    format!("{} {what}", line.module_path(ModuleIx(m)))
                },
            ),
    }
}

/// Who lives, with what drops out no longer passing power where it passes only while powered. Every round but the last takes
/// a module's power, so it ends.
pub(crate) struct Lived {
    pub(crate) input: ElectricInput,
    pub(crate) faulted: Faulted,
    pub(crate) dead: Vec<bool>,
}

pub(crate) fn live_through(
    line: &Line,
    electric: &Electric,
    conditions: &Conditions,
    fault: impl Fn(&ElectricInput, &[f64]) -> Result<Faulted, NetworkError>,
) -> Result<Result<Lived, NetworkError>, InputError> {
    let mut conditions = conditions.clone();
    let mut dead = vec![false; line.modules.len()];
    for beyond in beyond_the_supplies(line).iter().filter(|b| b.by_lock_out) {
        dead[beyond.module.0] = true;
        conditions.draws[beyond.module.0] = crate::input::Draw::Nothing;
        conditions.working[beyond.module.0] = false;
    }
    loop {
        let input = electric.input(line, &conditions)?;
        let lowest_v = lowest_v(line, &input);
        let faulted = match fault(&input, &lowest_v) {
            Ok(faulted) => faulted,
            Err(error) => return Ok(Err(error)),
        };
        // What has gone off stays off, also when it has taken the fault off the line.
        let now = states::dead(line, &input, &faulted, &lowest_v);
        for (dead, now) in dead.iter_mut().zip(now) {
            *dead |= now;
        }
        let before = conditions.clone();
        for (m, module) in line.modules.iter().enumerate() {
            let passes = module.passes.map_or(plan::PassWhen::Always, |p| p.power);
            let shuts = matches!(passes, plan::PassWhen::Powered | plan::PassWhen::Running);
            if dead[m] && shuts {
                conditions.draws[m] = crate::input::Draw::Nothing;
            }
        }
        if conditions == before {
            return Ok(Ok(Lived {
                input,
                faulted,
                dead,
            }));
        }
    }
}

fn short(
    line: &Line,
    electric: &Electric,
    usual: &Conditions,
    base: &ElectricInput,
    m: usize,
) -> Result<Result<ShortKnown, String>, InputError> {
    let lived = live_through(line, electric, usual, |input, lowest_v| {
        match input.inlets[m] {
            Some(node) => bolted_short(&input.network, node, lowest_v),
            None => settled(&input.network, lowest_v),
        }
    })?;
    let lived = match lived {
        Ok(lived) => lived,
        Err(error) => return Ok(Err(named(line, base, &error))),
    };
    if let Some(why) = asked_too_much(line, &lived) {
        return Ok(Err(why));
    }
    let unloaded = Network {
        loads: Vec::new(),
        ..base.network.clone()
    };
    let node = base.inlets[m].expect("only modules that are fed are asked");
    let alone = match bolted_short(&unloaded, node, &[]) {
        Ok(alone) => alone,
        Err(error) => return Ok(Err(named(line, base, &error))),
    };
    let fuse = base
        .branch_spans
        .iter()
        .enumerate()
        .filter_map(|(branch, of)| {
            let span = &line.spans[(*of)?.0];
            Some(FuseSees {
                span: format!("span.{}", span.id),
                rating_a: span.fuse_a?.si,
                current_a: alone.branch_currents_a[branch].abs(),
            })
        })
        // Less is rounding.
        .filter(|fuse| fuse.current_a > 1e-9 * alone.short_a)
        .max_by(|a, b| (a.current_a / a.rating_a).total_cmp(&(b.current_a / b.rating_a)));
    let with_input = |dead: bool| {
        let modules = (0..line.modules.len()).filter(|&i| line.modules[i].input.is_some());
        let named = modules.filter(|&i| lived.dead[i] == dead);
        named.map(|i| line.module_path(ModuleIx(i))).collect()
    };
    Ok(Ok(ShortKnown {
        current_a: lived.faulted.short_a,
        at_limit: lived
            .faulted
            .at_limit
            .iter()
            .map(|s| format!("supply.{}", line.supplies[lived.input.sources[*s]].id))
            .collect(),
        fuse,
        lives: with_input(false),
        drops: with_input(true),
        comes_back: comes_back(line, &lived),
        taken_off: lived.input.inlets[m].is_none(),
    }))
}

fn comes_back(line: &Line, lived: &Lived) -> Vec<String> {
    let starts = |m: &usize| {
        let (Some(node), Some(own)) = (lived.input.inlets[*m], &line.modules[*m].input) else {
            return false;
        };
        let on_v = own.lock_out.map_or(own.minimum_v.si, |l| l.on_v.si);
        lived.dead[*m] && lived.faulted.voltages_v[node] >= on_v
    };
    let modules = (0..line.modules.len()).filter(starts);
    modules.map(|m| line.module_path(ModuleIx(m))).collect()
}

fn dies(
    line: &Line,
    electric: &Electric,
    usual: &Conditions,
    span: usize,
) -> Result<Result<Vec<String>, String>, InputError> {
    let mut conditions = usual.clone();
    conditions.whole[span] = false;
    let lived = live_through(line, electric, &conditions, |input, lowest_v| {
        settled(&input.network, lowest_v)
    })?;
    Ok(lived.map_err(|error| error.to_string()).and_then(|lived| {
        if let Some(why) = asked_too_much(line, &lived) {
            return Err(why);
        }
        let modules = (0..line.modules.len()).filter(|&m| {
            let module = &line.modules[m];
            lived.dead[m] && (module.input.is_some() || lived.input.inlets[m].is_none())
        });
        Ok(modules.map(|m| line.module_path(ModuleIx(m))).collect())
    }))
}

/// Why it is unknown who goes on where a supply away from the short gives no more than its limit.
pub(crate) fn asked_too_much(line: &Line, lived: &Lived) -> Option<String> {
    let over = &lived.faulted.over_limit;
    let supply = |s: &usize| {
        let supply = &line.supplies[lived.input.sources[*s]];
        let current_a = lived.faulted.source_currents_a[*s];
        let limit_a = supply.current_limit_a.map_or(f64::INFINITY, |q| q.si);
        format!(
            "supply.{} would have to give {current_a:.2} A of its {limit_a} A",
            supply.id
        )
    };
    let asked: Vec<String> = over.iter().map(supply).collect();
    (!asked.is_empty()).then(|| {
        format!(
            "{}, so its voltage falls below what is reckoned with, and who goes on is unknown",
            asked.join(" and ")
        )
    })
}

/// Why a network has no solution, with the names of the plan.
pub(crate) fn named(line: &Line, input: &ElectricInput, error: &NetworkError) -> String {
    match error {
        NetworkError::CannotCarry { scale, node } => format!(
            "the line carries only {:.1} % of its load and collapses, first at {}; `boots-carried` and the voltages tell in which states, and what would carry it",
            100.0 * scale,
            place(line, input, *node)
        ),
        NetworkError::CurrentLoadsCollapse { node, voltage_v } => format!(
            "the constant-current loads pull {} to {}",
            place(line, input, *node),
            show(*voltage_v, Dimension::Voltage)
        ),
        NetworkError::IdealShort { source_index } => format!(
            "supply.{} has neither resistance nor current limit: what it gives into a short at its terminals is not said",
            line.supplies[input.sources[*source_index]].id
        ),
        other => other.to_string(),
    }
}

fn rests_on(line: &Line, electric: &Electric) -> Vec<String> {
    let mut all = vec![
        "shorts and broken spans meet the modules in the states in which they start; contacts and leaks the heaviest states or boots, all at once, in every set that the exclusive groups allow and in which no module could draw more".to_owned(),
        "bolted shorts at rest: no arc, no capacitors that discharge into it, supplies that hold their current limit; what a fuse needs to melt is its maker's curve".to_owned(),
    ];
    for (i, span) in line.spans.iter().enumerate() {
        if let Some(warm) = electric.warm(SpanIx(i)) {
            all.push(format!(
                "span.{}: conductors at {:.1} degC, as warm as its own loss makes them at most",
                span.id, warm.conductor_degc
            ));
        } else if span.conductor.is_some() && span.heat.is_none() {
            all.push(format!(
                "span.{}: conductors as warm as the water (it says nothing of `heat`)",
                span.id
            ));
        }
    }
    all
}
