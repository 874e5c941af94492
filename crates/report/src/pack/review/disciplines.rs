//! One section a discipline: by which method, what it finds as the command prints it, and its pictures.

use assess::input::Contacts;
use assess::{
    WEATHER_SEED, chain_budget, depths_told, energy_years, failures, faults, hearing_sensors,
    line_reserve, line_weight_reserve, moorings, recovery, start, uplinks_ashore,
};
use plan::SupplyIx;

use super::super::PackOf;
use super::html::Page;
use crate::picture::{
    PictureError, PictureSize, chain_picture_svg, mooring_picture_svg, start_picture_svg,
    year_picture_svg,
};
use crate::told::{
    chain_text, failures_text, faults_text, mooring_text, recovery_text, reserve_text, start_text,
    uplink_text, year_text,
};

/// The leak of which current and cost are told, ohm: that of `soundline faults` where none is asked.
const LEAK_OHM: f64 = 1000.0;

pub(super) fn all(page: &mut Page, of: &PackOf<'_>) {
    in_the_water(page, of);
    power(page, of);
    hearing(page, of);
    ashore(page, of);
    single_failures(page, of);
}

/// A heading with the command that tells the same and the page of the book that has its equations and sources.
fn begin(page: &mut Page, title: &str, command: &str, method: &str) {
    page.heading(2, title);
    page.paragraph(&format!(
        "As `soundline {command}` tells it; equations, sources and limits: docs/method/{method}"
    ));
}

/// What a command prints without the name of the plan above it, or why there is nothing.
fn told<E: std::fmt::Display>(page: &mut Page, text: Result<String, E>) {
    match text {
        Ok(text) => page.printed(
            text.split_once("\n\n")
                .map_or(text.as_str(), |(_, rest)| rest),
        ),
        Err(why) => page.paragraph(&format!("Unknown: {why}")),
    }
}

fn drawn(page: &mut Page, svg: Result<String, PictureError>) {
    match svg {
        Ok(svg) => page.picture(&svg),
        Err(why) => page.paragraph(&format!("No picture: {why}")),
    }
}

fn in_the_water(page: &mut Page, of: &PackOf<'_>) {
    let line = of.line;
    if line.sections.is_empty() {
        return;
    }
    begin(page, "Where the line hangs", "mooring", "mooring.md");
    let found = moorings(line);
    if let Ok(found) = &found {
        for hung in found.lines.iter().flatten() {
            drawn(
                page,
                mooring_picture_svg(line, found, hung, PictureSize::LINE),
            );
        }
    }
    told(page, found.map(|found| mooring_text(line, &found)));
    begin(
        page,
        "What comes back when it parts",
        "recovery",
        "recovery.md",
    );
    told(
        page,
        recovery(line).map(|found| recovery_text(line, &found)),
    );
}

fn power(page: &mut Page, of: &PackOf<'_>) {
    let (line, name) = (of.line, &of.line.deployment.name);
    begin(
        page,
        "What is left of power and buoyancy",
        "reserve",
        "power.md",
    );
    told(
        page,
        line_reserve(line).map(|found| {
            let weight = line_weight_reserve(of.reading);
            reserve_text(name, &found, &weight, depths_told(line).as_ref())
        }),
    );
    begin(page, "The start", "start", "start-up.md");
    match start(line, Contacts::Aged, None) {
        Ok(found) => {
            drawn(
                page,
                start_picture_svg(&format!("{name}: start"), &found, PictureSize::PAGE),
            );
            told::<String>(page, Ok(start_text(name, &found)));
        }
        Err(why) => page.paragraph(&format!("Unknown: {why}")),
    }
    begin(
        page,
        "Shorts, broken spans, poor contacts, leaks",
        "faults",
        "power.md",
    );
    told(
        page,
        faults(line, Contacts::Aged, LEAK_OHM).map(|found| faults_text(name, &found)),
    );
    let solar = line.supplies.iter().enumerate();
    for (s, supply) in solar.filter(|(_, s)| s.panels.is_some() && s.battery.is_some()) {
        begin(
            page,
            &format!("The year of supply.{}", supply.id),
            "year",
            "energy-year.md",
        );
        match energy_years(line, SupplyIx(s), WEATHER_SEED, None, &mut |_| true) {
            Ok(Some(years)) => {
                let title = format!("{name}: {}", years.supply);
                drawn(page, year_picture_svg(&title, &years, PictureSize::PAGE));
                told::<String>(page, Ok(year_text(name, &years)));
            }
            Ok(None) => page.paragraph("Unknown: it was not counted to the end."),
            Err(why) => page.paragraph(&format!("Unknown: {why}")),
        }
    }
}

fn hearing(page: &mut Page, of: &PackOf<'_>) {
    let (line, name) = (of.line, &of.line.deployment.name);
    let Ok(sensors) = hearing_sensors(line, &[]) else {
        return;
    };
    begin(page, "What each hydrophone can hear", "chain", "chain.md");
    for (path, ix) in sensors {
        page.heading(3, &path);
        match chain_budget(line, ix, None) {
            Ok(budget) => {
                let title = format!("{name}: {path}");
                drawn(page, chain_picture_svg(&title, &budget, PictureSize::PAGE));
                told::<String>(page, Ok(chain_text(name, &[budget])));
            }
            Err(why) => page.paragraph(&format!("Unknown: {why}")),
        }
    }
}

fn ashore(page: &mut Page, of: &PackOf<'_>) {
    if of.line.uplinks.is_empty() {
        return;
    }
    begin(page, "The uplink through the year", "uplink", "uplink.md");
    told::<String>(page, Ok(uplink_text(of.line, &uplinks_ashore(of.line))));
}

fn single_failures(page: &mut Page, of: &PackOf<'_>) {
    begin(page, "Each part broken in turn", "failures", "failures.md");
    let name = &of.line.deployment.name;
    told(
        page,
        failures(of.line, Contacts::Aged).map(|found| failures_text(name, &found)),
    );
}
