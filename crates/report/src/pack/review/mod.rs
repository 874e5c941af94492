//! The report for a design review, that somebody who was not there can check: one content ([`model`]), as a page that needs nothing from elsewhere
//! ([`html()`]) and on paper ([`pdf()`]).

mod deck;
mod disciplines;
mod html;
mod judged;
mod listed;
mod model;
mod pdf;
mod rehearsed;
mod text;

use assess::{Check, Judged, WATCH, Word};
use jiff::Timestamp;
use plan::Line;
use quantity::{Dimension, show};

use super::PackOf;
use crate::told::{count_words as count, totals};
use model::{Block, Cell, Report, Table};

pub(super) use html::html;
pub use pdf::PdfError;
pub(super) use pdf::pdf;
pub(super) use text::text;

/// What the report says.
pub(super) fn report(of: &PackOf<'_>) -> Report {
    let mut report = empty(of);
    let title = report.title.clone();
    report.heading(1, &title);
    report.paragraph("Deployment report for a design review. Every figure follows from the plan by the methods that are named with it; what rests on a recording, a rehearsal or a measurement says so, and what is not known is told as unknown.");
    head(&mut report, of);
    report.blocks.push(Block::Contents);
    not_held(&mut report, of.check);
    requirements(&mut report, of);
    rehearsed::all(&mut report, of);
    let moorings = assess::moorings(of.line);
    disciplines::all(&mut report, of, &moorings);
    listed::permits_told(&mut report, of);
    listed::spares_told(&mut report, of);
    listed::weights_told(&mut report, of, moorings.as_ref().ok());
    if !of.line.sections.is_empty() {
        deck::laying(&mut report, of);
        deck::recovering(&mut report, of, false);
    }
    report.heading(2, "What is still open");
    report.paragraph("No verdict above answers these:");
    report.list(&of.check.open);
    report.heading(2, "Assumed, because the plan does not say otherwise");
    report.list(&of.check.assumed);
    if let Some(depths) = &of.check.depths {
        report.heading(2, "Depths that count");
        report.list(&depths.words);
    }
    report.heading(2, "Cautions");
    report.paragraph("Local codes and licensed practice decide.");
    let cautions: Vec<String> = of.check.cautions.iter().map(|c| (*c).to_owned()).collect();
    report.list(&cautions);
    report.heading(2, "Reviewed");
    signatures(&mut report);
    report
}

/// The sheets for the deck, each under its name; none of a line without sections.
pub(super) fn deck_sheets(of: &PackOf<'_>) -> Vec<(&'static str, Report)> {
    if of.line.sections.is_empty() {
        return Vec::new();
    }
    let (mut laying, mut recovering) = (empty(of), empty(of));
    deck::laying(&mut laying, of);
    deck::recovering(&mut recovering, of, true);
    vec![("deployment", laying), ("recovery", recovering)]
}

/// A report that says nothing yet.
fn empty(of: &PackOf<'_>) -> Report {
    let name = of.check.name.as_deref();
    let program = of.verdicts["program"].as_str();
    Report {
        title: name.unwrap_or("A plan without a name").to_owned(),
        plan_digest: of.check.plan_digest.clone(),
        program: program.unwrap_or("unknown").to_owned(),
        blocks: Vec::new(),
    }
}

fn signatures(report: &mut Report) {
    let heads = ["name", "for", "date", "signature"];
    report.blocks.push(Block::Table(Table {
        heads: heads.map(str::to_owned).to_vec(),
        rows: vec![vec![Cell::default(); heads.len()]; 2],
        to_fill: true,
    }));
}

fn head(report: &mut Report, of: &PackOf<'_>) {
    let deployment = &of.line.deployment;
    let said = |text: Option<String>| text.unwrap_or_else(|| "the plan does not say".to_owned());
    let time = |s: f64| s.is_finite().then(|| show(s, Dimension::Time));
    let facts = [
        ("Start", said(deployment.start.map(day))),
        ("Time in the water", said(time(deployment.duration_s.si))),
        (
            "Start may slip by",
            said(deployment.start_slip_s.and_then(|q| time(q.si))),
        ),
        (
            "Recovery may slip by",
            said(deployment.recovery_slip_s.and_then(|q| time(q.si))),
        ),
        ("Line", parts(of.line)),
        ("Verdicts", totals(of.check)),
        ("Digest of the plan", of.check.plan_digest.clone()),
        ("Digest of its text", of.check.source_digest.clone()),
        ("Program", report.program.clone()),
    ];
    let facts = facts.map(|(name, value)| (name.to_owned(), value));
    report.blocks.push(Block::Facts(facts.to_vec()));
}

fn day(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M UTC").to_string()
}

fn parts(line: &Line) -> String {
    let hydrophones: usize = line.modules.iter().map(|m| m.sensors.len()).sum();
    [
        count(line.modules.len(), "module"),
        count(hydrophones, "sensor"),
        count(line.spans.len(), "span"),
        count(line.sections.len(), "section"),
        match line.supplies.len() {
            1 => "1 supply".to_owned(),
            n => format!("{n} supplies"),
        },
        count(line.uplinks.len(), "uplink"),
    ]
    .join(", ")
}

/// What is broken, unknown or near its limit, in one place.
fn not_held(report: &mut Report, check: &Check) {
    report.heading(2, "What does not hold, or only just");
    let all = check.requirements.iter().chain(&check.standing);
    let mut rows: Vec<&Judged> = all.filter(|j| j.word() != Word::Met).collect();
    rows.sort_by_key(|j| j.word());
    match rows.is_empty() {
        true => report
            .paragraph("Nothing: all that is asked and all that is checked in every plan is met."),
        false => judged::table(report, &rows, None),
    }
}

fn requirements(report: &mut Report, of: &PackOf<'_>) {
    let table = assess::evidence_table(Some(of.line), of.check);
    report.heading(2, "Requirements");
    match of.check.requirements.is_empty() {
        true => report.paragraph("The plan has none."),
        false => {
            let rows: Vec<&Judged> = of.check.requirements.iter().collect();
            judged::table(report, &rows, Some(&table));
        }
    }
    let (world, standing): (Vec<&Judged>, Vec<&Judged>) = of
        .check
        .standing
        .iter()
        .partition(|j| j.id.starts_with(WATCH));
    if !world.is_empty() {
        report.heading(2, "Limits on the world: whether the line can police them");
        judged::table(report, &world, Some(&table));
    }
    if !standing.is_empty() {
        report.heading(2, "Checked in every plan");
        judged::table(report, &standing, Some(&table));
    }
}
