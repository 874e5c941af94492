//! Whether a part may be added to a line, for people and for programs.

use std::fmt::Write as _;

use assess::{Answer, At, Bind, Figure, Place, Places, Talk, Way};
use quantity::show_share;
use serde_json::{Value, json};

use super::check::{figure_json, list, wrap};
use super::depths::{depths_json, depths_text};
use super::figures::{in_one_unit, shortened, shown};

/// The word for an answer.
fn word(answer: Answer) -> &'static str {
    match answer {
        Answer::MayGo => "may go",
        Answer::MayNot => "may not",
        Answer::Unknown => "unknown",
    }
}

/// A place in words: its name, and for a length along a section what it is cut into or hangs beyond.
pub(crate) fn place_name(place: &Place) -> String {
    let id = &place.site.id;
    match &place.site.way {
        Way::Beyond { neighbour, .. } => format!("{id} beyond module.{neighbour}"),
        Way::Within { span, .. } if *id != format!("span.{span}") => {
            format!("{id} in span.{span}")
        }
        _ => id.clone(),
    }
}

/// One row a place: the verdict, what binds with value, limit and margin, what is left of it, and what leaves least of the others.
#[must_use]
pub fn places_text(found: &Places) -> String {
    let mut out = format!("{}\n\n", found.name);
    let talk = match &found.talk {
        Talk::Unsaid => "nothing is said of what it publishes",
        Talk::Silent => "it publishes nothing",
        Talk::Tables(_) => "with what it is said to publish and to do",
    };
    let _ = writeln!(
        out,
        "May {} be added to this line, as {}; {talk}",
        found.part, found.module
    );
    if found.provisional {
        let _ = writeln!(
            out,
            "PROVISIONAL: what the plan claims of the years of its supplies was left out"
        );
    }
    let common = common(&found.places);
    table(&mut out, &found.places, &common);
    let _ = writeln!(
        out,
        "  A module: beside it, on a stub. A span: in its middle, where it is cut. Left: of the margin without the part."
    );
    list(&mut out, "Of every place", &common);
    if found.depths.is_some() {
        out.push('\n');
    }
    depths_text(&mut out, found.depths.as_ref());
    let count = |answer| found.places.iter().filter(|p| p.answer == answer).count();
    let _ = writeln!(
        out,
        "\n{} places: it may go to {}, may not to {}, unknown of {}",
        found.places.len(),
        count(Answer::MayGo),
        count(Answer::MayNot),
        count(Answer::Unknown)
    );
    let named = |all: &[(String, String, String)]| -> Vec<String> {
        let one = |(id, subject, why): &(String, String, String)| {
            format!("{id}: {subject}: {}", why.lines().next().unwrap_or(""))
        };
        all.iter().map(one).collect()
    };
    list(
        &mut out,
        "Broken without the part, and not held against it",
        &named(&found.broken_already),
    );
    list(
        &mut out,
        "Unknown without the part, and not held against it",
        &named(&found.unknown_already),
    );
    list(
        &mut out,
        "To be proved anew with the part: rests on records of the line as it is",
        &found.anew,
    );
    list(
        &mut out,
        "Not required by the plan, and judged here all the same",
        &found.also_judged,
    );
    list(&mut out, "Not answered here", &found.open);
    list(&mut out, "Assumed", &found.assumed);
    out
}

/// Reasons that are those of every place.
fn common(places: &[Place]) -> Vec<String> {
    let Some((first, others)) = places.split_first() else {
        return Vec::new();
    };
    let told = |p: &Place| p.answer == Answer::Unknown;
    let everywhere = |r: &&String| others.iter().all(|p| told(p) && p.unknown.contains(r));
    let all = first.unknown.iter().filter(everywhere);
    match others {
        [] => Vec::new(),
        _ if !told(first) => Vec::new(),
        _ => all.cloned().collect(),
    }
}

fn table(out: &mut String, places: &[Place], common: &[String]) {
    const HEAD: [&str; 9] = [
        "place",
        "depth",
        "answer",
        "what binds",
        "value",
        "limit",
        "margin",
        "left",
        "then",
    ];
    /// Columns of numbers.
    const RIGHT: [usize; 5] = [1, 4, 5, 6, 7];
    let rows: Vec<[String; 9]> = places.iter().map(row).collect();
    let width = |c: usize| {
        let cells = rows.iter().map(|r| r[c].chars().count());
        cells.chain([HEAD[c].chars().count()]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..HEAD.len()).map(width).collect();
    let line = |cells: &[&str]| {
        let mut told = String::new();
        for (c, (cell, width)) in cells.iter().zip(&widths).enumerate() {
            let _ = match RIGHT.contains(&c) {
                true => write!(told, "  {cell:>width$}"),
                false => write!(told, "  {cell:width$}"),
            };
        }
        told.trim_end().to_owned()
    };
    let _ = writeln!(out, "\n{}", line(&HEAD));
    for (place, cells) in places.iter().zip(&rows) {
        let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
        let _ = writeln!(out, "{}", line(&cells));
        for note in notes(place, common) {
            for (i, row) in wrap(&note, 100).iter().enumerate() {
                let _ = writeln!(out, "      {}{row}", if i == 0 { "" } else { "  " });
            }
        }
    }
}

/// The cells of a place.
fn row(place: &Place) -> [String; 9] {
    let mut cells: [String; 9] = Default::default();
    cells[0] = place_name(place);
    cells[1] = place
        .depth_m
        .map_or_else(String::new, |m| format!("{m:.1} m"));
    cells[2] = word(place.answer).to_owned();
    // Where the part is refused for another reason no limit binds.
    let refused = |bind: &&Bind| place.answer == Answer::MayNot && bind.left >= 0.0;
    if let Some(bind) = place.binds.as_ref().filter(|b| !refused(b)) {
        let known = &bind.known;
        let [value, limit, margin] = in_one_unit([&known.value, &known.limit, &known.margin]);
        cells[3] = match known.subject.as_str() {
            "the line" => bind.requirement.clone(),
            subject => format!("{} of {subject}", bind.requirement),
        };
        let shown = |figure: &Figure| shown(figure, shortened(&figure.unit));
        [cells[4], cells[5], cells[6]] = [shown(&value), shown(&limit), shown(&margin)];
        cells[7] = left(bind);
    }
    if let Some(bind) = place.next.as_ref().filter(|b| !refused(b)) {
        cells[8] = format!("{} {}", bind.requirement, left(bind))
            .trim_end()
            .to_owned();
    }
    cells
}

/// What binds, in words, with its value and its limit.
pub(crate) fn bound_words(bind: &Bind) -> String {
    let known = &bind.known;
    let [value, limit, _] = in_one_unit([&known.value, &known.limit, &known.margin]);
    let shown = |figure: &Figure| shown(figure, shortened(&figure.unit));
    format!(
        "{} of {} {}, limit {}",
        bind.requirement,
        known.subject,
        shown(&value),
        shown(&limit)
    )
}

/// What is told below the row of a place.
fn notes(place: &Place, common: &[String]) -> Vec<String> {
    let mut told = place.refused.clone();
    // Where something is broken, what is unknown follows from it.
    if place.answer == Answer::Unknown {
        let own = place.unknown.iter().filter(|r| !common.contains(r));
        told.extend(own.cloned());
    }
    for (id, subject) in &place.should {
        told.push(format!("breaks what should hold: {id}: {subject}"));
    }
    told
}

/// What is left; nothing is told of what had nothing left.
fn left(bind: &Bind) -> String {
    match bind.left.is_finite() {
        true if bind.left == 1.0 => "all".to_owned(),
        true => show_share(bind.left),
        false => String::new(),
    }
}

/// The same as one JSON object.
#[must_use]
pub fn places_json(found: &Places) -> Value {
    let three = |all: &[(String, String, String)]| -> Vec<Value> {
        let one = |(id, subject, why): &(String, String, String)| json!({ "requirement": id, "subject": subject, "why": why });
        all.iter().map(one).collect()
    };
    let two = |all: &[(String, String)]| -> Vec<Value> {
        let one =
            |(id, subject): &(String, String)| json!({ "requirement": id, "subject": subject });
        all.iter().map(one).collect()
    };
    json!({
        "format": "places/1",
        "name": found.name,
        "part": found.part,
        "module": found.module,
        "publishes": match &found.talk {
            Talk::Unsaid => "unsaid",
            Talk::Silent => "nothing",
            Talk::Tables(_) => "tables",
        },
        "tables": match &found.talk {
            Talk::Tables(tables) => Some(tables),
            _ => None,
        },
        "provisional": found.provisional,
        "depths": depths_json(found.depths.as_ref()),
        "places": found.places.iter().map(|p| json!({
            "id": p.site.id,
            "way": way_json(&p.site.way),
            "position": match &p.site.position {
                At::Section { id, from_top_m } => json!({ "section": id, "from_top_m": from_top_m }),
                At::Depth(depth_m) => json!({ "depth_m": depth_m }),
            },
            "depth_m": p.depth_m,
            "answer": match p.answer {
                Answer::MayGo => "may-go",
                Answer::MayNot => "may-not",
                Answer::Unknown => "unknown",
            },
            "refused": p.refused,
            "unknown": p.unknown,
            "binds": p.binds.as_ref().map(bind_json),
            "next": p.next.as_ref().map(bind_json),
            "worse": two(&p.worse),
            "breaks_should": two(&p.should),
        })).collect::<Vec<_>>(),
        "broken_already": three(&found.broken_already),
        "unknown_already": three(&found.unknown_already),
        "to_prove_anew": found.anew,
        "also_judged": found.also_judged,
        "open": found.open,
        "assumed": found.assumed,
    })
}

fn way_json(way: &Way) -> Value {
    match way {
        Way::Beside { neighbour, like } => {
            json!({ "kind": "beside", "module": neighbour, "cable_of": like })
        }
        Way::Beyond { neighbour, like } => {
            json!({ "kind": "beyond", "module": neighbour, "cable_of": like })
        }
        Way::Within {
            span,
            share,
            lengths_m,
            ..
        } => json!({ "kind": "within", "span": span, "share": share, "lengths_m": lengths_m }),
    }
}

fn bind_json(bind: &Bind) -> Value {
    json!({
        "requirement": bind.requirement,
        "subject": bind.known.subject,
        "value": figure_json(&bind.known.value),
        "limit": figure_json(&bind.known.limit),
        "margin": figure_json(&bind.known.margin),
        "margin_before": bind.margin_before,
        "left": bind.left.is_finite().then_some(bind.left),
        "why": bind.known.why,
    })
}
