//! When each module switches on and has booted, where it waits for power through other modules and then for its own delay.
//!
//! Power runs over whole conductors, at once. A module passes it on from the instant it comes (`Always`), from when it switches on itself
//! (`Powered`), from when it has booted (`Running`) or not at all. So each module switches on at the earliest of the ways by which power comes, later by its own
//! delay: shortest ways with delays at the nodes, found by settling the earliest module first (Dijkstra 1959; from memory). No voltage is looked at: whether the line carries the
//! boots is for the network to say.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// From when a module passes power on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Passing {
    /// From the instant at which it has it itself.
    Always,
    /// From when it switches on.
    Powered,
    /// From when it has booted.
    Running,
    /// Never.
    Never,
}

/// A module that waits for its power.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Waits {
    /// How long after power comes it holds itself off, s; zero or more.
    pub held_s: f64,
    /// How long it boots, s; zero or more.
    pub boot_s: f64,
    /// From when it passes power on.
    pub passes: Passing,
}

/// When a module gets its turn, s after the supplies come on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Turn {
    /// Power comes.
    pub power_s: f64,
    /// It switches on.
    pub on_s: f64,
    /// It has booted.
    pub ready_s: f64,
}

/// Why there are no turns.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
pub enum TurnsError {
    /// A time that is none.
    #[error("module {module} waits or boots for {time_s} s, which is no time of zero or more")]
    Time {
        /// The module.
        module: usize,
        /// Its time, s.
        time_s: f64,
    },
    /// A conductor or a supply at a module that is not there.
    #[error("module {module} is named, and there are {modules}")]
    NoModule {
        /// The number.
        module: usize,
        /// How many there are.
        modules: usize,
    },
}

/// The turn of each module; `None` where no power comes. `conductors` join two modules each, `fed` have a supply.
///
/// # Errors
/// [`TurnsError`].
pub fn turns(
    modules: &[Waits],
    conductors: &[(usize, usize)],
    fed: &[usize],
) -> Result<Vec<Option<Turn>>, TurnsError> {
    for (module, waits) in modules.iter().enumerate() {
        for time_s in [waits.held_s, waits.boot_s] {
            if !time_s.is_finite() || time_s < 0.0 {
                return Err(TurnsError::Time { module, time_s });
            }
        }
    }
    let named = conductors.iter().flat_map(|(a, b)| [*a, *b]);
    if let Some(module) = named
        .chain(fed.iter().copied())
        .find(|m| *m >= modules.len())
    {
        return Err(TurnsError::NoModule {
            module,
            modules: modules.len(),
        });
    }
    let mut beside = vec![Vec::new(); modules.len()];
    for &(a, b) in conductors {
        beside[a].push(b);
        beside[b].push(a);
    }
    // Times are zero or more, and the bits of such numbers are in their order.
    let mut next: BinaryHeap<Reverse<(u64, usize)>> = fed
        .iter()
        .map(|m| Reverse((0.0_f64.to_bits(), *m)))
        .collect();
    let mut found: Vec<Option<Turn>> = vec![None; modules.len()];
    while let Some(Reverse((bits, m))) = next.pop() {
        if found[m].is_some() {
            continue;
        }
        let waits = modules[m];
        let power_s = f64::from_bits(bits);
        let on_s = power_s + waits.held_s;
        let turn = Turn {
            power_s,
            on_s,
            ready_s: on_s + waits.boot_s,
        };
        found[m] = Some(turn);
        let from_s = match waits.passes {
            Passing::Always => turn.power_s,
            Passing::Powered => turn.on_s,
            Passing::Running => turn.ready_s,
            Passing::Never => continue,
        };
        let unsettled = beside[m].iter().filter(|n| found[**n].is_none());
        next.extend(unsettled.map(|n| Reverse((from_s.to_bits(), *n))));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn waits(held_s: f64, boot_s: f64, passes: Passing) -> Waits {
        Waits {
            held_s,
            boot_s,
            passes,
        }
    }

    fn told(found: &[Option<Turn>]) -> Vec<Option<(f64, f64, f64)>> {
        found
            .iter()
            .map(|t| t.map(|t| (t.power_s, t.on_s, t.ready_s)))
            .collect()
    }

    /// By hand: a buoy that passes all, then one that passes when it has booted, then one that passes when it switches on.
    #[test]
    fn verif_each_module_waits_for_what_the_one_before_passes() {
        let row = [
            waits(0.0, 0.0, Passing::Always),
            waits(2.0, 25.0, Passing::Running),
            waits(1.0, 25.0, Passing::Powered),
            waits(0.5, 10.0, Passing::Never),
            waits(0.0, 1.0, Passing::Always),
        ];
        let all = turns(&row, &[(0, 1), (1, 2), (2, 3), (3, 4)], &[0]).unwrap();
        assert_eq!(
            told(&all),
            [
                Some((0.0, 0.0, 0.0)),
                Some((0.0, 2.0, 27.0)),
                Some((27.0, 28.0, 53.0)),
                Some((28.0, 28.5, 38.5)),
                None,
            ]
        );
    }

    /// Second route: sums along every way without a module twice, the least of them.
    #[test]
    fn verif_turns_are_those_of_the_quickest_way() {
        let kinds = [
            Passing::Always,
            Passing::Powered,
            Passing::Running,
            Passing::Never,
        ];
        let mut seed = 7_u64;
        let mut draw = |below: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) % below
        };
        for _ in 0..400 {
            let count = 2 + draw(5) as usize;
            let modules: Vec<Waits> = (0..count)
                .map(|_| {
                    let kind = kinds[draw(4) as usize];
                    waits(draw(4) as f64, draw(9) as f64, kind)
                })
                .collect();
            let conductors: Vec<(usize, usize)> = (0..count + 1)
                .map(|_| (draw(count as u64) as usize, draw(count as u64) as usize))
                .collect();
            let fed = [0, draw(count as u64) as usize];
            let found = turns(&modules, &conductors, &fed).unwrap();
            for (m, turn) in found.iter().enumerate() {
                let mut ways = fed
                    .iter()
                    .filter_map(|f| quickest(&modules, &conductors, &mut vec![*f], 0.0, m))
                    .collect::<Vec<_>>();
                ways.sort_by(f64::total_cmp);
                assert_eq!(turn.map(|t| t.power_s), ways.first().copied());
            }
        }
    }

    fn quickest(
        modules: &[Waits],
        conductors: &[(usize, usize)],
        way: &mut Vec<usize>,
        at_s: f64,
        to: usize,
    ) -> Option<f64> {
        let here = *way.last()?;
        if here == to {
            return Some(at_s);
        }
        let w = modules[here];
        let on_s = match w.passes {
            Passing::Always => at_s,
            Passing::Powered => at_s + w.held_s,
            Passing::Running => at_s + w.held_s + w.boot_s,
            Passing::Never => return None,
        };
        let mut best: Option<f64> = None;
        for (a, b) in conductors {
            for (from, next) in [(*a, *b), (*b, *a)] {
                if from != here || way.contains(&next) {
                    continue;
                }
                way.push(next);
                let found = quickest(modules, conductors, way, on_s, to);
                way.pop();
                best = match (best, found) {
                    (Some(x), Some(y)) => Some(x.min(y)),
                    (x, y) => x.or(y),
                };
            }
        }
        best
    }

    #[test]
    fn verif_what_cannot_be_is_refused() {
        let one = [waits(-1.0, 0.0, Passing::Always)];
        assert_eq!(
            turns(&one, &[], &[0]),
            Err(TurnsError::Time {
                module: 0,
                time_s: -1.0
            })
        );
        let one = [waits(0.0, f64::INFINITY, Passing::Always)];
        assert!(matches!(
            turns(&one, &[], &[0]),
            Err(TurnsError::Time { .. })
        ));
        let one = [waits(0.0, 0.0, Passing::Always)];
        let beyond = Err(TurnsError::NoModule {
            module: 1,
            modules: 1,
        });
        assert_eq!(turns(&one, &[(0, 1)], &[0]), beyond);
        assert_eq!(turns(&one, &[], &[1]), beyond);
        assert_eq!(turns(&[], &[], &[]), Ok(Vec::new()));
    }
}
