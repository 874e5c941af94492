//! What would mend a plan, for people and for programs.

use std::fmt::Write as _;

use assess::{Heard, HeardCounts, Known, Mended, Moved, Remedies, Remedy, Turned, Verdict, Word};
use plan::{Edit, Must, splice};
use quantity::{Dimension, Money, show};
use serde_json::{Value, json};

use super::check::{figure_json, verdict_json, wrap};
use super::compare::{beside, figures_of, moved_json};
use super::figures::in_a_row;
use super::words;

/// Remedies of one requirement that are told in text; the document has all.
const TOLD: usize = 12;

/// A row for each remedy: the change with its place, what the requirement then is, what else moves, and the cost.
#[must_use]
pub fn remedy_text(found: &Remedies) -> String {
    let each: String = found.mended.iter().map(remedies_of_one).collect();
    format!("{}\n{each}{}", found.name, remedy_end(found))
}

/// The part of [`remedy_text`] that is about one requirement.
#[must_use]
pub fn remedies_of_one(mended: &Mended) -> String {
    let mut out = String::new();
    one(&mut out, mended);
    out
}

/// What stands below all requirements in [`remedy_text`].
#[must_use]
pub fn remedy_end(found: &Remedies) -> String {
    let draws = match found.by_draws.as_slice() {
        [] => String::new(),
        ids => format!(
            "\nBroken by the share of draws alone, against which no change is tried: {}. `soundline check --certainty` names the values that move it most.\n",
            ids.join(", ")
        ),
    };
    let end = if found.mended.is_empty() && found.by_draws.is_empty() {
        "\nNothing that was asked about is broken or just met: there is nothing to mend.\n"
    } else if found.mended.iter().any(|m| !m.remedies.is_empty()) {
        "\nSmallest first: cheapest where the plan says a cost, else by the least ratio of new to old; what breaks something else last.\nTo write one into the plan: --apply with its number.\n"
    } else {
        ""
    };
    draws + end
}

fn one(out: &mut String, mended: &Mended) {
    let judged = &mended.judged;
    let must = match judged.must {
        Must::Shall => "shall",
        Must::Should => "should",
    };
    let head = format!("{} ({must}): {}", judged.id, judged.sentence);
    out.push('\n');
    for (i, row) in wrap(&head, 98).iter().enumerate() {
        let lead = if i == 0 { judged.word().as_str() } else { "" };
        let _ = writeln!(out, "{lead:<9}{row}");
    }
    if let Some(verdict) = judged.verdicts.first() {
        let _ = writeln!(out, "         {}", verdict_row(verdict));
    }
    for remedy in mended.remedies.iter().take(TOLD) {
        told(out, mended, remedy);
    }
    let currencies = mended.currencies();
    if currencies.len() > 1 {
        let _ = writeln!(
            out,
            "\n  costs in {} are not compared: those of one currency stand together, cheapest first",
            currencies.join(" and ")
        );
    }
    let rest = mended.remedies.len().saturating_sub(TOLD);
    if rest > 0 {
        let _ = writeln!(out, "\n  and {rest} more, larger");
    }
    let pairs = if mended.in_pairs {
        ", one by one and in pairs"
    } else {
        ", one by one"
    };
    let (knobs, plans) = mended.tried;
    let looked = format!(
        "{} tried{pairs}; {} judged",
        words::count(knobs, "change"),
        words::count(plans, "plan")
    );
    let _ = writeln!(out, "\n  {looked}");
    if mended.remedies.is_empty() {
        out.push_str("  Nothing that was tried mends it.\n");
        for sweep in &mended.nearest {
            let _ = writeln!(
                out,
                "    {} = {} brings the least margin from {:.2} to {:.2} times the one below which it is marginal",
                sweep.paths.join(" and "),
                sweep.to,
                mended.least,
                sweep.least
            );
        }
    }
    for short in &mended.falls_short {
        for row in wrap(short, 96) {
            let _ = writeln!(out, "    {row}");
        }
    }
}

/// `module.lower: 12 V, limit 16 V, margin -4 V`.
pub(super) fn verdict_row(verdict: &Verdict) -> String {
    match verdict {
        Verdict::Known(k) => known_row(k),
        Verdict::Unknown { .. } | Verdict::Provisional(_) => {
            let why = verdict.why().lines().next().unwrap_or("");
            format!("{}: {why}", verdict.subject())
        }
    }
}

fn known_row(known: &Known) -> String {
    let figures = in_a_row([&known.value, &known.limit, &known.margin]);
    format!("{}: {figures}", known.subject)
}

fn turned_row(turned: &Turned) -> String {
    let from = match &turned.from {
        Some(from) => format!("{from} -> "),
        None => "new: ".to_owned(),
    };
    let place = match &turned.place {
        Some((file, line)) if turned.overrides_part => {
            format!("a new key over the part at {file}:{line}")
        }
        Some((file, line)) => format!("{file}:{line}"),
        None => "a new key".to_owned(),
    };
    format!("{}: {from}{}  ({place})", turned.path, turned.to)
}

fn told(out: &mut String, mended: &Mended, remedy: &Remedy) {
    out.push('\n');
    for (i, turned) in remedy.turned.iter().enumerate() {
        let lead = if i == 0 {
            format!("({})", remedy.number)
        } else {
            "and".to_owned()
        };
        let _ = writeln!(out, "  {lead:<5}{}", turned_row(turned));
    }
    let cost = cost_of(remedy);
    let _ = writeln!(
        out,
        "       {}: {}{cost}",
        remedy.word.as_str(),
        verdict_row(&remedy.verdict)
    );
    if let Some(share) = remedy.carries {
        let percent = (1000.0 * share).floor() / 10.0;
        let _ = writeln!(
            out,
            "       the line then carries {percent} % of its load before it collapses"
        );
    }
    if let Some(why) = marginal_for(remedy) {
        for row in wrap(why, 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
    if let Some((subject, why)) = remedy.still_unknown.first() {
        let more = match remedy.still_unknown.len() - 1 {
            0 => String::new(),
            n => format!("; so do {n} more"),
        };
        let said = format!(
            "{subject} stays unknown, so that {} is not met as a whole: {}{more}",
            mended.judged.id,
            why.lines().next().unwrap_or("")
        );
        for row in wrap(&said, 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
    for heard in &remedy.heard {
        for row in wrap(&heard_row(heard), 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
    for (requirement, subject, word) in &remedy.breaks {
        let mut rulings = remedy.moves.rulings.iter();
        let moved = rulings.find(|m| m.requirement == *requirement && m.subject == *subject);
        let figures = match moved.and_then(|m| m.after.as_ref()) {
            Some(Verdict::Known(known)) => {
                format!(
                    ", {}",
                    in_a_row([&known.value, &known.limit, &known.margin])
                )
            }
            Some(Verdict::Unknown { .. } | Verdict::Provisional(_)) | None => String::new(),
        };
        let said = format!(
            "BREAKS {requirement}, {subject}: {}{figures}",
            word.as_str()
        );
        for row in wrap(&said, 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
    beside_it(out, mended, remedy);
    if !remedy.stays_broken.is_empty() {
        let said = format!("stays broken beside it: {}", remedy.stays_broken.join(", "));
        for row in wrap(&said, 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
    let less = remedy
        .moves
        .margins
        .iter()
        .filter(|m| m.requirement != mended.judged.id && m.by.is_some_and(|by| by < 0.0));
    // A loss below the digits that are told is none.
    let less: Vec<&Moved> = less.filter(|m| is_seen(m)).collect();
    if let Some(most) = less.first()
        && let (Some(Verdict::Known(a)), Some(Verdict::Known(b))) = (&most.before, &most.after)
    {
        let rest = match less.len() - 1 {
            0 => String::new(),
            n => format!("; {n} more lose less"),
        };
        let _ = writeln!(
            out,
            "       takes from {}, {}: margin {} -> {}{rest}",
            most.requirement,
            most.subject,
            figures_of(a)[2],
            figures_of(b)[2]
        );
    }
}

/// Whether a margin that moves is another in the digits that are told.
fn is_seen(moved: &Moved) -> bool {
    match (&moved.before, &moved.after) {
        (Some(Verdict::Known(a)), Some(Verdict::Known(b))) => figures_of(a)[2] != figures_of(b)[2],
        _ => true,
    }
}

/// What becomes of other requirements with a remedy: of each as a whole first, of a subject where the whole has the word that it had.
fn beside_it(out: &mut String, mended: &Mended, remedy: &Remedy) {
    let word = |w: Option<Word>| w.map_or("not there", Word::as_str);
    let broken = |m: &Moved| {
        let of = |(r, s): (&String, &String)| *r == m.requirement && *s == m.subject;
        let mut breaks = remedy.breaks.iter().map(|(r, s, _)| (r, s));
        breaks.any(of) || remedy.still_broken.iter().map(|(r, s)| (r, s)).any(of)
    };
    for (requirement, moves) in beside(&remedy.moves.rulings, &mended.judged.id) {
        let whole = remedy.wholes.iter().find(|w| w.requirement == requirement);
        let told: Vec<&&Moved> = moves.iter().filter(|m| !broken(m)).collect();
        let still = remedy
            .still_broken
            .iter()
            .find(|(r, _)| r == requirement)
            .map(|(_, subject)| moves.iter().find(|m| m.subject == *subject));
        if remedy.breaks.iter().any(|(r, ..)| r == requirement) {
            // That says more than the words of its other subjects.
            continue;
        }
        let said = if remedy.anew.iter().any(|a| a == requirement) {
            format!("{requirement}: its evidence has to be made anew")
        } else if let Some(moved) = still {
            let figures = match moved.and_then(|m| m.after.as_ref()) {
                Some(Verdict::Known(known)) => format!(", {}", known_row(known)),
                _ => String::new(),
            };
            format!("{requirement} is still broken{figures}")
        } else if let Some(first) = told.first() {
            let (mut from, mut to) = first.words();
            let mut subject = format!(", {}", first.subject);
            if let Some(whole) = whole
                && (whole.before, whole.after) != (from, to)
            {
                (from, to) = (whole.before, whole.after);
                subject = " as a whole".to_owned();
            }
            format!(
                "also {requirement}{subject}: {} -> {}",
                word(from),
                word(to)
            )
        } else {
            continue;
        };
        for row in wrap(&said, 98) {
            let _ = writeln!(out, "       {row}");
        }
    }
}

/// What a detector misses and how often it cries wolf with its threshold moved, and as it is.
fn heard_row(heard: &Heard) -> String {
    let counted = |c: &HeardCounts| {
        format!(
            "it misses {} of {} labels of {} and tells {} in {}",
            c.missed,
            c.labelled,
            c.labels,
            match c.false_alarms {
                1 => "1 false alarm".to_owned(),
                n => format!("{n} false alarms"),
            },
            show(c.judged_s, Dimension::Time)
        )
    };
    let told = |counts: &Result<Vec<HeardCounts>, String>| match counts {
        Ok(counts) => counts.iter().map(counted).collect::<Vec<_>>().join(", "),
        Err(why) => format!("what it misses and how often it cries wolf is unknown ({why})"),
    };
    format!(
        "{} with its threshold moved: {}; as it is: {}",
        heard.detector,
        told(&heard.then),
        told(&heard.now)
    )
}

fn heard_json(heard: &Heard) -> Value {
    let told = |counts: &Result<Vec<HeardCounts>, String>| match counts {
        Ok(counts) => json!({ "records": counts.iter().map(|c| json!({
            "labels": c.labels, "missed": c.missed, "labelled": c.labelled,
            "false_alarms": c.false_alarms, "judged_s": c.judged_s,
        })).collect::<Vec<_>>() }),
        Err(why) => json!({ "unknown": why }),
    };
    json!({ "detector": heard.detector, "now": told(&heard.now), "then": told(&heard.then) })
}

/// `; costs 420.00 EUR`, or of what costs are known those, and that the rest is not.
fn cost_of(remedy: &Remedy) -> String {
    if let Some(whole) = remedy.cost {
        return format!("; costs {whole}");
    }
    let known: Vec<String> = remedy
        .costs
        .iter()
        .flatten()
        .map(ToString::to_string)
        .collect();
    let rest = match remedy.costs.len() - known.len() {
        _ if known.is_empty() => return String::new(),
        0 => "",
        _ => " and what the other change costs, which the plan does not say",
    };
    format!("; costs {}{rest}", known.join(" and "))
}

/// Why a verdict is marginal although its margin is not small.
fn marginal_for(remedy: &Remedy) -> Option<&str> {
    let Verdict::Known(known) = &remedy.verdict else {
        return None;
    };
    let small = known.margin.value < known.narrow;
    let mut said = known.why.split("; ").filter(|s| s.starts_with("marginal"));
    said.next()
        .filter(|_| remedy.word == Word::Marginal && !small)
}

/// The lines of a text that edits change, each with its number in the text as it was: `-` as it was, `+` as it is.
#[must_use]
pub fn difference(file: &str, text: &str, edits: &[Edit]) -> String {
    let mut sorted: Vec<&Edit> = edits.iter().collect();
    sorted.sort_by_key(|e| (e.range.start, e.range.end));
    let line_start = |at: usize| text[..at].rfind('\n').map_or(0, |i| i + 1);
    let line_end = |at: usize| text[at..].find('\n').map_or(text.len(), |i| at + i + 1);
    let mut blocks: Vec<(usize, usize, Vec<Edit>)> = Vec::new();
    for edit in sorted {
        let (start, end) = (line_start(edit.range.start), line_end(edit.range.end));
        match blocks.last_mut() {
            Some((_, last, edits)) if start < *last => {
                *last = end.max(*last);
                edits.push(edit.clone());
            }
            _ => blocks.push((start, end, vec![edit.clone()])),
        }
    }
    let mut out = String::new();
    for (start, end, edits) in blocks {
        let moved: Vec<Edit> = edits
            .into_iter()
            .map(|e| Edit {
                range: e.range.start - start..e.range.end - start,
                text: e.text,
            })
            .collect();
        let old = &text[start..end];
        let Ok(new) = splice(old, &moved) else {
            continue;
        };
        let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
        let same_head = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
        let (old, new) = (&old[same_head..], &new[same_head..]);
        let backwards = old.iter().rev().zip(new.iter().rev());
        let same_tail = backwards.take_while(|(a, b)| a == b).count();
        let number = text[..start].matches('\n').count() + same_head + 1;
        let _ = writeln!(out, "{file}:{number}");
        for line in &old[..old.len() - same_tail] {
            let _ = writeln!(out, "- {line}");
        }
        for line in &new[..new.len() - same_tail] {
            let _ = writeln!(out, "+ {line}");
        }
    }
    out
}

/// The same as one JSON object, but for what the command applied.
#[must_use]
pub fn remedy_json(found: &Remedies) -> Value {
    json!({
        "format": "remedy/1",
        "name": found.name,
        "status": words::status(found.status),
        "broken_by_draws": found.by_draws,
        "requirements": found.mended.iter().map(mended_json).collect::<Vec<_>>(),
    })
}

fn mended_json(mended: &Mended) -> Value {
    json!({
        "id": mended.judged.id,
        "must": match mended.judged.must { Must::Shall => "shall", Must::Should => "should" },
        "sentence": mended.judged.sentence,
        "ruling": mended.judged.word().as_str(),
        "verdicts": mended.judged.verdicts.iter().map(verdict_json).collect::<Vec<_>>(),
        "remedies": mended.remedies.iter().map(one_json).collect::<Vec<_>>(),
        "changes_tried": mended.tried.0,
        "plans_judged": mended.tried.1,
        "in_pairs": mended.in_pairs,
        "falls_short": mended.falls_short,
        "nearest": mended.nearest.iter().map(|s| json!({
            "keys": s.paths, "to": s.to, "ruling": s.word.as_str(), "least_margin_in_marginal_margins": finite(s.least),
        })).collect::<Vec<_>>(),
    })
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

fn one_json(remedy: &Remedy) -> Value {
    let figure = |c: Money| {
        let unit = String::from_utf8_lossy(&c.currency).into_owned();
        c.major()
            .map(|value| figure_json(&assess::Figure { value, unit }))
    };
    let costs = remedy.costs.iter().map(|c| c.and_then(figure));
    let costs: Vec<Option<Value>> = costs.collect();
    json!({
        "number": remedy.number,
        "declared": remedy.declared,
        "sets": remedy.turned.iter().map(|t| json!({
            "path": t.path, "from": t.from, "to": t.to,
            "file": t.place.as_ref().map(|p| &p.0), "line": t.place.as_ref().map(|p| p.1),
            "overrides_part": t.overrides_part,
        })).collect::<Vec<_>>(),
        "cost": remedy.cost.and_then(figure),
        "costs": costs,
        "collapse_factor": remedy.carries,
        "size": remedy.size,
        "ruling": if remedy.still_unknown.is_empty() { remedy.word } else { Word::Unknown }.as_str(),
        "ruling_of_what_is_known": remedy.word.as_str(),
        "still_unknown": remedy.still_unknown.iter().map(|(subject, why)| json!({ "subject": subject, "why": why })).collect::<Vec<_>>(),
        "verdict": verdict_json(&remedy.verdict),
        "breaks": remedy.breaks.iter().map(|(requirement, subject, word)| json!({
            "requirement": requirement, "subject": subject, "ruling": word.as_str(),
        })).collect::<Vec<_>>(),
        "still_broken": remedy.still_broken.iter().map(|(requirement, subject)| json!({
            "requirement": requirement, "subject": subject,
        })).collect::<Vec<_>>(),
        "stays_broken": remedy.stays_broken,
        "wholes": remedy.wholes.iter().map(|w| json!({
            "requirement": w.requirement,
            "before": w.before.map(Word::as_str), "after": w.after.map(Word::as_str),
        })).collect::<Vec<_>>(),
        "evidence_anew": remedy.anew,
        "thresholds_moved": remedy.heard.iter().map(heard_json).collect::<Vec<_>>(),
        "rulings": remedy.moves.rulings.iter().map(moved_json).collect::<Vec<_>>(),
        "margins": remedy.moves.margins.iter().map(moved_json).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    /// Written by hand.
    #[test]
    fn verif_a_difference_shows_the_lines_that_change() {
        let edit = |from: &str, to: &str, text: &str| {
            let start = text.find(from).unwrap();
            Edit {
                range: start..start + from.len(),
                text: to.to_owned(),
            }
        };
        let text = "a = 1\nb = 2 # two\nc = 3\n";
        let edits = [edit("2", "5", text), edit("b", "d", text)];
        assert_eq!(
            difference("p", text, &edits),
            "p:2\n- b = 2 # two\n+ d = 5 # two\n"
        );
        let put_in = [Edit {
            range: 6..6,
            text: "n = 9\n".to_owned(),
        }];
        assert_eq!(difference("p", text, &put_in), "p:2\n+ n = 9\n");
    }

    /// A margin that is less by what no digit shows takes nothing from anybody.
    #[test]
    fn verif_a_loss_below_the_digits_that_are_told_is_none() {
        let text = include_str!("../../../assess/tests/integration/small.toml");
        let fetch = |_: &Path| Ok(text.as_bytes().to_vec());
        let reading = plan::read(Path::new("plan.toml"), &fetch);
        let check = assess::check(&reading, &assess::Shelf::default());
        let all = check.requirements.iter().chain(&check.standing);
        let (judged, before) = all
            .flat_map(|j| j.verdicts.iter().map(move |v| (j, v)))
            .find(|(_, v)| matches!(v, Verdict::Known(k) if k.margin.value > 1.0))
            .unwrap();
        let less = |by: f64| {
            let mut after = before.clone();
            if let Verdict::Known(known) = &mut after {
                known.margin.value *= 1.0 - by;
            }
            Moved {
                requirement: judged.id.clone(),
                must: judged.must,
                subject: before.subject().to_owned(),
                stands_for: None,
                before: Some(before.clone()),
                after: Some(after),
                by: Some(-by),
            }
        };
        assert!(!is_seen(&less(1e-9)));
        assert!(is_seen(&less(0.1)));
    }
}
