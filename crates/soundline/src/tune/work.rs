//! Recordings through one detector at every threshold, stretches side by side, and the scores of what was found.

use std::path::PathBuf;

use detect::{Rule, Spec};
use hearing::{
    Counts, Curve, DeafBy, Ear, Example, HearError, OfStretch, Outcome, Placed, Score, Survey,
    Trial, fit_judgement, line_up, point, score, try_thresholds,
};
use rayon::prelude::*;
use report::{Judged, TunedEvent};

use super::error::TuneError;
use crate::failure::Failure;
use crate::listen::{ListenError, RecordingFault};

/// Recordings that can be heard, and where each stands among those that were named.
pub(super) struct Heard<'a> {
    pub(super) surveys: &'a [Survey],
    /// Place of each among the recordings as they were named.
    pub(super) places: &'a [usize],
}

/// One detector at several thresholds.
pub(super) struct Bench<'a> {
    pub(super) id: &'a str,
    pub(super) ear: &'a Ear,
    /// One spec for each threshold; they differ in the deciding stage alone.
    pub(super) specs: &'a [Spec],
    /// Index of the threshold of the plan.
    pub(super) own: usize,
}

/// A stretch that was heard.
pub(super) struct Stretch {
    /// Places of its files among the recordings as they were named.
    pub(super) places: Vec<usize>,
    pub(super) trial: Trial,
}

/// Hears every stretch, each on one thread; in the order of the stretches.
pub(super) fn hear(
    heard: &Heard<'_>,
    bench: &Bench<'_>,
    read: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Vec<Stretch>, Failure> {
    let stretches = line_up(heard.surveys).map_err(ListenError::from)?;
    let tried: Vec<Result<Stretch, HearError>> = stretches
        .into_par_iter()
        .map(|indices| {
            let files: Vec<Survey> = indices.iter().map(|&i| heard.surveys[i].clone()).collect();
            let trial = try_thresholds(&files, bench.ear, bench.specs, bench.own, read)?;
            Ok(Stretch {
                places: indices.iter().map(|&i| heard.places[i]).collect(),
                trial,
            })
        })
        .collect();
    tried
        .into_iter()
        .map(|tried| {
            tried.map_err(|source| {
                match source {
                    HearError::Cancelled => TuneError::Cancelled,
                    source => TuneError::Hear {
                        id: bench.id.to_owned(),
                        source,
                    },
                }
                .into()
            })
        })
        .collect()
}

/// What went wrong with the files of a stretch, with their places.
pub(super) fn faults(stretch: &mut Stretch, paths: &[PathBuf]) -> Vec<(usize, RecordingFault)> {
    let mut all = Vec::new();
    for (hearing, &place) in stretch.trial.hearings.iter_mut().zip(&stretch.places) {
        all.extend(hearing.failed.take().map(|why| (place, why.into())));
    }
    for (file, why) in &stretch.trial.refused {
        let place = stretch.places[*file];
        all.push((
            place,
            RecordingFault::Refused {
                path: paths[place].clone(),
                source: why.clone(),
            },
        ));
    }
    all
}

/// What is odd about the files of a stretch, with their places: where they tell nothing, and what was louder than the recorder takes.
pub(super) fn oddities(stretch: &Stretch, paths: &[PathBuf]) -> Vec<(usize, String)> {
    let origins = origins(stretch);
    let mut all = Vec::new();
    for (file, (hearing, &origin)) in stretch.trial.hearings.iter().zip(&origins).enumerate() {
        let end = origin + hearing.frames;
        let deaf_s = |by: DeafBy| -> f64 {
            let spans = stretch.trial.deaf.iter().filter(|deaf| deaf.by == by);
            let frames = spans.map(|d| d.end.min(end).saturating_sub(d.begin.max(origin)));
            frames.sum::<u64>() as f64 / stretch.trial.rate_hz
        };
        let (clipped_s, silent_s) = (deaf_s(DeafBy::Clipping), deaf_s(DeafBy::Silence));
        let place = stretch.places[file];
        let path = paths[place].display();
        if clipped_s > 0.0 {
            all.push((place, format!(
                "{path}: {clipped_s:.3} s are at full scale: what sounds there cannot be told, and they do not count as listened to"
            )));
        } else if hearing.full_scale_samples > 0 {
            all.push((
                place,
                format!(
                    "{path}: {} at full scale: the sound was louder there than is told",
                    match hearing.full_scale_samples {
                        1 => "1 sample".to_owned(),
                        n => format!("{n} samples"),
                    }
                ),
            ));
        }
        if silent_s > 0.0 {
            all.push((place, format!(
                "{path}: in {silent_s:.3} s every sample is the same: nothing was recorded, and they do not count as listened to"
            )));
        }
    }
    all
}

/// Scores a stretch against the labels of its files.
pub(super) fn scored(
    stretch: &Stretch,
    placed: &Placed,
    rule: Rule,
    own: usize,
    settling_s: f64,
) -> Score {
    let of = |labels: &[Vec<hearing::Label>]| -> Vec<Vec<hearing::Label>> {
        stretch.places.iter().map(|&p| labels[p].clone()).collect()
    };
    let (chosen, others) = (of(&placed.chosen), of(&placed.others));
    let labels = OfStretch {
        chosen: &chosen,
        others: &others,
    };
    score(&stretch.trial, labels, rule, own, settling_s)
}

/// A judgement fitted on the events at the threshold of the plan, and what is left after it of those that it had not seen.
pub(super) fn judged(
    stretches: &[Stretch],
    scores: &[Score],
    ridge: f64,
    curve: &Curve,
) -> Result<Judged, TuneError> {
    let mut examples = Vec::new();
    for (stretch, score) in stretches.iter().zip(scores) {
        let rate_hz = stretch.trial.rate_hz;
        let origins = origins(stretch);
        for (event, outcome) in stretch.trial.events.iter().zip(&score.outcomes) {
            let hit = match outcome {
                Outcome::Hit { .. } => true,
                Outcome::FalseAlarm { .. } => false,
                Outcome::SetAside => continue,
            };
            let file = origins.partition_point(|&o| o <= event.begin_sample) - 1;
            examples.push(Example {
                features: event.features(rate_hz),
                hit,
                recording: stretch.places[file],
                begin_s: (event.begin_sample - origins[file]) as f64 / rate_hz,
            });
        }
    }
    let fitted = fit_judgement(&examples, ridge);
    let points = fitted
        .iter()
        .flat_map(|judgement| &judgement.tried)
        .map(|tried| {
            let counts = Counts {
                hits: tried.hits,
                false_alarms: tried.false_alarms,
            };
            point(
                tried.least,
                counts,
                curve.labelled,
                curve.judged_s,
                curve.confidence,
            )
        })
        .collect::<Result<_, _>>()
        .map_err(|error| TuneError::Limits(error.to_string()))?;
    Ok(Judged {
        fitted,
        ridge,
        points,
    })
}

/// Frame of the stretch at which each of its files begins.
fn origins(stretch: &Stretch) -> Vec<u64> {
    let mut origins = Vec::with_capacity(stretch.trial.hearings.len());
    let mut next = 0;
    for hearing in &stretch.trial.hearings {
        origins.push(next);
        next += hearing.frames;
    }
    origins
}

/// The events at the threshold of the plan, in the recordings in which they begin.
pub(super) fn events(stretch: &Stretch, score: &Score, paths: &[PathBuf]) -> Vec<TunedEvent> {
    let rate_hz = stretch.trial.rate_hz;
    let origins = origins(stretch);
    let told = |(event, outcome): (&detect::Event, &Outcome)| {
        let file = origins.partition_point(|&o| o <= event.begin_sample) - 1;
        let seconds = |frame: u64| (frame - origins[file]) as f64 / rate_hz;
        TunedEvent {
            recording: paths[stretch.places[file]].display().to_string(),
            begin_s: seconds(event.begin_sample),
            end_s: seconds(event.end_sample),
            score_db: event.score_db,
            outcome: outcome.clone(),
        }
    };
    let events = stretch.trial.events.iter().zip(&score.outcomes);
    events.map(told).collect()
}
