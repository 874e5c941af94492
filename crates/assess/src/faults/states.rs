//! The states that faults meet, and who is dead after them.

use plan::Line;
use power::fault::Faulted;
use power::{Choices, Combination, LoadKind};

use crate::combinations::Combinations;
use crate::input::{Contacts, Electric, ElectricInput, InputError, size};

/// Most sets of states in which contacts and leaks are tried.
const MOST_SETS: usize = 128;
/// Most sets that are looked through for them.
const MOST_LOOKED_THROUGH: usize = 20_000;

/// Every set of states that the exclusive groups allow, without those in which some module could draw more than it does, in
/// every kind of load; or why there are too many.
pub(super) fn heavy_sets(
    line: &Line,
    electric: &Electric,
    contacts: Contacts,
) -> Result<Result<Vec<ElectricInput>, String>, InputError> {
    let combinations = match Combinations::of(line, electric, contacts)? {
        Ok(combinations) => combinations,
        Err(why) => return Ok(Err(why)),
    };
    Ok(heaviest_allowed(&combinations.choices).map(|sets| {
        let input = |set: &Combination| ElectricInput {
            network: combinations.network(set),
            ..combinations.input.clone()
        };
        sets.iter().map(input).collect()
    }))
}

fn heaviest_allowed(choices: &Choices) -> Result<Vec<Combination>, String> {
    let kept: Vec<Vec<usize>> = (0..choices.choices.len())
        .map(|c| kept_ways(choices, c))
        .collect();
    let mut allowed = vec![Vec::new()];
    for ways in &kept {
        let mut longer = Vec::new();
        for begun in &allowed {
            for &way in ways {
                let mut set: Combination = begun.clone();
                set.push(Some(way));
                if holds(choices, &set) {
                    longer.push(set);
                }
            }
            if longer.len() > MOST_LOOKED_THROUGH {
                return Err(format!(
                    "the exclusive groups allow more than {MOST_LOOKED_THROUGH} sets of states, too many to try each"
                ));
            }
        }
        if longer.is_empty() {
            return Err("the exclusive groups allow no set of states".to_owned());
        }
        allowed = longer;
    }
    let outweighed = |set: &Combination| {
        kept.iter().enumerate().any(|(c, ways)| {
            let Some(own) = set[c] else { return false };
            ways.iter().any(|&way| {
                let mut other = set.clone();
                other[c] = Some(way);
                let loads = &choices.choices[c].ways;
                way != own
                    && draws_as_much(&loads[way], &loads[own])
                    && !draws_as_much(&loads[own], &loads[way])
                    && holds(choices, &other)
            })
        })
    };
    allowed.retain(|set| !outweighed(set));
    if allowed.len() > MOST_SETS {
        return Err(format!(
            "the exclusive groups leave {} sets of states of which none outweighs another, more than the {MOST_SETS} that are tried",
            allowed.len()
        ));
    }
    Ok(allowed)
}

/// The ways of a choice, without those that another outweighs and that no group lets stand where it does not.
fn kept_ways(choices: &Choices, c: usize) -> Vec<usize> {
    let ways = &choices.choices[c].ways;
    let counted = |way: usize| -> Vec<usize> {
        let groups = choices.groups.iter();
        let counts = groups.map(|g| g.of.iter().filter(|of| **of == (c, way)).count());
        counts.collect()
    };
    let known: Vec<(Vec<usize>, [f64; 3])> = (0..ways.len())
        .map(|way| (counted(way), size(&ways[way])))
        .collect();
    let beats = |a: usize, b: usize| {
        let ((a_counts, a_draws), (b_counts, b_draws)) = (&known[a], &known[b]);
        a_counts.iter().zip(b_counts).all(|(a, b)| a <= b)
            && a_draws.iter().zip(b_draws).all(|(a, b)| a >= b)
    };
    // Of ways that are alike the first stays.
    let beaten = |way: usize| {
        let mut others = (0..ways.len()).filter(|other| *other != way);
        others.any(|other| beats(other, way) && (other < way || !beats(way, other)))
    };
    (0..ways.len()).filter(|way| !beaten(*way)).collect()
}

/// Whether every group allows what stands in the set, which may end before the last choice.
fn holds(choices: &Choices, set: &[Option<usize>]) -> bool {
    choices.groups.iter().all(|group| {
        let taken = |of: &&(usize, usize)| set.get(of.0).is_some_and(|way| *way == Some(of.1));
        group.of.iter().filter(taken).count() <= group.at_most as usize
    })
}

fn draws_as_much(way: &[LoadKind], other: &[LoadKind]) -> bool {
    size(way).iter().zip(size(other)).all(|(a, b)| *a >= b)
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
