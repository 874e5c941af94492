//! Where the line hangs, told for people and for programs.

mod json;

use std::fmt::Write as _;

use assess::input::{DesignCase, MooredTop};
use assess::{
    CaseShape, Extreme, HungLine, MOORING_CAUTIONS, Moorings, QUIET_M_S, Strength, Surface,
    Verdict, strengths,
};
use mooring::Effort;
use plan::Line;
use quantity::show_number;

use super::check::wrap;
use super::remedy::verdict_row;

pub use json::mooring_json;

/// Width of running text.
const WIDTH: usize = 110;

/// Every line in every design case.
#[must_use]
pub fn mooring_text(line: &Line, found: &Moorings) -> String {
    let mut out = format!("{}\n\nDesign cases\n", line.deployment.name);
    let widest = found.cases.iter().map(|c| c.id.chars().count()).max();
    // Wide enough for the troughs of a case below it.
    let wide = widest.unwrap_or(0).max(11);
    let _ = writeln!(
        out,
        "  {:<wide$}  {:>8}  {:>22}  {:>16}  {:>12}  ropes",
        "case", "water m", "current m/s", "wind", "waves"
    );
    for case in &found.cases {
        one_case(&mut out, case, wide);
    }
    for of in &found.lines {
        match of {
            Ok(of) => one_line(&mut out, line, found, of, wide),
            Err(not) => {
                let _ = writeln!(out, "\n{}: its shape is unknown", not.section);
                for why in &not.why {
                    item(&mut out, why);
                }
            }
        }
    }
    strength(&mut out, line, found);
    if !found.assumed.is_empty() {
        let _ = writeln!(out, "\nTaken although the plan does not write it");
        for what in &found.assumed {
            item(&mut out, what);
        }
    }
    let _ = writeln!(out, "\nWhat this leaves out");
    for what in LEFT_OUT {
        item(&mut out, what);
    }
    let _ = writeln!(out, "\nCautions");
    for what in MOORING_CAUTIONS {
        item(&mut out, what);
    }
    out
}

const LEFT_OUT: [&str; 2] = [
    "the line is at rest in a steady current, in still water and with the surface at the crests and in the troughs of the waves: what waves do faster than a line comes to rest (jerks, drag of the moving water, a buoy that swings) is not computed",
    "no bending, no twist, no friction on the bed, a flat bed; what grows on the line counts where the site says its `growth`",
];

fn item(out: &mut String, what: &str) {
    for (row, text) in wrap(what, WIDTH).iter().enumerate() {
        let mark = if row == 0 { '-' } else { ' ' };
        let _ = writeln!(out, "  {mark} {text}");
    }
}

fn one_case(out: &mut String, case: &DesignCase, wide: usize) {
    let current = match case.current.as_slice() {
        [] => "slack".to_owned(),
        [(_, speed, towards)] => format!("{speed} to {towards:.0}\u{b0}"),
        [(_, first, one), .., (_, last, other)] if one == other => {
            format!("{first} .. {last} to {one:.0}\u{b0}")
        }
        [(_, first, one), .., (_, last, other)] => {
            format!("{first} .. {last} to {one:.0} .. {other:.0}\u{b0}")
        }
    };
    let wind = case.wind.map_or_else(
        || "none".to_owned(),
        |(speed, towards)| format!("{speed} m/s to {towards:.0}\u{b0}"),
    );
    let wave = case.wave.map_or_else(
        || "none".to_owned(),
        |(height, period)| format!("{} m, {} s", show_number(height), show_number(period)),
    );
    let _ = writeln!(
        out,
        "  {:<wide$}  {:>8.2}  {current:>22}  {wind:>16}  {wave:>12}  {}{}",
        case.id,
        case.water.depth_m,
        if case.strum { "strum" } else { "still" },
        if case.nominal { ", the usual case" } else { "" }
    );
}

fn one_line(out: &mut String, line: &Line, found: &Moorings, of: &HungLine, wide: usize) {
    let _ = writeln!(
        out,
        "\nanchor.{} to {}, {:.2} m of line",
        line.anchors[of.line.anchor].id,
        of.line.top.path(line),
        of.line.length_m()
    );
    let buoy = matches!(of.line.top, MooredTop::Buoy { .. });
    let _ = writeln!(
        out,
        "  {:<wide$}  {:>9}  {:>9}  {:>8}  {:>8}  {:>8}{}",
        "case",
        "top off m",
        "top at m",
        "pull N",
        "anchor N",
        "lifted N",
        if buoy { "  draught m  reserve N" } else { "" }
    );
    for (case, shape) in found.cases.iter().zip(&of.shapes) {
        let shape = match shape {
            Ok(shape) => shape,
            Err(why) => {
                let _ = writeln!(out, "  {:<wide$}  no shape: {why}", case.id);
                continue;
            }
        };
        for (surface, shape) in shape.surfaces() {
            one_shape(out, (&case.id, surface), shape, wide);
        }
    }
    modules(out, line, found, of);
    tensions(out, line, found, of);
    noise(out, line, found, of);
}

/// A case and where its surface stands, in a few words.
fn at_surface(case: &str, surface: Surface) -> String {
    match surface {
        Surface::Still => case.to_owned(),
        Surface::Crest => format!("{case}, crests"),
        Surface::Trough => format!("{case}, troughs"),
    }
}

fn one_shape(out: &mut String, (case, surface): (&str, Surface), shape: &CaseShape, wide: usize) {
    let name = match surface {
        Surface::Still => case,
        Surface::Crest => " in crests",
        Surface::Trough => " in troughs",
    };
    let [x, y, z] = shape.shape.top_n;
    let [ax, ay, az] = shape.shape.anchor_n;
    let held = shape.buoy.map_or_else(String::new, |b| {
        let sunk = shape
            .sunk()
            .map_or_else(String::new, |how| format!("  {how}"));
        format!("  {:>9.2}  {:>9.0}{sunk}", b.draught_m, b.reserve_n)
    });
    let bars = match shape.shape.effort {
        Effort::Shooting { .. } => "",
        Effort::Bars { .. } => "  by bars: good to a few millimetres",
    };
    let lies = shape.shape.touch.map_or_else(String::new, |touch| {
        format!("  {:.1} m lie on the bed", touch.s_m)
    });
    let _ = writeln!(
        out,
        "  {name:<wide$}  {:>9.2}  {:>9.2}  {:>8.0}  {:>8.0}  {:>8.0}{held}{lies}{bars}",
        shape.shape.excursion_m(),
        shape.top_depth_m + 0.0,
        (x * x + y * y + z * z).sqrt(),
        libm::hypot(ax, ay),
        az,
    );
}

/// Over how many of the cases the extremes are.
fn over(of: &HungLine) -> String {
    let known = of.shapes.iter().filter(|shape| shape.is_ok()).count();
    if known == of.shapes.len() {
        "over all cases".to_owned()
    } else {
        format!(
            "over the {known} of {} cases that have a shape",
            of.shapes.len()
        )
    }
}

fn case_of(found: &Moorings, extreme: &Extreme) -> String {
    at_surface(&found.cases[extreme.case].id, extreme.surface)
}

fn modules(out: &mut String, line: &Line, found: &Moorings, of: &HungLine) {
    if of.modules.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n  Modules {}", over(of));
    for m in &of.modules {
        let case = |e: &Extreme| case_of(found, e);
        let above = m.above_n.map_or_else(String::new, |n| {
            format!(", pulled with {:.0} N from above ({})", n.value, case(&n))
        });
        let _ = writeln!(
            out,
            "  {}: {:.2} m ({}) to {:.2} m ({}) deep, tilts to {:.1}\u{b0} ({}){above}, {:.0} N from below ({})",
            line.module_path(m.module),
            m.shallowest_m.value,
            case(&m.shallowest_m),
            m.deepest_m.value,
            case(&m.deepest_m),
            m.tilt_deg.value,
            case(&m.tilt_deg),
            m.below_n.value,
            case(&m.below_n)
        );
    }
    waves(out, line, found, of);
}

/// What waves do to the water at the modules, in the case with the highest.
fn waves(out: &mut String, line: &Line, found: &Moorings, of: &HungLine) {
    let highest = found
        .cases
        .iter()
        .enumerate()
        .filter(|(ix, c)| c.wave.is_some() && of.shapes[*ix].is_ok())
        .max_by(|a, b| {
            let height = |c: &DesignCase| c.wave.map_or(0.0, |w| w.0);
            height(a.1).total_cmp(&height(b.1))
        });
    let Some((ix, case)) = highest else { return };
    let Ok(shape) = &of.shapes[ix] else { return };
    let _ = writeln!(
        out,
        "\n  Waves at rest of the line ({}): amplitudes",
        case.id
    );
    for thing in shape.things.iter().rev() {
        if let Some(wave) = thing.wave {
            let _ = writeln!(
                out,
                "  {}: {:.2} m across, {:.2} m up and down, {:.2} m/s, {:.2} m of water in pressure",
                thing.what.path(line),
                wave.across_m,
                wave.up_m,
                wave.across_m_s,
                wave.pressure_m
            );
        }
    }
}

fn tensions(out: &mut String, line: &Line, found: &Moorings, of: &HungLine) {
    let _ = writeln!(out, "\n  Loads {}", over(of));
    for s in &of.sections {
        let _ = writeln!(
            out,
            "  section.{}: {:.0} N ({}) to {:.0} N ({})",
            line.sections[s.section.0].id,
            s.least_n.value,
            case_of(found, &s.least_n),
            s.tension_n.value,
            case_of(found, &s.tension_n)
        );
    }
    if let (Some(level), Some(up)) = (&of.anchor.horizontal_n, &of.anchor.vertical_n) {
        let _ = writeln!(
            out,
            "  anchor.{}: {:.0} N along the bed ({}), {:.0} N upwards ({})",
            line.anchors[of.anchor.anchor].id,
            level.value,
            case_of(found, level),
            up.value,
            case_of(found, up)
        );
    }
    if let Some(widest) = &of.watch_circle {
        let waves = match widest.waves_m > 0.0 {
            true => format!(", {:.2} m of it to and fro in waves", widest.waves_m),
            false => String::new(),
        };
        let _ = writeln!(
            out,
            "  watch circle: {:.2} m about the anchor ({}){waves}",
            widest.radius_m, found.cases[widest.case].id
        );
    }
}

/// What each thing bears against what it may; a housing against the bed, where it falls when it comes off.
fn strength(out: &mut String, line: &Line, found: &Moorings) {
    let all = strengths(line, found);
    if all.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nWhat each may bear");
    for Strength { check, verdict } in &all {
        let _ = writeln!(
            out,
            "  {:<8} {check}: {}",
            verdict.word().as_str(),
            verdict_row(verdict)
        );
        if matches!(verdict, Verdict::Known(_)) {
            for text in wrap(verdict.why(), WIDTH - 11) {
                let _ = writeln!(out, "           {text}");
            }
        }
    }
}

fn noise(out: &mut String, line: &Line, found: &Moorings, of: &HungLine) {
    let all = of.flow_noise.as_slice();
    if all.is_empty() {
        return;
    }
    let whole = of.shapes.iter().all(Result::is_ok);
    let _ = writeln!(
        out,
        "\n  What hydrophones may hear of the line itself, {}",
        over(of)
    );
    for one in all {
        let strum = one.strum_hz.map_or_else(
            || "no regular vortices".to_owned(),
            |f| {
                let mode = one.nearest_mode.map_or_else(String::new, |(n, hz)| {
                    format!(", mode {n} of the rope above it is at {hz:.2} Hz")
                });
                format!(
                    "vortices leave the rope at {f:.2} Hz and pull at {:.2} Hz{mode}",
                    2.0 * f
                )
            },
        );
        let _ = writeln!(
            out,
            "  {}: {:.2} m/s past it ({}); {strum}",
            line.sensor_path(one.sensor),
            one.speed_m_s,
            found.cases[one.case].id
        );
        if let Some(waves) = one.waves {
            let (slow, fast) = waves.across_m_s;
            let hz = waves.strum_hz.map_or_else(
                || "no regular vortices".to_owned(),
                |(low, high)| format!("vortices at {low:.2} to {high:.2} Hz"),
            );
            let _ = writeln!(
                out,
                "    its waves along the current: {slow:.2} to {fast:.2} m/s across the rope, {hz}"
            );
        }
        for band in &one.bands {
            let (low, high) = band.band_hz;
            let slower = match band.strum_case {
                Some(case) if case != one.case => format!(" ({})", found.cases[case].id),
                _ => String::new(),
            };
            let what = match (band.strum_case.is_some(), band.flow_within) {
                (true, true) => format!("strum{slower} and flow noise may fall into it"),
                (true, false) => format!("strum{slower} may fall into it"),
                (false, true) => "flow noise may fall into it".to_owned(),
                (false, false) if whole => "clear of both".to_owned(),
                (false, false) => "clear of both in these cases; unknown in the others".to_owned(),
            };
            let _ = writeln!(
                out,
                "    detector.{}, {low:.0} to {high:.0} Hz: {what}",
                band.detector
            );
        }
    }
    let any = all.iter().flat_map(|n| &n.bands);
    if any.clone().any(|b| b.strum_case.is_some() || b.flow_within) {
        item(
            out,
            &format!(
                "a fairing, a compliant suspension, a heavier line or a high-pass helps; flagged in flow above {QUIET_M_S} m/s, and how loud it is only a recording at the site says"
            ),
        );
    }
}
