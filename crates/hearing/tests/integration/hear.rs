//! Events, levels and order of files, against closed forms and against one uncut file.

use std::path::{Path, PathBuf};

use detect::{Confirm, Ending, LevelKind, Spec, Stage};
use hearing::{
    Ear, FileError, HearError, Hearing, LineUpError, Reference, Step, Survey, hear, line_up,
    survey, view,
};
use recording::{Overwrite, SampleFormat, WavWriter};

const RATE_HZ: u32 = 8000;

/// Two seconds: quiet, with a tone of half of full scale from 0.7 s to 1.2 s.
pub(crate) fn call(frame: usize) -> f32 {
    let t_s = frame as f64 / f64::from(RATE_HZ);
    let amplitude = if (0.7..1.2).contains(&t_s) { 0.5 } else { 1e-4 };
    (amplitude * libm::sin(2.0 * std::f64::consts::PI * 500.0 * t_s)) as f32
}

pub(crate) fn write(path: &Path, channels: u16, samples: &[f32]) -> PathBuf {
    let mut writer = WavWriter::create(
        path,
        RATE_HZ,
        channels,
        SampleFormat::Float32,
        Overwrite::Refuse,
    )
    .unwrap();
    writer.write(samples).unwrap();
    writer.finish().unwrap();
    path.to_path_buf()
}

pub(crate) fn spec() -> Spec {
    Spec {
        rate_hz: f64::from(RATE_HZ),
        stages: vec![
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.02,
                hop_s: None,
            },
            Stage::Trigger {
                on_above_db: 120.0,
                off_below_db: 115.0,
                shortest_s: 0.1,
                longest_s: None,
                hold_off_s: 0.0,
                confirm: Confirm::Early,
                bridge_s: 0.0,
                k_of_n: None,
            },
        ],
    }
}

/// A sample of 1.0 is 10^7 uPa, 140 dB re 1 uPa.
pub(crate) fn ear(channel: u16, reference: Reference) -> Ear {
    Ear {
        channel,
        full_scale_upa: 1e7,
        reference,
        detectors: vec![spec()],
    }
}

pub(crate) fn heard(surveys: &[Survey], ears: &[Ear]) -> Vec<Hearing> {
    let mut hearings = Vec::new();
    let mut step = |step: Step<'_>| {
        if let Step::Done { file, hearing } = step {
            assert_eq!(file, hearings.len());
            hearings.push(hearing);
        }
    };
    hear(surveys, ears, &mut step, &|_| true).unwrap();
    hearings
}

pub(crate) fn looked(paths: &[PathBuf]) -> Vec<Survey> {
    paths.iter().map(|path| survey(path).unwrap()).collect()
}

pub(crate) fn close(found: f64, wanted: f64, tolerance: f64) {
    assert!((found - wanted).abs() <= tolerance, "{found} for {wanted}");
}

#[test]
fn verif_levels_of_a_tone_are_those_in_closed_form() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..16_000).map(call).collect();
    let surveys = looked(&[write(&folder.path().join("call.wav"), 1, &samples)]);
    // A sine of amplitude a has the mean square a^2 / 2: 0.5 is -9.031 dB, and 3.0103 dB more at its peak.
    let tone_db = 20.0 * libm::log10(0.5) - 10.0 * libm::log10(2.0);
    // Reference and level of full scale against it: ISO 18405 and ISO 1683 references.
    let references = [
        (Reference::Water, 140.0),
        (Reference::Air, 140.0 - 20.0 * libm::log10(20.0)),
        (Reference::FullScale, 0.0),
    ];
    for (reference, full_scale_db) in references {
        let hearing = &heard(&surveys, &[ear(0, reference)])[0];
        let [event] = hearing.events.as_slice() else {
            panic!("{:?}", hearing.events);
        };
        close(event.peak_level_db, full_scale_db + tone_db, 0.01);
        close(event.begin_s, 0.7, 0.02);
        close(event.end_s, 1.2, 0.02);
        assert_eq!((event.number, event.ending), (1, Ending::Quiet));
        let levels = hearing.levels[0].unwrap();
        // Half a second of the tone in two seconds; the quiet part is 74 dB down.
        let share_db = 10.0 * libm::log10(0.25);
        close(levels.level_db, full_scale_db + tone_db + share_db, 0.001);
        close(
            levels.exposure_level_db,
            full_scale_db + tone_db + 10.0 * libm::log10(0.5),
            0.001,
        );
        close(
            levels.peak_level_db,
            full_scale_db + 20.0 * libm::log10(0.5),
            0.001,
        );
        close(levels.heard_s, 2.0, 1e-12);
    }
}

#[test]
fn verif_files_that_abut_are_heard_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..16_000).map(call).collect();
    let whole = looked(&[write(
        &folder.path().join("whole_20270315T041500Z.wav"),
        1,
        &samples,
    )]);
    // Cut within the call, at one second; named in the wrong order.
    let halves = looked(&[
        write(
            &folder.path().join("b_20270315T041501Z.wav"),
            1,
            &samples[8000..],
        ),
        write(
            &folder.path().join("a_20270315T041500Z.wav"),
            1,
            &samples[..8000],
        ),
    ]);
    assert_eq!(line_up(&halves).unwrap(), vec![vec![1, 0]]);
    let ears = [ear(0, Reference::Water)];
    let whole = heard(&whole, &ears).remove(0);
    let cut = heard(&[halves[1].clone(), halves[0].clone()], &ears);
    assert_eq!(cut[0].events, whole.events);
    assert!(cut[1].events.is_empty());
    let begin = whole.events[0].begin_utc.unwrap().to_string();
    assert!(begin.starts_with("2027-03-15T04:15:00.6"), "{begin}");
}

#[test]
fn verif_a_gap_between_files_starts_anew() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..16_000).map(call).collect();
    let parts = looked(&[
        write(
            &folder.path().join("a_20270315T041500Z.wav"),
            1,
            &samples[..8000],
        ),
        write(
            &folder.path().join("b_20270315T041502Z.wav"),
            1,
            &samples[8000..],
        ),
    ]);
    assert_eq!(line_up(&parts).unwrap(), vec![vec![0], vec![1]]);
    let first = heard(&parts[..1], &[ear(0, Reference::Water)]).remove(0);
    assert_eq!(first.events[0].ending, Ending::StretchEnded);
    close(first.events[0].end_s, 1.0, 0.02);
}

#[test]
fn verif_overlapping_files_are_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let samples = vec![0.0; 16_000];
    let parts = looked(&[
        write(&folder.path().join("a_20270315T041500Z.wav"), 1, &samples),
        write(&folder.path().join("b_20270315T041501Z.wav"), 1, &samples),
    ]);
    let LineUpError::Overlap {
        earlier, overlap_s, ..
    } = line_up(&parts).unwrap_err()
    else {
        panic!("they overlap");
    };
    assert_eq!(earlier, parts[0].path);
    close(overlap_s, 1.0, 1e-9);
}

#[test]
fn verif_each_channel_goes_to_its_own_ear() {
    let folder = tempfile::tempdir().unwrap();
    // The call is on the second of three channels.
    let samples: Vec<f32> = (0..16_000)
        .flat_map(|frame| [0.25, call(frame), 0.0])
        .collect();
    let surveys = looked(&[write(&folder.path().join("three.wav"), 3, &samples)]);
    let ears = [
        ear(2, Reference::Water),
        ear(1, Reference::Water),
        ear(0, Reference::Water),
    ];
    let hearing = &heard(&surveys, &ears)[0];
    assert_eq!(hearing.levels[0].unwrap().level_db, f64::NEG_INFINITY);
    close(
        hearing.levels[2].unwrap().level_db,
        140.0 + 20.0 * libm::log10(0.25),
        1e-9,
    );
    let by_ear = |ear| hearing.events.iter().filter(|e| e.ear == ear).count();
    // A constant 0.25 (128 dB) is above the threshold from end to end.
    assert_eq!([by_ear(0), by_ear(1), by_ear(2)], [0, 1, 1]);
}

#[test]
fn verif_a_bad_sample_ends_one_file_and_not_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let mut samples: Vec<f32> = (0..16_000).map(call).collect();
    let good = write(
        &folder.path().join("b_20270315T041502Z.wav"),
        1,
        &samples.clone(),
    );
    samples[7000] = 3e38;
    let bad = write(&folder.path().join("a_20270315T041500Z.wav"), 1, &samples);
    let surveys = looked(&[bad, good]);
    assert_eq!(line_up(&surveys).unwrap(), vec![vec![0, 1]]);
    let hearings = heard(&surveys, &[ear(0, Reference::Water)]);
    assert!(
        matches!(
            hearings[0].failed,
            Some(FileError::Beyond {
                frame: 7000,
                channel: 1,
                ..
            })
        ),
        "{:?}",
        hearings[0].failed
    );
    assert!(hearings[1].failed.is_none());
    assert_eq!(hearings[1].events.len(), 1);
    assert_eq!(hearings[0].frames, 7000);
    assert_eq!(hearings[0].levels[0].unwrap().heard_s, 7000.0 / 8000.0);
}

#[test]
fn verif_steps_give_every_sample_once_and_settle_every_file() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..150_000).map(call).collect();
    let surveys = looked(&[write(&folder.path().join("long.wav"), 1, &samples)]);
    let (mut given, mut settled, mut frames) = (Vec::new(), 0, std::cell::Cell::new(0));
    hear(
        &surveys,
        &[ear(0, Reference::Water)],
        &mut |step| match step {
            Step::Samples { pressure_upa, .. } => given.extend_from_slice(pressure_upa),
            Step::Settled { open, .. } => {
                assert_eq!(open, 0);
                settled += 1;
            }
            Step::Gap { .. } => {}
            Step::Done { file, .. } => assert_eq!((file, settled), (0, 1)),
        },
        &|read| {
            frames.set(frames.get() + read);
            true
        },
    )
    .unwrap();
    assert_eq!((settled, *frames.get_mut()), (1, 150_000));
    let wanted: Vec<f32> = samples
        .iter()
        .map(|&x| (f64::from(x) * 1e7) as f32)
        .collect();
    assert!(given == wanted);
}

#[test]
fn verif_a_detector_that_cannot_be_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let surveys = looked(&[write(&folder.path().join("a.wav"), 1, &[0.0; 100])]);
    let mut ears = [ear(0, Reference::Water)];
    ears[0].detectors[0].stages.remove(0);
    let error = hear(&surveys, &ears, &mut |_| {}, &|_| true).unwrap_err();
    assert!(
        matches!(
            error,
            HearError::Detector {
                ear: 0,
                detector: 0,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn verif_views_hold_the_bands_and_fit_the_recording() {
    let mut spec = spec();
    spec.stages.insert(
        0,
        Stage::Band {
            low_hz: 100.0,
            high_hz: 500.0,
            order: 4,
        },
    );
    let shown = view(8000.0, 1_000_000, &[spec]).unwrap();
    assert_eq!(shown.top_hz, 1000.0);
    // 200 rows of at most 5 Hz: a window of at least 1600 samples, a power of two.
    assert_eq!((shown.window_samples, shown.hop_samples), (2048, 512));
    assert_eq!(view(8000.0, 100, &[]).unwrap().window_samples, 64);
    assert_eq!(view(8000.0, 15, &[]), None);
}

#[test]
fn verif_an_event_that_outlasts_a_file_is_told_as_open() {
    let folder = tempfile::tempdir().unwrap();
    let loud = vec![0.25; 8000];
    let files: Vec<PathBuf> = (0..3)
        .map(|s| {
            write(
                &folder.path().join(format!("20270315T04150{s}Z.wav")),
                1,
                &loud,
            )
        })
        .collect();
    let surveys = looked(&files);
    assert_eq!(line_up(&surveys).unwrap(), vec![vec![0, 1, 2]]);
    let (mut settled, mut hearings) = (Vec::new(), Vec::new());
    hear(
        &surveys,
        &[ear(0, Reference::Water)],
        &mut |step| match step {
            Step::Settled { file, open, .. } => settled.push((file, open)),
            Step::Done { hearing, .. } => {
                // The event that begins in the first file ends with the last: until then nothing is done.
                assert_eq!(settled.len(), 3);
                hearings.push(hearing);
            }
            Step::Gap { .. } | Step::Samples { .. } => {}
        },
        &|_| true,
    )
    .unwrap();
    assert_eq!(settled, [(0, 1), (1, 0), (2, 0)]);
    assert_eq!(hearings[0].events.len(), 1);
    close(hearings[0].events[0].end_s, 3.0, 0.02);
}

/// Asked to stop, it reads no further block and settles nothing.
#[test]
fn verif_hearing_stops_when_it_is_asked_to() {
    let folder = tempfile::tempdir().unwrap();
    let samples = vec![0.1; 150_000];
    let surveys = looked(&[write(&folder.path().join("long.wav"), 1, &samples)]);
    let frames = std::cell::Cell::new(0);
    let result = hear(
        &surveys,
        &[ear(0, Reference::Water)],
        &mut |step| assert!(!matches!(step, Step::Settled { .. })),
        &|read| {
            frames.set(frames.get() + read);
            frames.get() < 20_000
        },
    );
    assert!(matches!(result, Err(HearError::Cancelled)));
    assert!((20_000..30_000).contains(&frames.get()), "{frames:?}");
}
