//! A start followed in time: steps, switchings, and how it ends.
//!
//! Between switchings the equations are smooth and the method of [`crate::startup::rosenbrock`] advances them with
//! step control. A step in which something switches is taken again, shorter, until its end lies within 1e-9 s (and a
//! millionth of the step) past the switching (Illinois variant of the rule of false position, Dowell and Jarratt 1971; from memory): the instant is
//! found on the method itself, not on an interpolant. Timers (end of boot, delays) are ends of steps.

use crate::startup::circuit::{Capacitors, Circuit, Phase, Work};
use crate::startup::line::{Settings, StartupError};
use crate::startup::record::{Event, EventKind, Record};
use crate::startup::repeat::Snapshot;
use crate::startup::rosenbrock::Stepper;

/// Error of a voltage in one step against the highest source voltage.
const TOLERANCE: f64 = 1e-9;
const TIME_RESOLUTION_S: f64 = 1e-9;
const LEAST_RESOLUTION_S: f64 = 1e-15;
/// From here on the search for a switching halves its interval.
const MOST_REGULA_FALSI: u32 = 30;
const LEAST_STEP_S: f64 = 1e-13;
const MOST_STEPS: u64 = 2_000_000;
/// At rest when the way left to the resting voltages is below this share of the highest source voltage.
const AT_REST: f64 = 1e-9;
/// Voltages are told apart by rounding alone below this share of the highest source voltage: what Newton's last steps leave of them.
const ALIKE: f64 = 1e-9;
/// After this many falls at one instant a module does not come on again at it.
const MOST_FALLS: u32 = 2;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum End {
    AtRest,
    /// The whole state came back to what it was at `since_s`.
    Recurs {
        since_s: f64,
    },
    TimeIsUp,
    /// As many switchings as the settings allow.
    SwitchingsAreUp,
}

/// Work done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Effort {
    /// Steps kept.
    pub steps: u64,
    /// Steps taken again because they were too long.
    pub rejections: u64,
    /// Steps taken to find instants of switching.
    pub searches: u64,
}

pub(crate) struct Run<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) settings: &'a Settings,
    pub(crate) w: Work,
    stepper: Stepper,
    pub(crate) phases: Vec<Phase>,
    /// When a booting module has booted, s; infinite for the others.
    pub(crate) boot_end_s: Vec<f64>,
    pub(crate) at_s: f64,
    pub(crate) record: Record,
    pub(crate) effort: Effort,
    pub(crate) end: Option<End>,
    turned_on: Vec<bool>,
    /// How often each module fell out at this instant.
    falls: Vec<u32>,
    /// Modules without capacitor that would switch on and off without end at one instant; off until something else
    /// switches.
    pub(crate) flutters: Vec<bool>,
    was_limited: Vec<bool>,
    /// A module has just fallen from a fold.
    at_fold: bool,
    /// When modules that flutter last got another try, s.
    woken_s: Option<f64>,
    pub(crate) snapshots: Vec<Option<Snapshot>>,
    into_a: Vec<f64>,
}

impl<'a> Run<'a> {
    pub(crate) fn new(circuit: &'a Circuit, settings: &'a Settings, mark_v: Vec<f64>) -> Self {
        let modules = circuit.modules.len();
        Self {
            circuit,
            settings,
            w: circuit.work(),
            stepper: Stepper::new(circuit.nodes()),
            phases: circuit.modules.iter().map(Circuit::first_phase).collect(),
            boot_end_s: vec![f64::INFINITY; modules],
            at_s: 0.0,
            record: Record::new(circuit, mark_v, settings.trace_points),
            effort: Effort::default(),
            end: None,
            turned_on: vec![false; modules],
            falls: vec![0; modules],
            flutters: vec![false; modules],
            was_limited: vec![false; circuit.sources.len()],
            at_fold: false,
            woken_s: None,
            snapshots: vec![None; modules],
            into_a: vec![0.0; circuit.nodes()],
        }
    }

    pub(crate) fn follow(&mut self) -> Result<End, StartupError> {
        let tolerance_v = TOLERANCE * self.circuit.highest_v;
        self.switch()?;
        let mut h_s = self.first_step_s();
        let mut growth = 5.0;
        loop {
            if let Some(end) = self.end {
                return Ok(end);
            }
            if self.at_rest() && !self.wakes()? {
                return Ok(End::AtRest);
            }
            if self.at_s >= self.settings.longest_s {
                return Ok(End::TimeIsUp);
            }
            if self.effort.steps + self.effort.rejections + self.effort.searches >= MOST_STEPS {
                return Err(StartupError::TooManySteps {
                    most: MOST_STEPS,
                    at_s: self.at_s,
                });
            }
            let next_s = self.next_timer_s();
            let room_s = next_s - self.at_s;
            let to_timer = h_s >= room_s;
            let try_s = if to_timer { room_s } else { h_s };
            let step = self.stepper.step(self.circuit, try_s, &mut self.w);
            let error = step.map_or(f64::INFINITY, |error_v| error_v / tolerance_v);
            if error > 1.0 {
                self.effort.rejections += 1;
                growth = 1.0;
                h_s = try_s * step_factor(error, growth);
                if h_s < LEAST_STEP_S {
                    self.collapse_or_fail()?;
                    h_s = self.first_step_s();
                }
                continue;
            }
            let end_v = std::mem::take(&mut self.stepper.end_v);
            let past = self.past(&end_v);
            self.stepper.end_v = end_v;
            if past > 0.0 {
                let taken_s = self.locate(try_s, past)?;
                self.accept(self.at_s + taken_s, taken_s);
                self.switch()?;
                h_s = self.first_step_s().min(try_s);
            } else {
                let end_s = if to_timer { next_s } else { self.at_s + try_s };
                self.accept(end_s, try_s);
                h_s = try_s * step_factor(error, growth);
                if to_timer {
                    self.switch()?;
                    h_s = h_s.min(self.first_step_s());
                }
            }
            growth = 5.0;
        }
    }

    /// How often a module has fallen out.
    pub(crate) fn falls_of(&self, module: usize) -> usize {
        let fell = |event: &&Event| event.kind == EventKind::Off { module };
        self.record.events.iter().filter(fell).count()
    }

    fn accept(&mut self, end_s: f64, taken_s: f64) {
        self.effort.steps += 1;
        let stepper = &self.stepper;
        self.record.integrate(
            self.circuit,
            &self.w,
            taken_s,
            &stepper.end_v,
            |begin_v, halfway_v| stepper.halfway(begin_v, halfway_v),
        );
        self.w.voltage_v.copy_from_slice(&self.stepper.end_v);
        self.at_s = end_s;
        self.record.sample(self.circuit, end_s, &self.w);
    }

    /// A step that moves no capacitor by more than a hundredth of the highest voltage.
    fn first_step_s(&mut self) -> f64 {
        let mut into_a = std::mem::take(&mut self.into_a);
        self.circuit
            .charging_currents(&self.w.voltage_v, &self.w, &mut into_a);
        let mut fastest_v_s = 0.0_f64;
        for i in 0..into_a.len() {
            if self.circuit.capacitance_f[i] > 0.0 && !self.w.held[i] {
                fastest_v_s = fastest_v_s.max(into_a[i].abs() / self.circuit.capacitance_f[i]);
            }
        }
        self.into_a = into_a;
        let step_s = 0.01 * self.circuit.highest_v / fastest_v_s;
        step_s.min(self.settings.longest_s).max(10.0 * LEAST_STEP_S)
    }

    fn next_timer_s(&self) -> f64 {
        let mut next_s = self.settings.longest_s;
        for (i, module) in self.circuit.modules.iter().enumerate() {
            next_s = next_s.min(self.boot_end_s[i]);
            if self.phases[i] == Phase::Off && module.not_before_s > self.at_s {
                next_s = next_s.min(module.not_before_s);
            }
        }
        next_s
    }

    /// How far the nearest switching is past at these voltages; above zero something switches.
    fn past(&mut self, voltage_v: &[f64]) -> f64 {
        let circuit = self.circuit;
        let mut past = self.past_threshold(voltage_v);
        for i in 0..voltage_v.len() {
            if self.record.marked_s[i].is_none() {
                past = past.max(voltage_v[i] - self.record.mark_v[i]);
            }
        }
        let mut into_a = std::mem::take(&mut self.into_a);
        circuit.charging_currents(voltage_v, &self.w, &mut into_a);
        past = past.max(circuit.past_limit(voltage_v, &into_a, &self.w));
        self.into_a = into_a;
        past
    }

    fn past_threshold(&self, voltage_v: &[f64]) -> f64 {
        let mut past = f64::NEG_INFINITY;
        for (i, module) in self.circuit.modules.iter().enumerate() {
            let v = voltage_v[self.circuit.module_at[i]];
            past = past.max(match self.phases[i] {
                Phase::Off | Phase::Low if self.flutters[i] => f64::NEG_INFINITY,
                Phase::Off if module.not_before_s > self.at_s => f64::NEG_INFINITY,
                Phase::Off | Phase::Low => v - module.on_v(),
                Phase::Booting | Phase::Running => module.lowest_v() - v,
            });
        }
        past
    }

    /// Shortens the step of `long_s`, at whose end something is past its switching, until that end lies within the
    /// resolution of time. The stepper is left with that step; returns its length.
    fn locate(&mut self, long_s: f64, long_past: f64) -> Result<f64, StartupError> {
        let begin_v = std::mem::take(&mut self.w.voltage_v);
        let (mut low_s, mut high_s, mut taken_s) = (0.0, long_s, long_s);
        let (mut low_past, mut high_past) = (self.past(&begin_v).min(0.0), long_past);
        self.w.voltage_v = begin_v;
        let mut same_side = 0_i32;
        let mut tries = 0;
        let resolution_s = TIME_RESOLUTION_S.min(1e-6 * long_s).max(LEAST_RESOLUTION_S);
        while high_s - low_s > resolution_s {
            tries += 1;
            let share = if tries <= MOST_REGULA_FALSI && high_past > low_past {
                -low_past / (high_past - low_past)
            } else {
                0.5
            };
            let root_s = low_s + (high_s - low_s) * share;
            if taken_s == high_s && high_s - root_s <= 0.5 * resolution_s && low_past < 0.0 {
                break;
            }
            let try_s = (root_s + 0.25 * resolution_s).min(0.5 * (root_s + high_s));
            self.effort.searches += 1;
            if self.effort.searches >= MOST_STEPS {
                return Err(StartupError::TooManySteps {
                    most: MOST_STEPS,
                    at_s: self.at_s,
                });
            }
            let sound = self.stepper.step(self.circuit, try_s, &mut self.w).is_ok();
            taken_s = try_s;
            let end_v = std::mem::take(&mut self.stepper.end_v);
            let past = if sound { self.past(&end_v) } else { long_past };
            self.stepper.end_v = end_v;
            if past > 0.0 {
                (high_s, high_past) = (try_s, past);
                if same_side > 0 {
                    low_past *= 0.5;
                }
                same_side = 1;
            } else {
                (low_s, low_past) = (try_s, past);
                if same_side < 0 {
                    high_past *= 0.5;
                }
                same_side = -1;
            }
        }
        if taken_s != high_s {
            self.effort.searches += 1;
            if self
                .stepper
                .step(self.circuit, high_s, &mut self.w)
                .is_err()
            {
                return Err(StartupError::StepTooSmall {
                    at_s: self.at_s,
                    step_s: high_s,
                });
            }
        }
        Ok(high_s)
    }

    /// Switches what is to be switched at this instant, until nothing more changes, and finds the voltages after it.
    fn switch(&mut self) -> Result<(), StartupError> {
        let circuit = self.circuit;
        self.was_limited.copy_from_slice(&self.w.limited);
        self.turned_on.fill(false);
        if std::mem::take(&mut self.at_fold) {
            // the module that fell would come back to the very fold it fell from
            for falls in &mut self.falls {
                *falls = if *falls > 0 { MOST_FALLS } else { 0 };
            }
        } else {
            self.falls.fill(0);
        }
        self.flutters.fill(false);
        loop {
            let changed = match circuit.settle(&self.phases, Capacitors::Held, &mut self.w) {
                Ok(()) => self.switch_modules(),
                Err(_) => {
                    self.drop_weakest()?;
                    true
                }
            };
            if !changed {
                break;
            }
        }
        for source in 0..circuit.sources.len() {
            let kind = match (self.was_limited[source], self.w.limited[source]) {
                (false, true) => EventKind::LimitReached { source },
                (true, false) => EventKind::LimitLeft { source },
                _ => continue,
            };
            self.log(kind);
        }
        if self.record.events.len() > self.settings.most_events {
            self.end = Some(End::SwitchingsAreUp);
        }
        self.record.sample(circuit, self.at_s, &self.w);
        for module in 0..circuit.modules.len() {
            if self.turned_on[module] && self.end.is_none() {
                self.look_back(module);
            }
        }
        Ok(())
    }

    pub(crate) fn log(&mut self, kind: EventKind) {
        let at_s = self.at_s;
        self.record.events.push(Event { at_s, kind });
    }

    /// Whether any module changed. A module that has fallen out twice at this instant does not come on again at it:
    /// each switches a bounded number of times.
    fn switch_modules(&mut self) -> bool {
        let mut changed = false;
        for i in 0..self.circuit.modules.len() {
            let module = &self.circuit.modules[i];
            let v = self.w.voltage_v[self.circuit.module_at[i]];
            match self.phases[i] {
                Phase::Off | Phase::Low
                    if v >= module.on_v() && self.at_s >= module.not_before_s =>
                {
                    if self.falls[i] >= MOST_FALLS {
                        if !std::mem::replace(&mut self.flutters[i], true) {
                            self.log(EventKind::Flutter { module: i });
                        }
                        continue;
                    }
                    self.turned_on[i] = true;
                    self.log(EventKind::On { module: i });
                    self.phases[i] = Phase::Booting;
                    self.boot_end_s[i] = self.at_s + module.boot_s;
                    changed = true;
                }
                Phase::Booting | Phase::Running if v < module.lowest_v() => {
                    self.turn_off(i);
                    changed = true;
                }
                Phase::Booting if self.at_s >= self.boot_end_s[i] => {
                    self.log(EventKind::BootEnd { module: i });
                    self.phases[i] = Phase::Running;
                    self.boot_end_s[i] = f64::INFINITY;
                    changed = true;
                }
                _ => {}
            }
        }
        changed
    }

    fn turn_off(&mut self, module: usize) {
        self.log(EventKind::Off { module });
        self.phases[module] = Circuit::first_phase(&self.circuit.modules[module]);
        self.boot_end_s[module] = f64::INFINITY;
        self.falls[module] += 1;
        self.turned_on[module] = false;
    }

    /// The algebraic nodes have no operating point: the module among them with the lowest voltage falls; of voltages that only rounding tells apart, as before
    /// any of them draws, the one that draws the most power; of equals the first.
    fn drop_weakest(&mut self) -> Result<(), StartupError> {
        let circuit = self.circuit;
        let voltage_v = |i: &usize| self.w.voltage_v[circuit.module_at[*i]];
        let may_fall: Vec<usize> = (0..circuit.modules.len())
            .filter(|&i| {
                circuit.capacitance_f[circuit.module_at[i]] == 0.0 && self.w.module_w[i] > 0.0
            })
            .collect();
        let lowest_v = may_fall.iter().map(voltage_v).fold(f64::INFINITY, f64::min);
        let alike_v = lowest_v + ALIKE * circuit.highest_v;
        let weakest = may_fall
            .into_iter()
            .rev()
            .filter(|i| voltage_v(i) <= alike_v)
            .max_by(|a, b| self.w.module_w[*a].total_cmp(&self.w.module_w[*b]));
        let Some(module) = weakest else {
            return Err(StartupError::StepTooSmall {
                at_s: self.at_s,
                step_s: 0.0,
            });
        };
        self.log(EventKind::Collapse { module });
        self.turn_off(module);
        Ok(())
    }

    /// The step has shrunk to nothing: an algebraic node stands at its fold, where the voltage falls infinitely fast.
    fn collapse_or_fail(&mut self) -> Result<(), StartupError> {
        self.falls.fill(0);
        if self.drop_weakest().is_err() {
            return Err(StartupError::StepTooSmall {
                at_s: self.at_s,
                step_s: LEAST_STEP_S,
            });
        }
        self.at_fold = true;
        self.switch()
    }

    /// Gives modules that flutter another try, now that the line is at rest. Whether the line is awake again.
    fn wakes(&mut self) -> Result<bool, StartupError> {
        if !self.flutters.contains(&true) || self.woken_s == Some(self.at_s) {
            return Ok(false);
        }
        self.woken_s = Some(self.at_s);
        let before = self.phases.clone();
        self.switch()?;
        Ok(before != self.phases)
    }

    /// Whether nothing will change any more.
    fn at_rest(&mut self) -> bool {
        let circuit = self.circuit;
        let waits = (0..circuit.modules.len()).any(|i| {
            let not_before_s = circuit.modules[i].not_before_s;
            self.phases[i] == Phase::Booting
                || (self.phases[i] == Phase::Off
                    && not_before_s > self.at_s
                    && not_before_s.is_finite())
        });
        if waits {
            return false;
        }
        let w = &mut self.w;
        let mut r = std::mem::take(&mut w.r);
        circuit.charging_currents(&w.voltage_v, w, &mut r);
        for i in 0..circuit.nodes() {
            w.s[i] = w.ground_s[i];
            if w.power_w[i] > 0.0 {
                w.s[i] -= w.power_w[i] / (w.voltage_v[i] * w.voltage_v[i]);
            }
            w.x[i] = 0.0;
        }
        let elimination = &circuit.topology.elimination;
        let stable = elimination.factor(&mut w.s, &w.held, &mut w.factor).is_ok();
        if stable {
            elimination.solve(&w.factor, &w.held, &mut r, &mut w.x);
        }
        w.r = r;
        let way_v = w.x.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        if !stable || way_v.is_nan() || way_v > AT_REST * circuit.highest_v {
            return false;
        }
        let voltage_v = std::mem::take(&mut self.w.voltage_v);
        let mut into_a = std::mem::take(&mut self.into_a);
        circuit.charging_currents(&voltage_v, &self.w, &mut into_a);
        let past = self
            .past_threshold(&voltage_v)
            .max(circuit.past_limit(&voltage_v, &into_a, &self.w));
        self.w.voltage_v = voltage_v;
        self.into_a = into_a;
        past < -10.0 * AT_REST * circuit.highest_v
    }
}

/// Factor on the step for the next one: the error goes with its fourth power.
fn step_factor(error: f64, growth: f64) -> f64 {
    (0.9 / libm::sqrt(libm::sqrt(error))).clamp(0.2, growth)
}
