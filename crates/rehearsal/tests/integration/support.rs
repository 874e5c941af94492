//! Lines, cue sheets and runs to check with.

use std::path::Path;

use plan::{CueSheet, Line};
use rehearsal::{Outcome, Record, What};
use timeline::Ns;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data");

/// The small line and its cues, with changes of their texts.
pub(crate) fn line_and_cues(
    change_plan: &[(&str, &str)],
    change_cues: &[(&str, &str)],
) -> (Line, CueSheet) {
    let changed = |name: &str, changes: &[(&str, &str)]| {
        let mut text = std::fs::read_to_string(Path::new(FOLDER).join(name)).unwrap();
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        text
    };
    read(
        &changed("small.toml", change_plan),
        &changed("cues.toml", change_cues),
    )
}

/// A line and its cues, from their texts.
pub(crate) fn read(plan_text: &str, cue_text: &str) -> (Line, CueSheet) {
    let reading = assess::read(Path::new("plan.toml"), &|_| Ok(plan_text.into()));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| Ok(cue_text.into()));
    assert!(cues.cues.is_some(), "{:?}", cues.mistakes);
    (reading.line.unwrap(), cues.cues.unwrap())
}

pub(crate) fn run(line: &Line, cues: &CueSheet) -> (Outcome, Vec<Record>) {
    let mut records = Vec::new();
    let outcome =
        rehearsal::run(line, cues, &mut |r| records.push(r.clone()), &mut |_| true).unwrap();
    (outcome, records)
}

pub(crate) fn lamp_times(records: &[Record], wanted: bool) -> Vec<Ns> {
    records
        .iter()
        .filter(|r| matches!(r.what, What::Switched { on, .. } if on == wanted))
        .map(|r| r.at)
        .collect()
}
