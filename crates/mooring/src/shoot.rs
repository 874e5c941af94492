//! Shooting: the line is followed down from its top, and the unknown at the top is changed until it ends at the anchor.
//!
//! - Under a float the pull at the top is known once its height is; one unknown, the height at which the line ends on the seabed.
//! - Under a buoy at the surface the horizontal force is known; one unknown, the vertical pull.
//! - Under a fixed point three: see the module `fixed`.
//!
//! A line of which all sinks that becomes level on its way down lies on the seabed from there on: straight, without friction and drag. It must become
//! level at the seabed and nowhere else, so the same unknown is found. Where other lines would pass through the seabed, or go slack, the bars of
//! [`hang_by_bars`](crate::hang_by_bars) take over.

use numerics::{RootError, brent};

use crate::bars::hang_by_bars;
use crate::descend::{End, Trail, Way};
use crate::error::MooringError;
use crate::fixed;
use crate::line::{Hanging, Top};
use crate::shape::{AtBody, Effort, Point, Shape, Touch, held_together};
use crate::vector::{Vector, length, minus, plus, times};

/// To within this the height of the line's end is brought to the seabed, m.
pub(crate) const HEIGHT_M: f64 = 1e-7;
/// A line may seem to pass so far below the seabed, m.
const BELOW_M: f64 = 1e-4;
/// Number of bars where they take over.
const BARS: u32 = 400;
/// Longest piece of a line between two points of its shape, as a share of the line.
const PIECE: f64 = 1.0 / 100.0;
/// Most doublings of a bracket.
const DOUBLINGS: u32 = 60;

/// The shape of a line.
///
/// Shooting, to within 0.1 um of height and about 1e-6 N; where that fails, 400 bars, good to a few millimetres. Which of them it was stands in
/// [`Shape::effort`].
///
/// # Errors
/// Every variant of [`MooringError`] that tells of the input; [`MooringError::FloatAtSurface`], [`MooringError::AboveSurface`],
/// [`MooringError::TooShort`] and [`MooringError::OutOfReach`] where there is no such shape; [`MooringError::Unbalanced`] and [`MooringError::NotConverged`] where no method found it.
pub fn hang(hanging: &Hanging) -> Result<Shape, MooringError> {
    hold(hanging)?.shape()
}

/// A line of which it is known how its top pulls, and whose shape has not been drawn yet.
#[derive(Debug)]
pub struct Held<'a> {
    hanging: &'a Hanging,
    by: By<'a>,
}

#[derive(Debug)]
enum By<'a> {
    Shot(Way<'a>, Shot),
    Drawn(Box<Shape>),
}

/// Where the top is and how it pulls, as a search found it.
#[derive(Debug)]
pub(crate) struct Shot {
    pub(crate) top_m: Vector,
    pub(crate) top_n: Vector,
    pub(crate) count: Count,
}

/// The pull at the top of a line, for whoever needs that alone: the search of [`hang`] without the shape at its end.
///
/// # Errors
/// As [`hang`].
pub fn hold(hanging: &Hanging) -> Result<Held<'_>, MooringError> {
    hanging.check()?;
    let way = Way::new(hanging);
    let shot = match hanging.top {
        Top::Float {
            buoyancy_n,
            drag_area_m2,
        } => float(&way, hanging, buoyancy_n, drag_area_m2),
        Top::Surface { force_n } => surface(&way, hanging, force_n),
        Top::Fixed { at_m } => fixed::shoot(&way, hanging, at_m),
    };
    let by = match shot {
        Ok(shot) => By::Shot(way, shot),
        Err(
            refused @ (MooringError::FloatAtSurface { .. }
            | MooringError::TooShort { .. }
            | MooringError::OutOfReach { .. }),
        ) => return Err(refused),
        Err(_) => By::Drawn(Box::new(hang_by_bars(hanging, BARS)?)),
    };
    Ok(Held { hanging, by })
}

impl Held<'_> {
    /// The same with its shape drawn, so that its pull is that of the shape.
    ///
    /// # Errors
    /// As [`hang`].
    pub fn drawn(self) -> Result<Self, MooringError> {
        let hanging = self.hanging;
        let by = By::Drawn(Box::new(self.shape()?));
        Ok(Self { hanging, by })
    }

    /// Pull of what holds the top, N: that of the shape, unless the shape turns out to be one that only bars find.
    #[must_use]
    pub fn top_n(&self) -> [f64; 3] {
        match &self.by {
            By::Shot(_, shot) => shot.top_n,
            By::Drawn(shape) => shape.top_n,
        }
    }

    /// The shape.
    ///
    /// # Errors
    /// As [`hang`].
    pub fn shape(self) -> Result<Shape, MooringError> {
        match self.by {
            By::Drawn(shape) => Ok(*shape),
            By::Shot(way, shot) => match shape(&way, self.hanging, shot) {
                Ok(shape) if stays_above(&shape) => self.hanging.below_surface(shape),
                Ok(_) | Err(_) => hang_by_bars(self.hanging, BARS),
            },
        }
    }
}

fn stays_above(shape: &Shape) -> bool {
    shape.points.iter().all(|point| point.at_m[2] >= -BELOW_M)
}

/// Counts what a search costs.
#[derive(Debug, Default)]
pub(crate) struct Count {
    pub(crate) descents: u32,
    pub(crate) evaluations: u32,
}

impl Count {
    pub(crate) fn descend(
        &mut self,
        way: &Way<'_>,
        at_m: Vector,
        force_n: Vector,
    ) -> Result<End, MooringError> {
        let end = way.descend(at_m, force_n, f64::INFINITY, None)?;
        self.descents += 1;
        self.evaluations += end.evaluations;
        Ok(end)
    }
}

fn float(
    way: &Way<'_>,
    hanging: &Hanging,
    buoyancy_n: f64,
    drag_area_m2: f64,
) -> Result<Shot, MooringError> {
    let water = &hanging.water;
    let pull = |height_m: f64| {
        let v = water.current.at(water.depth_m - height_m);
        let drag = times(v, 0.5 * water.density_kg_m3 * drag_area_m2 * length(v));
        plus(drag, [0.0, 0.0, buoyancy_n])
    };
    let mut count = Count::default();
    let mut end_m = |height_m: f64| -> Result<f64, MooringError> {
        let end = count.descend(way, [0.0, 0.0, height_m], pull(height_m))?;
        Ok(end.at_m[2] - hanging.foot_m)
    };
    let mut high_m = hanging.foot_m + hanging.stretched_m(buoyancy_n);
    let mut above_m = end_m(high_m)?;
    let mut doublings = 0;
    while above_m < 0.0 {
        doublings += 1;
        if doublings > DOUBLINGS {
            return Err(MooringError::NotConverged {
                iterations: doublings,
                residual: above_m,
                unit: "the height of the lower end, m",
            });
        }
        high_m += 2.0 * -above_m;
        above_m = end_m(high_m)?;
    }
    // The line is no longer than its stretched length, so its end is below the seabed when its top is on it; often this is nearer.
    let mut low_m = high_m - above_m - 0.1 * above_m - 2.0 * HEIGHT_M;
    let mut known = vec![(high_m, above_m)];
    if low_m >= hanging.foot_m {
        let below_m = end_m(low_m)?;
        known.push((low_m, below_m));
        if below_m > 0.0 {
            low_m = hanging.foot_m;
        }
    } else {
        low_m = hanging.foot_m;
    }
    let height_m = root(end_m, &known, (low_m, high_m), HEIGHT_M)?;
    if height_m > water.depth_m {
        return Err(MooringError::FloatAtSurface {
            above_m: height_m - water.depth_m,
        });
    }
    Ok(Shot {
        top_m: [0.0, 0.0, height_m],
        top_n: pull(height_m),
        count,
    })
}

fn surface(way: &Way<'_>, hanging: &Hanging, force_n: [f64; 2]) -> Result<Shot, MooringError> {
    let depth_m = hanging.water.depth_m;
    let top_m = [0.0, 0.0, depth_m];
    let pull = |up_n: f64| [force_n[0], force_n[1], up_n];
    let mut count = Count::default();
    let mut end_m = |up_n: f64| -> Result<f64, MooringError> {
        Ok(count.descend(way, top_m, pull(up_n))?.at_m[2] - hanging.foot_m)
    };
    let weight_n: f64 = hanging.weights_n().map(f64::abs).sum();
    let level_n = (force_n[0] * force_n[0] + force_n[1] * force_n[1]).sqrt();
    let mut high_n = (weight_n + level_n).max(1e-3);
    let mut low_n = 0.0;
    let mut doublings = 0;
    let mut known = Vec::new();
    loop {
        let above_m = end_m(high_n)?;
        known.push((high_n, above_m));
        if above_m <= 0.0 || above_m.is_nan() {
            break;
        }
        low_n = high_n;
        high_n *= 2.0;
        doublings += 1;
        if doublings > DOUBLINGS || !high_n.is_finite() {
            return Err(MooringError::TooShort {
                length_m: hanging.length_m(),
                depth_m,
                pull_n: high_n,
            });
        }
    }
    let up_n = root(end_m, &known, (low_n, high_n), 1e-12 * high_n)?;
    Ok(Shot {
        top_m,
        top_n: pull(up_n),
        count,
    })
}

/// A root of a function that may fail, and of which some points are `known`, between two places.
fn root(
    mut f: impl FnMut(f64) -> Result<f64, MooringError>,
    known: &[(f64, f64)],
    (low, high): (f64, f64),
    tolerance: f64,
) -> Result<f64, MooringError> {
    let mut failed = None;
    let found = brent(
        |x| match known.iter().find(|(at, _)| *at == x) {
            Some((_, y)) => *y,
            None => f(x).unwrap_or_else(|error| {
                failed = Some(error);
                f64::NAN
            }),
        },
        low,
        high,
        tolerance,
    );
    match (found, failed) {
        (_, Some(error)) => Err(error),
        (Ok(root), None) => Ok(root.x),
        (
            Err(RootError::NotConverged {
                iterations,
                residual,
                ..
            }),
            None,
        ) => Err(MooringError::NotConverged {
            iterations,
            residual,
            unit: "the height of the lower end, m",
        }),
        (Err(_), None) => Err(MooringError::NotConverged {
            iterations: 0,
            residual: high - low,
            unit: "the bracket",
        }),
    }
}

/// The shape, with the pull at its top known: followed down once more, and moved so that its anchor lies at the origin.
fn shape(way: &Way<'_>, hanging: &Hanging, shot: Shot) -> Result<Shape, MooringError> {
    let Shot {
        top_m,
        top_n,
        count,
    } = shot;
    let mut trail = Trail::default();
    let end = way.descend(top_m, top_n, PIECE * hanging.length_m(), Some(&mut trail))?;
    let level_n = [end.force_n[0], end.force_n[1], 0.0];
    let along = level(level_n);
    let mut anchor_m = end.at_m;
    let mut touch = None;
    if end.level && end.s_m > 0.0 {
        touch = Some(Touch {
            s_m: end.s_m,
            at_m: end.at_m,
        });
        trail.points.push(Point {
            s_m: end.s_m,
            at_m: end.at_m,
            force_n: level_n,
        });
        anchor_m = lie(hanging, &end, along, length(level_n), &mut trail);
    }
    let off_m = minus(anchor_m, [0.0, 0.0, hanging.foot_m]);
    let move_by = match hanging.top {
        Top::Fixed { .. } => [0.0; 3],
        Top::Float { .. } | Top::Surface { .. } => [-anchor_m[0], -anchor_m[1], 0.0],
    };
    let residual_m = match hanging.top {
        Top::Fixed { .. } => length(off_m),
        Top::Float { .. } | Top::Surface { .. } => off_m[2].abs(),
    };
    trail.points.reverse();
    for point in &mut trail.points {
        point.at_m = plus(point.at_m, move_by);
    }
    held_together(&mut trail.bodies);
    trail.bodies.sort_by_key(|(index, _)| *index);
    let moved = trail.bodies.into_iter().map(|(_, body)| AtBody {
        at_m: plus(body.at_m, move_by),
        ..body
    });
    let bodies = moved.collect();
    Ok(Shape {
        points: trail.points,
        bodies,
        anchor_n: if end.level { level_n } else { end.force_n },
        top_n,
        top_m: plus(top_m, move_by),
        touch: touch.map(|t| Touch {
            at_m: plus(t.at_m, move_by),
            ..t
        }),
        residual_m,
        effort: Effort::Shooting {
            descents: count.descents + 1,
            evaluations: count.evaluations + end.evaluations,
        },
    })
}

/// The unit vector of a horizontal pull; none at all where nothing pulls.
pub(crate) fn level(force_n: Vector) -> Vector {
    let tension_n = length(force_n);
    if tension_n > 0.0 {
        times(force_n, 1.0 / tension_n)
    } else {
        [0.0; 3]
    }
}

/// The part on the seabed, from where it is touched to the anchor. Without any pull it lies in a heap where it came down.
fn lie(hanging: &Hanging, end: &End, along: Vector, tension_n: f64, trail: &mut Trail) -> Vector {
    let mut at_m = end.at_m;
    let mut s_m = end.s_m;
    let force_n = times(along, tension_n);
    let mut stops: Vec<f64> = vec![0.0];
    let mut from_m = 0.0;
    for rope in &hanging.ropes {
        from_m += rope.length_m;
        stops.push(from_m);
    }
    stops.extend(hanging.bodies.iter().map(|body| body.at_m));
    stops.retain(|&stop_m| stop_m < end.s_m);
    // What hangs where the line becomes level of itself lies there, and was not passed on the way down.
    let passed = |trail: &Trail, body: usize| trail.bodies.iter().any(|(index, _)| *index == body);
    let here = hanging.bodies.iter().enumerate();
    if here
        .clone()
        .any(|(b, body)| body.at_m == end.s_m && !passed(trail, b))
    {
        stops.push(end.s_m);
    }
    stops.sort_by(|a, b| b.total_cmp(a));
    stops.dedup();
    for stop_m in stops {
        let strain = rope_over(hanging, stop_m).strain(tension_n);
        at_m = minus(at_m, times(along, (s_m - stop_m) * (1.0 + strain)));
        s_m = stop_m;
        trail.points.push(Point { s_m, at_m, force_n });
        for (index, body) in hanging.bodies.iter().enumerate() {
            if body.at_m == stop_m && !passed(trail, index) {
                let body = AtBody {
                    s_m,
                    at_m,
                    above_n: force_n,
                    below_n: force_n,
                };
                trail.bodies.push((index, body));
            }
        }
    }
    at_m
}

/// The rope just above a place on the line.
pub(crate) fn rope_over(hanging: &Hanging, s_m: f64) -> &crate::line::Rope {
    let mut end_m = 0.0;
    for rope in &hanging.ropes {
        end_m += rope.length_m;
        if s_m < end_m {
            return rope;
        }
    }
    hanging
        .ropes
        .last()
        .expect("a line that was checked has a rope")
}

/// By how much the end of a descent misses where the line is held.
pub(crate) fn miss_m(hanging: &Hanging, end: &End) -> Vector {
    let lower_m = if end.level && end.s_m > 0.0 {
        let level_n = [end.force_n[0], end.force_n[1], 0.0];
        let along = level(level_n);
        lie(hanging, end, along, length(level_n), &mut Trail::default())
    } else {
        end.at_m
    };
    minus(lower_m, [0.0, 0.0, hanging.foot_m])
}
