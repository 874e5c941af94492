//! Time in the queue of an uplink, in a wanted share of cases.
//!
//! Purpose: bound the time that the last of a burst of messages spends on an uplink that serves them one after the other,
//! whose attempts succeed by chance, each alike and on its own, and that can be reached only in windows.
//!
//! A burst of `m` messages is ashore after `m` successes. The number of attempts up to the m-th success is distributed
//! negative-binomially: `P(N <= n) = 1 - sum_{i<m} C(n, i) p^i (1-p)^(n-i)`. With `m = 1` it is `1 - (1-p)^n`. Each attempt takes a
//! session; each failure also its back-off. Windows: the last attempt just missed one, so the wait is `period - width + session`;
//! each window holds at least `floor((width + back-off) / (session + back-off))` attempts when some fail. A back-off that is
//! longer than the pause between windows reaches into the next, whose width counts for so much less.
//!
//! Source: textbook probability; held to scipy.stats.nbinom. Units: seconds, probabilities 0 to 1. Valid when the burst is over
//! before the next may begin, which the caller checks. Expiry and outages are not counted.

/// More attempts than this are not worth counting.
const MOST_ATTEMPTS: u32 = 10_000;
/// Rounding of a probability: a share that is reached but for this counts as reached.
const ROUNDING: f64 = 1e-12;

/// Fewest attempts after which, with probability `share`, `messages` have succeeded; `None` for more than ten thousand, and
/// for a share of 1 with attempts that may fail.
pub(crate) fn attempts_needed(messages: u32, success: f64, share: f64) -> Option<u32> {
    if success >= 1.0 || messages == 0 {
        return Some(messages);
    }
    if success.is_nan()
        || success <= 0.0
        || share.is_nan()
        || share >= 1.0
        || messages > MOST_ATTEMPTS
    {
        return None;
    }
    let m = f64::from(messages);
    // P(N = m + k) = C(m + k - 1, k) p^m (1-p)^k, in logarithms so that no power vanishes.
    let mut log_p = m * libm::log(success);
    let mut reached = 0.0;
    for failures in 0..=MOST_ATTEMPTS - messages {
        let k = f64::from(failures);
        if failures > 0 {
            log_p += libm::log((m + k - 1.0) / k) + libm::log1p(-success);
        }
        reached += libm::exp(log_p);
        if reached >= share - ROUNDING {
            return Some(messages + failures);
        }
    }
    None
}

/// Time that so many attempts take at most, from the offer to the end of the last session, s. `window_s` is the period of the
/// windows and their width. `None` when no session is sure to fit into what a back-off leaves of a window.
pub(crate) fn queue_s(
    attempts: u32,
    failures: u32,
    session_s: f64,
    back_off_s: f64,
    window_s: Option<(f64, f64)>,
) -> Option<f64> {
    let busy_s = |n: f64, failed: f64| n * session_s + failed * back_off_s;
    let (n, failed) = (f64::from(attempts), f64::from(failures));
    let Some((period_s, width_s)) = window_s else {
        return Some(busy_s(n, failed));
    };
    let pause_s = if failures == 0 { 0.0 } else { back_off_s };
    let reach_s = (pause_s - (period_s - width_s)).max(0.0);
    let fit = ((width_s - reach_s + pause_s) / (session_s + pause_s)).floor();
    if fit < 1.0 {
        return None;
    }
    let full = (n / fit).ceil().max(1.0) - 1.0;
    let rest = n - full * fit;
    let wait_s = period_s - width_s + session_s;
    Some(wait_s + full * period_s + reach_s + busy_s(rest, failed.min(rest)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `m + scipy.stats.nbinom.ppf(share, m, p)`, scipy 1.17.1.
    #[test]
    fn val_attempts_are_those_of_scipy() {
        for (messages, success, share, expected) in [
            (12, 0.95, 0.90, 14),
            (12, 0.95, 0.86, 13),
            (1, 0.9, 0.5, 1),
            (1, 0.9, 0.9, 1),
            (1, 0.9, 0.99, 2),
            (1, 0.9, 0.999, 3),
            (1, 0.5, 0.9, 4),
            (1, 0.5, 0.99, 7),
            (6, 0.7, 0.92, 11),
            (6, 0.7, 0.95, 12),
        ] {
            assert_eq!(
                attempts_needed(messages, success, share),
                Some(expected),
                "{messages} at {success} in {share}"
            );
        }
    }

    #[test]
    fn verif_what_cannot_be_has_no_number() {
        assert_eq!(attempts_needed(5, 1.0, 1.0), Some(5));
        assert_eq!(attempts_needed(5, 0.0, 0.5), None);
        assert_eq!(attempts_needed(1, 0.9, 1.0), None);
        assert_eq!(attempts_needed(1, f64::NAN, 0.5), None);
        assert_eq!(attempts_needed(1, 1e-9, 0.5), None);
    }

    fn taken(
        attempts: u32,
        failures: u32,
        back_off_s: f64,
        window_s: Option<(f64, f64)>,
    ) -> Option<f64> {
        queue_s(attempts, failures, 20.0, back_off_s, window_s)
    }

    /// By hand: windows of 100 s each 1000 s hold five sessions of 20 s. The sixth waits for the second window.
    #[test]
    fn verif_a_full_window_leaves_the_rest_to_the_next() {
        let window = Some((1000.0, 100.0));
        assert_eq!(taken(5, 0, 60.0, window), Some(920.0 + 100.0));
        assert_eq!(taken(6, 0, 60.0, window), Some(1920.0 + 20.0));
        // With failures two fit: 20 + 60 + 20 s.
        assert_eq!(taken(3, 1, 60.0, window), Some(1920.0 + 80.0));
        assert_eq!(taken(14, 2, 60.0, None), Some(400.0));
    }

    /// By hand: 30 s of a back-off of 930 s reach into the next window and leave 70 s of it, in which one attempt is sure to
    /// fit; 90 s leave 10 s, in which none is.
    #[test]
    fn verif_a_back_off_that_reaches_into_the_next_window_shortens_it() {
        let window = Some((1000.0, 100.0));
        assert_eq!(
            taken(2, 1, 930.0, window),
            Some(920.0 + 1000.0 + 30.0 + 20.0 + 930.0)
        );
        assert_eq!(taken(2, 1, 990.0, window), None);
    }

    /// The bound against the queue itself: every offset of the offer against the windows, every attempt that fails.
    #[test]
    fn verif_no_queue_is_later_than_its_bound() {
        use network::{BackOff, Failure, Uplink, UplinkEvent, UplinkMessage, UplinkSpec, Windows};
        use timeline::Ns;
        let s = |x: u64| Ns(x * 1_000_000_000);
        for (period, width, session, back_off) in
            [(1000, 100, 20, 60), (300, 100, 20, 230), (200, 110, 50, 10)]
        {
            for nth in [2, 3, 5] {
                for offset in (0..period).step_by(7) {
                    let mut uplink = Uplink::new(UplinkSpec {
                        windows: Windows::Every {
                            first: Ns::ZERO,
                            period: s(period),
                            width: s(width),
                        },
                        failure: Failure::EveryNth(nth),
                        backoff: BackOff::steady(s(back_off)),
                        ..UplinkSpec::plain(s(session), 100)
                    })
                    .unwrap();
                    for id in 0..7 {
                        uplink
                            .offer(
                                s(offset),
                                UplinkMessage {
                                    id,
                                    bytes: 50,
                                    priority: 0,
                                },
                            )
                            .unwrap();
                    }
                    let mut events = Vec::new();
                    while uplink.next().is_some() {
                        uplink.step(&mut events).unwrap();
                    }
                    let Some(UplinkEvent::Sent { id: 6, at, .. }) = events.last().copied() else {
                        panic!("the last message is sent last: {events:?}");
                    };
                    let attempts = uplink.stats().attempts as u32;
                    let bound_s = queue_s(
                        attempts,
                        attempts - 7,
                        session as f64,
                        back_off as f64,
                        Some((period as f64, width as f64)),
                    )
                    .unwrap();
                    let took_s = Ns(at.0 - s(offset).0).as_s_f64();
                    assert!(
                        took_s <= bound_s,
                        "period {period} offset {offset} every {nth}: {took_s} > {bound_s}"
                    );
                }
            }
        }
    }
}
