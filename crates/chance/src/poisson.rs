//! Tails of the Poisson law, summed outward from their edge on the side where the terms fall.

use crate::binomial::sum_terms;
use crate::loader;

/// Probabilities of at most `k` and of more than `k` events where `mean` are expected.
pub(crate) fn tails(k: u64, mean: f64) -> (f64, f64) {
    let k = k as f64;
    if mean <= 0.0 {
        return (1.0, 0.0);
    }
    if k < mean {
        let at_most = sum_terms(loader::poisson(k, mean), k, |j| {
            (j > 0.0).then(|| (j - 1.0, j / mean))
        });
        (at_most, 1.0 - at_most)
    } else {
        let more = sum_terms(loader::poisson(k + 1.0, mean), k + 1.0, |j| {
            Some((j + 1.0, mean / (j + 1.0)))
        });
        (1.0 - more, more)
    }
}
