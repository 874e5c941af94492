//! What every line in the water must do to stand, judged as far as the plan writes what its parts bear: floats within their rating and strong enough,
//! ropes within their load, anchors that stay. What a requirement asks already is not judged twice; of what nothing is written is unknown, and so is what is written of a line without a shape.

use plan::{Line, Position, SectionEnd, SectionIx, That};

use crate::hung_verdicts::{depth_within, pressed_m};
use crate::input::{Moored, MooredTop, NotMoored, Thing, grown, moored, without_size};
use crate::mooring_verdicts::{Hangs, Told, anchor_keeps, no_shape, not_moored, rope_bears};
use crate::moorings::{HungLine, Moorings, NoShape};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A float that lifts less than this more than hangs below it is marginal, N.
const LIFT_N: f64 = 10.0;
/// What an anchor must hold of its load at the least where the plan gives no factor of safety: all of it.
const ALL_OF_IT: f64 = 1.0;

/// What an anchor must hold where nothing says how many times its load that is: broken where it does not hold it once, else unknown.
pub(crate) fn without_factor(found: &Moorings, line: &Line, anchor: usize) -> Verdict {
    let once = anchor_keeps(found, line, anchor, ALL_OF_IT);
    match once {
        Verdict::Unknown { .. } => once,
        once => once.only_broken(
            "it holds the load once, and neither a requirement nor the anchor says how many times it must: write `safety_factor`",
        ),
    }
}

/// The lowest section of the line that a section is of.
fn lowest(line: &Line, section: SectionIx) -> SectionIx {
    let mut lowest = section;
    // No more steps than sections: a ring has no lowest.
    for _ in 0..line.sections.len() {
        let end = line.sections[lowest.0].to;
        let below = line.sections.iter().position(|s| s.from == end);
        match below.filter(|_| !matches!(end, SectionEnd::Anchor(_))) {
            Some(below) => lowest = SectionIx(below),
            None => break,
        }
    }
    lowest
}

/// Why nothing is told of a section whose line is not followed: what is missing of that line alone.
fn not_followed(line: &Line, found: &Moorings, section: SectionIx) -> String {
    let own = section_path(line, lowest(line, section));
    let nots = found.lines.iter().filter_map(|of| of.as_ref().err());
    match nots.into_iter().find(|not| own == not.section) {
        Some(not) => no_shape(&[not]),
        None => not_moored(&found.lines),
    }
}

fn section_path(line: &Line, section: SectionIx) -> String {
    format!("section.{}", line.sections[section.0].id)
}

/// A section that a float is on, or an end of.
fn section_of_float(line: &Line, float: usize) -> Option<SectionIx> {
    let clamped = line.floats[float].position.and_then(|at| match at {
        Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => Some(section),
        Position::Depth(_) => None,
    });
    let end = SectionEnd::Float(float);
    let joined = line
        .sections
        .iter()
        .position(|s| s.from == end || s.to == end);
    clamped.or(joined.map(SectionIx))
}

/// Depth of each float on a line against its rating, the deepest of all cases; unknown of one without a rating, and of one whose line has no shape.
pub(crate) fn float_depths(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let each = (0..line.floats.len()).filter_map(|f| {
        let subject = Thing::Float(f).path(line);
        // A float on no line hangs nowhere.
        let section = section_of_float(line, f)?;
        let Some(rated) = line.floats[f].rated_depth_m else {
            return Some(unknown(
                subject,
                "nothing says how deep it may go: write `rated_depth`",
            ));
        };
        let found = match hangs.found() {
            Ok(found) => found,
            Err(why) => return Some(unknown(subject, no_case(&why))),
        };
        let mut lines = found.lines.iter().flatten();
        let Some(of) = lines.find(|of| holds(&of.line, f)) else {
            let why = not_followed(line, found, section);
            return Some(unknown(subject, why));
        };
        let told = Told { found, of };
        Some(match pressed_m(of, Thing::Float(f)) {
            Some(seen) => depth_within(&told, subject, seen, rated),
            None => unknown(subject, told.gap().unwrap_or_default()),
        })
    });
    each.collect()
}

fn holds(of: &Moored, float: usize) -> bool {
    let on = |h: &crate::input::Hung| h.what == Thing::Float(float);
    of.hung.iter().any(on) || matches!(of.top, MooredTop::Float { float: top, .. } if top == float)
}

/// What is left of the lift of each float at the top of a line in still water, where it is least on the way down to the line's lowest module: below
/// nothing the line does not stand, and what hangs on it sinks towards the bed. Rope below the lowest module may lie there as it is meant to, and so may a module that the plan says lies there. A float that the troughs of
/// a case reach lifts nothing that is known while it is out of the water.
pub(crate) fn held_up(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let mut all: Vec<Verdict> = Vec::new();
    for one in moored(line) {
        let verdicts = match one {
            Ok(of) => {
                let verdict = held_up_of(line, &of);
                let judged = verdict.map(|v| match in_troughs(hangs, &of) {
                    Some(why) => v.only_broken(why),
                    None => v,
                });
                judged.into_iter().collect()
            }
            Err(not) => not_told_held_up(line, &not),
        };
        // Sections that meet below a float are several lines under it.
        for verdict in verdicts {
            if all.iter().all(|v| v.subject() != verdict.subject()) {
                all.push(verdict);
            }
        }
    }
    all
}

/// The floats at the top of a line that is not followed.
fn not_told_held_up(line: &Line, not: &NotMoored) -> Vec<Verdict> {
    let sections = (0..line.sections.len()).map(SectionIx);
    let own = sections.filter(|s| section_path(line, lowest(line, *s)) == not.section);
    let tops = own.filter_map(|s| match line.sections[s.0].from {
        SectionEnd::Float(f) if line.sections.iter().all(|o| o.to != SectionEnd::Float(f)) => {
            Some(f)
        }
        _ => None,
    });
    tops.map(|f| unknown(Thing::Float(f).path(line), no_shape(&[not])))
        .collect()
}

/// The first case whose troughs reach the float of a line, in words.
fn in_troughs(hangs: &Hangs<'_>, of: &Moored) -> Option<String> {
    let found = hangs.found().ok()?;
    let own = found.lines.iter().flatten().find(|o| o.line == *of)?;
    let mut cases = found.cases.iter().zip(&own.shapes);
    cases.find_map(|(case, shape)| match shape {
        Err(trough @ NoShape::Trough { .. }) => Some(format!("in {}: {trough}", case.named())),
        _ => None,
    })
}

/// The same of one line; `None` where no float is at its top. What grows counts where it takes more than nothing.
pub(crate) fn held_up_of(line: &Line, of: &Moored) -> Option<Verdict> {
    let MooredTop::Float { buoyancy_n, .. } = of.top else {
        return None;
    };
    let (clean_n, clean_lowest) = least_left(line, of, buoyancy_n);
    let (left_n, lowest, when) = match fouled_left(line, of) {
        Ok(Some((n, thing))) if n < clean_n => {
            (n, thing, ", with what has grown by the latest recovery")
        }
        Ok(_) => (clean_n, clean_lowest, ""),
        Err(_) if clean_n < 0.0 => (clean_n, clean_lowest, ""),
        Err(why) => return Some(unknown(of.top.path(line), why)),
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 0.0,
        narrow: LIFT_N,
        unit: "N".to_owned(),
    };
    let why = format!(
        "what it lifts less the weight in water of all that hangs below it, in still water, least at {lowest}{when}"
    );
    let evidence = Evidence::computed("sum of weights in water", &(of, when, left_n));
    Some(against.judge(of.top.path(line), left_n, evidence, why))
}

/// The same with what grows until the latest recovery; `None` where the site says nothing of growth.
fn fouled_left(line: &Line, of: &Moored) -> Result<Option<(f64, String)>, String> {
    let Some(by) = grown(line).map_err(|error| error.to_string())? else {
        return Ok(None);
    };
    let missing = without_size(line, of, &by);
    if !missing.is_empty() {
        return Err(format!(
            "what grows is not known without {}",
            missing.join(", ")
        ));
    }
    let fouled = of.fouled(&by).map_err(|error| error.to_string())?;
    let MooredTop::Float { buoyancy_n, .. } = fouled.top else {
        return Ok(None);
    };
    Ok(Some(least_left(line, &fouled, buoyancy_n)))
}

/// How far down a line must be held up, m from the anchor: to the lowest module that is not meant to lie on the bed, else to the highest that is, else to what floats lowest amid it, else to the anchor.
fn held_down_to_m(line: &Line, of: &Moored) -> f64 {
    let places = |wanted: &dyn Fn(Thing) -> bool| -> Vec<f64> {
        let hung = of.hung.iter().filter(|h| wanted(h.what));
        hung.map(|h| h.body.at_m).collect()
    };
    let hanging =
        places(&|what| matches!(what, Thing::Module(m) if !line.modules[m.0].lies_on_bed));
    let lying = places(&|what| matches!(what, Thing::Module(m) if line.modules[m.0].lies_on_bed));
    let floats = places(&|what| matches!(what, Thing::Float(_)));
    let lowest = |places: Vec<f64>| places.into_iter().reduce(f64::min);
    lowest(hanging)
        .or_else(|| lying.into_iter().reduce(f64::max))
        .or_else(|| lowest(floats))
        .unwrap_or(0.0)
}

/// The least pull that is left of a lift from the top down to where the line must be held up, N, and the thing beside which it is: just above a thing that floats, just below one that weighs, or at an end of a rope.
fn least_left(line: &Line, of: &Moored, lift_n: f64) -> (f64, String) {
    let lowest_m = held_down_to_m(line, of);
    // What is let in carries its weight in its piece, all of which lies above its lower end.
    let lower_end = |at_m: f64| -> f64 {
        let mut from_m = 0.0;
        for piece in &of.pieces {
            let to_m = from_m + piece.rope.length_m;
            let is_body = piece.rope.diameter_m == 0.0 && piece.rope.normal_drag == 0.0;
            if is_body && from_m < at_m && at_m < to_m {
                return from_m;
            }
            from_m = to_m;
        }
        at_m
    };
    let rope_above = |at_m: f64| -> f64 {
        let mut from_m = 0.0;
        let each = of.pieces.iter().map(|piece| {
            let to_m = from_m + piece.rope.length_m;
            let above_m = (to_m - at_m.max(from_m)).max(0.0);
            from_m = to_m;
            above_m * piece.rope.weight_n_m
        });
        each.sum()
    };
    let lies = |what: Thing| matches!(what, Thing::Module(m) if line.modules[m.0].lies_on_bed);
    let hung: Vec<_> = of
        .hung
        .iter()
        .filter(|h| h.body.at_m >= lowest_m && !lies(h.what))
        .collect();
    let bodies_n = |counts: &dyn Fn(f64) -> bool| -> f64 {
        let above = hung.iter().filter(|h| counts(h.body.at_m));
        above.map(|h| h.body.weight_n).sum()
    };
    let mut least: Option<(f64, String)> = None;
    let mut seen = |left_n: f64, beside: String| {
        if least.as_ref().is_none_or(|(n, _)| left_n < *n) {
            least = Some((left_n, beside));
        }
    };
    for h in &hung {
        let at_m = h.body.at_m;
        let beside = h.what.path(line);
        // Of what hangs at one place all counts.
        seen(
            lift_n - rope_above(lower_end(at_m)) - bodies_n(&|other_m| other_m >= at_m),
            beside.clone(),
        );
        seen(
            lift_n - rope_above(at_m) - bodies_n(&|other_m| other_m > at_m),
            beside,
        );
    }
    let mut from_m = 0.0;
    for piece in &of.pieces {
        let at_m = f64::max(from_m, lowest_m);
        if at_m < from_m + piece.rope.length_m {
            seen(
                lift_n - rope_above(at_m) - bodies_n(&|other_m| other_m >= at_m),
                format!("the lower end of {}", section_path(line, piece.section)),
            );
        }
        from_m += piece.rope.length_m;
    }
    least.unwrap_or((lift_n, of.top.path(line)))
}

/// The greatest tension of each section against what its rope says that it bears, where no requirement asks for as little; unknown of one that says nothing. A line that is not followed is told
/// once, at the first of its sections that is asked.
pub(crate) fn rope_loads(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let sections = (0..line.sections.len()).map(SectionIx);
    let wanted = sections.filter(|s| {
        let rope = line.sections[s.0].rope.as_ref();
        let load = rope.and_then(|rope| rope.working_load_n.or(rope.breaking_load_n));
        !asked_of_rope(line, *s, load.map_or(f64::INFINITY, |load| load.si))
    });
    let mut told: Vec<SectionIx> = Vec::new();
    let each = wanted.filter_map(|s| {
        let on = |of: &HungLine| of.line.pieces.iter().any(|p| p.section == s);
        let why = match hangs.found() {
            Ok(found) if found.lines.iter().flatten().any(on) => {
                let verdict = rope_bears(hangs, s);
                return Some(verdict.unwrap_or_else(|| rope_unsaid(line, s)));
            }
            Ok(found) => not_followed(line, found, s),
            Err(why) => no_case(&why),
        };
        let own = lowest(line, s);
        if told.contains(&own) {
            return None;
        }
        told.push(own);
        Some(unknown(section_path(line, s), why))
    });
    each.collect()
}

/// Of a rope of which the plan does not say what it bears.
pub(crate) fn rope_unsaid(line: &Line, section: SectionIx) -> Verdict {
    unknown(
        section_path(line, section),
        "its rope does not say what it may bear: write `working_load`",
    )
}

fn asked_of_rope(line: &Line, section: SectionIx, load_n: f64) -> bool {
    line.binding().any(|r| match &r.that {
        That::LineTension { of, at_most_n } => {
            of.is_none_or(|s| s == section) && at_most_n.is_none_or(|q| q.si <= load_n)
        }
        _ => false,
    })
}

/// What each anchor must hold against what the plan writes that it has, with its factor of safety, where no requirement asks for as much. Without a factor it is broken where it does not hold once, and unknown otherwise.
pub(crate) fn anchors_hold(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let wanted = line.anchors.iter().enumerate().filter_map(|(a, anchor)| {
        let factor = anchor.safety_factor.map_or(ALL_OF_IT, |q| q.si);
        (!asked_of_anchor(line, a, factor)).then_some((a, factor))
    });
    let each = wanted.filter_map(|(a, factor)| {
        let mut sections = line.sections.iter();
        sections.find(|s| s.to == SectionEnd::Anchor(a))?;
        Some(match hangs.found() {
            Ok(found) if line.anchors[a].safety_factor.is_none() => without_factor(found, line, a),
            Ok(found) => anchor_keeps(found, line, a, factor),
            Err(why) => unknown(format!("anchor.{}", line.anchors[a].id), no_case(&why)),
        })
    });
    each.collect()
}

/// Why nothing is told of a line in a plan without design cases.
fn no_case(why: &str) -> String {
    format!("where its line hangs is unknown: {why}")
}

fn asked_of_anchor(line: &Line, anchor: usize, factor: f64) -> bool {
    let own = line.anchors[anchor].safety_factor;
    line.binding().any(|r| match &r.that {
        That::AnchorLoad { of, at_least } => {
            let asks = at_least.or(own).is_some_and(|q| q.si >= factor);
            of.is_none_or(|a| a == anchor) && asks
        }
        _ => false,
    })
}
