//! Times between two ears: against what was put into the channels, and what keeps a time from being told.

use detect::{BackgroundKind, Confirm, LevelKind, Spec, Stage};
use hearing::{Arrival, Ear, EarPair, Found, Hearing, Reference, Step, Survey, Untold, hear_pairs};

use crate::hear::{looked, write};

const RATE_HZ: f64 = 8000.0;
/// Sound needs 20 ms from one to the other.
const PAIR: EarPair = EarPair {
    first: 0,
    second: 1,
    most_s: 0.021,
};
const NOISE: f64 = 1e-3;

/// A call that begins at `begin_s` on the first channel and so much later on the second.
#[derive(Clone, Copy)]
struct Call {
    begin_s: f64,
    later_s: f64,
    amplitude: [f64; 2],
}

fn call(begin_s: f64, later_s: f64) -> Call {
    Call {
        begin_s,
        later_s,
        amplitude: [0.02, 0.02],
    }
}

fn sweep(t: f64) -> f64 {
    if !(0.0..=0.5).contains(&t) {
        return 0.0;
    }
    let edge = (20.0 * t).min(20.0 * (0.5 - t)).min(1.0);
    edge * libm::sin(2.0 * std::f64::consts::PI * (150.0 * t + 0.5 * 500.0 * t * t))
}

/// Two channels of noise of their own with calls, interleaved.
fn channels(seconds: f64, seed: u64, calls: &[Call]) -> Vec<f32> {
    let frames = (seconds * RATE_HZ) as usize;
    let mut state = seed;
    let mut samples: Vec<f64> = (0..2 * frames)
        .map(|_| {
            // Twelve of them less their mean are near to normal.
            let sum: f64 = (0..12)
                .map(|_| {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1_442_695_040_888_963_407);
                    (state >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum();
            NOISE * (sum - 6.0)
        })
        .collect();
    for call in calls {
        for ear in 0..2 {
            let begin_s = call.begin_s + ear as f64 * call.later_s;
            let first = (begin_s * RATE_HZ) as usize;
            for frame in first..(first + 4100).min(frames) {
                let t = frame as f64 / RATE_HZ - begin_s;
                samples[2 * frame + ear] += call.amplitude[ear] * sweep(t);
            }
        }
    }
    samples.iter().map(|x| *x as f32).collect()
}

fn spec() -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: 120.0,
                high_hz: 450.0,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.1,
                hop_s: None,
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 4.0,
                guard_s: 0.0,
            },
            Stage::Trigger {
                on_above_db: 6.0,
                off_below_db: 4.0,
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

fn ears() -> [Ear; 2] {
    [0, 1].map(|channel| Ear {
        channel,
        full_scale_upa: 1e7,
        reference: Reference::Water,
        detectors: vec![spec()],
    })
}

fn heard(surveys: &[Survey], ears: &[Ear]) -> Vec<Hearing> {
    let mut hearings = Vec::new();
    let mut step = |step: Step<'_>| {
        if let Step::Done { hearing, .. } = step {
            hearings.push(hearing);
        }
    };
    hear_pairs(surveys, ears, &[PAIR], &mut step, &|_| true).unwrap();
    hearings
}

fn found_in(samples: &[f32], ears: &[Ear]) -> Vec<Found> {
    let folder = tempfile::tempdir().unwrap();
    let surveys = looked(&[write(&folder.path().join("a.wav"), 2, samples)]);
    heard(&surveys, ears).remove(0).events
}

fn arrival(event: &Found) -> Arrival {
    assert_eq!(event.arrivals.len(), 1, "{event:?}");
    event.arrivals[0]
}

fn untold(event: &Found) -> Untold {
    arrival(event).time.unwrap_err()
}

#[test]
fn verif_both_ears_tell_the_time_that_was_made() {
    let calls = [call(6.0, 0.0123), call(9.0, -0.0071), call(12.0, 0.0)];
    let events = found_in(&channels(15.0, 1, &calls), &ears());
    assert_eq!(events.len(), 6);
    for (at, call) in calls.iter().enumerate() {
        for (ear, sign) in [(0, 1.0), (1, -1.0)] {
            let event = &events[3 * ear + at];
            let arrival = arrival(event);
            let time = arrival.time.unwrap();
            assert_eq!((event.ear, arrival.ear), (ear, 1 - ear));
            let off_s = (time.later_s - sign * call.later_s).abs();
            assert!(off_s <= time.uncertainty_s, "{}: {time:?}", call.later_s);
            assert!(
                time.uncertainty_s < 5e-5 && time.likeness > 0.97,
                "{time:?}"
            );
            assert!(
                time.bound_s <= time.uncertainty_s && time.over_s > 0.5,
                "{time:?}"
            );
        }
    }
}

/// Two hundred calls at ratios down to where the detector leaves off, and delays of every size: what is told holds what was made in 95 of a
/// hundred and more, and the tenth part of it does not.
#[test]
fn verif_told_limits_hold_what_was_made() {
    let (mut told, mut within, mut within_tenth) = (0, 0, 0);
    for seed in 1..=4 {
        let calls: Vec<Call> = (0..50)
            .map(|i| {
                let amplitude = NOISE * [1.0, 1.5, 3.0, 10.0][i % 4];
                Call {
                    begin_s: 4.0 + 1.5 * i as f64,
                    later_s: 0.02 * (((i * 37) % 50) as f64 / 25.0 - 0.98),
                    amplitude: [amplitude, amplitude],
                }
            })
            .collect();
        for event in found_in(&channels(80.0, seed, &calls), &ears()) {
            let Ok(time) = arrival(&event).time else {
                continue;
            };
            let near = |c: &&Call| (c.begin_s - event.begin_s).abs() < 0.4;
            let call = calls.iter().find(near).unwrap();
            let sign = if event.ear == 0 { 1.0 } else { -1.0 };
            let off_s = (time.later_s - sign * call.later_s).abs();
            told += 1;
            within += usize::from(off_s <= time.uncertainty_s);
            within_tenth += usize::from(off_s <= 0.1 * time.uncertainty_s);
        }
    }
    assert!(told > 250, "{told}");
    assert!(within * 100 >= told * 95, "{within} of {told}");
    assert!(within_tenth * 100 < told * 50, "{within_tenth} of {told}");
}

#[test]
fn verif_a_sound_that_only_one_ear_hears_has_no_time() {
    let alone = Call {
        amplitude: [0.02, 0.0],
        ..call(6.0, 0.01)
    };
    let events = found_in(&channels(9.0, 2, &[alone]), &ears());
    assert_eq!(events.len(), 1);
    assert!(matches!(
        untold(&events[0]),
        Untold::Unlike { likeness, by_chance } if likeness < by_chance
    ));
    // The other channel holds it, as its likeness shows, but its detector says nothing.
    let faint = Call {
        amplitude: [0.02, 0.0004],
        ..alone
    };
    let samples = channels(9.0, 2, &[faint]);
    let events = found_in(&samples, &ears());
    assert_eq!(events.len(), 1);
    assert!(matches!(untold(&events[0]), Untold::NotHeard { .. }));
    // An ear without a detector is no ear that heard nothing.
    let mut deaf = ears();
    deaf[1].detectors.clear();
    let events = found_in(&samples, &deaf);
    let time = arrival(&events[0]).time.unwrap();
    assert!(
        (time.later_s - 0.01).abs() <= time.uncertainty_s,
        "{time:?}"
    );
}

#[test]
fn verif_full_scale_gaps_and_ends_are_told() {
    let calls = [call(6.0, 0.01), call(8.0, 0.01), call(11.9, 0.01)];
    let mut samples = channels(12.2, 3, &calls);
    // One sample of the second channel within the first call, on the way.
    samples[2 * 50_000 + 1] = 1.0;
    let events = found_in(&samples, &ears());
    assert!(
        matches!(untold(&events[0]), Untold::FullScale { samples: 1 }),
        "{:?}",
        events[0].arrivals
    );
    assert!(arrival(&events[1]).time.is_ok());
    // The recording ends within the third call.
    assert!(matches!(untold(&events[2]), Untold::Gap { .. }));
    // A frame that is no number within the second call cuts it.
    let folder = tempfile::tempdir().unwrap();
    let path = write(&folder.path().join("a.wav"), 2, &samples);
    let mut bytes = std::fs::read(&path).unwrap();
    let at = bytes.len() - 4 * (samples.len() - 2 * 66_000);
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    std::fs::write(&path, bytes).unwrap();
    let events = heard(&looked(&[path]), &ears()).remove(0).events;
    let about = |e: &&Found| e.ear == 0 && (7.5..9.0).contains(&e.begin_s);
    for event in events.iter().filter(about) {
        assert!(matches!(untold(event), Untold::Gap { .. }), "{event:?}");
    }
    assert!(events.iter().any(|e| about(&e)));
}

#[test]
fn verif_without_a_band_there_is_no_time() {
    let mut bare = ears();
    for ear in &mut bare {
        ear.detectors[0].stages.remove(0);
    }
    let loud = Call {
        amplitude: [0.1, 0.1],
        ..call(6.0, 0.01)
    };
    let events = found_in(&channels(9.0, 4, &[loud]), &bare);
    assert_eq!(events.len(), 2);
    assert!(events.iter().all(|event| untold(event) == Untold::NoBand));
}

/// Ears with a fixed threshold.
fn steady() -> [Ear; 2] {
    let mut steady = ears();
    for ear in &mut steady {
        let stages = &mut ear.detectors[0].stages;
        stages.remove(2);
        let Stage::Trigger {
            on_above_db,
            off_below_db,
            ..
        } = &mut stages[2]
        else {
            unreachable!()
        };
        (*on_above_db, *off_below_db) = (95.0, 90.0);
    }
    steady
}

/// A sound that begins at `begin_s`, 10 ms later on the second channel and loudest in its first seconds, with 8 s of noise after it.
fn long(begin_s: f64, length_s: f64) -> Vec<f32> {
    let mut samples = channels(begin_s + length_s + 8.0, 6, &[]);
    let (first, frames) = ((begin_s * RATE_HZ) as usize, (length_s * RATE_HZ) as usize);
    for frame in 0..frames {
        for (ear, later_s) in [0.0, 0.01].into_iter().enumerate() {
            let t = frame as f64 / RATE_HZ - later_s;
            let amplitude = if t < 3.0 { 0.1 } else { 0.02 };
            let wobble = libm::sin(11.0 * t) + 3.0 * libm::sin(1.7 * t);
            let turns = 280.0 * t + 8.0 * wobble;
            let sound = amplitude * libm::sin(2.0 * std::f64::consts::PI * turns);
            samples[2 * (frame + first) + ear] += sound as f32;
        }
    }
    samples
}

/// Sound is kept for a bounded time only, here 229 s: of an event that is over later after its loudest no time is told, and that is said. One of
/// less length is told by a piece of it.
#[test]
fn verif_a_sound_that_lasts_too_long_is_told_as_such() {
    let steady = steady();
    for (length_s, is_told) in [(360.0, false), (100.0, true)] {
        let samples = long(2.0, length_s);
        let events = found_in(&samples, &steady);
        assert_eq!(events.len(), 2, "{events:?}");
        for (event, sign) in events.iter().zip([1.0, -1.0]) {
            match arrival(event).time {
                Ok(time) => {
                    assert!(is_told);
                    assert_eq!(time.over_s, 65.536);
                    let off_s = (time.later_s - sign * 0.01).abs();
                    assert!(off_s <= time.uncertainty_s, "{time:?}");
                }
                Err(why) => {
                    assert!(!is_told, "{why}");
                    assert!(matches!(why, Untold::TooLong { .. }), "{why:?}");
                }
            }
        }
    }
}

/// The arrivals of every event of files that follow each other, by ear and begin.
fn told(surveys: &[Survey], ears: &[Ear]) -> Vec<(usize, Vec<Arrival>)> {
    let hearings = heard(surveys, ears);
    let mut all: Vec<(usize, f64, Vec<Arrival>)> = hearings
        .into_iter()
        .zip(surveys)
        .flat_map(|(hearing, survey)| {
            let begin_s = survey.start.unwrap().as_second() as f64;
            let events = hearing.events.into_iter();
            events.map(move |e| (e.ear, begin_s + e.begin_s, e.arrivals))
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    all.into_iter().map(|(ear, _, a)| (ear, a)).collect()
}

/// However a recording is cut into files that follow each other, the same times are told of the same events.
#[test]
fn verif_cuts_into_files_change_no_time() {
    let calls = [call(6.0, 0.0123), call(7.98, -0.0071), call(10.0, 0.004)];
    let samples = channels(13.0, 5, &calls);
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, seconds: std::ops::Range<usize>| {
        let frames = 2 * 8000 * seconds.start..2 * 8000 * seconds.end;
        write(&folder.path().join(name), 2, &samples[frames])
    };
    let whole = looked(&[file("a_20270315T041500Z.wav", 0..13)]);
    let parts = looked(&[
        file("b_20270315T041500Z.wav", 0..6),
        file("b_20270315T041506Z.wav", 6..8),
        file("b_20270315T041508Z.wav", 8..10),
        file("b_20270315T041510Z.wav", 10..13),
    ]);
    let one = told(&whole, &ears());
    assert_eq!(one.len(), 6);
    assert!(one.iter().all(|(_, a)| a[0].time.is_ok()), "{one:?}");
    assert_eq!(one, told(&parts, &ears()));
}

/// Nor what is told of a sound that lasts about as long as sound is kept: 229.376 s from its begin to the sample at which its end is
/// known. One that begins with the recording is told to, however long ago that was.
#[test]
fn verif_cuts_into_files_change_nothing_of_a_long_sound() {
    for (begin_s, length_s, is) in [
        (50.0, 227.0, "told"),
        (50.0, 231.0, "too long"),
        (50.0, 300.0, "too long"),
        (0.0, 231.0, "gap"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let samples = long(begin_s, length_s);
        let mut first = None;
        for (name, cuts) in [("a", vec![]), ("b", vec![7]), ("c", vec![30, 77, 200])] {
            let ends = cuts.iter().copied().chain([samples.len() / 16_000]);
            let mut from = 0;
            let files: Vec<_> = ends
                .map(|to: usize| {
                    let start = format!("{:02}{:02}", from / 60, from % 60);
                    let path = folder
                        .path()
                        .join(format!("{name}_20270315T04{start}Z.wav"));
                    let path = write(&path, 2, &samples[16_000 * from..16_000 * to]);
                    from = to;
                    path
                })
                .collect();
            let one = told(&looked(&files), &steady());
            assert_eq!(one.len(), 2, "{begin_s} {length_s} {name}: {one:?}");
            for (_, arrivals) in &one {
                let told = match arrivals[0].time {
                    Ok(_) => "told",
                    Err(Untold::TooLong { .. }) => "too long",
                    Err(Untold::Gap { .. }) => "gap",
                    Err(other) => panic!("{other}"),
                };
                assert_eq!(told, is, "{begin_s} {length_s} {name}");
            }
            assert_eq!(first.get_or_insert_with(|| one.clone()), &one);
        }
    }
}
