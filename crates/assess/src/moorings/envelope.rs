//! The extremes of a line over its design cases, each with the case in which it comes.

use plan::{ModuleIx, SectionIx};

use super::case_shape::{CaseShape, NoShape, Surface};
use crate::input::{Moored, MooredTop, Thing};

/// A figure, and the case in which it is so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// The figure.
    pub value: f64,
    /// Index into the cases.
    pub case: usize,
    /// Where the surface stands then.
    pub surface: Surface,
}

/// A module over all cases, in still water, crests and troughs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OfModule {
    /// The module.
    pub module: ModuleIx,
    /// Least depth below still water, m; of a top below the surface.
    pub shallowest_m: Extreme,
    /// Greatest depth below still water, m; of a top below the surface.
    pub deepest_m: Extreme,
    /// Greatest angle of the line at it from the vertical, degrees.
    pub tilt_deg: Extreme,
    /// Greatest tension above it, N; of a top there is none.
    pub above_n: Option<Extreme>,
    /// Greatest tension below it, N.
    pub below_n: Extreme,
}

/// A section over all cases.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OfSection {
    /// The section.
    pub section: SectionIx,
    /// Greatest tension, N.
    pub tension_n: Extreme,
    /// Least tension, N; zero where it hangs slack.
    pub least_n: Extreme,
}

/// What an anchor must hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnchorHold {
    /// Index into [`plan::Line::anchors`].
    pub anchor: usize,
    /// Greatest horizontal pull, N; `None` without any shape.
    pub horizontal_n: Option<Extreme>,
    /// Greatest vertical pull, N; `None` without any shape.
    pub vertical_n: Option<Extreme>,
}

/// How far the top of a line goes from above its anchor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Widest {
    /// Radius, m.
    pub radius_m: f64,
    /// The case.
    pub case: usize,
    /// What of it the waves move the top to and fro, m.
    pub waves_m: f64,
}

/// A case that has a shape, with where the surface stands in it.
type At = (usize, Surface);

/// The cases that have a shape, each in still water, crests and troughs.
fn known(shapes: &[Result<CaseShape, NoShape>]) -> impl Iterator<Item = (At, &CaseShape)> + Clone {
    let numbered = shapes.iter().enumerate();
    let numbered = numbered.filter_map(|(case, shape)| Some((case, shape.as_ref().ok()?)));
    numbered.flat_map(|(case, shape)| {
        let surfaces = shape.surfaces();
        surfaces.map(move |(surface, shape)| ((case, surface), shape))
    })
}

fn most(each: impl Iterator<Item = (At, f64)>) -> Option<Extreme> {
    each.fold(
        None,
        |best: Option<Extreme>, ((case, surface), value)| match best {
            Some(b) if b.value >= value => Some(b),
            _ => Some(Extreme {
                value,
                case,
                surface,
            }),
        },
    )
}

fn least(each: impl Iterator<Item = (At, f64)>) -> Option<Extreme> {
    most(each.map(|(at, value)| (at, -value))).map(|e| Extreme {
        value: -e.value,
        ..e
    })
}

/// What each module sees, from the top of the line down.
pub(super) fn modules(of: &Moored, shapes: &[Result<CaseShape, NoShape>]) -> Vec<OfModule> {
    let mut all = Vec::new();
    for (ix, hung) in of.hung.iter().enumerate() {
        let Thing::Module(module) = hung.what else {
            continue;
        };
        let each = |figure: fn(&super::CaseThing) -> f64| {
            known(shapes).map(move |(case, shape)| (case, figure(&shape.things[ix])))
        };
        let found = (|| {
            Some(OfModule {
                module,
                shallowest_m: least(each(|t| t.depth_m))?,
                deepest_m: most(each(|t| t.depth_m))?,
                tilt_deg: most(each(|t| t.tilt_deg))?,
                above_n: Some(most(each(|t| t.above_n))?),
                below_n: most(each(|t| t.below_n))?,
            })
        })();
        all.extend(found);
    }
    if let MooredTop::Buoy { module, .. } = of.top {
        let each = |figure: fn(&CaseShape) -> f64| known(shapes).map(move |(c, s)| (c, figure(s)));
        let found = (|| {
            Some(OfModule {
                module,
                shallowest_m: least(each(CaseShape::below_surface_m))?,
                deepest_m: most(each(CaseShape::below_surface_m))?,
                tilt_deg: most(each(|s| s.top_tilt_deg))?,
                above_n: None,
                below_n: most(each(|s| {
                    s.shape.points.last().map_or(0.0, mooring::Point::tension_n)
                }))?,
            })
        })();
        all.extend(found);
    }
    all.reverse();
    all
}

/// What each section bears, from the top of the line down.
pub(super) fn sections(of: &Moored, shapes: &[Result<CaseShape, NoShape>]) -> Vec<OfSection> {
    let mut bounds: Vec<(SectionIx, f64, f64)> = Vec::new();
    let mut from_m = 0.0;
    for piece in &of.pieces {
        let to_m = from_m + piece.rope.length_m;
        match bounds.last_mut() {
            Some(last) if last.0 == piece.section => last.2 = to_m,
            _ => bounds.push((piece.section, from_m, to_m)),
        }
        from_m = to_m;
    }
    let mut all: Vec<OfSection> = bounds
        .into_iter()
        .filter_map(|(section, from_m, to_m)| {
            // At a joint two points lie at one place; the tension on the other side belongs to the other section.
            let tensions = move |shape: &CaseShape| -> Vec<f64> {
                let points = &shape.shape.points;
                let own: Vec<(usize, f64)> = points
                    .iter()
                    .enumerate()
                    .filter(|(_, p)| p.s_m >= from_m - JOINT_M && p.s_m <= to_m + JOINT_M)
                    .map(|(i, p)| (i, p.tension_n()))
                    .collect();
                own.iter()
                    .filter(|(i, _)| {
                        let s_m = points[*i].s_m;
                        let after = points
                            .get(i + 1)
                            .is_some_and(|p| (p.s_m - s_m).abs() < JOINT_M);
                        let before = *i > 0 && (points[i - 1].s_m - s_m).abs() < JOINT_M;
                        !((s_m - from_m).abs() < JOINT_M && after
                            || (s_m - to_m).abs() < JOINT_M && before)
                    })
                    .map(|(_, tension_n)| *tension_n)
                    .collect()
            };
            let each = |pick: fn(f64, f64) -> f64| {
                known(shapes).filter_map(move |(case, shape)| {
                    tensions(shape).into_iter().reduce(pick).map(|n| (case, n))
                })
            };
            Some(OfSection {
                section,
                tension_n: most(each(f64::max))?,
                least_n: least(each(f64::min))?,
            })
        })
        .collect();
    all.reverse();
    all
}

/// Two points closer than this lie at one place of the line, m.
const JOINT_M: f64 = 1e-9;

pub(super) fn anchor(of: &Moored, shapes: &[Result<CaseShape, NoShape>]) -> AnchorHold {
    let each = |figure: fn([f64; 3]) -> f64| {
        known(shapes).map(move |(case, shape)| (case, figure(shape.shape.anchor_n)))
    };
    AnchorHold {
        anchor: of.anchor,
        horizontal_n: most(each(|n| libm::hypot(n[0], n[1]))),
        vertical_n: most(each(|n| n[2])),
    }
}

/// The widest that a top goes in still water, and as far again as the water goes to and fro there in waves: a trough is over before the top has drifted to where the
/// slacker line would let it.
pub(super) fn watch_circle(shapes: &[Result<CaseShape, NoShape>]) -> Option<Widest> {
    let still = shapes.iter().enumerate();
    let each = still.filter_map(|(case, shape)| {
        let shape = shape.as_ref().ok()?;
        let waves_m = shape.wave_at_top.map_or(0.0, |wave| wave.across_m);
        Some(Widest {
            radius_m: shape.shape.excursion_m() + waves_m,
            case,
            waves_m,
        })
    });
    each.reduce(|most, one| {
        if one.radius_m > most.radius_m {
            one
        } else {
            most
        }
    })
}
