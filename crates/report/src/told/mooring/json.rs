//! [`mooring_text`](super::mooring_text) for programs.

use assess::input::{DesignCase, MooredTop, NotMoored};
use assess::{
    BuoyState, CaseShape, CaseThing, Extreme, FlowNoise, HungLine, MOORING_CAUTIONS, Moorings,
    NoShape, OfModule, OfSection, Strength, Surface, strengths,
};
use mooring::{Effort, WaveAt};
use plan::Line;
use serde_json::{Value, json};

use super::LEFT_OUT;
use crate::told::check::verdict_json;

/// Every line in every design case, with the points of each shape; what is not known is `null`.
#[must_use]
pub fn mooring_json(line: &Line, found: &Moorings) -> Value {
    json!({
        "format": "mooring/1",
        "deployment": line.deployment.name,
        "cases": found.cases.iter().map(case_json).collect::<Vec<_>>(),
        "lines": found.lines.iter().map(|of| line_json(line, found, of)).collect::<Vec<_>>(),
        "strength": strengths(line, found).iter().map(strength_json).collect::<Vec<_>>(),
        "assumed": found.assumed,
        "left_out": LEFT_OUT,
        "cautions": MOORING_CAUTIONS,
    })
}

fn case_json(case: &DesignCase) -> Value {
    json!({
        "id": case.id,
        "declared": case.declared,
        "nominal": case.nominal,
        "water_level_m": case.level_m,
        "water_depth_m": case.water.depth_m,
        "density_kg_m3": case.water.density_kg_m3,
        "current": case.current.iter().map(|(depth_m, speed_m_s, towards_deg)| json!({
            "depth_m": depth_m,
            "speed_m_s": speed_m_s,
            "towards_deg": towards_deg,
        })).collect::<Vec<_>>(),
        "wind": case.wind.map(|(speed_m_s, towards_deg)| json!({
            "speed_m_s": speed_m_s,
            "towards_deg": towards_deg,
        })),
        "wave": case.wave.map(|(height_m, period_s)| json!({
            "height_m": height_m,
            "period_s": period_s,
        })),
        "strum": case.strum,
        "growth": case.fouling.map(|by| json!({
            "months": by.months,
            "thickness_m": by.growth.thickness_m(),
        })),
    })
}

fn line_json(line: &Line, found: &Moorings, of: &Result<HungLine, NotMoored>) -> Value {
    let of = match of {
        Ok(of) => of,
        Err(not) => return json!({ "section": not.section, "unknown": not.why }),
    };
    let case = |e: &Extreme, key: &str| {
        let mut told =
            json!({ "case": found.cases[e.case].id, "surface": surface_word(e.surface) });
        told[key] = json!(e.value);
        told
    };
    json!({
        "anchor": format!("anchor.{}", line.anchors[of.line.anchor].id),
        "top": of.line.top.path(line),
        "held_by": match of.line.top {
            MooredTop::Buoy { .. } => "buoy",
            MooredTop::Float { .. } => "float",
        },
        "length_m": of.line.length_m(),
        "shapes": found.cases.iter().zip(&of.shapes).map(|(c, s)| shape_json(line, c, s)).collect::<Vec<_>>(),
        "modules": of.modules.iter().map(|m| module_json(line, m, &case)).collect::<Vec<_>>(),
        "sections": of.sections.iter().map(|s| section_json(line, s, &case)).collect::<Vec<_>>(),
        "anchor_load": {
            "horizontal": of.anchor.horizontal_n.as_ref().map(|e| case(e, "force_n")),
            "vertical": of.anchor.vertical_n.as_ref().map(|e| case(e, "force_n")),
        },
        "watch_circle": of.watch_circle.map(|w| json!({
            "radius_m": w.radius_m,
            "by_waves_m": w.waves_m,
            "case": found.cases[w.case].id,
        })),
        "flow_noise": of.flow_noise.iter().map(|n| noise_json(line, found, n)).collect::<Vec<_>>(),
    })
}

fn strength_json(strength: &Strength) -> Value {
    let mut told = verdict_json(&strength.verdict);
    told["check"] = json!(strength.check);
    told
}

fn shape_json(line: &Line, case: &DesignCase, shape: &Result<CaseShape, NoShape>) -> Value {
    let shape = match shape {
        Ok(shape) => shape,
        Err(why) => return json!({ "case": case.id, "unknown": why.to_string() }),
    };
    let found = &shape.shape;
    json!({
        "case": case.id,
        "found_by": match found.effort {
            Effort::Shooting { .. } => "shooting",
            Effort::Bars { .. } => "bars",
        },
        "residual_m": found.residual_m,
        "excursion_m": found.excursion_m(),
        "top": { "east_m": found.top_m[0], "north_m": found.top_m[1], "depth_m": shape.top_depth_m },
        "top_pull": force_json(found.top_n),
        "anchor_pull": force_json(found.anchor_n),
        "on_the_bed_m": found.touch.map_or(0.0, |touch| touch.s_m),
        "buoy": shape.buoy.map(buoy_json),
        "greatest": greatest_json(shape),
        "things": shape.things.iter().enumerate().map(|(i, t)| {
            let mut told = thing_json(line, t);
            told["over_waves"] = over_waves_json(shape, i);
            told
        }).collect::<Vec<_>>(),
        "wave_at_bed": shape.wave_at_bed.map(wave_json),
        "crest": shape.crest.as_deref().map(surface_json),
        "trough": shape.trough.as_deref().map(surface_json),
        "points": found.points.iter().map(|p| json!({
            "from_anchor_m": p.s_m,
            "east_m": p.at_m[0],
            "north_m": p.at_m[1],
            "up_m": p.at_m[2],
            "tension_n": p.tension_n(),
        })).collect::<Vec<_>>(),
    })
}

fn surface_word(surface: Surface) -> &'static str {
    match surface {
        Surface::Still => "still",
        Surface::Crest => "crest",
        Surface::Trough => "trough",
    }
}

/// The largest of what `of` tells of a shape in still water, at crests and in troughs, under its key and with where the surface stands then.
fn largest(shape: &CaseShape, key: &str, of: impl Fn(&CaseShape) -> f64) -> Value {
    let mut all = shape.surfaces().map(|(surface, s)| (surface, of(s)));
    let first = all.next();
    let most = all.fold(first, |most, one| match most {
        Some(most) if most.1 >= one.1 => Some(most),
        _ => Some(one),
    });
    json!(most.map(|(surface, value)| {
        let mut told = json!({ "surface": surface_word(surface) });
        told[key] = json!(value);
        told
    }))
}

/// What a case comes to, waves and all.
fn greatest_json(shape: &CaseShape) -> Value {
    let anchor = |s: &CaseShape| s.shape.anchor_n;
    json!({
        "excursion": largest(shape, "excursion_m", |s| s.shape.excursion_m()),
        "tension": largest(shape, "force_n", |s| {
            s.shape.points.iter().map(|p| p.tension_n()).fold(0.0, f64::max)
        }),
        "anchor_along": largest(shape, "force_n", |s| libm::hypot(anchor(s)[0], anchor(s)[1])),
        "anchor_up": largest(shape, "force_n", |s| anchor(s)[2]),
    })
}

/// Between what a thing lies in still water, at crests and in troughs; null without waves.
fn over_waves_json(shape: &CaseShape, thing: usize) -> Value {
    if shape.crest.is_none() && shape.trough.is_none() {
        return Value::Null;
    }
    let all = shape.surfaces().filter_map(|(_, s)| s.things.get(thing));
    let most = |of: fn(&CaseThing) -> f64| all.clone().map(of).fold(f64::NEG_INFINITY, f64::max);
    json!({
        "least_depth_m": all.clone().map(|t| t.depth_m).fold(f64::INFINITY, f64::min),
        "most_depth_m": most(|t| t.depth_m),
        "most_tilt_deg": most(|t| t.tilt_deg),
        "most_tension_above_n": most(|t| t.above_n),
    })
}

/// The line at rest with the surface at the crests or in the troughs.
fn surface_json(shape: &CaseShape) -> Value {
    let found = &shape.shape;
    json!({
        "surface_up_m": shape.surface_m,
        "excursion_m": found.excursion_m(),
        "top_pull": force_json(found.top_n),
        "anchor_pull": force_json(found.anchor_n),
        "on_the_bed_m": found.touch.map_or(0.0, |touch| touch.s_m),
        "buoy": shape.buoy.map(buoy_json),
    })
}

fn force_json([east_n, north_n, up_n]: [f64; 3]) -> Value {
    json!({ "east_n": east_n, "north_n": north_n, "up_n": up_n })
}

fn buoy_json(buoy: BuoyState) -> Value {
    json!({
        "draught_m": buoy.draught_m,
        "pull_n": buoy.pull_n,
        "reserve_n": buoy.reserve_n,
        "drag_n": buoy.drag_n,
    })
}

fn thing_json(line: &Line, thing: &CaseThing) -> Value {
    json!({
        "what": thing.what.path(line),
        "depth_m": thing.depth_m,
        "east_m": thing.at_m[0],
        "north_m": thing.at_m[1],
        "tilt_deg": thing.tilt_deg,
        "tension_above_n": thing.above_n,
        "tension_below_n": thing.below_n,
        "wave": thing.wave.map(wave_json),
    })
}

fn wave_json(wave: WaveAt) -> Value {
    json!({
        "across_m": wave.across_m,
        "up_m": wave.up_m,
        "across_m_s": wave.across_m_s,
        "pressure_m": wave.pressure_m,
    })
}

fn module_json(line: &Line, m: &OfModule, case: &impl Fn(&Extreme, &str) -> Value) -> Value {
    json!({
        "module": line.module_path(m.module),
        "shallowest": case(&m.shallowest_m, "depth_m"),
        "deepest": case(&m.deepest_m, "depth_m"),
        "tilt": case(&m.tilt_deg, "angle_deg"),
        "tension_above": m.above_n.as_ref().map(|e| case(e, "force_n")),
        "tension_below": case(&m.below_n, "force_n"),
    })
}

fn section_json(line: &Line, s: &OfSection, case: &impl Fn(&Extreme, &str) -> Value) -> Value {
    json!({
        "section": format!("section.{}", line.sections[s.section.0].id),
        "greatest": case(&s.tension_n, "force_n"),
        "least": case(&s.least_n, "force_n"),
    })
}

fn noise_json(line: &Line, found: &Moorings, one: &FlowNoise) -> Value {
    json!({
        "sensor": line.sensor_path(one.sensor),
        "case": found.cases[one.case].id,
        "speed_m_s": one.speed_m_s,
        "across_m_s": one.across_m_s,
        "strum_hz": one.strum_hz,
        "waves": one.waves.map(|w| json!({
            "least_across_m_s": w.across_m_s.0,
            "most_across_m_s": w.across_m_s.1,
            "least_strum_hz": w.strum_hz.map(|hz| hz.0),
            "most_strum_hz": w.strum_hz.map(|hz| hz.1),
        })),
        "nearest_mode": one.nearest_mode.map(|(mode, hz)| json!({ "mode": mode, "frequency_hz": hz })),
        "bands": one.bands.iter().map(|b| json!({
            "detector": format!("detector.{}", b.detector),
            "low_hz": b.band_hz.0,
            "high_hz": b.band_hz.1,
            "strum_within": b.strum_case.is_some(),
            "strum_case": b.strum_case.map(|case| found.cases[case].id.as_str()),
            "flow_within": b.flow_within,
        })).collect::<Vec<_>>(),
    })
}
