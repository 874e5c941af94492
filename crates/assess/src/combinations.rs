//! Which combinations of states a plan allows, and the worst of them.
//!
//! A module may be in any of its states with any of its outputs on, or boot, as far as the plan's exclusive groups allow.
//! A boot is in no group: a module may restart while the others work.

use plan::{ExclusiveMember, Line, Module, ModuleIx};
use power::{
    AtMost, Choice, Choices, Combination, Limits, Network, Reserve, Solver, Weakest, WorstError,
};

use crate::input::{
    Conditions, Contacts, Draw, Electric, ElectricInput, InputError, boots, draws, size,
};
use crate::power_cases::{Case, LARGEST, age};

/// Operating points times nodes that all searches of one kind may take together: about half a second.
const MOST_WORK: usize = 1_500_000;
/// Rounds in which the warmth of cables comes to rest, more or less.
const ROUNDS: usize = 20;
/// Operating points that each may take at least.
const LEAST_POINTS: usize = 200;
/// Ways in which one module may draw.
const MOST_WAYS: usize = 4096;

/// All that the modules of a line may draw together.
pub(crate) struct Combinations {
    /// The network; its loads are those of the states in which the modules start.
    pub(crate) input: ElectricInput,
    pub(crate) choices: Choices,
    contacts: Contacts,
    solver: Solver,
    /// The module of each choice.
    modules: Vec<ModuleIx>,
    /// What each way of each choice is.
    ways: Vec<Vec<Draw>>,
}

/// A module that its lock-out switches off while it is asked to draw.
pub(crate) struct FallsOut {
    pub(crate) module: ModuleIx,
    /// The voltage it would see, V.
    pub(crate) voltage_v: f64,
    /// The voltage below which it goes off, V.
    pub(crate) off_v: f64,
    /// With which combination.
    pub(crate) name: String,
    /// Some module boots in it.
    pub(crate) boots: bool,
    pub(crate) network: Network,
}

/// Whether some module that draws sees less than its lock-out bears.
pub(crate) fn anything_falls_out(line: &Line, case: &Case) -> bool {
    let Ok(solution) = &case.outcome else {
        return false;
    };
    (0..line.modules.len()).any(|m| {
        let off_v = off_v(&line.modules[m]);
        off_v
            .zip(case.input.inlets[m])
            .is_some_and(|(off_v, inlet)| solution.voltages_v[inlet] < off_v)
    })
}

pub(crate) fn off_v(module: &Module) -> Option<f64> {
    let lock_out = module.input.as_ref()?.lock_out?;
    Some(lock_out.off_v.si)
}

/// Every way in which a module may draw, or why there are too many.
fn ways(module: &Module) -> Result<Vec<Draw>, String> {
    let states: Vec<Option<usize>> = match module.loads.len() {
        0 => vec![None],
        n => (0..n).map(Some).collect(),
    };
    let outputs = module.outputs.len();
    let sets = u32::try_from(outputs)
        .ok()
        .and_then(|n| 1_usize.checked_shl(n));
    let sets = sets
        .filter(|sets| sets * states.len() <= MOST_WAYS)
        .ok_or_else(|| {
            format!(
                "module.{} has {} states and {outputs} outputs, more than {MOST_WAYS} ways to draw",
                module.id,
                states.len()
            )
        })?;
    let mut all = Vec::new();
    for state in states {
        // From all outputs on to none.
        for set in (0..sets).rev() {
            all.push(Draw::State {
                state,
                outputs_on: (0..outputs).map(|o| set >> o & 1 == 1).collect(),
            });
        }
    }
    if boots(module) {
        all.push(Draw::Boot);
    }
    Ok(all)
}

impl Combinations {
    /// Of a line with its contacts in some state; the inner error says why they cannot be searched.
    pub(crate) fn of(
        line: &Line,
        electric: &Electric,
        contacts: Contacts,
    ) -> Result<Result<Self, String>, InputError> {
        let mut input = electric.input(line, &Conditions::usual(line, contacts))?;
        let mut choices = Choices {
            fixed: Vec::new(),
            choices: Vec::new(),
            groups: Vec::new(),
        };
        let (mut modules, mut of_each) = (Vec::new(), Vec::new());
        for (m, module) in line.modules.iter().enumerate() {
            let Some(node) = input.inlets[m] else {
                continue;
            };
            let ways = match ways(module) {
                Ok(ways) => ways,
                Err(why) => return Ok(Err(why)),
            };
            let loads = ways
                .iter()
                .map(|draw| draws(module, draw, &mut input.unknowns));
            choices.choices.push(Choice {
                node,
                ways: loads.collect::<Result<_, _>>()?,
                off_v: off_v(module),
            });
            modules.push(ModuleIx(m));
            of_each.push(ways);
        }
        input.unknowns.sort();
        input.unknowns.dedup();
        for exclusive in &line.exclusives {
            let mut of = Vec::new();
            for member in &exclusive.of {
                for (c, ways) in of_each.iter().enumerate() {
                    let in_it = |w: &usize| holds(*member, modules[c], &ways[*w]);
                    of.extend((0..ways.len()).filter(in_it).map(|w| (c, w)));
                }
            }
            choices.groups.push(AtMost {
                of,
                at_most: exclusive.at_most,
            });
        }
        Ok(Solver::new(&input.network)
            .map_err(|error| error.to_string())
            .map(|solver| Self {
                input,
                choices,
                contacts,
                solver,
                modules,
                ways: of_each,
            }))
    }

    /// The worst combinations, each as a set of states, and the modules that fall out. What collapses comes first.
    pub(crate) fn worst(&self, line: &Line) -> Result<(Vec<Case>, Vec<FallsOut>), String> {
        let mut choices = self.choices.clone();
        for choice in &mut choices.choices {
            choice.off_v = None;
        }
        let mut scratch = self.solver.scratch();
        let lock_outs = self.choices.choices.iter().filter(|c| c.off_v.is_some());
        let most = self.most_points(2 * (2 + lock_outs.count()));
        let mut solve = |choices: &Choices| {
            self.solver
                .worst(choices, most, &mut scratch)
                .map_err(|error| told(&error))
        };
        let asked = solve(&choices)?;
        let mut cases = Vec::new();
        if let Some(collapse) = &asked.collapse {
            cases.push(self.case(line, &collapse.combination));
        }
        let mut falls_out = Vec::new();
        for (c, choice) in self.choices.choices.iter().enumerate() {
            let Some(off_v) = choice.off_v else { continue };
            if asked
                .lowest_v
                .get(choice.node)
                .is_none_or(|low| low.value >= off_v)
            {
                continue;
            }
            // The others hold by their own lock-outs.
            let mut others = self.choices.clone();
            others.choices[c].off_v = None;
            let worst = solve(&others)?;
            if let Some(low) = worst
                .lowest_v
                .get(choice.node)
                .filter(|low| low.value < off_v)
            {
                let combination = &worst.combinations[low.combination];
                falls_out.push(FallsOut {
                    module: self.modules[c],
                    voltage_v: low.value,
                    off_v,
                    name: self.name(line, combination),
                    boots: self.boots(combination),
                    network: self.network(combination),
                });
            }
        }
        let lasting = if falls_out.is_empty() {
            asked
        } else {
            solve(&self.choices)?
        };
        let inlets = self.choices.choices.iter().map(|c| c.node);
        let lowest = inlets.filter_map(|node| lasting.lowest_v.get(node));
        let mut of: Vec<usize> = lowest
            .chain(&lasting.most_a)
            .map(|e| e.combination)
            .collect();
        of.sort_unstable();
        of.dedup();
        cases.extend(
            of.iter()
                .map(|&c| self.case(line, &lasting.combinations[c])),
        );
        Ok((cases, falls_out))
    }

    /// What each of some searches may take.
    fn most_points(&self, searches: usize) -> u32 {
        let each = MOST_WORK / self.input.network.nodes / searches;
        u32::try_from(each.max(LEAST_POINTS)).expect("a share of the work is small")
    }

    /// The combination with the least collapse factor, as one of so many searches.
    pub(crate) fn weakest(&self, searches: usize) -> Result<Weakest, String> {
        let most = self.most_points(searches);
        self.solver
            .weakest(&self.choices, most, &mut self.solver.scratch())
            .map_err(|error| told(&error))
    }

    /// The least reserve at a node with its combination, or the limit that one does not keep before anything is added.
    pub(crate) fn least_reserve(
        &self,
        node: usize,
        limits: &Limits,
        searches: usize,
    ) -> Result<(Combination, Result<Reserve, power::NetworkError>), String> {
        let mut scratch = self.solver.scratch();
        let most = self.most_points(searches);
        let least = self
            .solver
            .least_reserve(&self.choices, node, limits, most, &mut scratch)
            .map_err(|error| told(&error))?;
        Ok((least.combination, least.reserve))
    }

    /// All that the supplies give at most together in any allowed combination, A, with the spans of this network; `None` where
    /// one of them collapses.
    pub(crate) fn most_a(&self, network: &Network) -> Result<Option<f64>, String> {
        let solver = Solver::new(network).map_err(|error| error.to_string())?;
        let mut choices = self.choices.clone();
        for choice in &mut choices.choices {
            choice.off_v = None;
        }
        let worst = solver
            .worst(&choices, self.most_points(ROUNDS), &mut solver.scratch())
            .map_err(|error| told(&error))?;
        let most_a = worst.most_a.iter().map(|most| most.value.max(0.0)).sum();
        Ok(worst.collapse.is_none().then_some(most_a))
    }

    pub(crate) fn network(&self, combination: &Combination) -> Network {
        Network {
            loads: self.choices.loads(combination),
            ..self.input.network.clone()
        }
    }

    fn case(&self, line: &Line, combination: &Combination) -> Case {
        let mut off = vec![false; line.modules.len()];
        for (module, way) in self.modules.iter().zip(combination) {
            off[module.0] = way.is_none();
        }
        let network = self.network(combination);
        let outcome = power::solve(&network);
        Case {
            name: self.name(line, combination),
            idle: false,
            boots: self.boots(combination),
            off,
            input: ElectricInput {
                network,
                ..self.input.clone()
            },
            outcome,
        }
    }

    /// Whether some module boots in a combination.
    fn boots(&self, combination: &Combination) -> bool {
        let mut ways = self.ways.iter().zip(combination);
        ways.any(|(all, way)| way.is_some_and(|w| all[w] == Draw::Boot))
    }

    /// A combination in words: the modules that are not at the most they could draw, or stand in a group, and the rest.
    pub(crate) fn name(&self, line: &Line, combination: &Combination) -> String {
        let mut told = Vec::new();
        for (c, way) in combination.iter().enumerate() {
            let grouped = self
                .choices
                .groups
                .iter()
                .any(|g| g.of.iter().any(|(of, _)| *of == c));
            let most = way.is_some_and(|w| self.at_most(c, w));
            if grouped || !most {
                told.push(self.told(line, c, *way));
            }
        }
        let all = told.len() == combination.len();
        match (told.is_empty(), all) {
            (true, _) => format!("{LARGEST}, {}", age(self.contacts)),
            (false, true) => format!("{}, {}", told.join(", "), age(self.contacts)),
            (false, false) => format!(
                "{}, every other module at the larger of its boot and its heaviest state, {}",
                told.join(", "),
                age(self.contacts)
            ),
        }
    }

    /// Whether no other way of a choice draws more in any kind of load.
    fn at_most(&self, choice: usize, way: usize) -> bool {
        let ways = &self.choices.choices[choice].ways;
        let most = size(&ways[way]);
        ways.iter()
            .map(|other| size(other))
            .all(|other| (0..3).all(|kind| other[kind] <= most[kind]))
    }

    fn told(&self, line: &Line, choice: usize, way: Option<usize>) -> String {
        let m = self.modules[choice];
        let (path, module) = (line.module_path(m), &line.modules[m.0]);
        match way.map(|w| &self.ways[choice][w]) {
            None => format!("{path} switched off by its lock-out"),
            Some(Draw::Nothing) => format!("{path} drawing nothing"),
            Some(Draw::Boot) => format!("{path} booting"),
            Some(Draw::State { state, outputs_on }) => {
                let on = module.outputs.iter().zip(outputs_on).filter(|(_, on)| **on);
                let on: Vec<&str> = on.map(|(output, _)| output.id.as_str()).collect();
                let state =
                    state.map_or_else(String::new, |s| format!(" {}", module.loads[s].state));
                match (on.is_empty(), module.outputs.is_empty()) {
                    (false, _) => format!("{path}{state} with {} on", on.join(" and ")),
                    (true, false) => format!("{path}{state} with no output on"),
                    (true, true) => format!("{path}{state}"),
                }
            }
        }
    }
}

/// Why a search has no answer, and what helps.
fn told(error: &WorstError) -> String {
    match error {
        WorstError::TooManySolves { .. } => format!(
            "{error}: lessen the states and outputs that exclusive groups leave open, or the lock-outs"
        ),
        _ => error.to_string(),
    }
}

/// Whether a module that draws so is counted by a member of a group.
fn holds(member: ExclusiveMember, of: ModuleIx, draw: &Draw) -> bool {
    let Draw::State { state, outputs_on } = draw else {
        return false;
    };
    match member {
        ExclusiveMember::State { module, state: s } => module == of && *state == Some(s),
        ExclusiveMember::Output(output) => output.module == of && outputs_on[output.output],
    }
}
