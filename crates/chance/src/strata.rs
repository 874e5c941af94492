//! Latin hypercube samples: one dimension at a time.
//!
//! Source: M. D. McKay, R. J. Beckman and W. J. Conover, "A comparison of three methods for selecting values of input
//! variables in the analysis of output from a computer code", Technometrics 21 (1979), 239: the unit interval is cut into
//! as many equal strata as there are draws, each stratum gets one draw at a uniform place in it, and the strata of each
//! dimension come in a random order of their own. The order is that of R. Durstenfeld, "Algorithm 235: Random
//! permutation", Communications of the ACM 7 (1964), 420.
//!
//! The columns of several streams, side by side, are the hypercube. As each dimension has a named stream of its own, a
//! dimension that is added moves no number in another.

use std::num::NonZeroU64;

use crate::Stream;

/// One dimension of a Latin hypercube of so many draws: numbers between 0 and 1, neither included, exactly one in each of the
/// `draws` equal strata, in random order.
///
/// Takes `draws - 1` whole numbers and then `draws` uniform ones from the stream, more where one is rejected.
#[must_use]
pub fn strata(stream: &mut Stream, draws: usize) -> Vec<f64> {
    let mut order: Vec<usize> = (0..draws).collect();
    for last in (1..draws).rev() {
        let choices = NonZeroU64::new(last as u64 + 1).expect("one more than an index is not zero");
        order.swap(last, stream.below(choices) as usize);
    }
    let within = |stratum: usize| {
        let count = draws as f64;
        loop {
            let place = (stratum as f64 + stream.uniform()) / count;
            // Neither the lower end of the first stratum nor, by rounding, the upper end of any.
            if place > 0.0 && place < (stratum as f64 + 1.0) / count {
                return place;
            }
        }
    };
    order.into_iter().map(within).collect()
}
