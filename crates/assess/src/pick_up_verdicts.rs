//! What electronics put into the chains of hydrophones against the sea, as verdicts.

use std::collections::{BTreeMap, BTreeSet};

use plan::{Line, SensorIx, Stage};

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
    line: &Line,
    budget: &ChainBudget,
    pick_ups: &PickUps,
    which: Which,
    memo: &Memo,
) -> Result<Nearest, String> {
    let mut found: Option<Nearest> = None;
    for heard in &budget.detectors {
        let window_s = window_s(line, &heard.path);
        let parts = budget.parts_of_sea(heard.band_hz.0, heard.band_hz.1, memo);
        for (edges_hz, sea) in parts {
            let Some(sea) = sea else { continue };
            let picked = pick_ups.in_band(edges_hz, Over::Window(window_s));
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
    let sure = nearest(line, &budget, pick_ups, Which::Sure, memo)?;
    let all = nearest(line, &budget, pick_ups, Which::All, memo)?;
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
    if broken && let Some(moved) = moved(line, &budget, pick_ups, counts, limit_db, memo) {
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
    line: &Line,
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
        let then = nearest(line, budget, &changed, Which::All, memo).ok()?;
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
    /// A share of the time, 0 to 1, and the states of modules that make it.
    Share { share: f64, states: Vec<String> },
}

/// The share of the time in which what is sure to be picked up lies above the sea of the quietest month somewhere in the band of a
/// detector: by the `duty` of the modules that make it, else by the state in which each starts. Modules add: which of them are in which
/// state at once is not known.
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
        return Ok(Drowned::Share {
            share: 0.0,
            states: Vec::new(),
        });
    };
    if let Some(why) = &budget.sea_unknown {
        return Err(format!("the sea is unknown: {why}"));
    }
    // Of each module its states that are loud somewhere.
    let mut loud: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for heard in &budget.detectors {
        let window_s = window_s(line, &heard.path);
        for (edges_hz, sea) in budget.parts_of_sea(heard.band_hz.0, heard.band_hz.1, memo) {
            let Some(sea) = sea else { continue };
            let limit_upa2 = libm::pow(10.0, sea.quietest_db / 10.0);
            for (module, powers) in pick_ups.by_state(edges_hz, Over::Window(window_s)) {
                let above = powers.iter().enumerate().filter(|(_, p)| **p > limit_upa2);
                let states = loud.entry(module.0).or_default();
                states.extend(above.map(|(state, _)| state));
            }
        }
    }
    let (mut share, mut told) = (0.0, Vec::new());
    for (module, states) in loud.iter().filter(|(_, states)| !states.is_empty()) {
        let of = &line.modules[*module];
        let path = line.module_path(plan::ModuleIx(*module));
        share += if of.loads.is_empty() {
            1.0
        } else if of.duty.is_empty() {
            let starts = of
                .starts_in
                .ok_or_else(|| format!("`starts_in` of {path} is not written"))?;
            f64::from(u8::from(states.contains(&starts)))
        } else {
            let duty = of.duty.iter().filter(|(state, _)| states.contains(state));
            duty.map(|(_, share)| share.si).sum()
        };
        let names = states.iter().filter_map(|s| of.loads.get(*s));
        let names: Vec<&str> = names.map(|l| l.state.as_str()).collect();
        told.push(match names.is_empty() {
            true => path,
            false => format!("{path} {}", names.join(" and ")),
        });
    }
    Ok(Drowned::Share {
        share: share.min(1.0),
        states: told,
    })
}

/// The window of the level of a detector, s.
fn window_s(line: &Line, path: &str) -> Option<f64> {
    let detector = line
        .detectors
        .iter()
        .find(|d| path == format!("detector.{}", d.id))?;
    detector.stages.iter().find_map(|stage| match stage {
        Stage::Level { window_s, .. } => Some(window_s.si),
        _ => None,
    })
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
