//! What detectors lose against the ideal energy detector of Urkowitz (1967), in stationary noise.
//!
//! Both are compared at the same rate of false alarms: the detector's are counted on noise alone, and the ideal one decides
//! once in the length of the call, so its false alarm a decision is that rate times the length.

use injection::{Bound, ideal_snr_db};

use crate::bench::{Sea, alarms_per_h, curve, level_detector, run, shaped, sized, sweep, white};

/// The loss that is allowed against the ideal energy detector of the same band and window, dB.
const MOST_LOSS_DB: f64 = 2.0;
/// What counting 150 calls and some dozens of false alarms may make of a loss of nothing, dB: three standard deviations.
const COUNTING_DB: f64 = 0.5;

/// Loss at a half and at nine tenths of all calls, dB.
fn losses_db(
    sea: &Sea,
    window_s: f64,
    threshold_db: f64,
    over_s: Option<f64>,
    calls: usize,
    alone_h: f64,
) -> [f64; 2] {
    let call = sweep(80.0, 270.0, 1.0);
    let snr_db: Vec<f64> = (0..19).map(|i| -9.0 + 0.5 * f64::from(i)).collect();
    let threshold_db = match over_s {
        Some(_) => threshold_db,
        None => sea.level_db + threshold_db,
    };
    let detector = level_detector(window_s, threshold_db, over_s);
    let tally = run(sea, &detector, &call, &snr_db, calls, alone_h, 41);
    assert!(tally.false_alarms >= 20, "{tally:?}");
    let curve = curve(&tally, &snr_db);
    let false_alarm = alarms_per_h(&tally) * call.duration_s() / 3600.0;
    [0.5, 0.9].map(|share| {
        let needed_db = curve
            .snr_at(share, Bound::Seen)
            .expect("a ratio of the curve");
        let ideal_db =
            ideal_snr_db(call.time_bandwidth(), false_alarm, share).expect("a ratio of the curve");
        needed_db - ideal_db
    })
}

#[track_caller]
fn holds(loss_db: f64, low_db: f64, high_db: f64) {
    assert!((low_db..=high_db).contains(&loss_db), "{loss_db} dB");
}

fn within_two_decibels(calls: usize, alone_h: f64) {
    for sea in [white(), shaped(8.0, 0.4)] {
        for (over_s, threshold_db) in [(None, 0.8), (Some(30.0), 0.8)] {
            for loss_db in losses_db(&sea, 1.0, threshold_db, over_s, calls, alone_h) {
                holds(loss_db, -COUNTING_DB, MOST_LOSS_DB);
            }
        }
    }
}

/// Of a call of 1 s, windows of 0.25 s that decide by themselves waste three quarters of the energy, and gain four chances.
fn the_loss_of_a_short_window(calls: usize, alone_h: f64) -> f64 {
    let matched = losses_db(&white(), 1.0, 0.8, None, calls, alone_h);
    let short = losses_db(&white(), 0.25, 1.7, None, calls, alone_h);
    short[0] - matched[0]
}

#[test]
fn verif_a_matched_window_is_within_two_decibels_of_the_ideal_energy_detector() {
    within_two_decibels(sized(150, 2000), sized(2.0, 20.0));
}

#[test]
fn verif_a_window_of_a_quarter_of_the_call_costs_about_two_decibels() {
    let loss_db = the_loss_of_a_short_window(sized(250, 2000), sized(2.0, 20.0));
    holds(loss_db, sized(1.2, 1.4), sized(2.8, 2.4));
}
