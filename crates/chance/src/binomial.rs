//! Tails of the binomial law, summed outward from their edge on the side where the terms fall.

use crate::loader;

/// Probabilities of at most `k` and of more than `k` successes in `n` trials of probability `p`.
///
/// The smaller-sided one is a sum of positive terms; the other is one minus it.
pub(crate) fn tails(k: u64, n: u64, p: f64) -> (f64, f64) {
    let (k, n) = (k as f64, n as f64);
    if p <= 0.0 {
        return (1.0, 0.0);
    }
    if k >= n {
        return (1.0, 0.0);
    }
    if p >= 1.0 {
        return (0.0, 1.0);
    }
    let odds = p / (1.0 - p);
    if k < (n + 1.0) * p {
        let at_most = sum_terms(loader::binomial(k, n, p), k, |j| {
            (j > 0.0).then(|| (j - 1.0, j / ((n - j + 1.0) * odds)))
        });
        (at_most, 1.0 - at_most)
    } else {
        let more = sum_terms(loader::binomial(k + 1.0, n, p), k + 1.0, |j| {
            (j < n).then(|| (j + 1.0, (n - j) * odds / (j + 1.0)))
        });
        (1.0 - more, more)
    }
}

/// Sum of a term and those that follow it; `step` gives the next place and the ratio of its term to the last.
pub(crate) fn sum_terms(first: f64, start: f64, step: impl Fn(f64) -> Option<(f64, f64)>) -> f64 {
    let (mut sum, mut term, mut at) = (first, first, start);
    while let Some((next, ratio)) = step(at) {
        term *= ratio;
        let grown = sum + term;
        if grown == sum {
            break;
        }
        sum = grown;
        at = next;
    }
    sum
}
