//! Two plans held against each other, for people, for programs and for a review.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use assess::{Check, Comparison, Known, Moved, PlanSide, Seen, Verdict, Word};
use plan::Must;
use serde_json::{Value, json};

use super::check::{count, counts_json, totals, verdict_json, wrap};
use super::figures::{in_a_row, in_words};
use super::words;

/// Names of the two plans, as the user gave them.
#[derive(Clone, Copy, Debug)]
pub struct Compared<'a> {
    /// The first.
    pub before: &'a str,
    /// The second.
    pub after: &'a str,
}

/// Rows of margins that are told in text; the document has all.
const TOLD_MARGINS: usize = 20;

/// What changed, what that did to rulings and margins, and how the second plan stands.
#[must_use]
pub fn compare_text(found: &Comparison, names: Compared<'_>) -> String {
    let mut out = format!("{} against {}\n", names.after, names.before);
    out.push_str("\nWhat changed in the plan\n");
    changes(&mut out, found);
    out.push_str("\nVerdicts with another ruling\n");
    if found.moves.rulings.is_empty() {
        out.push_str("  none\n");
    }
    for group in by_reason(&found.moves.rulings) {
        match group {
            Group::One(moved) => ruling(&mut out, moved),
            Group::Same(told, why, all) => same_reason(&mut out, told, names, &why, &all),
        }
    }
    if !found.moves.margins.is_empty() {
        out.push_str(
            "\nMargins that moved, by how often the margin below which they are marginal\n",
        );
    }
    for moved in found.moves.margins.iter().take(TOLD_MARGINS) {
        margin(&mut out, moved);
    }
    let rest = found.moves.margins.len().saturating_sub(TOLD_MARGINS);
    if rest > 0 {
        let _ = writeln!(
            out,
            "  and {} that moved less",
            words::count(rest, "margin")
        );
    }
    let _ = writeln!(
        out,
        "\n{} as they were",
        words::count(found.moves.unchanged, "verdict")
    );
    for (name, check) in [(names.before, &found.before), (names.after, &found.after)] {
        let _ = writeln!(out, "{name}: {}", totals(check));
    }
    let _ = writeln!(
        out,
        "The exit status is that of {}: {}.",
        names.after,
        status_words(&found.after)
    );
    out
}

fn status_words(check: &Check) -> &'static str {
    match words::status(check.status()) {
        "met" => "nothing broken, nothing unknown",
        "broken" => "something is broken",
        "unknown" => "nothing broken, something unknown",
        _ => "it has mistakes",
    }
}

fn changes(out: &mut String, found: &Comparison) {
    let changes = &found.changes;
    if changes.changed.is_empty() && changes.files.is_empty() {
        out.push_str("  nothing that counts\n");
    }
    let mut last = String::new();
    for changed in &changes.changed {
        let (table, key) = table_and_key(&changed.path);
        if table != last {
            let _ = writeln!(out, "  {table}");
            last = table.to_owned();
        }
        let what = match (&changed.from, &changed.to) {
            (Some(from), Some(to)) => format!("{} -> {}", text_of(from), text_of(to)),
            (None, Some(to)) => format!("added: {}", text_of(to)),
            (Some(from), None) => format!("removed: {}", text_of(from)),
            (None, None) => String::new(),
        };
        let place = changed.to.as_ref().or(changed.from.as_ref());
        let place = place.map_or_else(String::new, |s| format!("{}:{}", s.file, s.line));
        let _ = writeln!(out, "    {key}: {what}  ({place})");
        if !changed.reaches.is_empty() {
            for row in wrap(&format!("reaches {}", changed.reaches.join(", ")), 96) {
                let _ = writeln!(out, "      {row}");
            }
        } else if changed.path.starts_with("part.") {
            out.push_str("      nothing uses it\n");
        }
    }
    for path in &changes.files {
        let _ = writeln!(
            out,
            "  {path}: the same name, but the file holds something else"
        );
    }
    if !changes.rewritten.is_empty() {
        let told = format!(
            "written otherwise and the same: {}",
            changes.rewritten.join(", ")
        );
        for row in wrap(&told, 100) {
            let _ = writeln!(out, "  {row}");
        }
    }
}

/// What a value says; one that cannot be read says so.
fn text_of(seen: &Seen) -> String {
    let text = seen.text.split_whitespace().collect::<Vec<_>>().join(" ");
    let text = text.trim_matches('"').to_owned();
    if seen.is_right {
        text
    } else {
        format!("{text} (a mistake)")
    }
}

/// `span.long` and `conductor`: the thing, and its key.
fn table_and_key(path: &str) -> (&str, &str) {
    let after_kind = path.find('.').map_or(path.len(), |i| i + 1);
    let rest = &path[after_kind..];
    let id = plan::first_key(rest).map_or(rest.len(), |(_, after)| rest.len() - after.len());
    match path[after_kind + id..].strip_prefix('.') {
        Some(key) => (&path[..after_kind + id], key),
        // A key of a table that is there once: `site.water_depth`.
        None => match path.split_once('.') {
            Some((table, key)) => (table, key),
            None => ("the plan", path),
        },
    }
}

fn word_of(word: Option<Word>) -> &'static str {
    word.map_or("not there", Word::as_str)
}

fn head(moved: &Moved) -> String {
    let should = match moved.must {
        Must::Shall => "",
        Must::Should => " (should)",
    };
    format!("{}{should}, {}", moved.requirement, about(moved))
}

/// What a verdict is about; of a requirement that moved as a whole how many subjects it has.
fn about(moved: &Moved) -> String {
    match moved.stands_for {
        Some(subjects) => format!("all {subjects} subjects"),
        None => moved.subject.clone(),
    }
}

/// Rulings that moved: one by one, or all that moved for one reason.
enum Group<'m> {
    One(&'m Moved),
    Same(Told, String, Vec<&'m Moved>),
}

/// The plan in which something is unknown.
#[derive(Clone, Copy)]
struct Told(PlanSide);

impl Told {
    fn of(self, names: Compared<'_>) -> &str {
        match self.0 {
            PlanSide::Before => names.before,
            PlanSide::After => names.after,
        }
    }

    /// The verdict of the other plan, with the word before it.
    fn other(self, moved: &Moved) -> (&'static str, Option<&Verdict>) {
        match self.0 {
            PlanSide::Before => ("after", moved.after.as_ref()),
            PlanSide::After => ("before", moved.before.as_ref()),
        }
    }
}

/// Rulings in their order; those that are unknown in one plan for one reason stand together where the first of them stands.
fn by_reason(rulings: &[Moved]) -> Vec<Group<'_>> {
    let mut all: BTreeMap<(PlanSide, String), Vec<&Moved>> = BTreeMap::new();
    for moved in rulings {
        if let Some(reason) = moved.unknown_for() {
            all.entry(reason).or_default().push(moved);
        }
    }
    let mut groups = Vec::new();
    for moved in rulings {
        let Some(reason) = moved.unknown_for() else {
            groups.push(Group::One(moved));
            continue;
        };
        // Taken out where its first stands; the others have been told then.
        match all.remove_entry(&reason) {
            Some((_, alone)) if alone.len() == 1 => groups.push(Group::One(moved)),
            Some(((side, why), same)) => groups.push(Group::Same(Told(side), why, same)),
            None => {}
        }
    }
    groups
}

/// All that moved for one reason, which is told once.
fn same_reason(out: &mut String, told: Told, names: Compared<'_>, why: &str, all: &[&Moved]) {
    let plan = told.of(names);
    let why = why.lines().next().unwrap_or("");
    for (i, row) in wrap(&format!("unknown in {plan}: {why}"), 98)
        .iter()
        .enumerate()
    {
        let _ = writeln!(out, "  {}{row}", if i == 0 { "" } else { "  " });
    }
    for moved in all {
        let (from, to) = moved.words();
        let (lead, other) = told.other(moved);
        let one = format!(
            "{} -> {}: {}; {lead} {}",
            word_of(from),
            word_of(to),
            head(moved),
            of_side(moved, other)
        );
        for (i, row) in wrap(&one, 96).iter().enumerate() {
            let _ = writeln!(out, "      {}{row}", if i == 0 { "" } else { "  " });
        }
    }
}

/// Value, limit and margin.
pub(super) fn figures_of(known: &Known) -> [String; 3] {
    in_words([&known.value, &known.limit, &known.margin])
}

fn side(verdict: Option<&Verdict>) -> String {
    match verdict {
        None => "not there".to_owned(),
        Some(Verdict::Unknown { why, .. }) => why.lines().next().unwrap_or("").to_owned(),
        Some(Verdict::Known(k)) => in_a_row([&k.value, &k.limit, &k.margin]),
        Some(Verdict::Provisional(p)) => {
            format!("provisional: {}", in_a_row([&p.value, &p.limit, &p.margin]))
        }
    }
}

/// What one plan says; of several subjects that of the worst.
fn of_side(moved: &Moved, verdict: Option<&Verdict>) -> String {
    match (moved.stands_for, verdict) {
        (Some(_), Some(known @ (Verdict::Known(_) | Verdict::Provisional(_)))) => {
            format!("{}, the worst: {}", known.subject(), side(verdict))
        }
        _ => side(verdict),
    }
}

fn ruling(out: &mut String, moved: &Moved) {
    let (from, to) = moved.words();
    let _ = writeln!(
        out,
        "  {} -> {}: {}",
        word_of(from),
        word_of(to),
        head(moved)
    );
    for (lead, verdict) in [("before", &moved.before), ("after", &moved.after)] {
        let told = format!("{lead}: {}", of_side(moved, verdict.as_ref()));
        for (i, row) in wrap(&told, 96).iter().enumerate() {
            let _ = writeln!(out, "      {}{row}", if i == 0 { "" } else { "  " });
        }
    }
}

fn margin(out: &mut String, moved: &Moved) {
    let both = match (&moved.before, &moved.after) {
        (Some(Verdict::Known(a)), Some(Verdict::Known(b))) => {
            let ([_, old_limit, before], [_, new_limit, after]) = (figures_of(a), figures_of(b));
            let limit = if old_limit == new_limit {
                String::new()
            } else {
                format!("; the limit {old_limit} -> {new_limit}")
            };
            format!("margin {before} -> {after}{limit}")
        }
        _ => String::new(),
    };
    let by = moved
        .by
        .map_or_else(|| "     ?".to_owned(), |by| format!("{by:+6.2}"));
    let _ = writeln!(
        out,
        "  {by}  {:<8} {}: {both}",
        word_of(moved.words().1),
        head(moved)
    );
}

/// The same as Markdown, for a review.
#[must_use]
pub fn compare_markdown(found: &Comparison, names: Compared<'_>) -> String {
    let cell = |text: &str| text.replace('|', "\\|").replace('\n', " ");
    let mut out = format!(
        "## {} against {}\n\n### What changed in the plan\n\n",
        cell(names.after),
        cell(names.before)
    );
    let changes = &found.changes;
    if changes.changed.is_empty() && changes.files.is_empty() {
        out.push_str("Nothing that counts.\n");
    } else {
        out.push_str("| key | before | after | where | reaches |\n|---|---|---|---|---|\n");
    }
    for changed in &changes.changed {
        let seen = |s: &Option<Seen>| s.as_ref().map_or_else(|| "-".to_owned(), text_of);
        let place = changed.to.as_ref().or(changed.from.as_ref());
        let place = place.map_or_else(String::new, |s| format!("{}:{}", s.file, s.line));
        let _ = writeln!(
            out,
            "| `{}` | {} | {} | {} | {} |",
            cell(&changed.path),
            cell(&seen(&changed.from)),
            cell(&seen(&changed.to)),
            cell(&place),
            cell(&changed.reaches.join(", "))
        );
    }
    for path in &changes.files {
        let _ = writeln!(
            out,
            "| `{}` | the file | holds something else | | |",
            cell(path)
        );
    }
    if !changes.rewritten.is_empty() {
        let _ = writeln!(
            out,
            "\n{} written otherwise, with the same meaning.",
            words::count(changes.rewritten.len(), "key")
        );
    }
    out.push_str("\n### What that did\n\n");
    let rows: Vec<&Moved> = found
        .moves
        .rulings
        .iter()
        .chain(&found.moves.margins)
        .collect();
    if rows.is_empty() {
        out.push_str("No ruling and no margin moved.\n");
    } else {
        out.push_str("| requirement | about | before | after | margin before | margin after | moved by |\n|---|---|---|---|---|---|---|\n");
    }
    for moved in rows {
        let (from, to) = moved.words();
        let margin = |v: &Option<Verdict>| match v {
            Some(Verdict::Known(k)) => figures_of(k)[2].clone(),
            _ => "-".to_owned(),
        };
        let ruled = |w: Option<Word>| match w {
            Some(word) if from != to => format!("**{}**", word.as_str()),
            other => word_of(other).to_owned(),
        };
        let _ = writeln!(
            out,
            "| {} | {} | {} | {} | {} | {} | {} |",
            cell(&moved.requirement),
            cell(&about(moved)),
            ruled(from),
            ruled(to),
            cell(&margin(&moved.before)),
            cell(&margin(&moved.after)),
            moved
                .by
                .map_or_else(|| "-".to_owned(), |by| format!("{by:+.2}"))
        );
    }
    for group in by_reason(&found.moves.rulings) {
        if let Group::Same(told, why, all) = group {
            let mut ids: Vec<String> = all.iter().map(|m| cell(&m.requirement)).collect();
            ids.dedup();
            let why = cell(why.lines().next().unwrap_or(""));
            let plan = cell(told.of(names));
            let _ = writeln!(out, "\nUnknown in {plan}: {why}: {}.", ids.join(", "));
        }
    }
    let _ = writeln!(
        out,
        "\n{} as they were. \"Moved by\" counts margins below which a verdict is marginal.\n",
        words::count(found.moves.unchanged, "verdict")
    );
    out.push_str("| plan | met | marginal | broken | unknown |\n|---|---|---|---|---|\n");
    for (name, check) in [(names.before, &found.before), (names.after, &found.after)] {
        let _ = write!(out, "| {} ", cell(name));
        for word in [Word::Met, Word::Marginal, Word::Broken, Word::Unknown] {
            let _ = write!(out, "| {} ", count(check, word));
        }
        out.push_str("|\n");
    }
    out
}

/// The same as one JSON object.
#[must_use]
pub fn compare_json(found: &Comparison, names: Compared<'_>) -> Value {
    let plan = |path: &str, check: &Check| {
        json!({
            "path": path,
            "name": check.name,
            "plan_digest": check.plan_digest,
            "source_digest": check.source_digest,
            "status": words::status(check.status()),
            "counts": counts_json(check),
        })
    };
    let seen = |s: &Option<Seen>| {
        s.as_ref().map(
            |s| json!({ "text": s.text, "mistake": !s.is_right, "file": s.file, "line": s.line }),
        )
    };
    json!({
        "format": "compare/1",
        "before": plan(names.before, &found.before),
        "after": plan(names.after, &found.after),
        "changed": found.changes.changed.iter().map(|c| json!({
            "path": c.path, "from": seen(&c.from), "to": seen(&c.to), "reaches": c.reaches,
        })).collect::<Vec<_>>(),
        "rewritten": found.changes.rewritten,
        "files": found.changes.files,
        "rulings": found.moves.rulings.iter().map(moved_json).collect::<Vec<_>>(),
        "margins": found.moves.margins.iter().map(moved_json).collect::<Vec<_>>(),
        "unchanged": found.moves.unchanged,
    })
}

pub(super) fn moved_json(moved: &Moved) -> Value {
    json!({
        "requirement": moved.requirement,
        "must": match moved.must { Must::Shall => "shall", Must::Should => "should" },
        "subject": moved.subject,
        "stands_for": moved.stands_for,
        "before": moved.before.as_ref().map(verdict_json),
        "after": moved.after.as_ref().map(verdict_json),
        "margin_moved_by": moved.by,
    })
}

/// Rulings by word and how many of each, of the moves beside one requirement.
pub(super) fn beside<'m>(rulings: &'m [Moved], id: &str) -> BTreeMap<&'m str, Vec<&'m Moved>> {
    let mut all: BTreeMap<&str, Vec<&Moved>> = BTreeMap::new();
    for moved in rulings.iter().filter(|m| m.requirement != id) {
        all.entry(moved.requirement.as_str())
            .or_default()
            .push(moved);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::table_and_key;

    #[test]
    fn verif_paths_part_into_a_table_and_a_key() {
        for (path, table, key) in [
            ("span.long.conductor", "span.long", "conductor"),
            (
                "topic.\"alert/call\".at_most",
                "topic.\"alert/call\"",
                "at_most",
            ),
            (
                "detector.a.stages[1].hold_off",
                "detector.a",
                "stages[1].hold_off",
            ),
            ("site.water_depth", "site", "water_depth"),
            ("site.profile[0].depth", "site", "profile[0].depth"),
            ("format", "the plan", "format"),
        ] {
            assert_eq!(table_and_key(path), (table, key), "{path}");
        }
    }
}
