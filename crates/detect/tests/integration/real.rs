//! Real recordings: the same calls and clicks as SciPy finds.
//!
//! Labels: `reference/recording/scipy-calls.csv` and `scipy-clicks.csv` (`reference/make/recording_calls.py`), whose
//! tolerances are used. Levels are in dB re full scale: the recordings are not calibrated, so a sample of 1.0 takes the
//! place of 1 uPa. `python3 reference/fetch.py` fetches the recordings; without them the checks are skipped aloud, and
//! fail where `CI=true` or `SOUNDLINE_REQUIRE_RECORDINGS=1`.

use std::path::Path;

use detect::{
    BackgroundKind, Confirm, Detector, Event, LevelKind, Notice, Rule, Sounding, Spec, Stage, Told,
    match_events,
};
use recording::Recording;
use signal::Block;

fn samples(path: &Path) -> (f64, Vec<f32>) {
    let mut recording = Recording::open(path).unwrap();
    assert_eq!(recording.info().channels, 1);
    let rate_hz = f64::from(recording.info().rate_hz);
    let mut x = Vec::new();
    let mut buffer = vec![0.0; 8192];
    loop {
        let chunk = recording.read(&mut buffer).unwrap();
        if chunk.frames == 0 {
            return (rate_hz, x);
        }
        assert!(!chunk.after_gap);
        x.extend_from_slice(&buffer[..chunk.frames]);
    }
}

fn told(spec: &Spec, x: &[f32]) -> Vec<Told> {
    let mut detector = Detector::new(spec).unwrap();
    let mut told = Vec::new();
    // In pieces of an uneven length, as a recorder would give them.
    for (i, piece) in x.chunks(997).enumerate() {
        detector
            .push(
                Block {
                    first: 997 * i as u64,
                    x: piece,
                },
                &mut told,
            )
            .unwrap();
    }
    detector.finish(&mut told);
    told
}

fn events(told: &[Told]) -> Vec<Event> {
    told.iter()
        .filter_map(|t| {
            if let Notice::Ended(event) = t.notice {
                Some(event)
            } else {
                None
            }
        })
        .collect()
}

#[derive(Debug)]
struct Call {
    low_hz: f64,
    high_hz: f64,
    window_s: f64,
    threshold_db: f64,
    begin_s: f64,
    end_s: f64,
    begin_spread_s: f64,
    end_spread_s: f64,
    top_level_db: f64,
}

fn calls(name: &str) -> Vec<Call> {
    truth::rows("recording/scipy-calls.csv")
        .iter()
        .filter(|row| row[0] == name)
        .map(|row| {
            let number = |i: usize| -> f64 { row[i].parse().unwrap() };
            Call {
                low_hz: number(2),
                high_hz: number(3),
                window_s: number(4),
                threshold_db: number(5),
                begin_s: number(6),
                end_s: number(7),
                begin_spread_s: number(8),
                end_spread_s: number(9),
                top_level_db: number(10),
            }
        })
        .collect()
}

/// `join_s`: the labels join calls that follow each other sooner than this; so are the found ones joined before they are
/// compared. `shortest_s`: joined ones that are shorter are no calls.
fn check_calls(name: &str, join_s: f64, shortest_s: f64, expected: usize) {
    let Some(path) = truth::fetched("calls and clicks", &format!("recordings/{name}")) else {
        return;
    };
    let (rate_hz, x) = samples(&path);
    let labels = calls(name);
    assert_eq!(labels.len(), expected);
    let first = &labels[0];
    let spec = Spec {
        rate_hz,
        stages: vec![
            Stage::Band {
                low_hz: first.low_hz,
                high_hz: first.high_hz,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: first.window_s,
                hop_s: None,
            },
            Stage::Trigger {
                on_above_db: first.threshold_db,
                off_below_db: first.threshold_db - 3.0,
                shortest_s: 0.002,
                longest_s: Some(0.5),
                hold_off_s: 0.0,
                confirm: Confirm::AtEnd,
                bridge_s: 0.0,
                k_of_n: None,
            },
        ],
    };
    let mut ours: Vec<Sounding> = Vec::new();
    let mut top_level_db: Vec<f64> = Vec::new();
    for event in events(&told(&spec, &x)) {
        let (begin_s, end_s) = (
            event.begin_sample as f64 / rate_hz,
            event.end_sample as f64 / rate_hz,
        );
        match ours.last_mut() {
            Some(last) if begin_s - last.end_s < join_s => {
                last.end_s = end_s;
                last.score = last.score.max(event.score_db);
                let top = top_level_db.last_mut().unwrap();
                *top = top.max(event.peak_level_db);
            }
            _ => {
                ours.push(Sounding {
                    begin_s,
                    end_s,
                    score: event.score_db,
                    band_hz: None,
                });
                top_level_db.push(event.peak_level_db);
            }
        }
    }
    let (ours, top_level_db): (Vec<Sounding>, Vec<f64>) = ours
        .into_iter()
        .zip(top_level_db)
        .filter(|(span, _)| span.end_s - span.begin_s >= shortest_s)
        .unzip();
    let theirs: Vec<Sounding> = labels
        .iter()
        .map(|c| Sounding {
            begin_s: c.begin_s,
            end_s: c.end_s,
            score: 0.0,
            band_hz: None,
        })
        .collect();
    let matching = match_events(&ours, &theirs, Rule::Overlap { least_s: 0.01 });
    assert_eq!(
        matching.precision(),
        Some(1.0),
        "{ours:?} against {theirs:?}"
    );
    assert_eq!(matching.recall(), Some(1.0), "{ours:?} against {theirs:?}");
    for &(f, t) in &matching.hits {
        let (top_db, span, call) = (top_level_db[f], &ours[f], &labels[t]);
        let begin_off_s = (span.begin_s - call.begin_s).abs();
        let end_off_s = (span.end_s - call.end_s).abs();
        assert!(
            begin_off_s <= call.window_s + call.begin_spread_s,
            "{name}: {span:?} against {call:?}"
        );
        assert!(
            end_off_s <= call.window_s + call.end_spread_s,
            "{name}: {span:?} against {call:?}"
        );
        assert!(
            (top_db - call.top_level_db).abs() <= 1.0,
            "{name}: {top_db} dB against {call:?}"
        );
    }
}

#[test]
fn val_orca_calls_are_those_that_scipy_finds() {
    check_calls("orca.ogg", 0.03, 0.1, 3);
}

#[test]
fn val_mouse_calls_are_those_that_scipy_finds() {
    check_calls("BM003.wav", 0.01, 0.015, 3);
}

#[test]
fn val_deer_mouse_calls_are_those_that_scipy_finds() {
    check_calls("deermouse-go.wav", 0.01, 0.01, 6);
}

#[test]
fn val_dolphin_clicks_are_those_that_scipy_finds() {
    let Some(path) = truth::fetched("clicks", "recordings/dolphin.ogg") else {
        return;
    };
    let (rate_hz, x) = samples(&path);
    // Whistles before 1.34 s; the background is known a quarter of a second later.
    let (cut_s, over_s) = (1.34, 0.5);
    let spec = Spec {
        rate_hz,
        stages: vec![
            Stage::Band {
                low_hz: 2000.0,
                high_hz: 9000.0,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.005,
                hop_s: Some(0.001),
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s,
                guard_s: 0.0,
            },
            Stage::Pulses {
                rise_db: 10.0,
                prominence_db: 12.0,
                min_interval_s: 0.02,
                max_interval_s: 0.25,
                at_least: 5,
                of_last: None,
                within_s: None,
                hold_off_s: 1.0,
                steady: None,
            },
        ],
    };
    let cut = (cut_s * rate_hz) as usize;
    let told = told(&spec, &x[cut..]);
    let labels: Vec<f64> = truth::rows("recording/scipy-clicks.csv")
        .iter()
        .map(|row| row[1].parse::<f64>().unwrap())
        .filter(|at_s| *at_s > cut_s + over_s / 2.0 + 0.01)
        .collect();
    assert_eq!(labels.len(), 42);
    let found = events(&told);
    assert_eq!(found.len(), 1, "one train: {told:?}");
    let train = &found[0];
    assert_eq!(train.pulses, Some(42));
    // Instants within the smoothing of 5 ms.
    let middle_s = |begin: u64, end: u64| cut_s + 0.5 * (begin + end) as f64 / rate_hz;
    let cell = (0.001 * rate_hz).round() as u64;
    let first_s = middle_s(train.begin_sample, train.begin_sample + cell);
    let last_s = middle_s(train.end_sample - cell, train.end_sample);
    assert!(
        (first_s - labels[0]).abs() <= 0.005,
        "{first_s} against {}",
        labels[0]
    );
    assert!(
        (last_s - labels[41]).abs() <= 0.005,
        "{last_s} against {}",
        labels[41]
    );
    // Confirmed with the fifth click.
    let confirmed = told
        .iter()
        .find(|t| matches!(t.notice, Notice::Confirmed(_)))
        .unwrap();
    let known_s = cut_s + confirmed.known_at_sample as f64 / rate_hz;
    assert!(
        known_s > labels[4] && known_s < labels[4] + 0.015,
        "{known_s} against {}",
        labels[4]
    );
}
