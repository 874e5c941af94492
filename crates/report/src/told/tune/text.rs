//! A tuned detector as text.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chance::{DAY_DRAWS, DAYS_SEED, FEWEST_DAYS, LEAST_OF_DAY_S, LimitsFrom};
use hearing::{Choice, Limited, Outcome, Parts};
use quantity::{Dimension, show};

use super::super::check::wrap;
use super::super::words::count;
use super::{Allowance, Judged, Tuned, matched_words};

/// Events and labels that are told one by one in the text.
const TOLD: usize = 12;
const HOURS_PER_DAY: f64 = 24.0;
const WIDTH: usize = 110;

/// The figures at the threshold of the plan, the operating curve, and the threshold that keeps the allowance.
#[must_use]
pub fn tune_text(tuned: &Tuned) -> String {
    let mut out = format!("{}\n\n", tuned.name);
    let curve = &tuned.curve;
    let _ = writeln!(out, "detector.{} on {}", tuned.detector, tuned.sensor);
    let heard = format!(
        "{}, {} heard; for {} of it the detector could decide{}",
        count(tuned.recordings, "recording"),
        show(curve.heard_s, Dimension::Time),
        show(curve.judged_s, Dimension::Time),
        if tuned.settling_s > 0.0 {
            format!(
                " (not while its background fills, nor in the first {} after a begin)",
                show(tuned.settling_s, Dimension::Time)
            )
        } else {
            String::new()
        }
    );
    paragraph(&mut out, &heard);
    let kinds = match tuned.what.as_slice() {
        [] => String::new(),
        what => format!(" ({})", what.join(", ")),
    };
    let labelled = format!(
        "{} of {}{kinds}, matched {}{}",
        count(curve.labelled as usize, "label"),
        tuned.labels,
        matched_words(tuned.rule),
        match tuned.set_aside.as_slice() {
            [] => String::new(),
            lines => format!(
                "; {} set aside, because less than half of the sound could be heard: {}",
                lines.len(),
                listed(lines)
            ),
        }
    );
    paragraph(&mut out, &labelled);
    own_threshold(&mut out, tuned);
    table(&mut out, tuned);
    if let Some(allowance) = &tuned.allowance {
        allowed(&mut out, tuned, allowance);
    }
    if let Some(judged) = &tuned.judgement {
        told_judgement(&mut out, tuned, judged);
    }
    out
}

fn own_threshold(out: &mut String, tuned: &Tuned) {
    let point = tuned.own();
    let _ = writeln!(
        out,
        "\nAt the threshold of the plan, {:.1} {}",
        tuned.shown_db(point),
        tuned.unit
    );
    let counts = point.counts;
    match point.recall {
        Some(recall) => {
            let _ = writeln!(
                out,
                "  recall      {}  {} of {}",
                percent(recall),
                counts.hits,
                count(tuned.curve.labelled as usize, "label")
            );
        }
        None => {
            let _ = writeln!(out, "  recall      unknown: there is no label that counts");
        }
    }
    match point.precision {
        Some(precision) => {
            let found = (counts.hits + counts.false_alarms) as usize;
            let _ = writeln!(
                out,
                "  precision   {}  {} of {}",
                percent(precision),
                counts.hits,
                count(found, "event")
            );
        }
        None => {
            let _ = writeln!(out, "  precision   unknown: there is no event");
        }
    }
    if let Some(f1) = point.f1 {
        let _ = writeln!(out, "  F1          {f1:.3}");
    }
    if let Some(rate) = point.false_alarms_per_h {
        let _ = writeln!(
            out,
            "  false alarms an hour  {}  {} in {}",
            plain(rate),
            counts.false_alarms,
            show(tuned.curve.judged_s, Dimension::Time)
        );
    }
    let _ = writeln!(
        out,
        "  in brackets the exact limits, two-sided at {}",
        show(tuned.curve.confidence, Dimension::Ratio)
    );
    paragraph(out, &limits_words(tuned.curve.alarm_limits()));
    if !tuned.missed.is_empty() {
        let missed = format!("missed: {}", listed(&tuned.missed));
        paragraph(out, &missed);
    }
    false_alarms(out, tuned);
}

/// What the limits of false alarms rest on.
fn limits_words(from: LimitsFrom) -> String {
    match from {
        LimitsFrom::Days(days) => format!(
            "of false alarms: {days} days of UTC drawn whole {DAY_DRAWS} times (seed {DAYS_SEED}), since they come in bursts"
        ),
        LimitsFrom::FewDays(days) => format!(
            "of false alarms: each taken as single, since {} of which {} or more was judged {} too few to draw days whole ({FEWEST_DAYS} are needed); where they come in bursts the limits are wider, and `check` takes what they keep as unknown",
            if days == 1 { "1 day".to_owned() } else { format!("{days} days") },
            show(LEAST_OF_DAY_S, Dimension::Time),
            if days == 1 { "is" } else { "are" },
        ),
        LimitsFrom::NoDays => "of false alarms: each taken as single, since recordings without a time cannot be put in days; where they come in bursts the limits are wider, and `check` takes them as unknown (name recordings by when they begin, or give --start)".to_owned(),
    }
}

fn false_alarms(out: &mut String, tuned: &Tuned) {
    let mut on: BTreeMap<&str, u64> = BTreeMap::new();
    let mut alarms = Vec::new();
    for event in &tuned.events {
        if let Outcome::FalseAlarm { on: kind } = &event.outcome {
            if let Some(kind) = kind {
                *on.entry(kind).or_default() += 1;
            }
            alarms.push(event);
        }
    }
    let Some(first) = alarms.first() else { return };
    let mut told = String::from("false alarms:");
    let mut recording = first.recording.as_str();
    let _ = write!(told, " {recording} at");
    for (i, event) in alarms.iter().take(TOLD).enumerate() {
        if event.recording != recording {
            recording = &event.recording;
            let _ = write!(told, "; {recording} at");
        } else if i > 0 {
            told.push(',');
        }
        let _ = write!(told, " {:.2} s", event.begin_s);
    }
    if alarms.len() > TOLD {
        let _ = write!(told, " and {} more (--format json)", alarms.len() - TOLD);
    }
    paragraph(out, &told);
    for (kind, alarms) in on {
        let _ = writeln!(out, "  {alarms} of them where `{kind}` is labelled");
    }
}

/// The curve; thresholds beside each other that give the same counts are one row.
fn table(out: &mut String, tuned: &Tuned) {
    let _ = writeln!(
        out,
        "\n{:>15}  {:>6} {:>6} {:>6}  {:<22} {:<22} {:<26} {:>5}",
        "threshold dB",
        "found",
        "missed",
        "false",
        "recall %",
        "precision %",
        "false alarms an hour",
        "F1"
    );
    let points = &tuned.curve.points;
    let chosen = tuned.chosen();
    let mut first = 0;
    while first < points.len() {
        let point = &points[first];
        let own_row = |i: usize| i == tuned.own || Some(i) == chosen;
        let mut last = first;
        while last + 1 < points.len()
            && points[last + 1].counts == point.counts
            && !own_row(first)
            && !own_row(last + 1)
        {
            last += 1;
        }
        let low = format!("{:.1}", tuned.shown_db(point));
        let span = if last > first {
            format!("{low} to {:.1}", tuned.shown_db(&points[last]))
        } else {
            low
        };
        let mark = match (first == tuned.own, Some(first) == chosen) {
            (true, true) => "  plan, chosen",
            (true, false) => "  plan",
            (false, true) => "  chosen",
            (false, false) => "",
        };
        let counts = point.counts;
        let row = format!(
            "{span:>15}  {:>6} {:>6} {:>6}  {:<22} {:<22} {:<26} {:>5}{mark}",
            counts.hits,
            tuned.curve.labelled - counts.hits,
            counts.false_alarms,
            point.recall.map_or_else(|| "-".to_owned(), percent),
            point.precision.map_or_else(|| "-".to_owned(), percent),
            point
                .false_alarms_per_h
                .map_or_else(|| "-".to_owned(), plain),
            point
                .f1
                .map_or_else(|| "-".to_owned(), |f1| format!("{f1:.3}")),
        );
        let _ = writeln!(out, "{}", row.trim_end());
        first = last + 1;
    }
    if let Some(best) = tuned.curve.highest_f1() {
        let point = &points[best];
        let _ = writeln!(
            out,
            "the highest F1 is {:.3}, at {:.1} dB",
            point.f1.unwrap_or(f64::NAN),
            tuned.shown_db(point)
        );
    }
}

fn allowed(out: &mut String, tuned: &Tuned, allowance: &Allowance) {
    let _ = writeln!(out, "\nAllowance: {} a day", words_of(allowance.per_day));
    for from in &allowance.from {
        paragraph(out, from);
    }
    let judged = show(tuned.curve.judged_s, Dimension::Time);
    let told = match allowance.choice {
        Choice::Threshold(i) => {
            let point = &tuned.curve.points[i];
            let high = point.false_alarms_per_h.map_or(f64::NAN, |r| r.high);
            let found = point
                .recall
                .map_or_else(String::new, |r| format!("; recall there is {}", percent(r)));
            format!(
                "{:.1} {} keeps it, and finds most of those that do: the upper limit is {} false alarms a day{found}. It was chosen on these recordings and looks a little better on them than it is: hold it against others.",
                tuned.shown_db(point),
                tuned.unit,
                short(high * HOURS_PER_DAY),
            )
        }
        Choice::TooShort { needed_s } => format!(
            "the recordings are too short to show it: in {judged} even no false alarm at all shows only fewer than {} a day; it takes {} without a single one",
            short(allowance.per_day * needed_s / tuned.curve.judged_s),
            show(needed_s, Dimension::Time),
        ),
        Choice::NothingAllowed => "nothing is left for false alarms, so no threshold keeps it: give fewer real events (--real), or a plan that lets more through".to_owned(),
        Choice::NoneKeepsIt => {
            let last = tuned.curve.points.last();
            let high = last
                .and_then(|p| p.false_alarms_per_h)
                .map_or(f64::NAN, |r| r.high);
            format!(
                "no threshold that was tried keeps it: at the highest, {:.1} dB, the upper limit is still {} a day; try higher ones (--highest), or longer recordings",
                last.map_or(f64::NAN, |p| tuned.shown_db(p)),
                short(high * HOURS_PER_DAY)
            )
        }
    };
    paragraph(out, &told);
}

fn told_judgement(out: &mut String, tuned: &Tuned, judged: &Judged) {
    let judgement = match &judged.fitted {
        Ok(judgement) => judgement,
        Err(why) => {
            let _ = writeln!(out, "\nNo judgement was fitted");
            paragraph(out, &why.to_string());
            return;
        }
    };
    let parts = match judgement.parts {
        Parts::Recordings(n) => format!("parted by recording into {n}"),
        Parts::Blocks(n) => format!("parted into {n} blocks of time"),
    };
    let _ = writeln!(
        out,
        "\nA judgement of the finished event, fitted on {} hits and {} false alarms",
        judgement.hits, judgement.false_alarms
    );
    paragraph(
        out,
        &format!(
            "figures are of events that it had not seen ({parts}); at the threshold of the plan, without a judgement before it; ridge {}",
            short(judged.ridge)
        ),
    );
    let _ = writeln!(
        out,
        "{:>9}  {:>6} {:>6}  {:<22} {:<22} {:<26} {:>5}",
        "likely %", "found", "false", "recall %", "precision %", "false alarms an hour", "F1"
    );
    for (tried, p) in judgement.tried.iter().zip(&judged.points) {
        let row = format!(
            "{:>9.0}  {:>6} {:>6}  {:<22} {:<22} {:<26} {:>5}",
            100.0 * tried.least,
            tried.hits,
            tried.false_alarms,
            p.recall.map_or_else(|| "-".to_owned(), percent),
            p.precision.map_or_else(|| "-".to_owned(), percent),
            p.false_alarms_per_h.map_or_else(|| "-".to_owned(), plain),
            p.f1.map_or_else(|| "-".to_owned(), |f1| format!("{f1:.3}")),
        );
        let _ = writeln!(out, "{}", row.trim_end());
    }
    let _ = writeln!(
        out,
        "the last stage of detector.{}; the stage before it then confirms at-end:\n  {},",
        tuned.detector,
        Judged::stage(judgement)
    );
}

/// A paragraph set in by two.
fn paragraph(out: &mut String, text: &str) {
    for (row, line) in wrap(text, WIDTH - 4).iter().enumerate() {
        let _ = writeln!(out, "{}{line}", if row == 0 { "  " } else { "    " });
    }
}

/// Lines of the file of labels.
fn listed(lines: &[usize]) -> String {
    let first: Vec<String> = lines.iter().take(TOLD).map(ToString::to_string).collect();
    let word = if lines.len() == 1 { "line" } else { "lines" };
    let more = lines.len().saturating_sub(TOLD);
    let more = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    format!("{word} {}{more}", first.join(", "))
}

fn percent(limited: Limited) -> String {
    format!(
        "{:.1} ({:.1} to {:.1})",
        100.0 * limited.value,
        100.0 * limited.low,
        100.0 * limited.high
    )
}

fn plain(limited: Limited) -> String {
    format!(
        "{} ({} to {})",
        short(limited.value),
        short(limited.low),
        short(limited.high)
    )
}

fn words_of(alarms: f64) -> String {
    let word = if alarms == 1.0 {
        "false alarm"
    } else {
        "false alarms"
    };
    format!("{} {word}", short(alarms))
}

/// Three digits, of small numbers as many decimals as they need.
pub(crate) fn short(value: f64) -> String {
    let text = match value {
        v if v >= 1e9 => format!("{v:.2e}"),
        v if v >= 100.0 => format!("{v:.0}"),
        v if v >= 10.0 => format!("{v:.1}"),
        v if v >= 1.0 => format!("{v:.2}"),
        v if v >= 0.001 || v == 0.0 => format!("{v:.3}"),
        v => format!("{v:.1e}"),
    };
    match text.split_once('.') {
        Some((_, decimals)) if !decimals.contains('e') => {
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        _ => text,
    }
}
