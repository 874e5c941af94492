//! The direct-current network of the line in one set of states.
//!
//! Each module has an inlet, where its load hangs, and an outlet, from which the spans lead onwards; its
//! through-resistance lies between the two. A span joins the outlet of the end that is nearer to a supply to the inlet of
//! the other; where both ends are equally near it joins two outlets.
//!
//! What the plan does not say is listed, never taken as zero: a network with unknowns gives no verdict.

use std::collections::VecDeque;

use plan::{Input, Line, Load, Module, ModuleIx, PassWhen, Span, SpanIx, Supply};
use power::conductor::loop_resistance_ohm;
use power::{Branch, Converter, EfficiencyCurve, LoadKind, Network, Source};

use super::heaviest::heaviest_way;
use super::warm::{WarmWire, warmest};
use super::{InputError, profile};

/// State of the mated contacts.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Contacts {
    /// As new.
    New,
    /// As aged.
    Aged,
}

/// What a module draws.
#[derive(Clone, PartialEq, Debug)]
pub enum Draw {
    /// Nothing: it is dead or below its lowest voltage.
    Nothing,
    /// It boots.
    Boot,
    /// It works in a state, with outputs on or off.
    State {
        /// Index into the module's loads; `None` for a module that draws nothing of its own.
        state: Option<usize>,
        /// Which outputs are on, in the module's order.
        outputs_on: Vec<bool>,
    },
}

/// One set of states of the whole line.
#[derive(Clone, PartialEq, Debug)]
pub struct Conditions {
    /// State of the contacts.
    pub contacts: Contacts,
    /// What each module draws, in the line's order.
    pub draws: Vec<Draw>,
    /// Whether each module works (not hung, not dead), which decides what passes.
    pub working: Vec<bool>,
    /// Whether each span is whole.
    pub whole: Vec<bool>,
    /// Whether each supply gives.
    pub giving: Vec<bool>,
    /// What bad contacts add to the loop of each span, ohm.
    pub added_ohm: Vec<f64>,
    /// The output of each supply.
    pub given: Vec<Given>,
}

/// The output of a supply.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Given {
    /// Open-circuit voltage, V.
    pub voltage_v: f64,
    /// Source resistance, ohm.
    pub resistance_ohm: f64,
    /// Current limit, A.
    pub current_limit_a: Option<f64>,
}

impl Given {
    /// As the plan has it.
    #[must_use]
    pub fn of(supply: &Supply) -> Given {
        Given {
            voltage_v: supply.voltage_v.si,
            resistance_ohm: supply.resistance_ohm.si,
            current_limit_a: supply.current_limit_a.map(|q| q.si),
        }
    }
}

/// The network and where its parts come from.
#[derive(Clone, Debug)]
pub struct ElectricInput {
    /// The network of all nodes that a supply feeds.
    pub network: Network,
    /// The inlet of each module in the network; `None` where no power comes.
    pub inlets: Vec<Option<usize>>,
    /// The span of each branch of the network; `None` for the way through a module.
    pub branch_spans: Vec<Option<SpanIx>>,
    /// The supply of each source of the network.
    pub sources: Vec<usize>,
    /// What the plan does not say and the network needs.
    pub unknowns: Vec<String>,
}

/// What does not change with the states: resistances of the spans at the site's temperatures, or as warm as they become.
#[derive(Clone, Debug)]
pub struct Electric {
    /// Loop resistance of each span's conductor, ohm; `None` for spans without one.
    wire_ohm: Vec<Option<f64>>,
    /// The conductors that their own loss warms.
    warm: Vec<Option<WarmWire>>,
    /// Why it is unknown how warm they become.
    unknowns: Vec<String>,
}

/// Works out the resistances of the spans: at the temperature of the water, or, of a span with `heat`, at the highest that its
/// own loss gives its conductors.
///
/// # Errors
/// [`InputError`] for a conductor that no table lists and water outside what the formulas hold for. A cable without rest is
/// an unknown of every network.
pub fn electric(line: &Line) -> Result<Electric, InputError> {
    let water = profile(line)?;
    let wire_ohm = line
        .spans
        .iter()
        .map(|span| {
            let Some(conductor) = span.conductor else {
                return Ok(None);
            };
            let depth_m =
                (line.modules[span.from.0].depth_m + line.modules[span.to.0].depth_m) / 2.0;
            if !(depth_m.is_finite() || line.sea.water_depth_m.si.is_finite()) {
                return Err(InputError::NotSaid {
                    what: "site".to_owned(),
                    missing: "water_depth, and so nothing says how deep and how warm the cables lie",
                });
            }
            let temperature_degc = water.temperature_degc(depth_m)?;
            loop_resistance_ohm(conductor, span.length_m, temperature_degc)
                .map(Some)
                .map_err(|source| InputError::Conductor {
                    what: format!("span.{}", span.id),
                    source,
                })
        })
        .collect::<Result<Vec<_>, InputError>>()?;
    let mut electric = Electric {
        warm: vec![None; wire_ohm.len()],
        wire_ohm,
        unknowns: Vec::new(),
    };
    let (warm, mut unknowns) = warmest(line, &electric)?;
    if line.spans.iter().any(|span| span.heat.is_some()) {
        for module in &line.modules {
            if heaviest_way(module)?.is_none() {
                unknowns.push(format!(
                    "module.{} mixes loads in W, A and ohm, so how warm the cables become depends on its voltage: write all in one unit",
                    module.id
                ));
            }
        }
    }
    for (wire_ohm, warm) in electric.wire_ohm.iter_mut().zip(&warm) {
        *wire_ohm = warm.map(|w| w.wire_ohm).or(*wire_ohm);
    }
    Ok(Electric {
        warm,
        unknowns,
        ..electric
    })
}

/// The same with every conductor at one temperature, degC: a line on the quay.
///
/// # Errors
/// [`InputError`] for a conductor that no table lists and a temperature outside what the formula holds for.
pub(crate) fn electric_at(line: &Line, temperature_degc: f64) -> Result<Electric, InputError> {
    let wire_ohm = line.spans.iter().map(|span| {
        let ohm = span.conductor.map(|conductor| {
            loop_resistance_ohm(conductor, span.length_m, temperature_degc).map_err(|source| {
                InputError::Conductor {
                    what: format!("span.{}", span.id),
                    source,
                }
            })
        });
        ohm.transpose()
    });
    Ok(Electric {
        wire_ohm: wire_ohm.collect::<Result<_, _>>()?,
        warm: vec![None; line.spans.len()],
        unknowns: Vec::new(),
    })
}

impl Conditions {
    /// Every module in the state in which it starts, outputs as at start, all whole.
    #[must_use]
    pub fn usual(line: &Line, contacts: Contacts) -> Conditions {
        let draw = |m: &Module| Draw::State {
            state: m.starts_in,
            outputs_on: m.outputs.iter().map(|o| o.starts_on).collect(),
        };
        Conditions::with(line, contacts, draw)
    }

    /// Every module drawing what `draw` says, all whole.
    #[must_use]
    pub fn with(line: &Line, contacts: Contacts, draw: impl Fn(&Module) -> Draw) -> Conditions {
        Conditions {
            contacts,
            draws: line.modules.iter().map(draw).collect(),
            working: vec![true; line.modules.len()],
            whole: vec![true; line.spans.len()],
            giving: vec![true; line.supplies.len()],
            added_ohm: vec![0.0; line.spans.len()],
            given: line.supplies.iter().map(Given::of).collect(),
        }
    }
}

impl Electric {
    /// Loop resistance of a span's conductor, contacts left out, ohm; `None` for a span without one.
    #[must_use]
    pub fn wire_ohm(&self, span: SpanIx) -> Option<f64> {
        self.wire_ohm[span.0]
    }

    /// The conductors of a span with `heat` at their warmest.
    #[must_use]
    pub fn warm(&self, span: SpanIx) -> Option<WarmWire> {
        self.warm[span.0]
    }

    /// Why it is unknown how warm some cables become. No resistance is then too high, so what the line cannot carry with
    /// these it cannot carry.
    pub(crate) fn warmth_unknown(&self) -> &[String] {
        &self.unknowns
    }

    /// The network of the line under these conditions.
    ///
    /// # Errors
    /// [`InputError::Converter`] for an efficiency or a load that cannot be.
    pub fn input(&self, line: &Line, conditions: &Conditions) -> Result<ElectricInput, InputError> {
        let mut unknowns = self.unknowns.clone();
        let near = self.nearness(line, conditions);
        let count = line.modules.len();
        let mut node_of = vec![None; 2 * count];
        let mut nodes = 0;
        let mut number = |slot: usize| {
            *node_of[slot].get_or_insert_with(|| {
                nodes += 1;
                nodes - 1
            })
        };
        let mut branches = Vec::new();
        let mut branch_spans = Vec::new();
        for m in 0..count {
            if near[m].is_some() {
                number(m);
            }
        }
        for (i, span) in line.spans.iter().enumerate() {
            let Some(resistance_ohm) = self.span_ohm(span, i, conditions, &mut unknowns) else {
                continue;
            };
            let (Some(a), Some(b)) = (near[span.from.0], near[span.to.0]) else {
                continue;
            };
            let outlet = |r: &mut dyn FnMut(usize) -> usize, m: ModuleIx| r(count + m.0);
            let (from, to) = match a.cmp(&b) {
                std::cmp::Ordering::Less => (outlet(&mut number, span.from), number(span.to.0)),
                std::cmp::Ordering::Greater => (number(span.from.0), outlet(&mut number, span.to)),
                std::cmp::Ordering::Equal => {
                    (outlet(&mut number, span.from), outlet(&mut number, span.to))
                }
            };
            branches.push(Branch {
                a: from,
                b: to,
                resistance_ohm,
            });
            branch_spans.push(Some(SpanIx(i)));
        }
        for (m, module) in line.modules.iter().enumerate() {
            let (Some(inlet), Some(outlet)) = (node_of[m], node_of[count + m]) else {
                continue;
            };
            let through = module.through_ohm.map(|q| q.si);
            if through.is_none() {
                unknowns.push(format!(
                    "module.{} says nothing of its through-resistance",
                    module.id
                ));
            }
            if passes(module, conditions, m) {
                branches.push(Branch {
                    a: inlet,
                    b: outlet,
                    resistance_ohm: through.unwrap_or(0.0),
                });
                branch_spans.push(None);
            }
        }
        let mut loads = Vec::new();
        for (m, module) in line.modules.iter().enumerate() {
            let Some(node) = node_of[m] else { continue };
            for kind in draws(module, &conditions.draws[m], &mut unknowns)? {
                loads.push(power::Load { node, kind });
            }
        }
        let mut sources = Vec::new();
        let mut source_list = Vec::new();
        for (s, supply) in line
            .supplies
            .iter()
            .enumerate()
            .filter(|(s, _)| conditions.giving[*s])
        {
            if let Some(node) = node_of[supply.module.0] {
                let Given {
                    voltage_v,
                    resistance_ohm,
                    current_limit_a,
                } = conditions.given[s];
                source_list.push(Source {
                    node,
                    voltage_v,
                    resistance_ohm,
                    current_limit_a,
                });
                sources.push(s);
            }
        }
        unknowns.sort();
        unknowns.dedup();
        Ok(ElectricInput {
            network: Network {
                nodes,
                spans: branches,
                sources: source_list,
                loads,
            },
            inlets: node_of[..count].to_vec(),
            branch_spans,
            sources,
            unknowns,
        }
        .without_dead_cables())
    }

    /// Steps from the nearest giving supply to each module, over whole conductors and through modules that pass power.
    fn nearness(&self, line: &Line, conditions: &Conditions) -> Vec<Option<u32>> {
        let mut near: Vec<Option<u32>> = vec![None; line.modules.len()];
        let mut todo = VecDeque::new();
        for (s, supply) in line.supplies.iter().enumerate() {
            if conditions.giving[s] && near[supply.module.0].is_none() {
                near[supply.module.0] = Some(0);
                todo.push_back(supply.module.0);
            }
        }
        while let Some(m) = todo.pop_front() {
            if !passes(&line.modules[m], conditions, m) {
                continue;
            }
            for (i, span) in line.spans.iter().enumerate() {
                if self.wire_ohm[i].is_none() || !conditions.whole[i] {
                    continue;
                }
                let far = match (span.from.0 == m, span.to.0 == m) {
                    (true, _) => span.to.0,
                    (_, true) => span.from.0,
                    _ => continue,
                };
                if near[far].is_none() {
                    near[far] = near[m].map(|n| n + 1);
                    todo.push_back(far);
                }
            }
        }
        near
    }

    fn span_ohm(
        &self,
        span: &Span,
        i: usize,
        conditions: &Conditions,
        unknowns: &mut Vec<String>,
    ) -> Option<f64> {
        let wire_ohm = self.wire_ohm[i].filter(|_| conditions.whole[i])?;
        let wire_ohm = wire_ohm + conditions.added_ohm[i];
        let Some(contacts) = span.contacts else {
            unknowns.push(format!("span.{} says nothing of its contacts", span.id));
            return Some(wire_ohm);
        };
        let each_ohm = match (conditions.contacts, contacts.aged_ohm) {
            (Contacts::New, _) => contacts.resistance_ohm.si,
            (Contacts::Aged, Some(aged)) => aged.si,
            (Contacts::Aged, None) if contacts.mated_pins_in_loop == 0 => 0.0,
            (Contacts::Aged, None) => {
                unknowns.push(format!(
                    "span.{} says nothing of its aged contacts",
                    span.id
                ));
                contacts.resistance_ohm.si
            }
        };
        Some(wire_ohm + f64::from(contacts.mated_pins_in_loop) * each_ohm)
    }
}

impl ElectricInput {
    /// Leaves out the cables that no source reaches: they join modules that have their power from elsewhere and pass none on to them, so that they carry nothing and lie
    /// at 0 V. The other nodes keep their order. A network without any source stays as it is.
    fn without_dead_cables(mut self) -> ElectricInput {
        let network = &self.network;
        let mut fed = vec![false; network.nodes];
        let mut todo: Vec<usize> = network.sources.iter().map(|s| s.node).collect();
        while let Some(node) = todo.pop() {
            if std::mem::replace(&mut fed[node], true) {
                continue;
            }
            for branch in &network.spans {
                if branch.a == node {
                    todo.push(branch.b);
                } else if branch.b == node {
                    todo.push(branch.a);
                }
            }
        }
        if network.sources.is_empty() || fed.iter().all(|f| *f) {
            return self;
        }
        let mut nodes = 0;
        let renumbered: Vec<Option<usize>> = fed
            .iter()
            .map(|fed| {
                fed.then(|| {
                    nodes += 1;
                    nodes - 1
                })
            })
            .collect();
        let kept = |branch: &Branch| {
            Some(Branch {
                a: renumbered[branch.a]?,
                b: renumbered[branch.b]?,
                ..*branch
            })
        };
        let branches = network.spans.iter().zip(&self.branch_spans);
        let (branches, branch_spans) = branches
            .filter_map(|(branch, span)| Some((kept(branch)?, *span)))
            .unzip();
        let loads = network.loads.iter().filter_map(|load| {
            Some(power::Load {
                node: renumbered[load.node]?,
                ..*load
            })
        });
        let sources = network.sources.iter().filter_map(|source| {
            Some(Source {
                node: renumbered[source.node]?,
                ..*source
            })
        });
        self.network = Network {
            nodes,
            spans: branches,
            sources: sources.collect(),
            loads: loads.collect(),
        };
        self.branch_spans = branch_spans;
        for inlet in &mut self.inlets {
            *inlet = inlet.and_then(|node| renumbered[node]);
        }
        self
    }
}

/// Whether power passes through a module; a plan that says nothing lets it pass, as a plain joint does.
fn passes(module: &Module, conditions: &Conditions, m: usize) -> bool {
    let powered = !matches!(conditions.draws[m], Draw::Nothing);
    match module.passes.map_or(PassWhen::Always, |p| p.power) {
        PassWhen::Always => true,
        PassWhen::Powered => powered,
        PassWhen::Running => powered && conditions.working[m],
        PassWhen::Never => false,
    }
}

/// Whether a module boots: where it says nothing of its boot, that it does is known all the same.
pub(crate) fn boots(module: &Module) -> bool {
    module.input.is_some() && (module.boot.is_some() || !module.loads.is_empty())
}

pub(crate) fn draws(
    module: &Module,
    draw: &Draw,
    unknowns: &mut Vec<String>,
) -> Result<Vec<LoadKind>, InputError> {
    let mut behind_converter_w = 0.0;
    let mut at_input = Vec::new();
    match draw {
        Draw::Nothing => return Ok(at_input),
        Draw::Boot => match module.boot {
            Some(boot) => behind_converter_w += boot.power_w.si,
            None => unknowns.push(format!("module.{} says nothing of its boot", module.id)),
        },
        Draw::State { state, outputs_on } => {
            match state.map(|s| module.loads[s].load) {
                Some(Load::Power(q)) => behind_converter_w += q.si,
                Some(Load::Current(q)) => at_input.push(LoadKind::Current { current_a: q.si }),
                Some(Load::Resistance(q)) => at_input.push(LoadKind::Resistance {
                    resistance_ohm: q.si,
                }),
                None if module.input.is_some() && module.loads.is_empty() => {
                    unknowns.push(format!(
                        "module.{} has an `input` and no `loads`: what it draws is unknown (a joint that draws nothing writes loads = {{ on = \"0 W\" }})",
                        module.id
                    ));
                }
                None => {}
            }
            for (output, _) in module.outputs.iter().zip(outputs_on).filter(|(_, on)| **on) {
                match output.power_w {
                    Some(q) => behind_converter_w += q.si,
                    None => unknowns.push(format!(
                        "module.{}.output.{} says nothing of its power",
                        module.id, output.id
                    )),
                }
            }
        }
    }
    let Some(input) = &module.input else {
        return Ok(at_input);
    };
    let power_w = input_power_w(module, input, behind_converter_w, unknowns)?;
    at_input.push(LoadKind::Power { power_w });
    Ok(at_input)
}

/// What a module draws from the line for a power behind its converter, W.
///
/// # Errors
/// [`InputError::Converter`] for losses that cannot be, and for a power beyond the efficiencies that are written.
fn input_power_w(
    module: &Module,
    input: &Input,
    output_w: f64,
    unknowns: &mut Vec<String>,
) -> Result<f64, InputError> {
    let refused = |source| InputError::Converter {
        what: format!("module.{}", module.id),
        source,
    };
    let standing_w = input.standing_w.map_or(0.0, |q| q.si);
    let converter = if !input.efficiency_at.is_empty() {
        let points = input.efficiency_at.iter().map(|(w, e)| (w.si, e.si));
        let curve = EfficiencyCurve::new(&points.collect::<Vec<_>>()).map_err(refused)?;
        Converter::ByOutput(curve)
    } else if let Some(efficiency) = input.efficiency {
        if input.standing_w.is_none() {
            unknowns.push(format!(
                "module.{} says nothing of its converter's standing loss",
                module.id
            ));
        }
        Converter::Losses {
            efficiency: efficiency.si,
            standing_w,
            square_per_w: input.loss_per_watt.map_or(0.0, |q| q.si),
        }
    } else {
        return Ok(output_w + standing_w);
    };
    converter.input_power_w(output_w).map_err(refused)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60228 class 5, 1.0 mm2: 19.5 ohm/km, so 100 m of loop is 3.9 ohm at 20 degC.
    #[test]
    fn val_a_conductor_keeps_its_area() {
        let text = quantity::parse_conductor("1.0 mm2 class 5").unwrap();
        let ohm = loop_resistance_ohm(text, 100.0, 20.0).unwrap();
        assert!((ohm - 3.9).abs() < 1e-9, "{ohm}");
    }
}
