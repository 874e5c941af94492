//! The real recordings that `reference/fetch.py` fetches: rates, channels, levels as libsndfile and NumPy find them.

use std::path::PathBuf;

use recording::Recording;

use crate::bytes::{all, reference};

/// Levels are shown with two decimals; decoders of Vorbis differ in rounding far below that.
const LEVEL_TOLERANCE_DB: f64 = 0.01;

fn fetched(check: &str, name: &str) -> Option<PathBuf> {
    truth::fetched(check, &format!("recordings/{name}"))
}

fn db(share: f64) -> f64 {
    20.0 * share.log10()
}

#[test]
fn val_real_recordings_have_the_levels_that_libsndfile_and_numpy_find() {
    let mut worst: f64 = 0.0;
    for row in reference("soundfile-levels.csv") {
        let name = &row[0];
        let Some(path) = fetched(&format!("levels of {name} channel {}", row[4]), name) else {
            continue;
        };
        let numbers: Vec<f64> = row[1..]
            .iter()
            .map(|value| value.parse().unwrap())
            .collect();
        let [
            rate_hz,
            channels,
            frames,
            channel,
            rms_db,
            peak_db,
            full_scale,
        ] = numbers[..]
        else {
            panic!("eight columns")
        };
        let mut recording = Recording::open(&path).unwrap();
        let info = recording.info().clone();
        assert_eq!(f64::from(info.rate_hz), rate_hz, "{name}");
        assert_eq!(f64::from(info.channels), channels, "{name}");
        assert_eq!(info.frames, Some(frames as u64), "{name}");
        let samples = all(&mut recording, 1000).unwrap();
        assert_eq!(samples.len() as f64, frames * channels, "{name}");
        let own: Vec<f64> = samples
            .iter()
            .skip(channel as usize)
            .step_by(channels as usize)
            .map(|&sample| f64::from(sample))
            .collect();
        let rms = (own.iter().map(|sample| sample * sample).sum::<f64>() / own.len() as f64).sqrt();
        let peak = own
            .iter()
            .fold(0.0, |peak: f64, sample| peak.max(sample.abs()));
        for (what, found, expected) in [("rms", db(rms), rms_db), ("peak", db(peak), peak_db)] {
            let error = (found - expected).abs();
            worst = worst.max(error);
            assert!(
                error <= LEVEL_TOLERANCE_DB,
                "{name} channel {channel} {what}: {found} dB, expected {expected} dB"
            );
        }
        if channels == 1.0 {
            assert_eq!(recording.full_scale() as f64, full_scale, "{name}");
        }
        let odd: Vec<_> = recording
            .warnings()
            .iter()
            .filter(|warning| !matches!(warning, recording::Warning::StartUnknown(_)))
            .collect();
        assert!(odd.is_empty(), "{name}: {odd:?}");
    }
    println!("largest difference {worst} dB");
}

#[test]
fn verif_real_recordings_read_the_same_in_blocks_of_any_size() {
    for name in ["orca.ogg", "fruitfly-song-multichannel.wav"] {
        let Some(path) = fetched(&format!("blocks of {name}"), name) else {
            continue;
        };
        let whole = all(&mut Recording::open(&path).unwrap(), 1 << 20).unwrap();
        for frames in [1, 7, 4096] {
            assert!(
                all(&mut Recording::open(&path).unwrap(), frames).unwrap() == whole,
                "{name} by {frames}"
            );
        }
    }
}
