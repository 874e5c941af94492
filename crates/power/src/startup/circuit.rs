//! The equations of a line in time.
//!
//! At each node `C dV/dt = F(V)`, `F(V) = J - g V - P/V - L V`: `L` Laplacian of the spans, `g` resistors, leakage and
//! source conductances, `P` constant-power modules, `J` source currents at short circuit or at the limit. Nodes
//! without capacitor are algebraic, `0 = F(V)`. Sources: `I = min(limit, (Vs - V)/Rs)`.
//!
//! After each switching the algebraic voltages and the limited sources are found anew with the capacitors held. Both
//! `P/V` and `-min(limit, (Vs - V)/Rs)` make `-F` convex in every component, so that the argument of
//! [`crate::solver`] carries over: Newton from the voltages without power loads and limits falls onto the highest
//! solution, or there is none, and the voltage collapses.

use crate::elimination::{Factor, is_above_zero};
use crate::network::Source;
use crate::startup::line::{Input, Line, Module, StartupError};
use crate::topology::{Method, Topology};

const MOST_ITERATIONS: u32 = 300;
/// A step this small against the highest source voltage has arrived.
const ARRIVED: f64 = 1e-13;
/// Below this, a step that no longer shrinks is rounding.
const NEAR: f64 = 1e-8;
/// A source is at its limit when asked for more than this much above it, relative: rounding is not a switching.
const ROUNDING: f64 = 1e-12;

/// What a module does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Switched off by its lock-out.
    Off,
    /// Without lock-out, below its lowest voltage: draws like a resistor.
    Low,
    /// On, at its boot power.
    Booting,
    /// On, at its running power.
    Running,
}

impl Phase {
    /// Whether it draws constant power.
    pub fn is_on(self) -> bool {
        matches!(self, Self::Booting | Self::Running)
    }
}

/// The algebraic nodes have no operating point: their voltage collapses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Collapse;

/// Whether the capacitors keep their voltage or have come to rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Capacitors {
    Held,
    AtRest,
}

/// A line, planned once. Nodes are joined nodes in order of elimination.
#[derive(Clone, Debug)]
pub(crate) struct Circuit {
    pub(crate) topology: Topology,
    pub(crate) sources: Vec<Source>,
    /// Joined node of each source.
    pub(crate) source_at: Vec<usize>,
    pub(crate) modules: Vec<Module>,
    /// Joined node of each module.
    pub(crate) module_at: Vec<usize>,
    pub(crate) capacitance_f: Vec<f64>,
    passive_s: Vec<f64>,
    pub(crate) highest_v: f64,
}

/// Voltages and working memory.
#[derive(Clone, Debug)]
pub(crate) struct Work {
    pub(crate) voltage_v: Vec<f64>,
    /// Sources at their current limit.
    pub(crate) limited: Vec<bool>,
    pub(crate) ground_s: Vec<f64>,
    /// The part of `ground_s` that is loads, not sources.
    pub(crate) load_s: Vec<f64>,
    pub(crate) inject_a: Vec<f64>,
    pub(crate) power_w: Vec<f64>,
    /// Nodes held by an ideal source that is not at its limit.
    pub(crate) held: Vec<bool>,
    pub(crate) s: Vec<f64>,
    pub(crate) r: Vec<f64>,
    pub(crate) x: Vec<f64>,
    pub(crate) into_a: Vec<f64>,
    pub(crate) factor: Factor,
    fixed: Vec<bool>,
    /// Power of each module, W, as last set.
    pub(crate) module_w: Vec<f64>,
    /// Factor on the power of each module; 1 but for [`Circuit::carried_share`].
    scale: Vec<f64>,
    /// Whether sources have their limits; off only for questions about the line without them.
    limits: bool,
}

/// What keeps a set of modules from being carried at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shortfall {
    /// The line has no operating point, whatever the supplies could give.
    Line,
    /// The current limit of this source; without limits the line would carry it.
    Supply {
        /// The source.
        source: usize,
    },
    /// This module would be below the voltage at which it goes off.
    Voltage {
        /// The module.
        module: usize,
    },
}

impl Circuit {
    pub(crate) fn plan(line: &Line, method: Method) -> Result<Self, StartupError> {
        line.check()?;
        let network = &line.network;
        let ideal: Vec<bool> = network
            .sources
            .iter()
            .map(|source| source.resistance_ohm == 0.0)
            .collect();
        let topology = Topology::plan(network, &ideal, method)?;
        let nodes = topology.joined_nodes();
        let mut capacitance_f = vec![0.0; nodes];
        for capacitor in &line.capacitors {
            capacitance_f[topology.joined[capacitor.node]] += capacitor.capacitance_f;
        }
        for module in &line.modules {
            capacitance_f[topology.joined[module.node]] += module.capacitance_f;
        }
        let mut passive_s = vec![0.0; nodes];
        for load in &network.loads {
            if let crate::LoadKind::Resistance { resistance_ohm } = load.kind {
                passive_s[topology.joined[load.node]] += 1.0 / resistance_ohm;
            }
        }
        for (source_index, source) in network.sources.iter().enumerate() {
            let stiff = source.resistance_ohm == 0.0 && source.current_limit_a.is_none();
            if stiff && capacitance_f[topology.joined[source.node]] > 0.0 {
                return Err(StartupError::IdealInrush {
                    source_index,
                    node: source.node,
                });
            }
        }
        Ok(Self {
            source_at: network
                .sources
                .iter()
                .map(|source| topology.joined[source.node])
                .collect(),
            module_at: line
                .modules
                .iter()
                .map(|module| topology.joined[module.node])
                .collect(),
            sources: network.sources.clone(),
            modules: line.modules.clone(),
            capacitance_f,
            passive_s,
            highest_v: network
                .sources
                .iter()
                .fold(0.0, |most, source| source.voltage_v.max(most)),
            topology,
        })
    }

    pub(crate) fn nodes(&self) -> usize {
        self.capacitance_f.len()
    }

    pub(crate) fn work(&self) -> Work {
        let zeros = vec![0.0; self.nodes()];
        Work {
            voltage_v: zeros.clone(),
            limited: vec![false; self.sources.len()],
            ground_s: zeros.clone(),
            load_s: zeros.clone(),
            inject_a: zeros.clone(),
            power_w: zeros.clone(),
            held: vec![false; self.nodes()],
            s: zeros.clone(),
            r: zeros.clone(),
            x: zeros.clone(),
            into_a: zeros,
            factor: self.topology.elimination.new_factor(),
            fixed: vec![false; self.nodes()],
            module_w: vec![0.0; self.modules.len()],
            scale: vec![1.0; self.modules.len()],
            limits: true,
        }
    }

    /// This share of each node's voltage with every module off and no current limit reached, V.
    pub(crate) fn marks_v(&self, share: f64) -> Vec<f64> {
        let mut w = self.work();
        w.limits = false;
        let off = vec![Phase::Off; self.modules.len()];
        self.settle(&off, Capacitors::AtRest, &mut w)
            .expect("resistors and sources alone have an operating point");
        w.voltage_v.iter().map(|v| share * v).collect()
    }

    /// Resistance that each module sees towards the sources, ohm.
    pub(crate) fn resistance_seen_ohm(&self) -> Vec<f64> {
        let mut w = self.work();
        self.gather(&vec![Phase::Off; self.modules.len()], &mut w);
        w.s.copy_from_slice(&w.ground_s);
        let elimination = &self.topology.elimination;
        elimination
            .factor(&mut w.s, &w.held, &mut w.factor)
            .expect("every node has a path of conductances to a source");
        let mut seen_ohm = |&node: &usize| {
            w.r.fill(0.0);
            w.x.fill(0.0);
            w.r[node] = 1.0;
            elimination.solve(&w.factor, &w.held, &mut w.r, &mut w.x);
            w.x[node]
        };
        self.module_at.iter().map(&mut seen_ohm).collect()
    }

    /// The limit of a source in this work, A.
    fn limit_a(&self, source: usize, w: &Work) -> Option<f64> {
        self.sources[source].current_limit_a.filter(|_| w.limits)
    }

    /// Sums what hangs at each node, for these phases and the limited sources of `w`.
    pub(crate) fn gather(&self, phases: &[Phase], w: &mut Work) {
        w.load_s.copy_from_slice(&self.passive_s);
        w.ground_s.fill(0.0);
        w.inject_a.fill(0.0);
        w.power_w.fill(0.0);
        w.held.fill(false);
        for (i, source) in self.sources.iter().enumerate() {
            let node = self.source_at[i];
            if let (true, Some(limit_a)) = (w.limited[i], source.current_limit_a) {
                w.inject_a[node] += limit_a;
            } else if source.resistance_ohm > 0.0 {
                w.ground_s[node] += 1.0 / source.resistance_ohm;
                w.inject_a[node] += source.voltage_v / source.resistance_ohm;
            } else {
                w.held[node] = true;
                w.voltage_v[node] = source.voltage_v;
            }
        }
        for (i, module) in self.modules.iter().enumerate() {
            let node = self.module_at[i];
            w.module_w[i] = 0.0;
            match phases[i] {
                Phase::Off => {
                    if let Some(leakage_ohm) = module.leakage_ohm {
                        w.load_s[node] += 1.0 / leakage_ohm;
                    }
                }
                Phase::Low => {
                    let minimum_v = module.lowest_v();
                    w.load_s[node] += module.boot_power_w / (minimum_v * minimum_v);
                }
                Phase::Booting => w.module_w[i] = module.boot_power_w * w.scale[i],
                Phase::Running => w.module_w[i] = module.running_power_w * w.scale[i],
            }
            w.power_w[node] += w.module_w[i];
        }
        for i in 0..self.nodes() {
            w.ground_s[i] += w.load_s[i];
        }
    }

    /// Current into each node's capacitor, A, at `voltage_v`. At a node held by an ideal source it is what that
    /// source would have to give, with the other sign.
    pub(crate) fn charging_currents(&self, voltage_v: &[f64], w: &Work, into_a: &mut [f64]) {
        for i in 0..voltage_v.len() {
            into_a[i] = w.inject_a[i] - w.ground_s[i] * voltage_v[i];
            if w.power_w[i] > 0.0 {
                into_a[i] -= w.power_w[i] / voltage_v[i];
            }
        }
        for resistor in &self.topology.resistors {
            let drop_v = voltage_v[resistor.a] - voltage_v[resistor.b];
            let current_a = drop_v * resistor.conductance_s;
            into_a[resistor.a] -= current_a;
            into_a[resistor.b] += current_a;
        }
    }

    /// Current that source `i` gives, A, with `into_a` from [`Circuit::charging_currents`] at the same voltages.
    pub(crate) fn source_current_a(
        &self,
        i: usize,
        voltage_v: &[f64],
        into_a: &[f64],
        w: &Work,
    ) -> f64 {
        let source = &self.sources[i];
        let node = self.source_at[i];
        match source.current_limit_a {
            Some(limit_a) if w.limited[i] => limit_a,
            _ if source.resistance_ohm > 0.0 => {
                (source.voltage_v - voltage_v[node]) / source.resistance_ohm
            }
            _ => -into_a[node],
        }
    }

    /// Puts the algebraic voltages and the limited sources into `w`, on the branch of high voltage. Held capacitors
    /// keep the voltage in `w`; at rest there are none. After a collapse `w` holds the last iterate.
    pub(crate) fn settle(
        &self,
        phases: &[Phase],
        capacitors: Capacitors,
        w: &mut Work,
    ) -> Result<(), Collapse> {
        let kept = |node: usize| capacitors == Capacitors::Held && self.capacitance_f[node] > 0.0;
        for i in 0..self.sources.len() {
            let source = &self.sources[i];
            let node = self.source_at[i];
            let full_v = source.voltage_v * (1.0 - ROUNDING);
            w.limited[i] = source.resistance_ohm == 0.0
                && self.limit_a(i, w).is_some()
                && kept(node)
                && w.voltage_v[node] < full_v;
        }
        self.gather(phases, w);
        let mut last_step = f64::INFINITY;
        let mut powered = false;
        for _ in 0..MOST_ITERATIONS {
            for i in 0..self.nodes() {
                w.fixed[i] = w.held[i] || kept(i);
                w.s[i] = w.ground_s[i];
                w.r[i] = w.inject_a[i];
                w.x[i] = w.voltage_v[i];
                if powered && w.power_w[i] > 0.0 {
                    let current_a = w.power_w[i] / w.voltage_v[i];
                    w.s[i] -= current_a / w.voltage_v[i];
                    w.r[i] -= 2.0 * current_a;
                }
            }
            let elimination = &self.topology.elimination;
            elimination
                .factor(&mut w.s, &w.fixed, &mut w.factor)
                .map_err(|_| Collapse)?;
            elimination.solve(&w.factor, &w.fixed, &mut w.r, &mut w.x);
            let mut step = 0.0_f64;
            let mut lowest = f64::INFINITY;
            for i in 0..self.nodes() {
                step = step.max((w.x[i] - w.voltage_v[i]).abs());
                if w.power_w[i] > 0.0 && !w.fixed[i] {
                    lowest = lowest.min(w.x[i]);
                }
            }
            std::mem::swap(&mut w.voltage_v, &mut w.x);
            if !is_above_zero(lowest) {
                return Err(Collapse);
            }
            let limits_hit = self.limit(w);
            if limits_hit {
                self.gather(phases, w);
            }
            let step = step / self.highest_v;
            let shrink = step / last_step;
            let arrived = step <= ARRIVED || (step <= NEAR && shrink >= 1.0);
            if arrived && powered && !limits_hit {
                return Ok(());
            }
            last_step = if limits_hit { f64::INFINITY } else { step };
            powered = true;
        }
        Err(Collapse)
    }

    /// Puts sources asked for too much at their limit. Voltages lie above the solution here, so none is put there
    /// that does not belong there.
    fn limit(&self, w: &mut Work) -> bool {
        let mut into_a = std::mem::take(&mut w.into_a);
        self.charging_currents(&w.voltage_v, w, &mut into_a);
        let mut changed = false;
        for i in 0..self.sources.len() {
            let Some(limit_a) = self.limit_a(i, w) else {
                continue;
            };
            let current_a = self.source_current_a(i, &w.voltage_v, &into_a, w);
            if !w.limited[i] && current_a > limit_a * (1.0 + ROUNDING) {
                w.limited[i] = true;
                changed = true;
            }
        }
        w.into_a = into_a;
        changed
    }

    /// How far each source is past the point at which it changes between voltage and limit; above zero it does.
    pub(crate) fn past_limit(&self, voltage_v: &[f64], into_a: &[f64], w: &Work) -> f64 {
        let mut worst = f64::NEG_INFINITY;
        for (i, source) in self.sources.iter().enumerate() {
            let Some(limit_a) = source.current_limit_a else {
                continue;
            };
            let past = if w.limited[i] {
                voltage_v[self.source_at[i]] - (source.voltage_v - source.resistance_ohm * limit_a)
            } else {
                self.source_current_a(i, voltage_v, into_a, w) - limit_a * (1.0 + ROUNDING)
            };
            worst = worst.max(past);
        }
        worst
    }

    /// Whether these phases can all be held at rest: there is an operating point within the current limits, and each
    /// module that is on has the voltage to stay so.
    fn carries(&self, phases: &[Phase], w: &mut Work) -> bool {
        self.settle(phases, Capacitors::AtRest, w).is_ok() && self.too_low(phases, w).is_none()
    }

    fn too_low(&self, phases: &[Phase], w: &Work) -> Option<usize> {
        (0..phases.len()).find(|&i| {
            phases[i].is_on() && w.voltage_v[self.module_at[i]] < self.modules[i].lowest_v()
        })
    }

    /// The largest factor, at most 1, on the power of the `scaled` modules at which these phases can be held at rest,
    /// and what keeps it below 1. Bisection to 1e-9.
    pub(crate) fn carried_share(
        &self,
        phases: &[Phase],
        scaled: &[bool],
    ) -> (f64, Option<Shortfall>) {
        let mut w = self.work();
        if self.carries(phases, &mut w) {
            return (1.0, None);
        }
        let (mut low, mut high) = (0.0, 1.0);
        let set = |w: &mut Work, scale: f64| {
            for i in 0..scaled.len() {
                w.scale[i] = if scaled[i] { scale } else { 1.0 };
            }
        };
        while high - low > 1e-9 {
            let middle = 0.5 * (low + high);
            set(&mut w, middle);
            if self.carries(phases, &mut w) {
                low = middle;
            } else {
                high = middle;
            }
        }
        // what goes wrong first: at the smallest factor known to be too large, with and without the limits
        set(&mut w, high);
        w.limits = false;
        let without_limits = self.settle(phases, Capacitors::AtRest, &mut w);
        let too_low = self.too_low(phases, &w);
        w.limits = true;
        let shortfall = match (without_limits, too_low) {
            (Err(Collapse), _) => Shortfall::Line,
            (Ok(()), Some(module)) => Shortfall::Voltage { module },
            (Ok(()), None) => {
                // a limit is reached, also where that collapses the voltage
                let _ = self.settle(phases, Capacitors::AtRest, &mut w);
                let source = w.limited.iter().position(|&limited| limited);
                Shortfall::Supply {
                    source: source.expect("without limits the line carries this"),
                }
            }
        };
        (low, Some(shortfall))
    }

    /// Whether a module of this kind starts as a resistor.
    pub(crate) fn first_phase(module: &Module) -> Phase {
        match module.input {
            Input::LockOut { .. } => Phase::Off,
            Input::Bare { .. } => Phase::Low,
        }
    }
}
