//! Counts of this crate, frozen: whoever changes them raises [`injection::METHOD`], so that older evidence counts no longer.

use injection::{ideal_snr_db, recorded_level_db};

use crate::bench::{HIGH_HZ, LOW_HZ, RATE_HZ, ridges, run, shaped, sweep, upcalls};

const SNR_DB: [f64; 4] = [-2.0, 0.0, 2.0, 4.0];

/// Calls found at each ratio, found by chance and told in the noise alone, of a level and of a ridge detector; the ratio that the ideal
/// detector needs and the level of recorded noise, thousandths of a decibel.
#[test]
fn regress_other_counts_are_another_method() {
    let sea = shaped(7.0, 0.4);
    let call = sweep(90.0, 150.0, 0.7);
    let tallies = [upcalls(), ridges()].map(|spec| {
        let tally = run(&sea, &spec, &call, &SNR_DB, 50, 0.2, 9);
        let found: [u64; 4] = tally.found.try_into().expect("a count for each ratio");
        (found, tally.by_chance, tally.false_alarms)
    });
    let mdb = |db: f64| (1000.0 * db).round() as i64;
    let ideal_db = ideal_snr_db(call.time_bandwidth(), 1e-6, 0.5).expect("a ratio that can be");
    let noise = sea.samples(9, "frozen", 0, 60_000);
    let level_db = recorded_level_db(&[&noise], RATE_HZ, (LOW_HZ, HIGH_HZ))
        .expect("figures of the checks that can be");
    assert_eq!(
        (injection::METHOD, tallies, mdb(ideal_db), mdb(level_db)),
        (
            1,
            [([1, 45, 50, 50], 0, 0), ([45, 50, 50, 50], 0, 0)],
            -3599,
            90_557
        ),
        "the same calls in the same noise come to something else: raise `injection::METHOD` and freeze the new counts"
    );
}
