//! The verdicts of a plan, for people and for programs.

use std::fmt::Write as _;

use assess::{Assumption, Check, Evidence, Figure, Judged, Ruling, Tier, Verdict, WATCH, Word};
use plan::{Mistake, Must, Site, Sources};
use serde_json::{Map, Value, json};

use super::depths::depths_json;
use super::figures::in_a_row;
use super::in_draws::{draws_in_words, draws_json, stale_draws};
use super::leverage::{BY_LEVERAGE, leverage_in_words};
use super::words;

/// Verdicts of one requirement that are told one by one; a requirement on every module may have many.
pub(crate) const TOLD_EACH: usize = 12;

/// A table of all requirements, the reasons of those that are not met, what was assumed, and cautions.
#[must_use]
pub fn check_text(check: &Check, colour: bool) -> String {
    text(check, None, colour)
}

/// The same with what was assumed in the order of its leverage, and what it moves.
#[must_use]
pub fn check_text_by_leverage(check: &Check, assumed: &[Assumption], colour: bool) -> String {
    text(check, Some(assumed), colour)
}

fn text(check: &Check, by_leverage: Option<&[Assumption]>, colour: bool) -> String {
    let mut out = String::new();
    let name = check.name.as_deref().unwrap_or("a plan without a name");
    let _ = writeln!(out, "{name}\n");
    if let Some(told) = provisional(check) {
        for row in wrap(&told, 108) {
            let _ = writeln!(out, "{row}");
        }
        out.push('\n');
    }
    section(&mut out, &check.requirements, colour);
    if check.requirements.is_empty() && check.errors == 0 {
        out.push_str("  This plan has no requirements: add [requirement.ID] tables.\n");
    }
    let (world, standing) = apart(&check.standing);
    if !world.is_empty() {
        out.push_str("\nLimits on the world: whether the line can police them\n");
        section(&mut out, world, colour);
    }
    if !standing.is_empty() {
        out.push_str("\nChecked in every plan\n");
        section(&mut out, standing, colour);
    }
    let _ = writeln!(out, "\n{}", totals(check));
    if let Some(stale) = stale_draws(check.draws) {
        for row in wrap(stale, 108) {
            let _ = writeln!(out, "{row}");
        }
    }
    list(
        &mut out,
        "Still open: no verdict above answers",
        &check.open,
    );
    match by_leverage {
        Some(assumed) => {
            let told: Vec<String> = assumed.iter().map(leverage_in_words).collect();
            list(&mut out, BY_LEVERAGE, &told);
        }
        None => {
            list(
                &mut out,
                "Assumed, because the plan does not say otherwise",
                &check.assumed,
            );
            if !check.assumed.is_empty() {
                out.push_str(
                    "  `soundline check --assumed` puts first what moves a verdict most.\n",
                );
            }
        }
    }
    if let Some(depths) = &check.depths {
        list(&mut out, "Depths that count", &depths.words);
    }
    let cautions: Vec<String> = check.cautions.iter().map(|c| (*c).to_owned()).collect();
    list(
        &mut out,
        "Cautions (local codes and licensed practice decide)",
        &cautions,
    );
    out
}

/// Limits on the world, and what is checked in every plan.
fn apart(standing: &[Judged]) -> (Vec<&Judged>, Vec<&Judged>) {
    standing.iter().partition(|j| j.id.starts_with(WATCH))
}

/// What a quick check is to be taken for; `None` of a full one.
fn provisional(check: &Check) -> Option<String> {
    match (check.tier, count(check, Word::Provisional)) {
        (Tier::Full, _) => None,
        (Tier::Quick, 0) => Some(
            "QUICK CHECK: nothing rests on years that a full check would count beyond these."
                .to_owned(),
        ),
        (Tier::Quick, some) => Some(format!(
            "QUICK CHECK, PROVISIONAL: {} on fewer years than asked for; `soundline check` without --quick decides.",
            match some {
                1 => "1 requirement rests".to_owned(),
                _ => format!("{some} requirements rest"),
            }
        )),
    }
}

/// What does not hold, each with its worst verdict and with what `change` says would mend it, and the line of totals.
#[must_use]
pub fn check_brief(
    check: &Check,
    colour: bool,
    change: &dyn Fn(&Judged) -> Option<&'static str>,
) -> String {
    let mut out = String::new();
    let mut rows: Vec<&Judged> = check.not_held().collect();
    rows.sort_by_key(|j| j.word());
    for judged in rows {
        row(&mut out, judged, 1, colour);
        let Some(change) = change(judged) else {
            continue;
        };
        for (i, words) in wrap(change, 90).iter().enumerate() {
            let lead = if i == 0 { "change: " } else { "        " };
            let _ = writeln!(out, "           {lead}{words}");
        }
    }
    let _ = writeln!(out, "{}", totals(check));
    out
}

/// How many requirements and standing checks have this ruling.
pub(super) fn count(check: &Check, word: Word) -> usize {
    let all = check.requirements.iter().chain(&check.standing);
    all.filter(|j| j.word() == word).count()
}

/// How many requirements are met, marginal, broken and unknown, and how many mistakes the plan has.
pub(crate) fn totals(check: &Check) -> String {
    let provisional = match (check.tier, count(check, Word::Provisional)) {
        (Tier::Full, 0) => String::new(),
        (_, some) => format!(", {some} provisional"),
    };
    format!(
        "{} met, {} marginal, {} broken, {} unknown{provisional}; the plan has {} and {}",
        count(check, Word::Met),
        count(check, Word::Marginal),
        count(check, Word::Broken),
        count(check, Word::Unknown),
        words::count(check.errors, "error"),
        words::count(check.warnings, "warning"),
    )
}

pub(super) fn list(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{title}");
    for line in lines {
        for (i, row) in wrap(line, 108).iter().enumerate() {
            let _ = writeln!(out, "  {} {row}", if i == 0 { "-" } else { " " });
        }
    }
}

/// Words put into rows of at most `width` characters. What stands between a pair of backticks stays in one row, however long,
/// so that a command can be copied from it.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut rows = vec![String::new()];
    for word in unbroken(text) {
        let row = rows.last_mut().expect("there is always a row");
        if !row.is_empty() && row.chars().count() + 1 + word.chars().count() > width {
            rows.push(word);
        } else {
            if !row.is_empty() {
                row.push(' ');
            }
            row.push_str(&word);
        }
    }
    rows
}

/// The words of a text; a pair of backticks and what stands between them is part of one word.
fn unbroken(text: &str) -> Vec<String> {
    let last = text.rfind('`').unwrap_or(0);
    let mut words = vec![String::new()];
    let mut quoted = false;
    for (at, c) in text.char_indices() {
        if c == '`' {
            quoted = !quoted && at < last;
        }
        let word = words.last_mut().expect("there is always a word");
        if quoted || !c.is_whitespace() {
            word.push(c);
        } else if !word.is_empty() {
            words.push(String::new());
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn section<'j>(out: &mut String, all: impl IntoIterator<Item = &'j Judged>, colour: bool) {
    let mut rows: Vec<&Judged> = all.into_iter().collect();
    rows.sort_by_key(|j| j.word());
    for judged in rows {
        row(out, judged, TOLD_EACH, colour);
    }
}

/// One requirement with at most `most` of its verdicts that are not met.
fn row(out: &mut String, judged: &Judged, most: usize, colour: bool) {
    let must = match judged.must {
        Must::Shall => "shall",
        Must::Should => "should",
    };
    let head = format!("{} ({must}): {}", judged.id, judged.sentence);
    for (i, row) in wrap(&head, 98).iter().enumerate() {
        let _ = match i {
            0 => writeln!(out, "  {}  {row}", word(judged.word(), colour)),
            _ => writeln!(out, "           {row}"),
        };
    }
    if let Some(clause) = &judged.clause {
        let _ = writeln!(out, "           by {clause}");
    }
    if let Some(draws) = &judged.in_draws {
        let _ = writeln!(out, "           {}", draws_in_words(draws));
    }
    // What draws say and what was measured stand beside what is calculated of the plan as it is written, and hide none of its margins.
    let (beside, own): (Vec<&Verdict>, Vec<&Verdict>) = judged
        .verdicts
        .iter()
        .partition(|v| v.is_of_draws() || is_measured(v));
    let mut told = nearest(&own, most);
    told.extend(beside);
    for verdict in &told {
        tell(out, verdict);
    }
    let rest = judged.verdicts.len() - told.len();
    if rest > 0 {
        let _ = writeln!(out, "           and {rest} more, none of them worse");
    }
}

fn is_measured(verdict: &Verdict) -> bool {
    matches!(verdict, Verdict::Known(k) if matches!(k.evidence, Evidence::Measured { .. }))
}

/// The verdicts that are told one by one, at most `most`: of what is met the one closest to its limit is enough, and of one subject in
/// many cases the worst.
pub(crate) fn nearest<'v>(verdicts: &[&'v Verdict], most: usize) -> Vec<&'v Verdict> {
    let met = verdicts.iter().all(|v| v.word() == Word::Met);
    let most = if met { 1 } else { most };
    let mut told: Vec<&Verdict> = Vec::new();
    for verdict in verdicts {
        let again = matches!(verdict, Verdict::Known(_))
            && told.iter().any(|t| t.subject() == verdict.subject());
        let counts = met || verdict.word() != Word::Met;
        if counts && !again && told.len() < most {
            told.push(verdict);
        }
    }
    told
}

pub(super) fn word(word: Word, colour: bool) -> String {
    let padded = format!("{:<7}", word.as_str());
    if !colour {
        return padded;
    }
    let code = match word {
        Word::Met => "32",
        Word::Marginal => "33",
        Word::Broken => "31;1",
        Word::Unknown | Word::Provisional => "35",
    };
    format!("\u{1b}[{code}m{padded}\u{1b}[0m")
}

fn tell(out: &mut String, verdict: &Verdict) {
    match verdict {
        Verdict::Known(k) => {
            let _ = match &k.evidence {
                // Counts of one whole, not a value with room to spare.
                Evidence::Rehearsed { .. } => writeln!(
                    out,
                    "           {}: {:.0} of {:.0} {}",
                    k.subject, k.value.value, k.limit.value, k.value.unit
                ),
                Evidence::Computed { .. }
                | Evidence::Sampled { .. }
                | Evidence::Recorded { .. }
                | Evidence::Attested { .. }
                | Evidence::Measured { .. } => {
                    let head = format!(
                        "{}: {}",
                        k.subject,
                        in_a_row([&k.value, &k.limit, &k.margin])
                    );
                    for (i, row) in wrap(&head, 98).iter().enumerate() {
                        let _ = writeln!(out, "           {}{row}", if i == 0 { "" } else { "  " });
                    }
                    Ok(())
                }
            };
            because(out, &k.why);
        }
        Verdict::Provisional(p) => {
            // More years add to the bad ones and take none away.
            let so_far = match p.so_far {
                Ruling::Broken => "already broken".to_owned(),
                so_far => format!("so far {}", ruling(so_far)),
            };
            let head = format!(
                "{}: {so_far}, {}, by {} of {} years",
                p.subject,
                in_a_row([&p.value, &p.limit, &p.margin]),
                p.counted,
                p.of
            );
            for (i, row) in wrap(&head, 98).iter().enumerate() {
                let _ = writeln!(out, "           {}{row}", if i == 0 { "" } else { "  " });
            }
            because(out, &p.why);
        }
        Verdict::Unknown { subject, why } => {
            for (i, row) in wrap(&format!("{subject}: {why}"), 98).iter().enumerate() {
                let _ = writeln!(out, "           {}{row}", if i == 0 { "" } else { "  " });
            }
        }
    }
}

fn because(out: &mut String, why: &str) {
    for (part, text) in why.lines().enumerate() {
        for (i, row) in wrap(text, if part == 0 { 98 } else { 94 })
            .iter()
            .enumerate()
        {
            let indent = match (part, i) {
                (0, _) => "",
                (_, 0) => "  ",
                _ => "    ",
            };
            let _ = writeln!(out, "             {indent}{row}");
        }
    }
}

fn ruling(ruling: Ruling) -> &'static str {
    match ruling {
        Ruling::Broken => Word::Broken.as_str(),
        Ruling::Marginal => Word::Marginal.as_str(),
        Ruling::Met => Word::Met.as_str(),
    }
}

/// All verdicts as one JSON object; generic values are `{ "value", "unit" }`.
#[must_use]
pub fn check_json(check: &Check, program: &str, mistakes: &[Mistake], sources: &Sources) -> Value {
    let (world, standing) = apart(&check.standing);
    let mut counts = counts_json(check);
    counts["provisional"] = json!(count(check, Word::Provisional));
    json!({
        "format": "verdicts/1",
        "program": program,
        "name": check.name,
        "tier": match check.tier { Tier::Quick => "quick", Tier::Full => "full" },
        "plan_digest": check.plan_digest,
        "source_digest": check.source_digest,
        "status": words::status(check.status()),
        "counts": counts,
        "requirements": check.requirements.iter().map(judged_json).collect::<Vec<_>>(),
        "watches": world.into_iter().map(judged_json).collect::<Vec<_>>(),
        "standing": standing.into_iter().map(judged_json).collect::<Vec<_>>(),
        "draws": words::draws_beside(check.draws),
        "open": check.open,
        "assumed": check.assumed,
        "depths": depths_json(check.depths.as_ref()),
        "cautions": check.cautions,
        "mistakes": mistakes_json(mistakes, sources),
    })
}

pub(super) fn counts_json(check: &Check) -> Value {
    json!({
        "met": count(check, Word::Met),
        "marginal": count(check, Word::Marginal),
        "broken": count(check, Word::Broken),
        "unknown": count(check, Word::Unknown),
    })
}

fn judged_json(judged: &Judged) -> Value {
    let asks: Map<String, Value> = judged
        .asks
        .iter()
        .map(|(key, text)| (key.clone(), json!(text)))
        .collect();
    json!({
        "id": judged.id,
        "must": match judged.must { Must::Shall => "shall", Must::Should => "should" },
        "source": judged.clause,
        "sentence": judged.sentence,
        "asks": asks,
        "ruling": judged.word().as_str(),
        "in_draws": judged.in_draws.as_ref().map(draws_json),
        "verdicts": judged.verdicts.iter().map(verdict_json).collect::<Vec<_>>(),
    })
}

pub(super) fn verdict_json(verdict: &Verdict) -> Value {
    match verdict {
        Verdict::Unknown { subject, why } => {
            json!({ "subject": subject, "ruling": "unknown", "why": why })
        }
        Verdict::Known(k) => {
            let mut told = json!({
                "subject": k.subject,
                "value": figure_json(&k.value),
                "limit": figure_json(&k.limit),
                "margin": figure_json(&k.margin),
                "ruling": verdict.word().as_str(),
                "evidence": evidence_json(&k.evidence),
                "why": k.why,
            });
            if let Some(share) = k.collapse_factor {
                told["collapse_factor"] = json!(share);
            }
            told
        }
        Verdict::Provisional(p) => json!({
            "subject": p.subject,
            "value": figure_json(&p.value),
            "limit": figure_json(&p.limit),
            "margin": figure_json(&p.margin),
            "ruling": verdict.word().as_str(),
            "so_far": { "ruling": ruling(p.so_far), "years": p.counted, "of_years": p.of },
            "why": p.why,
        }),
    }
}

pub(super) fn figure_json(figure: &Figure) -> Value {
    json!({ "value": figure.value, "unit": figure.unit })
}

fn evidence_json(evidence: &Evidence) -> Value {
    match evidence {
        Evidence::Computed { method, inputs } => {
            json!({ "kind": "calculation", "method": method, "inputs": inputs })
        }
        Evidence::Sampled {
            method,
            inputs,
            draws,
            seed,
        } => json!({
            "kind": "sampling", "method": method, "inputs": inputs, "draws": draws, "seed": seed,
        }),
        Evidence::Rehearsed {
            cues,
            plan_digest,
            cues_digest,
            seed,
            result_digest,
        } => json!({
            "kind": "rehearsal", "cues": cues, "plan_digest": plan_digest, "cues_digest": cues_digest, "seed": seed,
            "result_digest": result_digest,
        }),
        Evidence::Attested {
            document,
            by,
            date,
            expires,
        } => json!({
            "kind": "attestation", "document": document, "by": by, "date": date, "expires": expires,
        }),
        Evidence::Measured { document, by, date } => json!({
            "kind": "measurement", "document": document, "by": by, "date": date,
        }),
        Evidence::Recorded {
            detector,
            chain_digest,
            labels,
            labels_digest,
            recordings,
            result_digest,
        } => json!({
            "kind": "recordings", "detector": detector, "chain_digest": chain_digest, "labels": labels,
            "labels_digest": labels_digest, "recordings": recordings, "result_digest": result_digest,
        }),
    }
}

/// Mistakes and warnings of a file, each with its code, its place, what is wrong and how to mend it.
#[must_use]
pub fn mistakes_json(mistakes: &[Mistake], sources: &Sources) -> Vec<Value> {
    mistakes.iter().map(|m| mistake_json(m, sources)).collect()
}

fn mistake_json(mistake: &Mistake, sources: &Sources) -> Value {
    let mut told = json!({
        "code": mistake.code.as_str(),
        "severity": if mistake.is_error() { "error" } else { "warning" },
        "message": mistake.message,
        "label": mistake.label,
        "help": mistake.help,
        "part": mistake.part,
        "related": mistake.related.iter().map(|(site, label)| {
            let mut place = place_json(*site, sources);
            place.insert("label".to_owned(), json!(label));
            place
        }).collect::<Vec<_>>(),
    });
    told.as_object_mut()
        .expect("it was made as an object")
        .extend(place_json(mistake.site, sources));
    told
}

/// Line and column count from 1, bytes from 0; the end is one past the last byte.
pub(super) fn place_json(site: Site, sources: &Sources) -> Map<String, Value> {
    let (line, column) = sources.line_column(site);
    let place = json!({
        "file": sources.get(site.file).path.display().to_string(),
        "line": line,
        "column": column,
        "begin_byte": site.start,
        "end_byte": site.end,
    });
    match place {
        Value::Object(place) => place,
        _ => unreachable!("it was made as an object"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_rows_break_between_words_and_never_in_a_command() {
        let rows = wrap(
            "one two; run `soundline rehearse a.toml b.toml` now, or  three",
            12,
        );
        assert_eq!(
            rows,
            [
                "one two; run",
                "`soundline rehearse a.toml b.toml`",
                "now, or",
                "three"
            ]
        );
        // A backtick without its other half quotes nothing.
        let rows = wrap("`at_most` and a stray ` in it", 9);
        assert_eq!(rows, ["`at_most`", "and a", "stray `", "in it"]);
        assert_eq!(wrap("", 9), [""]);
    }
}
