//! The chi-square law, central and noncentral, and the Marcum Q function.
//!
//! Sources: M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions" (1964), 26.4.19 (the central law is an
//! incomplete gamma function), 6.5.29 (its series), 26.4.25 (the noncentral law is a mixture of central ones with Poisson
//! weights); J. I. Marcum, "A statistical theory of target detection by pulsed radar", IRE Transactions on Information
//! Theory 6 (1960), 59 (Q function). The continued fraction of the upper part is Legendre's, run forward by the method of
//! W. J. Lentz, Applied Optics 15 (1976), 668. Factors `x^a e^-x / Gamma(a + 1)` are [`crate::loader::poisson`], which holds
//! for any `a` above zero and keeps its digits where `a` is large.
//!
//! Symbols: `a` half the degrees of freedom, `x` half the value, `l` half the noncentrality.
//!
//! Validity: 0.1 to 1e7 degrees of freedom, values and noncentralities from 0 to 1e8. Accuracy: 1e-12 of the share down to
//! shares of 1e-200 up to 10,000 degrees of freedom and 1e-10 at 20,000 (checked against 50 digits); more are not checked.

use crate::limits::bisect;
use crate::loader::poisson;

/// Fewest and most degrees of freedom.
const DEGREES: (f64, f64) = (0.1, 1e7);
/// Largest value or noncentrality.
const MOST: f64 = 1e8;
/// In standard deviations of a Poisson law: what lies further below its middle is less than 1e-21 of the sum.
const LOW_END: f64 = 10.0;

/// Why a law gives no number.
#[derive(Clone, Copy, PartialEq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LawError {
    /// A value outside the range in which the law is computed.
    #[error("{what} must lie between {low} and {high}, not {value}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
        /// Least.
        low: f64,
        /// Most.
        high: f64,
    },
}

fn within(what: &'static str, value: f64, low: f64, high: f64) -> Result<f64, LawError> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err(LawError::OutOfRange {
        what,
        value,
        low,
        high,
    })
}

fn checked_degrees(degrees: f64) -> Result<f64, LawError> {
    within("the degrees of freedom", degrees, DEGREES.0, DEGREES.1)
}

/// Share of the chi-square law of `degrees` degrees of freedom (any number, whole or not) above `value`.
///
/// # Errors
/// [`LawError`] outside 0.1 to 1e7 degrees of freedom or values of 0 to 1e8.
pub fn chi_square_share_above(value: f64, degrees: f64) -> Result<f64, LawError> {
    let a = 0.5 * checked_degrees(degrees)?;
    let x = 0.5 * within("a chi-square value", value, 0.0, MOST)?;
    Ok(upper(a, x))
}

/// The value that a share of `share` of the chi-square law of `degrees` degrees of freedom exceeds.
///
/// # Errors
/// [`LawError`] outside 0.1 to 1e7 degrees of freedom or shares of 1e-200 to 1.
pub fn chi_square_exceeded_by(share: f64, degrees: f64) -> Result<f64, LawError> {
    let a = 0.5 * checked_degrees(degrees)?;
    let share = within("a share", share, 1e-200, 1.0)?;
    Ok(2.0 * bisect(MOST, |x| upper(a, x) > share))
}

/// Share of the noncentral chi-square law of `degrees` degrees of freedom and noncentrality `noncentrality` (the sum of the
/// squared means) above `value`.
///
/// # Errors
/// [`LawError`] outside 0.1 to 1e7 degrees of freedom, or values and noncentralities of 0 to 1e8.
pub fn noncentral_chi_square_share_above(
    value: f64,
    degrees: f64,
    noncentrality: f64,
) -> Result<f64, LawError> {
    let a = 0.5 * checked_degrees(degrees)?;
    let x = 0.5 * within("a chi-square value", value, 0.0, MOST)?;
    let l = 0.5 * within("a noncentrality", noncentrality, 0.0, MOST)?;
    if l == 0.0 || x == 0.0 {
        return Ok(upper(a, x));
    }
    Ok(mixture(a, x, l))
}

/// The Marcum Q function of order `order`: the share of the noncentral chi law above `b`, `Q_m(a, b)`, which is that of the
/// noncentral chi-square law of 2 m degrees of freedom and noncentrality a^2 above b^2.
///
/// # Errors
/// [`LawError`] outside orders of 0.05 to 5e6 or arguments of 0 to 1e4.
pub fn marcum_q(order: f64, a: f64, b: f64) -> Result<f64, LawError> {
    let order = within("an order", order, 0.5 * DEGREES.0, 0.5 * DEGREES.1)?;
    let a = within("the first argument", a, 0.0, MOST.sqrt())?;
    let b = within("the second argument", b, 0.0, MOST.sqrt())?;
    noncentral_chi_square_share_above(b * b, 2.0 * order, a * a)
}

/// Sum of Poisson weights times central shares, upward from where the terms are still nothing.
///
/// All terms are above zero, and going up both factors follow from the last ones by sums and products of positive numbers:
/// `Q(a + 1, x) = Q(a, x) + x^a e^-x / Gamma(a + 1)`.
fn mixture(a: f64, x: f64, l: f64) -> f64 {
    // Where Q(a + j, x) is about its density, terms go as (x l)^j / (j! Gamma(a + j + 1)): largest where
    // (j + 1)(a + j + 1) = x l. Where it is about one, they are largest at j = l.
    let rising = 0.5 * ((a * a + 4.0 * x * l).sqrt() - a) - 1.0;
    let largest = if a + rising < x { rising.max(l) } else { l };
    let first = (largest - LOW_END * (largest + 1.0).sqrt() - 20.0)
        .floor()
        .max(0.0);
    let mut j = first;
    let mut weight = poisson(j, l);
    let mut share = upper(a + j, x);
    let mut density = poisson(a + j, x);
    let mut sum = 0.0;
    loop {
        sum += weight * share;
        share = (share + density).min(1.0);
        j += 1.0;
        density *= x / (a + j);
        weight *= l / j;
        // From here on the weights fall by at least half, or too slowly only where they still matter.
        if j > l && weight <= 1e-17 * sum * (1.0 - l / (j + 1.0)) {
            return sum.min(1.0);
        }
    }
}

/// Upper regularised incomplete gamma function.
fn upper(a: f64, x: f64) -> f64 {
    if x == 0.0 {
        return 1.0;
    }
    if x < a + 1.0 {
        return 1.0 - poisson(a, x) * series(a, x);
    }
    poisson(a, x) * a * fraction(a, x)
}

/// `1 + x/(a+1) + x^2/((a+1)(a+2)) + ...`
fn series(a: f64, x: f64) -> f64 {
    let (mut sum, mut term, mut below) = (1.0, 1.0, a);
    loop {
        below += 1.0;
        term *= x / below;
        let next = sum + term;
        if next == sum {
            return sum;
        }
        sum = next;
    }
}

/// `1/(x+1-a- 1(1-a)/(x+3-a- 2(2-a)/(x+5-a- ...)))`, for `x >= a + 1`.
fn fraction(a: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - a;
    let mut c = f64::INFINITY;
    let mut d = 1.0 / b;
    let mut value = d;
    let mut n = 1.0;
    loop {
        let over = -n * (n - a);
        b += 2.0;
        d = 1.0 / (over * d + b);
        c = b + over / c;
        let step = c * d;
        value *= step;
        if (step - 1.0).abs() < 1e-16 {
            return value;
        }
        n += 1.0;
    }
}
