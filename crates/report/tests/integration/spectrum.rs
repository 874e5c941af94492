//! Spectra against an independent program, and against themselves by other routes.

use std::f64::consts::PI;

use report::{Grid, PictureError, Pooling, Spectrogram, SpectrogramBuilder, SpectrogramSettings};

/// dB. The reference prints four decimals; single precision holds a level to 1e-5 dB.
const SCIPY_TOLERANCE_DB: f64 = 0.01;

struct Case {
    rate_hz: f64,
    samples: usize,
    window_samples: usize,
    hop_samples: usize,
    noise_upa: f64,
    /// Amplitude in µPa and frequency in Hz.
    tones: [(f64, f64); 2],
}

/// The signals stated in reference/make/report_spectrogram.py.
fn case(name: &str) -> Case {
    match name {
        "even" => Case {
            rate_hz: 8000.0,
            samples: 16_000,
            window_samples: 1024,
            hop_samples: 512,
            noise_upa: 1e5,
            tones: [(1e6 * 2.0_f64.sqrt(), 1000.0), (3e5, 2345.6)],
        },
        "odd" => Case {
            rate_hz: 300_000.0,
            samples: 9000,
            window_samples: 1001,
            hop_samples: 300,
            noise_upa: 2e6,
            tones: [(5e7, 120_000.0), (8e6, 149_800.0)],
        },
        other => panic!("the reference names an unknown case {other}"),
    }
}

impl Case {
    fn signal(&self) -> Vec<f32> {
        let mut state = 12_345_u32;
        (0..self.samples)
            .map(|i| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (f64::from(state) / 4_294_967_296.0 - 0.5) * self.noise_upa;
                let tone = |(a, f): &(f64, f64)| a * (2.0 * PI * f * i as f64 / self.rate_hz).sin();
                (noise + self.tones.iter().map(tone).sum::<f64>()) as f32
            })
            .collect()
    }

    fn builder(&self, pooling: Pooling) -> SpectrogramBuilder {
        SpectrogramBuilder::new(SpectrogramSettings {
            rate_hz: self.rate_hz,
            window_samples: self.window_samples,
            hop_samples: self.hop_samples,
            keep_hz: (0.0, self.rate_hz / 2.0),
            pooling,
        })
        .unwrap()
    }

    fn spectrogram(&self) -> Spectrogram {
        let mut builder = self.builder(Pooling::Mean);
        builder.push(&self.signal()).unwrap();
        builder.finish().unwrap()
    }
}

fn level_db(spectrogram: &Spectrogram, column: usize, row: usize) -> f64 {
    f64::from(spectrogram.column_db_re_1upa2_per_hz(column).unwrap()[row])
}

fn mean_db(spectrogram: &Spectrogram, columns: std::ops::Range<usize>, row: usize) -> f64 {
    let count = columns.len() as f64;
    let power = |c| 10f64.powf(level_db(spectrogram, c, row) / 10.0);
    10.0 * (columns.map(power).sum::<f64>() / count).log10()
}

/// reference/report/scipy-spectrogram.csv (scipy 1.17.1, spectrogram and welch).
#[test]
fn val_levels_agree_with_scipy() {
    let even = case("even").spectrogram();
    let odd = case("odd").spectrogram();
    let mut compared = 0;
    for fields in truth::rows("report/scipy-spectrogram.csv") {
        let spectrogram = match fields[0].as_str() {
            "even" => &even,
            _ => &odd,
        };
        let row: usize = fields[2].parse().unwrap();
        let frequency_hz: f64 = fields[3].parse().unwrap();
        let wanted_db: f64 = fields[4].parse().unwrap();
        let columns = spectrogram.grid().columns;
        let got_db = match fields[1].as_str() {
            "mean" => mean_db(spectrogram, 0..columns, row),
            column => level_db(spectrogram, column.parse().unwrap(), row),
        };
        assert!((spectrogram.grid().row_hz(row) - frequency_hz).abs() < 1e-5);
        let error_db = got_db - wanted_db;
        assert!(
            error_db.abs() < SCIPY_TOLERANCE_DB,
            "{fields:?}: off by {error_db} dB"
        );
        compared += 1;
    }
    assert!(compared > 250, "only {compared} values compared");
}

/// A tone in the middle of a bin stands at its own level less ten lg of the noise bandwidth,
/// which for the Hann window is 1.5 bins exactly.
#[test]
fn verif_a_tone_on_a_bin_keeps_its_level() {
    let mut case = case("even");
    case.noise_upa = 0.0;
    case.tones[1].0 = 0.0;
    let spectrogram = case.spectrogram();
    let row_hz = spectrogram.grid().row_step_hz;
    let row = (1000.0 / row_hz) as usize;
    let got_db = mean_db(&spectrogram, 0..spectrogram.grid().columns, row);
    let tone_db = got_db + 10.0 * (1.5 * row_hz).log10();
    assert!((tone_db - 120.0).abs() < 0.001, "{tone_db}");
}

/// Parseval: the rows add up to the mean square of white noise.
#[test]
fn verif_rows_add_up_to_the_mean_square() {
    let mut case = case("even");
    case.tones = [(0.0, 1.0); 2];
    case.samples = 200_000;
    let signal = case.signal();
    let mut builder = case.builder(Pooling::Mean);
    builder.push(&signal).unwrap();
    let spectrogram = builder.finish().unwrap();
    let grid = spectrogram.grid();
    let sum: f64 = (0..grid.rows)
        .map(|row| {
            10f64.powf(mean_db(&spectrogram, 0..grid.columns, row) / 10.0) * grid.row_step_hz
        })
        .sum();
    let square: f64 =
        signal.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / signal.len() as f64;
    assert!((10.0 * (sum / square).log10()).abs() < 0.05);
}

#[test]
fn verif_cutting_into_blocks_changes_no_bit() {
    let case = case("odd");
    let signal = case.signal();
    let whole = case.spectrogram();
    for block in [1, 7, 300, 1001, 4096] {
        let mut builder = case.builder(Pooling::Mean);
        for part in signal.chunks(block) {
            builder.push(part).unwrap();
        }
        assert_eq!(builder.finish().unwrap(), whole, "blocks of {block}");
    }
}

fn small(hop_samples: usize, pooling: Pooling) -> SpectrogramBuilder {
    SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz: 1000.0,
        window_samples: 16,
        hop_samples,
        keep_hz: (0.0, 500.0),
        pooling,
    })
    .unwrap()
}

/// 5003 windows of 16 samples: 1600 columns hold four windows each after two halvings. Each column
/// is compared with its own windows, computed one by one and pooled here.
#[test]
fn verif_pooled_columns_are_the_pool_of_their_windows() {
    let hop = 5;
    let windows = 5003;
    let mut case = case("even");
    case.samples = (windows - 1) * hop + 16;
    let mut signal = case.signal();
    signal[hop * 4001 + 8] += 1e9;
    for pooling in [Pooling::Greatest, Pooling::Mean] {
        let mut builder = small(hop, pooling);
        builder.push(&signal).unwrap();
        let pooled = builder.finish().unwrap();
        assert_eq!(pooled.analysis().unwrap().windows_per_column, 4);
        assert_eq!(pooled.grid().columns, windows.div_ceil(4));
        assert!((pooled.grid().column_step_s - 0.02).abs() < 1e-12);
        for column in [0, 1, 799, 800, 1000, 1249, 1250] {
            let first = 4 * column;
            let count = (windows - first).min(4);
            let mut builder = small(hop, pooling);
            let end = (first + count - 1) * hop + 16;
            builder.push(&signal[first * hop..end]).unwrap();
            let single = builder.finish().unwrap();
            assert_eq!(single.grid().columns, count);
            for row in 0..9 {
                let wanted_db = match pooling {
                    Pooling::Mean => mean_db(&single, 0..count, row),
                    Pooling::Greatest => (0..count)
                        .map(|c| level_db(&single, c, row))
                        .fold(f64::NEG_INFINITY, f64::max),
                };
                let got_db = level_db(&pooled, column, row);
                assert!(
                    (got_db - wanted_db).abs() < 1e-4,
                    "{pooling:?}, column {column}, row {row}: {got_db} for {wanted_db}"
                );
            }
        }
    }
}

#[test]
fn verif_a_gap_is_missing_and_disturbs_nothing_else() {
    let signal = case("even").signal();
    let mut builder = small(8, Pooling::Mean);
    builder.push(&signal[..4000]).unwrap();
    let whole = builder.finish().unwrap();

    let mut builder = small(8, Pooling::Mean);
    builder.push(&signal[..1003]).unwrap();
    builder.gap(500).unwrap();
    builder.push(&signal[1503..4000]).unwrap();
    let broken = builder.finish().unwrap();

    assert_eq!(broken.grid(), whole.grid());
    for column in 0..whole.grid().columns {
        let (begin, end) = (column * 8, column * 8 + 16);
        let got = broken.column_db_re_1upa2_per_hz(column).unwrap();
        if end <= 1003 || begin >= 1503 {
            assert_eq!(got, whole.column_db_re_1upa2_per_hz(column).unwrap());
        } else {
            assert!(got.iter().all(|v| v.is_nan()), "column {column}");
        }
    }
}

/// A year's gap at 300 kHz needs no more memory than any other.
#[test]
fn verif_a_vast_gap_keeps_the_columns_bounded() {
    let signal = case("even").signal();
    let mut builder = small(8, Pooling::Greatest);
    builder.push(&signal).unwrap();
    builder.gap(9_460_800_000_000).unwrap();
    builder.push(&signal).unwrap();
    let spectrogram = builder.finish().unwrap();
    let columns = spectrogram.grid().columns;
    assert!((800..=1600).contains(&columns), "{columns}");
    assert!(level_db(&spectrogram, 0, 3).is_finite());
    assert!(level_db(&spectrogram, 1, 3).is_nan());
    assert!(level_db(&spectrogram, columns - 1, 3).is_finite());
    let mut builder = small(8, Pooling::Greatest);
    assert!(matches!(
        builder.gap(u64::MAX),
        Err(PictureError::Value {
            what: "length of a gap",
            ..
        })
    ));
}

#[test]
fn verif_unusable_input_is_named() {
    let mut builder = small(8, Pooling::Mean);
    builder.push(&[0.0; 10]).unwrap();
    let at = builder.push(&[0.0, 1.0, f32::NAN]).unwrap_err();
    assert!(matches!(at, PictureError::Sample { index: 12, .. }));
    assert!(builder.push(&[2e13]).is_err());
    assert!(builder.push(&[f32::NEG_INFINITY]).is_err());
    assert_eq!(
        builder.finish().unwrap_err(),
        PictureError::TooShort {
            samples: 10,
            window_samples: 16
        }
    );
    let good = SpectrogramSettings {
        rate_hz: 1000.0,
        window_samples: 64,
        hop_samples: 32,
        keep_hz: (0.0, 500.0),
        pooling: Pooling::Mean,
    };
    for bad in [
        SpectrogramSettings {
            rate_hz: 0.0,
            ..good
        },
        SpectrogramSettings {
            rate_hz: f64::NAN,
            ..good
        },
        SpectrogramSettings {
            window_samples: 8,
            ..good
        },
        SpectrogramSettings {
            window_samples: 1 << 19,
            ..good
        },
        SpectrogramSettings {
            hop_samples: 0,
            ..good
        },
        SpectrogramSettings {
            hop_samples: 65,
            ..good
        },
        SpectrogramSettings {
            keep_hz: (100.0, 100.0),
            ..good
        },
        SpectrogramSettings {
            keep_hz: (f64::NAN, 100.0),
            ..good
        },
        SpectrogramSettings {
            keep_hz: (501.0, 600.0),
            ..good
        },
        SpectrogramSettings {
            keep_hz: (1.0, 2.0),
            ..good
        },
    ] {
        assert!(SpectrogramBuilder::new(bad).is_err(), "{bad:?}");
    }
    let grid = Grid {
        begin_s: 0.0,
        column_step_s: 1.0,
        columns: 2,
        first_row_hz: 0.0,
        row_step_hz: 1.0,
        rows: 3,
    };
    let read = |grid, levels: Vec<f32>| Spectrogram::from_levels(grid, Pooling::Mean, None, levels);
    assert!(read(grid, vec![0.0; 6]).is_ok());
    assert!(matches!(
        read(grid, vec![0.0; 5]),
        Err(PictureError::Shape { found: 5, .. })
    ));
    assert!(matches!(
        read(grid, vec![0.0, f32::INFINITY, 0.0, 0.0, 0.0, 0.0]),
        Err(PictureError::Infinite { index: 1 })
    ));
    let still = Grid {
        column_step_s: 0.0,
        ..grid
    };
    assert!(matches!(
        read(still, vec![0.0; 6]),
        Err(PictureError::Value { .. })
    ));
}
