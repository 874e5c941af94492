//! What the ear hears when nothing sounds.

use seawater::Spreading;
use signal::{Arithmetic, Block, Welch};
use timeline::Ns;

use super::support::*;
use rehearsal::ear::{Ear, EarSpec, Sea};

const RATE_HZ: f64 = 48_000.0;
const LENGTH_S: f64 = 240.0;

fn quiet_chain() -> signal::SensorChain {
    // Full scale 0.25 V at -160 dB re 1 V/uPa: overload at 148 dB, steps of 0.01 uPa.
    signal::SensorChain::new(-160.0, 0.0, None, 0.25, 32, RATE_HZ).unwrap()
}

fn heard(spec: EarSpec, sea: &Sea) -> (Vec<f32>, signal::Psd) {
    let mut ear = Ear::new(spec, sea, &[], Ns(0)).unwrap();
    let all = samples(&mut ear, LENGTH_S);
    let mut welch = Welch::new(32_768, 16_384, RATE_HZ, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, &all)).unwrap();
    (all, welch.psd().unwrap())
}

/// Five standard deviations of the mean of `2 B T` squares of a Gaussian noise in a band of width `B`, dB.
fn tolerance_db(low_hz: f64, high_hz: f64) -> f64 {
    10.0 / std::f64::consts::LN_10 * 5.0 / ((high_hz - low_hz) * LENGTH_S).sqrt()
}

/// Band levels of the four-term formula by `scipy.integrate.quad` (`reference/make/seawater_noise.py`).
#[test]
fn verif_the_noise_has_the_band_levels_of_the_formula() {
    let mut checked = 0;
    let mut made: Option<((f64, f64), signal::Psd)> = None;
    for row in truth::numbers::<5>("seawater/scipy-noise-bands.csv") {
        let (low_hz, high_hz, weather) = (row[0], row[1], (row[2], row[3]));
        if low_hz < 20.0 || high_hz > 0.45 * RATE_HZ {
            continue;
        }
        if made.as_ref().is_none_or(|(w, _)| *w != weather) {
            let mut sea = sea(Spreading::Practical);
            (sea.wind_m_s, sea.shipping) = weather;
            made = Some((weather, heard(ear("ear", 30.0, quiet_chain()), &sea).1));
        }
        let psd = &made.as_ref().unwrap().1;
        let found_db = 10.0 * libm::log10(psd.band_power(low_hz, high_hz).unwrap());
        near(found_db, row[4], 0.02 + tolerance_db(low_hz, high_hz));
        checked += 1;
    }
    assert!(checked >= 5, "{checked} bands were checked");
}

/// Densities by numpy at 100 Hz, 1 kHz and 10 kHz (`reference/make/seawater_noise.py`), and every decidecade between 25 Hz and 20 kHz
/// against the integral of the formula, which `seawater` holds against SciPy.
#[test]
fn verif_the_noise_has_the_density_of_the_formula() {
    let sea = sea(Spreading::Practical);
    let (_, psd) = heard(ear("ear", 30.0, quiet_chain()), &sea);
    for (f_hz, density_db) in [(100.0, 67.79), (1000.0, 60.95), (10_000.0, 46.09)] {
        let (low_hz, high_hz) = (f_hz / 1.06, f_hz * 1.06);
        let power = psd.band_power(low_hz, high_hz).unwrap() / (high_hz - low_hz);
        near(
            10.0 * libm::log10(power),
            density_db,
            0.03 + tolerance_db(low_hz, high_hz),
        );
    }
    for n in 14..=43 {
        let centre_hz = libm::pow(10.0, f64::from(n) / 10.0);
        let (low_hz, high_hz) = (centre_hz / 1.122_018, centre_hz * 1.122_018);
        let expected_db =
            seawater::band_level_db_re_1upa(low_hz, high_hz, sea.wind_m_s, sea.shipping).unwrap();
        let found_db = 10.0 * libm::log10(psd.band_power(low_hz, high_hz).unwrap());
        near(
            found_db,
            expected_db,
            (0.03 + tolerance_db(low_hz, high_hz)).min(0.5),
        );
    }
}

/// Two equal densities are 3.01 dB more than one; the table is read in decibels over the logarithm of frequency.
#[test]
fn verif_self_noise_adds_as_power() {
    let mut sea = sea(Spreading::Practical);
    sea.wind_m_s = 0.0;
    sea.shipping = 0.0;
    let mut spec = ear("ear", 30.0, quiet_chain());
    assert!(
        Ear::new(spec.clone(), &sea, &[], Ns(0))
            .unwrap()
            .self_noise_unknown()
    );
    // The sea alone is at 44.3 dB at 1 kHz and 29.3 dB at 10 kHz: 60 and 40 dB stand well above, and 50 half way.
    spec.self_noise = vec![(1000.0, 60.0), (10_000.0, 40.0)];
    let (_, psd) = heard(spec, &sea);
    let root = libm::sqrt(1000.0 * 10_000.0);
    for (f_hz, self_db) in [(500.0, 60.0), (root, 50.0), (15_000.0, 40.0)] {
        let (low_hz, high_hz) = (f_hz / 1.02, f_hz * 1.02);
        let found = psd.band_power(low_hz, high_hz).unwrap() / (high_hz - low_hz);
        let sea_db = seawater::ambient_noise(f_hz, 0.0, 0.0)
            .unwrap()
            .total_db_re_1upa2_per_hz;
        let sum = libm::pow(10.0, self_db / 10.0) + libm::pow(10.0, sea_db / 10.0);
        near(
            10.0 * libm::log10(found / sum),
            0.0,
            0.05 + tolerance_db(low_hz, high_hz),
        );
    }
}

/// Noise is Gaussian (kurtosis 3), and that of two ears is independent.
#[test]
fn verif_the_noise_of_two_ears_is_gaussian_and_independent() {
    let sea = sea(Spreading::Practical);
    let chain = signal::SensorChain::new(
        -160.0,
        0.0,
        Some(signal::HighPass {
            corner_hz: 1000.0,
            poles: 4,
        }),
        0.25,
        32,
        RATE_HZ,
    )
    .unwrap();
    let one = heard(ear("one", 30.0, chain.clone()), &sea).0;
    let other = heard(ear("other", 30.0, chain), &sea).0;
    let (mut aa, mut bb, mut ab, mut a4) = (0.0, 0.0, 0.0, 0.0);
    for (a, b) in one.iter().zip(&other) {
        let (a, b) = (f64::from(*a), f64::from(*b));
        aa += a * a;
        bb += b * b;
        ab += a * b;
        a4 += a * a * a * a;
    }
    let n = one.len() as f64;
    // The noise above 1 kHz holds some 2 * 2 kHz * 240 s independent values: five standard deviations of either figure.
    assert!((ab / (aa * bb).sqrt()).abs() < 5.0 / 1e6_f64.sqrt());
    near(a4 * n / (aa * aa), 3.0, 5.0 * (24.0 / 1e6_f64).sqrt());
}
