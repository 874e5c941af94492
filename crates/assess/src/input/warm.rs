//! How warm the conductors of spans with `heat` become, and so what resistance they count with.
//!
//! One temperature a span, the highest that any set of states gives it: with every module at the larger of its boot and its
//! heaviest state, whatever excludes what, and aged contacts. Where the line cannot carry that, no conductor carries more
//! than all supplies at their current limits. So every voltage under load and every short is that of the warmest cable; the
//! highest voltage is that of no load at all, where resistance does not count.

use plan::{CableHeat, Insulation, LiesIn, Line, Load, Module, SpanIx};
use power::conductor::conductor_resistance_20_ohm_per_km;
use power::heating::{Cable, Material, Surroundings, warmth};
use power::{WarmSpan, solve_hot};

use super::electric::{Conditions, Contacts, Draw, Electric, boots};
use super::{InputError, profile};

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

/// The warmest conductors of each span with `heat`, and what keeps them from being known.
///
/// # Errors
/// [`InputError`] for water that is not sea water, air without a temperature, and cables that find no rest.
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
    if let Ok(hot) = solve_hot(&input.network, &branches) {
        let mut wires = vec![None; spans.len()];
        for (of, warmth) in input.branch_spans.iter().zip(&hot.warmth) {
            if let (Some(SpanIx(span)), Some(at)) = (*of, *warmth) {
                wires[span] = Some(WarmWire {
                    conductor_degc: at.conductor_degc,
                    wire_ohm: at.loop_ohm_per_m * line.spans[span].length_m,
                });
            }
        }
        return Ok((wires, Vec::new()));
    }
    let limits = line
        .supplies
        .iter()
        .map(|s| s.current_limit_a.map(|q| q.si));
    let Some(most_a) = limits.sum::<Option<f64>>() else {
        let unknown = if line.exclusives.is_empty() {
            // It cannot carry its loads cold or warm, and that is told where it is judged.
            Vec::new()
        } else {
            vec!["how warm the cables become is unknown: the line cannot carry all its loads at once, and not every supply has a current limit".to_owned()]
        };
        return Ok((vec![None; spans.len()], unknown));
    };
    let mut wires = Vec::with_capacity(spans.len());
    for (span, warm) in line.spans.iter().zip(&spans) {
        wires.push(match warm {
            None => None,
            Some(warm) => {
                let at = warmth(&warm.cable, warm.surroundings, warm.ambient_degc, most_a)
                    .map_err(|source| InputError::Heat {
                        what: format!("span.{}", span.id),
                        source,
                    })?;
                Some(WarmWire {
                    conductor_degc: at.conductor_degc,
                    wire_ohm: at.loop_ohm_per_m * span.length_m,
                })
            }
        });
    }
    Ok((wires, Vec::new()))
}

/// The boot or the state, with every output on, in which a module draws the largest current at its lowest voltage. A boot of
/// which nothing is said counts as the larger, so that it is told as unknown.
pub(crate) fn heaviest(module: &Module) -> Draw {
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
