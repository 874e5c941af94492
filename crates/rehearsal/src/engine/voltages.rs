//! Voltages settle after each change, and energy is summed from one settling to the next.

use assess::input::{Conditions, ElectricInput};
use plan::ModuleIx;
use power::NetworkError;
use timeline::Class;

use super::{Engine, Happening, TRIP, place};
use crate::error::RehearsalError;
use crate::modules::{Life, ModuleNow};
use crate::record::{RecordId, What};

impl Engine<'_> {
    fn conditions(&self) -> Conditions {
        Conditions {
            contacts: self.contacts,
            draws: self.modules.iter().map(ModuleNow::draw).collect(),
            working: self.modules.iter().map(ModuleNow::works).collect(),
            whole: self.whole.clone(),
            giving: self.giving.clone(),
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
        for (m, v) in self.modules.iter_mut().zip(&voltages_v) {
            m.voltage_v = *v;
            m.lowest_v = m.lowest_v.min(*v);
            m.highest_v = m.highest_v.max(*v);
        }
        let settled = self.record(None, None, What::Settled { voltages_v });
        for i in 0..self.modules.len() {
            self.watch_voltage(ModuleIx(i), settled);
            self.watch_highest(ModuleIx(i), settled);
        }
        Ok(())
    }

    /// Voltage at each module; all zero when the line cannot carry its load.
    fn solve(&mut self, input: &ElectricInput) -> Result<Vec<f64>, RehearsalError> {
        self.supply_w.fill(0.0);
        for m in &mut self.modules {
            m.power_w = 0.0;
        }
        let dark = vec![0.0; self.modules.len()];
        if input.network.sources.is_empty() {
            return Ok(dark);
        }
        let solution = match power::solve(&input.network) {
            Ok(solution) if solution.limited.is_empty() => solution,
            Ok(_) => {
                self.record(None, None, What::Collapsed { share: None });
                return Ok(dark);
            }
            Err(NetworkError::CannotCarry { scale, .. }) => {
                self.record(None, None, What::Collapsed { share: Some(scale) });
                return Ok(dark);
            }
            Err(source) => {
                return Err(RehearsalError::Power {
                    at: self.now,
                    source,
                });
            }
        };
        for (source, current_a) in input.sources.iter().zip(&solution.source_currents_a) {
            self.supply_w[*source] += self.line.supplies[*source].voltage_v.si * current_a;
        }
        for load in &input.network.loads {
            let v = solution.voltages_v[load.node];
            let power_w = match load.kind {
                power::LoadKind::Power { power_w } => power_w,
                power::LoadKind::Current { current_a } => current_a * v,
                power::LoadKind::Resistance { resistance_ohm } => v * v / resistance_ohm,
            };
            let at = input.inlets.iter().position(|n| *n == Some(load.node));
            let m = at.expect("every load sits at the inlet of its module");
            self.modules[m].power_w += power_w;
        }
        Ok(input
            .inlets
            .iter()
            .map(|node| node.map_or(0.0, |n| solution.voltages_v[n]))
            .collect())
    }

    pub(super) fn integrate(&mut self) {
        let span_s = self.now.as_s_f64() - self.energy_since.as_s_f64();
        self.energy_since = self.now;
        for (j, w) in self.supply_j.iter_mut().zip(&self.supply_w) {
            *j += w * span_s;
        }
        for m in &mut self.modules {
            m.energy_j += m.power_w * span_s;
        }
    }

    fn watch_voltage(&mut self, module: ModuleIx, parent: RecordId) {
        let enough = self.enough(module);
        let m = &mut self.modules[module.0];
        let turn = m.life_turn;
        let happening = match (m.life, enough) {
            (Life::Off, true) if !m.dead && !m.hung => Happening::Wake {
                module,
                turn,
                parent,
            },
            (Life::Boots | Life::Works, false) => Happening::Trip {
                module,
                turn,
                parent,
            },
            _ => return,
        };
        if !m.pending {
            m.pending = true;
            if let Some(at) = self.now.checked_add(TRIP) {
                self.queue
                    .push(at, Class::Supply, place(module.0), happening);
            }
        }
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

    /// Whether a module has its lowest voltage; one without a power input needs none from the line.
    pub(super) fn enough(&self, module: ModuleIx) -> bool {
        let minimum_v = self.line.modules[module.0]
            .input
            .as_ref()
            .map_or(0.0, |i| i.minimum_v.si);
        self.modules[module.0].voltage_v >= minimum_v
    }
}
