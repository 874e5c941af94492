//! The dockside sheet and what came of its readings, for people and for programs.

mod json;

use std::collections::BTreeMap;
use std::fmt::Write as _;

use assess::dockside::{
    ALIKE, Candidate, Dockside, Expected, Found, QuayJudged, Ranking, Step, fault_words,
    probe_dimension, probe_words,
};
use plan::Line;
use quantity::{Dimension, show, show_number, show_share};

use super::check::wrap;
use crate::pack::rows;

pub use json::dockside_json;

const WIDTH: usize = 106;
/// Classes of faults that the text tells.
const TOLD_CLASSES: usize = 3;
/// Members of a class that the text tells.
const TOLD_MEMBERS: usize = 12;
/// A class whose criterion is larger by more than this is not told: its likelihood is less than a twenty-thousandth of the best one's.
const TOLD_WITHIN: f64 = 20.0;

/// A value in the unit of a step.
#[must_use]
pub fn dockside_value(value: f64, unit: &str) -> String {
    if value.is_infinite() {
        return "beyond the range".to_owned();
    }
    let dimension = match unit {
        "V" => Dimension::Voltage,
        "A" => Dimension::Current,
        "ohm" => Dimension::Resistance,
        "s" => Dimension::Time,
        _ => return format!("{} {unit}", show_number(value)),
    };
    show(value, dimension)
}

fn band(expected: &Expected, unit: &str) -> String {
    let told = |v: f64| dockside_value(v, unit);
    let value = expected.value.map(told);
    let limits = match (expected.low, expected.high) {
        (Some(low), Some(high)) => format!("{} to {}", told(low), told(high)),
        (Some(low), None) => format!("at least {}", told(low)),
        (None, Some(high)) => format!("at most {}", told(high)),
        (None, None) => "no limit".to_owned(),
    };
    match value {
        Some(value) => format!("{value} ({limits})"),
        None => limits,
    }
}

/// The sheet with a box for each reading or, with readings, what came of each and which fault explains them.
#[must_use]
pub fn dockside_text(line: &Line, sheet: &Dockside, judged: Option<&QuayJudged>) -> String {
    let mut out = format!("{}\n\nDockside sheet", line.deployment.name);
    let _ = writeln!(
        out,
        ", cable and air at {} degC",
        sheet.quay.temperature_degc
    );
    if let Some(judged) = judged {
        verdict(&mut out, line, sheet, judged);
    }
    let widths = Widths::of(sheet);
    for (s, stage) in sheet.stages.iter().enumerate() {
        let steps = sheet.steps.iter().enumerate();
        let own: Vec<(usize, &Step)> = steps.filter(|(_, step)| step.stage == s).collect();
        if own.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n{}. {stage}", s + 1);
        for (i, step) in own {
            row(&mut out, step, &widths, judged.map(|j| j.found[i]));
        }
    }
    list(&mut out, "Assumed", &sheet.quay.assumed);
    list(&mut out, "Rests on", &sheet.rests_on);
    list(&mut out, "Caution", &sheet.cautions);
    out
}

fn list(out: &mut String, title: &str, told: &[impl AsRef<str>]) {
    if told.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{title}");
    for one in told {
        for (i, row) in wrap(one.as_ref(), WIDTH - 2).iter().enumerate() {
            let _ = writeln!(out, "{}{row}", if i == 0 { "- " } else { "  " });
        }
    }
}

struct Widths {
    id: usize,
    band: usize,
}

impl Widths {
    fn of(sheet: &Dockside) -> Widths {
        let bands = sheet.steps.iter().filter_map(|s| {
            let expected = s.expected.as_ref().ok()?;
            Some(band(expected, s.unit).chars().count())
        });
        Widths {
            id: sheet
                .steps
                .iter()
                .map(|s| s.id.chars().count())
                .max()
                .unwrap_or(0),
            band: bands.max().unwrap_or(0).max(12),
        }
    }
}

fn row(out: &mut String, step: &Step, widths: &Widths, found: Option<(Found, Option<f64>)>) {
    let told = match &step.expected {
        Ok(expected) => band(expected, step.unit),
        Err(_) => "unknown".to_owned(),
    };
    let boxed = match found {
        None => "[        ] [    ]".to_owned(),
        Some((found, reading)) => {
            let reading = reading.map_or_else(String::new, |r| dockside_value(r, step.unit));
            let word = match found {
                Found::Within => "within",
                Found::Off => "OFF",
                Found::NotTaken => "not taken",
                Found::NothingExpected => "nothing to hold it against",
            };
            format!("{reading:<12} {word}")
        }
    };
    let _ = writeln!(
        out,
        "  {:<id$}  {told:<band$}  {boxed}",
        step.id,
        id = widths.id,
        band = widths.band
    );
    let mut what = format!("{} {}", step.subject, step.what);
    if let Err(why) = &step.expected {
        what.push_str(&format!("; unknown: {why}"));
    }
    for row in wrap(&what, WIDTH - 6) {
        let _ = writeln!(out, "      {row}");
    }
}

fn verdict(out: &mut String, line: &Line, sheet: &Dockside, judged: &QuayJudged) {
    let count = |found: Found| judged.found.iter().filter(|(f, _)| *f == found).count();
    let _ = writeln!(
        out,
        "\n{} within, {} off, {} not taken, {} with nothing to hold it against",
        count(Found::Within),
        count(Found::Off),
        count(Found::NotTaken),
        count(Found::NothingExpected)
    );
    let off = sheet.steps.iter().zip(&judged.found);
    for (step, (_, reading)) in off.filter(|(_, (found, _))| *found == Found::Off) {
        let expected = step.expected.as_ref().ok();
        let _ = writeln!(
            out,
            "  OFF  {}: {} instead of {}",
            step.id,
            reading.map_or_else(String::new, |r| dockside_value(r, step.unit)),
            expected.map_or_else(String::new, |e| band(e, step.unit))
        );
    }
    if let Some(ranking) = &judged.ranking {
        faults(out, line, ranking);
    }
}

fn faults(out: &mut String, line: &Line, ranking: &Ranking) {
    let _ = writeln!(
        out,
        "\nLikeliest single faults by {} electric readings (chi-square left; less is better)",
        ranking.readings
    );
    let said = if ranking.calls_for_none() {
        Some("The electric readings call for no fault: with none they fit as well, within their spread.".to_owned())
    } else if ranking.unexplained() {
        Some(format!(
            "No single fault explains the readings: of lines with the likeliest one {} would read further off. Several at once, a misreading, or another plan than this one; these are not told apart here.",
            match ranking.share_further_off {
                s if s < 1e-6 => "less than 0.0001 %".to_owned(),
                s => show_share(s),
            }
        ))
    } else {
        None
    };
    for row in said.iter().flat_map(|said| wrap(said, WIDTH - 2)) {
        let _ = writeln!(out, "  {row}");
    }
    let of = |class: &[usize]| ranking.candidates[class[0]].criterion;
    let best = ranking.candidates.first().map_or(0.0, |c| c.criterion);
    let (near, far): (Vec<_>, Vec<_>) = ranking
        .classes
        .iter()
        .partition(|class| of(class.as_slice()) <= best + TOLD_WITHIN);
    for (c, class) in near.iter().take(TOLD_CLASSES).enumerate() {
        for (i, &member) in class.iter().take(TOLD_MEMBERS).enumerate() {
            let candidate: &Candidate = &ranking.candidates[member];
            let told = format!(
                "{} ({:.1})",
                fault_words(line, candidate),
                candidate.chi_square
            );
            let label = label(c, i);
            for (r, row) in wrap(&told, WIDTH - 8).iter().enumerate() {
                let before = if r == 0 { label.as_str() } else { "" };
                let _ = writeln!(out, "  {before:<3}  {row}");
            }
        }
        if class.len() > TOLD_MEMBERS {
            let _ = writeln!(
                out,
                "       and {} more that read alike",
                class.len() - TOLD_MEMBERS
            );
        }
    }
    if let Some(next) = far.first().map(|class| &ranking.candidates[class[0]]) {
        let _ = writeln!(
            out,
            "  Every other leaves {:.0} or more.",
            next.chi_square.floor()
        );
    }
    if let Some(further) = &ranking.further {
        let dimension = probe_dimension(further.probe);
        let mut told: Vec<(String, Vec<String>)> = Vec::new();
        for (i, value) in further.predicted.iter().enumerate() {
            let Some(value) = value.map(|v| show(v, dimension)) else {
                continue;
            };
            match told.iter_mut().find(|(held, _)| *held == value) {
                Some((_, labels)) => labels.push(label(0, i)),
                None => told.push((value, vec![label(0, i)])),
            }
        }
        let told: Vec<String> = told
            .iter()
            .map(|(value, labels)| format!("{value} by {}", labels.join(", ")))
            .collect();
        let told = format!(
            "Read next: {}. It would be {}.",
            probe_words(line, further.probe),
            told.join("; ")
        );
        for row in wrap(&told, WIDTH - 2) {
            let _ = writeln!(out, "  {row}");
        }
    } else if ranking.classes.first().is_some_and(|c| c.len() > 1) && !ranking.calls_for_none() {
        let told = format!(
            "No voltage, current or loop resistance tells those of the first class apart by {ALIKE} deviations: open the contacts and look, or change one part at a time."
        );
        for row in wrap(&told, WIDTH - 2) {
            let _ = writeln!(out, "  {row}");
        }
    }
}

/// A fault of a class, as `1a`.
fn label(class: usize, member: usize) -> String {
    let letter = char::from(b'a' + u8::try_from(member.min(25)).unwrap_or(25));
    format!("{}{letter}", class + 1)
}

/// What somebody wrote in the box of a step, as it stands there.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// The reading; empty where none was taken.
    pub reading: String,
    /// Its unit.
    pub unit: String,
    /// Who read it.
    pub initials: String,
    /// What was noted beside it.
    pub note: String,
}

/// An empty file of readings with the steps of the sheet: `step,reading,unit,initials,note`.
#[must_use]
pub fn dockside_csv(sheet: &Dockside) -> String {
    readings_csv(sheet, &BTreeMap::new())
}

/// The same with what is written in the boxes of steps, by their ids. Where nothing is noted beside a step the note is what is expected of it.
#[must_use]
pub fn readings_csv(sheet: &Dockside, written: &BTreeMap<String, Written>) -> String {
    let body = sheet.steps.iter().map(|step| {
        let of = written.get(&step.id).cloned().unwrap_or_default();
        let or = |own: String, usual: &dyn Fn() -> String| match own.is_empty() {
            true => usual(),
            false => own,
        };
        let expected = || match &step.expected {
            Ok(expected) => format!("expected {}", band(expected, step.unit)),
            Err(_) => "expected: unknown".to_owned(),
        };
        [
            step.id.clone(),
            of.reading,
            or(of.unit, &|| step.unit.to_owned()),
            of.initials,
            or(of.note, &expected),
        ]
    });
    rows(&["step", "reading", "unit", "initials", "note"], body)
}
