//! The time between two channels: held to made delays and to the Cramer-Rao bound.

use std::f64::consts::PI;

use signal::{DelayError, Weight, time_difference, time_difference_bound_s};

const RATE_HZ: f64 = 2000.0;
const BAND_HZ: (f64, f64) = (100.0, 400.0);
const LENGTH: usize = 2000;

/// A plain generator for trials: the 64-bit steps of Knuth's MMIX (constants from memory), upper bits.
struct Draws(u64);

impl Draws {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Box and Muller.
    fn normals(&mut self) -> (f64, f64) {
        let (size, turn) = (
            libm::sqrt(-2.0 * libm::log(self.uniform())),
            2.0 * PI * self.uniform(),
        );
        (size * libm::cos(turn), size * libm::sin(turn))
    }
}

/// Gaussian lines every half hertz over the band: a period of two seconds, of which one is taken.
fn lines(draws: &mut Draws) -> Vec<(f64, f64, f64)> {
    (0..=600)
        .map(|i| {
            let (a, b) = draws.normals();
            (BAND_HZ.0 + 0.5 * f64::from(i), a, b)
        })
        .collect()
}

/// The lines, heard `later_s` later.
fn heard(lines: &[(f64, f64, f64)], later_s: f64, scale: f64, out: &mut [f64]) {
    for &(f, a, b) in lines {
        let step = 2.0 * PI * f / RATE_HZ;
        let (turn_c, turn_s) = (libm::cos(step), libm::sin(step));
        let start = -2.0 * PI * f * later_s;
        let (mut c, mut s) = (libm::cos(start), libm::sin(start));
        for o in out.iter_mut() {
            *o += scale * (a * c + b * s);
            (c, s) = (c * turn_c - s * turn_s, s * turn_c + c * turn_s);
        }
    }
}

fn pair(draws: &mut Draws, later_s: f64, snr: f64) -> [Vec<f32>; 2] {
    let signal = lines(draws);
    [later_s, 0.0].map(|delay_s| {
        let mut x = vec![0.0; LENGTH];
        heard(&signal, delay_s, 1.0, &mut x);
        if snr.is_finite() {
            heard(&lines(draws), 0.0, libm::sqrt(1.0 / snr), &mut x);
        }
        x.iter().map(|v| *v as f32).collect()
    })
}

#[test]
fn verif_made_delays_come_back() {
    let mut draws = Draws(1);
    for later_s in [0.0, 0.003_21, -0.007_77, 0.0151] {
        let [first, second] = pair(&mut draws, later_s, f64::INFINITY);
        for weight in [Weight::Power, Weight::Phase] {
            let found = time_difference(&first, &second, RATE_HZ, BAND_HZ, 0.02, weight).unwrap();
            assert!(
                (found.later_s - later_s).abs() < 1e-5,
                "{later_s} {found:?}"
            );
            assert!(found.likeness > 0.9, "{found:?}");
        }
        let turned =
            time_difference(&second, &first, RATE_HZ, BAND_HZ, 0.02, Weight::Power).unwrap();
        assert!((turned.later_s + later_s).abs() < 1e-5);
    }
}

/// Trials at 10 and 15 dB: the spread is the bound within what 90 trials tell (a fifth), and never much below it.
#[test]
fn verif_spread_is_that_of_the_bound() {
    for (seed, snr) in [(2, 10.0), (3, 31.6)] {
        let mut draws = Draws(seed);
        let bound_s = time_difference_bound_s(snr, BAND_HZ, LENGTH as f64 / RATE_HZ).unwrap();
        let trials = 90;
        let mean: f64 = (0..trials)
            .map(|_| {
                let [first, second] = pair(&mut draws, 0.0041, snr);
                let found = time_difference(&first, &second, RATE_HZ, BAND_HZ, 0.02, Weight::Power)
                    .unwrap();
                (found.later_s - 0.0041) * (found.later_s - 0.0041)
            })
            .sum::<f64>()
            / f64::from(trials);
        let share = libm::sqrt(mean) / bound_s;
        assert!(
            (0.8..1.35).contains(&share),
            "{snr}: {share} of the bound {bound_s}"
        );
    }
}

#[test]
fn verif_the_bound_by_hand() {
    // T 1 s, S 10, 100 to 400 Hz: 3 / (8 pi^2) 21 / 100 / 6.3e7.
    let expected = libm::sqrt(3.0 / (8.0 * PI * PI) * 0.21 / 6.3e7);
    let bound = time_difference_bound_s(10.0, BAND_HZ, 1.0).unwrap();
    assert!((bound / expected - 1.0).abs() < 1e-12);
    assert!(time_difference_bound_s(0.0, BAND_HZ, 1.0).is_err());
    assert!(time_difference_bound_s(10.0, (400.0, 100.0), 1.0).is_err());
}

/// A tone fits once a period: the next peak is told.
#[test]
fn verif_an_open_choice_is_told() {
    let tone = |later_s: f64| -> Vec<f32> {
        (0..LENGTH)
            .map(|i| libm::sin(2.0 * PI * 200.0 * (i as f64 / RATE_HZ - later_s)) as f32)
            .collect()
    };
    let found = time_difference(
        &tone(0.001),
        &tone(0.0),
        RATE_HZ,
        BAND_HZ,
        0.02,
        Weight::Power,
    )
    .unwrap();
    assert!(found.next.unwrap() > 0.95, "{found:?}");
    let [first, second] = pair(&mut Draws(9), 0.001, f64::INFINITY);
    let sharp = time_difference(&first, &second, RATE_HZ, BAND_HZ, 0.02, Weight::Power).unwrap();
    assert!(sharp.next.unwrap() < 0.6, "{sharp:?}");
}

#[test]
fn verif_what_cannot_be_is_an_error() {
    let [first, second] = pair(&mut Draws(4), 0.03, f64::INFINITY);
    let ask = |a: &[f32], b: &[f32], band, most| {
        time_difference(a, b, RATE_HZ, band, most, Weight::Power)
    };
    assert!(matches!(
        ask(&first, &second[1..], BAND_HZ, 0.02),
        Err(DelayError::Length { .. })
    ));
    assert!(matches!(
        ask(&first, &second, (100.0, 1500.0), 0.02),
        Err(DelayError::Band { .. })
    ));
    assert!(matches!(
        ask(&first, &second, BAND_HZ, 2.0),
        Err(DelayError::Longest { .. })
    ));
    assert!(matches!(
        ask(&first, &second, BAND_HZ, 0.0299),
        Err(DelayError::AtTheEnd { .. })
    ));
    assert!(matches!(
        ask(&vec![0.0; LENGTH], &second, BAND_HZ, 0.02),
        Err(DelayError::Silent)
    ));
    let mut broken = first.clone();
    broken[7] = f32::NAN;
    assert!(matches!(
        ask(&broken, &second, BAND_HZ, 0.02),
        Err(DelayError::Silent)
    ));
}
