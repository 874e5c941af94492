//! Voltages settle after each change, and energy is summed from one settling to the next.

use assess::input::{Conditions, ElectricInput, ns};
use plan::{ExclusiveMember, ModuleIx, SupplyIx};
use power::Fallen;
use timeline::{Class, Ns};

use super::{Engine, Happening, TRIP, place};
use crate::error::RehearsalError;
use crate::modules::{Life, ModuleNow};
use crate::record::{Collapse, RecordId, What};

impl Engine<'_> {
    fn conditions(&self) -> Conditions {
        Conditions {
            contacts: self.contacts,
            draws: self.modules.iter().map(ModuleNow::draw).collect(),
            working: self.modules.iter().map(ModuleNow::works).collect(),
            whole: self.whole.clone(),
            giving: self.giving.clone(),
            added_ohm: self.added_ohm.clone(),
            given: self.given.clone(),
        }
    }

    /// Solves the voltages anew and says who trips and who wakes.
    pub(super) fn settle(&mut self) -> Result<(), RehearsalError> {
        self.dirty = false;
        self.integrate();
        let input = self.electric.input(self.line, &self.conditions())?;
        if !input.unknowns.is_empty() {
            return Err(RehearsalError::NotSaid {
                what: input.unknowns,
            });
        }
        let voltages_v = self.solve(&input)?;
        let rises = self.rises();
        for (m, v) in self.modules.iter_mut().zip(&voltages_v) {
            m.voltage_v = *v;
            // While the line comes up, voltages are those of the start, not of a line at rest.
            if !rises {
                m.lowest_v = m.lowest_v.min(*v);
                m.highest_v = m.highest_v.max(*v);
            }
        }
        if rises {
            return Ok(());
        }
        let settled = self.record(None, None, What::Settled { voltages_v });
        for i in 0..self.modules.len() {
            self.watch_voltage(ModuleIx(i), settled)?;
            self.watch_highest(ModuleIx(i), settled);
        }
        self.watch_exclusives(settled);
        self.watch_drained()
    }

    /// Tells each time that an exclusive group comes to hold more members than it may.
    fn watch_exclusives(&mut self, parent: RecordId) {
        let line = self.line;
        for (exclusive, group) in line.exclusives.iter().enumerate() {
            let holds = |member: &&ExclusiveMember| match **member {
                ExclusiveMember::State { module, state } => {
                    let m = &self.modules[module.0];
                    m.draws_in_a_state() && m.state == Some(state)
                }
                ExclusiveMember::Output(output) => {
                    let m = &self.modules[output.module.0];
                    m.draws_in_a_state() && m.outputs_on[output.output]
                }
            };
            let holding = group.of.iter().filter(holds).count();
            let over = holding > group.at_most as usize;
            if over && !self.together[exclusive] {
                let holding =
                    u32::try_from(holding).expect("a file has no room for so many members");
                let told = What::Together { exclusive, holding };
                self.record(Some(parent), None, told);
            }
            self.together[exclusive] = over;
        }
    }

    /// Voltage at each module; zero at those that fall out because the line cannot carry them.
    fn solve(&mut self, input: &ElectricInput) -> Result<Vec<f64>, RehearsalError> {
        self.supply_w.fill(0.0);
        for m in &mut self.modules {
            m.power_w = 0.0;
        }
        if input.network.sources.is_empty() {
            self.collapsed.clear();
            return Ok(vec![0.0; self.modules.len()]);
        }
        let mut lowest_v = vec![0.0; input.network.nodes];
        for (m, inlet) in input.inlets.iter().enumerate() {
            if let Some(node) = inlet {
                lowest_v[*node] = self.stays_on_from_v(ModuleIx(m));
            }
        }
        let found = power::carried(&input.network, &lowest_v).map_err(|source| {
            let at = self.now;
            RehearsalError::Power { at, source }
        })?;
        let solution = &found.solution;
        for (source, current_a) in input.sources.iter().zip(&solution.source_currents_a) {
            self.supply_w[*source] += self.given[*source].voltage_v * current_a;
        }
        let drawing = input.network.loads.iter().zip(&found.on);
        for (load, _) in drawing.filter(|(_, on)| **on) {
            let v = solution.voltages_v[load.node];
            let power_w = match load.kind {
                power::LoadKind::Power { power_w } => power_w,
                power::LoadKind::Current { current_a } => current_a * v,
                power::LoadKind::Resistance { resistance_ohm } => v * v / resistance_ohm,
            };
            self.modules[module_at(input, load.node).0].power_w += power_w;
        }
        let mut voltages_v: Vec<f64> = input
            .inlets
            .iter()
            .map(|node| node.map_or(0.0, |n| solution.voltages_v[n]))
            .collect();
        let collapsed = collapses(input, &found);
        for (_, modules) in &collapsed {
            for module in modules {
                voltages_v[module.0] = 0.0;
            }
        }
        self.tell_collapses(collapsed);
        Ok(voltages_v)
    }

    /// Tells what the line cannot carry, if it is not what the settling before found.
    fn tell_collapses(&mut self, collapsed: Vec<(Collapse, Vec<ModuleIx>)>) {
        if self.collapsed != collapsed && !self.rises() {
            for (why, modules) in &collapsed {
                let (why, modules) = (why.clone(), modules.clone());
                self.record(None, None, What::Collapsed { why, modules });
            }
        }
        self.collapsed = collapsed;
    }

    pub(super) fn integrate(&mut self) {
        let span_s = self.now.as_s_f64() - self.energy_since.as_s_f64();
        self.energy_since = self.now;
        self.drain(span_s);
        for (j, w) in self.supply_j.iter_mut().zip(&self.supply_w) {
            *j += w * span_s;
        }
        for m in &mut self.modules {
            m.energy_j += m.power_w * span_s;
        }
    }

    fn watch_voltage(&mut self, module: ModuleIx, parent: RecordId) -> Result<(), RehearsalError> {
        let plan = &self.line.modules[module.0];
        let (stays_on, switches_on) = (self.stays_on(module), self.switches_on(module));
        let m = &mut self.modules[module.0];
        let turn = m.life_turn;
        let (happening, after) = match m.life {
            Life::Off if !switches_on && m.pending => {
                // Its input counts anew when the voltage is back.
                m.life_turn += 1;
                m.pending = false;
                return Ok(());
            }
            Life::Off if switches_on && !m.dead && !m.hung => {
                let wake = Happening::Wake {
                    module,
                    turn,
                    parent,
                };
                let held_off = plan
                    .wakes_after_s
                    .map_or(Ok(Ns::ZERO), |q| ns(|| format!("module.{}", plan.id), q.si))?;
                (wake, held_off)
            }
            Life::Boots | Life::Works if !stays_on => {
                let trip = Happening::Trip {
                    module,
                    turn,
                    parent,
                };
                (trip, Ns::ZERO)
            }
            _ => return Ok(()),
        };
        if !m.pending {
            m.pending = true;
            let not_before = match m.life {
                Life::Off => m.not_before,
                Life::Boots | Life::Works => Ns::ZERO,
            };
            let at = self.now.checked_add(TRIP);
            if let Some(at) = at.and_then(|at| at.checked_add(after)) {
                let at = at.max(not_before);
                self.queue
                    .push(at, Class::Supply, place(module.0), happening);
            }
        }
        Ok(())
    }

    /// Tells once of each module that it has more than its highest voltage.
    fn watch_highest(&mut self, module: ModuleIx, parent: RecordId) {
        let Some(input) = &self.line.modules[module.0].input else {
            return;
        };
        let m = &mut self.modules[module.0];
        let (voltage_v, highest_v) = (m.voltage_v, input.maximum_v.si);
        if voltage_v <= highest_v || std::mem::replace(&mut m.told_over, true) {
            return;
        }
        let over = What::OverVoltage {
            module,
            voltage_v,
            highest_v,
        };
        self.record(Some(parent), None, over);
    }

    /// Whether a module that is on stays on: it has its lowest voltage, and that at which its lock-out would switch it off. One
    /// without a power input needs none from the line.
    pub(super) fn stays_on(&self, module: ModuleIx) -> bool {
        self.modules[module.0].voltage_v >= self.stays_on_from_v(module)
    }

    fn stays_on_from_v(&self, module: ModuleIx) -> f64 {
        let input = self.line.modules[module.0].input.as_ref();
        input.map_or(0.0, |i| {
            let off_v = i.lock_out.map_or(0.0, |l| l.off_v.si);
            i.minimum_v.si.max(off_v)
        })
    }

    /// Whether a module that is off has the voltage at which it switches on.
    pub(super) fn switches_on(&self, module: ModuleIx) -> bool {
        let input = self.line.modules[module.0].input.as_ref();
        let on_v = input
            .and_then(|i| i.lock_out)
            .map_or(0.0, |lock_out| lock_out.on_v.si);
        self.stays_on(module) && self.modules[module.0].voltage_v >= on_v
    }
}

fn module_at(input: &ElectricInput, node: usize) -> ModuleIx {
    let at = input.inlets.iter().position(|n| *n == Some(node));
    ModuleIx(at.expect("every load sits at the inlet of its module"))
}

/// What the line cannot carry, cause by cause, with the modules that fall out by it.
fn collapses(input: &ElectricInput, found: &power::Carried) -> Vec<(Collapse, Vec<ModuleIx>)> {
    let (mut powers, mut currents, mut supplies) = (Vec::new(), Vec::new(), Vec::new());
    let mut share = None;
    for fallen in &found.fallen {
        match *fallen {
            Fallen::Powers { node, share: s } => {
                share.get_or_insert(s);
                powers.push(module_at(input, node));
            }
            Fallen::Currents { node } => currents.push(module_at(input, node)),
            Fallen::Overloaded { source } => supplies.push(SupplyIx(input.sources[source])),
        }
    }
    let mut all = Vec::new();
    if let Some(share) = share {
        all.push((Collapse::Powers { share }, powers));
    }
    if !currents.is_empty() {
        all.push((Collapse::Currents, currents));
    }
    if !supplies.is_empty() {
        // Nothing else has no voltage at all where a supply leads.
        let dark = |node: &Option<usize>| node.is_some_and(|n| found.solution.voltages_v[n] == 0.0);
        let modules = (0..input.inlets.len()).filter(|m| dark(&input.inlets[*m]));
        let modules = modules.map(ModuleIx).collect();
        all.push((Collapse::Overloaded { supplies }, modules));
    }
    all
}
