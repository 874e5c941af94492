//! Staged start: an order and delays in which a line starts that does not start at once.
//!
//! Modules are switched on one after another, each when the line is at rest with those before it: nothing asks less of
//! the line. At rest the state depends on which modules run, not on the order in which they came, so that sets are
//! searched, not orders: with n modules at most `n 2^(n-1)` runs, each a whole simulated start. First tried are the
//! modules with the greatest surge (boot power above running power), while the line is emptiest, and among equals the
//! nearest. Every answer that is an order has been followed in time with its delays.

use std::collections::BTreeSet;

use crate::startup::circuit::{Circuit, Phase, Shortfall};
use crate::startup::line::{Input, Line, Settings, StartupError};
use crate::startup::outcome::{Outcome, Report, start_up};
use crate::topology::Method;

/// Up to this many modules with lock-out the search is complete.
pub const COMPLETE_UP_TO: usize = 8;
/// Delays are rounded up to this, s.
const DELAY_STEP_S: f64 = 1e-3;

/// What can be carried at rest if all modules do the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtOnce {
    /// Largest share, at most 1, of everyone's power that has an operating point within the limits of the supplies
    /// and above every module's lowest voltage.
    pub share: f64,
    /// What keeps it from being 1.
    pub shortfall: Option<Shortfall>,
}

/// What staging a start came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Staged {
    /// The line starts at once, without delays.
    NotNeeded {
        /// That start.
        report: Report,
    },
    /// It starts in this order.
    InOrder {
        /// Modules with lock-out, first to last.
        order: Vec<usize>,
        /// For each module the time before which it does not switch on, s.
        not_before_s: Vec<f64>,
        /// The start with these delays.
        report: Report,
        /// Starts followed to find it.
        runs: usize,
    },
    /// It does not start in any order that was tried.
    Fails {
        /// Why.
        why: NoOrder,
        /// Starts followed.
        runs: usize,
    },
}

/// Why there is no order.
#[derive(Clone, Debug, PartialEq)]
pub enum NoOrder {
    /// The line does not carry its modules even when all of them run.
    Running {
        /// What it carries.
        carries: AtOnce,
    },
    /// Modules without lock-out, which cannot be held off, do not start by themselves.
    WithoutLockOut {
        /// What happens to them alone.
        outcome: Outcome,
    },
    /// Every order was tried and ends before the last module.
    Exhausted(Stop),
    /// The orders tried end before the last module; with more than [`COMPLETE_UP_TO`] modules others may not.
    NotFound(Stop),
}

/// Where the longest order ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Stop {
    /// The modules that started, in order.
    pub started: Vec<usize>,
    /// What happens when one more is added, for each that is left.
    pub next: Vec<(usize, Outcome)>,
}

/// What the line carries at rest while every module boots. A share below 1 says that they must not all boot at once.
pub fn booting_at_once(line: &Line) -> Result<AtOnce, StartupError> {
    at_once(line, Phase::Booting)
}

/// What the line carries at rest while every module runs. A share below 1 says that no order of starting helps.
pub fn running_at_once(line: &Line) -> Result<AtOnce, StartupError> {
    at_once(line, Phase::Running)
}

fn at_once(line: &Line, phase: Phase) -> Result<AtOnce, StartupError> {
    let circuit = Circuit::plan(line, Method::Automatic)?;
    let phases = vec![phase; line.modules.len()];
    let all = vec![true; line.modules.len()];
    let (share, shortfall) = circuit.carried_share(&phases, &all);
    Ok(AtOnce { share, shortfall })
}

/// Finds delays with which the line starts. Delays given in `line` are not read.
///
/// `settings.longest_s` must leave time for the whole start, one module after the other. Errors: as
/// [`start_up`](crate::startup::start_up).
pub fn staged_start(line: &Line, settings: &Settings) -> Result<Staged, StartupError> {
    let mut search = Search::new(line, settings)?;
    let mut report = search.run(&search.delays(|_| 0.0))?;
    if is_started(&report) {
        if settings.trace_points != search.settings.trace_points {
            report = start_up(&search.line, settings)?;
        }
        return Ok(Staged::NotNeeded { report });
    }
    let carries = running_at_once(line)?;
    if carries.shortfall.is_some() {
        return Ok(search.fails(NoOrder::Running { carries }));
    }
    let alone = search.run(&search.delays(|_| f64::INFINITY))?;
    if !is_started(&alone) {
        let outcome = alone.outcome;
        return Ok(search.fails(NoOrder::WithoutLockOut { outcome }));
    }
    let none_s = search.delays(|_| f64::INFINITY);
    let first_s = if search.free.len() == line.modules.len() {
        0.0
    } else {
        round_up(alone.end_s)
    };
    match search.extend(&none_s, &[], first_s)? {
        Some((order, not_before_s)) => {
            search.set(&not_before_s);
            let report = start_up(&search.line, settings)?;
            Ok(Staged::InOrder {
                order,
                not_before_s,
                report,
                runs: search.runs,
            })
        }
        None => {
            let stop = search
                .furthest
                .take()
                .expect("the search stopped somewhere");
            let complete = search.free.len() <= COMPLETE_UP_TO;
            Ok(search.fails(if complete {
                NoOrder::Exhausted(stop)
            } else {
                NoOrder::NotFound(stop)
            }))
        }
    }
}

fn is_started(report: &Report) -> bool {
    matches!(report.outcome, Outcome::Started { .. })
}

fn round_up(at_s: f64) -> f64 {
    (at_s / DELAY_STEP_S).ceil() * DELAY_STEP_S
}

struct Search {
    line: Line,
    settings: Settings,
    /// Modules with lock-out, in the order in which they are tried.
    free: Vec<usize>,
    seen: BTreeSet<Vec<usize>>,
    runs: usize,
    furthest: Option<Stop>,
}

/// An order, and for each module the time before which it does not switch on.
type Found = (Vec<usize>, Vec<f64>);

impl Search {
    fn new(line: &Line, settings: &Settings) -> Result<Self, StartupError> {
        let mut line = line.clone();
        for module in &mut line.modules {
            if let Input::LockOut { .. } = module.input {
                module.not_before_s = 0.0;
            }
        }
        let circuit = Circuit::plan(&line, Method::Automatic)?;
        let far_ohm = circuit.resistance_seen_ohm();
        let mut free: Vec<usize> = (0..line.modules.len())
            .filter(|&i| matches!(line.modules[i].input, Input::LockOut { .. }))
            .collect();
        let surge_w = |i: usize| line.modules[i].boot_power_w - line.modules[i].running_power_w;
        free.sort_by(|&a, &b| {
            surge_w(b)
                .total_cmp(&surge_w(a))
                .then(far_ohm[a].total_cmp(&far_ohm[b]))
        });
        Ok(Self {
            line,
            settings: Settings {
                trace_points: 16,
                ..*settings
            },
            free,
            seen: BTreeSet::new(),
            runs: 0,
            furthest: None,
        })
    }

    fn delays(&self, of_free: impl Fn(usize) -> f64) -> Vec<f64> {
        let delay = |i: usize| {
            if self.free.contains(&i) {
                of_free(i)
            } else {
                0.0
            }
        };
        (0..self.line.modules.len()).map(delay).collect()
    }

    fn set(&mut self, not_before_s: &[f64]) {
        for (module, &delay_s) in self.line.modules.iter_mut().zip(not_before_s) {
            module.not_before_s = delay_s;
        }
    }

    fn run(&mut self, not_before_s: &[f64]) -> Result<Report, StartupError> {
        self.set(not_before_s);
        self.runs += 1;
        start_up(&self.line, &self.settings)
    }

    fn fails(&self, why: NoOrder) -> Staged {
        Staged::Fails {
            why,
            runs: self.runs,
        }
    }

    /// Goes on from an order that has come to rest by `at_s`.
    fn extend(
        &mut self,
        not_before_s: &[f64],
        order: &[usize],
        at_s: f64,
    ) -> Result<Option<Found>, StartupError> {
        if order.len() == self.free.len() {
            return Ok(Some((order.to_vec(), not_before_s.to_vec())));
        }
        let mut next = Vec::new();
        for module in self.free.clone() {
            if order.contains(&module) {
                continue;
            }
            let mut longer = order.to_vec();
            longer.push(module);
            let mut set = longer.clone();
            set.sort_unstable();
            if self.seen.contains(&set) {
                continue;
            }
            let mut delays_s = not_before_s.to_vec();
            delays_s[module] = at_s;
            let report = self.run(&delays_s)?;
            if !is_started(&report) {
                next.push((module, report.outcome));
                continue;
            }
            self.seen.insert(set);
            let found = self.extend(&delays_s, &longer, round_up(report.end_s))?;
            if found.is_some() || self.free.len() > COMPLETE_UP_TO {
                return Ok(found);
            }
        }
        let further = |stop: &Stop| order.len() > stop.started.len();
        if self.furthest.as_ref().is_none_or(further) {
            self.furthest = Some(Stop {
                started: order.to_vec(),
                next,
            });
        }
        Ok(None)
    }
}
