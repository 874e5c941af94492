//! What electronics put into the chains of hydrophones against the sea, as verdicts.

use std::collections::{BTreeMap, BTreeSet};

use plan::{Line, ModuleIx, SensorIx};

use crate::chain::{ChainBudget, chain_budget_of};
use crate::chain_verdicts::heard;
use crate::memo::Memo;
use crate::pick_up::{KEPT_OUT_UNSAID, Over, PickUps, Picked, PickedInBand, Which, hz};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A pick-up closer to its limit than this is marginal, dB.
const NARROW_DB: f64 = 1.0;
/// So far below the sea counts what does not fall into the band at all, dB.
const NOTHING_DB: f64 = 120.0;
/// How far a converter's frequency is moved in search of one that keeps the limit, percent.
const MOST_PERCENT: i32 = 20;
const METHOD: &str = "lines folded by the sample rate and ticks, against the four-term formula of the sea, by decidecade (docs/method/chain.md)";

/// A requirement: how far what each hydrophone with a detector, or one, picks up lies below the sea.
pub(crate) fn pick_up(
    line: &Line,
    of: Option<SensorIx>,
    at_least_db: f64,
    memo: &Memo,
) -> Vec<Verdict> {
    let wanted = match heard(line, of) {
        Ok(wanted) => wanted,
        Err(none) => return vec![none],
    };
    let judged = wanted.into_iter().map(|sensor| {
        one(line, sensor, at_least_db, memo)
            .unwrap_or_else(|why| unknown(line.sensor_path(sensor), why))
    });
    judged.collect()
}

/// The part of a detector's band in which least is left below the sea.
struct Nearest {
    clear_db: f64,
    sea_db: f64,
    edges_hz: (f64, f64),
    detector: String,
    picked: PickedInBand,
}

fn nearest(
    budget: &ChainBudget,
    pick_ups: &PickUps,
    which: Which,
    memo: &Memo,
) -> Result<Nearest, String> {
    let mut found: Option<Nearest> = None;
    for heard in &budget.detectors {
        let parts = budget.parts_of_sea(heard.band_hz.0, heard.band_hz.1, memo);
        for (edges_hz, sea) in parts {
            let Some(sea) = sea else { continue };
            let picked = pick_ups.in_band(edges_hz, Over::Window(heard.window_s));
            let power = picked.upa2(which);
            let clear_db = (sea.quietest_db - 10.0 * libm::log10(power)).min(NOTHING_DB);
            if found.as_ref().is_none_or(|f| clear_db < f.clear_db) {
                found = Some(Nearest {
                    clear_db,
                    sea_db: sea.quietest_db,
                    edges_hz,
                    detector: heard.path.clone(),
                    picked,
                });
            }
        }
    }
    found.ok_or_else(|| "no detector hears a band through it in which the sea is known".to_owned())
}

fn one(line: &Line, sensor: SensorIx, limit_db: f64, memo: &Memo) -> Result<Verdict, String> {
    let budget = chain_budget_of(line, sensor, memo).map_err(|e| e.to_string())?;
    let pick_ups = budget.pick_up.as_ref().ok_or(
        "what the electronics beside it put into it is not written: add `pick_up` to the sensor: with `shown` and `shown_at` each line of a recording with a dummy in place of the element (`soundline measure --dummy`), with `level` or `voltage` what a probe at the input of the chain shows; or `no_pick_up = true` where there is nothing",
    )?;
    if let Some(why) = &budget.sea_unknown {
        return Err(format!("the sea is unknown: {why}"));
    }
    let sure = nearest(&budget, pick_ups, Which::Sure, memo)?;
    let all = nearest(&budget, pick_ups, Which::All, memo)?;
    let rate_hz = budget.noise.chain().rate_hz();
    let broken = sure.clear_db < limit_db;
    if !broken {
        if all.clear_db < limit_db {
            return Err(format!(
                "{}; {KEPT_OUT_UNSAID}",
                words(&all, rate_hz, false)
            ));
        }
        if let Some(why) = &pick_ups.unsaid {
            return Err(format!(
                "{why}; what is written lies {:.1} dB below the sea, which is the most it can be",
                all.clear_db
            ));
        }
    }
    let counts = if broken { &sure } else { &all };
    let mut why = words(counts, rate_hz, broken);
    if broken && let Some(moved) = moved(&budget, pick_ups, counts, limit_db, memo) {
        why.push_str(&moved);
    }
    let against = Against {
        side: Side::AtLeast,
        limit: limit_db,
        narrow: NARROW_DB,
        unit: "dB".to_owned(),
    };
    let evidence = Evidence::computed(
        METHOD,
        &(
            pick_ups,
            budget.winds_m_s,
            budget.shipping,
            &budget.detectors,
        ),
    );
    Ok(against.judge(line.sensor_path(sensor), counts.clear_db, evidence, why))
}

fn words(nearest: &Nearest, rate_hz: f64, sure_alone: bool) -> String {
    let counted: Vec<&Picked> = nearest
        .picked
        .all
        .iter()
        .filter(|p| p.sure || !sure_alone)
        .collect();
    let Some(first) = counted.first() else {
        return format!(
            "{}: nothing that is picked up falls into its band",
            nearest.detector
        );
    };
    let mut text = format!(
        "{}: {}: {:.1} dB re 1 uPa in {} to {}, where the sea of the quietest month has {:.1} dB",
        nearest.detector,
        first.words(rate_hz),
        first.level_db,
        hz(nearest.edges_hz.0),
        hz(nearest.edges_hz.1),
        nearest.sea_db
    );
    if counted.len() > 1 {
        let more = if counted.len() == 2 { "line" } else { "lines" };
        text.push_str(&format!("; with {} more {more} there", counted.len() - 1));
    }
    if !nearest.picked.states.is_empty() {
        text.push_str(&format!(
            "; while it is in its state: {}",
            nearest.picked.states.join(", ")
        ));
    }
    text
}

/// The least change of the frequency of the converter whose line is the strongest with which the limit would be kept, in words.
fn moved(
    budget: &ChainBudget,
    pick_ups: &PickUps,
    worst: &Nearest,
    limit_db: f64,
    memo: &Memo,
) -> Option<String> {
    let strongest = worst.picked.all.iter().find(|p| p.sure)?;
    strongest.true_hz?;
    let module = strongest.from;
    let now_hz = pick_ups.frequency_hz(module)?;
    let steps = (1..=MOST_PERCENT).flat_map(|percent| [percent, -percent]);
    for percent in steps {
        let times = 1.0 + f64::from(percent) / 100.0;
        let changed = pick_ups.with_frequency(module, times);
        let then = nearest(budget, &changed, Which::All, memo).ok()?;
        if then.clear_db >= limit_db {
            return Some(format!(
                "; at {} in place of {} it would lie {:.1} dB below",
                hz(now_hz * times),
                hz(now_hz),
                then.clear_db
            ));
        }
    }
    Some(format!(
        "; no frequency of that converter within {MOST_PERCENT} % keeps the limit"
    ))
}

/// For how long what electronics put into the chain of a hydrophone lies above the sea.
pub(crate) enum Drowned {
    /// The plan does not say.
    Unsaid,
    /// Shares of the time, 0 to 1.
    Shares {
        /// The least: what is sure to come through, modules that are loud by themselves all at once.
        least: f64,
        /// The most: all that may come through, those one after the other, and what is loud only together whenever it can be.
        most: f64,
        /// The states of modules that make it.
        states: Vec<String>,
        /// What it would take for the two to be one, in words; empty where they are.
        between: Vec<String>,
        /// What is not written, so that it may be more than the most.
        unsaid: Option<String>,
    },
}

/// What a module puts into a band: the power of each of its states, uPa^2, and whether it is ever in it.
struct Loud<'a> {
    powers: &'a [f64],
    may_be: &'a [bool],
}

impl Loud<'_> {
    fn least(&self) -> f64 {
        self.over(f64::INFINITY, f64::min)
    }

    fn most(&self) -> f64 {
        self.over(0.0, f64::max)
    }

    /// Over the states in which it ever is.
    fn over(&self, first: f64, of: impl Fn(f64, f64) -> f64) -> f64 {
        let each = self.powers.iter().zip(self.may_be);
        each.filter(|(_, may)| **may)
            .map(|(power, _)| *power)
            .fold(first, of)
    }
}

/// States by module.
type States = BTreeMap<usize, BTreeSet<usize>>;

/// What passes a limit, by module and state.
#[derive(Default)]
struct Passes {
    /// Those that do by themselves, with all others at their least.
    alone: States,
    /// Those that do only with others; of a module that puts nothing in the states beside which others do.
    together: States,
    /// Of both those that put something in.
    told: States,
}

/// Of a band the states with which what is put into it passes a limit, uPa^2.
fn loud_states(found: &mut Passes, modules: &[(usize, Loud<'_>)], limit_upa2: f64) {
    let by_itself = |at: usize, state: usize| {
        let (_, own) = &modules[at];
        let others = modules.iter().enumerate().filter(|(i, _)| *i != at);
        let least: f64 = others.map(|(_, (_, other))| other.least()).sum();
        own.powers[state] + least > limit_upa2
    };
    // What each module has in its loudest state that is not loud by itself.
    let quiet_most: Vec<f64> = modules
        .iter()
        .enumerate()
        .map(|(at, (_, own))| {
            let quiet: Vec<bool> = (0..own.powers.len())
                .map(|state| own.may_be[state] && !by_itself(at, state))
                .collect();
            let of = Loud {
                powers: own.powers,
                may_be: &quiet,
            };
            of.most()
        })
        .collect();
    for (at, (module, own)) in modules.iter().enumerate() {
        let others: f64 = quiet_most.iter().sum::<f64>() - quiet_most[at];
        for state in (0..own.powers.len()).filter(|s| own.may_be[*s]) {
            let kind = match by_itself(at, state) {
                true => &mut found.alone,
                false if own.powers[state] + others > limit_upa2 => &mut found.together,
                false => continue,
            };
            kind.entry(*module).or_default().insert(state);
            if own.powers[state] > 0.0 {
                found.told.entry(*module).or_default().insert(state);
            }
        }
    }
}

/// The share of the time in which a module is in each of its states, by its `duty`, else by the state in which it starts.
///
/// # Errors
/// Where neither is written.
fn shares_of_states(line: &Line, module: ModuleIx) -> Result<Vec<f64>, String> {
    let of = &line.modules[module.0];
    if of.loads.is_empty() {
        return Ok(vec![1.0]);
    }
    let mut shares = vec![0.0; of.loads.len()];
    if of.duty.is_empty() {
        let starts = of
            .starts_in
            .ok_or_else(|| format!("`starts_in` of {} is not written", line.module_path(module)))?;
        shares[starts] = 1.0;
    } else {
        for (state, share) in &of.duty {
            shares[*state] += share.si;
        }
    }
    Ok(shares)
}

/// The share of the time in which what is picked up lies above the sea of the quietest month somewhere in the band of a detector. Which
/// modules are in which state at once is not known, nor whether a line folds that nothing is said to keep out: so it has two ends.
///
/// # Errors
/// What this needs and the plan does not say.
pub(crate) fn drowned(line: &Line, sensor: SensorIx, memo: &Memo) -> Result<Drowned, String> {
    let chain = line.sensor(sensor).chain.as_ref();
    if chain.is_none_or(|c| c.pick_up.is_none()) {
        return Ok(Drowned::Unsaid);
    }
    let budget = chain_budget_of(line, sensor, memo).map_err(|e| e.to_string())?;
    let Some(pick_ups) = budget
        .pick_up
        .as_ref()
        .filter(|_| !budget.detectors.is_empty())
    else {
        return Ok(Drowned::Shares {
            least: 0.0,
            most: 0.0,
            states: Vec::new(),
            between: Vec::new(),
            unsaid: None,
        });
    };
    if let Some(why) = &budget.sea_unknown {
        return Err(format!("the sea is unknown: {why}"));
    }
    let shares: BTreeMap<usize, Result<Vec<f64>, String>> = pick_ups
        .modules()
        .map(|module| (module.0, shares_of_states(line, module)))
        .collect();
    let may_be = |module: ModuleIx, states: usize| -> Vec<bool> {
        match &shares[&module.0] {
            Ok(shares) => shares.iter().map(|share| *share > 0.0).collect(),
            Err(_) => vec![true; states],
        }
    };
    let states_of = |which: Which| -> Passes {
        let mut found = Passes::default();
        for heard in &budget.detectors {
            let (low_hz, high_hz) = heard.band_hz;
            for (edges_hz, sea) in budget.parts_of_sea(low_hz, high_hz, memo) {
                let Some(sea) = sea else { continue };
                let powers = pick_ups.by_state(edges_hz, Over::Window(heard.window_s), which);
                let may: Vec<Vec<bool>> = powers
                    .iter()
                    .map(|(module, powers)| may_be(*module, powers.len()))
                    .collect();
                let modules: Vec<(usize, Loud<'_>)> = powers
                    .iter()
                    .zip(&may)
                    .map(|((module, powers), may_be)| (module.0, Loud { powers, may_be }))
                    .collect();
                loud_states(
                    &mut found,
                    &modules,
                    libm::pow(10.0, sea.quietest_db / 10.0),
                );
            }
        }
        found
    };
    let sure = states_of(Which::Sure).alone;
    let Passes {
        alone,
        together,
        told,
    } = states_of(Which::All);
    let share_of = |module: usize, states: &BTreeSet<usize>| -> Result<f64, String> {
        let shares = shares[&module].as_ref().map_err(Clone::clone)?;
        Ok(states.iter().map(|s| shares[*s]).sum::<f64>().min(1.0))
    };
    let each = |states: &States| -> Result<Vec<f64>, String> {
        states.iter().map(|(m, s)| share_of(*m, s)).collect()
    };
    // Loud by themselves: at least the largest share, at most the sum of them (Frechet). What is loud only together is in none of its
    // states for longer than that of them which is rarest.
    let least = each(&sure)?.into_iter().fold(0.0, f64::max);
    let rarest = each(&together)?.into_iter().reduce(f64::min);
    let most = each(&alone)?.iter().sum::<f64>() + rarest.unwrap_or(0.0);
    let most = most.min(1.0).max(least);
    let mut between = Vec::new();
    if sure != alone {
        between.push(KEPT_OUT_UNSAID.to_owned());
    }
    if most > least && (alone.len() > 1 || !together.is_empty()) {
        between.push(
            "which modules are loud at the same time is not known: keep each of them 10 dB below the sea (`pick-up`)"
                .to_owned(),
        );
    }
    Ok(Drowned::Shares {
        least,
        most,
        states: told
            .iter()
            .map(|(module, states)| in_words(line, ModuleIx(*module), states))
            .collect(),
        between,
        unsaid: pick_ups.unsaid.clone().filter(|_| least < 1.0),
    })
}

/// A module with some of its states.
fn in_words(line: &Line, module: ModuleIx, states: &BTreeSet<usize>) -> String {
    let loads = &line.modules[module.0].loads;
    let names: Vec<&str> = states
        .iter()
        .filter_map(|s| loads.get(*s))
        .map(|l| l.state.as_str())
        .collect();
    match names.is_empty() {
        true => line.module_path(module),
        false => format!("{} {}", line.module_path(module), names.join(" and ")),
    }
}

/// Hydrophones with detectors, on modules with a converter, of which the plan does not say what they pick up.
pub(crate) fn unsaid(line: &Line) -> Vec<String> {
    let said = |sensor: &SensorIx| {
        let chain = line.sensor(*sensor).chain.as_ref();
        chain.is_some_and(|c| c.pick_up.is_some())
    };
    let hears = |sensor: &SensorIx| line.detectors.iter().any(|d| d.on == *sensor);
    let converts = |sensor: &SensorIx| {
        let input = line.modules[sensor.module.0].input.as_ref();
        input.is_some_and(|i| i.efficiency.is_some() || !i.efficiency_at.is_empty())
    };
    line.hydrophones()
        .filter(|sensor| hears(sensor) && converts(sensor) && !said(sensor))
        .map(|sensor| line.sensor_path(sensor))
        .collect()
}
