//! The search itself: what is still open, what bounds it, and where to divide it.

use crate::network::{Load, LoadKind, NetworkError, Solution};
use crate::reserve::{Limits, bears};
use crate::solver::{Scratch, Solver};

use super::{Choices, Combination, Extreme, LeastReserve, Weakest, Worst, WorstError, one_way};

/// Voltages closer than this share of the highest source voltage are equal.
const SAME_V: f64 = 1e-12;
/// Currents closer than this share of themselves and an ampere are equal.
const SAME_A: f64 = 1e-11;
/// Collapse factors and reserves closer than this share are equal: they are no better known.
const SAME_SHARE: f64 = 1e-11;

/// The ways still open to each choice; the one after the last is off.
type Open = Vec<Vec<usize>>;

/// A load at one node: constant power, constant current, conductance.
type Size = [f64; 3];

pub(super) struct Search<'a> {
    solver: &'a Solver,
    choices: &'a Choices,
    most_solves: u32,
    scratch: &'a mut Scratch,
    solves: u32,
    /// How often Newton had run before.
    runs_before: u64,
    /// Of each way of each choice, off among them.
    sizes: Vec<Vec<Size>>,
    /// How much each way of each choice counts in each group.
    counts: Vec<Vec<Vec<u32>>>,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        solver: &'a Solver,
        choices: &'a Choices,
        most_solves: u32,
        scratch: &'a mut Scratch,
    ) -> Self {
        let sizes: Vec<Vec<Size>> = choices
            .choices
            .iter()
            .map(|c| c.ways.iter().map(|w| size(w)).chain([[0.0; 3]]).collect())
            .collect();
        let counts = choices.groups.iter().map(|group| {
            let mut counts: Vec<Vec<u32>> = sizes.iter().map(|s| vec![0; s.len()]).collect();
            for &(choice, way) in &group.of {
                counts[choice][way] += 1;
            }
            counts
        });
        let counts = counts.collect();
        Self {
            solver,
            choices,
            most_solves,
            runs_before: scratch.runs,
            scratch,
            solves: 0,
            sizes,
            counts,
        }
    }

    /// Everything open; off only where it is asked for and there is a lock-out.
    fn all_open(&self, with_off: bool) -> Open {
        let open = self.choices.choices.iter();
        open.map(|c| (0..c.ways.len() + usize::from(with_off && c.off_v.is_some())).collect())
            .collect()
    }

    /// Takes away what the groups do not allow; false if nothing is left.
    fn narrow(&self, open: &mut Open) -> bool {
        let mut changed = true;
        while changed {
            changed = false;
            for (group, counts) in self.choices.groups.iter().zip(&self.counts) {
                let least: Option<Vec<u32>> = open
                    .iter()
                    .zip(counts)
                    .map(|(ways, counts)| ways.iter().map(|&w| counts[w]).min())
                    .collect();
                let Some(least) = least else { return false };
                let taken: u32 = least.iter().sum();
                if taken > group.at_most {
                    return false;
                }
                for ((ways, counts), least) in open.iter_mut().zip(counts).zip(least) {
                    let before = ways.len();
                    ways.retain(|&w| counts[w] - least + taken <= group.at_most);
                    changed |= ways.len() < before;
                }
            }
        }
        open.iter().all(|ways| !ways.is_empty())
    }

    /// The loads that are as large as the largest still open, or as small as the smallest.
    fn bound(&self, open: &Open, by: fn(f64, f64) -> f64) -> Vec<Load> {
        let mut loads = self.choices.fixed.clone();
        for (c, ways) in open.iter().enumerate() {
            let node = self.choices.choices[c].node;
            let [power_w, current_a, conductance_s] = self.extreme(c, ways, by);
            loads.push(Load {
                node,
                kind: LoadKind::Power { power_w },
            });
            loads.push(Load {
                node,
                kind: LoadKind::Current { current_a },
            });
            if conductance_s > 0.0 {
                let resistance_ohm = 1.0 / conductance_s;
                loads.push(Load {
                    node,
                    kind: LoadKind::Resistance { resistance_ohm },
                });
            }
        }
        loads
    }

    fn extreme(&self, choice: usize, ways: &[usize], by: fn(f64, f64) -> f64) -> Size {
        let sizes = ways.iter().map(|&w| self.sizes[choice][w]);
        sizes
            .reduce(|a, b| [by(a[0], b[0]), by(a[1], b[1]), by(a[2], b[2])])
            .expect("what is narrowed has a way left")
    }

    /// For each choice the open way that is as large as all of them; of equal ones that which the groups count least.
    fn largest(&self, open: &Open) -> Vec<Option<usize>> {
        let mut all = Vec::with_capacity(open.len());
        for (c, ways) in open.iter().enumerate() {
            let most = self.extreme(c, ways, f64::max);
            let as_large = ways.iter().copied().filter(|&w| self.sizes[c][w] == most);
            all.push(as_large.min_by_key(|&w| self.count(c, w)));
        }
        all
    }

    fn count(&self, choice: usize, way: usize) -> u32 {
        self.counts.iter().map(|counts| counts[choice][way]).sum()
    }

    /// A group that these ways overstep.
    fn overstepped(&self, ways: &[Option<usize>]) -> Option<usize> {
        let taken = |counts: &Vec<Vec<u32>>| -> u32 {
            let each = ways.iter().zip(counts);
            each.filter_map(|(way, counts)| way.map(|w| counts[w]))
                .sum()
        };
        let over = |&g: &usize| taken(&self.counts[g]) > self.choices.groups[g].at_most;
        (0..self.counts.len()).find(over)
    }

    /// Divides what is open: the largest way of one choice, and the others of it, the former to be looked at first. `None`: one
    /// combination is left.
    fn divide(&self, open: &Open, largest: &[Option<usize>]) -> Option<[Open; 2]> {
        let group = self.overstepped(largest);
        let weight = |c: usize| {
            let counts_here = group
                .zip(largest[c])
                .is_some_and(|(g, way)| self.counts[g][c][way] > 0);
            let lock_out = self.choices.choices[c].off_v.is_some();
            let span =
                self.extreme(c, &open[c], f64::max)[0] - self.extreme(c, &open[c], f64::min)[0];
            (largest[c].is_none(), counts_here, lock_out, span)
        };
        let choice = (0..open.len())
            .filter(|&c| open[c].len() > 1)
            .max_by(|&a, &b| {
                let ((none_a, here_a, lock_a, span_a), (none_b, here_b, lock_b, span_b)) =
                    (weight(a), weight(b));
                (none_a, here_a, lock_a)
                    .cmp(&(none_b, here_b, lock_b))
                    .then(span_a.total_cmp(&span_b))
                    .then(b.cmp(&a))
            })?;
        let way = largest[choice].unwrap_or(open[choice][0]);
        let (mut with, mut without) = (open.clone(), open.clone());
        with[choice] = vec![way];
        without[choice].retain(|&w| w != way);
        Some([without, with])
    }

    /// Whether the groups allow any combination of what is open.
    fn any(&self, open: &Open) -> bool {
        let mut todo = vec![open.clone()];
        while let Some(mut open) = todo.pop() {
            if !self.narrow(&mut open) {
                continue;
            }
            let least: Vec<Option<usize>> = open
                .iter()
                .enumerate()
                .map(|(c, ways)| ways.iter().copied().min_by_key(|&w| self.count(c, w)))
                .collect();
            if self.overstepped(&least).is_none() {
                return true;
            }
            todo.extend(self.divide(&open, &least).into_iter().flatten());
        }
        false
    }

    fn combination(&self, ways: &[Option<usize>]) -> Combination {
        let off = |c: usize, way: usize| way == self.choices.choices[c].ways.len();
        ways.iter()
            .enumerate()
            .map(|(c, way)| way.filter(|&w| !off(c, w)))
            .collect()
    }

    /// One look always fits, so that where there is nothing to search there is an answer.
    fn count_solve(&mut self) -> Result<(), WorstError> {
        let runs = self.scratch.runs - self.runs_before;
        if self.solves > 0 && runs >= u64::from(self.most_solves) {
            return Err(WorstError::TooManySolves {
                most: self.most_solves,
            });
        }
        self.solves += 1;
        Ok(())
    }

    fn operating_point(&mut self, loads: &[Load]) -> Result<Option<Solution>, WorstError> {
        self.count_solve()?;
        Ok(self.solver.operating_point(loads, self.scratch)?)
    }

    pub(super) fn weakest(&mut self) -> Result<Weakest, WorstError> {
        let value = |solver: &Solver, loads: &[Load], scratch: &mut Scratch| {
            let nose = solver.nose_of(loads, scratch)?;
            Ok((nose.factor, (nose.factor, nose.node)))
        };
        let bears = |solver: &Solver, loads: &[Load], factor: f64, scratch: &mut Scratch| {
            let scaled: Vec<Load> = loads.iter().map(|load| scaled(load, factor)).collect();
            matches!(solver.operating_point(&scaled, scratch), Ok(Some(_)))
        };
        let (combination, found) = self.least(value, bears)?;
        let (factor, node) = found?;
        Ok(Weakest {
            factor,
            node,
            combination,
            solves: self.solves,
        })
    }

    pub(super) fn least_reserve(
        &mut self,
        node: usize,
        limits: &Limits,
    ) -> Result<LeastReserve, WorstError> {
        let value = |solver: &Solver, loads: &[Load], scratch: &mut Scratch| {
            let reserve = solver.reserve(loads, node, limits, scratch)?;
            Ok((reserve.power_w, reserve))
        };
        let monotone = limits.rated_a.iter().all(Option::is_none) || one_way(self.solver);
        let bears = |solver: &Solver, loads: &[Load], extra_w: f64, scratch: &mut Scratch| {
            monotone && bears(solver, loads, node, limits, extra_w, scratch)
        };
        let (combination, reserve) = self.least(value, bears)?;
        Ok(LeastReserve {
            combination,
            reserve,
            solves: self.solves,
        })
    }

    /// The least of a value that falls as the loads grow, over all that the groups allow. A combination without the value, for a
    /// reason that lies in the network, is less than any with it and ends the search; a bound without it bounds nothing.
    ///
    /// `bears` says by one operating point that a value is no less than another, or does not know; the value itself takes many.
    fn least<T>(
        &mut self,
        value: impl Fn(&Solver, &[Load], &mut Scratch) -> Result<(f64, T), NetworkError>,
        bears: impl Fn(&Solver, &[Load], f64, &mut Scratch) -> bool,
    ) -> Result<(Combination, Result<T, NetworkError>), WorstError> {
        let mut best: Option<(f64, Combination, T)> = None;
        let mut todo = vec![self.all_open(false)];
        while let Some(mut open) = todo.pop() {
            if !self.narrow(&mut open) {
                continue;
            }
            let largest = self.largest(&open);
            self.count_solve()?;
            let loads = self.bound(&open, f64::max);
            if let Some((known, ..)) = &best
                && known.is_finite()
                && bears(
                    self.solver,
                    &loads,
                    known * (1.0 - SAME_SHARE),
                    self.scratch,
                )
            {
                continue;
            }
            let found = value(self.solver, &loads, self.scratch);
            if let (Ok((least, _)), Some((known, ..))) = (&found, &best)
                && no_less(*least, *known)
            {
                continue;
            }
            let whole = largest.iter().all(Option::is_some) && self.overstepped(&largest).is_none();
            match found {
                Ok((least, what)) if whole => {
                    best = Some((least, self.combination(&largest), what));
                    continue;
                }
                Err(error) if whole && of_the_network(&error) => {
                    return Ok((self.combination(&largest), Err(error)));
                }
                Err(error) if !of_the_network(&error) => return Err(error.into()),
                Ok(_) | Err(_) => {}
            }
            // What is not whole has at least two combinations left.
            todo.extend(self.divide(&open, &largest).into_iter().flatten());
        }
        best.map(|(_, combination, what)| (combination, Ok(what)))
            .ok_or(WorstError::NoCombination)
    }

    pub(super) fn worst(&mut self) -> Result<Worst, WorstError> {
        let mut worst = Worst {
            collapse: None,
            combinations: Vec::new(),
            lowest_v: Vec::new(),
            most_a: Vec::new(),
            solves: 0,
        };
        let mut first = self.all_open(false);
        if !self.narrow(&mut first) || !self.any(&first) {
            return Err(WorstError::NoCombination);
        }
        let mut todo = vec![self.all_open(true)];
        let heaviest = self.bound(&first, f64::max);
        if self.operating_point(&heaviest)?.is_none() {
            let weakest = self.weakest()?;
            worst.collapse = Some(weakest).filter(|w| w.factor < 1.0);
        }
        while let Some(mut open) = todo.pop() {
            if !self.narrow(&mut open) {
                continue;
            }
            let heaviest = self.bound(&open, f64::max);
            let bound = self.operating_point(&heaviest)?;
            let largest = self.largest(&open);
            let mut doubtful = true;
            if let Some(bound) = &bound {
                if !improves(&worst, bound, self.solver.highest_v) {
                    continue;
                }
                doubtful = (0..open.len()).any(|c| self.falls_out(c, &open[c], bound));
                let whole = largest.iter().all(Option::is_some);
                if whole && !doubtful && self.overstepped(&largest).is_none() {
                    record(&mut worst, bound, self.combination(&largest));
                    continue;
                }
            }
            if doubtful {
                match self.leave_out(&mut open)? {
                    Left::Nothing => continue,
                    Left::Less => {
                        todo.push(open);
                        continue;
                    }
                    Left::All => {}
                }
            }
            if let Some(parts) = self.divide(&open, &largest) {
                todo.extend(parts);
            }
        }
        worst.solves = self.solves;
        Ok(worst)
    }

    /// Whether a choice that may be drawing sees less than its off voltage.
    fn falls_out(&self, choice: usize, ways: &[usize], at: &Solution) -> bool {
        let c = &self.choices.choices[choice];
        let on = ways.iter().any(|&w| w < c.ways.len());
        on && c.off_v.is_some_and(|off_v| at.voltages_v[c.node] < off_v)
    }

    /// Takes away the ways in which a choice falls out whatever the others do.
    fn leave_out(&mut self, open: &mut Open) -> Result<Left, WorstError> {
        let lightest = self.bound(open, f64::min);
        let Some(at) = self.operating_point(&lightest)? else {
            return Ok(Left::Nothing);
        };
        let mut left = Left::All;
        for c in 0..open.len() {
            if self.falls_out(c, &open[c], &at) {
                let off = self.choices.choices[c].ways.len();
                open[c].retain(|&w| w == off);
                left = Left::Less;
            }
        }
        if open.iter().any(Vec::is_empty) {
            return Ok(Left::Nothing);
        }
        Ok(left)
    }
}

/// What is left when lock-outs that cannot hold are taken away.
enum Left {
    /// Nothing: even the smallest loads have no operating point, or what must draw falls out.
    Nothing,
    /// Less than before.
    Less,
    /// As much as before.
    All,
}

fn scaled(load: &Load, factor: f64) -> Load {
    match load.kind {
        LoadKind::Power { power_w } => Load {
            kind: LoadKind::Power {
                power_w: factor * power_w,
            },
            ..*load
        },
        LoadKind::Current { .. } | LoadKind::Resistance { .. } => *load,
    }
}

/// Whether a value is no less than the least that is known, which may be infinite.
fn no_less(value: f64, known: f64) -> bool {
    value >= known || value >= known - SAME_SHARE * known.abs()
}

/// Whether these loads are too many for this network, as against what no loads could mend.
fn of_the_network(error: &NetworkError) -> bool {
    matches!(
        error,
        NetworkError::CannotCarry { .. }
            | NetworkError::CurrentLoadsCollapse { .. }
            | NetworkError::BelowMinimum { .. }
            | NetworkError::OverCurrent { .. }
    )
}

fn size(way: &[LoadKind]) -> Size {
    let mut size = [0.0; 3];
    for kind in way {
        match kind {
            LoadKind::Power { power_w } => size[0] += power_w,
            LoadKind::Current { current_a } => size[1] += current_a,
            LoadKind::Resistance { resistance_ohm } => size[2] += 1.0 / resistance_ohm,
        }
    }
    size
}

/// Whether what is bounded by these voltages and currents may be worse than what is known.
fn improves(worst: &Worst, bound: &Solution, highest_v: f64) -> bool {
    if worst.lowest_v.is_empty() {
        return true;
    }
    let lower = |(known, bound): (&Extreme, &f64)| *bound < known.value - SAME_V * highest_v;
    let larger = |(known, bound): (&Extreme, &f64)| {
        *bound > known.value + SAME_A * (1.0 + known.value.abs())
    };
    worst.lowest_v.iter().zip(&bound.voltages_v).any(lower)
        || worst
            .most_a
            .iter()
            .zip(&bound.source_currents_a)
            .any(larger)
}

fn record(worst: &mut Worst, at: &Solution, combination: Combination) {
    let new = worst.combinations.len();
    let extreme = |value: &f64| Extreme {
        value: *value,
        combination: new,
    };
    worst.combinations.push(combination);
    if worst.lowest_v.is_empty() {
        worst.lowest_v = at.voltages_v.iter().map(extreme).collect();
        worst.most_a = at.source_currents_a.iter().map(extreme).collect();
        return;
    }
    for (known, value) in worst.lowest_v.iter_mut().zip(&at.voltages_v) {
        if *value < known.value {
            *known = extreme(value);
        }
    }
    for (known, value) in worst.most_a.iter_mut().zip(&at.source_currents_a) {
        if *value > known.value {
            *known = extreme(value);
        }
    }
}
