//! Writing: never a half-written or overwritten file, and sizes beyond 4 GiB.

use std::fs;

use recording::{Overwrite, Recording, SampleFormat, WavWriter, WriteError};

use crate::bytes::all;

fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn verif_the_final_name_appears_only_when_all_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer =
        WavWriter::create(&path, 8000, 1, SampleFormat::Pcm16, Overwrite::Refuse).unwrap();
    writer.write(&[0.5; 10]).unwrap();
    assert_eq!(names(folder.path()), ["a.wav.part"]);
    drop(writer);
    assert!(
        names(folder.path()).is_empty(),
        "an unfinished file is removed"
    );
    let mut writer =
        WavWriter::create(&path, 8000, 1, SampleFormat::Pcm16, Overwrite::Refuse).unwrap();
    writer.write(&[0.5; 10]).unwrap();
    writer.finish().unwrap();
    assert_eq!(names(folder.path()), ["a.wav"]);
}

#[test]
fn verif_nothing_is_overwritten_unless_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    fs::write(&path, "mine").unwrap();
    let refused = WavWriter::create(&path, 8000, 1, SampleFormat::Pcm16, Overwrite::Refuse);
    assert!(matches!(refused, Err(WriteError::Exists { .. })));
    let mut writer =
        WavWriter::create(&path, 8000, 1, SampleFormat::Pcm16, Overwrite::Force).unwrap();
    writer.write(&[0.25]).unwrap();
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        "mine",
        "kept until the new one is complete"
    );
    writer.finish().unwrap();
    assert_eq!(
        all(&mut Recording::open(&path).unwrap(), 4).unwrap(),
        [0.25]
    );

    let late = folder.path().join("late.wav");
    let writer = WavWriter::create(&late, 8000, 1, SampleFormat::Pcm16, Overwrite::Refuse).unwrap();
    fs::write(&late, "came meanwhile").unwrap();
    assert!(matches!(writer.finish(), Err(WriteError::Exists { .. })));
    assert_eq!(fs::read_to_string(&late).unwrap(), "came meanwhile");
    assert_eq!(names(folder.path()), ["a.wav", "late.wav"]);
}

#[test]
fn verif_samples_that_cannot_be_stored_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let mut writer =
        WavWriter::create(&path, 8000, 2, SampleFormat::Pcm24, Overwrite::Refuse).unwrap();
    writer.write(&[0.0, 1.0]).unwrap();
    for bad in [1.000_001, -1.1, f32::NAN, f32::INFINITY] {
        let error = writer.write(&[0.0, 0.0, 0.0, bad]).unwrap_err();
        assert!(
            matches!(
                error,
                WriteError::Sample {
                    frame: 2,
                    channel: 1,
                    ..
                }
            ),
            "{error}"
        );
        let said = error.to_string();
        assert!(
            said.ends_with("in frame 2 (counted from 0) of channel 2 cannot be stored"),
            "{said}"
        );
    }
    assert!(matches!(
        writer.write(&[0.0]),
        Err(WriteError::Frames {
            samples: 1,
            channels: 2
        })
    ));
    writer.finish().unwrap();
    let samples = all(&mut Recording::open(&path).unwrap(), 4).unwrap();
    assert_eq!(
        samples,
        [0.0, 8_388_607.0 / 8_388_608.0],
        "1.0 is the highest code; refused samples were not written"
    );
    let float = folder.path().join("f.wav");
    let mut writer =
        WavWriter::create(&float, 8000, 1, SampleFormat::Float32, Overwrite::Refuse).unwrap();
    writer.write(&[1.5]).unwrap();
    assert!(matches!(
        writer.write(&[f32::NEG_INFINITY]),
        Err(WriteError::Sample { frame: 1, .. })
    ));
}

#[test]
fn verif_headers_that_do_not_fit_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    for (rate_hz, channels) in [(0, 1), (8000, 0), (u32::MAX, 1), (8000, 40_000)] {
        let made = WavWriter::create(
            &path,
            rate_hz,
            channels,
            SampleFormat::Pcm16,
            Overwrite::Refuse,
        );
        assert!(
            matches!(made, Err(WriteError::Header { .. })),
            "{rate_hz} Hz, {channels} channels"
        );
    }
    assert!(names(folder.path()).is_empty());
}

#[test]
fn verif_halves_round_to_even() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let step = 1.0 / 32768.0;
    let mut writer =
        WavWriter::create(&path, 8000, 1, SampleFormat::Pcm16, Overwrite::Refuse).unwrap();
    writer
        .write(&[
            0.5 * step,
            1.5 * step,
            2.5 * step,
            -0.5 * step,
            -1.5 * step,
            -1.0,
            1.0,
        ])
        .unwrap();
    writer.finish().unwrap();
    let codes: Vec<i32> = all(&mut Recording::open(&path).unwrap(), 4)
        .unwrap()
        .iter()
        .map(|s| (s * 32768.0) as i32)
        .collect();
    assert_eq!(codes, [0, 2, 2, 0, -2, -32768, 32767]);
}
