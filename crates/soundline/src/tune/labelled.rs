//! The labels: read, held against what was asked, and put on the recordings.

use std::collections::BTreeSet;

use detect::Rule;
use hearing::{Given, LabelFile, Placed, Survey, place_labels, read_labels};

use super::{Args, TuneError};

/// So far apart may begins always be asked to match, s (ours): labels set by ear are a second or two off.
const WITHIN_AT_LEAST_S: f64 = 2.0;

pub(super) fn labels(args: &Args) -> Result<LabelFile, TuneError> {
    let path = args.labels.clone();
    let bytes = match std::fs::read(&path) {
        Ok(bytes) => bytes,
        Err(why) => return Err(TuneError::NoLabels { path, why }),
    };
    read_labels(&bytes).map_err(|why| TuneError::Labels { path, why })
}

/// Refuses kinds that no label has: nothing would be looked for.
pub(super) fn known_kinds(args: &Args, labels: &LabelFile) -> Result<(), TuneError> {
    let all: BTreeSet<&String> = labels
        .labels
        .iter()
        .filter_map(|label| label.what.as_ref())
        .collect();
    match args.what.iter().find(|what| !all.contains(what)) {
        Some(what) => Err(TuneError::NoKind {
            what: what.clone(),
            all: all.into_iter().cloned().collect(),
        }),
        None => Ok(()),
    }
}

/// Whether labels were left out and none is left.
pub(super) fn none_used(labels: &LabelFile, placed: &Placed) -> bool {
    let left_out = labels.faults.len() + placed.faults.len();
    left_out > 0 && placed.chosen.iter().all(Vec::is_empty)
}

/// Begins that may be further apart than the longest label lasts would let an event find a sound that it never met.
pub(super) fn near_enough(rule: Rule, placed: &Placed) -> Result<(), TuneError> {
    let Rule::Begin { within_s } = rule else {
        return Ok(());
    };
    let labels = placed.chosen.iter().flatten();
    let most_s = labels
        .map(|label| label.to_s - label.from_s)
        .fold(WITHIN_AT_LEAST_S, f64::max);
    if within_s > most_s {
        return Err(TuneError::TooFar { within_s, most_s });
    }
    Ok(())
}

/// The labels of each recording that was named; those of recordings that cannot be heard stay with them.
pub(super) fn put(args: &Args, labels: &LabelFile, surveys: &[Survey], places: &[usize]) -> Placed {
    let given: Vec<Given<'_>> = args
        .recordings
        .iter()
        .enumerate()
        .map(|(place, path)| {
            let survey = places.iter().position(|&p| p == place).map(|i| &surveys[i]);
            let length_s =
                survey.and_then(|s| Some(s.info.frames? as f64 / f64::from(s.info.rate_hz)));
            Given { path, length_s }
        })
        .collect();
    place_labels(labels, &given, &args.what)
}
