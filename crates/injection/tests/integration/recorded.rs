//! Noise whose level is not known beforehand.

use injection::{
    CallSound, Injection, InjectionError, NoiseLevel, inject, recorded_level_db, settling_samples,
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
        let level_db = recorded_level_db(&[a, b], RATE_HZ, (LOW_HZ, HIGH_HZ)).unwrap();
        let off_db = level_db - sea.level_db;
        assert!(off_db.abs() < 0.1, "{off_db} dB");
    }
}

/// Call and noise count as they come through the high-pass: of white noise and of a call in 90 to 200 Hz it takes what the integral of its
/// response over the band says, 1 / (1 + (corner / f)^4), here by a sum of a thousand parts.
#[test]
fn verif_ratios_are_those_behind_the_high_pass() {
    let corner_hz = 150.0;
    let chain = chain(Some(HighPass {
        corner_hz,
        poles: 2,
    }));
    let sea = white();
    let noise = sea.samples(4, "high-pass", 0, 300_000);
    let mut heard = vec![0.0; noise.len()];
    let mut filter = chain.high_pass_filter().unwrap().unwrap();
    filter.process(&noise, &mut heard);
    let band = (LOW_HZ, HIGH_HZ);
    let taken_db = |low_hz: f64, high_hz: f64| {
        let part = |i: u32| {
            let f_hz = low_hz + (high_hz - low_hz) * (f64::from(i) + 0.5) / 1000.0;
            1.0 / (1.0 + libm::pow(corner_hz / f_hz, 4.0))
        };
        10.0 * libm::log10((0..1000).map(part).sum::<f64>() / 1000.0)
    };
    let level_db = recorded_level_db(&[&heard], RATE_HZ, band).unwrap();
    let off_db = level_db - sea.level_db - taken_db(LOW_HZ, HIGH_HZ);
    // The filter is a digital one, at 150 of 500 Hz not quite that of the formula.
    assert!(off_db.abs() < 0.25, "{off_db} dB");
    let samples: Vec<f32> = {
        let call = signal::Sweep::new(90.0, 200.0, 4.0, 0.02, 0.0).unwrap();
        (0..4000)
            .map(|i| call.value(f64::from(i) / RATE_HZ) as f32)
            .collect()
    };
    let of = |chain: Option<&SensorChain>| {
        let call = CallSound::new(&samples, RATE_HZ, chain, band).unwrap();
        call.in_band_db()
    };
    let off_db = of(Some(&chain)) - of(None) - taken_db(90.0, 200.0);
    assert!(off_db.abs() < 0.25, "{off_db} dB");
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
    let silent = recorded_level_db(&[&[0.0; 4000]], RATE_HZ, (LOW_HZ, HIGH_HZ));
    assert_eq!(silent, Ok(f64::NEG_INFINITY));
}
