//! What a threshold that a remedy moves does to its detector: what it misses stands beside how often it cries wolf, as neither is had without the other.

use plan::{DetectorIx, Line};

use super::knobs::thing_and_key;
use crate::check::Shelf;
use crate::tune_verdicts::counting;

/// Keys that hold a threshold.
const THRESHOLDS: [&str; 4] = ["on_above", "off_below", "above", "rise"];

/// A detector whose threshold a remedy moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Its typed path.
    pub detector: String,
    /// What it did at its threshold now: one for each record that counts, or why it is unknown.
    pub now: Result<Vec<HeardCounts>, String>,
    /// The same at the threshold of the remedy.
    pub then: Result<Vec<HeardCounts>, String>,
}

/// What a detector did against one file of labels.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardCounts {
    /// The file of labels.
    pub labels: String,
    /// Labels that it did not find.
    pub missed: u64,
    /// Labels that count.
    pub labelled: u64,
    /// Events that found no label.
    pub false_alarms: u64,
    /// Time in which it could decide, s.
    pub judged_s: f64,
}

/// The detectors whose thresholds some keys hold, with what is known of them before and after.
pub(super) fn heard<'p>(
    paths: impl Iterator<Item = &'p str>,
    before: &Line,
    after: &Line,
    shelf: &Shelf,
) -> Vec<Heard> {
    let mut found: Vec<Heard> = Vec::new();
    for path in paths {
        let Some((detector, key)) = thing_and_key(path) else {
            continue;
        };
        let last = key.rsplit('.').next().unwrap_or(key);
        let moves = detector.starts_with("detector.") && THRESHOLDS.contains(&last);
        if !moves || found.iter().any(|h| h.detector == detector) {
            continue;
        }
        found.push(Heard {
            now: counts(before, &detector, shelf),
            then: counts(after, &detector, shelf),
            detector,
        });
    }
    found
}

/// What a detector did against each file of labels of which a record counts, by its curve at a threshold that was tried; or why that is
/// unknown.
fn counts(line: &Line, detector: &str, shelf: &Shelf) -> Result<Vec<HeardCounts>, String> {
    let own = |d: &plan::Detector| detector.strip_prefix("detector.") == Some(d.id.as_str());
    let Some(ix) = line.detectors.iter().position(own) else {
        return Err("the plan has no such detector".to_owned());
    };
    let all = counting(line, DetectorIx(ix), shelf)?;
    let counts = all.into_iter().map(|t| HeardCounts {
        labels: t.labels,
        missed: t.labelled.saturating_sub(t.hits),
        labelled: t.labelled,
        false_alarms: t.false_alarms,
        judged_s: t.judged_s,
    });
    Ok(counts.collect())
}
