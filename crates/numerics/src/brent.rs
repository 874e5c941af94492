//! Root of a function of one variable inside a bracket.
//!
//! Source: R. P. Brent, *Algorithms for Minimization without Derivatives* (Prentice-Hall, 1973), chapter 4: inverse quadratic
//! interpolation or a secant step where that shrinks the bracket fast enough, bisection otherwise.
//!
//! Symbols: `best` is the end of the bracket with the smaller `|f|` (Brent's b), `other` the end of opposite sign (c),
//! `before` the best point of the step before (a). The bracket always holds a change of sign, so a continuous `f` has a root
//! within the returned half-width.
//!
//! Validity: `f` continuous and finite on the bracket. A jump through zero is reported as a root, with the residual at it:
//! look at [`Root::residual`] where `f` may jump.

use thiserror::Error;

/// Most steps that [`brent`] takes. Bisection alone brings a bracket of 1e16 tolerances down in 54.
pub const MAX_ITERATIONS: u32 = 200;

/// A root and what it took to find it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Root {
    /// The root, in the units of the bracket.
    pub x: f64,
    /// `f(x)`, in the units of `f`.
    pub residual: f64,
    /// Steps taken after the two ends were evaluated; each costs one evaluation of `f`.
    pub iterations: u32,
}

/// Why no root was found.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum RootError {
    /// `f` has the same sign at both ends.
    #[error("no change of sign between {a} and {b}: the function is {fa} and {fb} there")]
    NotBracketed {
        /// First end.
        a: f64,
        /// Second end.
        b: f64,
        /// `f(a)`.
        fa: f64,
        /// `f(b)`.
        fb: f64,
    },
    /// An end of the bracket is infinite or not a number.
    #[error("the bracket from {a} to {b} is not finite")]
    BracketNotFinite {
        /// First end.
        a: f64,
        /// Second end.
        b: f64,
    },
    /// The tolerance is negative, infinite or not a number.
    #[error("the tolerance must be finite and not negative, not {tolerance}")]
    BadTolerance {
        /// The tolerance given.
        tolerance: f64,
    },
    /// `f` gave an infinite value or one that is not a number.
    #[error("the function is {value} at {x}")]
    FunctionNotFinite {
        /// Where.
        x: f64,
        /// What it gave.
        value: f64,
    },
    /// The bracket was still wider than the tolerance after [`MAX_ITERATIONS`] steps.
    #[error(
        "no convergence after {iterations} steps: {x} leaves {residual} within a bracket of {width}"
    )]
    NotConverged {
        /// Steps taken.
        iterations: u32,
        /// Best point so far.
        x: f64,
        /// `f` there.
        residual: f64,
        /// Width of the bracket that is left.
        width: f64,
    },
}

/// Finds a root of `f` between `a` and `b` to within `tolerance` (in the units of `a` and `b`) plus four rounding units of
/// the root itself.
///
/// `a` and `b` may come in either order. An end at which `f` is exactly zero is returned at once.
///
/// # Errors
/// Every variant of [`RootError`]; a non-finite value of `f` stops the search where it appears.
pub fn brent(
    mut f: impl FnMut(f64) -> f64,
    a: f64,
    b: f64,
    tolerance: f64,
) -> Result<Root, RootError> {
    if !a.is_finite() || !b.is_finite() {
        return Err(RootError::BracketNotFinite { a, b });
    }
    if !tolerance.is_finite() || tolerance < 0.0 {
        return Err(RootError::BadTolerance { tolerance });
    }
    let mut value = |x: f64| {
        let value = f(x);
        if value.is_finite() {
            Ok(value)
        } else {
            Err(RootError::FunctionNotFinite { x, value })
        }
    };
    let (mut before, mut f_before) = (a, value(a)?);
    let (mut best, mut f_best) = (b, value(b)?);
    if f_before == 0.0 {
        return Ok(Root {
            x: a,
            residual: f_before,
            iterations: 0,
        });
    }
    if f_best != 0.0 && (f_before > 0.0) == (f_best > 0.0) {
        return Err(RootError::NotBracketed {
            a,
            b,
            fa: f_before,
            fb: f_best,
        });
    }
    let (mut other, mut f_other) = (before, f_before);
    let mut step = best - before;
    let mut step_before = step;
    for iterations in 0..=MAX_ITERATIONS {
        if f_other.abs() < f_best.abs() {
            (before, f_before) = (best, f_best);
            (best, f_best) = (other, f_other);
            (other, f_other) = (before, f_before);
        }
        let least_step = 2.0 * f64::EPSILON * best.abs() + 0.5 * tolerance;
        let half = 0.5 * (other - best);
        if half.abs() <= least_step || f_best == 0.0 {
            return Ok(Root {
                x: best,
                residual: f_best,
                iterations,
            });
        }
        if iterations == MAX_ITERATIONS {
            break;
        }
        let interpolated = if step_before.abs() >= least_step && f_before.abs() > f_best.abs() {
            interpolated_step(
                (before, f_before),
                (best, f_best),
                (other, f_other),
                least_step,
                step_before,
            )
        } else {
            None
        };
        (step_before, step) = match interpolated {
            Some(short) => (step, short),
            None => (half, half),
        };
        (before, f_before) = (best, f_best);
        best += if step.abs() > least_step {
            step
        } else {
            least_step.copysign(half)
        };
        f_best = value(best)?;
        if (f_best > 0.0) == (f_other > 0.0) {
            (other, f_other) = (before, f_before);
            step = best - before;
            step_before = step;
        }
    }
    Err(RootError::NotConverged {
        iterations: MAX_ITERATIONS,
        x: best,
        residual: f_best,
        width: (other - best).abs(),
    })
}

/// The secant or inverse quadratic step from `best`, or `None` where it leaves three quarters of the bracket or fails to
/// halve the step before last (Brent's two conditions).
fn interpolated_step(
    (before, f_before): (f64, f64),
    (best, f_best): (f64, f64),
    (other, f_other): (f64, f64),
    least_step: f64,
    step_before: f64,
) -> Option<f64> {
    let half = 0.5 * (other - best);
    let s = f_best / f_before;
    let (p, q) = if before == other {
        (2.0 * half * s, 1.0 - s)
    } else {
        let (q, r) = (f_before / f_other, f_best / f_other);
        (
            s * (2.0 * half * q * (q - r) - (best - before) * (r - 1.0)),
            (q - 1.0) * (r - 1.0) * (s - 1.0),
        )
    };
    let (p, q) = if p > 0.0 { (p, -q) } else { (-p, q) };
    let inside = 2.0 * p < 3.0 * half * q - (least_step * q).abs();
    let halves = p < (0.5 * step_before * q).abs();
    (inside && halves).then(|| p / q)
}
