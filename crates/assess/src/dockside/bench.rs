//! The line on the quay as the network that is read: in which setups, with which values, with which spreads.
//!
//! A setup is a part of the line in a set of states: joined as far as one module with all at rest in the states in which they start, the whole line with its loads off,
//! the whole line in these states, and that with one module at its heaviest. Values are one set of resistances, voltages and loads; a fault or a draw of the
//! spreads is another set.

use plan::{ExclusiveMember, Line, Load, Module, ModuleIx, Q, SpanIx};
use power::LoadKind;
use quantity::{HALF_WIDTH_DEVIATIONS, Law};

use super::quay::Quay;
use crate::input::{
    Conditions, Contacts, Draw, Electric, ElectricInput, InputError, draws, electric_at, size,
};

/// In which state the line is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setup {
    /// Joined as far as this module; all joined ones in the states in which they start.
    Joined(ModuleIx),
    /// The whole line, nothing draws.
    Off,
    /// The whole line, every module in the state in which it starts.
    Usual,
    /// The same with this module in its heaviest state and its outputs on.
    Heaviest(ModuleIx),
}

/// A resistance of a setup's network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Leg {
    /// A span's loop.
    Span(usize),
    /// The way through a module.
    Through(usize),
}

/// The network of a setup without its values.
#[derive(Clone, Debug)]
pub(super) struct Topology {
    pub(super) nodes: usize,
    /// Ends of each resistance, and which it is.
    pub(super) legs: Vec<(usize, usize, Leg)>,
    /// Node and supply of each source.
    pub(super) sources: Vec<(usize, usize)>,
    /// The inlet of each module; `None` where no power comes.
    pub(super) inlets: Vec<Option<usize>>,
}

/// A setup that is read.
#[derive(Clone, Debug)]
pub(super) struct Read {
    pub(super) setup: Setup,
    pub(super) conditions: Conditions,
    pub(super) topology: Topology,
    /// What the plan does not say of it.
    pub(super) unknowns: Vec<String>,
}

/// One set of values of the line.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Values {
    /// Loop of each span's conductors at the day's temperature, ohm.
    pub(super) wire_ohm: Vec<f64>,
    /// Mated contacts of each span, from its one end and from its other, ohm.
    pub(super) contact_ohm: Vec<[f64; 2]>,
    /// What joining adds at each end, which no reading of the leg alone sees, ohm.
    pub(super) joining_ohm: Vec<[f64; 2]>,
    /// The way through each module, ohm.
    pub(super) through_ohm: Vec<f64>,
    /// Open-circuit voltage of each supply, V.
    pub(super) supply_v: Vec<f64>,
    /// Its resistance, ohm.
    pub(super) supply_ohm: Vec<f64>,
    /// What each module draws in the state in which it starts.
    pub(super) usual: Vec<Vec<LoadKind>>,
    /// What it draws at its heaviest.
    pub(super) heavy: Vec<Vec<LoadKind>>,
    /// Which module sits at the place of each.
    pub(super) occupant: Vec<usize>,
    /// What joins the two conductors at each module, ohm.
    pub(super) leak_ohm: Vec<Option<f64>>,
}

/// Something of which a spread is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Knob {
    /// Conductors of a span, as a share.
    Wire(usize),
    /// Temperature of all copper, K.
    Temperature,
    /// Contacts of a span together, ohm.
    Contacts(usize),
    /// Way through a module, as a share.
    Through(usize),
    /// What a module draws where it starts, as a share.
    Usual(usize),
    /// What it draws at its heaviest, as a share.
    Heavy(usize),
    /// Efficiency of its converter, as a share of what it draws in every state.
    Converter(usize),
    /// Voltage of a supply, as a share.
    SupplyVolts(usize),
    /// Resistance of a supply, as a share.
    SupplyOhms(usize),
}

/// The line on the quay.
#[derive(Clone, Debug)]
pub(super) struct Bench<'l> {
    pub(super) line: &'l Line,
    pub(super) electric: Electric,
    pub(super) nominal: Values,
    /// The knobs with their standard deviations, those above zero.
    pub(super) knobs: Vec<(Knob, f64)>,
    /// The setups in the order in which they are read.
    pub(super) reads: Vec<Read>,
    /// The heaviest state of each module, and `None` where it has none heavier than that in which it starts; why it is not read.
    pub(super) heaviest: Vec<Result<Option<usize>, String>>,
    /// The modules in the order in which they are joined, each with the span by which.
    pub(super) order: Vec<(ModuleIx, Option<SpanIx>)>,
    /// Share by which the resistance of copper changes with one kelvin at the day's temperature, 1/K.
    pub(super) copper_per_k: f64,
}

impl<'l> Bench<'l> {
    pub(super) fn of(line: &'l Line, quay: &Quay) -> Result<Bench<'l>, InputError> {
        let electric = electric_at(line, quay.temperature_degc)?;
        let order = assembled(line, &electric);
        let heaviest: Vec<_> = (0..line.modules.len())
            .map(|m| heaviest_state(line, m))
            .collect();
        let mut bench = Bench {
            line,
            nominal: nominal(line, &electric, &heaviest)?,
            knobs: Vec::new(),
            reads: Vec::new(),
            heaviest,
            order,
            copper_per_k: power::conductor::resistance_change_per_k(quay.temperature_degc),
            electric,
        };
        bench.knobs = bench.spreads(quay);
        let joined = bench.order.iter().map(|(m, _)| Setup::Joined(*m));
        let heavy = (0..line.modules.len())
            .filter(|m| matches!(bench.heaviest[*m], Ok(Some(_))))
            .filter(|m| bench.order.iter().any(|(placed, _)| placed.0 == *m))
            .map(|m| Setup::Heaviest(ModuleIx(m)));
        let setups: Vec<Setup> = joined
            .chain([Setup::Off, Setup::Usual])
            .chain(heavy)
            .collect();
        for setup in setups {
            let conditions = bench.conditions(setup);
            let input = bench.electric.input(line, &conditions)?;
            let unknowns = input.unknowns.clone();
            bench.reads.push(Read {
                setup,
                topology: topology(&input),
                conditions,
                unknowns,
            });
        }
        Ok(bench)
    }

    fn conditions(&self, setup: Setup) -> Conditions {
        let usual = Conditions::usual(self.line, Contacts::New);
        match setup {
            Setup::Usual => usual,
            Setup::Off => Conditions::with(self.line, Contacts::New, |_| Draw::Nothing),
            Setup::Heaviest(m) => {
                let mut conditions = usual;
                conditions.draws[m.0] = heaviest_draw(self.line, &self.heaviest, m.0);
                conditions
            }
            Setup::Joined(last) => {
                let mut conditions = usual;
                conditions.whole.fill(false);
                conditions.giving.fill(false);
                for (module, span) in &self.order {
                    if let Some(span) = span {
                        conditions.whole[span.0] = true;
                    }
                    for (s, supply) in self.line.supplies.iter().enumerate() {
                        conditions.giving[s] |= supply.module == *module;
                    }
                    if *module == last {
                        break;
                    }
                }
                conditions
            }
        }
    }

    /// The network of a setup with a span cut.
    pub(super) fn cut(&self, read: &Read, span: usize) -> Option<Topology> {
        let mut conditions = read.conditions.clone();
        conditions.whole[span] = false;
        let input = self.electric.input(self.line, &conditions).ok()?;
        Some(topology(&input))
    }

    /// The knobs of which a spread is known, with standard deviations.
    fn spreads(&self, quay: &Quay) -> Vec<(Knob, f64)> {
        let line = self.line;
        let half = |share: f64| share / HALF_WIDTH_DEVIATIONS;
        let or = |q: Option<Q>, unsaid: f64| {
            let written = q.and_then(|q| q.law.map(|law| deviation(law) / q.si.abs().max(1e-12)));
            written.unwrap_or_else(|| half(unsaid))
        };
        let mut all = vec![(Knob::Temperature, half(quay.within_k))];
        for (s, span) in line.spans.iter().enumerate() {
            if span.conductor.is_none() {
                continue;
            }
            let length = span.written_length_m.map_or(0.0, |q| or(Some(q), 0.0));
            all.push((Knob::Wire(s), libm::hypot(half(quay.wire_share), length)));
            if let Some(contacts) = span.contacts {
                let each = contacts.resistance_ohm.law.map_or(0.0, deviation);
                let all_ohm = f64::from(contacts.mated_pins_in_loop) * each;
                all.push((Knob::Contacts(s), all_ohm));
            }
        }
        for (m, module) in line.modules.iter().enumerate() {
            all.push((Knob::Through(m), or(module.through_ohm, quay.wire_share)));
            let state = |state: Option<usize>| state.map(|s| quantity_of(&module.loads[s].load));
            all.push((Knob::Usual(m), or(state(module.starts_in), quay.load_share)));
            if let Ok(Some(heavy)) = self.heaviest[m] {
                all.push((Knob::Heavy(m), or(state(Some(heavy)), quay.load_share)));
            }
            let efficiency = module.input.as_ref().and_then(|i| i.efficiency);
            all.push((Knob::Converter(m), or(efficiency, 0.0)));
        }
        for (s, supply) in line.supplies.iter().enumerate() {
            all.push((
                Knob::SupplyVolts(s),
                or(Some(supply.voltage_v), quay.supply_share),
            ));
            all.push((Knob::SupplyOhms(s), or(Some(supply.resistance_ohm), 0.0)));
        }
        all.retain(|(_, deviation)| *deviation > 0.0);
        all
    }

    /// Values with each knob moved by so much, in the order of [`Bench::knobs`].
    pub(super) fn moved(&self, by: &[f64]) -> Values {
        let mut values = self.nominal.clone();
        for ((knob, _), by) in self.knobs.iter().zip(by) {
            match *knob {
                Knob::Wire(s) => values.wire_ohm[s] *= 1.0 + by,
                Knob::Temperature => {
                    let times = 1.0 + self.copper_per_k * by;
                    values.wire_ohm.iter_mut().for_each(|ohm| *ohm *= times);
                }
                Knob::Contacts(s) => {
                    for ohm in &mut values.contact_ohm[s] {
                        *ohm = (*ohm + 0.5 * by).max(0.0);
                    }
                }
                Knob::Through(m) => values.through_ohm[m] *= (1.0 + by).max(0.0),
                Knob::Usual(m) => scale(&mut values.usual[m], 1.0 + by),
                Knob::Heavy(m) => scale(&mut values.heavy[m], 1.0 + by),
                Knob::Converter(m) => {
                    scale(&mut values.usual[m], 1.0 + by);
                    scale(&mut values.heavy[m], 1.0 + by);
                }
                Knob::SupplyVolts(s) => values.supply_v[s] *= 1.0 + by,
                Knob::SupplyOhms(s) => values.supply_ohm[s] *= (1.0 + by).max(0.0),
            }
        }
        values
    }

    /// Which of the setups this is.
    pub(super) fn read_of(&self, setup: Setup) -> Option<usize> {
        self.reads.iter().position(|r| r.setup == setup)
    }
}

/// Makes loads so many times as large; none is left of zero.
pub(super) fn scale(loads: &mut Vec<LoadKind>, times: f64) {
    if times <= 0.0 {
        loads.clear();
        return;
    }
    for load in loads {
        match load {
            LoadKind::Power { power_w } => *power_w *= times,
            LoadKind::Current { current_a } => *current_a *= times,
            LoadKind::Resistance { resistance_ohm } => *resistance_ohm /= times,
        }
    }
}

fn quantity_of(load: &Load) -> Q {
    match load {
        Load::Power(q) | Load::Current(q) | Load::Resistance(q) => *q,
    }
}

/// Standard deviation of a law.
pub(super) fn deviation(law: Law) -> f64 {
    match law {
        Law::Normal { half_width } => half_width / HALF_WIDTH_DEVIATIONS,
        Law::Uniform { half_width } => half_width / libm::sqrt(3.0),
    }
}

fn topology(input: &ElectricInput) -> Topology {
    let at = |m: &usize| input.inlets[*m];
    let legs = input.network.spans.iter().zip(&input.branch_spans);
    let legs = legs.filter_map(|(branch, span)| {
        let leg = match span {
            Some(SpanIx(s)) => Leg::Span(*s),
            None => Leg::Through((0..input.inlets.len()).find(|m| at(m) == Some(branch.a))?),
        };
        Some((branch.a, branch.b, leg))
    });
    let sources = input.network.sources.iter().zip(&input.sources);
    Topology {
        nodes: input.network.nodes,
        legs: legs.collect(),
        sources: sources.map(|(source, s)| (source.node, *s)).collect(),
        inlets: input.inlets.clone(),
    }
}

fn nominal(
    line: &Line,
    electric: &Electric,
    heaviest: &[Result<Option<usize>, String>],
) -> Result<Values, InputError> {
    let modules = line.modules.len();
    let spans = line.spans.len();
    let contacts = |span: &plan::Span| {
        let all_ohm = span.contacts.map_or(0.0, |c| {
            f64::from(c.mated_pins_in_loop) * c.resistance_ohm.si
        });
        [0.5 * all_ohm; 2]
    };
    let drawn = |draw: &Draw, m: &Module| draws(m, draw, &mut Vec::new());
    let usual = Conditions::usual(line, Contacts::New);
    let each = line.modules.iter().enumerate();
    let usual: Vec<Vec<LoadKind>> = each
        .clone()
        .map(|(i, m)| drawn(&usual.draws[i], m))
        .collect::<Result<_, _>>()?;
    let heavy: Vec<Vec<LoadKind>> = each
        .map(|(i, m)| drawn(&heaviest_draw(line, heaviest, i), m))
        .collect::<Result<_, _>>()?;
    Ok(Values {
        wire_ohm: (0..spans)
            .map(|s| electric.wire_ohm(SpanIx(s)).unwrap_or(0.0))
            .collect(),
        contact_ohm: line.spans.iter().map(contacts).collect(),
        joining_ohm: vec![[0.0; 2]; spans],
        through_ohm: line
            .modules
            .iter()
            .map(|m| m.through_ohm.map_or(0.0, |q| q.si))
            .collect(),
        supply_v: line.supplies.iter().map(|s| s.voltage_v.si).collect(),
        supply_ohm: line.supplies.iter().map(|s| s.resistance_ohm.si).collect(),
        usual,
        heavy,
        occupant: (0..modules).collect(),
        leak_ohm: vec![None; modules],
    })
}

/// What a module draws at its heaviest; as it starts where that is no lighter.
fn heaviest_draw(line: &Line, heaviest: &[Result<Option<usize>, String>], m: usize) -> Draw {
    let module = &line.modules[m];
    match &heaviest[m] {
        Ok(Some(state)) => Draw::State {
            state: Some(*state),
            outputs_on: vec![true; module.outputs.len()],
        },
        _ => Draw::State {
            state: module.starts_in,
            outputs_on: module.outputs.iter().map(|o| o.starts_on).collect(),
        },
    }
}

/// The state in which a module draws most from the open voltage of the first supply with all its outputs on, where that is more than it draws as it starts.
fn heaviest_state(line: &Line, m: usize) -> Result<Option<usize>, String> {
    let module = &line.modules[m];
    let volts = line.supplies.first().map_or(1.0, |s| s.voltage_v.si);
    let current_a = |draw: &Draw| -> Result<f64, String> {
        let ways = draws(module, draw, &mut Vec::new()).map_err(|e| e.to_string())?;
        let [power_w, current_a, conductance_s] = size(&ways);
        Ok(power_w / volts + current_a + conductance_s * volts)
    };
    let on = vec![true; module.outputs.len()];
    let usual_a = current_a(&Draw::State {
        state: module.starts_in,
        outputs_on: module.outputs.iter().map(|o| o.starts_on).collect(),
    })?;
    let mut most: Option<(usize, f64)> = None;
    for state in 0..module.loads.len() {
        let drawn_a = current_a(&Draw::State {
            state: Some(state),
            outputs_on: on.clone(),
        })?;
        if most.is_none_or(|(_, held_a)| drawn_a > held_a) {
            most = Some((state, drawn_a));
        }
    }
    let Some((state, _)) = most.filter(|(_, a)| *a > usual_a * (1.0 + 1e-9)) else {
        return Ok(None);
    };
    match forbids(line, m, state) {
        Some(group) => Err(format!(
            "{group} does not allow its heaviest state with the others as they start"
        )),
        None => Ok(Some(state)),
    }
}

/// The exclusive group that does not let a module be in this state with its outputs on while the others are as they start.
fn forbids(line: &Line, m: usize, heavy: usize) -> Option<String> {
    let holds = |member: &ExclusiveMember| match member {
        ExclusiveMember::State { module, state } if module.0 == m => *state == heavy,
        ExclusiveMember::State { module, state } => {
            line.modules[module.0].starts_in == Some(*state)
        }
        ExclusiveMember::Output(output) if output.module.0 == m => true,
        ExclusiveMember::Output(output) => {
            line.modules[output.module.0].outputs[output.output].starts_on
        }
    };
    let over = line
        .exclusives
        .iter()
        .find(|group| group.of.iter().filter(|of| holds(of)).count() > group.at_most as usize)?;
    Some(format!("exclusive.{}", over.id))
}

/// The modules in the order in which they are joined: outward from the supplies, the nearest first, then by id, each with the span that reaches it.
fn assembled(line: &Line, electric: &Electric) -> Vec<(ModuleIx, Option<SpanIx>)> {
    let mut order: Vec<(ModuleIx, Option<SpanIx>)> = Vec::new();
    for supply in &line.supplies {
        if !order.iter().any(|(m, _)| *m == supply.module) {
            order.push((supply.module, None));
        }
    }
    let mut at = 0;
    while at < order.len() {
        let from = order[at].0;
        for (s, span) in line.spans.iter().enumerate() {
            let far = match (span.from == from, span.to == from) {
                (true, _) => span.to,
                (_, true) => span.from,
                _ => continue,
            };
            let wired = electric.wire_ohm(SpanIx(s)).is_some();
            if wired && !order.iter().any(|(m, _)| *m == far) {
                order.push((far, Some(SpanIx(s))));
            }
        }
        at += 1;
    }
    order
}
