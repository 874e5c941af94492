//! Lines of converters in samples and ticks in windows, against an FFT of sampled square waves and running sums, by NumPy and SciPy.

use serde_json::Value;
use signal::{
    ChainNoise, HighPass, KeptOut, LowPass, Oversampling, SensorChain, folded_hz,
    folded_noise_upa2, folds, passes_for_db, shown_passes_for_db, tick_share,
};

use crate::support::{close, number};

const LEVEL_DB: f64 = 1e-6;
const SHARE: f64 = 1e-9;
/// Four standard errors of a third of the power of 15,360 samples of noise: 4 sqrt(2 * 3 / 15,360).
const THIRD: f64 = 0.08;

fn list<'v>(of: &'v Value, key: &str) -> &'v [Value] {
    of[key].as_array().unwrap()
}

fn chain(rate_hz: f64) -> ChainNoise {
    let chain = SensorChain::new(-170.0, 20.0, None, 2.5, 24, rate_hz).unwrap();
    ChainNoise::new(&chain, None, None, &[]).unwrap()
}

#[test]
fn val_harmonics_of_a_square_wave_are_seen_where_an_fft_of_its_samples_shows_them() {
    let reference = truth::json("signal/numpy-pick-up.json");
    let waves = list(&reference, "waves");
    assert_eq!(waves.len(), 5);
    for wave in waves {
        let (rate_hz, fundamental_hz) = (number(wave, "rate_hz"), number(wave, "fundamental_hz"));
        let low_pass = wave["corner_hz"].as_f64().map(|corner_hz| LowPass {
            corner_hz,
            poles: wave["poles"].as_u64().unwrap() as usize,
        });
        let kept_out = KeptOut {
            low_pass,
            oversampling: None,
        };
        let orders = (1..=wave["highest"].as_u64().unwrap()).step_by(2);
        let mut found: Vec<(f64, f64)> = orders
            .map(|n| {
                let true_hz = fundamental_hz * n as f64;
                let heard_hz = folded_hz(true_hz, rate_hz);
                // A range of no width is one stretch, heard at the same place.
                let one = folds(true_hz, true_hz, rate_hz, &kept_out);
                assert_eq!(one.len(), 1);
                assert!(
                    (one[0].heard_hz.0 - heard_hz).abs() < 1e-6
                        && one[0].from_above == (true_hz > 0.5 * rate_hz)
                );
                let level_db = -20.0 * (n as f64).log10();
                // What an FFT shows has not been given back what the low-pass takes at the frequency heard.
                let back_db = 10.0 * kept_out.power_gain(heard_hz, rate_hz).log10();
                let passes_db =
                    passes_for_db(level_db, true_hz, heard_hz, &chain(rate_hz), &kept_out);
                (heard_hz, passes_db + back_db)
            })
            .collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        let seen = list(wave, "seen");
        assert_eq!(found.len(), seen.len());
        for ((heard_hz, level_db), seen) in found.iter().zip(seen) {
            close(*heard_hz, number(seen, "heard_hz"), 1e-6, "heard at");
            close(*level_db, number(seen, "level_db"), LEVEL_DB, "level");
        }
    }
}

#[test]
fn val_ticks_take_the_largest_share_of_windows_that_running_sums_find() {
    let reference = truth::json("signal/numpy-pick-up.json");
    for ticks in list(&reference, "ticks") {
        let (every_s, lasts_s) = (number(ticks, "every"), number(ticks, "lasts"));
        for window in list(ticks, "windows") {
            let window_s = number(window, "window");
            close(
                tick_share(every_s, lasts_s, Some(window_s)),
                number(window, "share"),
                SHARE,
                "share",
            );
        }
        for third in list(ticks, "thirds_of_power") {
            let mean = tick_share(every_s, lasts_s, Some(every_s)) / 3.0;
            assert!((third.as_f64().unwrap() / mean - 1.0).abs() < THIRD);
        }
    }
    assert_eq!(tick_share(10.0, 0.03, None), 1.0);
}

/// Every frequency of a range is heard within one of its stretches, where the fold puts it.
#[test]
fn verif_a_range_folds_stretch_by_stretch() {
    for (low_hz, high_hz) in [(90e3, 100e3), (47e3, 97e3), (100.0, 40e3), (280e3, 300e3)] {
        let all = folds(low_hz, high_hz, 96e3, &KeptOut::default());
        for step in 0..=1000 {
            let f_hz = low_hz + (high_hz - low_hz) * f64::from(step) / 1000.0;
            let heard_hz = folded_hz(f_hz, 96e3);
            let holds = all.iter().any(|one| {
                one.true_hz.0 <= f_hz
                    && f_hz <= one.true_hz.1
                    && one.heard_hz.0 - 1e-9 <= heard_hz
                    && heard_hz <= one.heard_hz.1 + 1e-9
            });
            assert!(holds, "{f_hz}");
        }
    }
    // 285 kHz at 96 kHz lies 3 kHz below three times the rate.
    assert_eq!(folded_hz(285e3, 96e3), 3e3);
}

#[test]
fn verif_an_oversampled_converter_is_blind_about_the_rate_of_its_samples_alone() {
    let kept_out = KeptOut {
        low_pass: None,
        oversampling: Some(Oversampling {
            rate_hz: 6.144e6,
            stop_band_db: 100.0,
        }),
    };
    assert_eq!(kept_out.power_gain(20e3, 96e3), 1.0);
    assert!((kept_out.power_gain(285e3, 96e3) - 1e-10).abs() < 1e-22);
    assert_eq!(kept_out.power_gain(6.144e6 + 3e3, 96e3), 1.0);
    let all = folds(5e6, 7e6, 96e3, &kept_out);
    let blind = all
        .iter()
        .any(|one| one.true_hz.0 <= 6.144e6 && 6.144e6 <= one.true_hz.1);
    assert!(blind);
}

/// Every millionth of a noise by itself, where samples show it.
fn one_by_one_upa2(
    (from_hz, to_hz): (f64, f64),
    band_hz: (f64, f64),
    noise: &ChainNoise,
    kept_out: &KeptOut,
) -> f64 {
    const PARTS: u32 = 1_000_000;
    let rate_hz = noise.chain().rate_hz();
    let width_hz = (to_hz - from_hz) / f64::from(PARTS);
    let each = (0..PARTS).map(|i| from_hz + (f64::from(i) + 0.5) * width_hz);
    each.filter(|f_hz| *f_hz > 0.5 * rate_hz)
        .map(|f_hz| (f_hz, folded_hz(f_hz, rate_hz)))
        .filter(|(_, heard_hz)| band_hz.0 <= *heard_hz && *heard_hz < band_hz.1)
        .map(|(f_hz, heard_hz)| {
            width_hz * 10.0_f64.powf(passes_for_db(0.0, f_hz, heard_hz, noise, kept_out) / 10.0)
        })
        .sum()
}

/// An even noise that is wider than half the rate folds into a band from each stretch: without a filter each adds the width of the band, behind
/// one never less than part by part.
#[test]
fn verif_noise_folds_from_every_stretch() {
    let plain = chain(4000.0);
    let none = KeptOut::default();
    let band_hz = (300.0, 420.0);
    // From 0 to 10 kHz are five stretches of 2 kHz, four of them above half the rate. 8 to 9.5 kHz hold the band, 8 to 8.2 kHz do not.
    for (to_hz, stretches) in [(10_000.0, 4.0), (9_500.0, 4.0), (8_200.0, 3.0)] {
        let found = folded_noise_upa2((0.0, to_hz), band_hz, &plain, &none);
        assert!((found - 120.0 * stretches).abs() < 1e-6, "{to_hz} {found}");
    }
    let high_pass = Some(HighPass {
        corner_hz: 100.0,
        poles: 2,
    });
    let filtered = SensorChain::new(-170.0, 20.0, high_pass, 2.5, 24, 4000.0).unwrap();
    let filtered = ChainNoise::new(&filtered, None, None, &[]).unwrap();
    let kept_out = KeptOut {
        low_pass: Some(LowPass {
            corner_hz: 3000.0,
            poles: 2,
        }),
        oversampling: Some(Oversampling {
            rate_hz: 32_000.0,
            stop_band_db: 40.0,
        }),
    };
    for band_hz in [(300.0, 420.0), (10.0, 20.0), (1000.0, 2000.0)] {
        let range_hz = (0.0, 70_000.0);
        let found = folded_noise_upa2(range_hz, band_hz, &filtered, &kept_out);
        let wanted = one_by_one_upa2(range_hz, band_hz, &filtered, &kept_out);
        // A stretch counts as at the louder end of its part of the band.
        assert!(
            wanted <= found * 1.001 && found < 4.0 * wanted,
            "{found} {wanted}"
        );
    }
}

/// Of more stretches than are looked at one by one those beside a multiple of the converter's own rate still come through.
#[test]
fn verif_noise_far_above_the_rate_is_never_told_too_low() {
    let narrow = chain(100.0);
    let kept_out = KeptOut {
        low_pass: None,
        oversampling: Some(Oversampling {
            rate_hz: 64_000.0,
            stop_band_db: 100.0,
        }),
    };
    let range_hz = (0.0, 1e6);
    let found = folded_noise_upa2(range_hz, (10.0, 20.0), &narrow, &kept_out);
    // Fifteen multiples of 64 kHz lie below 1 MHz: two stretches beside each, 10 Hz of each.
    assert!((found - 300.0).abs() < 0.01, "{found}");
    let low_pass = KeptOut {
        low_pass: Some(LowPass {
            corner_hz: 20.0,
            poles: 1,
        }),
        oversampling: None,
    };
    let found = folded_noise_upa2(range_hz, (10.0, 20.0), &narrow, &low_pass);
    let wanted = one_by_one_upa2(range_hz, (10.0, 20.0), &narrow, &low_pass);
    assert!(wanted <= found && found < 2.5 * wanted, "{found} {wanted}");
}

/// A level in samples is what is left of a sound there: what the chain does to it is given back, and nothing else.
#[test]
fn verif_a_level_in_samples_gives_back_what_the_chain_does_to_sound() {
    let kept_out = KeptOut {
        low_pass: Some(LowPass {
            corner_hz: 1000.0,
            poles: 2,
        }),
        oversampling: None,
    };
    let plain = chain(4000.0);
    for heard_hz in [10.0, 200.0, 1000.0, 1999.0] {
        let in_samples_db = 60.0 + 10.0 * kept_out.power_gain(heard_hz, 4000.0).log10();
        let back_db = shown_passes_for_db(in_samples_db, heard_hz, &plain, &kept_out);
        assert!((back_db - 60.0).abs() < 1e-9);
    }
}
