//! What late ships do to a plan, for people and for programs.

use std::fmt::Write as _;

use assess::{Slip, SlipCell, SlipGrid, Spares, Steps, WeatherWaits, Word};
use quantity::{Dimension, SECONDS_PER_DAY, show};
use serde_json::{Value, json};

use super::check::{figure_json, list, wrap};
use super::figures::{shortened, shown};
use super::ship::{ship_json, ship_text};

const WIDTH: usize = 108;

/// The sign of a word, beside which a number stands: what is told by colour in a picture is told by it too.
pub(crate) fn sign(word: Word) -> &'static str {
    match word {
        Word::Broken => "X",
        Word::Unknown | Word::Provisional => "?",
        Word::Marginal => "~",
        Word::Met => "=",
    }
}

/// A slip as it heads a row or a column, days.
pub(crate) fn days_late(slip_s: f64) -> String {
    let days = slip_s / SECONDS_PER_DAY;
    let whole = libm::round(days);
    match (days - whole).abs() < 1e-6 {
        true => format!("{whole:.0}"),
        false => format!("{days:.1}"),
    }
}

/// What is left to the limit in a cell, with its sign.
pub(crate) fn left_in(cell: &SlipCell) -> String {
    let sign = sign(cell.word);
    match &cell.figures {
        None => sign.to_owned(),
        Some([_, _, margin]) => format!("{sign} {}", shown(margin, "").trim_end()),
    }
}

/// The numbers of those that are worst in a cell, so many characters wide at the most, with their sign.
pub(crate) fn worst_in(slip: &Slip, start: usize, recovery: usize, room: usize) -> String {
    let Some((word, having)) = slip.worst_of(start, recovery) else {
        return String::new();
    };
    if word == Word::Met {
        return sign(word).to_owned();
    }
    let mut told = sign(word).to_owned();
    for (k, which) in having.iter().enumerate() {
        let next = format!("{}{}", if k == 0 { " " } else { "," }, which + 1);
        let more = format!("+{}", having.len() - k);
        let last = k + 1 == having.len();
        if told.len() + next.len() + if last { 0 } else { more.len() } > room {
            let _ = write!(told, "{more}");
            break;
        }
        told.push_str(&next);
    }
    told
}

/// A start and a recovery in words.
pub(crate) fn corner(slip: &Slip, (start, recovery): (usize, usize)) -> String {
    let late = |steps: &Steps, at: usize, what: &str| match steps.each_s[at] {
        0.0 => format!("{what} as planned"),
        late_s => format!("{what} {} late", show(late_s, Dimension::Time)),
    };
    format!(
        "{}, {}",
        late(&slip.starts, start, "start"),
        late(&slip.recoveries, recovery, "recovered")
    )
}

/// What the slips of the grid are in words.
pub(crate) fn extent(slip: &Slip) -> String {
    let of = |steps: &Steps, key: &str| match (steps.written, steps.own) {
        (false, _) => format!("the plan writes no {key}"),
        (true, own) => format!("{key} {}", show(steps.each_s[own], Dimension::Time)),
    };
    format!(
        "{}, {}",
        of(&slip.starts, "start_slip"),
        of(&slip.recoveries, "recovery_slip")
    )
}

/// Unit of what is left to the limit; empty where nothing is known.
pub(crate) fn unit_left(grid: &SlipGrid) -> String {
    let cells = grid.cells.iter().flatten();
    let mut margins = cells.filter_map(|c| c.figures.as_ref());
    margins.next().map_or_else(String::new, |[_, _, margin]| {
        shortened(&margin.unit).to_owned()
    })
}

/// A grid of all that the slips move, one of each, spares and waits for weather.
#[must_use]
pub fn slip_text(name: &str, slip: &Slip, spares: &Spares, waits: &WeatherWaits) -> String {
    let mut out = format!("{name}\n\n");
    grids_text(&mut out, slip);
    ship_text(&mut out, spares, waits);
    out
}

fn grids_text(out: &mut String, slip: &Slip) {
    let head = format!(
        "What rests on dates, with a start and a recovery that come late; {}. Down: how much later it starts, days; across: how much longer than its duration it is in the water, days. X broken, ? unknown, ~ marginal, = met. What lies beyond | and below the dashes is beyond the slips of the plan.",
        extent(slip)
    );
    for row in wrap(&head, WIDTH) {
        let _ = writeln!(out, "{row}");
    }
    let moved: Vec<&SlipGrid> = slip.moved().collect();
    if slip.grids.is_empty() {
        out.push_str("\nNothing that this plan asks rests on dates.\n");
        return;
    }
    if moved.is_empty() {
        out.push_str("\nThese slips move nothing that rests on dates.\n");
    } else {
        let all_met = moved
            .iter()
            .flat_map(|g| g.cells.iter().flatten())
            .all(|c| c.word == Word::Met);
        out.push_str(match all_met {
            true => "\nThe worst\n",
            false => "\nThe worst, and the numbers of those that it is\n",
        });
        table(out, slip, |s, r| worst_in(slip, s, r, 12));
    }
    for (k, grid) in moved.iter().enumerate() {
        one(out, slip, k + 1, grid);
    }
    let steady: Vec<String> = slip
        .steady()
        .map(|g| format!("{}: {}", g.id, g.at_worst().word.as_str()))
        .collect();
    list(
        out,
        "Rests on dates, and these slips do not move it",
        &steady,
    );
}

fn one(out: &mut String, slip: &Slip, number: usize, grid: &SlipGrid) {
    let at = grid.at_worst();
    let mut limits = grid
        .cells
        .iter()
        .flatten()
        .filter_map(|c| Some(&c.figures.as_ref()?[1]));
    let first = limits.next();
    let one_limit = limits.all(|limit| Some(limit) == first);
    let left = match first {
        None => String::new(),
        Some(_) if !one_limit => {
            format!(
                "; what is left to its limit, which goes by the dates, {}",
                unit_left(grid)
            )
        }
        Some(limit) => format!(
            "; what is left to its limit of {}, {}",
            shown(limit, &limit.unit),
            unit_left(grid)
        ),
    };
    out.push('\n');
    for row in wrap(
        &format!("{number} {}: {}{left}", grid.id, grid.sentence),
        WIDTH,
    ) {
        let _ = writeln!(out, "{row}");
    }
    table(out, slip, |s, r| left_in(&grid.cells[s][r]));
    for row in wrap(&worst_told(slip, grid), WIDTH - 2) {
        let _ = writeln!(out, "  {row}");
    }
    if at.figures.is_none() {
        for row in wrap(&format!("unknown: {}", at.why), WIDTH - 2) {
            let _ = writeln!(out, "  {row}");
        }
    }
}

/// Where it is worst within the plan's own slips, and whether that is worse than `check` says.
pub(crate) fn worst_told(slip: &Slip, grid: &SlipGrid) -> String {
    let at = grid.at_worst();
    let mut told = format!(
        "{} at the worst: {}",
        at.word.as_str(),
        corner(slip, grid.worst)
    );
    if let Some([value, ..]) = &at.figures {
        let _ = write!(told, ", {}: {}", at.subject, shown(value, &value.unit));
    }
    if at.word < grid.checked {
        let _ = write!(
            told,
            "; worse than in `check` ({}), which looks at the ends of the slips alone",
            grid.checked.as_str()
        );
    }
    told
}

fn table(out: &mut String, slip: &Slip, cell: impl Fn(usize, usize) -> String) {
    let (rows, columns) = (slip.starts.each_s.len(), slip.recoveries.each_s.len());
    let heads: Vec<String> = slip
        .recoveries
        .each_s
        .iter()
        .map(|s| days_late(*s))
        .collect();
    let cells: Vec<Vec<String>> = (0..rows)
        .map(|s| (0..columns).map(|r| cell(s, r)).collect())
        .collect();
    let wide = cells
        .iter()
        .flatten()
        .chain(&heads)
        .map(|c| c.chars().count());
    let wide = wide.max().unwrap_or(1) + 2;
    let line = |first: &str, cells: &[String]| {
        let mut row = format!("  {first:>6} ");
        for (r, cell) in cells.iter().enumerate() {
            if r == slip.recoveries.own + 1 {
                row.push_str("  |");
            }
            let _ = write!(row, "{cell:>wide$}");
        }
        row
    };
    let head = line("", &heads);
    let _ = writeln!(out, "{head}");
    for (s, cells) in cells.iter().enumerate() {
        if s == slip.starts.own + 1 {
            let dashes = "-".repeat(head.chars().count() - 8);
            let _ = writeln!(out, "        {dashes}");
        }
        let first = days_late(slip.starts.each_s[s]);
        let _ = writeln!(out, "{}", line(&first, cells).trim_end());
    }
}

/// The same as a document.
#[must_use]
pub fn slip_json(name: &str, slip: &Slip, spares: &Spares, waits: &WeatherWaits) -> Value {
    let steps = |steps: &Steps| {
        let each = steps.each_s.iter().map(|s| s / SECONDS_PER_DAY);
        let own = steps
            .written
            .then(|| steps.each_s[steps.own] / SECONDS_PER_DAY);
        (each.collect::<Vec<f64>>(), own)
    };
    let (starts_d, start_slip_d) = steps(&slip.starts);
    let (recoveries_d, recovery_slip_d) = steps(&slip.recoveries);
    let at =
        |(s, r): (usize, usize)| json!({ "start_d": starts_d[s], "recovery_d": recoveries_d[r] });
    let grids: Vec<Value> = slip
        .grids
        .iter()
        .map(|grid| {
            let worst = grid.at_worst();
            let cells: Vec<Vec<Value>> = grid
                .cells
                .iter()
                .map(|row| row.iter().map(cell_json).collect())
                .collect();
            json!({
                "id": grid.id,
                "checked_in_every_plan": grid.standing,
                "must": match grid.must { plan::Must::Shall => "shall", plan::Must::Should => "should" },
                "sentence": grid.sentence,
                "moves": !grid.is_steady(),
                "worst": { "at": at(grid.worst), "verdict": worst.word.as_str(), "why": worst.why },
                "check_says": grid.checked.as_str(),
                "cells": cells,
            })
        })
        .collect();
    let worst: Vec<Vec<Value>> = (0..starts_d.len())
        .map(|s| {
            let ids: Vec<&str> = slip.moved().map(|g| g.id.as_str()).collect();
            let cell = |r: usize| match slip.worst_of(s, r) {
                None => Value::Null,
                Some((word, having)) => {
                    let of: Vec<&str> = having.iter().map(|k| ids[*k]).collect();
                    json!({ "verdict": word.as_str(), "of": of })
                }
            };
            (0..recoveries_d.len()).map(cell).collect()
        })
        .collect();
    json!({
        "format": "slip/1",
        "name": name,
        "starts_d": starts_d,
        "start_slip_d": start_slip_d,
        "recoveries_d": recoveries_d,
        "recovery_slip_d": recovery_slip_d,
        "worst": worst,
        "grids": grids,
        "ship": ship_json(spares, waits),
    })
}

fn cell_json(cell: &SlipCell) -> Value {
    let figures = cell.figures.as_ref();
    let figure = |k: usize| figures.map_or(Value::Null, |f| figure_json(&f[k]));
    json!({
        "verdict": cell.word.as_str(),
        "subject": cell.subject,
        "value": figure(0),
        "limit": figure(1),
        "margin": figure(2),
    })
}
