//! What the rehearsals that lie beside the plan showed: each expectation with what was seen and when.

use std::collections::BTreeSet;

use assess::evidence::{REHEARSAL, Record};
use plan::That;

use super::super::PackOf;
use super::model::{Block, Cell, Piece, Report};

pub(super) fn all(report: &mut Report, of: &PackOf<'_>) {
    report.heading(2, "What the rehearsals showed");
    let asked = of.line.requirements.iter().filter_map(|r| match &r.that {
        That::Rehearsed { cues, .. } => Some(cues.as_str()),
        _ => None,
    });
    let mut sheets: BTreeSet<&str> = asked.collect();
    sheets.extend(of.shelf.records.iter().map(|r| r.cues.as_str()));
    if sheets.is_empty() {
        report.paragraph("Unknown: nothing lies beside the plan and none of its requirements asks for a rehearsal. `soundline rehearse PLAN CUES` makes one.");
        return;
    }
    for cues in sheets {
        report.heading(3, cues);
        one(report, of, cues);
    }
}

fn one(report: &mut Report, of: &PackOf<'_>, cues: &str) {
    let again = match of.shelf.commands.get(cues) {
        Some(command) => format!("`{command}`"),
        None => "`soundline rehearse PLAN CUES`".to_owned(),
    };
    let present = of.shelf.cues.get(cues).and_then(|d| d.as_ref().ok());
    let rehearsals = || of.shelf.records.iter().filter(|r| r.method == REHEARSAL);
    let fresh = |r: &&Record| {
        r.plan_digest == of.reading.rehearsed_digest && Some(&r.cues_digest) == present
    };
    // Of several the one that `check` counts: with the fewest expectations that held.
    let Some(record) = rehearsals()
        .filter(fresh)
        .min_by_key(|r| (r.passed(), &r.result_digest))
    else {
        let why = match rehearsals().any(|r| r.cues == cues) {
            true => {
                "the plan or the cue sheet has changed since it was rehearsed, or the cue sheet cannot be read"
            }
            false => "it has not been rehearsed yet",
        };
        report.paragraph(format!("Unknown: {why}; {again} rehearses it."));
        return;
    };
    report.blocks.push(Block::Source(format!(
        "Seed {}, by {}; everything that happened has the digest {}. Second by second it is printed again by {again}.",
        record.seed, record.program, record.result_digest
    )));
    if record.expectations.is_empty() {
        report.paragraph("The cue sheet expects nothing, so its rehearsal shows nothing.");
        return;
    }
    let rows = record.expectations.iter().map(|expected| {
        let held = match expected.passed {
            true => "held",
            false => "did not hold",
        };
        vec![
            Cell::default().and(vec![Piece::strong(&expected.id)]),
            Cell::of(held),
            Cell::of(&expected.said),
        ]
    });
    report.table(&["expectation", "", "what was seen"], rows.collect());
}
