//! What is checked of the shape of every line: housings within their rated depths, and buoys that stay at the surface.

use mooring::Wave;
use plan::{Line, ModuleIx, Position, Q};
use quantity::{Dimension, show};

use crate::input::{MooredTop, Thing, all_waves, moored};
use crate::mooring_verdicts::{FORCE_N, Hangs, Told, bed_as_written, no_shape};
use crate::moorings::{Extreme, HungLine, NoShape, PULLED_UNDER, Surface};
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
/// waves add to the pressure there, and under a buoy the depth to which it goes down with the troughs; `None` of what is not on the line. What floats at the surface goes up and down with the waves.
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
    let shapes = shapes.filter_map(|(case, shape)| Some((case, shape.as_ref().ok()?)));
    let each = shapes.flat_map(|(case, shape)| {
        shape.surfaces().map(move |(surface, shape)| {
            let (depth_m, wave) = match at {
                Some(ix) => (shape.things[ix].depth_m, shape.things[ix].wave),
                None => (shape.below_surface_m(), shape.wave_at_top),
            };
            let waves_m = wave.map_or(0.0, |w| w.pressure_m);
            let waves_m = if depth_m > 0.0 { waves_m } else { 0.0 };
            // Under troughs the water presses less than its depth below still water says.
            let adds_m = match surface {
                Surface::Still | Surface::Crest => waves_m,
                Surface::Trough => -waves_m,
            };
            Pressed {
                deepest_m: Extreme {
                    value: depth_m + adds_m,
                    case,
                    surface,
                },
                waves_m: adds_m.max(0.0),
            }
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
    let rises = |why: String| {
        let (higher_m, why) = match &highest {
            Some((higher_m, when)) => (*higher_m, format!("{why}, {when}")),
            None => (0.0, why),
        };
        match waves_press(line, straight_m + higher_m, higher_m) {
            Ok(Some((adds_m, whose))) => straight_down(
                higher_m + adds_m,
                format!("{why}, {adds_m:.2} m of it what the waves of {whose} add to the pressure"),
            ),
            Ok(None) => straight_down(higher_m, why),
            Err(waves) => straight_down(higher_m, why).only_broken(waves),
        }
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

/// The most that waves of a plan add to the pressure at a depth below water that stands so much above its written depth, m of water, and whose they are; `None` where they add nothing, or why it is not known.
fn waves_press(line: &Line, depth_m: f64, higher_m: f64) -> Result<Option<(f64, String)>, String> {
    let water_m = line.sea.water_depth_m.si + higher_m;
    let mut most: Option<(f64, String)> = None;
    for ((height_m, period_s), whose) in all_waves(line) {
        let wave = Wave::new(height_m, period_s, water_m);
        let wave = wave.map_err(|why| format!("the waves of {whose}: {why}"))?;
        let adds_m = wave.at(depth_m).pressure_m;
        if depth_m > 0.0 && adds_m > most.as_ref().map_or(0.0, |(m, _)| *m) {
            most = Some((adds_m, whose));
        }
    }
    Ok(most)
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

/// Whether a module holds the top of a line from an anchor at the surface and says nothing of its hull.
fn stays_unsaid(line: &Line, m: ModuleIx) -> bool {
    let module = &line.modules[m.0];
    let at_the_surface = matches!(module.position, Position::Depth(q) if q.si == 0.0);
    let mut end = plan::SectionEnd::Module(m);
    // No more steps than sections: a ring has no lowest.
    for _ in 0..line.sections.len() {
        match line.sections.iter().find(|s| s.from == end) {
            Some(section) => end = section.to,
            None => break,
        }
    }
    module.hull.is_none() && at_the_surface && matches!(end, plan::SectionEnd::Anchor(_))
}

/// Buoyancy that each buoy has left in every case: one that has none goes under. Of one that says nothing of its `hull` it is unknown.
pub(crate) fn afloat(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let top_of_a_line = |m: ModuleIx| {
        let mut sections = line.sections.iter();
        sections.any(|s| matches!(s.from, plan::SectionEnd::Module(at) if at == m))
    };
    let buoys = (0..line.modules.len()).map(ModuleIx);
    let unsaid: Vec<ModuleIx> = buoys.clone().filter(|m| stays_unsaid(line, *m)).collect();
    let buoys = buoys.filter(|m| line.modules[m.0].hull.is_some() && top_of_a_line(*m));
    let unsaid = unsaid.into_iter().map(|m| {
        unknown(
            line.module_path(m),
            "it holds the top of a line at the surface, and nothing says its `hull`",
        )
    });
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
        let left = shapes.flat_map(|(case, shape)| match shape {
            Ok(shape) => shape
                .surfaces()
                .filter_map(|(surface, shape)| {
                    let value = shape.buoy?.reserve_n;
                    let sunk = shape.sunk().unwrap_or("afloat");
                    let at = Extreme {
                        value,
                        case,
                        surface,
                    };
                    Some((at, format!("it is {sunk}")))
                })
                .collect::<Vec<_>>(),
            Err(why) => why
                .missing_n()
                .map(|missing_n| {
                    let then = match why {
                        NoShape::Sinks { .. } => why.to_string(),
                        _ => format!("it is {PULLED_UNDER}"),
                    };
                    let surface = match why {
                        NoShape::InWaves { surface, .. } => *surface,
                        _ => Surface::Still,
                    };
                    let at = Extreme {
                        value: -missing_n,
                        case,
                        surface,
                    };
                    (at, then)
                })
                .into_iter()
                .collect(),
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
    each.chain(unsaid).collect()
}

/// What comes nearer to the bed than this lies on it, m (a choice of ours).
const ON_BED_M: f64 = 0.1;
/// Room above the bed of less than this more is marginal, m.
const NARROW_ROOM_M: f64 = 0.5;

/// What comes nearest to the bed on each line, over all cases and in the troughs of their waves: the middle of what hangs clear of it in the usual case, and the keel of a buoy. A module that lies on the
/// bed in the usual case is unknown where the plan does not say that it is meant to.
pub(crate) fn clear_of_bed(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let each = moored(line).into_iter().flat_map(|one| {
        let of = match one {
            Ok(of) => of,
            Err(not) if floats_or_holds_modules(line, &not.section) => {
                return vec![unknown(not.section.clone(), no_shape(&[&not]))];
            }
            Err(_) => return Vec::new(),
        };
        let path = of.top.path(line);
        let found = match hangs.found() {
            Ok(found) => found,
            Err(why) => return vec![unknown(path, why)],
        };
        let Some(of) = found.lines.iter().flatten().find(|o| o.line == of) else {
            return Vec::new();
        };
        let told = Told { found, of };
        let mut all: Vec<Verdict> = clear_of_bed_of(line, &told, path).into_iter().collect();
        all.extend(lying(line, &told));
        all
    });
    each.collect()
}

/// Modules that lie on the bed in the usual case although the plan does not say that they are meant to.
fn lying(line: &Line, told: &Told<'_>) -> Vec<Verdict> {
    let usual = told.found.cases.iter().position(|case| case.nominal);
    let Some(Ok(usual)) = usual.map(|ix| &told.of.shapes[ix]) else {
        return Vec::new();
    };
    let on_bed = usual.things.iter().filter(|thing| {
        let meant = match thing.what {
            Thing::Module(m) => line.modules[m.0].lies_on_bed,
            Thing::Float(_) | Thing::Weight(_) => true,
        };
        thing.at_m[2] <= ON_BED_M && !meant
    });
    let each = on_bed.map(|thing| {
        unknown(
            thing.what.path(line),
            "it lies on the bed in the usual case, and nothing says that it is meant to: write `lies_on_bed = true`, or hang it higher",
        )
    });
    each.collect()
}

/// What a search for a shape leaves over, m.
const LEFT_OVER_M: f64 = 1e-4;

/// Weights are there to lie on the bed.
fn hangs_clear(what: Thing) -> bool {
    !matches!(what, Thing::Weight(_))
}

/// Whether a float or a buoy holds the top of a line, by its lowest section's path, or modules hang on it from something that floats.
fn floats_or_holds_modules(line: &Line, lowest: &str) -> bool {
    let above = |section: plan::SectionIx| {
        let mut at = section.0;
        // No more steps than sections: a ring has no lowest.
        for _ in 0..line.sections.len() {
            let end = line.sections[at].to;
            match line.sections.iter().position(|s| s.from == end) {
                Some(below) => at = below,
                None => break,
            }
        }
        format!("section.{}", line.sections[at].id) == lowest
    };
    let is_top = |end| line.sections.iter().all(|s| s.to != end);
    let mut own = (0..line.sections.len()).filter(|s| above(plan::SectionIx(*s)));
    let floats = own.any(|s| {
        let end = line.sections[s].from;
        is_top(end)
            && match end {
                plan::SectionEnd::Float(_) => true,
                plan::SectionEnd::Module(m) => {
                    line.modules[m.0].hull.is_some() || stays_unsaid(line, m)
                }
                plan::SectionEnd::Anchor(_) => false,
            }
    });
    let mut modules = (0..line.modules.len()).map(ModuleIx);
    floats
        || modules.any(|m| match line.modules[m.0].position {
            Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => {
                above(section) && !hangs_from_a_place(line, m)
            }
            Position::Depth(_) => false,
        })
}

/// The same of one line; `None` where all of it lies on the bed in the usual case.
fn clear_of_bed_of(line: &Line, told: &Told<'_>, path: String) -> Option<Verdict> {
    let Told { found, of } = told;
    let usual = found.cases.iter().position(|case| case.nominal);
    let Some(Ok(usual)) = usual.map(|ix| &of.shapes[ix]) else {
        return Some(unknown(path, told.gap()?));
    };
    let mut least: Option<(Extreme, String)> = None;
    let mut seen = |value: f64, case: usize, surface: Surface, what: String| {
        if least.as_ref().is_none_or(|(l, _)| value < l.value) {
            let at = Extreme {
                value,
                case,
                surface,
            };
            least = Some((at, what));
        }
    };
    let shapes = of.shapes.iter().enumerate();
    for (case, shape) in shapes.filter_map(|(case, shape)| Some((case, shape.as_ref().ok()?))) {
        let bed_m = found.cases[case].water.depth_m;
        for (surface, shape) in shape.surfaces() {
            for (ix, thing) in shape.things.iter().enumerate() {
                // A float holds something up wherever it is.
                let clear =
                    usual.things[ix].at_m[2] > ON_BED_M || matches!(thing.what, Thing::Float(_));
                if clear && hangs_clear(thing.what) {
                    seen(thing.at_m[2], case, surface, thing.what.path(line));
                }
            }
            if let MooredTop::Float { .. } = of.line.top {
                let room_m = bed_m + shape.surface_m - shape.top_depth_m;
                seen(room_m, case, surface, path.clone());
            }
            if let Some(buoy) = shape.buoy.filter(|_| shape.below_surface_m() <= 0.0) {
                let room_m = bed_m + shape.surface_m - buoy.draught_m;
                seen(room_m, case, surface, format!("the keel of {path}"));
            }
        }
    }
    let Some((at, what)) = least else {
        return Some(unknown(path, told.gap()?));
    };
    let against = Against {
        side: Side::AtLeast,
        limit: ON_BED_M,
        narrow: NARROW_ROOM_M,
        unit: "m".to_owned(),
    };
    let why = format!("{what} comes nearest to the bed, in {}", told.case(at));
    // What a search for a shape leaves over lies on the bed.
    let value = if at.value.abs() < LEFT_OVER_M {
        0.0
    } else {
        at.value
    };
    let evidence = told.evidence(&(&path, "clear of the bed"));
    Some(told.whole(against.judge(path, value, evidence, why)))
}
