//! A logistic judgement of finished events, fitted on labelled ones and tried on events that it has not seen.
//!
//! The model is [`numerics::Logistic`] on those features that every event has. It is tried by cross-validation: the events are parted
//! by recording where there are three recordings or more, else into blocks that follow each other in time, and each part is judged by a
//! model fitted on the others. Events that lie near each other are alike, so parting them at random would flatter the model.

use detect::{Feature, Features};
use numerics::{Logistic, LogisticError};
use thiserror::Error;

/// Fewest hits and false alarms with which a model is fitted (ours).
const FEWEST: usize = 10;
/// Most parts by recording, and parts by time.
const MOST_PARTS: usize = 10;
const BLOCKS: usize = 5;
/// Least probabilities at which the judgement is tried.
const LEAST: [f64; 9] = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

/// An event of which it is known what it was.
#[derive(Debug, Clone, Copy)]
pub struct Example {
    /// What the model is fitted to.
    pub features: Features,
    /// Whether it found a label.
    pub hit: bool,
    /// Index of the recording in which it begins.
    pub recording: usize,
    /// Begin, s of the recording.
    pub begin_s: f64,
}

/// How events were parted for trying.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parts {
    /// Recording by recording, into so many parts.
    Recordings(usize),
    /// Into so many blocks that follow each other in time.
    Blocks(usize),
}

/// What the judgement leaves of the events that it had not seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tried {
    /// Least probability, 0 to 1.
    pub least: f64,
    /// Hits that are kept.
    pub hits: u64,
    /// False alarms that are kept.
    pub false_alarms: u64,
}

/// A fitted judgement.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Features that count.
    pub features: Vec<Feature>,
    /// Model fitted on all events; weights in the order of the features.
    pub model: Logistic,
    /// Hits it was fitted on.
    pub hits: u64,
    /// False alarms it was fitted on.
    pub false_alarms: u64,
    /// How it was tried.
    pub parts: Parts,
    /// By least probability, rising.
    pub tried: Vec<Tried>,
}

/// Why no judgement can be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum JudgeError {
    /// Too few of either kind.
    #[error(
        "{hits} hits and {false_alarms} false alarms are too few to fit a judgement on: it takes {FEWEST} of each"
    )]
    TooFew {
        /// Hits there are.
        hits: usize,
        /// False alarms there are.
        false_alarms: usize,
    },
    /// All hits or all false alarms lie in one part.
    #[error(
        "without one of its {parts} parts only hits or only false alarms are left: take recordings that hold both"
    )]
    Lopsided {
        /// Parts there are.
        parts: usize,
    },
    /// The model cannot be fitted.
    #[error(transparent)]
    Fit(#[from] LogisticError),
}

/// Fits a judgement with a ridge, see [`Logistic::fit`].
///
/// # Errors
/// [`JudgeError`].
pub fn fit_judgement(examples: &[Example], ridge: f64) -> Result<Judgement, JudgeError> {
    let hits = examples.iter().filter(|e| e.hit).count();
    let false_alarms = examples.len() - hits;
    if hits < FEWEST || false_alarms < FEWEST {
        return Err(JudgeError::TooFew { hits, false_alarms });
    }
    let in_all = |feature: &Feature| {
        let value = |e: &Example| e.features.get(*feature);
        examples
            .iter()
            .all(|e| value(e).is_some_and(f64::is_finite))
    };
    let features: Vec<Feature> = Feature::ALL.into_iter().filter(in_all).collect();
    let mut ordered: Vec<&Example> = examples.iter().collect();
    ordered.sort_by(|a, b| {
        let begin = a.begin_s.total_cmp(&b.begin_s);
        a.recording.cmp(&b.recording).then(begin)
    });
    let rows: Vec<Vec<f64>> = ordered
        .iter()
        .map(|e| features.iter().filter_map(|f| e.features.get(*f)).collect())
        .collect();
    let outcomes: Vec<bool> = ordered.iter().map(|e| e.hit).collect();
    let (parts, part_of) = parted(&ordered);
    let number = match parts {
        Parts::Recordings(n) | Parts::Blocks(n) => n,
    };
    let mut seen = vec![0.0; rows.len()];
    for part in 0..number {
        let others = |i: &usize| part_of[*i] != part;
        let training: Vec<usize> = (0..rows.len()).filter(others).collect();
        let taught: Vec<Vec<f64>> = training.iter().map(|&i| rows[i].clone()).collect();
        let known: Vec<bool> = training.iter().map(|&i| outcomes[i]).collect();
        let model = Logistic::fit(&taught, &known, ridge).map_err(|error| match error {
            LogisticError::OneOutcome { .. } | LogisticError::Empty { .. } => {
                JudgeError::Lopsided { parts: number }
            }
            error => JudgeError::Fit(error),
        })?;
        for i in (0..rows.len()).filter(|&i| part_of[i] == part) {
            seen[i] = model.probability(&rows[i]);
        }
    }
    let tried = |least: f64| {
        let kept = |hit: bool| {
            let of_kind = outcomes.iter().zip(&seen).filter(|(o, _)| **o == hit);
            of_kind.filter(|(_, p)| **p >= least).count() as u64
        };
        Tried {
            least,
            hits: kept(true),
            false_alarms: kept(false),
        }
    };
    Ok(Judgement {
        features,
        model: Logistic::fit(&rows, &outcomes, ridge)?,
        hits: hits as u64,
        false_alarms: false_alarms as u64,
        parts,
        tried: LEAST.into_iter().map(tried).collect(),
    })
}

/// The part of each event; they are in order of recording and time.
fn parted(ordered: &[&Example]) -> (Parts, Vec<usize>) {
    let mut recordings: Vec<usize> = ordered.iter().map(|e| e.recording).collect();
    recordings.dedup();
    let number = recordings.len();
    if number >= 3 {
        let parts = number.min(MOST_PARTS);
        let part = |e: &&Example| {
            let rank = recordings.partition_point(|&r| r < e.recording);
            rank * parts / number
        };
        return (Parts::Recordings(parts), ordered.iter().map(part).collect());
    }
    let block = |i: usize| i * BLOCKS / ordered.len();
    (
        Parts::Blocks(BLOCKS),
        (0..ordered.len()).map(block).collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use detect::{Ending, Event, EventId};

    /// A number from -1 to 1, the same for the same event and purpose.
    fn drawn(i: usize, purpose: usize) -> f64 {
        2.0 * chance::Stream::named(purpose as u64, "judge", i as u64).uniform() - 1.0
    }

    fn example(i: usize, hit: bool, excess_db: f64, recordings: usize) -> Example {
        let event = Event {
            id: EventId(i as u64),
            begin_sample: 1000,
            end_sample: 2000 + (100.0 * drawn(i, 3)) as u64,
            peak_sample: 1400,
            peak_level_db: 100.0 + drawn(i, 1),
            mean_level_db: 97.0,
            background_db: Some(90.0),
            score_db: excess_db,
            pulses: None,
            sweep: None,
            intervals: None,
            ending: Ending::Quiet,
        };
        Example {
            features: event.features(1000.0),
            hit,
            recording: i % recordings,
            begin_s: i as f64,
        }
    }

    #[test]
    fn verif_what_tells_hits_from_false_alarms_is_found_on_unseen_events() {
        for (recordings, parts) in [
            (4, Parts::Recordings(4)),
            (2, Parts::Blocks(5)),
            (30, Parts::Recordings(10)),
        ] {
            let examples: Vec<Example> = (0..120)
                .map(|i| {
                    let hit = drawn(i, 9) > 0.0;
                    let excess_db = if hit { 14.0 } else { 8.0 } + 2.0 * drawn(i, 0);
                    example(i, hit, excess_db, recordings)
                })
                .collect();
            let found = fit_judgement(&examples, 1.0).unwrap();
            assert_eq!(found.parts, parts);
            assert_eq!(
                found.features,
                [
                    Feature::Excess,
                    Feature::Length,
                    Feature::PeakOverMean,
                    Feature::TimeOfPeak
                ]
            );
            let half = found.tried[4];
            assert_eq!(
                (half.least, half.hits, half.false_alarms),
                (0.5, found.hits, 0)
            );
            assert!(found.model.weights[0] > 0.0);
            // The more is asked, the less is kept.
            for pair in found.tried.windows(2) {
                assert!(
                    pair[1].hits <= pair[0].hits && pair[1].false_alarms <= pair[0].false_alarms
                );
            }
        }
    }

    /// Features that say nothing: on unseen events the judgement is no better than a coin.
    #[test]
    fn verif_noise_is_not_taken_for_knowledge() {
        let examples: Vec<Example> = (0..400)
            .map(|i| example(i, drawn(i, 9) > 0.0, 10.0 + 2.0 * drawn(i, 5), 8))
            .collect();
        let found = fit_judgement(&examples, 1.0).unwrap();
        let half = found.tried[4];
        let right = half.hits + found.false_alarms - half.false_alarms;
        let share = right as f64 / 400.0;
        assert!((0.38..0.62).contains(&share), "{share}");
    }

    #[test]
    fn verif_what_cannot_be_fitted_is_said() {
        let few: Vec<Example> = (0..15).map(|i| example(i, i < 9, 10.0, 3)).collect();
        assert_eq!(
            fit_judgement(&few, 1.0).unwrap_err(),
            JudgeError::TooFew {
                hits: 9,
                false_alarms: 6
            }
        );
        // All hits in one recording.
        let lopsided: Vec<Example> = (0..90)
            .map(|i| example(i, i % 3 == 0, 10.0 + drawn(i, 2), 3))
            .collect();
        assert_eq!(
            fit_judgement(&lopsided, 1.0).unwrap_err(),
            JudgeError::Lopsided { parts: 3 }
        );
    }
}
