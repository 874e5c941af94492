//! What can break, and who has power then.

use plan::{Line, ModuleIx, OutputIx, PassWhen, SensorIx, SpanIx, SupplyIx, UplinkIx};
use power::fault::{bolted_short, contact_borne, settled};

use super::Breakage;
use crate::faults::{Lived, asked_too_much, branch_of, live_through, named};
use crate::input::{Conditions, Draw, Electric, ElectricInput, InputError};
use crate::reserve::limits;

/// A contact is broken by this much more than the line bears of it, so that what gives way has given way.
const BEYOND: f64 = 1.001;
/// And by so many ohms where the line bears none.
const LEAST_OHM: f64 = 1e-6;

/// The part that breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Span(SpanIx),
    Module(ModuleIx),
    Supply(SupplyIx),
    Uplink(UplinkIx),
    Hydrophone(SensorIx),
}

impl Part {
    /// Whether it has nothing to do with who has power.
    pub(super) fn bears_no_power(self) -> bool {
        matches!(self, Part::Uplink(_) | Part::Hydrophone(_))
    }
}

/// A part that is broken in one way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Broken {
    pub(super) part: Part,
    pub(super) breakage: Breakage,
}

/// Who has power.
#[derive(Clone, Debug)]
pub(super) struct Powered {
    pub(super) dead: Vec<bool>,
    /// By module, V; `None` where no supply feeds it.
    pub(super) voltages_v: Vec<Option<f64>>,
    /// Of the dead, those whose voltage is back once they are: they boot again, and again.
    pub(super) tries_again: Vec<bool>,
}

/// How a network is broken.
struct Fault {
    conditions: Conditions,
    short: Option<Part>,
    /// A module that is without power whatever the network is.
    forced: Option<usize>,
}

/// The direct-current network of the whole line, before anything breaks.
pub(super) struct Network<'a> {
    pub(super) line: &'a Line,
    pub(super) electric: Electric,
    pub(super) usual: Conditions,
    pub(super) base: ElectricInput,
}

impl Network<'_> {
    /// Every failure that the line can have, by kind of part and id.
    pub(super) fn all(&self) -> Result<Vec<(Broken, String)>, InputError> {
        let line = self.line;
        let mut all = Vec::new();
        let mut add = |part: Part, breakage: Breakage, subject: &String| {
            all.push((Broken { part, breakage }, subject.clone()));
        };
        for (s, span) in line.spans.iter().enumerate() {
            let path = format!("span.{}", span.id);
            let part = Part::Span(SpanIx(s));
            add(part, Breakage::Cut, &path);
            let Some(branch) = branch_of(&self.base, SpanIx(s)) else {
                continue;
            };
            add(part, Breakage::Shorted, &path);
            if span.contacts.is_some_and(|c| c.mated_pins_in_loop > 0)
                && let Ok(borne) =
                    contact_borne(&self.base.network, branch, &limits(line, &self.base))
                && borne.resistance_ohm.is_finite()
            {
                let ohm = BEYOND * borne.resistance_ohm + LEAST_OHM;
                add(part, Breakage::PoorContact { ohm }, &path);
            }
        }
        for (m, module) in line.modules.iter().enumerate() {
            let path = line.module_path(ModuleIx(m));
            let part = Part::Module(ModuleIx(m));
            add(part, Breakage::Unpowered, &path);
            add(part, Breakage::Hung, &path);
            add(part, Breakage::Flooded, &path);
            let master = line.time_sync.as_ref().is_some_and(|s| s.master.0 == m);
            if master || module.clock.is_some() || module.clock_error_s.is_some() {
                add(part, Breakage::WrongClock, &path);
            }
        }
        for sensor in line.hydrophones() {
            let path = line.sensor_path(sensor);
            add(Part::Hydrophone(sensor), Breakage::Deaf, &path);
        }
        for (s, supply) in line.supplies.iter().enumerate() {
            let path = format!("supply.{}", supply.id);
            add(Part::Supply(SupplyIx(s)), Breakage::NoSupply, &path);
        }
        for (u, uplink) in line.uplinks.iter().enumerate() {
            let path = format!("uplink.{}", uplink.id);
            add(Part::Uplink(UplinkIx(u)), Breakage::NoUplink, &path);
        }
        Ok(all)
    }

    fn fault(&self, broken: Option<&Broken>) -> Fault {
        let mut conditions = self.usual.clone();
        let mut short = None;
        let mut forced = None;
        match broken.map(|b| (b.part, b.breakage)) {
            Some((Part::Span(s), Breakage::Cut)) => conditions.whole[s.0] = false,
            Some((Part::Span(s), Breakage::Shorted)) => short = Some(Part::Span(s)),
            Some((Part::Span(s), Breakage::PoorContact { ohm })) => {
                conditions.added_ohm[s.0] += ohm;
            }
            Some((Part::Module(m), Breakage::Unpowered)) => {
                conditions.draws[m.0] = Draw::Nothing;
                forced = Some(m.0);
            }
            Some((Part::Module(m), Breakage::Flooded)) => {
                conditions.draws[m.0] = Draw::Nothing;
                forced = Some(m.0);
                let passes = self.line.modules[m.0].passes;
                if passes.is_none_or(|p| p.power != PassWhen::Always) {
                    short = Some(Part::Module(m));
                }
            }
            Some((Part::Module(m), Breakage::Hung)) => conditions.working[m.0] = false,
            Some((Part::Supply(s), _)) => conditions.giving[s.0] = false,
            _ => {}
        }
        Fault {
            conditions,
            short,
            forced,
        }
    }

    /// Who lives in these conditions, or why that is unknown.
    fn lived(
        &self,
        conditions: &Conditions,
        short: Option<Part>,
    ) -> Result<Result<Lived, String>, InputError> {
        let lived =
            live_through(
                self.line,
                &self.electric,
                conditions,
                |input, lowest_v| match short.and_then(|at| shorted_node(input, at)) {
                    Some(node) => bolted_short(&input.network, node, lowest_v),
                    None => settled(&input.network, lowest_v),
                },
            )?;
        Ok(match lived {
            Err(error) => Err(named(self.line, &self.base, &error)),
            Ok(lived) => match asked_too_much(self.line, &lived) {
                Some(why) => Err(why),
                None => Ok(lived),
            },
        })
    }

    /// Who has power when this is broken; all as before where it has nothing to do with power.
    pub(super) fn powered(
        &self,
        broken: Option<&Broken>,
    ) -> Result<Result<Powered, String>, InputError> {
        let Fault {
            conditions,
            short,
            forced,
        } = self.fault(broken);
        if !conditions.giving.iter().any(|giving| *giving) {
            return Ok(Ok(self.nothing_fed()));
        }
        let lived = self.lived(&conditions, short)?;
        Ok(lived.map(|lived| self.told(&lived, forced)))
    }

    /// Who drops out at times beside the dead: while those that try again boot, or with these outputs on. The dead that try again are not among them.
    pub(super) fn at_times(
        &self,
        broken: &Broken,
        powered: &Powered,
        on: &[OutputIx],
    ) -> Result<Vec<bool>, InputError> {
        let count = self.line.modules.len();
        let mut at_times = vec![false; count];
        let Fault {
            mut conditions,
            short,
            ..
        } = self.fault(Some(broken));
        if !conditions.giving.iter().any(|giving| *giving) {
            return Ok(at_times);
        }
        for (m, draw) in conditions.draws.iter_mut().enumerate() {
            if powered.dead[m] && !powered.tries_again[m] {
                *draw = Draw::Nothing;
            }
        }
        for output in on {
            if let Draw::State { outputs_on, .. } = &mut conditions.draws[output.module.0] {
                outputs_on[output.output] = true;
            }
        }
        loop {
            let mut booting = conditions.clone();
            for (m, draw) in booting.draws.iter_mut().enumerate() {
                let starts = powered.tries_again[m] || at_times[m];
                if starts && self.line.modules[m].boot.is_some() {
                    *draw = Draw::Boot;
                }
            }
            let before = at_times.clone();
            for conditions in [&conditions, &booting] {
                let lived = self.lived(conditions, short)?;
                for (m, at_times) in at_times.iter_mut().enumerate() {
                    let falls = match &lived {
                        Ok(lived) => lived.dead[m],
                        // A supply that is asked for too much may take all with it.
                        Err(_) => self.line.modules[m].input.is_some(),
                    };
                    *at_times |= falls && !powered.dead[m] && !self.has_own_power(m);
                }
            }
            if at_times == before {
                return Ok(at_times);
            }
        }
    }

    /// Which of those that try again hold out once they have booted: each while the others that try again stay out, and then those that get power through it, beside it.
    pub(super) fn hold_out(
        &self,
        broken: &Broken,
        powered: &Powered,
    ) -> Result<Vec<bool>, InputError> {
        let Fault {
            mut conditions,
            short,
            ..
        } = self.fault(Some(broken));
        let working = conditions.draws.clone();
        for (m, draw) in conditions.draws.iter_mut().enumerate() {
            if powered.dead[m] {
                *draw = Draw::Nothing;
            }
        }
        let again: Vec<usize> = (0..working.len())
            .filter(|&m| powered.tries_again[m])
            .collect();
        let Ok(out) = self.lived(&conditions, short)? else {
            // Where it is not known how they stand they may hold out.
            return Ok(powered.tries_again.clone());
        };
        let mut holds = vec![false; working.len()];
        // Those that have a voltage to boot at, each with those that work beside it.
        let fed = again.iter().filter(|&&m| self.may_boot(m, &out));
        let mut to_try: Vec<(Vec<usize>, usize)> = fed.map(|&m| (Vec::new(), m)).collect();
        while let Some((mut beside, m)) = to_try.pop() {
            if holds[m] {
                continue;
            }
            let mut with = conditions.clone();
            for &k in &beside {
                with.draws[k] = working[k].clone();
            }
            let boots = self.line.modules[m].boot.is_some();
            let mut last = None;
            for draw in [boots.then_some(Draw::Boot), Some(working[m].clone())] {
                let Some(draw) = draw else { continue };
                with.draws[m] = draw;
                // A supply that is asked for too much holds none.
                last = self
                    .lived(&with, short)?
                    .ok()
                    .filter(|lived| !lived.dead[m]);
                if last.is_none() {
                    break;
                }
            }
            let Some(lived) = last else { continue };
            holds[m] = true;
            beside.push(m);
            let behind = |k: &&usize| !self.may_boot(**k, &out) && self.may_boot(**k, &lived);
            to_try.extend(again.iter().filter(behind).map(|&k| (beside.clone(), k)));
        }
        Ok(holds)
    }

    /// Whether a module that is off has the voltage at which it boots.
    fn may_boot(&self, m: usize, lived: &Lived) -> bool {
        let v = lived.input.inlets[m].map(|node| lived.faulted.voltages_v[node]);
        let own = self.line.modules[m].input.as_ref();
        let on_v = own.map(|i| {
            i.lock_out
                .map_or(i.minimum_v.si, |l| l.on_v.si.max(i.minimum_v.si))
        });
        on_v.zip(v).is_some_and(|(on_v, v)| v >= on_v)
    }

    /// A module without an input needs no power from the line.
    fn has_own_power(&self, m: usize) -> bool {
        self.line.modules[m].input.is_none()
    }

    fn nothing_fed(&self) -> Powered {
        let count = self.line.modules.len();
        Powered {
            dead: (0..count).map(|m| !self.has_own_power(m)).collect(),
            voltages_v: vec![None; count],
            tries_again: vec![false; count],
        }
    }

    fn told(&self, lived: &Lived, forced: Option<usize>) -> Powered {
        let modules = &self.line.modules;
        let count = modules.len();
        let dead = |m: usize| forced == Some(m) || lived.dead[m] && !self.has_own_power(m);
        let voltage_v = |m: usize| Some(lived.faulted.voltages_v[lived.input.inlets[m]?]);
        let is_back = |m: usize| forced != Some(m) && dead(m) && self.may_boot(m, lived);
        // What boots passes power on, to those behind it.
        let feeds = |m: usize| {
            modules[m]
                .passes
                .is_none_or(|p| p.power != PassWhen::Always)
        };
        let more_fed = (0..count).any(|m| is_back(m) && feeds(m));
        let again = |m: usize| is_back(m) || more_fed && dead(m) && forced != Some(m);
        Powered {
            dead: (0..count).map(dead).collect(),
            voltages_v: (0..count).map(voltage_v).collect(),
            tries_again: (0..count).map(again).collect(),
        }
    }
}

/// The node that a short holds at zero volts; `None` where no supply feeds it any more.
fn shorted_node(input: &ElectricInput, at: Part) -> Option<usize> {
    match at {
        Part::Module(m) => input.inlets[m.0],
        Part::Span(s) => {
            // A span's far end is an inlet; where both ends are outlets, either will do.
            let ends = input.network.spans[branch_of(input, s)?];
            let inlet = |node: usize| input.inlets.contains(&Some(node));
            Some(if inlet(ends.b) { ends.b } else { ends.a })
        }
        Part::Supply(_) | Part::Uplink(_) | Part::Hydrophone(_) => None,
    }
}
