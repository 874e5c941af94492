//! What is checked of the shape of every line: housings within their rated depths, and buoys that stay at the surface.

use plan::{Line, ModuleIx, Position, Q};
use quantity::{Dimension, show};

use crate::input::{MooredTop, Thing};
use crate::mooring_verdicts::{FORCE_N, Hangs, Told, bed_as_written};
use crate::moorings::{Extreme, HungLine, NoShape, PULLED_UNDER};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A depth closer to a housing's rating than this is marginal, m.
const NARROW_M: f64 = 5.0;

/// Depth of the housing of each module that is asked for against its rating, the deepest of all cases; a module at the surface needs none. Of what
/// hangs on a line without a shape sections straight down can break a rating, and keep it only below what cannot be pulled down; below a float or a
/// hull the bed must keep it.
pub(crate) fn housing_depths(hangs: &Hangs<'_>, asked: impl Fn(ModuleIx) -> bool) -> Vec<Verdict> {
    let line = hangs.line();
    let modules = (0..line.modules.len()).map(ModuleIx);
    let each = modules.filter(|m| asked(*m)).filter_map(|m| {
        let module = &line.modules[m.0];
        let rated = module.housing.as_ref().and_then(|h| h.rated_depth_m);
        // Whether a buoy stays at the surface is judged as such.
        if module.straight_depth_m == 0.0 && rated.is_none() {
            return None;
        }
        let subject = line.module_path(m);
        Some(match rated {
            None => unknown(subject, "nothing says how deep its housing may go"),
            Some(rated) => housing_depth(hangs, m, subject, rated),
        })
    });
    each.collect()
}

fn against_rating(rated: Q) -> Against {
    Against {
        side: Side::AtMost,
        limit: rated.si,
        narrow: NARROW_M,
        unit: "m".to_owned(),
    }
}

/// The greatest depth, over the cases that have a shape, whose still water presses as the water at something on a line does at most: its own depth and what the
/// waves add to the pressure there; `None` of what is not on the line. What floats at the surface goes up and down with the waves.
pub(crate) fn pressed_m(of: &HungLine, what: Thing) -> Option<Pressed> {
    let at = of.line.hung.iter().position(|h| h.what == what);
    let is_top = match (what, &of.line.top) {
        (Thing::Module(m), MooredTop::Buoy { module, .. }) => *module == m,
        (Thing::Float(f), MooredTop::Float { float, .. }) => *float == f,
        _ => false,
    };
    if at.is_none() && !is_top {
        return None;
    }
    let shapes = of.shapes.iter().enumerate();
    let each = shapes.filter_map(|(case, shape)| {
        let shape = shape.as_ref().ok()?;
        let (depth_m, wave) = match at {
            Some(ix) => (shape.things[ix].depth_m, shape.things[ix].wave),
            None => (shape.top_depth_m, shape.wave_at_top),
        };
        let waves_m = wave.map_or(0.0, |w| w.pressure_m);
        let waves_m = if depth_m > 0.0 { waves_m } else { 0.0 };
        Some(Pressed {
            deepest_m: Extreme {
                value: depth_m + waves_m,
                case,
            },
            waves_m,
        })
    });
    each.reduce(
        |most, one| match one.deepest_m.value > most.deepest_m.value {
            true => one,
            false => most,
        },
    )
}

/// The depth that presses as the water does, m, and how much of it is by waves.
#[derive(Clone, Copy)]
pub(crate) struct Pressed {
    deepest_m: Extreme,
    waves_m: f64,
}

/// The greatest depth of something on a line that has a shape, against its rating.
pub(crate) fn depth_within(told: &Told<'_>, subject: String, seen: Pressed, rated: Q) -> Verdict {
    let Pressed { deepest_m, waves_m } = seen;
    let waves = match waves_m > 0.0 {
        true => format!(", {waves_m:.2} m of it what the waves there add to the pressure"),
        false => String::new(),
    };
    let why = format!("deepest in {}{waves}", told.case(deepest_m));
    let evidence = told.evidence(&(&subject, rated.si));
    told.whole(against_rating(rated).judge(subject, deepest_m.value, evidence, why))
}

fn housing_depth(hangs: &Hangs<'_>, m: ModuleIx, subject: String, rated: Q) -> Verdict {
    let against = against_rating(rated);
    let line = hangs.line();
    let straight_m = line.modules[m.0].straight_depth_m;
    let straight_down = |higher_m: f64, why: String| {
        let evidence = Evidence::computed(
            "depth as written, sections straight down",
            &(straight_m, higher_m, rated.si),
        );
        against.judge(subject.clone(), straight_m + higher_m, evidence, why)
    };
    // What is fixed where it is has the water rise over it.
    let highest = highest_water(line);
    let rises = |why: String| match &highest {
        Some((higher_m, when)) => straight_down(*higher_m, format!("{why}, {when}")),
        None => straight_down(0.0, why),
    };
    if line.sections.is_empty() || !on_a_line(line, m) {
        return match line.modules[m.0].hull {
            Some(_) => straight_down(0.0, "as written".to_owned()),
            None => rises("as written".to_owned()),
        };
    }
    let why = match hangs.found() {
        Err(why) => why,
        Ok(found) => {
            let lines = || found.lines.iter().flatten();
            let pressed = |of| pressed_m(of, Thing::Module(m));
            if let Some((of, seen)) = lines().find_map(|of| Some((of, pressed(of)?))) {
                return depth_within(&Told { found, of }, subject, seen, rated);
            }
            let own = lines().find(|of| of.line.holds(m));
            let gap = own.and_then(|of| Told { found, of }.gap());
            gap.unwrap_or_else(|| crate::mooring_verdicts::not_moored(&found.lines))
        }
    };
    let words = format!("with the line hanging straight down: {why}");
    if hangs_from_a_place(line, m) {
        return rises(words);
    }
    let as_straight = straight_down(0.0, words);
    if as_straight.is_broken() {
        return as_straight;
    }
    // What holds it up may be knocked or pulled down, and the bed is where that ends.
    match bed_as_written(line) {
        Ok((bed_m, _, words)) if bed_m <= rated.si => {
            let evidence = Evidence::computed(
                "the bed at the highest water as the deepest that a place can be",
                &(bed_m, rated.si),
            );
            let why = format!("on the bed, the deepest that it can be, as {why}; {words}");
            against.judge(subject, bed_m, evidence, why)
        }
        Ok((_, _, words)) => unknown(
            subject,
            format!("{why}; it may hang deeper than straight down, and {words}"),
        ),
        Err(bed) => unknown(subject, format!("{why}; {bed}")),
    }
}

/// By how much the water stands above its written depth at most, m, by tide and cases, and when; `None` where nothing says that it stands higher.
fn highest_water(line: &Line) -> Option<(f64, String)> {
    let tide = line.sea.tide_m.map(|(_, highest)| highest.si);
    let tide = tide.map(|m| (m, "at the highest tide".to_owned()));
    let cases = line.cases.iter().filter_map(|case| {
        let level_m = case.water_level_m?.si;
        Some((level_m, format!("at the level of case.{}", case.id)))
    });
    let all = tide.into_iter().chain(cases).filter(|(m, _)| *m > 0.0);
    all.reduce(|most, one| if one.0 > most.0 { one } else { most })
}

/// Whether what a module hangs from, over all sections above it, is a module at a written depth without a hull: a pier, a vessel, a frame, from which
/// nothing hangs deeper than straight down.
fn hangs_from_a_place(line: &Line, m: ModuleIx) -> bool {
    let mut end = match line.modules[m.0].position {
        Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => {
            line.sections[section.0].from
        }
        Position::Depth(_) => plan::SectionEnd::Module(m),
    };
    // No more steps than sections: a ring has no top.
    for _ in 0..=line.sections.len() {
        let mut above = line.sections.iter().filter(|s| s.to == end);
        match (above.next(), above.next()) {
            (Some(section), None) => end = section.from,
            (Some(_), Some(_)) => return false,
            (None, _) => {
                return match end {
                    plan::SectionEnd::Module(top) => {
                        let top = &line.modules[top.0];
                        top.hull.is_none() && matches!(top.position, Position::Depth(_))
                    }
                    plan::SectionEnd::Float(_) | plan::SectionEnd::Anchor(_) => false,
                };
            }
        }
    }
    false
}

/// Whether a module hangs on a section or is an end of one.
fn on_a_line(line: &Line, m: ModuleIx) -> bool {
    let end = |end: plan::SectionEnd| matches!(end, plan::SectionEnd::Module(at) if at == m);
    !matches!(line.modules[m.0].position, Position::Depth(_))
        || line.sections.iter().any(|s| end(s.from) || end(s.to))
}

/// Buoyancy that each buoy with a `hull` has left in every case: one that has none goes under. A plan that says nothing of a hull is not asked.
pub(crate) fn afloat(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let top_of_a_line = |m: ModuleIx| {
        let mut sections = line.sections.iter();
        sections.any(|s| matches!(s.from, plan::SectionEnd::Module(at) if at == m))
    };
    let buoys = (0..line.modules.len()).map(ModuleIx);
    let buoys = buoys.filter(|m| line.modules[m.0].hull.is_some() && top_of_a_line(*m));
    let each = buoys.map(|m| {
        let path = line.module_path(m);
        let found = match hangs.found() {
            Ok(found) => found,
            Err(why) => return unknown(path, why),
        };
        let holds =
            |of: &&HungLine| matches!(of.line.top, MooredTop::Buoy { module, .. } if module == m);
        let Some(of) = found.lines.iter().flatten().find(holds) else {
            return unknown(path, crate::mooring_verdicts::not_moored(&found.lines));
        };
        let told = Told { found, of };
        let shapes = of.shapes.iter().enumerate();
        let left = shapes.filter_map(|(case, shape)| {
            let (value, then) = match shape {
                Ok(shape) => {
                    let sunk = shape.sunk().unwrap_or("afloat");
                    (shape.buoy?.reserve_n, format!("it is {sunk}"))
                }
                Err(NoShape::Under { missing_n, .. }) => {
                    (-missing_n, format!("it is {PULLED_UNDER}"))
                }
                Err(sinks @ NoShape::Sinks { weight_n, most_n }) => {
                    (most_n - weight_n, sinks.to_string())
                }
                Err(_) => return None,
            };
            Some((Extreme { value, case }, then))
        });
        let least = left.min_by(|(a, _), (b, _)| a.value.total_cmp(&b.value));
        let Some((least, then)) = least else {
            return unknown(path, told.gap().unwrap_or_default());
        };
        let against = Against {
            side: Side::AtLeast,
            limit: 0.0,
            narrow: FORCE_N,
            unit: "N".to_owned(),
        };
        let case = told.case(least);
        let why = if least.value > 0.0 {
            format!("buoyancy that is left before it goes under, least in {case}")
        } else {
            let water_m = found.cases[least.case].water.depth_m;
            let short = match of.line.length_m() < water_m {
                true => format!(
                    ": {} of line in {} of water",
                    show(of.line.length_m(), Dimension::Length),
                    show(water_m, Dimension::Length)
                ),
                false => String::new(),
            };
            format!("in {case} {then}{short}, and so much buoyancy is missing")
        };
        let evidence = told.evidence(&(&path, "afloat"));
        told.whole(against.judge(path, least.value, evidence, why))
    });
    each.collect()
}
