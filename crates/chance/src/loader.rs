//! Binomial and Poisson probabilities without loss of digits.
//!
//! Source: C. Loader, "Fast and accurate computation of binomial probabilities" (2000): the saddle-point form, with
//! the error of Stirling's formula and the deviance computed apart.
//!
//! Symbols: `stirling_error`(n) = ln n! - ln(sqrt(2 pi n) (n/e)^n); `deviance`(x, m) = x ln(x/m) + m - x.
//! Validity: counts from 0 to 2^53, 0 < p < 1, mean > 0. Accuracy: about 1e-14 of the value near the mean, and
//! |ln probability| times 1e-16 far from it.

use std::f64::consts::PI;

/// Above this the series of five terms is exact to an f64; below, the definition is.
const SERIES_FROM: f64 = 16.0;

/// Probability of `x` successes in `n` trials of probability `p` each.
pub(crate) fn binomial(x: f64, n: f64, p: f64) -> f64 {
    if x == 0.0 {
        return libm::exp(n * libm::log1p(-p));
    }
    if x == n {
        return libm::exp(n * libm::log(p));
    }
    let q = 1.0 - p;
    let exponent = stirling_error(n)
        - stirling_error(x)
        - stirling_error(n - x)
        - deviance(x, n * p)
        - deviance(n - x, n * q);
    libm::exp(exponent) * (n / (2.0 * PI * x * (n - x))).sqrt()
}

/// Probability of `x` events where `mean` are expected.
pub(crate) fn poisson(x: f64, mean: f64) -> f64 {
    if x == 0.0 {
        return libm::exp(-mean);
    }
    libm::exp(-stirling_error(x) - deviance(x, mean)) / (2.0 * PI * x).sqrt()
}

fn stirling_error(n: f64) -> f64 {
    if n < SERIES_FROM {
        let half_log_two_pi = 0.5 * libm::log(2.0 * PI);
        return libm::lgamma(n + 1.0) - (n + 0.5) * libm::log(n) + n - half_log_two_pi;
    }
    let inverse_square = 1.0 / (n * n);
    let tail = 1.0 / 1260.0 - (1.0 / 1680.0 - inverse_square / 1188.0) * inverse_square;
    (1.0 / 12.0 - (1.0 / 360.0 - tail * inverse_square) * inverse_square) / n
}

fn deviance(x: f64, mean: f64) -> f64 {
    let difference = x - mean;
    if difference.abs() >= 0.1 * (x + mean) {
        return x * libm::log(x / mean) - difference;
    }
    let ratio = difference / (x + mean);
    let mut sum = difference * ratio;
    let mut term = 2.0 * x * ratio;
    let mut odd = 3.0;
    loop {
        term *= ratio * ratio;
        let next = sum + term / odd;
        if next == sum {
            return sum;
        }
        sum = next;
        odd += 2.0;
    }
}
