//! A small plan in memory, changed by text.

use std::path::Path;

use assess::{Check, Judged, Known, Shelf, Verdict, Word, check};
use plan::Reading;

/// A site whose water stands still, in words of a plan.
pub(crate) const NO_CURRENT: &str = "current = [{ depth = \"0 m\", speed = \"0 m/s\" }]\n";

/// A site on which no wind blows, in words of a plan.
pub(crate) const NO_WIND: &str = "wind = [\"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\"]\n";

/// A base on a bench supply, one ear on a cable. Invented.
pub(crate) const PLAN: &str = include_str!("small.toml");

/// The plan with changes; each text that is changed must be there.
pub(crate) fn changed(changes: &[(&str, &str)]) -> String {
    let mut text = PLAN.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    text
}

pub(crate) fn read(text: &str) -> Reading {
    assess::read(Path::new("plan.toml"), &|_| Ok(text.as_bytes().to_vec()))
}

/// The plan with changes, read without mistakes.
#[track_caller]
pub(crate) fn good(changes: &[(&str, &str)]) -> Reading {
    let reading = read(&changed(changes));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

#[track_caller]
pub(crate) fn checked(changes: &[(&str, &str)]) -> Check {
    check(&good(changes), &Shelf::default())
}

#[track_caller]
pub(crate) fn requirement<'c>(check: &'c Check, id: &str) -> &'c Judged {
    check
        .requirements
        .iter()
        .chain(&check.standing)
        .find(|j| j.id == id)
        .unwrap()
}

/// The only or worst verdict of a requirement, which is known.
#[track_caller]
pub(crate) fn known<'c>(check: &'c Check, id: &str) -> &'c Known {
    match &requirement(check, id).verdicts[0] {
        Verdict::Known(known) => known,
        other => panic!("{} is not known: {}", other.subject(), other.why()),
    }
}

/// Why a requirement is unknown; fails when it is not.
#[track_caller]
pub(crate) fn why_unknown<'c>(check: &'c Check, id: &str) -> &'c str {
    let judged = requirement(check, id);
    assert_eq!(judged.word(), Word::Unknown, "{judged:?}");
    judged
        .verdicts
        .iter()
        .find_map(|v| match v {
            Verdict::Unknown { why, .. } => Some(why.as_str()),
            _ => None,
        })
        .unwrap()
}

#[track_caller]
pub(crate) fn close(value: f64, expected: f64, tolerance: f64) {
    assert!(
        (value - expected).abs() <= tolerance,
        "{value} is not {expected} within {tolerance}"
    );
}
