//! A detector over recordings at many thresholds, against what is known of the recordings and against hearing them one by one.

use std::path::{Path, PathBuf};

use detect::{BackgroundKind, Rule, Spec, Stage};
use hearing::{
    Ear, Given, Label, OfStretch, Outcome, Reference, Score, Trial, curve, line_up, place_labels,
    read_labels, score, try_thresholds,
};

use crate::hear::{call, ear, heard, looked, spec, write};

const RATE_HZ: f64 = 8000.0;
const OVERLAP: Rule = Rule::Overlap { least_s: 0.0 };

fn at(spec: &Spec, threshold_db: f64) -> Spec {
    spec.with_threshold_db(threshold_db)
        .expect("the detector decides by a threshold")
}

fn over_background(seconds: f64) -> Spec {
    let mut spec = at(&spec(), 10.0);
    spec.stages.insert(
        1,
        Stage::Background {
            kind: BackgroundKind::Median,
            over_s: seconds,
            guard_s: 0.0,
        },
    );
    spec
}

pub(crate) fn tried(paths: &[PathBuf], base: &Spec, thresholds_db: &[f64], whole: usize) -> Trial {
    let surveys = looked(paths);
    assert_eq!(line_up(&surveys).unwrap().len(), 1);
    let specs: Vec<Spec> = thresholds_db.iter().map(|&db| at(base, db)).collect();
    try_thresholds(&surveys, &ear(0, Reference::Water), &specs, whole, &|_| {
        true
    })
    .unwrap()
}

pub(crate) fn labels(path: &Path, rows: &[(f64, f64)]) -> Vec<Label> {
    let name = path.file_name().unwrap().to_str().unwrap();
    let rows: String = rows
        .iter()
        .map(|(from_s, to_s)| format!("{name},{from_s},{to_s}\n"))
        .collect();
    let file = read_labels(format!("recording,from_s,to_s\n{rows}").as_bytes()).unwrap();
    let given = [Given {
        path,
        length_s: None,
    }];
    place_labels(&file, &given, &[]).chosen.remove(0)
}

pub(crate) fn scored(trial: &Trial, labels: &[Vec<Label>], whole: usize) -> Score {
    let others = vec![Vec::new(); labels.len()];
    let of = OfStretch {
        chosen: labels,
        others: &others,
    };
    score(trial, of, OVERLAP, whole, 0.0)
}

/// Bursts of a tone of 0.3 s every 2 s; a burst of amplitude a has 140 - 3.01 + 20 lg a dB re 1 uPa.
pub(crate) fn bursts(amplitudes: &[f64]) -> Vec<f32> {
    let sample = |i: usize| {
        let t_s = i as f64 / RATE_HZ;
        let (burst, into_s) = ((t_s / 2.0) as usize, t_s % 2.0);
        let amplitude = if (1.0..1.3).contains(&into_s) {
            amplitudes[burst]
        } else {
            1e-5
        };
        (amplitude * libm::sin(2.0 * std::f64::consts::PI * 500.0 * t_s)) as f32
    };
    (0..amplitudes.len() * 16_000).map(sample).collect()
}

/// Every count follows from the levels that were put in: a burst is found where its level reaches the threshold, and only every
/// second one is labelled.
#[test]
fn verif_counts_follow_from_the_levels_that_were_put_in() {
    let folder = tempfile::tempdir().unwrap();
    let amplitudes: Vec<f64> = (0..24)
        .map(|i| libm::pow(10.0, -f64::from(i * 7 % 24) / 10.0))
        .collect();
    let path = write(&folder.path().join("bursts.wav"), 1, &bursts(&amplitudes));
    let level_db = |i: usize| 140.0 - 10.0 * libm::log10(2.0) + 20.0 * libm::log10(amplitudes[i]);
    // Half way between two levels, which lie 2 dB apart.
    let thresholds_db: Vec<f64> = (0..20).map(|k| 136.0 - 2.0 * f64::from(k)).rev().collect();
    let trial = tried(std::slice::from_ref(&path), &spec(), &thresholds_db, 10);
    let marked: Vec<(f64, f64)> = (0..24)
        .step_by(2)
        .map(|i| (f64::from(i) * 2.0 + 1.0, f64::from(i) * 2.0 + 1.3))
        .collect();
    let score = scored(&trial, &[labels(&path, &marked)], 10);
    assert_eq!((score.labelled, score.set_aside.len()), (12, 0));
    for (k, counts) in score.counts.iter().enumerate() {
        let loud = |odd: usize| {
            (odd..24)
                .step_by(2)
                .filter(|&i| level_db(i) >= thresholds_db[k])
                .count() as u64
        };
        assert_eq!(
            (counts.hits, counts.false_alarms),
            (loud(0), loud(1)),
            "{}",
            thresholds_db[k]
        );
    }
    let own = score.counts[10];
    assert_eq!(score.missed.len() as u64, 12 - own.hits);
    let hits = score
        .outcomes
        .iter()
        .filter(|o| matches!(o, Outcome::Hit { .. }));
    assert_eq!(hits.count() as u64, own.hits);
    assert_eq!(trial.events.len(), score.outcomes.len());
    // All but the windows at both ends is judged.
    assert!(
        score.judged_s > 47.9 && score.judged_s <= 48.0,
        "{}",
        score.judged_s
    );
    let curve = curve(&[score], &thresholds_db, 0.95).unwrap();
    // At the lowest, 98 dB, two of the twelve are still too quiet.
    assert_eq!(curve.points[0].recall.unwrap().value, 10.0 / 12.0);
}

/// One pass with many thresholds finds what as many passes find, across files and gaps.
#[test]
fn verif_one_pass_is_as_many_passes() {
    let folder = tempfile::tempdir().unwrap();
    let files: Vec<PathBuf> = (0..4)
        .map(|file| {
            let samples: Vec<f32> = (0..16_000)
                .map(|i| call((i + 1000 * file) % 16_000) * (1.0 - 0.2 * file as f32))
                .collect();
            let path = folder
                .path()
                .join(format!("20270315T0415{:02}Z.wav", 2 * file));
            write(&path, 1, &samples)
        })
        .collect();
    // A frame that is no number in the second file is a gap.
    let mut bytes = std::fs::read(&files[1]).unwrap();
    let at_byte = bytes.len() - 4 * (16_000 - 6400);
    bytes[at_byte..at_byte + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    std::fs::write(&files[1], bytes).unwrap();
    let surveys = looked(&files);
    for base in [spec(), over_background(1.0)] {
        let own = if base.stages.len() == 3 { 10.0 } else { 120.0 };
        let thresholds_db: Vec<f64> = (-8..16).map(|k| own + 1.5 * f64::from(k)).collect();
        let trial = tried(&files, &base, &thresholds_db, 5);
        assert_eq!(trial.begins[..2], [0, 22_401]);
        let mut several = 0;
        for (marks, &db) in trial.marks.iter().zip(&thresholds_db) {
            let ears = [Ear {
                detectors: vec![at(&base, db)],
                ..ear(0, Reference::Water)
            }];
            let mut origin_s = 0.0;
            let mut alone: Vec<(f64, f64)> = Vec::new();
            for hearing in heard(&surveys, &ears) {
                alone.extend(
                    hearing
                        .events
                        .iter()
                        .map(|e| (origin_s + e.begin_s, origin_s + e.end_s)),
                );
                origin_s += hearing.duration_s;
            }
            let frames = |m: &hearing::Mark| (m.begin as f64 / RATE_HZ, m.end as f64 / RATE_HZ);
            let together: Vec<(f64, f64)> = marks.iter().map(frames).collect();
            assert_eq!(together.len(), alone.len(), "{db}");
            for (a, b) in together.iter().zip(&alone) {
                assert!(
                    (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9,
                    "{a:?} {b:?}"
                );
            }
            several = several.max(alone.len());
        }
        assert!(several >= 4, "{several}");
        assert_eq!(trial.events.len(), trial.marks[5].len());
    }
}

/// Half of a background of 2 s goes by before it is known, after the begin and after a gap; a label in there is set aside.
#[test]
fn verif_what_cannot_be_heard_counts_neither_way() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(
        &folder.path().join("b.wav"),
        1,
        &bursts(&[0.5, 0.5, 0.5, 0.5, 0.5]),
    );
    let base = over_background(2.0);
    let trial = tried(std::slice::from_ref(&path), &base, &[10.0], 0);
    assert_eq!(trial.judged.len(), 1);
    let first_s = trial.judged[0].0 as f64 / RATE_HZ;
    assert!((0.9..1.1).contains(&first_s), "{first_s}");
    let labelled = labels(
        &path,
        &[(0.2, 0.6), (3.0, 3.3), (5.0, 5.3), (7.0, 7.3), (9.0, 9.3)],
    );
    let score = scored(&trial, std::slice::from_ref(&labelled), 0);
    assert_eq!((score.labelled, score.set_aside.as_slice()), (4, &[2][..]));
    // The burst at 1.0 s to 1.3 s is not labelled, and may begin before the background is known; the others are found.
    assert_eq!(score.counts[0].hits, 4);
    assert!((score.judged_s - (10.0 - first_s)).abs() < 0.05);
    // With 4 s to settle, the bursts at 1 s and 3 s do not count either.
    let others = [Vec::new()];
    let chosen = [labelled];
    let of = OfStretch {
        chosen: &chosen,
        others: &others,
    };
    let settled = hearing::score(&trial, of, OVERLAP, 0, 4.0);
    assert_eq!((settled.labelled, settled.counts[0].hits), (3, 3));
    assert_eq!(settled.counts[0].false_alarms, 0);
    assert!((settled.judged_s - 6.0).abs() < 0.05);
}

/// A false alarm where a sound of another kind is labelled says so.
#[test]
fn verif_a_false_alarm_says_on_what_it_fell() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(&folder.path().join("b.wav"), 1, &bursts(&[0.5, 0.5, 0.5]));
    let trial = tried(std::slice::from_ref(&path), &spec(), &[120.0], 0);
    let text = "recording,from_s,to_s,what\nb.wav,1,1.3,call\nb.wav,3,3.3,chain\n";
    let file = read_labels(text.as_bytes()).unwrap();
    let given = [Given {
        path: &path,
        length_s: Some(6.0),
    }];
    let placed = place_labels(&file, &given, &["call".to_owned()]);
    let of = OfStretch {
        chosen: &placed.chosen,
        others: &placed.others,
    };
    let score = score(&trial, of, OVERLAP, 0, 0.0);
    assert_eq!(
        score.outcomes,
        [
            Outcome::Hit { line: 2 },
            Outcome::FalseAlarm {
                on: Some("chain".to_owned())
            },
            Outcome::FalseAlarm { on: None },
        ]
    );
}
