//! Results of work done side by side, in index order.

use rayon::prelude::*;

/// All results in index order, or of several errors the one with the lowest index, whichever came first in time: a `collect`
/// into a `Result` would tell the one that came first.
///
/// # Errors
/// The first in index order.
pub fn in_order<T: Send, E: Send>(
    results: impl ParallelIterator<Item = Result<T, E>>,
) -> Result<Vec<T>, E> {
    results.collect::<Vec<_>>().into_iter().collect()
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicBool, Ordering};

    use super::*;

    /// The first fails only once the second has failed.
    #[test]
    fn verif_the_first_error_in_order_is_told() {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(2)
            .build()
            .unwrap();
        let later_failed = AtomicBool::new(false);
        let told = pool.install(|| {
            in_order((0..2).into_par_iter().map(|i| {
                if i == 1 {
                    later_failed.store(true, Ordering::Release);
                }
                while !later_failed.load(Ordering::Acquire) {
                    std::thread::yield_now();
                }
                Err::<(), usize>(i)
            }))
        });
        assert_eq!(told, Err(0));
        let fine = in_order((0..9).into_par_iter().map(Ok::<usize, ()>));
        assert_eq!(fine, Ok((0..9).collect()));
    }
}
