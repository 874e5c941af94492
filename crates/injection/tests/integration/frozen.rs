//! Counts of this crate, frozen: whoever changes them raises [`injection::METHOD`], so that older evidence counts no longer.

use injection::{
    CallSound, Injection, NoiseLevel, ideal_snr_db, inject, recorded_level_db, settling_samples,
};
use signal::{HighPass, SensorChain};

use crate::bench::{HIGH_HZ, LOW_HZ, RATE_HZ, ridges, run, shaped, sweep, sweep_samples, upcalls};

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
            2,
            [([1, 45, 50, 50], 0, 0), ([45, 50, 50, 50], 0, 0)],
            -3599,
            90_557
        ),
        "the same calls in the same noise come to something else: raise `injection::METHOD` and freeze the new counts"
    );
}

/// The same behind a high-pass within the band and a converter of few steps; the level of the call in the band.
#[test]
fn regress_other_counts_behind_a_chain_are_another_method() {
    let high_pass = HighPass {
        corner_hz: 120.0,
        poles: 2,
    };
    let chain = SensorChain::new(-160.0, 20.0, Some(high_pass), 0.01, 12, RATE_HZ)
        .expect("figures of the checks that can be");
    let band_hz = (LOW_HZ, HIGH_HZ);
    let call = CallSound::new(
        &sweep_samples(90.0, 150.0, 0.7),
        RATE_HZ,
        Some(&chain),
        band_hz,
    )
    .expect("figures of the checks that can be");
    let detector = upcalls();
    let settling = settling_samples(&detector).expect("figures of the checks that can be");
    let begins: Vec<u64> = (0..50).map(|i| settling + 1500 * i).collect();
    let mut noise = shaped(7.0, 0.4).samples(9, "chain", 0, settling as usize + 100_000);
    let mut filter = chain
        .high_pass_filter()
        .expect("figures of the checks that can be")
        .expect("the chain has a high-pass");
    let sea = noise.clone();
    filter.process(&sea, &mut noise);
    let level_db =
        recorded_level_db(&[&noise], RATE_HZ, band_hz).expect("figures of the checks that can be");
    let what = Injection {
        detector: &detector,
        converter: Some(&chain),
        call: &call,
        noise_level: NoiseLevel::Same(level_db),
        snr_db: &SNR_DB,
    };
    let tally =
        inject(&what, &noise, &begins, settling).expect("figures of the checks that can be");
    let mdb = |db: f64| (1000.0 * db).round() as i64;
    assert_eq!(
        (
            injection::METHOD,
            tally.found,
            tally.by_chance,
            mdb(level_db),
            mdb(call.in_band_db())
        ),
        (2, vec![1, 41, 50, 50], 0, 88_249, -2621),
        "the same calls behind the same chain come to something else: raise `injection::METHOD` and freeze the new counts"
    );
}
