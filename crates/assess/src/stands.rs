//! What every line in the water must do to stand, judged as far as the plan writes what its parts bear: floats within their rating and strong enough,
//! ropes within their working load, anchors that stay. What a requirement asks already is not judged twice, and what is not written stays open.

use plan::{Anchor, Line, SectionIx, That};

use crate::hung_verdicts::{depth_within, pressed_m};
use crate::input::{Moored, MooredTop, Thing, grown, moored, without_size};
use crate::mooring_verdicts::{Hangs, Told, anchor_keeps, line_tension};
use crate::moorings::{HungLine, NoShape};
use crate::verdict::{Against, Evidence, Side, Verdict, Word};

/// A float that lifts less than this more than hangs below it is marginal, N.
const LIFT_N: f64 = 10.0;
/// What an anchor must hold of its load where the plan gives no factor of safety: all of it.
const ALL_OF_IT: f64 = 1.0;

/// A verdict that stands only if it is broken where the plan keeps a case from having a shape, or another standing check tells why there is none.
fn as_far_as_written(of: &HungLine, verdict: Verdict) -> Option<Verdict> {
    let told_elsewhere = of.shapes.iter().any(|shape| {
        matches!(
            shape,
            Err(NoShape::NoWindArea
                | NoShape::NoStrummingDrag
                | NoShape::Sinks { .. }
                | NoShape::Under { .. })
        )
    });
    (verdict.word() != Word::Unknown || !told_elsewhere).then_some(verdict)
}

/// Depth of each float that has a rating against it, the deepest of all cases.
pub(crate) fn float_depths(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let floats = line.floats.iter().enumerate();
    let rated = floats.filter_map(|(f, float)| Some((f, float.rated_depth_m?)));
    rated
        .filter_map(|(f, rated)| {
            let found = hangs.found().ok()?;
            let of = found.lines.iter().flatten().find(|of| holds(&of.line, f))?;
            let told = Told { found, of };
            let subject = Thing::Float(f).path(line);
            let verdict = match pressed_m(of, Thing::Float(f)) {
                Some(seen) => depth_within(&told, subject, seen, rated),
                None => crate::verdict::unknown(subject, told.gap().unwrap_or_default()),
            };
            as_far_as_written(of, verdict)
        })
        .collect()
}

fn holds(of: &Moored, float: usize) -> bool {
    let on = |h: &crate::input::Hung| h.what == Thing::Float(float);
    of.hung.iter().any(on) || matches!(of.top, MooredTop::Float { float: top, .. } if top == float)
}

/// What is left of the lift of each float at the top of a line in still water, where it is least on the way down to the line's lowest module: below
/// nothing the line does not stand, and what hangs on it sinks towards the bed. Rope below the lowest module may lie there as it is meant to. A float that the troughs of
/// a case reach lifts nothing that is known while it is out of the water.
pub(crate) fn held_up(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let lines = moored(line).into_iter().flatten();
    let each = lines.filter_map(|of| {
        let verdict = held_up_of(line, &of)?;
        match in_troughs(hangs, &of).filter(|_| !verdict.is_broken()) {
            Some(why) => Some(crate::verdict::unknown(verdict.subject(), why)),
            None => Some(verdict),
        }
    });
    each.collect()
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

/// The same of one line; `None` where no float is at its top, or no module hangs on it. What grows counts where it takes more than nothing.
pub(crate) fn held_up_of(line: &Line, of: &Moored) -> Option<Verdict> {
    let MooredTop::Float { buoyancy_n, .. } = of.top else {
        return None;
    };
    let (clean_n, clean_lowest) = least_left(of, buoyancy_n)?;
    let (left_n, lowest, when) = match fouled_left(line, of) {
        Ok(Some((n, thing))) if n < clean_n => {
            (n, thing, ", with what has grown by the latest recovery")
        }
        Ok(_) => (clean_n, clean_lowest, ""),
        Err(_) if clean_n < 0.0 => (clean_n, clean_lowest, ""),
        Err(why) => return Some(crate::verdict::unknown(of.top.path(line), why)),
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 0.0,
        narrow: LIFT_N,
        unit: "N".to_owned(),
    };
    let why = format!(
        "what it lifts less the weight in water of all that hangs below it, in still water, least at {}{when}",
        lowest.path(line)
    );
    let evidence = Evidence::computed("sum of weights in water", &(of, when, left_n));
    Some(against.judge(of.top.path(line), left_n, evidence, why))
}

/// The same with what grows until the latest recovery; `None` where the site says nothing of growth.
fn fouled_left(line: &Line, of: &Moored) -> Result<Option<(f64, Thing)>, String> {
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
    Ok(least_left(&fouled, buoyancy_n))
}

/// The least pull that is left of a lift from the top down to the lowest module, N, and the thing beside which it is; `None` of a line without modules.
fn least_left(of: &Moored, lift_n: f64) -> Option<(f64, Thing)> {
    let modules = of
        .hung
        .iter()
        .filter(|h| matches!(h.what, Thing::Module(_)));
    let lowest = modules.min_by(|a, b| a.body.at_m.total_cmp(&b.body.at_m))?;
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
    let hung = of.hung.iter().filter(|h| h.body.at_m >= lowest.body.at_m);
    let left_n = hung.clone().map(|h| {
        // Of what hangs at one place all counts.
        let above = hung.clone().filter(|o| o.body.at_m >= h.body.at_m);
        let bodies_n: f64 = above.map(|o| o.body.weight_n).sum();
        (
            lift_n - rope_above(lower_end(h.body.at_m)) - bodies_n,
            h.what,
        )
    });
    left_n.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The greatest tension of each section against the working load of its rope, where it is written and no requirement asks for as little.
pub(crate) fn rope_loads(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let sections = (0..line.sections.len()).map(SectionIx);
    let wanted = sections.filter(|s| {
        let working = line.sections[s.0].rope.as_ref();
        let working = working.and_then(|rope| rope.working_load_n);
        working.is_some_and(|load| !asked_of_rope(line, *s, load.si))
    });
    let each = wanted.filter_map(|s| {
        let found = hangs.found().ok()?;
        let on = |of: &&HungLine| of.line.pieces.iter().any(|p| p.section == s);
        let of = found.lines.iter().flatten().find(on)?;
        let verdict = line_tension(hangs, Some(s), None).pop()?;
        as_far_as_written(of, verdict)
    });
    each.collect()
}

fn asked_of_rope(line: &Line, section: SectionIx, working_load_n: f64) -> bool {
    line.binding().any(|r| match &r.that {
        That::LineTension { of, at_most_n } => {
            of.is_none_or(|s| s == section) && at_most_n.is_none_or(|q| q.si <= working_load_n)
        }
        _ => false,
    })
}

/// What each anchor must hold against what the plan writes that it has, with its factor of safety or once, where no requirement asks for as much.
pub(crate) fn anchors_hold(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let wanted = line.anchors.iter().enumerate().filter_map(|(a, anchor)| {
        let factor = anchor.safety_factor.map_or(ALL_OF_IT, |q| q.si);
        (says_a_hold(anchor) && !asked_of_anchor(line, a, factor)).then_some((a, factor))
    });
    let each = wanted.filter_map(|(a, factor)| {
        let found = hangs.found().ok()?;
        let lines = found.lines.iter().flatten();
        let mut at_it = lines.filter(|of| of.anchor.anchor == a).peekable();
        at_it.peek()?;
        let verdict = anchor_keeps(found, line, a, factor);
        at_it.try_fold(verdict, |verdict, of| as_far_as_written(of, verdict))
    });
    each.collect()
}

fn says_a_hold(anchor: &Anchor) -> bool {
    anchor.holding_n.is_some() || anchor.weight_in_water_n.is_some()
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
