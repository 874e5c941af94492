//! Sources that move.

use seawater::Spreading;
use timeline::Ns;

use super::support::*;
use rehearsal::ear::Ear;

const RATE_HZ: f64 = 48_000.0;
const TONE_HZ: f64 = 1000.0;

/// Frequency from the first to the last rising zero crossing.
fn frequency_hz(samples: &[f32], rate_hz: f64) -> f64 {
    let crossings: Vec<f64> = samples
        .windows(2)
        .enumerate()
        .filter(|(_, w)| w[0] < 0.0 && w[1] >= 0.0)
        .map(|(i, w)| i as f64 + f64::from(w[0]) / f64::from(w[0] - w[1]))
        .collect();
    let periods = (crossings.len() - 1) as f64;
    periods * rate_hz / (crossings[crossings.len() - 1] - crossings[0])
}

/// Doppler's law for a source that moves (textbook): f / (1 - v/c), v towards the ear. To first order f (1 + v/c).
#[test]
fn val_a_tone_that_comes_nearer_or_recedes_is_shifted() {
    for (from_m, to_m, v_m_s) in [(6000.0, 4000.0, 20.0), (4000.0, 6000.0, -20.0)] {
        let track = vec![point(0.0, from_m, 30.0, 0.0), point(100.0, to_m, 30.0, 0.0)];
        let sounds = voices(vec![sound(0.0, tone(TONE_HZ, 100.0), 190.0, track)]);
        let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
        let sea = sea(Spreading::Practical);
        let mut ear = Ear::without_noise(spec, &sea, &sounds, Ns(0)).unwrap();
        let heard = samples(&mut ear, 30.0);
        let part = &heard[(10.0 * RATE_HZ) as usize..(30.0 * RATE_HZ) as usize];
        let expected_hz = TONE_HZ / (1.0 - v_m_s / SURFACE_SPEED_M_S);
        near(frequency_hz(part, RATE_HZ), expected_hz, 1e-4);
        // The law for an ear that moves, f (1 + v/c), is the same to first order only: here it is off by f v^2/c^2.
        let ear_moves_hz = TONE_HZ * (1.0 + v_m_s / SURFACE_SPEED_M_S);
        near(expected_hz, ear_moves_hz, 0.2);
        assert!((frequency_hz(part, RATE_HZ) - ear_moves_hz).abs() > 0.1);
    }
}

/// A pass at 40 m and 12 m/s, sample by sample, against the time of emission in closed form: with the source at
/// `(x0 + v t, d)`, `t` solves `(c^2 - v^2) t^2 - 2 (c^2 T + v x0) t + c^2 T^2 - x0^2 - d^2 = 0` for the time of hearing `T`.
#[test]
fn verif_a_pass_agrees_with_the_closed_form() {
    let (c, v, x0, d) = (SURFACE_SPEED_M_S, 12.0, -240.0, 40.0);
    let (from_m, to_m) = (libm::hypot(x0, d), libm::hypot(x0, d));
    let bearing_deg = libm::atan2(-x0, d).to_degrees();
    let track = vec![
        point(0.0, from_m, -bearing_deg, 0.0),
        point(40.0, to_m, bearing_deg, 0.0),
    ];
    let sounds = voices(vec![sound(0.0, tone(TONE_HZ, 40.0), 170.0, track)]);
    let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
    let sea = sea(Spreading::Spherical);
    let mut ear = Ear::without_noise(spec, &sea, &sounds, Ns(0)).unwrap();
    near(ear.arrivals()[0].closest_range_m, 40.0, 1e-9);
    let heard = samples(&mut ear, 39.0);
    let amplitude_upa = std::f64::consts::SQRT_2 * libm::pow(10.0, 170.0 / 20.0);
    let (mut error, mut power) = (0.0, 0.0);
    for (n, &p) in heard.iter().enumerate().skip(RATE_HZ as usize) {
        let at_s = n as f64 / RATE_HZ;
        let a = c * c - v * v;
        let half_b = c * c * at_s + v * x0;
        let rest = c * c * at_s * at_s - x0 * x0 - d * d;
        let emitted_s = (half_b - (half_b * half_b - a * rest).sqrt()) / a;
        let range_m = libm::hypot(x0 + v * emitted_s, d);
        // Absorption at 1 kHz: 0.060126 dB/km.
        let gain = libm::pow(10.0, -0.060126e-3 * range_m / 20.0) / range_m;
        let expected =
            amplitude_upa * gain * libm::sin(2.0 * std::f64::consts::PI * TONE_HZ * emitted_s);
        let e = f64::from(p) - expected;
        error += e * e;
        power += expected * expected;
    }
    let error_db = 10.0 * libm::log10(error / power);
    assert!(error_db < -110.0, "error {error_db} dB");
}
