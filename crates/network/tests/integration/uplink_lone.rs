//! The time of a lone message: closed forms, and the queue itself, which is held to SimPy.

use network::{
    BackOff, Failure, LoneDelay, Outcome, Uplink, UplinkEvent, UplinkMessage, UplinkSpec, Windows,
    lone_delay,
};
use timeline::Ns;

fn s(seconds: f64) -> Ns {
    Ns::from_s_f64(seconds).unwrap()
}

fn windows(period_s: f64, width_s: f64) -> Windows {
    Windows::Every {
        first: Ns::ZERO,
        period: s(period_s),
        width: s(width_s),
    }
}

fn close(ours: f64, theirs: f64, tolerance: f64) {
    assert!((ours - theirs).abs() <= tolerance, "{ours} {theirs}");
}

/// Mean wait of a random arrival for a window: (P - W)^2 / (2 P), 2594.7 s for 6000 s and 420 s (textbook).
#[test]
fn val_mean_wait_for_a_window() {
    let spec = UplinkSpec {
        windows: windows(6000.0, 421.0),
        ..UplinkSpec::plain(s(1.0), 100)
    };
    let delay = lone_delay(&spec, 1.0).unwrap();
    close(delay.mean_s().unwrap() - 1.0, 2594.7, 1e-9);
    // A share of W/P begins at once; the others wait uniformly up to P - W.
    close(delay.share_within(1.0), 420.0 / 6000.0, 1e-12);
    close(
        delay.share_within(1.0 + 2790.0),
        420.0 / 6000.0 + 2790.0 / 6000.0,
        1e-12,
    );
    close(delay.within_s(1.0).unwrap(), 5581.0, 1e-4);
    assert_eq!((delay.given_up, delay.left), (0.0, 0.0));
}

/// Attempts 1/p in the mean, P(all k fail) = (1-p)^k (textbook).
#[test]
fn val_attempts_are_geometric() {
    let spec = UplinkSpec {
        backoff: BackOff::steady(s(60.0)),
        ..UplinkSpec::plain(s(20.0), 100)
    };
    for p in [0.25_f64, 0.6, 0.95, 1.0] {
        let delay = lone_delay(&spec, p).unwrap();
        close(
            delay.mean_s().unwrap(),
            20.0 / p + 60.0 * (1.0 / p - 1.0),
            1e-5,
        );
        for k in 0..6_i32 {
            let within = delay.share_within(20.0 + 80.0 * f64::from(k));
            close(within, 1.0 - (1.0 - p).powi(k + 1), 1e-12);
        }
    }
    assert_eq!(lone_delay(&spec, 0.0), None);
    assert_eq!(lone_delay(&spec, f64::NAN), None);
}

/// By hand: failures at 0 and 10 + 20 s; with an expiry of 25 s no third attempt begins at 30 + 10 + 40 s: 0.5 + 0.25 come ashore ... the third begins at age 80.
#[test]
fn verif_what_is_too_old_is_given_up() {
    let spec = UplinkSpec {
        backoff: BackOff {
            first: s(20.0),
            growth: 2,
            longest: s(40.0),
        },
        expiry: Some(s(35.0)),
        ..UplinkSpec::plain(s(10.0), 100)
    };
    let delay = lone_delay(&spec, 0.5).unwrap();
    close(delay.share_within(1e9), 0.75, 1e-12);
    close(delay.given_up, 0.25, 1e-12);
    assert_eq!(delay.within_s(0.8), None);
    close(delay.within_s(0.75).unwrap(), 40.0, 1e-4);
}

/// Offers at each of 2000 instants of the period through the queue, weighed by the chance of each number of failures.
fn stepped(spec: &UplinkSpec, success: f64, period_s: f64, times_s: &[f64]) -> (Vec<f64>, f64) {
    const OFFERS: usize = 2000;
    const FAILURES: u64 = 40;
    let (mut within, mut given_up) = (vec![0.0; times_s.len()], 0.0);
    for i in 0..OFFERS {
        let at = s((i as f64 + 0.5) / OFFERS as f64 * period_s);
        for failures in 0..FAILURES {
            let mut uplink = Uplink::new(UplinkSpec {
                failure: Failure::Asked,
                ..*spec
            })
            .unwrap();
            let message = UplinkMessage {
                id: 0,
                bytes: 1,
                priority: 0,
            };
            uplink.offer(at, message).unwrap();
            let mut out = Vec::new();
            while uplink.next().is_some() {
                uplink.step_asking(&mut out, |attempt| match attempt > failures {
                    true => Outcome::Arrived,
                    false => Outcome::Failed,
                });
            }
            let share = success * (1.0 - success).powi(failures as i32) / OFFERS as f64;
            match out.last() {
                Some(UplinkEvent::Sent { at: sent, .. }) => {
                    let took_s = Ns(sent.0 - at.0).as_s_f64();
                    for (sum, time_s) in within.iter_mut().zip(times_s) {
                        *sum += if took_s <= *time_s { share } else { 0.0 };
                    }
                }
                _ => given_up += share,
            }
        }
    }
    (within, given_up)
}

#[test]
fn verif_the_distribution_is_that_of_the_queue() {
    for (period_s, width_s, session_s, expiry) in [
        (3000.0, 400.0, 40.0, None),
        (900.0, 130.0, 50.0, Some(s(2000.0))),
        (500.0, 460.0, 30.0, Some(s(700.0))),
    ] {
        let spec = UplinkSpec {
            windows: windows(period_s, width_s),
            backoff: BackOff {
                first: s(35.0),
                growth: 3,
                longest: s(400.0),
            },
            expiry,
            ..UplinkSpec::plain(s(session_s), 100)
        };
        let times_s: Vec<f64> = (1..30).map(|i| f64::from(i) * 0.317 * period_s).collect();
        let delay: LoneDelay = lone_delay(&spec, 0.55).unwrap();
        let (within, given_up) = stepped(&spec, 0.55, period_s, &times_s);
        // Offers are 1/2000 of a period apart.
        for (ours, time_s) in within.iter().zip(&times_s) {
            close(delay.share_within(*time_s), *ours, 2e-3);
        }
        close(delay.given_up, given_up, 2e-3);
    }
}
