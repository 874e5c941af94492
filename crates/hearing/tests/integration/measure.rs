//! Measures by period: against NumPy and SciPy, across files and gaps, with samples at full scale.

use std::num::NonZeroU32;
use std::path::{Path, PathBuf};

use hearing::{
    Ear, Lines, MeasureError, Measured, Meter, Period, PeriodBegin, Reference, line_up,
    lines_bytes, measured_bands,
};
use signal::{Decidecade, level_db, peak_level_db};

use crate::hear::{close, looked, write};

const RATE: usize = 8_000;
const FULL_SCALE_UPA: f64 = 1e6;

/// The samples of `reference/make/hearing_measures.py`, as shares of full scale.
fn sample(i: usize) -> f32 {
    if i.is_multiple_of(56_123) {
        return 20_000.0 / 32_768.0;
    }
    let mut z = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    let code = ((z >> 50) as i64 - 8192).div_euclid(4);
    code as f32 / 32_768.0
}

fn ear() -> Ear {
    Ear {
        channel: 0,
        full_scale_upa: FULL_SCALE_UPA,
        reference: Reference::Water,
        detectors: Vec::new(),
    }
}

/// The periods of these files, in order of the lining up.
fn measured(files: &[PathBuf], every_s: u32, lines: Lines) -> Vec<Period> {
    let surveys = looked(files);
    let mut meter = Meter::new(NonZeroU32::new(every_s).unwrap(), 1, lines);
    let mut periods = Vec::new();
    let mut told = |told| {
        if let Measured::Period(period) = told {
            periods.push(period);
        }
    };
    for stretch in line_up(&surveys).unwrap() {
        let files: Vec<_> = stretch.iter().map(|&i| surveys[i].clone()).collect();
        meter
            .stretch(&files, &stretch, &[ear()], &mut told, &|_| true)
            .unwrap();
    }
    meter.finish(&mut told);
    periods
}

fn file(folder: &Path, name: &str, samples: impl Iterator<Item = usize>) -> PathBuf {
    let samples: Vec<f32> = samples.map(sample).collect();
    write(&folder.join(name), 1, &samples)
}

fn numbers(value: &serde_json::Value) -> Vec<f64> {
    let all = value.as_array().unwrap().iter();
    all.map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn val_minutes_equal_scipy() {
    let reference = truth::json("hearing/scipy-measures.json");
    let folder = tempfile::tempdir().unwrap();
    let all = file(folder.path(), "a_20270315T041530.25Z.wav", 0..130 * RATE);
    let periods = measured(&[all], 60, Lines::Keep);
    let theirs = reference["periods"].as_array().unwrap();
    assert_eq!((periods.len(), theirs.len()), (3, 3));
    for (minute, (ours, theirs)) in periods.iter().zip(theirs).enumerate() {
        let number = |name: &str| theirs[name].as_f64().unwrap();
        assert_eq!(
            ours.begin,
            PeriodBegin::Utc(
                format!("2027-03-15T04:{}:00Z", 15 + minute)
                    .parse()
                    .unwrap()
            )
        );
        assert_eq!(ours.listened_s, number("listened_s"));
        assert_eq!(ours.averaged_s, ours.listened_s);
        assert_eq!(ours.is_whole(), minute == 1);
        assert_eq!((ours.parts, ours.clipped_samples), (1, 0));
        let broad = ours.broad.unwrap();
        for (found, name) in [
            (level_db(broad.mean_square_upa2, 1.0), "level_db"),
            (level_db(broad.variance_upa2, 1.0), "level_without_mean_db"),
            (level_db(broad.exposure_upa2_s, 1.0), "exposure_level_db"),
            (peak_level_db(broad.peak_upa, 1.0), "peak_level_db"),
            (
                peak_level_db(broad.peak_to_peak_upa, 1.0),
                "peak_to_peak_level_db",
            ),
        ] {
            close(found, number(name), 1e-6);
        }
        close(broad.kurtosis.unwrap(), number("kurtosis"), 1e-6);
        let bands = numbers(&theirs["band_levels_db"]);
        assert_eq!(bands.len(), ours.bands.len());
        let tolerance_db = if ours.is_whole() { 0.03 } else { 0.1 };
        for (found, wanted) in ours.band_mean_square_upa2.iter().zip(&bands) {
            close(level_db(found.unwrap(), 1.0), *wanted, tolerance_db);
        }
        assert_eq!(ours.segments as f64, number("segments"));
        let densities = theirs["density_percentiles_db"].as_array().unwrap();
        assert_eq!(densities.len(), ours.densities_upa2_hz.len());
        for (found, wanted) in ours.densities_upa2_hz.iter().zip(densities) {
            for (found, wanted) in found.iter().zip(numbers(wanted)) {
                close(level_db(*found, 1.0), wanted, 1e-6);
            }
        }
        let lines = ours.lines.as_ref().unwrap();
        assert_eq!((lines.bin_hz, lines.densities_upa2_hz.len()), (1.0, 4_001));
        let theirs = theirs["every_97th_line_percentiles_db"].as_array().unwrap();
        assert_eq!(theirs.len(), 42);
        for (found, wanted) in lines.densities_upa2_hz.iter().step_by(97).zip(theirs) {
            for (found, wanted) in found.iter().zip(numbers(wanted)) {
                close(level_db(*found, 1.0), wanted, 1e-4);
            }
        }
    }
    assert_eq!(
        lines_bytes(48_000, NonZeroU32::new(60).unwrap()),
        11_520_480
    );
}

#[test]
fn verif_files_that_abut_measure_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let one = folder.path().join("one");
    let three = folder.path().join("three");
    for at in [&one, &three] {
        std::fs::create_dir(at).unwrap();
    }
    let whole = measured(
        &[file(&one, "20270315T041530.25Z.wav", 0..70 * RATE)],
        10,
        Lines::Leave,
    );
    let parts = [
        file(&three, "20270315T041530.25Z.wav", 0..17 * RATE),
        file(
            &three,
            "20270315T041547.25Z.wav",
            17 * RATE..40 * RATE + 333,
        ),
        file(
            &three,
            "20270315T041610.291625Z.wav",
            40 * RATE + 333..70 * RATE,
        ),
    ];
    let cut = measured(&parts, 10, Lines::Leave);
    assert_eq!((whole.len(), cut.len()), (8, 8));
    for (whole, cut) in whole.iter().zip(cut) {
        // Only the file and the place in it are others.
        let same = Period {
            place: whole.place,
            first_s: whole.first_s,
            ..cut
        };
        assert_eq!(*whole, same);
    }
}

/// Two recordings with 7 s between them, in one minute: its row holds both, and says so; nothing is put into the gap.
#[test]
fn verif_a_gap_is_reported_and_not_averaged_over() {
    let folder = tempfile::tempdir().unwrap();
    let files = [
        file(folder.path(), "20270315T041500Z.wav", 0..20 * RATE),
        file(folder.path(), "20270315T041527Z.wav", 20 * RATE..53 * RATE),
    ];
    let periods = measured(&files, 60, Lines::Leave);
    let [minute] = periods.as_slice() else {
        panic!("{}", periods.len())
    };
    assert_eq!((minute.listened_s, minute.averaged_s), (53.0, 53.0));
    assert_eq!((minute.parts, minute.place, minute.first_s), (2, 0, 0.0));
    assert!(!minute.is_whole());
    // 39 segments of 20 s and 65 of 33 s: none across the gap.
    assert_eq!(minute.segments, 104);
    let squares: f64 = (0..53 * RATE).map(|i| f64::from(sample(i)).powi(2)).sum();
    let wanted = squares / (53 * RATE) as f64 * FULL_SCALE_UPA * FULL_SCALE_UPA;
    let found = minute.broad.unwrap().mean_square_upa2;
    close(found / wanted, 1.0, 1e-9);
}

/// Seconds with samples at full scale are counted and left out of every figure.
#[test]
fn verif_clipped_seconds_are_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let clipped = [3 * RATE + 17, 3 * RATE + 18, 40 * RATE - 1];
    let samples: Vec<f32> = (0..60 * RATE)
        .map(|i| {
            if clipped.contains(&i) {
                -1.0
            } else {
                sample(i)
            }
        })
        .collect();
    let path = write(&folder.path().join("20270315T041500Z.wav"), 1, &samples);
    let periods = measured(&[path], 60, Lines::Leave);
    let minute = &periods[0];
    assert_eq!((minute.listened_s, minute.averaged_s), (60.0, 58.0));
    assert_eq!((minute.clipped_samples, minute.parts), (3, 1));
    let kept = (0..60 * RATE).filter(|i| ![3, 39].contains(&(i / RATE)));
    let squares: f64 = kept.map(|i| f64::from(sample(i)).powi(2)).sum();
    let wanted = squares / (58 * RATE) as f64 * FULL_SCALE_UPA * FULL_SCALE_UPA;
    let broad = minute.broad.unwrap();
    close(broad.mean_square_upa2 / wanted, 1.0, 1e-9);
    close(broad.exposure_upa2_s / (58.0 * wanted), 1.0, 1e-9);
    close(broad.peak_upa, 20_000.0 / 32_768.0 * FULL_SCALE_UPA, 1e-3);
    // Three stretches of 3, 35 and 20 whole seconds.
    assert_eq!(minute.segments, 5 + 69 + 39);

    let all = vec![1.0; 5 * RATE];
    let path = write(&folder.path().join("loud.wav"), 1, &all);
    let period = &measured(&[path], 60, Lines::Leave)[0];
    assert_eq!((period.listened_s, period.averaged_s), (5.0, 0.0));
    assert_eq!(period.clipped_samples, 5 * RATE as u64);
    assert!(period.broad.is_none() && period.densities_upa2_hz.is_empty());
    assert!(period.band_mean_square_upa2.iter().all(Option::is_none));
    assert_eq!(period.begin, PeriodBegin::Recording(0));
}

#[test]
fn verif_silence_is_silence_and_has_no_kurtosis() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(&folder.path().join("still.wav"), 1, &vec![0.0; 3 * RATE]);
    let period = &measured(&[path], 1, Lines::Leave)[2];
    let broad = period.broad.unwrap();
    assert_eq!((broad.mean_square_upa2, broad.kurtosis), (0.0, None));
    assert_eq!(period.band_mean_square_upa2[0], Some(0.0));
    assert_eq!(period.densities_upa2_hz[0], [0.0; 7]);
    assert!(period.is_whole());
}

/// A tone reads its level in its band, whatever the rate.
#[test]
fn verif_bands_reach_as_high_as_the_rate_lets_them() {
    for (rate_hz, bands, highest) in [
        (8_000, 26, "3.15 kHz"),
        (44_100, 33, "16 kHz"),
        (384_000, 43, "160 kHz"),
    ] {
        let found = measured_bands(rate_hz).unwrap();
        assert_eq!(found.len(), bands);
        assert_eq!(found[0], Decidecade::new(10));
        assert_eq!(found[bands - 1].label(), highest);
    }
    assert!(matches!(measured_bands(20), Err(MeasureError::Bands(_))));
    assert!(matches!(
        measured_bands(100_000_000),
        Err(MeasureError::Rate { .. })
    ));
}
