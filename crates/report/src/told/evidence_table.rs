//! Which evidence supports each requirement, for people and for programs.

use std::fmt::Write as _;

use assess::{EvidenceTable, Support, Supported};
use serde_json::{Value, json};

use super::check::{word, wrap};
use super::in_draws::{draws_in_words, draws_json, stale_draws};
use super::words::{self, count};

/// Kinds of evidence as they are told, in the order of the totals.
const KINDS: [&str; 7] = [
    "calculation",
    "draws",
    "rehearsal",
    "recordings",
    "measurement",
    "attestation",
    "nothing yet",
];

/// A table: word, requirement, kind of evidence, which it is; and how many requirements rest on each kind.
#[must_use]
pub fn evidence_table_text(table: &EvidenceTable, colour: bool) -> String {
    let mut out = String::from("What each requirement rests on\n");
    let all = || table.requirements.iter().chain(&table.standing);
    let width = all().map(|s| s.id.chars().count()).max().unwrap_or(0);
    for supported in &table.requirements {
        rows(&mut out, supported, width, colour);
    }
    let totals: Vec<String> = KINDS
        .iter()
        .map(|kind| {
            let rests = |s: &&Supported| s.supports.iter().any(|(s, _)| kind_of(s) == *kind);
            format!("{kind} {}", table.requirements.iter().filter(rests).count())
        })
        .collect();
    let whole = table.requirements.len();
    let _ = writeln!(
        out,
        "  of {} rest on: {}",
        count(whole, "requirement"),
        totals.join(", ")
    );
    if let Some(stale) = stale_draws(table.draws) {
        for row in wrap(stale, 106) {
            let _ = writeln!(out, "  {row}");
        }
    }
    if !table.standing.is_empty() {
        out.push_str("\nWhat is checked in every plan rests on\n");
        for supported in &table.standing {
            rows(&mut out, supported, width, colour);
        }
    }
    out
}

fn rows(out: &mut String, supported: &Supported, width: usize, colour: bool) {
    for (nth, (support, subjects)) in supported.supports.iter().enumerate() {
        let lead = match nth {
            0 => format!("{}  {:width$}", word(supported.word, colour), supported.id),
            _ => format!("{:7}  {:width$}", "", ""),
        };
        let text = match support {
            Support::Measurement { .. } | Support::Draws(_) => which(support),
            _ => format!("{}{}", which(support), of(subjects)),
        };
        for (i, row) in wrap(&text, 80).iter().enumerate() {
            let _ = match i {
                0 => writeln!(out, "  {lead}  {:<11}  {row}", kind_of(support)),
                _ => writeln!(out, "  {:7}  {:width$}  {:<11}  {row}", "", "", ""),
            };
        }
    }
}

/// The subjects where there is more than one.
fn of(subjects: &[String]) -> String {
    match subjects {
        [] | [_] => String::new(),
        [first, ..] => format!(" [{} and {} more]", first, subjects.len() - 1),
    }
}

/// What kind of evidence something is, and which.
pub(crate) fn support_words(support: &Support) -> (&'static str, String) {
    (kind_of(support), which(support))
}

fn kind_of(support: &Support) -> &'static str {
    KINDS[match support {
        Support::Calculation { .. } => 0,
        Support::Draws(_) => 1,
        Support::Rehearsal { .. } => 2,
        Support::Recordings { .. } => 3,
        Support::Measurement { .. } => 4,
        Support::Attestation { .. } => 5,
        Support::Nothing { .. } => 6,
    }]
}

fn which(support: &Support) -> String {
    match support {
        Support::Calculation {
            method,
            draws: None,
        } => (*method).to_owned(),
        Support::Calculation {
            method,
            draws: Some((draws, seed)),
        } => format!("{method}; {draws} draws, seed {seed}"),
        Support::Draws(draws) => format!(
            "{}, seed {}, result {}",
            draws_in_words(draws),
            draws.seed,
            short(&draws.result_digest)
        ),
        Support::Rehearsal {
            cues,
            seed,
            result_digest,
        } => format!("{cues}, seed {seed}, result {}", short(result_digest)),
        Support::Recordings {
            detector,
            labels,
            recordings,
            result_digest,
        } => format!(
            "detector.{detector} on {} against {labels}, result {}",
            count(*recordings, "recording"),
            short(result_digest)
        ),
        Support::Measurement { what } | Support::Attestation { what } => what.clone(),
        Support::Nothing { why } => why.clone(),
    }
}

/// The beginning of a digest, enough to find it.
fn short(digest: &str) -> &str {
    digest.get(..12).unwrap_or(digest)
}

/// The same for programs: for each requirement and each standing check its pieces of evidence, each with the subjects that rest on it.
#[must_use]
pub fn evidence_table_json(table: &EvidenceTable) -> Value {
    json!({
        "requirements": table.requirements.iter().map(supported_json).collect::<Vec<_>>(),
        "standing": table.standing.iter().map(supported_json).collect::<Vec<_>>(),
        "draws": words::draws_beside(table.draws),
    })
}

fn supported_json(supported: &Supported) -> Value {
    let supports = supported.supports.iter().map(|(support, subjects)| {
        let mut told = json!({ "kind": kind_of(support).replace(' ', "-"), "subjects": subjects });
        let more = match support {
            Support::Calculation { method, draws } => json!({
                "method": method, "draws": draws.map(|d| d.0), "seed": draws.map(|d| d.1),
            }),
            Support::Draws(draws) => draws_json(draws),
            Support::Rehearsal {
                cues,
                seed,
                result_digest,
            } => json!({ "cues": cues, "seed": seed, "result_digest": result_digest }),
            Support::Recordings {
                detector,
                labels,
                recordings,
                result_digest,
            } => json!({
                "detector": detector, "labels": labels, "recordings": recordings, "result_digest": result_digest,
            }),
            Support::Measurement { what } | Support::Attestation { what } => {
                json!({ "what": what })
            }
            Support::Nothing { why } => json!({ "why": why }),
        };
        if let (Value::Object(told), Value::Object(more)) = (&mut told, more) {
            told.extend(more);
        }
        told
    });
    json!({ "id": supported.id, "supports": supports.collect::<Vec<_>>() })
}
