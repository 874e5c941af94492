//! The report for a design review: a page that needs nothing from elsewhere and that somebody who was not there can check.

mod disciplines;
mod html;
mod judged;

use assess::{Check, Judged, WATCH, Word};
use jiff::Timestamp;
use plan::Line;
use quantity::{Dimension, show};

use super::PackOf;
use crate::told::{count_words as count, totals};
use html::Page;

/// The page.
pub(super) fn html(of: &PackOf<'_>) -> String {
    let mut page = Page::new();
    let name = of.check.name.as_deref();
    let title = name.unwrap_or("A plan without a name");
    page.heading(1, title);
    page.paragraph("Deployment report for a design review. Every figure follows from the plan by the methods that are named with it; what rests on a recording, a rehearsal or a measurement says so, and what is not known is told as unknown.");
    head(&mut page, of);
    not_held(&mut page, of.check);
    requirements(&mut page, of);
    disciplines::all(&mut page, of);
    page.heading(2, "What is still open");
    page.paragraph("No verdict above answers these:");
    page.list(&of.check.open);
    page.heading(2, "Assumed, because the plan does not say otherwise");
    page.list(&of.check.assumed);
    if let Some(depths) = &of.check.depths {
        page.heading(2, "Depths that count");
        page.list(&depths.words);
    }
    page.heading(2, "Cautions");
    page.paragraph("Local codes and licensed practice decide.");
    let cautions: Vec<String> = of.check.cautions.iter().map(|c| (*c).to_owned()).collect();
    page.list(&cautions);
    page.heading(2, "Reviewed");
    page.signatures();
    page.whole(title)
}

impl Page {
    fn signatures(&mut self) {
        let empty = || vec![String::new(); 4];
        self.table(
            &["name", "for", "date", "signature"],
            &[empty(), empty(), empty()],
        );
    }
}

fn head(page: &mut Page, of: &PackOf<'_>) {
    let deployment = &of.line.deployment;
    let said = |text: Option<String>| text.unwrap_or_else(|| "the plan does not say".to_owned());
    let time = |s: f64| s.is_finite().then(|| show(s, Dimension::Time));
    let text = |key: &str| of.verdicts[key].as_str().unwrap_or("unknown").to_owned();
    page.facts(&[
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
        ("Program", text("program")),
    ]);
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
fn not_held(page: &mut Page, check: &Check) {
    page.heading(2, "What does not hold, or only just");
    let all = check.requirements.iter().chain(&check.standing);
    let mut rows: Vec<&Judged> = all.filter(|j| j.word() != Word::Met).collect();
    rows.sort_by_key(|j| j.word());
    match rows.is_empty() {
        true => page
            .paragraph("Nothing: all that is asked and all that is checked in every plan is met."),
        false => judged::table(page, &rows, None),
    }
}

fn requirements(page: &mut Page, of: &PackOf<'_>) {
    let table = assess::evidence_table(Some(of.line), of.check);
    page.heading(2, "Requirements");
    match of.check.requirements.is_empty() {
        true => page.paragraph("The plan has none."),
        false => {
            let rows: Vec<&Judged> = of.check.requirements.iter().collect();
            judged::table(page, &rows, Some(&table));
        }
    }
    let (world, standing): (Vec<&Judged>, Vec<&Judged>) = of
        .check
        .standing
        .iter()
        .partition(|j| j.id.starts_with(WATCH));
    if !world.is_empty() {
        page.heading(2, "Limits on the world: whether the line can police them");
        judged::table(page, &world, Some(&table));
    }
    if !standing.is_empty() {
        page.heading(2, "Checked in every plan");
        judged::table(page, &standing, Some(&table));
    }
}
