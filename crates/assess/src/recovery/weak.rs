//! Where a line is to part first: between what it must bear and what all else bears.

use plan::{Line, Position, SectionIx};

use crate::input::MooredTop;
use crate::moorings::{CaseShape, Extreme, HungLine, Moorings};

/// Two places closer than this are one, m.
const SAME_M: f64 = 1e-9;

/// A weak link and the window in which it must part.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Its typed path.
    pub path: String,
    /// Least tension at which it may part, N.
    pub parts_from_n: f64,
    /// Tension at which it has parted, N.
    pub parts_by_n: f64,
    /// How many times the greatest tension it must hold.
    pub factor: f64,
    /// The greatest tension at its place over the design cases, N, and its case; or why it is unknown.
    pub greatest_n: Result<(Extreme, String), String>,
    /// The least breaking load of the ropes of its line, N, and the section; or why it is unknown.
    pub least_breaking_n: Result<(f64, String), String>,
    /// The tension there at which the anchor comes off the bed, N, and the anchor; or why it is unknown.
    pub lifts_at_n: Result<(f64, String), String>,
    /// Another weak link of its line that has parted before this one may.
    pub after: Option<String>,
}

/// The weak links of a line.
pub(super) fn windows(line: &Line, found: &Moorings, of: &HungLine) -> Vec<Window> {
    let each = line.weak_links.iter().filter_map(|link| {
        let (section, from_lower_m) = match link.position {
            Position::FromTop { section, length_m } => {
                (section, line.sections[section.0].length_m.si - length_m.si)
            }
            Position::FromAnchor { section, length_m } => (section, length_m.si),
            Position::Depth(_) => return None,
        };
        let at_m = of.line.at_m(section, from_lower_m)?;
        Some(Window {
            path: format!("weak_link.{}", link.id),
            parts_from_n: link.parts_from_n.si,
            parts_by_n: link.parts_by_n.si,
            factor: link.safety_factor.map_or(1.0, |q| q.si),
            greatest_n: greatest(found, of, at_m),
            least_breaking_n: least_breaking(line, of),
            lifts_at_n: lifts_at(line, found, of, at_m),
            after: parts_before(line, of, link),
        })
    });
    each.collect()
}

/// The tension at a place at which the anchor comes off the bed by its weight alone: that and what hangs below the place, what floats left out, less what other lines lift of it at the least, over the share of a pull that is upwards on a taut line: N. An anchor that
/// holds by its weight alone may be pulled up by a slack line as well, and all of the pull counts.
fn lifts_at(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
    at_m: f64,
) -> Result<(f64, String), String> {
    let anchor = &line.anchors[of.line.anchor];
    let path = format!("anchor.{}", anchor.id);
    let Some(weight) = anchor.weight_in_water_n else {
        return Err(format!(
            "nothing says the weight_in_water of {path}, and so not whether that comes off the bed first"
        ));
    };
    let mut below_n = weight.si;
    let mut from_m = 0.0;
    for piece in &of.line.pieces {
        let below_m = (at_m - from_m).clamp(0.0, piece.rope.length_m);
        below_n += (piece.rope.weight_n_m * below_m).max(0.0);
        from_m += piece.rope.length_m;
    }
    let hung = of.line.hung.iter().filter(|h| h.body.at_m < at_m);
    below_n += hung.map(|h| h.body.weight_n.max(0.0)).sum::<f64>();
    let others = found.lines.iter().flatten();
    let others = others.filter(|o| o.line.anchor == of.line.anchor && o.line != of.line);
    let lifted_n: f64 = others.map(least_lift_n).sum();
    let upwards = match (anchor.holding_n, &of.line.top) {
        (Some(_), MooredTop::Buoy { .. }) => {
            (line.sea.water_depth_m.si / of.line.length_m()).min(1.0)
        }
        _ => 1.0,
    };
    Ok(((below_n - lifted_n).max(0.0) / upwards, path))
}

/// The least that a line lifts of its anchor over its shapes, N.
fn least_lift_n(of: &HungLine) -> f64 {
    let shapes = of.shapes.iter().flatten().flat_map(CaseShape::surfaces);
    let lifts = shapes.map(|(_, shape)| shape.shape.anchor_n[2].max(0.0));
    lifts.reduce(f64::min).unwrap_or(0.0)
}

/// Another weak link of the same line that has surely parted at a tension at which this one still holds.
fn parts_before(line: &Line, of: &HungLine, link: &plan::WeakLink) -> Option<String> {
    let on = |other: &plan::WeakLink| match other.position {
        Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => {
            of.line.pieces.iter().any(|p| p.section == section)
        }
        Position::Depth(_) => false,
    };
    let before = |other: &&plan::WeakLink| {
        other.id != link.id && on(other) && other.parts_by_n.si < link.parts_from_n.si
    };
    let other = line.weak_links.iter().find(before)?;
    Some(format!("weak_link.{}", other.id))
}

/// The greatest tension at a place over all cases: the larger of those at the points of the shape beside it.
fn greatest(found: &Moorings, of: &HungLine, at_m: f64) -> Result<(Extreme, String), String> {
    let mut most: Option<Extreme> = None;
    for (case, shape) in of.shapes.iter().enumerate() {
        let shape = shape
            .as_ref()
            .map_err(|why| format!("in {} it has no shape: {why}", found.cases[case].named()))?;
        for (surface, shape) in shape.surfaces() {
            // All points at the place, of which a body has two, and one on either side.
            let points = &shape.shape.points;
            let from = points.partition_point(|p| p.s_m < at_m - SAME_M);
            let to = points.partition_point(|p| p.s_m <= at_m + SAME_M);
            let beside = from.saturating_sub(1)..(to + 1).min(points.len());
            for point in &points[beside] {
                let value = point.tension_n();
                if most.is_none_or(|m| value > m.value) {
                    most = Some(Extreme {
                        value,
                        case,
                        surface,
                    });
                }
            }
        }
    }
    let most = most.ok_or("the line has no shape")?;
    Ok((most, most.surface.of(&found.cases[most.case].named())))
}

fn least_breaking(line: &Line, of: &HungLine) -> Result<(f64, String), String> {
    let mut sections: Vec<SectionIx> = of.line.pieces.iter().map(|p| p.section).collect();
    sections.dedup();
    let mut least: Option<(f64, String)> = None;
    for section in sections {
        let own = &line.sections[section.0];
        let path = format!("section.{}", own.id);
        let breaks = own.rope.as_ref().and_then(|rope| rope.breaking_load_n);
        let breaks_n = breaks
            .ok_or_else(|| format!("the rope of {path} says nothing of `breaking_load`"))?
            .si;
        if least.as_ref().is_none_or(|(n, _)| breaks_n < *n) {
            least = Some((breaks_n, path));
        }
    }
    least.ok_or_else(|| "the line has no section".to_owned())
}
