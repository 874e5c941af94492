//! A recording of a dummy element against the sea (`--dummy`).

use std::io::{self, Write};
use std::num::NonZeroU32;

use assess::{
    ChainBudget, DUMMY_CLEAR_DB, DummyHeard, DummyJudged, Ruling, chain_budget, judge_dummy,
};
use plan::Line;
use quantity::nearest;
use serde_json::{Value, json};
use signal::{Decidecade, level_db};

use super::error::MeasureCommandError;
use super::told::Sensor;
use crate::exit::Exit;
use crate::listen::Assigned;

/// The chain of each sensor, as its plan has it.
pub(super) fn budgets(
    line: &Line,
    assigned: &[Assigned],
) -> Result<Vec<ChainBudget>, MeasureCommandError> {
    let each = assigned.iter().map(|a| chain_budget(line, a.sensor, None));
    each.collect::<Result<_, _>>()
        .map_err(|source| MeasureCommandError::Chain {
            source: Box::new(source),
        })
}

/// Of each sensor the states of its module that are not among those in which the recordings were made.
pub(super) fn states_missing(
    line: &Line,
    assigned: &[Assigned],
    recorded: &[String],
) -> Result<Vec<Vec<String>>, MeasureCommandError> {
    let own = |a: &Assigned| {
        let states = line.modules[a.sensor.module.0].loads.iter();
        states.map(|s| s.state.clone()).collect::<Vec<String>>()
    };
    let all: Vec<Vec<String>> = assigned.iter().map(own).collect();
    for state in recorded {
        if !all.iter().flatten().any(|known| known == state) {
            let mut known: Vec<String> = all.concat();
            known.sort_unstable();
            known.dedup();
            return Err(MeasureCommandError::NoState {
                state: state.clone(),
                near: nearest(state, known.iter().map(String::as_str)).map(str::to_owned),
                known,
            });
        }
    }
    let missing = all.into_iter().map(|mut states| {
        states.retain(|s| !recorded.contains(s));
        states
    });
    Ok(missing.collect())
}

/// What came of each sensor, or why it is not known.
pub(super) fn judged(
    (budgets, states_missing): (&[ChainBudget], &[Vec<String>]),
    sensors: &[Sensor],
    every: NonZeroU32,
) -> Vec<Result<DummyJudged, String>> {
    let each = budgets.iter().zip(states_missing).zip(sensors);
    each.map(|((budget, missing), sensor)| {
        let heard = heard(sensor);
        if heard.is_empty() {
            return Err("no band of it has a level".to_owned());
        }
        let judged = judge_dummy(
            budget,
            &heard,
            &DummyHeard {
                every_s: f64::from(every.get()),
                whole: sensor.whole,
                silent: sensor.silent,
                clipped_samples: sensor.clipped_samples,
                states_missing: missing.clone(),
            },
        )?;
        match judged.bands.is_empty() {
            true => Err("no band of it lies below nine tenths of half the rate".to_owned()),
            false => Ok(judged),
        }
    })
    .collect()
}

/// Highest levels of its bands in any period, whole or in part, dB re 1 uPa.
fn heard(sensor: &Sensor) -> Vec<(Decidecade, f64)> {
    let highest = sensor.loudest.iter().filter_map(|of| {
        let square = of.highest_upa2?;
        Some((of.band, level_db(square, 1.0)))
    });
    highest.filter(|(_, level)| level.is_finite()).collect()
}

/// Told by band.
pub(super) fn tell(
    all: &[Result<DummyJudged, String>],
    sensors: &[Sensor],
    to: &mut dyn Write,
) -> io::Result<()> {
    for (judged, sensor) in all.iter().zip(sensors) {
        writeln!(
            to,
            "{} with a dummy in place of its element, at least {DUMMY_CLEAR_DB} dB below the sea of the quietest month:",
            sensor.path
        )?;
        let judged = match judged {
            Ok(judged) => judged,
            Err(why) => {
                writeln!(to, "  unknown: {why}")?;
                continue;
            }
        };
        writeln!(
            to,
            "  {:>10} {:>9} {:>9} {:>9}   dB re 1 uPa as recorded, highest of any period, whole or in part",
            "band", "heard", "sea", "margin"
        )?;
        for of in &judged.bands {
            writeln!(
                to,
                "  {:>10} {:>9.1} {:>9.1} {:>9.1}{}",
                of.band.label(),
                of.level_db,
                of.sea_db,
                of.margin_db,
                if of.margin_db < 0.0 { "   broken" } else { "" }
            )?;
        }
        if !judged.above_filter_hz.is_empty() {
            writeln!(
                to,
                "  {} above what the converter's own filter is taken to pass: not judged",
                match judged.above_filter_hz.len() {
                    1 => "1 band".to_owned(),
                    n => format!("{n} bands"),
                }
            )?;
        }
        if let Some(worst) = judged.worst() {
            let broken = judged.bands.iter().filter(|b| b.margin_db < 0.0).count();
            match (broken, &judged.unsure) {
                (0, Some(why)) => writeln!(to, "  unknown: no band is too loud, but {why}")?,
                (0, None) => writeln!(
                    to,
                    "  met in every band; least clear at {}, by {:.1} dB",
                    worst.band.label(),
                    worst.margin_db
                )?,
                (n, _) => writeln!(
                    to,
                    "  broken in {n} of {} bands; worst at {}, {:.1} dB too loud",
                    judged.bands.len(),
                    worst.band.label(),
                    -worst.margin_db
                )?,
            }
        }
    }
    Ok(())
}

/// The same of one sensor, as JSON.
pub(super) fn to_json(judged: &Result<DummyJudged, String>) -> Value {
    let word = |ruling: Option<Ruling>| match ruling {
        Some(Ruling::Broken) => "broken",
        Some(_) => "met",
        None => "unknown",
    };
    match judged {
        Err(why) => {
            json!({ "word": "unknown", "why": why, "clear_db": DUMMY_CLEAR_DB, "bands": [] })
        }
        Ok(judged) => {
            let bands = judged.bands.iter().map(|of| {
                json!({
                    "nominal_hz": of.band.nominal_hz(),
                    "centre_hz": of.band.centre_hz(),
                    "level_db": of.level_db,
                    "sea_level_db": of.sea_db,
                    "margin_db": of.margin_db,
                })
            });
            json!({
                "word": word(judged.ruling()),
                "why": judged.unsure.as_ref().filter(|_| judged.ruling().is_none()),
                "clear_db": DUMMY_CLEAR_DB,
                "bands": bands.collect::<Vec<Value>>(),
            })
        }
    }
}

/// What all of it comes to.
pub(super) fn exit(all: &[Result<DummyJudged, String>]) -> Exit {
    let broken = |j: &Result<DummyJudged, String>| {
        j.as_ref().is_ok_and(|j| j.ruling() == Some(Ruling::Broken))
    };
    let unknown = |j: &Result<DummyJudged, String>| match j {
        Ok(judged) => judged.ruling().is_none(),
        Err(_) => true,
    };
    if all.iter().any(broken) {
        Exit::Broken
    } else if all.iter().any(unknown) {
        Exit::Unknown
    } else {
        Exit::Met
    }
}
