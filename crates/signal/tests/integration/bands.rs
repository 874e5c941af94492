//! Decidecade bands and band levels from spectra.

use signal::{Decidecade, SpectrumError, band_levels_db, band_power, decidecades, level_db};

use crate::support::{close, number, standards};

/// Nominal frequencies of a decade as they are printed on instruments (ISO 266; from memory), Hz.
const NOMINAL_HZ: [f64; 10] = [10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0];

/// IEC 61260-1:2014, base ten: exact centres and edges.
#[test]
fn val_centres_edges_and_labels() {
    let standards = standards();
    let octaves = standards["one_third_octaves"].as_array().unwrap();
    assert_eq!(octaves.len(), 50);
    for theirs in octaves {
        let index = theirs["index"].as_i64().unwrap() as i32;
        let band = Decidecade::new(index);
        let scale = 10f64.powi(index / 10 - 1);
        let nominal_hz = NOMINAL_HZ[index as usize % 10] * scale;
        close(band.nominal_hz(), nominal_hz, 1e-9 * nominal_hz, "nominal");
        let (centre_hz, low_hz) = (number(theirs, "centre_hz"), number(theirs, "low_hz"));
        close(band.centre_hz(), centre_hz, 1e-9 * centre_hz, "centre");
        close(band.low_hz(), low_hz, 1e-9 * low_hz, "lower edge");
        assert_eq!(band.high_hz(), Decidecade::new(index + 1).low_hz());
    }
    let labels: Vec<String> = [15, 10, 31, 35, 50, 0]
        .map(|i| Decidecade::new(i).label())
        .into();
    assert_eq!(
        labels,
        [
            "31.5 Hz", "10 Hz", "1.25 kHz", "3.15 kHz", "100 kHz", "1 Hz"
        ]
    );
}

#[test]
fn verif_bands_tile_and_hold_their_frequencies() {
    let bands: Vec<_> =
        decidecades(Decidecade::new(10).low_hz(), Decidecade::new(50).high_hz()).collect();
    assert_eq!((bands.len(), bands[0].index, bands[40].index), (41, 10, 50));
    for band in bands {
        assert_eq!(Decidecade::containing(band.centre_hz()), Some(band));
        assert_eq!(Decidecade::containing(band.low_hz()), Some(band));
        assert_eq!(
            Decidecade::containing(band.high_hz()),
            Some(Decidecade::new(band.index + 1))
        );
    }
    assert_eq!(decidecades(0.0, 100.0).count(), 0);
    assert_eq!(Decidecade::containing(f64::NAN), None);
}

fn falling(lines: usize, exponent: f64) -> Vec<f64> {
    (0..lines)
        .map(|k| {
            if k == 0 {
                0.0
            } else {
                (k as f64).powf(exponent)
            }
        })
        .collect()
}

#[test]
fn val_white_noise_gives_the_bandwidth() {
    let band_less_centre_db = number(&standards(), "white_noise_band_less_centre_db");
    let psd = falling(20_001, 0.0);
    for band in decidecades(9.0, 15_000.0) {
        let power = band_power(&psd, 1.0, band.low_hz(), band.high_hz()).unwrap();
        let expected = 10.0 * band.centre_hz().log10() + band_less_centre_db;
        close(level_db(power, 1.0), expected, 1e-3, &band.label());
    }
}

#[test]
fn verif_cut_edges_hold_at_10_hz_and_whole_lines_fail() {
    let band = Decidecade::new(10);
    let (low, high) = (band.low_hz(), band.high_hz());
    for exponent in [0.0, -2.0] {
        let psd = falling(1_001, exponent);
        let exact = if exponent == 0.0 {
            high - low
        } else {
            1.0 / low - 1.0 / high
        };
        let cut_db =
            level_db(band_power(&psd, 1.0, low, high).unwrap(), 1.0) - level_db(exact, 1.0);
        close(cut_db, 0.0, 0.025, "edge lines cut in proportion");
        // Red test: counting whole lines.
        let whole: f64 = (0..psd.len())
            .filter(|&k| (low..=high).contains(&(k as f64)))
            .map(|k| psd[k])
            .sum();
        let whole_db = level_db(whole, 1.0) - level_db(exact, 1.0);
        assert!(
            (1.0..1.3).contains(&whole_db.abs()),
            "whole lines are off by {whole_db} dB"
        );
    }
}

#[test]
fn verif_bands_add_up_to_the_whole() {
    let psd: Vec<f64> = (0..513).map(|k| 1.0 + f64::from(k % 7)).collect();
    let whole: f64 = psd.iter().sum::<f64>() * 2.5;
    let edges = [0.0, 1.1, 17.0, 300.25, 1_000.0, 1_280.0];
    let sum: f64 = edges
        .windows(2)
        .map(|e| band_power(&psd, 2.5, e[0], e[1]).unwrap())
        .sum();
    close(sum, whole, 1e-9 * whole, "sum of bands");
    let mut levels = [0.0];
    band_levels_db(&psd, 2.5, &[(0.0, 1_280.0)], 1.0, &mut levels).unwrap();
    close(levels[0], level_db(whole, 1.0), 1e-9, "level of the whole");
}

#[test]
fn verif_bad_bands_are_refused() {
    let psd = [1.0; 11];
    for (low, high) in [(-1.0, 5.0), (5.0, 5.0), (5.0, 10.5), (f64::NAN, 5.0)] {
        assert!(matches!(
            band_power(&psd, 1.0, low, high),
            Err(SpectrumError::Band { .. })
        ));
    }
    assert!(matches!(
        band_power(&psd, 0.0, 0.0, 1.0),
        Err(SpectrumError::Empty { .. })
    ));
}
