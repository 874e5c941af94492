//! How warm the conductors of spans with `heat` become, and so what resistance they count with.
//!
//! One temperature a span, the highest that any set of states gives it: with every module at the larger of its boot and its
//! heaviest state, whatever excludes what, and aged contacts. Where the line finds no rest with that, no conductor carries
//! more than all supplies give together in any states that the exclusive groups allow, or at their current limits; where
//! those are not said, or a cable finds no rest with them either, its warmth is unknown. So every voltage under load and
//! every short is that of the warmest cable; the highest voltage is that of no load at all, where resistance does not count.

use plan::{CableHeat, Insulation, LiesIn, Line, Load, Module, SpanIx};
use power::conductor::conductor_resistance_20_ohm_per_km;
use power::heating::{Cable, HeatingError, Material, Surroundings, Warmth, warmth};
use power::{HotError, WarmSpan, solve_hot};

use super::electric::{Conditions, Contacts, Draw, Electric, ElectricInput, boots};
use super::heaviest::heaviest_way;
use super::{InputError, profile};
use crate::combinations::Combinations;
use crate::power_cases::LARGEST;

/// Rounds in which a current and the warmth that it makes come to rest.
const MOST_ROUNDS: u32 = 100;
/// A relative change of the current this small has arrived.
const ARRIVED: f64 = 1e-11;

/// Salinities for which free convection in sea water of 35 is taken.
const SALINITIES: std::ops::RangeInclusive<f64> = 30.0..=40.0;

/// Conductors of a span at their warmest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmWire {
    /// Temperature, degC.
    pub conductor_degc: f64,
    /// Resistance of the loop without contacts, ohm.
    pub wire_ohm: f64,
}

/// The warmest conductors of each span with `heat`, and why they are not known. Where that is said, the resistances that
/// stand are none that is too high.
///
/// # Errors
/// [`InputError`] for water that is not sea water and air without a temperature.
pub(super) fn warmest(
    line: &Line,
    cold: &Electric,
) -> Result<(Vec<Option<WarmWire>>, Vec<String>), InputError> {
    let mut spans = Vec::with_capacity(line.spans.len());
    for i in 0..line.spans.len() {
        spans.push(warm_span(line, i)?);
    }
    if spans.iter().all(Option::is_none) {
        return Ok((vec![None; spans.len()], Vec::new()));
    }
    let heaviest = Conditions::with(line, Contacts::Aged, heaviest);
    let input = cold.input(line, &heaviest)?;
    let branches: Vec<Option<WarmSpan>> = input
        .branch_spans
        .iter()
        .zip(&input.network.spans)
        .map(|(of, branch)| {
            let SpanIx(span) = (*of)?;
            let warm = spans[span]?;
            Some(WarmSpan {
                other_ohm: branch.resistance_ohm - cold.wire_ohm(SpanIx(span))?,
                ..warm
            })
        })
        .collect();
    let no_rest = if input.unknowns.is_empty() {
        match solve_hot(&input.network, &branches) {
            Ok(hot) => return Ok((wires(line, &input, &hot.warmth), Vec::new())),
            Err(error) => Some(error),
        }
    } else {
        None
    };
    let grouped = if line.exclusives.is_empty() {
        None
    } else {
        match as_allowed(line, cold, &spans)? {
            Ok(wires) => return Ok((wires, Vec::new())),
            Err(why) => Some(why),
        }
    };
    let why_not_less = grouped.as_deref().unwrap_or(match &no_rest {
        None => "the plan does not say all that the line draws",
        Some(HotError::Span { .. } | HotError::NotAtRest { .. }) => {
            "its cables find no rest with all its loads at once"
        }
        Some(HotError::Round { .. } | HotError::Network(_)) => {
            "it cannot carry all its loads at once"
        }
    });
    let why = match at_the_limits(line, &spans, why_not_less) {
        Ok(wires) => return Ok((wires, Vec::new())),
        Err(why) => why,
    };
    let cold = vec![None; spans.len()];
    let mut inputs = line.modules.iter().filter_map(|m| m.input.as_ref());
    let locks_out = inputs.any(|input| input.lock_out.is_some());
    Ok(match no_rest {
        None => (cold, input.unknowns),
        // Less than all at once may be allowed, or last, and the cables are cooler with it.
        Some(_) if !line.exclusives.is_empty() || locks_out => (cold, why),
        Some(HotError::Span { span, source }) => {
            let SpanIx(span) =
                input.branch_spans[span].expect("a way through a module has no cable");
            let path = format!("span.{}", line.spans[span].id);
            let what = format!(
                "{path}: with {LARGEST}, {}: take a thicker conductor, lessen the load, or lay it where more heat is carried off",
                in_words(&source)
            );
            (cold, vec![what])
        }
        Some(HotError::Round { warmth, source }) => {
            let why = format!(
                "how warm the cables become is unknown: with {LARGEST} there is no operating point ({source})"
            );
            (wires(line, &input, &warmth), vec![why])
        }
        Some(other) => (
            cold,
            vec![format!("how warm the cables become is unknown: {other}")],
        ),
    })
}

/// Every cable with the most that all supplies give together in any states that the exclusive groups allow, which is no less
/// than a conductor carries; or why that is not found.
fn as_allowed(
    line: &Line,
    cold: &Electric,
    spans: &[Option<WarmSpan>],
) -> Result<Result<Vec<Option<WarmWire>>, String>, InputError> {
    let combinations = match Combinations::of(line, cold, Contacts::Aged)? {
        Ok(combinations) if combinations.input.unknowns.is_empty() => combinations,
        Ok(_) => return Ok(Err("the plan does not say all that it draws".to_owned())),
        Err(why) => return Ok(Err(why)),
    };
    let mut network = combinations.input.network.clone();
    let mut before_a = 0.0;
    // From the cold line upwards, as at rest with all loads.
    for _ in 0..MOST_ROUNDS {
        let most_a = match combinations.most_a(&network) {
            Ok(Some(most_a)) => most_a,
            Ok(None) => {
                return Ok(Err(
                    "it cannot carry all that its exclusive groups allow".to_owned()
                ));
            }
            Err(why) => return Ok(Err(why)),
        };
        let wires = match at_current(line, spans, most_a) {
            Ok(wires) => wires,
            Err(hot) => {
                let (span, source) = &hot[0];
                return Ok(Err(format!(
                    "with all that its exclusive groups allow span.{}: {}",
                    line.spans[*span].id,
                    in_words(source)
                )));
            }
        };
        if (most_a - before_a).abs() <= ARRIVED * most_a {
            return Ok(Ok(wires));
        }
        before_a = most_a;
        let branches = combinations.input.branch_spans.iter().enumerate();
        for (branch, of) in branches {
            if let Some(span) = *of
                && let (Some(wire), Some(cold_ohm)) = (wires[span.0], cold.wire_ohm(span))
            {
                network.spans[branch].resistance_ohm =
                    combinations.input.network.spans[branch].resistance_ohm - cold_ohm
                        + wire.wire_ohm;
            }
        }
    }
    Ok(Err(format!(
        "after {MOST_ROUNDS} rounds its cables still grow warmer"
    )))
}

/// Every cable with this current, or those that find no rest with it.
fn at_current(
    line: &Line,
    spans: &[Option<WarmSpan>],
    current_a: f64,
) -> Result<Vec<Option<WarmWire>>, Vec<(usize, HeatingError)>> {
    let mut wires = vec![None; spans.len()];
    let mut hot = Vec::new();
    for (i, warm) in spans.iter().enumerate() {
        let Some(warm) = warm else { continue };
        match warmth(&warm.cable, warm.surroundings, warm.ambient_degc, current_a) {
            Ok(at) => {
                wires[i] = Some(WarmWire {
                    conductor_degc: at.conductor_degc,
                    wire_ohm: at.loop_ohm_per_m * line.spans[i].length_m,
                });
            }
            Err(source) => hot.push((i, source)),
        }
    }
    if hot.is_empty() { Ok(wires) } else { Err(hot) }
}

fn wires(line: &Line, input: &ElectricInput, warmth: &[Option<Warmth>]) -> Vec<Option<WarmWire>> {
    let mut wires = vec![None; line.spans.len()];
    for (of, warmth) in input.branch_spans.iter().zip(warmth) {
        if let (Some(SpanIx(span)), Some(at)) = (*of, *warmth) {
            wires[span] = Some(WarmWire {
                conductor_degc: at.conductor_degc,
                wire_ohm: at.loop_ohm_per_m * line.spans[span].length_m,
            });
        }
    }
    wires
}

/// Every cable with all supplies at their current limits, or what keeps that from being known.
fn at_the_limits(
    line: &Line,
    spans: &[Option<WarmSpan>],
    why_not_less: &str,
) -> Result<Vec<Option<WarmWire>>, Vec<String>> {
    let unlimited: Vec<String> = supplies(line, |s| s.current_limit_a.is_none());
    if !unlimited.is_empty() {
        return Err(vec![format!(
            "how warm the cables become is unknown: the current of the line is not known ({why_not_less}), and there is no current limit to count instead: write a `current_limit` for {}",
            unlimited.join(" and ")
        )]);
    }
    let limits = line.supplies.iter().filter_map(|s| s.current_limit_a);
    let most_a: f64 = limits.map(|q| q.si).sum();
    let all = supplies(line, |_| true);
    let whose = match all.as_slice() {
        [one] => format!("the current limit of {one}"),
        _ => format!("the current limits of {} together", all.join(" and ")),
    };
    at_current(line, spans, most_a).map_err(|hot| {
        let told = hot.iter().map(|(span, source)| {
            format!(
                "span.{}: {}; that is {whose}, which counts because the line's own current is not known to be less ({why_not_less}): lower the limit to what the line needs, lessen the load, or take a thicker conductor",
                line.spans[*span].id,
                in_words(source)
            )
        });
        told.collect()
    })
}

fn supplies(line: &Line, wanted: impl Fn(&plan::Supply) -> bool) -> Vec<String> {
    let wanted = line.supplies.iter().filter(|s| wanted(s));
    wanted.map(|s| format!("supply.{}", s.id)).collect()
}

/// The error with its current in three decimals.
fn in_words(error: &HeatingError) -> String {
    let amp = |a: &f64| (a * 1000.0).round() / 1000.0;
    match error {
        HeatingError::TooWarm { current_a } => HeatingError::TooWarm {
            current_a: amp(current_a),
        },
        HeatingError::Runaway { current_a } => HeatingError::Runaway {
            current_a: amp(current_a),
        },
        other => *other,
    }
    .to_string()
}

/// The boot or the state, with every output on, in which a module draws the largest current at its lowest voltage. A boot of
/// which nothing is said counts as the larger, so that it is told as unknown.
fn heaviest(module: &Module) -> Draw {
    if module.boot.is_some()
        && let Ok(Some(heaviest)) = heaviest_way(module)
    {
        return heaviest.draw;
    }
    let at_v = module
        .input
        .as_ref()
        .map_or(1.0, |input| input.minimum_v.si);
    let outputs_w: f64 = module
        .outputs
        .iter()
        .filter_map(|o| o.power_w)
        .map(|q| q.si)
        .sum();
    let current_a = |load: &Load| match load {
        Load::Power(q) => (q.si + outputs_w) / at_v,
        Load::Current(q) => q.si + outputs_w / at_v,
        Load::Resistance(q) => at_v / q.si + outputs_w / at_v,
    };
    let state = module
        .loads
        .iter()
        .enumerate()
        .map(|(i, s)| (i, current_a(&s.load)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let works_a = state.map_or(outputs_w / at_v, |(_, a)| a);
    match module.boot {
        None if boots(module) => Draw::Boot,
        Some(boot) if module.input.is_some() && boot.power_w.si / at_v > works_a => Draw::Boot,
        _ => Draw::State {
            state: state.map(|(i, _)| i),
            outputs_on: vec![true; module.outputs.len()],
        },
    }
}

fn warm_span(line: &Line, i: usize) -> Result<Option<WarmSpan>, InputError> {
    let span = &line.spans[i];
    let (Some(heat), Some(conductor)) = (&span.heat, span.conductor) else {
        return Ok(None);
    };
    let what = || format!("span.{}", span.id);
    let depth_m = (line.modules[span.from.0].depth_m + line.modules[span.to.0].depth_m) / 2.0;
    let r20 =
        conductor_resistance_20_ohm_per_km(conductor).map_err(|source| InputError::Conductor {
            what: what(),
            source,
        })?;
    let water = profile(line)?;
    let (surroundings, ambient_degc) = match heat.lies_in {
        LiesIn::Water => {
            let salinity = water.salinity(depth_m)?;
            if !SALINITIES.contains(&salinity) {
                return Err(InputError::NoSeaWater {
                    what: what(),
                    salinity,
                });
            }
            (Surroundings::SeaWater, water.temperature_degc(depth_m)?)
        }
        LiesIn::Sediment {
            buried_m,
            resistivity_k_m_per_w,
        } => (
            Surroundings::Sediment {
                buried_m: buried_m.si,
                resistivity_k_m_per_w: resistivity_k_m_per_w.si,
            },
            water.temperature_degc(depth_m)?,
        ),
        LiesIn::Air => {
            let months = &line.sea.air_temperature_degc;
            let warmest = months.iter().map(|q| q.si).max_by(f64::total_cmp);
            let ambient_degc = warmest.ok_or_else(|| InputError::NotSaid {
                what: what(),
                missing: "the air round it (site.air_temperature)",
            })?;
            (Surroundings::Air, ambient_degc)
        }
    };
    Ok(Some(WarmSpan {
        cable: cable(heat, 2.0 * r20 / 1000.0),
        surroundings,
        ambient_degc,
        length_m: span.length_m,
        other_ohm: 0.0,
    }))
}

fn cable(heat: &CableHeat, loop_20_ohm_per_m: f64) -> Cable {
    let material = |insulation| match insulation {
        Insulation::Polyethylene => Material::Polyethylene,
        Insulation::Pvc => Material::Pvc,
        Insulation::Epr => Material::Epr,
        Insulation::Silicone => Material::Silicone,
    };
    Cable {
        core_m: heat.core_m.si,
        insulated_m: heat.insulated_m.si,
        under_jacket_m: heat.under_jacket_m.si,
        outer_m: heat.outer_m.si,
        insulation: material(heat.insulation),
        jacket: material(heat.jacket),
        loop_20_ohm_per_m,
    }
}
