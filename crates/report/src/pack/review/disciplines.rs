//! One section a discipline: by which method, what it finds as the command prints it, and its pictures.

use assess::input::{CasesError, Contacts};
use assess::{
    Moorings, WEATHER_SEED, chain_budget, depths_told, energy_years, failures, faults,
    hearing_sensors, line_reserve, line_weight_reserve, recovery, start, uplinks_ashore,
};
use plan::SupplyIx;

use super::super::PackOf;
use super::model::{Block, Report};
use crate::picture::{
    Drawn, PictureError, PictureSize, chain_picture, mooring_picture, start_picture, year_picture,
};
use crate::told::{
    chain_text, failures_text, faults_text, mooring_text, recovery_text, reserve_text, start_text,
    uplink_text, year_text,
};

/// The leak of which current and cost are told, ohm: that of `soundline faults` where none is asked.
const LEAK_OHM: f64 = 1000.0;

pub(super) fn all(report: &mut Report, of: &PackOf<'_>, moorings: &Result<Moorings, CasesError>) {
    in_the_water(report, of, moorings);
    power(report, of);
    hearing(report, of);
    ashore(report, of);
    single_failures(report, of);
}

/// A heading with the command that tells the same and the page of the book that has its equations and sources.
fn begin(report: &mut Report, title: &str, command: &str, method: &str) {
    report.heading(2, title);
    report.blocks.push(Block::Source(format!(
        "As `soundline {command}` tells it; equations, sources and limits: docs/method/{method}"
    )));
}

/// What a command prints without the name of the plan above it, or why there is nothing.
fn told<E: std::fmt::Display>(report: &mut Report, text: Result<String, E>) {
    match text {
        Ok(text) => report.printed(
            text.split_once("\n\n")
                .map_or(text.as_str(), |(_, rest)| rest),
        ),
        Err(why) => report.paragraph(format!("Unknown: {why}")),
    }
}

fn drawn(report: &mut Report, drawn: Result<Drawn, PictureError>) {
    match drawn {
        Ok(drawn) => report.blocks.push(Block::Picture(drawn)),
        Err(why) => report.paragraph(format!("No picture: {why}")),
    }
}

fn in_the_water(report: &mut Report, of: &PackOf<'_>, moorings: &Result<Moorings, CasesError>) {
    let line = of.line;
    if line.sections.is_empty() {
        return;
    }
    begin(report, "Where the line hangs", "mooring", "mooring.md");
    if let Ok(found) = moorings {
        for hung in found.lines.iter().flatten() {
            drawn(
                report,
                mooring_picture(line, found, hung, PictureSize::LINE),
            );
        }
    }
    let text = moorings.as_ref();
    told(report, text.map(|found| mooring_text(line, found)));
    begin(
        report,
        "What comes back when it parts",
        "recovery",
        "recovery.md",
    );
    told(
        report,
        recovery(line).map(|found| recovery_text(line, &found)),
    );
}

fn power(report: &mut Report, of: &PackOf<'_>) {
    let (line, name) = (of.line, &of.line.deployment.name);
    begin(
        report,
        "What is left of power and buoyancy",
        "reserve",
        "power.md",
    );
    told(
        report,
        line_reserve(line).map(|found| {
            let weight = line_weight_reserve(of.reading);
            reserve_text(name, &found, &weight, depths_told(line).as_ref())
        }),
    );
    begin(report, "The start", "start", "start-up.md");
    match start(line, Contacts::Aged, None) {
        Ok(found) => {
            drawn(
                report,
                start_picture(&format!("{name}: start"), &found, PictureSize::PAGE),
            );
            told::<String>(report, Ok(start_text(name, &found)));
        }
        Err(why) => report.paragraph(format!("Unknown: {why}")),
    }
    begin(
        report,
        "Shorts, broken spans, poor contacts, leaks",
        "faults",
        "power.md",
    );
    told(
        report,
        faults(line, Contacts::Aged, LEAK_OHM).map(|found| faults_text(name, &found)),
    );
    let solar = line.supplies.iter().enumerate();
    for (s, supply) in solar.filter(|(_, s)| s.panels.is_some() && s.battery.is_some()) {
        begin(
            report,
            &format!("The year of supply.{}", supply.id),
            "year",
            "energy-year.md",
        );
        match energy_years(line, SupplyIx(s), WEATHER_SEED, None, &mut |_| true) {
            Ok(Some(years)) => {
                let title = format!("{name}: {}", years.supply);
                drawn(report, year_picture(&title, &years, PictureSize::PAGE));
                told::<String>(report, Ok(year_text(name, &years)));
            }
            Ok(None) => report.paragraph("Unknown: it was not counted to the end."),
            Err(why) => report.paragraph(format!("Unknown: {why}")),
        }
    }
}

fn hearing(report: &mut Report, of: &PackOf<'_>) {
    let (line, name) = (of.line, &of.line.deployment.name);
    let Ok(sensors) = hearing_sensors(line, &[]) else {
        return;
    };
    begin(report, "What each hydrophone can hear", "chain", "chain.md");
    for (path, ix) in sensors {
        report.heading(3, &path);
        match chain_budget(line, ix, None) {
            Ok(budget) => {
                let title = format!("{name}: {path}");
                drawn(report, chain_picture(&title, &budget, PictureSize::PAGE));
                told::<String>(report, Ok(chain_text(name, &[budget])));
            }
            Err(why) => report.paragraph(format!("Unknown: {why}")),
        }
    }
}

fn ashore(report: &mut Report, of: &PackOf<'_>) {
    if of.line.uplinks.is_empty() {
        return;
    }
    begin(report, "The uplink through the year", "uplink", "uplink.md");
    told::<String>(report, Ok(uplink_text(of.line, &uplinks_ashore(of.line))));
}

fn single_failures(report: &mut Report, of: &PackOf<'_>) {
    begin(
        report,
        "Each part broken in turn",
        "failures",
        "failures.md",
    );
    let name = &of.line.deployment.name;
    told(
        report,
        failures(of.line, Contacts::Aged).map(|found| failures_text(name, &found)),
    );
}
