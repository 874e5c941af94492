//! The worst combination against every combination, each solved on its own.

use power::{
    AtMost, Choice, Choices, Combination, Limits, Load, LoadKind, Network, NetworkError, Solution,
    Solver, WorstError, collapse_factor, reserve, solve,
};
use proptest::prelude::*;

use crate::properties::network;
use crate::published::two_bus;

const MOST_SOLVES: u32 = 100_000;
const MOST_COMBINATIONS: usize = 1500;

fn power(power_w: f64) -> Vec<LoadKind> {
    vec![LoadKind::Power { power_w }]
}

/// Every combination, off among the ways of those with a lock-out if `with_off`.
fn every(choices: &Choices, with_off: bool) -> Vec<Combination> {
    let mut all = vec![Combination::new()];
    for choice in &choices.choices {
        let off = (with_off && choice.off_v.is_some()).then_some(None);
        let ways: Vec<Option<usize>> = (0..choice.ways.len()).map(Some).chain(off).collect();
        let longer = all.iter().flat_map(|c| {
            ways.iter().map(move |&way| {
                let mut longer = c.clone();
                longer.push(way);
                longer
            })
        });
        all = longer.collect();
    }
    all.retain(|c| {
        choices.groups.iter().all(|group| {
            let taken = group
                .of
                .iter()
                .filter(|&&(choice, way)| c[choice] == Some(way));
            u32::try_from(taken.count()).unwrap() <= group.at_most
        })
    });
    all
}

fn with(network: &Network, choices: &Choices, combination: &Combination) -> Network {
    Network {
        loads: choices.loads(combination),
        ..network.clone()
    }
}

fn holds(choices: &Choices, combination: &Combination, solution: &Solution) -> bool {
    choices
        .choices
        .iter()
        .zip(combination)
        .all(|(choice, way)| {
            way.is_none()
                || choice
                    .off_v
                    .is_none_or(|off_v| solution.voltages_v[choice.node] >= off_v)
        })
}

fn check(network: &Network, choices: &Choices) -> Result<(), TestCaseError> {
    let Ok(solver) = Solver::new(network) else {
        return Ok(());
    };
    let mut scratch = solver.scratch();
    let mut lowest_v = vec![f64::INFINITY; network.nodes];
    let mut most_a = vec![f64::NEG_INFINITY; network.sources.len()];
    let allowed = every(choices, true);
    for combination in &allowed {
        let solution = match solve(&with(network, choices, combination)) {
            Ok(solution) if holds(choices, combination, &solution) => solution,
            Ok(_) | Err(NetworkError::CannotCarry { .. }) => continue,
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        for (low, v) in lowest_v.iter_mut().zip(&solution.voltages_v) {
            *low = low.min(*v);
        }
        for (most, amp) in most_a.iter_mut().zip(&solution.source_currents_a) {
            *most = most.max(*amp);
        }
    }
    let mut least = f64::INFINITY;
    let by_groups = every(choices, false);
    for combination in &by_groups {
        let factor = collapse_factor(&with(network, choices, combination))
            .map_err(|why| TestCaseError::fail(why.to_string()))?;
        least = least.min(factor);
    }
    let weakest = solver.weakest(choices, MOST_SOLVES, &mut scratch);
    let worst = solver.worst(choices, MOST_SOLVES, &mut scratch);
    if by_groups.is_empty() {
        prop_assert_eq!(weakest.unwrap_err(), WorstError::NoCombination);
        prop_assert_eq!(worst.unwrap_err(), WorstError::NoCombination);
        return Ok(());
    }
    let (weakest, worst) = (weakest.unwrap(), worst.unwrap());
    if least.is_infinite() {
        prop_assert!(weakest.factor.is_infinite());
    } else {
        prop_assert!(
            (weakest.factor / least - 1.0).abs() < 1e-9,
            "{:?} {}",
            weakest,
            least
        );
        let named = collapse_factor(&with(network, choices, &weakest.combination)).unwrap();
        prop_assert!((named / least - 1.0).abs() < 1e-9);
    }
    prop_assert!(by_groups.contains(&weakest.combination));
    prop_assert_eq!(worst.collapse.is_some(), least < 1.0);
    if lowest_v.iter().any(|v| v.is_infinite()) {
        prop_assert!(worst.lowest_v.is_empty() && worst.most_a.is_empty());
        return Ok(());
    }
    for combination in &worst.combinations {
        prop_assert!(allowed.contains(combination), "{:?}", combination);
    }
    for (node, (ours, brute_v)) in worst.lowest_v.iter().zip(&lowest_v).enumerate() {
        prop_assert!(
            (ours.value - brute_v).abs() < 1e-8,
            "{} {:?} {}",
            node,
            ours,
            brute_v
        );
        let named = solve(&with(
            network,
            choices,
            &worst.combinations[ours.combination],
        ))
        .unwrap();
        prop_assert!((named.voltages_v[node] - brute_v).abs() < 1e-8);
    }
    for (source, (ours, brute_a)) in worst.most_a.iter().zip(&most_a).enumerate() {
        let same = 1e-8 * (1.0 + brute_a.abs());
        prop_assert!(
            (ours.value - brute_a).abs() < same,
            "{:?} {}",
            ours,
            brute_a
        );
        let named = solve(&with(
            network,
            choices,
            &worst.combinations[ours.combination],
        ))
        .unwrap();
        prop_assert!((named.source_currents_a[source] - brute_a).abs() < same);
    }
    Ok(())
}

/// Where it hangs, the sizes and kinds of its ways, and its lock-out.
type Drawn = (prop::sample::Index, Vec<(f64, u8)>, Option<f64>);

fn choice(lock_outs: bool) -> impl Strategy<Value = Drawn> {
    let ways = prop::collection::vec((0.0..1.0_f64, 0_u8..6), 1..4);
    let off =
        prop::option::weighted(0.5, 0.6..0.99_f64).prop_map(move |off| off.filter(|_| lock_outs));
    (any::<prop::sample::Index>(), ways, off)
}

fn choices(
    network: &Network,
    drawn: &[Drawn],
    groups: &[(Vec<u16>, u32)],
    scale_w: f64,
) -> Choices {
    let mut combinations = 1;
    let mut choices = Choices {
        fixed: network.loads.clone(),
        choices: Vec::new(),
        groups: Vec::new(),
    };
    for (place, ways, off) in drawn {
        combinations *= ways.len() + usize::from(off.is_some());
        if combinations > MOST_COMBINATIONS {
            break;
        }
        let way = |&(share, kind): &(f64, u8)| match kind {
            0 => vec![LoadKind::Current {
                current_a: 1e-3 * share * scale_w,
            }],
            1 => vec![LoadKind::Resistance {
                resistance_ohm: 1e5 / (0.1 + share * scale_w),
            }],
            2 => Vec::new(),
            _ => power(share * scale_w),
        };
        choices.choices.push(Choice {
            node: place.index(network.nodes),
            ways: ways.iter().map(way).collect(),
            off_v: off.map(|share| share * 350.0),
        });
    }
    for (members, at_most) in groups {
        let mut of = Vec::new();
        for (i, choice) in choices.choices.iter().enumerate() {
            for way in 0..choice.ways.len() {
                let bits = members[i % members.len()] >> (2 * way);
                of.extend(std::iter::repeat_n((i, way), usize::from(bits & 3) / 2));
            }
        }
        choices.groups.push(AtMost {
            of,
            at_most: *at_most,
        });
    }
    choices
}

fn group() -> impl Strategy<Value = (Vec<u16>, u32)> {
    (prop::collection::vec(any::<u16>(), 8), 0_u32..4)
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_worst_with_groups_is_that_of_every_combination(
        network in network(9, 1),
        drawn in prop::collection::vec(choice(false), 1..9),
        groups in prop::collection::vec(group(), 1..3),
        scale_w in 1.0..3000.0_f64,
    ) {
        check(&network, &choices(&network, &drawn, &groups, scale_w))?;
    }

    #[test]
    fn verif_least_reserve_is_that_of_every_combination(
        network in network(9, 1),
        drawn in prop::collection::vec(choice(false), 1..5),
        groups in prop::collection::vec(group(), 1..3),
        scale_w in 1.0..1000.0_f64,
        place in any::<prop::sample::Index>(),
        minimum_v in 0.0..300.0_f64,
    ) {
        let node = place.index(network.nodes);
        check_reserve(&network, &choices(&network, &drawn, &groups, scale_w), node, minimum_v)?;
    }

    #[test]
    fn verif_worst_with_lock_outs_is_that_of_every_combination(
        network in network(9, 1),
        drawn in prop::collection::vec(choice(true), 1..9),
        groups in prop::collection::vec(group(), 0..3),
        scale_w in 1.0..3000.0_f64,
    ) {
        check(&network, &choices(&network, &drawn, &groups, scale_w))?;
    }
}

/// The least reserve against that of every combination; a combination that breaks a limit by itself has less than any.
fn check_reserve(
    network: &Network,
    choices: &Choices,
    node: usize,
    minimum_v: f64,
) -> Result<(), TestCaseError> {
    let Ok(solver) = Solver::new(network) else {
        return Ok(());
    };
    let limits = Limits {
        minimum_v: vec![minimum_v; network.nodes],
        rated_a: vec![None; network.spans.len()],
    };
    let mut least_w = f64::INFINITY;
    let allowed = every(choices, false);
    for combination in &allowed {
        least_w = match reserve(&with(network, choices, combination), node, &limits) {
            Ok(found) => least_w.min(found.power_w),
            Err(NetworkError::CannotCarry { .. } | NetworkError::BelowMinimum { .. }) => {
                f64::NEG_INFINITY
            }
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
    }
    let found = solver.least_reserve(choices, node, &limits, MOST_SOLVES, &mut solver.scratch());
    if allowed.is_empty() {
        prop_assert_eq!(found.unwrap_err(), WorstError::NoCombination);
        return Ok(());
    }
    let found = found.unwrap();
    prop_assert!(allowed.contains(&found.combination));
    match found.reserve {
        Ok(r) if r.power_w.is_infinite() => prop_assert_eq!(r.power_w, least_w),
        Ok(r) => prop_assert!(
            (r.power_w - least_w).abs() < 1e-7 * (1.0 + least_w),
            "{:?} {}",
            r,
            least_w
        ),
        Err(_) => prop_assert_eq!(least_w, f64::NEG_INFINITY),
    }
    Ok(())
}

/// Two loads at the end of 48 V over 20 ohm, 13.5 W or 27 W each, of which only one may take the larger: 27 W and 13.5 W together
/// are too much (28.8 W are the most), which is told first; one with a lock-out may be off, and alone the larger leaves 30 V.
#[test]
fn verif_what_collapses_is_told_before_what_is_lowest() {
    let network = two_bus(48.0, 20.0, 0.0);
    let choice = || Choice {
        node: 1,
        ways: vec![power(13.5), power(27.0)],
        off_v: Some(29.9),
    };
    let choices = Choices {
        fixed: Vec::new(),
        choices: vec![choice(), choice()],
        groups: vec![AtMost {
            of: vec![(0, 1), (1, 1)],
            at_most: 1,
        }],
    };
    let solver = Solver::new(&network).unwrap();
    let worst = solver.worst(&choices, 100, &mut solver.scratch()).unwrap();
    let collapse = worst.collapse.unwrap();
    assert!((collapse.factor - 28.8 / 40.5).abs() < 1e-9);
    assert_eq!(collapse.combination.iter().flatten().sum::<usize>(), 1);
    // 13.5 W twice and 27 W once are the same: 30 V, 0.9 A.
    assert!((worst.lowest_v[1].value - 30.0).abs() < 1e-9);
    assert!((worst.most_a[0].value - 0.9).abs() < 1e-9);
}

/// Where no group and no lock-out matters, one operating point says it; the lock-out at 20 V is never reached.
#[test]
fn verif_nothing_is_searched_where_nothing_matters() {
    let network = two_bus(48.0, 20.0, 0.0);
    let choice = |watts: &[f64]| Choice {
        node: 1,
        ways: watts.iter().map(|&w| power(w)).collect(),
        off_v: Some(20.0),
    };
    let choices = Choices {
        fixed: vec![Load {
            node: 1,
            kind: LoadKind::Power { power_w: 5.0 },
        }],
        choices: vec![choice(&[1.0, 10.0]), choice(&[0.5, 10.0, 3.0])],
        groups: Vec::new(),
    };
    let solver = Solver::new(&network).unwrap();
    let worst = solver.worst(&choices, 2, &mut solver.scratch()).unwrap();
    assert_eq!(worst.combinations, [vec![Some(1), Some(1)]]);
    assert!((worst.lowest_v[1].value - 32.717_797_887).abs() < 1e-9);
    assert_eq!(
        solver.worst(&choices, 1, &mut solver.scratch()),
        Err(WorstError::TooManySolves { most: 1 })
    );
}

/// A node that an ideal source holds has no limit whatever the others draw: one look tells it, where 2^18 combinations are open.
#[test]
fn verif_where_nothing_limits_nothing_is_searched() {
    let network = two_bus(48.0, 20.0, 0.0);
    let choices = Choices {
        fixed: Vec::new(),
        choices: (0..18)
            .map(|_| Choice {
                node: 1,
                ways: vec![power(0.1), power(0.0)],
                off_v: None,
            })
            .collect(),
        groups: vec![AtMost {
            of: (0..18).map(|c| (c, 0)).collect(),
            at_most: 9,
        }],
    };
    let solver = Solver::new(&network).unwrap();
    let limits = Limits {
        minimum_v: vec![0.0; network.nodes],
        rated_a: vec![None; network.spans.len()],
    };
    let found = solver
        .least_reserve(&choices, 0, &limits, 100, &mut solver.scratch())
        .unwrap();
    let reserve = found.reserve.unwrap();
    assert!(reserve.power_w.is_infinite() && reserve.binds.is_none());
}

#[test]
fn verif_what_cannot_be_is_refused() {
    let network = two_bus(48.0, 20.0, 0.0);
    let solver = Solver::new(&network).unwrap();
    let mut choices = Choices {
        fixed: Vec::new(),
        choices: vec![Choice {
            node: 1,
            ways: vec![power(1.0)],
            off_v: None,
        }],
        groups: vec![AtMost {
            of: vec![(0, 1)],
            at_most: 1,
        }],
    };
    let worst = |choices: &Choices| solver.worst(choices, 100, &mut solver.scratch());
    assert!(matches!(
        worst(&choices),
        Err(WorstError::NoSuchWay { way: 1, .. })
    ));
    choices.groups[0] = AtMost {
        of: vec![(0, 0)],
        at_most: 0,
    };
    assert_eq!(worst(&choices), Err(WorstError::NoCombination));
    choices.groups.clear();
    choices.choices[0].off_v = Some(f64::NAN);
    assert!(matches!(worst(&choices), Err(WorstError::BadOff { .. })));
    choices.choices[0].off_v = None;
    choices.choices[0].node = 7;
    assert!(matches!(
        worst(&choices),
        Err(WorstError::Network(NetworkError::NoSuchNode { .. }))
    ));
}
