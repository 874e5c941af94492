//! Where a line is to part first: between what it must bear and what all else bears.

use plan::{Line, Position, SectionIx};

use crate::moorings::{Extreme, HungLine, Moorings};

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
    /// What holds the line down at the most where it is no more than the weight of an anchor, N, and the anchor; `None` where it holds by more than its weight, or the plan does not say.
    pub lifts_at_n: Option<(f64, String)>,
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
            lifts_at_n: lifts_at(line, of, at_m),
            after: parts_before(line, of, link),
        })
    });
    each.collect()
}

/// The tension at a place at which the anchor comes off the bed, where nothing but its weight holds it: that and what hangs below the place, N, what floats left out.
fn lifts_at(line: &Line, of: &HungLine, at_m: f64) -> Option<(f64, String)> {
    let anchor = &line.anchors[of.line.anchor];
    if anchor.holding_n.is_some() {
        return None;
    }
    let mut below_n = anchor.weight_in_water_n?.si;
    let mut from_m = 0.0;
    for piece in &of.line.pieces {
        let below_m = (at_m - from_m).clamp(0.0, piece.rope.length_m);
        below_n += (piece.rope.weight_n_m * below_m).max(0.0);
        from_m += piece.rope.length_m;
    }
    let hung = of.line.hung.iter().filter(|h| h.body.at_m < at_m);
    below_n += hung.map(|h| h.body.weight_n.max(0.0)).sum::<f64>();
    Some((below_n, format!("anchor.{}", anchor.id)))
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
