//! How a detector does against labels, for people and for programs.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use detect::Rule;
use hearing::{Choice, Curve, JudgeError, Judgement, Limited, Outcome, Parts, Point};
use quantity::{Dimension, show};
use serde_json::{Value, json};

use super::check::wrap;
use super::words::count;

/// Events and labels that are told one by one in the text.
const TOLD: usize = 12;
const HOURS_PER_DAY: f64 = 24.0;
const WIDTH: usize = 110;

/// What came of tuning one detector.
#[derive(Debug, Clone)]
pub struct Tuned {
    /// Name of the deployment.
    pub name: String,
    /// Id of the detector.
    pub detector: String,
    /// Typed path of its sensor.
    pub sensor: String,
    /// What its threshold is measured in.
    pub unit: &'static str,
    /// What is taken from a threshold of the curve to tell it in that unit, dB.
    pub offset_db: f64,
    /// The operating curve.
    pub curve: Curve,
    /// Index of the threshold of the plan.
    pub own: usize,
    /// The file of labels.
    pub labels: String,
    /// Kinds of labels that were chosen; empty for all.
    pub what: Vec<String>,
    /// How events and labels are matched.
    pub rule: Rule,
    /// Recordings that were heard.
    pub recordings: usize,
    /// Time after each begin that does not count, s.
    pub settling_s: f64,
    /// Lines of labels that do not count, because the detector could not hear there.
    pub set_aside: Vec<usize>,
    /// Lines of labels that were missed at the threshold of the plan.
    pub missed: Vec<usize>,
    /// Events at the threshold of the plan.
    pub events: Vec<TunedEvent>,
    /// The allowance of false alarms, where there is one.
    pub allowance: Option<Allowance>,
    /// A judgement of the finished event, where one was asked for.
    pub judgement: Option<Judged>,
}

/// An event at the threshold of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct TunedEvent {
    /// The recording in which it begins.
    pub recording: String,
    /// Begin, s of that recording.
    pub begin_s: f64,
    /// End, likewise.
    pub end_s: f64,
    /// Greatest excess, dB.
    pub score_db: f64,
    /// What it turned out to be.
    pub outcome: Outcome,
}

/// How many false alarms are allowed, and which threshold keeps to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Allowance {
    /// False alarms a day.
    pub per_day: f64,
    /// Where that comes from, line by line.
    pub from: Vec<String>,
    /// What keeps to it.
    pub choice: Choice,
}

/// A judgement that was fitted, and how it did on events that it had not seen.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The judgement, or why there is none.
    pub fitted: Result<Judgement, JudgeError>,
    /// The ridge.
    pub ridge: f64,
    /// Share of labels found and rate of false alarms with it, by least probability, from the events that it had not seen.
    pub points: Vec<Point>,
}

/// The least probability that the stage is written with.
const LIKELY: f64 = 0.5;

impl Judged {
    /// The stage as the plan writes it.
    fn stage(judgement: &Judgement) -> String {
        let number = |x: f64| {
            let rounded: f64 = format!("{x:.5e}").parse().unwrap_or(x);
            // TOML needs a digit after the point of a number that is none but whole.
            format!("{rounded:?}")
        };
        let weights = judgement.features.iter().zip(&judgement.model.weights);
        let weights: Vec<String> = weights
            .map(|(feature, weight)| format!("{} = {}", feature.name(), number(*weight)))
            .collect();
        format!(
            "{{ likely = \"{:.0} %\", constant = {}, weights = {{ {} }} }}",
            100.0 * LIKELY,
            number(judgement.model.constant),
            weights.join(", ")
        )
    }
}

impl Tuned {
    fn shown_db(&self, point: &Point) -> f64 {
        point.threshold_db - self.offset_db
    }

    fn own(&self) -> &Point {
        &self.curve.points[self.own]
    }

    /// Index of the threshold that keeps the allowance.
    pub(crate) fn chosen(&self) -> Option<usize> {
        match self.allowance.as_ref()?.choice {
            Choice::Threshold(i) => Some(i),
            Choice::TooShort { .. } | Choice::NoneKeepsIt => None,
        }
    }
}

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
    if !tuned.missed.is_empty() {
        let missed = format!("missed: {}", listed(&tuned.missed));
        paragraph(out, &missed);
    }
    false_alarms(out, tuned);
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

/// How events and labels are matched, in words.
#[must_use]
pub fn matched_words(rule: Rule) -> String {
    match rule {
        Rule::Overlap { least_s } if least_s > 0.0 => {
            format!("by more than {} in common", show(least_s, Dimension::Time))
        }
        Rule::Overlap { .. } => "by overlap".to_owned(),
        Rule::Begin { within_s } => format!(
            "by begins at most {} apart",
            show(within_s, Dimension::Time)
        ),
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

/// The same as one JSON object.
#[must_use]
pub fn tune_json(tuned: &Tuned) -> Value {
    let curve = &tuned.curve;
    let limited =
        |l: Option<Limited>| l.map(|l| json!({ "value": l.value, "low": l.low, "high": l.high }));
    let rate = |l: Option<Limited>| {
        l.map(|l| json!({ "value_per_h": l.value, "low_per_h": l.low, "high_per_h": l.high }))
    };
    let point = |p: &Point| {
        json!({
            "threshold_db": tuned.shown_db(p),
            "hits": p.counts.hits,
            "missed": curve.labelled - p.counts.hits,
            "false_alarms": p.counts.false_alarms,
            "recall": limited(p.recall),
            "precision": limited(p.precision),
            "f1": p.f1,
            "false_alarm_rate": rate(p.false_alarms_per_h),
        })
    };
    let allowance = tuned.allowance.as_ref().map(|a| {
        let (word, threshold_db, needed_s) = match a.choice {
            Choice::Threshold(i) => ("kept", Some(tuned.shown_db(&curve.points[i])), None),
            Choice::TooShort { needed_s } => ("too-short", None, Some(needed_s)),
            Choice::NoneKeepsIt => ("not-kept", None, None),
        };
        json!({
            "false_alarms_per_d": a.per_day,
            "from": a.from,
            "word": word,
            "threshold_db": threshold_db,
            "needed_s": needed_s,
        })
    });
    let (matched_by, within_s) = match tuned.rule {
        Rule::Overlap { least_s } => ("overlap", least_s),
        Rule::Begin { within_s } => ("begin", within_s),
    };
    json!({
        "format": "tune/1",
        "name": tuned.name,
        "detector": tuned.detector,
        "sensor": tuned.sensor,
        "threshold_reference": tuned.unit,
        "threshold_db": tuned.shown_db(tuned.own()),
        "labels": tuned.labels,
        "what": tuned.what,
        "matched_by": matched_by,
        "within_s": within_s,
        "settling_s": tuned.settling_s,
        "confidence": curve.confidence,
        "recordings": tuned.recordings,
        "heard_s": curve.heard_s,
        "judged_s": curve.judged_s,
        "labelled": curve.labelled,
        "set_aside_lines": tuned.set_aside,
        "missed_lines": tuned.missed,
        "events": tuned.events.iter().map(|event| {
            let (word, line, on) = match &event.outcome {
                Outcome::Hit { line } => ("hit", Some(*line), None),
                Outcome::FalseAlarm { on } => ("false-alarm", None, on.clone()),
                Outcome::SetAside => ("set-aside", None, None),
            };
            json!({
                "recording": event.recording,
                "begin_s": event.begin_s,
                "end_s": event.end_s,
                "score_db": event.score_db,
                "word": word,
                "line": line,
                "on": on,
            })
        }).collect::<Vec<_>>(),
        "curve": curve.points.iter().map(point).collect::<Vec<_>>(),
        "highest_f1_threshold_db": curve.highest_f1().map(|i| tuned.shown_db(&curve.points[i])),
        "allowance": allowance,
        "judgement": tuned.judgement.as_ref().map(judgement_json),
    })
}

fn judgement_json(judged: &Judged) -> Value {
    let judgement = match &judged.fitted {
        Ok(judgement) => judgement,
        Err(why) => return json!({ "word": "not-fitted", "why": why.to_string() }),
    };
    let (parted_by, parts) = match judgement.parts {
        Parts::Recordings(n) => ("recording", n),
        Parts::Blocks(n) => ("time", n),
    };
    let weights = judgement.features.iter().zip(&judgement.model.weights);
    json!({
        "word": "fitted",
        "stage_toml": Judged::stage(judgement),
        "constant": judgement.model.constant,
        "weights": weights.map(|(f, w)| json!({ "feature": f.name(), "weight": w })).collect::<Vec<_>>(),
        "ridge": judged.ridge,
        "fitted_on_hits": judgement.hits,
        "fitted_on_false_alarms": judgement.false_alarms,
        "parted_by": parted_by,
        "parts": parts,
        "unseen": judgement.tried.iter().zip(&judged.points).map(|(tried, p)| json!({
            "likely": tried.least,
            "hits": tried.hits,
            "false_alarms": tried.false_alarms,
            "recall": p.recall.map(|l| json!({ "value": l.value, "low": l.low, "high": l.high })),
            "false_alarm_rate": p.false_alarms_per_h.map(|l| json!({
                "value_per_h": l.value, "low_per_h": l.low, "high_per_h": l.high,
            })),
        })).collect::<Vec<_>>(),
    })
}

/// The operating curve as CSV (RFC 4180, line feeds); empty where unknown.
#[must_use]
pub fn tune_csv(tuned: &Tuned) -> String {
    let mut out = String::from(
        "threshold_db,hits,missed,false_alarms,recall,recall_low,recall_high,precision,precision_low,precision_high,f1,false_alarms_per_h,false_alarms_per_h_low,false_alarms_per_h_high\n",
    );
    let three = |l: Option<Limited>| {
        l.map_or_else(
            || ",,".to_owned(),
            |l| format!("{:.6},{:.6},{:.6}", l.value, l.low, l.high),
        )
    };
    for p in &tuned.curve.points {
        let _ = writeln!(
            out,
            "{:.3},{},{},{},{},{},{},{}",
            tuned.shown_db(p),
            p.counts.hits,
            tuned.curve.labelled - p.counts.hits,
            p.counts.false_alarms,
            three(p.recall),
            three(p.precision),
            p.f1.map_or_else(String::new, |f1| format!("{f1:.6}")),
            three(p.false_alarms_per_h),
        );
    }
    out
}
