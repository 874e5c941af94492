//! Paths of sound told for people and for programs.

use std::fmt::Write as _;

use assess::{EarPaths, Elevation, FORMULA_M_S, PairTold, SoundPaths, Told};
use seawater::{Bed, Eigenray, RayLimits, Reach};
use serde_json::{Value, json};

use super::check::wrap;
use super::words::degrees;

/// Every path to each hydrophone, shadows, and the time between two ears.
#[must_use]
pub fn paths_text(name: &str, found: &SoundPaths) -> String {
    let mut out = format!("{name}\n\n");
    let ask = &found.ask;
    let _ = match ask.range_m {
        Some(range_m) => writeln!(
            out,
            "Sound from {range_m} m away at {} m depth, over a bed at {} m: {}",
            ask.source_depth_m,
            found.seabed_m,
            bed(found.bed)
        ),
        None => writeln!(
            out,
            "Sound from {} m depth, over a bed at {} m: {}",
            ask.source_depth_m,
            found.seabed_m,
            bed(found.bed)
        ),
    };
    let limits = &found.limits;
    let _ = writeln!(
        out,
        "Rays with at most {} bounces from the bed, down to {:.0} dB below the loudest, at most {}",
        limits.most_bed_bounces, limits.faintest_db, limits.most_paths
    );
    if found.ears.iter().any(|ear| ear.rays.is_some()) {
        let _ = writeln!(
            out,
            "Angles of a path: + on its way down, - on its way up. An elevation: + where the sound comes from above"
        );
    }
    for ear in &found.ears {
        one_ear(&mut out, ear, limits);
    }
    if !found.pairs.is_empty() {
        let _ = writeln!(
            out,
            "\nTwo ears: time between the first paths, and the elevation it gives (the bearing stays open: the two hang one below the other)"
        );
    }
    for pair in &found.pairs {
        one_pair(&mut out, pair);
    }
    if !found.assumed.is_empty() {
        let _ = writeln!(out, "\nTaken although the plan does not write it");
        for what in &found.assumed {
            item(&mut out, what);
        }
    }
    let _ = writeln!(out, "\nWhat rays leave out");
    for what in [
        "surface and bed are flat, the water is alike at every range, and two ears count one straight below the other however the line leans",
        "at low frequencies (fewer than about ten wavelengths of depth) waves reach into a shadow that rays leave empty",
        "* marks a path near a caustic, where rays give too high a level: it is held 15 dB above spherical spreading",
    ] {
        item(&mut out, what);
    }
    out
}

fn item(out: &mut String, what: &str) {
    for (row, text) in wrap(what, 110).iter().enumerate() {
        let mark = if row == 0 { '-' } else { ' ' };
        let _ = writeln!(out, "  {mark} {text}");
    }
}

fn bed(bed: Bed) -> String {
    match bed {
        Bed::Fluid {
            sound_speed_m_s,
            density_kg_m3,
            attenuation_db_per_wavelength,
        } => format!(
            "{sound_speed_m_s} m/s, {density_kg_m3} kg/m3, {attenuation_db_per_wavelength} dB a wavelength"
        ),
        Bed::Loss { per_bounce_db } => format!("{per_bounce_db} dB a bounce"),
    }
}

fn one_ear(out: &mut String, ear: &EarPaths, limits: &RayLimits) {
    let _ = writeln!(
        out,
        "\n{} at {} m ({}), {:.0} Hz",
        ear.sensor, ear.depth_m, ear.depth_by, ear.frequency_hz
    );
    if let Some(told) = &ear.rays {
        one_reach(out, told);
        if !told.found.paths.is_empty() {
            let _ = writeln!(
                out,
                "     time ms   after ms  loss dB   leaves  arrives  surface bed turns"
            );
        }
        let first_s = told.found.paths.first().map_or(0.0, |p| p.time_s);
        for p in &told.found.paths {
            let _ = writeln!(
                out,
                "  {:>10.3} {:>10.3}  {:>6.1}{} {:>+6.1}\u{b0}  {:>+6.1}\u{b0}  {:>7} {:>3} {:>5}",
                1e3 * p.time_s,
                1e3 * (p.time_s - first_s),
                p.loss_db(),
                if p.near_caustic { '*' } else { ' ' },
                p.launch_deg,
                p.arrival_deg,
                p.family.surface_bounces,
                p.family.bed_bounces,
                p.turnings
            );
        }
        if told.found.left_out > 0 {
            let _ = writeln!(out, "  {} more, fainter than wanted", told.found.left_out);
        }
        if told.found.paths.is_empty() {
            let _ = writeln!(
                out,
                "  no path comes from {} m away with at most {} from the bed: it is too far, or in a shadow; how much is lost is unknown{}",
                told.range_m,
                bounces(limits.most_bed_bounces),
                simple(told)
            );
        } else {
            let _ = writeln!(
                out,
                "  all together {:.1} dB, as a steady tone {:.1} dB{}",
                told.power_loss_db,
                told.tone_loss_db,
                simple(told)
            );
        }
    }
    if !ear.rows.is_empty() {
        let _ = writeln!(
            out,
            "     range m  paths  first ms  together dB  tone dB  spreading law dB  comes"
        );
    }
    for told in &ear.rows {
        let first = told
            .found
            .paths
            .first()
            .map_or_else(|| "-".to_owned(), |p| format!("{:.1}", 1e3 * p.time_s));
        let short = |db: f64| {
            if db.is_finite() {
                format!("{db:.1}")
            } else {
                "-".to_owned()
            }
        };
        let law = told.simple_loss_db.map_or_else(|| "-".to_owned(), short);
        let _ = writeln!(
            out,
            "  {:>10.0}  {:>5}  {:>8}  {:>11}  {:>7}  {:>16}  {}",
            told.range_m,
            told.found.paths.len() + told.found.left_out,
            first,
            short(told.power_loss_db),
            short(told.tone_loss_db),
            law,
            reach_in_row(told)
        );
    }
    for (from_m, until_m, by_bed) in &ear.shadows {
        let what = if *by_bed {
            "only by way of the bed"
        } else {
            "nothing"
        };
        let _ = writeln!(
            out,
            "  shadow from {from_m:.0} m to {until_m:.0} m: {what} comes"
        );
    }
}

fn simple(told: &Told) -> String {
    told.simple_loss_db.map_or_else(String::new, |db| {
        format!("; the spreading law of the plan says {db:.1} dB")
    })
}

fn bounces(count: u32) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} bounce{s}")
}

/// How sound comes at best, and whether the list of paths shows it.
fn one_reach(out: &mut String, told: &Told) {
    let _ = writeln!(out, "  {}", reach(told.found.reach));
    if let Some(below_db) = told.found.reach_below_db {
        let _ = writeln!(
            out,
            "  but no such path is listed: the strongest is {below_db:.1} dB below the loudest, fainter than wanted or one too many; those listed all touch the {}",
            match told.found.reach {
                Reach::Direct if told.found.paths.iter().any(|p| p.family.bed_bounces == 0) =>
                    "surface or the bed",
                _ => "bed",
            }
        );
    }
}

fn reach(reach: Reach) -> &'static str {
    match reach {
        Reach::Direct => "directly",
        Reach::Surface => "only by way of the surface",
        Reach::Bed => "a shadow: only by way of the bed",
        Reach::Nothing => "a shadow: nothing",
    }
}

fn reach_in_row(told: &Told) -> String {
    let way = reach(told.found.reach);
    match told.found.reach_below_db {
        Some(below_db) => format!("{way}, but {below_db:.1} dB below the loudest"),
        None => way.to_owned(),
    }
}

fn one_pair(out: &mut String, pair: &PairTold) {
    let _ = writeln!(
        out,
        "  {} over {}, {:.2} m apart: at most {:.3} ms",
        pair.upper,
        pair.lower,
        pair.geometry.distance_m,
        1e3 * pair.geometry.longest_s
    );
    if let Some(later_s) = pair.later_s {
        let _ = writeln!(
            out,
            "    the upper hears it {:.3} ms {}",
            1e3 * later_s.abs(),
            if later_s >= 0.0 { "later" } else { "earlier" }
        );
    }
    let known = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "unknown".to_owned(), |v| format!("{v:.3} {unit}"))
    };
    let _ = writeln!(
        out,
        "    uncertain by (k = 2): clocks {}, estimate of the time {}, distance {}, sound speed {:.3} m/s; bent by speeds from {:.1} to {:.1} m/s between them",
        known(pair.geometry.clocks_s.map(|s| 1e3 * s), "ms"),
        known(pair.estimate_s.map(|s| 1e3 * s), "ms"),
        known(pair.geometry.distance_uncertainty_m, "m"),
        pair.geometry.speed_uncertainty_m_s(),
        pair.geometry.extreme_speeds_m_s.0,
        pair.geometry.extreme_speeds_m_s.1
    );
    match &pair.elevation {
        Some(e) => {
            let _ = writeln!(
                out,
                "    elevation {}, from {} to {}",
                degrees(e.elevation_deg),
                degrees(e.least_deg),
                degrees(e.most_deg)
            );
        }
        None => {
            let _ = writeln!(out, "    elevation unknown");
        }
    }
    if let (Some(upper), Some(lower)) = (pair.upper_path_deg, pair.lower_path_deg) {
        let _ = writeln!(
            out,
            "    the first path comes to the upper at {}, to the lower at {}",
            degrees(upper),
            degrees(lower)
        );
    }
    for why in &pair.why {
        let _ = writeln!(out, "    {why}");
    }
    for what in &pair.assumed {
        let _ = writeln!(out, "    taken: {what}");
    }
}

/// What a picture of the loss from everywhere to a hydrophone shows, row by row from the surface down; `None` where it was not worked out.
#[must_use]
pub fn shadow_json(ear: &EarPaths) -> Option<Value> {
    let field = ear.field.as_ref()?;
    let columns = field.range_m.len().max(1);
    let words = |reach: &Reach| match reach {
        Reach::Direct => "direct",
        Reach::Surface => "surface",
        Reach::Bed => "bed",
        Reach::Nothing => "nothing",
    };
    let losses = field.loss_db.chunks(columns).map(|row| {
        let row = row.iter().map(|x| x.is_finite().then_some(*x));
        row.collect::<Vec<Option<f64>>>()
    });
    let reach = ear.reach.chunks(columns);
    Some(json!({
        "sensor": ear.sensor,
        "sensor_depth_m": ear.depth_m,
        "frequency_hz": ear.frequency_hz,
        "ranges_m": field.range_m,
        "depths_m": field.depth_m,
        "loss_db_re_1m": losses.collect::<Vec<_>>(),
        "by": reach.map(|row| row.iter().map(words).collect()).collect::<Vec<Vec<&str>>>(),
        "rays": ear.fan.iter().map(|ray| ray.iter().map(|(range_m, depth_m)| json!([range_m, depth_m])).collect::<Vec<_>>()).collect::<Vec<_>>(),
    }))
}

/// [`paths_text`] for programs; a loss without end is `null`.
#[must_use]
pub fn paths_json(name: &str, found: &SoundPaths) -> Value {
    json!({
        "format": "paths/1",
        "deployment": name,
        "source_depth_m": found.ask.source_depth_m,
        "range_m": found.ask.range_m,
        "seabed_m": found.seabed_m,
        "bottom": match found.bed {
            Bed::Fluid { sound_speed_m_s, density_kg_m3, attenuation_db_per_wavelength } => json!({
                "sound_speed_m_s": sound_speed_m_s,
                "density_kg_m3": density_kg_m3,
                "attenuation_per_wavelength_db": attenuation_db_per_wavelength,
            }),
            Bed::Loss { per_bounce_db } => json!({ "loss_per_bounce_db": per_bounce_db }),
        },
        "most_bottom_bounces": found.limits.most_bed_bounces,
        "faintest_db": found.limits.faintest_db,
        "most_paths": found.limits.most_paths,
        "sound_speed": found.speeds.iter().map(|(z, c)| json!({ "depth_m": z, "sound_speed_m_s": c })).collect::<Vec<_>>(),
        "hydrophones": found.ears.iter().map(ear_json).collect::<Vec<_>>(),
        "pairs": found.pairs.iter().map(pair_json).collect::<Vec<_>>(),
        "assumed": found.assumed,
    })
}

fn ear_json(ear: &EarPaths) -> Value {
    json!({
        "sensor": ear.sensor,
        "depth_m": ear.depth_m,
        "depth_by": ear.depth_by,
        "frequency_hz": ear.frequency_hz,
        "paths": ear.rays.as_ref().map(told_json),
        "by_range": ear.rows.iter().map(told_json).collect::<Vec<_>>(),
        "shadows": ear.shadows.iter().map(|(from_m, until_m, by_bed)| json!({
            "from_m": from_m,
            "until_m": until_m,
            "comes": if *by_bed { "bed" } else { "nothing" },
        })).collect::<Vec<_>>(),
    })
}

fn told_json(told: &Told) -> Value {
    let number = |x: f64| x.is_finite().then_some(x);
    json!({
        "range_m": told.range_m,
        "comes": reach_word(told.found.reach),
        "comes_below_loudest_db": told.found.reach_below_db,
        "paths": told.found.paths.iter().map(path_json).collect::<Vec<_>>(),
        "left_out": told.found.left_out,
        "power_loss_db": number(told.power_loss_db),
        "tone_loss_db": number(told.tone_loss_db),
        "spreading_law_loss_db": told.simple_loss_db,
    })
}

fn reach_word(reach: Reach) -> &'static str {
    match reach {
        Reach::Direct => "direct",
        Reach::Surface => "surface",
        Reach::Bed => "bed",
        Reach::Nothing => "nothing",
    }
}

fn path_json(p: &Eigenray) -> Value {
    json!({
        "time_s": p.time_s,
        "loss_db": p.loss_db(),
        "spreading_db": p.spreading_db,
        "absorption_db": p.absorption_db,
        "bottom_loss_db": p.bed_loss_db,
        "leaves_deg": p.launch_deg,
        "arrives_deg": p.arrival_deg,
        "phase_rad": p.phase_rad,
        "length_m": p.length_m,
        "surface_bounces": p.family.surface_bounces,
        "bottom_bounces": p.family.bed_bounces,
        "turns": p.turnings,
        "caustics": p.family.caustics,
        "near_caustic": p.near_caustic,
    })
}

fn pair_json(pair: &PairTold) -> Value {
    json!({
        "upper": pair.upper,
        "lower": pair.lower,
        "distance_m": pair.geometry.distance_m,
        "sound_speed_m_s": pair.geometry.sound_speed_m_s,
        "least_sound_speed_m_s": pair.geometry.extreme_speeds_m_s.0,
        "greatest_sound_speed_m_s": pair.geometry.extreme_speeds_m_s.1,
        "longest_s": pair.geometry.longest_s,
        "upper_later_s": pair.later_s,
        "clock_uncertainty_s": pair.geometry.clocks_s,
        "estimate_uncertainty_s": pair.estimate_s,
        "distance_uncertainty_m": pair.geometry.distance_uncertainty_m,
        "formula_uncertainty_m_s": FORMULA_M_S,
        "profile_uncertainty_m_s": pair.geometry.profile_m_s,
        "elevation": pair.elevation.as_ref().map(elevation_json),
        "assumed": pair.assumed,
        "upper_first_path_elevation_deg": pair.upper_path_deg,
        "lower_first_path_elevation_deg": pair.lower_path_deg,
        "bearing": "open",
        "why": pair.why,
    })
}

/// An elevation for programs. Its parts are what the sine of the elevation is uncertain by, k = 2; those of the front's curvature
/// (null where the range of the source is not known) and of refraction are the most by which they move a limit.
#[must_use]
pub fn elevation_json(e: &Elevation) -> Value {
    json!({
        "elevation_deg": e.elevation_deg,
        "least_deg": e.least_deg,
        "most_deg": e.most_deg,
        "endfire": e.endfire,
        "sine_from_clocks": e.parts.clocks,
        "sine_from_estimate": e.parts.estimate,
        "sine_from_distance": e.parts.distance,
        "sine_from_formula": e.parts.formula,
        "sine_from_profile": e.parts.profile,
        "sine_from_front": e.parts.front,
        "sine_from_refraction": e.parts.refraction,
    })
}
