//! Gaps, files that are done on the way, offsets, and samples at full scale.

use std::path::PathBuf;

use detect::{Ending, Stage};
use hearing::{Reference, Step, hear, line_up};
use recording::Warning;

use crate::hear::{call, close, ear, heard, looked, write};

/// Of a sample that is no number its frame alone is missing: what is before it and after it is heard, as after a gap.
#[test]
fn verif_a_sample_that_is_no_number_is_a_gap() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..32_000).map(|i| call(i % 16_000)).collect();
    let sound = heard(
        &looked(&[write(&folder.path().join("good.wav"), 1, &samples)]),
        &[ear(0, Reference::Water)],
    );
    let bad = write(&folder.path().join("bad.wav"), 1, &samples);
    let mut bytes = std::fs::read(&bad).unwrap();
    // The samples are the end of the file.
    let at = bytes.len() - 4 * (32_000 - 8400);
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    std::fs::write(&bad, bytes).unwrap();
    let surveys = looked(&[bad]);
    let hearing = &heard(&surveys, &[ear(0, Reference::Water)])[0];
    assert!(hearing.failed.is_none());
    assert_eq!((hearing.frames, hearing.duration_s), (32_000, 4.0));
    let levels = hearing.levels[0].unwrap();
    assert_eq!(levels.heard_s, 31_999.0 / 8000.0);
    assert!(hearing.warnings.contains(&Warning::NoNumbers {
        at_frame: 8400,
        frames: 1
    }));
    // The call of 0.7 s to 1.2 s is cut at 1.05 s; what is left of it and the next call are events of their own.
    assert_eq!(sound[0].events.len(), 2);
    let found: Vec<(f64, Ending)> = hearing
        .events
        .iter()
        .map(|e| (e.begin_s, e.ending))
        .collect();
    assert_eq!(hearing.events.len(), 3, "{found:?}");
    assert_eq!(hearing.events[0].ending, Ending::StretchEnded);
    close(hearing.events[0].end_s, 1.05, 0.02);
    close(hearing.events[1].begin_s, 1.05, 0.02);
    assert_eq!(
        (hearing.events[2].begin_s, hearing.events[2].ending),
        (sound[0].events[1].begin_s, sound[0].events[1].ending)
    );
}

/// Files are done while later ones are still to be heard, with all the events that begin in them, whatever a detector
/// follows silently.
#[test]
fn verif_a_file_is_done_before_the_stretch_is_over() {
    let folder = tempfile::tempdir().unwrap();
    let files: Vec<PathBuf> = (0..6)
        .map(|file| {
            let samples: Vec<f32> = (0..16_000).map(call).collect();
            let name = format!("20270315T0415{:02}Z.wav", 2 * file);
            write(&folder.path().join(name), 1, &samples)
        })
        .collect();
    let surveys = looked(&files);
    assert_eq!(line_up(&surveys).unwrap().len(), 1);
    let ears = [ear(0, Reference::Water)];
    let (mut read, mut done_at, mut events) = (0, Vec::new(), 0);
    hear(
        &surveys,
        &ears,
        &mut |step| match step {
            Step::Samples { pressure_upa, .. } => read += pressure_upa.len(),
            Step::Done { file, hearing } => {
                assert_eq!(file, done_at.len());
                events += hearing.events.len();
                done_at.push(read);
            }
            Step::Gap { .. } | Step::Settled { .. } => {}
        },
        &|_| true,
    )
    .unwrap();
    assert_eq!(events, 6);
    assert_eq!(done_at, [32_000, 48_000, 64_000, 80_000, 96_000, 96_000]);
}

/// An offset of 0.1 and a tone of 0.05: the mean is told, and the level without it is that of the tone.
#[test]
fn verif_an_offset_is_told_with_the_level_that_is_left_without_it() {
    let folder = tempfile::tempdir().unwrap();
    let tone = |i: u32| (std::f64::consts::TAU * 200.0 * f64::from(i) / 8000.0).sin();
    let samples: Vec<f32> = (0..16_000)
        .map(|i| (-0.1 + 0.05 * tone(i)) as f32)
        .collect();
    let surveys = looked(&[write(&folder.path().join("offset.wav"), 1, &samples)]);
    let levels = heard(&surveys, &[ear(0, Reference::FullScale)])[0].levels[0].unwrap();
    close(levels.mean_share, 0.1, 1e-6);
    close(
        levels.level_without_mean_db,
        10.0 * libm::log10(0.05 * 0.05 / 2.0),
        1e-3,
    );
    close(
        levels.level_db,
        10.0 * libm::log10(0.01 + 0.05 * 0.05 / 2.0),
        1e-3,
    );
}

/// Samples at full scale are counted for the event that holds them, and told with their times.
#[test]
fn verif_full_scale_is_told_of_its_event() {
    let folder = tempfile::tempdir().unwrap();
    let mut samples: Vec<f32> = (0..32_000).map(|i| call(i % 16_000)).collect();
    for frame in [100, 7000, 7001, 7003] {
        samples[frame] = -1.0;
    }
    let surveys = looked(&[write(&folder.path().join("full.wav"), 1, &samples)]);
    let hearing = &heard(&surveys, &[ear(0, Reference::Water)])[0];
    let counts: Vec<u64> = hearing
        .events
        .iter()
        .map(|event| event.full_scale_samples)
        .collect();
    assert_eq!(hearing.full_scale_samples, 4);
    assert_eq!(counts, [3, 0]);
    let s = |frame: u32| f64::from(frame) / 8000.0;
    assert_eq!(
        hearing.full_scale_s,
        [[(s(100), s(101)), (s(7000), s(7002)), (s(7003), s(7004))]]
    );
}

/// A sound that begins in the first file within a hold-off is followed silently, told in the second, and over in the third:
/// the first file is not done before.
#[test]
fn verif_a_file_waits_for_a_sound_that_is_followed_silently() {
    let folder = tempfile::tempdir().unwrap();
    let loud = |s: f64| (0.1..0.5).contains(&s) || (0.9..2.6).contains(&s);
    let files: Vec<PathBuf> = (0..4)
        .map(|file: u32| {
            let samples: Vec<f32> = (0..8000)
                .map(|i| f64::from(8000 * file + i) / 8000.0)
                .map(|s| if loud(s) { 0.25 } else { 1e-5 })
                .collect();
            let name = format!("20270315T04150{file}Z.wav");
            write(&folder.path().join(name), 1, &samples)
        })
        .collect();
    let surveys = looked(&files);
    let mut held_off = ear(0, Reference::Water);
    for stage in &mut held_off.detectors[0].stages {
        if let Stage::Trigger { hold_off_s, .. } = stage {
            *hold_off_s = 1.0;
        }
    }
    let (mut read, mut done) = (0, Vec::new());
    hear(
        &surveys,
        &[held_off],
        &mut |step| match step {
            Step::Samples { pressure_upa, .. } => read += pressure_upa.len(),
            Step::Done { hearing, .. } => done.push((read, hearing.events.len())),
            Step::Gap { .. } | Step::Settled { .. } => {}
        },
        &|_| true,
    )
    .unwrap();
    assert_eq!(done, [(24_000, 2), (24_000, 0), (32_000, 0), (32_000, 0)]);
}
