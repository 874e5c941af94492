//! What is counted, by a second route and at its ends.

use detect::{Detector, Notice, Stage};
use injection::{Injection, InjectionError, NoiseLevel, inject, settling_samples, tail_samples};
use signal::{Block, SensorChain};

use crate::bench::{RATE_HZ, run, sweep, sweep_samples, upcalls, white};

/// A fresh detector that hears the whole stretch with one call in it tells the same as the copy that hears the call alone.
#[test]
fn verif_a_copy_finds_what_a_fresh_detector_finds() {
    let (sea, detector) = (white(), upcalls());
    let call = sweep(90.0, 150.0, 0.7);
    let settling = settling_samples(&detector).unwrap();
    let tail = tail_samples(&detector).unwrap();
    let snr_db = [-6.0, -3.0, -1.0, 1.0, 4.0];
    let begins: Vec<u64> = (0..6).map(|i| settling + 137 + 1703 * i).collect();
    let noise = sea.samples(3, "second route", 0, (settling + 12_000 + tail) as usize);
    let mut all = [0; 5];
    for &begin in &begins {
        let what = Injection {
            detector: &detector,
            converter: None,
            call: &call,
            noise_level: NoiseLevel::Same(sea.level_db),
            snr_db: &snr_db,
        };
        let tally = inject(&what, &noise, &[begin], settling).unwrap();
        for (i, db) in snr_db.iter().enumerate() {
            let gain = libm::pow(10.0, (sea.level_db + db) / 20.0);
            let mut heard = noise.clone();
            let sound = sweep_samples(90.0, 150.0, 0.7);
            let unit = libm::pow(10.0, -call.in_band_db() / 20.0);
            for (x, sample) in heard[begin as usize..].iter_mut().zip(&sound) {
                let p = f64::from((f64::from(*sample) * unit) as f32);
                *x = (f64::from(*x) + gain * p) as f32;
            }
            let mut fresh = Detector::new(&detector).unwrap();
            let mut told = Vec::new();
            fresh.push(Block::new(0, &heard), &mut told).unwrap();
            fresh.finish(&mut told);
            let found = told.iter().any(|t| {
                matches!(t.notice, Notice::Ended(e)
                    if e.begin_sample < begin + 700 && e.end_sample > begin)
            });
            assert_eq!(tally.found[i] == 1, found, "{db} dB at {begin}");
            all[i] += tally.found[i];
        }
    }
    // Some are found and some are not, or nothing was compared.
    assert!(all[0] < 6 && all[4] == 6, "{all:?}");
}

#[test]
fn verif_loud_calls_are_found_and_faint_ones_are_chance() {
    let snr_db = [-40.0, 20.0];
    let tally = run(
        &white(),
        &upcalls(),
        &sweep(90.0, 150.0, 0.7),
        &snr_db,
        100,
        0.5,
        5,
    );
    assert_eq!((tally.calls, tally.found[1]), (100, 100));
    assert_eq!(tally.found[0], tally.by_chance);
    assert!(tally.listened_samples as f64 > 0.5 * 3600.0 * RATE_HZ);
}

/// A converter that overloads at 1e6 uPa hears no more of a call above it.
#[test]
fn verif_what_overloads_the_converter_is_told() {
    let (sea, detector) = (white(), upcalls());
    let call = sweep(90.0, 150.0, 0.7);
    let chain = SensorChain::new(-120.0, 0.0, None, 1.0, 16, RATE_HZ).unwrap();
    assert!((chain.full_scale_upa() - 1e6).abs() < 1e-3);
    let settling = settling_samples(&detector).unwrap();
    let tail = tail_samples(&detector).unwrap();
    let noise = sea.samples(3, "clip", 0, (settling + 1000 + tail) as usize);
    let what = Injection {
        detector: &detector,
        converter: Some(&chain),
        call: &call,
        noise_level: NoiseLevel::Same(sea.level_db),
        snr_db: &[10.0, 60.0],
    };
    let tally = inject(&what, &noise, &[settling], settling).unwrap();
    assert_eq!(tally.clipped, [0, 1]);
    assert_eq!(tally.found, [1, 1]);
}

#[test]
fn verif_what_cannot_be_is_refused() {
    let (sea, detector) = (white(), upcalls());
    let call = sweep(90.0, 150.0, 0.7);
    let noise = sea.samples(3, "refused", 0, 60_000);
    let what = |snr_db: &'static [f64]| Injection {
        detector: &detector,
        converter: None,
        call: &call,
        noise_level: NoiseLevel::Same(sea.level_db),
        snr_db,
    };
    for begins in [&[30_000, 30_600][..], &[59_900]] {
        let refused = inject(&what(&[0.0]), &noise, begins, 0);
        assert!(matches!(refused, Err(InjectionError::Place { .. })));
    }
    // One that begins with the end of the one before overlaps nothing, though that one is still being decided on.
    let abutting = [30_000, 30_000 + call.samples()];
    assert!(inject(&what(&[0.0]), &noise, &abutting, 0).is_ok());
    let one_less = [30_000, 30_000 + call.samples() - 1];
    assert!(inject(&what(&[0.0]), &noise, &one_less, 0).is_err());
    for snr_db in [&[][..], &[0.0, 0.0], &[f64::NAN]] {
        assert_eq!(
            inject(&what(snr_db), &noise, &[], 0),
            Err(InjectionError::Ratios)
        );
    }
    let silent = injection::CallSound::new(&[0.0; 100], RATE_HZ, None, (50.0, 300.0));
    assert_eq!(silent, Err(InjectionError::Silent));
    let mut broken = detector.clone();
    broken.stages.retain(|s| !matches!(s, Stage::Level { .. }));
    assert!(matches!(
        settling_samples(&broken),
        Err(InjectionError::Detector(_))
    ));
}
