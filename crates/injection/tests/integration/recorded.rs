//! Noise whose level is not known beforehand.

use injection::{
    Injection, InjectionError, NoiseLevel, inject, recorded_level_db, settling_samples,
    tail_samples,
};
use signal::{HighPass, SensorChain};

use crate::bench::{HIGH_HZ, LOW_HZ, RATE_HZ, shaped, sweep, upcalls, white};

fn chain(high_pass: Option<HighPass>) -> SensorChain {
    SensorChain::new(-160.0, 0.0, high_pass, 1.0, 24, RATE_HZ)
        .expect("figures of the checks that can be")
}

/// Ten minutes in a band of 250 Hz are 150,000 independent values: a standard deviation of 0.01 dB.
#[test]
fn verif_the_level_of_noise_is_that_of_its_density() {
    for sea in [white(), shaped(8.0, 0.4)] {
        let noise = sea.samples(3, "level", 0, 600_000);
        let (a, b) = noise.split_at(200_000);
        let level_db = recorded_level_db(&[a, b], RATE_HZ, None, (LOW_HZ, HIGH_HZ)).unwrap();
        let off_db = level_db - sea.level_db;
        assert!(off_db.abs() < 0.1, "{off_db} dB");
    }
}

/// A high-pass that takes some decibels of the band away is given back; without that the level is more than a decibel too low.
#[test]
fn verif_what_the_high_pass_took_is_given_back() {
    let high_pass = HighPass {
        corner_hz: 150.0,
        poles: 2,
    };
    let chain = chain(Some(high_pass));
    let sea = white();
    let noise = sea.samples(4, "high-pass", 0, 300_000);
    let mut heard = vec![0.0; noise.len()];
    let mut filter = chain.high_pass_filter().unwrap().unwrap();
    filter.process(&noise, &mut heard);
    let band = (LOW_HZ, HIGH_HZ);
    let given = recorded_level_db(&[&heard], RATE_HZ, Some(&chain), band).unwrap() - sea.level_db;
    let bare = recorded_level_db(&[&heard], RATE_HZ, None, band).unwrap() - sea.level_db;
    assert!(given.abs() < 0.15 && bare < -1.0, "{given} dB, {bare} dB");
}

/// Calls at their own levels are found as at one level where all are the same; with too few levels, or in silence, it is told.
#[test]
fn verif_each_call_may_have_a_level_of_its_own() {
    let (detector, sea) = (upcalls(), white());
    let call = sweep(90.0, 200.0, 1.0);
    let settling = settling_samples(&detector).unwrap();
    let begins: Vec<u64> = (0..10).map(|i| settling + 2000 * i).collect();
    let samples = settling + 22_000 + tail_samples(&detector).unwrap();
    let noise = sea.samples(5, "levels", 0, samples as usize);
    let run = |noise_level: NoiseLevel<'_>| {
        let what = Injection {
            detector: &detector,
            converter: None,
            call: &call,
            noise_level,
            snr_db: &[-3.0, 0.0, 3.0, 6.0],
        };
        inject(&what, &noise, &begins, settling)
    };
    let same = run(NoiseLevel::Same(sea.level_db)).unwrap();
    let mut levels_db = [sea.level_db; 10];
    assert_eq!(run(NoiseLevel::Each(&levels_db)).unwrap(), same);
    // As if the noise were 60 dB lower about the first half of the calls: those are not found at any ratio.
    levels_db[..5].fill(sea.level_db - 60.0);
    let half = run(NoiseLevel::Each(&levels_db)).unwrap();
    assert!(same.found[3] == 10 && half.found[3] <= 6, "{half:?}");
    assert_eq!(
        run(NoiseLevel::Each(&levels_db[1..])),
        Err(InjectionError::NoiseLevels {
            calls: 10,
            levels: 9
        })
    );
    levels_db[2] = f64::NEG_INFINITY;
    assert_eq!(
        run(NoiseLevel::Each(&levels_db)),
        Err(InjectionError::NoiseLevel { index: 2 })
    );
    let silent = recorded_level_db(&[&[0.0; 4000]], RATE_HZ, None, (LOW_HZ, HIGH_HZ));
    assert_eq!(silent, Ok(f64::NEG_INFINITY));
}
