//! Welch spectra against SciPy, Parseval, and shaped noise against the plain sum and its table.

use signal::{
    Arithmetic, Block, Ends, ShapedNoise, SpectrumError, Welch, design_shaping_fir, level_db,
};

use crate::support::{close, gaussian, lcg, numbers, reference, sine};

#[test]
fn val_welch_equals_scipy() {
    let document = reference();
    let expected = numbers(&document["welch"]["density"]);
    for arithmetic in [Arithmetic::Scalar, Arithmetic::Fastest] {
        let mut welch = Welch::new(256, 128, 8_000.0, arithmetic).unwrap();
        welch.process(Block::new(0, &lcg(8_192))).unwrap();
        let psd = welch.psd().unwrap();
        assert_eq!(
            (psd.segments, psd.density.len(), psd.bin_hz),
            (63, 129, 31.25)
        );
        for (f, e) in psd.density.iter().zip(&expected) {
            close(*f, *e, 1e-9 * e, "density");
        }
    }
}

#[test]
fn verif_parseval() {
    let x = lcg(480_000);
    let mut welch = Welch::new(4_800, 2_400, 48_000.0, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, &x)).unwrap();
    let psd = welch.psd().unwrap();
    let mean_square = x.iter().map(|&v| f64::from(v).powi(2)).sum::<f64>() / x.len() as f64;
    close(
        level_db(psd.total_power(), 1.0),
        level_db(mean_square, 1.0),
        0.05,
        "sum of the spectrum",
    );
    let whole = psd.band_power(0.0, 24_000.0).unwrap();
    close(whole, psd.total_power(), 1e-12, "sum of the bands");
    // A sine of amplitude 2 has mean square 2, in the two lines to each side that the window spreads it over.
    let mut welch = Welch::new(4_800, 2_400, 48_000.0, Arithmetic::Scalar).unwrap();
    welch
        .process(Block::new(0, &sine(1_000.0, 48_000.0, 2.0, 48_000)))
        .unwrap();
    close(
        welch.psd().unwrap().band_power(975.0, 1_025.0).unwrap(),
        2.0,
        1e-6,
        "power of a sine",
    );
}

const SEA: [(f64, f64); 5] = [
    (10.0, 78.0),
    (100.0, 69.0),
    (1_000.0, 68.0),
    (10_000.0, 53.0),
    (20_000.0, 48.0),
];

/// Sample `n` is the sum of the numbers `n` to `n + taps - 1` under the taps, the last number under the first tap.
#[test]
fn verif_shaped_noise_is_the_plain_sum_of_its_numbers() {
    let taps = design_shaping_fir(&SEA, Ends::Hold, 64, 48_000.0).unwrap();
    let mut noise = ShapedNoise::new(&SEA, Ends::Hold, 64, 48_000.0).unwrap();
    for first in [0, 61, 5_000] {
        let mut x = vec![0.0; 1_000];
        noise.fill(first, &mut x, gaussian);
        let largest = x.iter().fold(0.0_f32, |most, v| most.max(v.abs()));
        for (n, found) in x.iter().enumerate() {
            let last = first + n as u64 + 63;
            let expected: f64 = (0..64).map(|k| taps[k as usize] * gaussian(last - k)).sum();
            let tolerance = 1e-6 * f64::from(largest);
            close(f64::from(*found), expected, tolerance, "shaped noise");
        }
    }
}

#[test]
fn verif_shaped_noise_has_its_density() {
    let mut noise = ShapedNoise::new(&SEA, Ends::Hold, 4_096, 48_000.0).unwrap();
    let mut x = vec![0.0; 48_000 * 60];
    noise.fill(0, &mut x, gaussian);
    let mut welch = Welch::new(4_800, 2_400, 48_000.0, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, &x)).unwrap();
    let psd = welch.psd().unwrap();
    // Bands of a tenth to each side: the mean of a log-log straight table is the table's value within 0.05 dB; the random
    // error of 60 s in the narrowest band (20 Hz wide) is 10/(ln 10 sqrt(60 * 20)) = 0.13 dB.
    for (f_hz, level) in [
        (100.0, 69.0),
        (316.227_766, 68.5),
        (1_000.0, 68.0),
        (3_162.277_66, 60.5),
        (10_000.0, 53.0),
    ] {
        let power = psd.band_power(0.9 * f_hz, 1.1 * f_hz).unwrap() / (0.2 * f_hz);
        close(
            level_db(power, 1.0),
            level,
            0.4,
            &format!("density at {f_hz} Hz"),
        );
    }
}

#[test]
fn verif_shaping_filter_response_follows_the_table() {
    let taps = design_shaping_fir(&SEA, Ends::Hold, 4_096, 48_000.0).unwrap();
    for (f_hz, level) in [
        (316.227_766, 68.5),
        (3_162.277_66, 60.5),
        (6_000.0, 68.0 - 15.0 * 6f64.log10()),
        (20_000.0, 48.0),
    ] {
        let w = 2.0 * std::f64::consts::PI * f_hz / 48_000.0;
        let (re, im) = taps
            .iter()
            .enumerate()
            .fold((0.0, 0.0), |(re, im), (k, h)| {
                (re + h * (w * k as f64).cos(), im - h * (w * k as f64).sin())
            });
        let density_db = level_db((re * re + im * im) * 2.0 / 48_000.0, 1.0);
        close(density_db, level, 0.1, &format!("response at {f_hz} Hz"));
    }
}

#[test]
fn verif_noise_anywhere_equals_noise_in_order() {
    let mut noise = ShapedNoise::new(&SEA, Ends::Silent, 512, 48_000.0).unwrap();
    let (mut asked, mut whole) = (Vec::new(), vec![0.0; 5_000]);
    noise.fill(0, &mut whole, |i| {
        asked.push(i);
        gaussian(i)
    });
    assert!(
        asked.iter().enumerate().all(|(i, &a)| a == i as u64),
        "each number is asked for once, in order"
    );
    let mut part = vec![0.0; 700];
    noise.fill(1_234, &mut part, gaussian);
    assert_eq!(part, whole[1_234..1_934]);
}

#[test]
fn verif_bad_spectra_are_refused() {
    assert!(matches!(
        Welch::new(255, 128, 1.0, Arithmetic::Scalar),
        Err(SpectrumError::Odd { segment: 255 })
    ));
    assert!(matches!(
        Welch::new(256, 0, 1.0, Arithmetic::Scalar),
        Err(SpectrumError::Length { what: "hop", .. })
    ));
    let welch = Welch::new(256, 128, 1.0, Arithmetic::Scalar).unwrap();
    assert_eq!(welch.psd(), Err(SpectrumError::NoSegment { segment: 256 }));
    let table = [(100.0, 60.0), (100.0, 50.0)];
    assert!(matches!(
        design_shaping_fir(&table, Ends::Hold, 64, 1e3),
        Err(SpectrumError::Table { row: 1, .. })
    ));
    assert_eq!(
        design_shaping_fir(&[], Ends::Hold, 64, 1e3),
        Err(SpectrumError::TableEmpty)
    );
}
