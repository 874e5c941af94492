//! Shooting from a fixed point: three unknowns, the pull at the top, by Newton's method with a step that is halved until the miss shrinks.

use crate::descend::Way;
use crate::error::MooringError;
use crate::line::Hanging;
use crate::shoot::{Count, HEIGHT_M, Shot, miss_m};
use crate::vector::{Vector, length, minus, plus, times};

/// Most Newton steps.
const STEPS: u32 = 60;
/// Most halvings of one.
const HALVINGS: u32 = 30;

pub(crate) fn shoot(way: &Way<'_>, hanging: &Hanging, top_m: Vector) -> Result<Shot, MooringError> {
    let length_m = hanging.length_m();
    let distance_m = length(minus(top_m, [0.0, 0.0, hanging.foot_m]));
    let stretches = hanging.ropes.iter().any(|rope| rope.stiffness_n.is_some());
    if distance_m >= length_m && !stretches {
        return Err(MooringError::OutOfReach {
            distance_m,
            length_m,
        });
    }
    let mut count = Count::default();
    let mut miss = |force_n: Vector| -> Result<Vector, MooringError> {
        Ok(miss_m(hanging, &count.descend(way, top_m, force_n)?))
    };
    let mut force_n = first_guess(hanging, top_m);
    let mut off = miss(force_n)?;
    for _ in 0..STEPS {
        if length(off) < HEIGHT_M {
            return Ok(Shot {
                top_m,
                top_n: force_n,
                count,
            });
        }
        let nudge_n = 1e-6 * length(force_n);
        let mut columns = [[0.0; 3]; 3];
        for axis in 0..3 {
            let mut nudged = force_n;
            nudged[axis] += nudge_n;
            let there = miss(nudged)?;
            for row in 0..3 {
                columns[axis][row] = (there[row] - off[row]) / nudge_n;
            }
        }
        let Some(step) = solve(columns, times(off, -1.0)) else {
            break;
        };
        let mut share = 1.0;
        let mut better = None;
        for _ in 0..HALVINGS {
            let tried = plus(force_n, times(step, share));
            // A step may lead to where the line cannot be followed.
            if let Ok(there) = miss(tried)
                && length(there) < length(off)
            {
                better = Some((tried, there));
                break;
            }
            share *= 0.5;
        }
        let Some((tried, there)) = better else {
            break;
        };
        (force_n, off) = (tried, there);
    }
    Err(MooringError::NotConverged {
        iterations: STEPS,
        residual: length(off),
        unit: "the distance of the lower end from the anchor, m",
    })
}

/// The pull of a shallow parabola (a chord of length `d` across and a slack of `k - d`), or of the stretch where the line is taut.
fn first_guess(hanging: &Hanging, top_m: Vector) -> Vector {
    let length_m = hanging.length_m();
    let across_m = (top_m[0] * top_m[0] + top_m[1] * top_m[1]).sqrt();
    let weight_n: f64 = hanging.weights_n().sum();
    let rise_m = top_m[2] - hanging.foot_m;
    let slack = length_m * length_m - rise_m * rise_m;
    let spread_m = if slack > 0.0 { slack.sqrt() } else { 0.0 };
    let per_m = weight_n.abs() / length_m;
    let level_n = if spread_m > across_m && across_m > 0.0 {
        per_m * across_m * (across_m / (24.0 * (spread_m - across_m))).sqrt()
    } else {
        weight_n.abs()
    };
    // What stretches the line to the distance of its ends.
    let chord_m = (across_m * across_m + rise_m * rise_m).sqrt();
    let given_m_n: f64 = hanging
        .ropes
        .iter()
        .filter_map(|rope| Some(rope.length_m / rope.stiffness_n?))
        .sum();
    let level_n = if chord_m > length_m && given_m_n > 0.0 {
        level_n.max((chord_m - length_m) / given_m_n * across_m / chord_m)
    } else {
        level_n
    };
    let toward = if across_m > 0.0 {
        [top_m[0] / across_m, top_m[1] / across_m]
    } else {
        [0.0, 0.0]
    };
    let rise = if across_m > 0.0 {
        rise_m / across_m
    } else {
        1.0
    };
    [
        toward[0] * level_n,
        toward[1] * level_n,
        0.5 * weight_n + level_n * rise,
    ]
}

/// Solves `columns x = right` by Cramer's rule; `None` where the columns are dependent.
fn solve(columns: [[f64; 3]; 3], right: Vector) -> Option<Vector> {
    let [a, b, c] = columns;
    let of = |a: Vector, b: Vector, c: Vector| {
        a[0] * (b[1] * c[2] - b[2] * c[1]) - b[0] * (a[1] * c[2] - a[2] * c[1])
            + c[0] * (a[1] * b[2] - a[2] * b[1])
    };
    let whole = of(a, b, c);
    let x = [
        of(right, b, c) / whole,
        of(a, right, c) / whole,
        of(a, b, right) / whole,
    ];
    x.iter().all(|x| x.is_finite()).then_some(x)
}
