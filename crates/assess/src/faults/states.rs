//! The states that faults meet, and who is dead after them.

use plan::{ExclusiveMember, Line, Load};
use power::fault::Faulted;

use crate::input::{Conditions, Contacts, Draw, ElectricInput, heaviest};

/// Sets of states that the exclusive groups allow: every module in its heaviest state or boot, of each group the largest
/// members, and once each with every member of a group among those that hold.
pub(super) fn heavy_sets(line: &Line, contacts: Contacts) -> Vec<Conditions> {
    let firsts = line.exclusives.iter().flat_map(|group| &group.of);
    let firsts = std::iter::once(None).chain(firsts.map(|member| Some(*member)));
    let mut sets: Vec<Conditions> = Vec::new();
    for first in firsts {
        let set = heaviest_allowed(line, contacts, first);
        if !sets.contains(&set) {
            sets.push(set);
        }
    }
    sets
}

fn heaviest_allowed(line: &Line, contacts: Contacts, first: Option<ExclusiveMember>) -> Conditions {
    let mut conditions = Conditions::with(line, contacts, heaviest);
    for group in &line.exclusives {
        let mut holding: Vec<(f64, ExclusiveMember)> = group
            .of
            .iter()
            .filter(|member| holds(&conditions, **member))
            .map(|member| {
                let size = if first == Some(*member) {
                    f64::INFINITY
                } else {
                    power_w(line, *member)
                };
                (size, *member)
            })
            .collect();
        holding.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (_, member) in holding.into_iter().skip(group.at_most as usize) {
            give_up(line, &mut conditions, member);
        }
    }
    conditions
}

fn holds(conditions: &Conditions, member: ExclusiveMember) -> bool {
    match member {
        ExclusiveMember::State { module, state } => {
            matches!(&conditions.draws[module.0], Draw::State { state: Some(s), .. } if *s == state)
        }
        ExclusiveMember::Output(output) => {
            matches!(&conditions.draws[output.module.0], Draw::State { outputs_on, .. } if outputs_on[output.output])
        }
    }
}

fn power_w(line: &Line, member: ExclusiveMember) -> f64 {
    match member {
        ExclusiveMember::State { module, state } => size(&line.modules[module.0].loads[state].load),
        ExclusiveMember::Output(output) => {
            let power = line.modules[output.module.0].outputs[output.output].power_w;
            power.map_or(0.0, |q| q.si)
        }
    }
}

fn size(load: &Load) -> f64 {
    match load {
        Load::Power(q) | Load::Current(q) => q.si,
        Load::Resistance(q) => 1.0 / q.si,
    }
}

/// Switches the output off, or takes the heaviest state that is not the member's.
fn give_up(line: &Line, conditions: &mut Conditions, member: ExclusiveMember) {
    match member {
        ExclusiveMember::Output(output) => {
            if let Draw::State { outputs_on, .. } = &mut conditions.draws[output.module.0] {
                outputs_on[output.output] = false;
            }
            boots_if_heavier(line, conditions, output.module.0);
        }
        ExclusiveMember::State { module, state } => {
            let loads = &line.modules[module.0].loads;
            let next = (0..loads.len())
                .filter(|&s| s != state)
                .max_by(|&a, &b| size(&loads[a].load).total_cmp(&size(&loads[b].load)));
            if let Draw::State { state, .. } = &mut conditions.draws[module.0] {
                *state = next;
            }
        }
    }
}

/// A module that has given something up may draw more while it boots.
fn boots_if_heavier(line: &Line, conditions: &mut Conditions, m: usize) {
    let module = &line.modules[m];
    let Draw::State { state, outputs_on } = &conditions.draws[m] else {
        return;
    };
    let outputs = module.outputs.iter().zip(outputs_on).filter(|(_, on)| **on);
    let outputs_w: f64 = outputs.filter_map(|(o, _)| o.power_w).map(|q| q.si).sum();
    let state_w = match state.map(|s| &module.loads[s].load) {
        Some(Load::Power(q)) => q.si,
        // Which is the larger depends on the voltage; such a mix is told as unknown where it is judged.
        Some(Load::Current(_) | Load::Resistance(_)) => return,
        None => 0.0,
    };
    if let (Some(boot), Some(_)) = (module.boot, &module.input)
        && boot.power_w.si > state_w + outputs_w
    {
        conditions.draws[m] = Draw::Boot;
    }
}

/// Modules that no power reaches, or whose voltage is below their lowest.
pub(super) fn dead(
    line: &Line,
    input: &ElectricInput,
    faulted: &Faulted,
    lowest_v: &[f64],
) -> Vec<bool> {
    let mut dead: Vec<bool> = (0..line.modules.len())
        .map(|m| match (input.inlets[m], &line.modules[m].input) {
            (None, _) => true,
            (Some(node), Some(own)) => faulted.voltages_v[node] < own.minimum_v.si,
            (Some(node), None) => faulted.voltages_v[node] <= 0.0,
        })
        .collect();
    // What has dropped out stays out, also where its voltage has come back since.
    for (i, load) in input.network.loads.iter().enumerate() {
        if !faulted.on[i]
            && lowest_v[i] > 0.0
            && let Some(m) = input.inlets.iter().position(|n| *n == Some(load.node))
        {
            dead[m] = true;
        }
    }
    dead
}
