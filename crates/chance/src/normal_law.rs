//! The standard normal law: shares below a value, and the value at a share.

/// Share of the standard normal law below `x`: `erfc(-x / sqrt 2) / 2` (definition), to a few units in the last place, also
/// far below 0; not a number for one.
#[must_use]
pub fn normal_share_below(x: f64) -> f64 {
    0.5 * libm::erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which a share of the standard normal law lies, the inverse of [`normal_share_below`]; minus infinity for 0,
/// infinity for 1, not a number for what is no share.
///
/// Newton's method on the logarithm of the share below, which bends one way only, so that from a start on the lower side,
/// `x = -sqrt(-2 ln p)` (half of exp(-x^2/2) bounds the tail), no step goes past the root. Above one half by symmetry. To a few units in the last place.
#[must_use]
pub fn normal_value_at_share(share: f64) -> f64 {
    if !(0.0..=1.0).contains(&share) {
        return f64::NAN;
    }
    if share > 0.5 {
        // The complement of a number in [1/2, 1] is exact.
        return -normal_value_at_share(1.0 - share);
    }
    if share == 0.0 {
        return f64::NEG_INFINITY;
    }
    let wanted = libm::log(share);
    let mut x = -(-2.0 * wanted).sqrt();
    for _ in 0..MOST_STEPS {
        let below = normal_share_below(x);
        let slope = density(x) / (ROOT_TWO_PI * below);
        let next = x + (wanted - libm::log(below)) / slope;
        // Steps towards the root end where rounding turns them back.
        if next.is_nan() || next <= x {
            break;
        }
        x = next;
    }
    x
}

/// Far more than the dozen steps that any share takes.
const MOST_STEPS: usize = 100;

/// sqrt(2 pi).
const ROOT_TWO_PI: f64 = 2.506_628_274_631_000_5;

/// The density without its factor, exp(-x^2 / 2).
pub(crate) fn density(x: f64) -> f64 {
    libm::exp(-0.5 * x * x)
}
