//! Recordings as sources.

use std::f64::consts::PI;

use recording::{Overwrite, SampleFormat, WavWriter};
use seawater::Spreading;
use timeline::Ns;

use super::support::*;
use plan::SoundKind;
use rehearsal::ear::{Ear, EarError};

fn write(path: &std::path::Path, rate_hz: u32, channels: &[&dyn Fn(f64) -> f64], frames: u32) {
    let mut writer = WavWriter::create(
        path,
        rate_hz,
        channels.len() as u16,
        SampleFormat::Float32,
        Overwrite::Refuse,
    )
    .unwrap();
    let samples: Vec<f32> = (0..frames)
        .flat_map(|i| {
            let t_s = f64::from(i) / f64::from(rate_hz);
            channels.iter().map(move |c| c(t_s) as f32)
        })
        .collect();
    writer.write(&samples).unwrap();
    writer.finish().unwrap();
}

fn played(path: &std::path::Path, channel: Option<u32>) -> SoundKind {
    SoundKind::Recording {
        path: path.to_owned(),
        channel,
    }
}

/// A sine in a file at another rate comes out as the sine itself, at the source level less the loss.
#[test]
fn verif_a_recording_is_heard_between_its_samples() {
    let folder = tempfile::tempdir().unwrap();
    for (file_hz, ear_hz) in [(44_100_u32, 48_000.0), (96_000, 48_000.0), (8000, 48_000.0)] {
        let path = folder.path().join(format!("{file_hz}.wav"));
        let sine = |t_s: f64| 0.3 * libm::sin(2.0 * PI * 1500.0 * t_s);
        let other = |_: f64| 0.01;
        write(&path, file_hz, &[&other, &sine], 2 * file_hz);
        let sounds = voices(vec![sound(
            0.0,
            played(&path, Some(2)),
            160.0,
            fixed(1000.0, 0.0),
        )]);
        near(sounds[0].duration_s(), 2.0, 1e-12);
        near(sounds[0].representative_hz(), 1500.0, 60.0);
        let spec = ear("ear", 0.0, wide_chain(ear_hz));
        let sea = sea(Spreading::Practical);
        let mut ear = Ear::without_noise(spec, &sea, &sounds, Ns(0)).unwrap();
        let received_db = ear.arrivals()[0].received_level_db_re_1upa;
        let heard = samples(&mut ear, 2.0);
        let travel_s = 1000.0 / SURFACE_SPEED_M_S;
        let amplitude_upa = std::f64::consts::SQRT_2 * libm::pow(10.0, received_db / 20.0);
        let (mut error, mut power) = (0.0, 0.0);
        for n in (0.8 * ear_hz) as usize..(1.9 * ear_hz) as usize {
            let t_s = n as f64 / ear_hz - travel_s;
            let expected = amplitude_upa * libm::sin(2.0 * PI * 1500.0 * t_s);
            let e = f64::from(heard[n]) - expected;
            error += e * e;
            power += expected * expected;
        }
        let error_db = 10.0 * libm::log10(error / power);
        assert!(error_db < -70.0, "{file_hz} Hz: {error_db} dB");
    }
}

/// What a slower ear cannot hear of a recording does not fold.
#[test]
fn verif_a_recording_is_band_limited_for_a_slower_ear() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("high.wav");
    let whistle = |t_s: f64| 0.3 * libm::sin(2.0 * PI * 30_000.0 * t_s);
    write(&path, 96_000, &[&whistle], 96_000);
    let sounds = voices(vec![sound(
        0.0,
        played(&path, None),
        180.0,
        fixed(100.0, 0.0),
    )]);
    let spec = ear("ear", 0.0, wide_chain(48_000.0));
    let sea = sea(Spreading::Practical);
    let mut ear = Ear::without_noise(spec, &sea, &sounds, Ns(0)).unwrap();
    let received_db = ear.arrivals()[0].received_level_db_re_1upa;
    let heard = samples(&mut ear, 1.0);
    assert!(level_db(&heard, 48_000.0, 0.3, 0.9) < received_db - 75.0);
}

#[test]
fn verif_recordings_that_cannot_sound_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let silent = folder.path().join("silent.wav");
    write(&silent, 8000, &[&|_| 0.0], 8000);
    let open = |path: &std::path::Path, channel| {
        let what = played(path, channel);
        try_voices(vec![sound(0.0, what, 160.0, fixed(1000.0, 0.0))])
    };
    assert!(matches!(
        open(&silent, None),
        Err(EarError::RecordingSilent { .. })
    ));
    assert!(matches!(
        open(&silent, Some(2)),
        Err(EarError::NoChannel {
            channel: 2,
            channels: 1,
            ..
        })
    ));
    let missing = folder.path().join("missing.wav");
    assert!(matches!(
        open(&missing, None),
        Err(EarError::Recording { .. })
    ));
    let broken = folder.path().join("broken.wav");
    let good = folder.path().join("good.wav");
    write(&good, 8000, &[&|_| 0.1], 8000);
    let mut bytes = std::fs::read(&good).unwrap();
    let at = bytes.len() - 4 * 100;
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    std::fs::write(&broken, bytes).unwrap();
    assert!(open(&good, Some(1)).is_ok());
    // The reader takes a sample that is no number for a gap, and a sound with a gap is none.
    assert!(matches!(
        open(&broken, None),
        Err(EarError::RecordingGap { frame: 7901, .. })
    ));
}

/// Which of several channels is played is never guessed: the error counts them.
#[test]
fn verif_of_several_channels_one_must_be_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pair.wav");
    write(&path, 8000, &[&|_| 0.1, &|_| 0.2], 8000);
    let open = |channel| {
        let what = played(&path, channel);
        try_voices(vec![sound(0.0, what, 160.0, fixed(1000.0, 0.0))])
    };
    let error = open(None).unwrap_err();
    assert!(matches!(error, EarError::WhichChannel { channels: 2, .. }));
    assert!(error.to_string().contains("2 channels"), "{error}");
    assert!(matches!(open(Some(0)), Err(EarError::NoChannel { .. })));
    assert!(open(Some(1)).is_ok() && open(Some(2)).is_ok());
    assert!(matches!(open(Some(3)), Err(EarError::NoChannel { .. })));
}
