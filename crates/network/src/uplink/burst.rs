//! How many attempts a burst of messages takes, in a wanted share of cases, where attempts hang together by the sea.
//!
//! `m` messages are ashore after `m` successes. Followed are the weights of calm and high by the number of successes and of failures; between two attempts the sea goes on by the time that the one
//! before took, a session after a success, a session and its back-off after a failure ([`Tries`]). With one chance for all it is the negative-binomial law (textbook probability).

use super::tries::Tries;

/// More attempts than this are not worth counting.
const MOST_ATTEMPTS: u32 = 10_000;
/// Attempts times messages that are followed at most.
const MOST_CELLS: u64 = 20_000_000;
/// Rounding of a probability: a share that is reached but for this counts as reached.
const ROUNDING: f64 = 1e-12;

/// Fewest attempts after which, with this probability, so many messages have gone up one after another; `None` for more than are counted, and for what is no probability below 1. The times after a
/// success and after a failure until the next attempt, s, not negative.
#[must_use]
pub fn attempts_for_burst(
    tries: &Tries,
    messages: u32,
    (after_success_s, after_failure_s): (f64, f64),
    share: f64,
) -> Option<u32> {
    if messages == 0 {
        return Some(0);
    }
    if !(0.0..1.0).contains(&share) || !tries.is_sane() || messages > MOST_ATTEMPTS {
        return None;
    }
    let m = messages as usize;
    let left_success = tries.left_after(after_success_s);
    let left_failure = tries.left_after(after_failure_s);
    // By successes: the weights as an attempt begins, for the number of failures so far.
    let mut begins = vec![[0.0; 2]; m];
    begins[0] = tries.chain.at_rest();
    let mut reached = 0.0;
    for failures in 0..=(MOST_ATTEMPTS - messages) {
        if u64::from(failures) * u64::from(messages) > MOST_CELLS {
            return None;
        }
        for successes in 0..m {
            let [calm, high] = begins[successes];
            let (ashore, stays) = tries.attempt([calm, high]);
            let moved = [calm * tries.calm_succeeds, high * tries.high_succeeds];
            match begins.get_mut(successes + 1) {
                Some(next) => {
                    let moved = tries.chain.with_left(moved, left_success);
                    next[0] += moved[0];
                    next[1] += moved[1];
                }
                None => reached += ashore,
            }
            begins[successes] = tries.chain.with_left(stays, left_failure);
        }
        if reached >= share - ROUNDING {
            return Some(messages + failures);
        }
    }
    None
}
