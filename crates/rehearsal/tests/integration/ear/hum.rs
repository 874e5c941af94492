//! A vessel's hum.

use seawater::Spreading;
use signal::{Arithmetic, Block, Welch};
use timeline::Ns;

use super::support::*;
use plan::SoundKind;
use rehearsal::ear::Ear;

const RATE_HZ: f64 = 8000.0;
const LENGTH_S: f64 = 120.0;

fn hum(high_hz: f64, blade_rate_hz: Option<f64>) -> SoundKind {
    SoundKind::Hum {
        low_hz: q(40.0),
        high_hz: q(high_hz),
        blade_rate_hz: blade_rate_hz.map(q),
        length_s: q(LENGTH_S),
    }
}

fn heard(what: SoundKind, depth_m: f64, rate_hz: f64) -> (f64, f64, Vec<f32>) {
    let sounds = voices(vec![sound(0.0, what, 170.0, fixed(1000.0, 0.0))]);
    let spec = ear("ear", depth_m, wide_chain(rate_hz));
    let sea = sea(Spreading::Practical);
    let mut ear = Ear::without_noise(spec, &sea, &sounds, Ns(0)).unwrap();
    let a = ear.arrivals()[0].clone();
    let all = samples(&mut ear, LENGTH_S + 2.0);
    (a.from.as_s_f64(), a.received_level_db_re_1upa, all)
}

/// Its rms over its length is the source level less the loss, within five standard deviations of `2 B T` squares
/// (with the swell of the noise: twice that).
#[test]
fn verif_a_hum_has_its_level() {
    for blade in [None, Some(9.0)] {
        let (from_s, received_db, all) = heard(hum(900.0, blade), 0.0, RATE_HZ);
        let found_db = level_db(&all, RATE_HZ, from_s, from_s + LENGTH_S);
        near(
            found_db,
            received_db,
            2.0 * 4.343 * 5.0 / (860.0 * LENGTH_S).sqrt(),
        );
    }
}

/// Without blades its density is flat between its edges, and there is nothing beyond them.
#[test]
fn verif_a_hum_is_flat_and_ends_at_its_edges() {
    let (from_s, received_db, all) = heard(hum(900.0, None), 0.0, RATE_HZ);
    let part =
        &all[((from_s + 0.5) * RATE_HZ) as usize..((from_s + LENGTH_S - 0.5) * RATE_HZ) as usize];
    let mut welch = Welch::new(8192, 4096, RATE_HZ, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, part)).unwrap();
    let psd = welch.psd().unwrap();
    let density_db = received_db - 10.0 * libm::log10(860.0);
    for (low_hz, high_hz) in [
        (60.0, 200.0),
        (200.0, 400.0),
        (400.0, 600.0),
        (600.0, 880.0),
    ] {
        let found = psd.band_power(low_hz, high_hz).unwrap() / (high_hz - low_hz);
        near(
            10.0 * libm::log10(found),
            density_db,
            0.05 + 4.343 * 5.0 / ((high_hz - low_hz) * 119.0_f64).sqrt(),
        );
    }
    for (low_hz, high_hz) in [(1.0, 20.0), (950.0, 1700.0), (1700.0, 3999.0)] {
        let found = psd.band_power(low_hz, high_hz).unwrap() / (high_hz - low_hz);
        assert!(
            10.0 * libm::log10(found) < density_db - 60.0,
            "{low_hz} Hz to {high_hz} Hz"
        );
    }
}

/// Lines stand at the blade rate and its multiples and hold a quarter of the power.
#[test]
fn verif_lines_stand_at_the_blade_rate() {
    let (from_s, received_db, all) = heard(hum(900.0, Some(5.0)), 0.0, RATE_HZ);
    let part =
        &all[((from_s + 0.5) * RATE_HZ) as usize..((from_s + LENGTH_S - 0.5) * RATE_HZ) as usize];
    let mut welch = Welch::new(65_536, 32_768, RATE_HZ, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, part)).unwrap();
    let psd = welch.psd().unwrap();
    // The first seven lines lie below the noise; each holds 3 dB less than the one before.
    let line_db =
        |k: f64| 10.0 * libm::log10(psd.band_power(5.0 * k - 0.6, 5.0 * k + 0.6).unwrap());
    let sum: f64 = (0..8).map(|k| libm::pow(10.0, -0.3 * f64::from(k))).sum();
    for k in 1..=6 {
        let expected_db = received_db + 10.0 * libm::log10(0.25 / sum) - 3.0 * f64::from(k - 1);
        near(line_db(f64::from(k)), expected_db, 0.1);
    }
}

/// One source, two ears: the same noise, each at its own delay; and an ear too slow for the upper edge hears the same
/// noise below its own limit.
#[test]
fn verif_two_ears_hear_the_same_noise_at_their_own_delay() {
    let (_, _, near_ear) = heard(hum(900.0, Some(9.0)), 0.0, RATE_HZ);
    // 1000 m away and 400 m deep: 77.03 m farther, at a speed between those of the two depths.
    let (_, _, deep_ear) = heard(hum(900.0, Some(9.0)), 400.0, RATE_HZ);
    let correlation = |a: &[f32], b: &[f32]| {
        let dot = |x: &[f32], y: &[f32]| -> f64 {
            x.iter()
                .zip(y)
                .map(|(x, y)| f64::from(*x) * f64::from(*y))
                .sum()
        };
        dot(a, b) / (dot(a, a) * dot(b, b)).sqrt()
    };
    let n = (60.0 * RATE_HZ) as usize;
    let (best_lag, best) = (380..440)
        .map(|lag| {
            (
                lag,
                correlation(&near_ear[8000..8000 + n], &deep_ear[8000 + lag..][..n]),
            )
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap();
    let slant_m = libm::hypot(1000.0, 400.0);
    // Mackenzie 1981: 0.0163 m/s a metre of depth, so the mean speed is 3.26 m/s above that of the surface.
    let lag_s = slant_m / (SURFACE_SPEED_M_S + 3.26) - 1000.0 / SURFACE_SPEED_M_S;
    near(best_lag as f64, lag_s * RATE_HZ, 1.0);
    assert!(best > 0.98, "{best}");

    let (_, full_db, fast) = heard(hum(3000.0, None), 0.0, RATE_HZ);
    let (_, _, slow) = heard(hum(3000.0, None), 0.0, 2000.0);
    let slow_db = level_db(&slow, 2000.0, 2.0, 110.0);
    near(slow_db, full_db + 10.0 * libm::log10(860.0 / 2960.0), 0.2);
    // Well below either rate, where the filters of both have one phase.
    let band = signal::butterworth_bandpass(2, 60.0, 240.0, RATE_HZ).unwrap();
    let slow_band = signal::butterworth_bandpass(2, 60.0, 240.0, 2000.0).unwrap();
    let filter = |mut f: signal::Sos, x: &[f32]| {
        let mut y = vec![0.0; x.len()];
        f.process(x, &mut y);
        y
    };
    let fast: Vec<f32> = filter(band, &fast).into_iter().step_by(4).collect();
    let slow = filter(slow_band, &slow);
    let alike = correlation(&fast[4000..200_000], &slow[4000..200_000]);
    assert!(alike > 0.99, "{alike}");
}
