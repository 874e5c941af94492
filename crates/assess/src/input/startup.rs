//! The line as it is switched on: the network from [`super::electric`](fn@super::electric), with capacitors, lock-outs and boots instead of
//! loads at rest.
//!
//! Powers are those at the module's input, behind the same converter as at rest. What the plan does not say and the start
//! needs is listed, never taken as zero.

use plan::{Line, Load, Module, ModuleIx, PassWhen, SpanIx};
use power::LoadKind;
use power::startup::{self, Capacitor, Input};

use super::electric::draws;
use super::{Conditions, Contacts, Draw, InputError, electric};

/// A line that is switched on, and where its parts come from.
#[derive(Clone, Debug)]
pub struct StartInput {
    /// The line.
    pub line: startup::Line,
    /// The module of each module of the line.
    pub modules: Vec<ModuleIx>,
    /// Modules that are a resistor and nothing else, with their node: they work from their lowest voltage on.
    pub resistors: Vec<(ModuleIx, usize)>,
    /// Modules with a power input to which no conductor leads from a supply.
    pub unfed: Vec<ModuleIx>,
    /// The supply of each source.
    pub sources: Vec<usize>,
    /// The span of each branch of the network; `None` for the way through a module.
    pub branch_spans: Vec<Option<SpanIx>>,
    /// The inlet of each module of the plan in the network; `None` where no power comes.
    pub inlets: Vec<Option<usize>>,
    /// What the plan does not say and the start needs, or says and the start cannot follow.
    pub unknowns: Vec<String>,
}

/// The line with these contacts, all whole, every module on its way to the state in which it starts.
///
/// # Errors
/// As [`super::electric`](fn@super::electric).
pub fn startup(line: &Line, contacts: Contacts) -> Result<StartInput, InputError> {
    let electric = electric(line)?;
    let at_rest = electric.input(line, &Conditions::usual(line, contacts))?;
    let dead = electric.input(line, &Conditions::with(line, contacts, |_| Draw::Nothing))?;
    let mut input = StartInput {
        modules: Vec::new(),
        resistors: Vec::new(),
        unfed: Vec::new(),
        sources: at_rest.sources,
        branch_spans: at_rest.branch_spans,
        inlets: at_rest.inlets,
        unknowns: at_rest.unknowns,
        line: startup::Line {
            network: power::Network {
                loads: Vec::new(),
                ..at_rest.network
            },
            capacitors: Vec::new(),
            modules: Vec::new(),
        },
    };
    if dead.inlets != input.inlets {
        let needs_power = |m: &&Module| {
            m.passes
                .is_some_and(|p| matches!(p.power, PassWhen::Powered | PassWhen::Running))
        };
        input
            .unknowns
            .extend(line.modules.iter().filter(needs_power).map(|m| {
                format!(
                    "module.{} passes power on only while it has power itself: a line that closes step by step is not followed",
                    m.id
                )
            }));
    }
    for (m, node) in input.inlets.clone().into_iter().enumerate() {
        let module = &line.modules[m];
        if module.input.is_none() {
            continue;
        }
        match node {
            Some(node) => input.add(ModuleIx(m), module, node)?,
            None => input.unfed.push(ModuleIx(m)),
        }
    }
    input.unknowns.sort();
    input.unknowns.dedup();
    Ok(input)
}

impl StartInput {
    fn add(&mut self, ix: ModuleIx, module: &Module, node: usize) -> Result<(), InputError> {
        let Some(power_input) = &module.input else {
            return Ok(());
        };
        let path = format!("module.{}", module.id);
        let capacitance_f = match power_input.capacitance_f {
            Some(q) => q.si,
            None => {
                self.unknowns
                    .push(format!("{path} says nothing of its input's capacitance"));
                return Ok(());
            }
        };
        let working = Draw::State {
            state: module.starts_in,
            outputs_on: module.outputs.iter().map(|o| o.starts_on).collect(),
        };
        let running = draws(module, &working, &mut self.unknowns)?;
        match module.starts_in.map(|s| module.loads[s].load) {
            Some(Load::Current(_)) => {
                self.unknowns.push(format!(
                    "{path} draws a constant current in the state in which it starts, which nothing does from zero volts on: write its load in W"
                ));
                return Ok(());
            }
            Some(Load::Resistance(q)) => {
                let only_a_resistor = module.boot.is_none()
                    && power_input.lock_out.is_none()
                    && watts(&running) == 0.0;
                if only_a_resistor {
                    self.resistors.push((ix, node));
                    self.line.network.loads.push(power::Load {
                        node,
                        kind: LoadKind::Resistance {
                            resistance_ohm: q.si,
                        },
                    });
                    if capacitance_f > 0.0 {
                        self.line.capacitors.push(Capacitor {
                            node,
                            capacitance_f,
                        });
                    }
                } else {
                    self.unknowns.push(format!(
                        "{path} draws like a resistor in the state in which it starts and has a boot, a lock-out or power in W besides: write its load in W"
                    ));
                }
                return Ok(());
            }
            Some(Load::Power(_)) | None => {}
        }
        let (boot_power_w, boot_s) = match &module.boot {
            // Nothing is booted where nothing works.
            None if module.loads.is_empty() => (watts(&running), 0.0),
            None => {
                self.unknowns
                    .push(format!("{path} says nothing of its boot"));
                return Ok(());
            }
            Some(boot) => {
                let booting = draws(module, &Draw::Boot, &mut self.unknowns)?;
                (watts(&booting), boot.time_s.si)
            }
        };
        self.modules.push(ix);
        self.line.modules.push(startup::Module {
            node,
            capacitance_f,
            input: match power_input.lock_out {
                Some(lock_out) => Input::LockOut {
                    on_v: lock_out.on_v.si,
                    off_v: lock_out.off_v.si,
                },
                None => Input::Bare {
                    minimum_v: power_input.minimum_v.si,
                },
            },
            leakage_ohm: None,
            boot_power_w,
            boot_s,
            running_power_w: watts(&running),
            not_before_s: module.wakes_after_s.map_or(0.0, |q| q.si),
        });
        Ok(())
    }
}

/// Constant power among these loads, W.
fn watts(loads: &[LoadKind]) -> f64 {
    loads
        .iter()
        .map(|kind| match kind {
            LoadKind::Power { power_w } => *power_w,
            LoadKind::Current { .. } | LoadKind::Resistance { .. } => 0.0,
        })
        .sum()
}
