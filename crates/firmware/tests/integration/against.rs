//! Notices of the C against those of our own detector on real recordings, which neither was made from.
//!
//! Recordings: `reference/fetch.py` (open data, pinned by SHA-256). A sample of 1.0 takes the place of 1 Pa, so that levels are those of loud sounds in air or
//! water; what matters is that both see the same samples.

use std::io::Write;
use std::process::{Command, Stdio};

use detect::{
    BackgroundKind, Confirm, Detector, KOfN, LevelKind, Notice, Reason, Spec, Stage, Told,
};
use firmware::detector_c;
use recording::Recording;
use signal::Block;

use crate::built::{FLAGS, write};
use crate::specs::{background, band, level, pulses};

const UPA_PER_FULL_SCALE: f32 = 1e6;
const LEVELS_WITHIN_DB: f64 = 0.05;

fn samples(name: &str) -> Option<(f64, Vec<f32>)> {
    let path = truth::fetched("detectors in C", &format!("recordings/{name}"))?;
    let mut recording = Recording::open(&path).unwrap();
    let channels = usize::from(recording.info().channels);
    let rate_hz = f64::from(recording.info().rate_hz);
    let mut x = Vec::new();
    let mut buffer = vec![0.0; 8192 * channels];
    loop {
        let chunk = recording.read(&mut buffer).unwrap();
        if chunk.frames == 0 {
            return Some((rate_hz, x));
        }
        let frames = buffer[..chunk.frames * channels].chunks_exact(channels);
        x.extend(frames.map(|frame| frame[0] * UPA_PER_FULL_SCALE));
    }
}

/// Low and short enough for the recordings to hold many events.
fn quick(confirm: Confirm, k_of_n: Option<KOfN>) -> Stage {
    Stage::Trigger {
        on_above_db: 3.0,
        off_below_db: 1.5,
        shortest_s: 0.03,
        longest_s: Some(1.0),
        bridge_s: 0.02,
        k_of_n,
        hold_off_s: 0.1,
        confirm,
    }
}

fn ours(spec: &Spec, x: &[f32]) -> (Vec<Told>, u64) {
    let mut detector = Detector::new(spec).unwrap();
    let mut told = Vec::new();
    detector.push(Block { first: 0, x }, &mut told).unwrap();
    detector.finish(&mut told);
    (told, detector.cell_samples())
}

/// Lines of the driver, as numbers.
fn theirs(spec: &Spec, x: &[f32]) -> Vec<Vec<f64>> {
    let made = detector_c(spec, "heard").unwrap();
    let folder = tempfile::tempdir().unwrap();
    write(&made, folder.path());
    std::fs::write(folder.path().join("driver.c"), include_str!("driver.c")).unwrap();
    let program = folder.path().join("driver");
    let built = Command::new("gcc")
        .args(FLAGS)
        .args(["heard.c", "driver.c", "-lm", "-o"])
        .arg(&program)
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert!(
        built.status.success(),
        "{}",
        String::from_utf8_lossy(&built.stderr)
    );
    let bytes: Vec<u8> = x.iter().flat_map(|v| v.to_le_bytes()).collect();
    let mut child = Command::new(&program)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let feed = std::thread::spawn(move || input.write_all(&bytes));
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap().unwrap();
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines()
        .map(|line| line.split(' ').map(|word| word.parse().unwrap()).collect())
        .collect()
}

#[track_caller]
fn agree(spec: &Spec, x: &[f32]) -> usize {
    let (ours, tile) = ours(spec, x);
    let theirs = theirs(spec, x);
    assert_eq!(ours.len(), theirs.len());
    let near = |a: u64, b: f64| (a as f64 - b).abs() <= tile as f64;
    let alike = |a: f64, b: f64| (a - b).abs() <= LEVELS_WITHIN_DB;
    let mut events = 0;
    for (told, line) in ours.iter().zip(&theirs) {
        let [notice, reason, id, known] = [line[0], line[1], line[2], line[3]];
        assert!(near(told.known_at_sample, known), "{told:?} {line:?}");
        assert_eq!(told.notice.id().0 as f64, id);
        let expected = match told.notice {
            Notice::Onset(_) => (0.0, 0.0),
            Notice::Confirmed(_) => (1.0, 0.0),
            Notice::Ended(event) => {
                events += 1;
                assert!(
                    near(event.begin_sample, line[4])
                        && near(event.end_sample, line[5])
                        && near(event.peak_sample, line[6]),
                    "{event:?} {line:?}"
                );
                assert!(
                    alike(event.peak_level_db, line[7])
                        && alike(event.mean_level_db, line[8])
                        && alike(event.score_db, line[10]),
                    "{event:?} {line:?}"
                );
                assert!(
                    event
                        .background_db
                        .map_or(line[9].is_nan(), |db| alike(db, line[9])),
                    "{event:?} {line:?}"
                );
                assert_eq!(f64::from(event.pulses.unwrap_or(0)), line[11]);
                (2.0, 0.0)
            }
            Notice::Dropped(_, reason) => {
                let number = match reason {
                    Reason::TooShort => 0.0,
                    Reason::TooLong => 1.0,
                    Reason::TooFewPulses => 2.0,
                    Reason::StretchEnded => 3.0,
                    Reason::WrongSlope | Reason::Unlikely => panic!("{reason:?}"),
                };
                (3.0, number)
            }
        };
        assert_eq!((notice, reason), expected, "{told:?} {line:?}");
    }
    events
}

/// Two programs that share coefficients and no code tell the same of recordings.
#[test]
fn verif_events_of_recordings_are_those_of_our_own_detector() {
    if !truth::has_program("detectors in C against ours", "gcc") {
        return;
    }
    let median = || background(BackgroundKind::Median, 1.0, 0.0);
    let some = Some(KOfN {
        at_least: 2,
        of_last: 4,
    });
    let kinds: Vec<Box<dyn Fn(f64) -> Vec<Stage>>> = vec![
        Box::new(move |rate| {
            vec![
                band(0.02 * rate, 0.2 * rate),
                level(LevelKind::MeanSquare, 0.03),
                median(),
                quick(Confirm::Early, None),
            ]
        }),
        Box::new(|rate| {
            vec![
                band(0.001 * rate, 0.01 * rate),
                level(LevelKind::Exponential, 0.02),
                background(BackgroundKind::Ordered { rank: 0.6 }, 1.0, 0.1),
                quick(Confirm::AtEnd, some),
            ]
        }),
        Box::new(|rate| {
            vec![
                band(0.1 * rate, 0.4 * rate),
                level(LevelKind::TeagerKaiser, 0.005),
                background(BackgroundKind::Mean, 0.5, 0.02),
                pulses(None),
            ]
        }),
    ];
    let mut events = 0;
    for name in [
        "dolphin.ogg",
        "orca.ogg",
        "bl26lb16.wav",
        "BM003.wav",
        "deermouse-go.wav",
        "fruitfly-song-multichannel.wav",
    ] {
        let Some((rate_hz, x)) = samples(name) else {
            return;
        };
        for stages in &kinds {
            let spec = Spec {
                rate_hz,
                stages: stages(rate_hz),
            };
            events += agree(&spec, &x);
        }
    }
    println!("{events} events of recordings");
    assert!(events >= 30, "{events} events prove little");
}
