//! Work on threads, whose results come in the order of the work and not of the threads.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// Does `count` pieces of work on threads and gives what came of them in their order; `Ok(None)` when `watch`, which gets the share
/// that is done, says not to go on.
///
/// # Errors
/// The first error in order, whichever thread met one first.
pub(crate) fn on_threads<T: Send, E: Send>(
    count: usize,
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
    work: impl Fn(usize) -> Result<T, E> + Sync,
) -> Result<Option<Vec<T>>, E> {
    let next = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    // Who says not to go on beside the last piece is heard, too, whichever thread was first.
    let cancelled = AtomicBool::new(false);
    let results: Mutex<Vec<Option<Result<T, E>>>> = Mutex::new((0..count).map(|_| None).collect());
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, count.max(1)) {
            scope.spawn(|| {
                while !stop.load(Ordering::Relaxed) {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    if i >= count {
                        return;
                    }
                    let one = work(i);
                    if one.is_err() {
                        stop.store(true, Ordering::Relaxed);
                    }
                    results.lock().unwrap_or_else(PoisonError::into_inner)[i] = Some(one);
                    let part = 1 + done.fetch_add(1, Ordering::Relaxed);
                    if !watch(part as f64 / count as f64) {
                        cancelled.store(true, Ordering::Relaxed);
                        stop.store(true, Ordering::Relaxed);
                    }
                }
            });
        }
    });
    let results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
    let mut all = Vec::with_capacity(count);
    let mut missing = cancelled.into_inner();
    for one in results {
        match one {
            Some(Ok(one)) => all.push(one),
            Some(Err(error)) => return Err(error),
            None => missing = true,
        }
    }
    Ok((!missing).then_some(all))
}
