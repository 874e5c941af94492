//! Hours of hearing of a line, for people and for programs.

use std::fmt::Write as _;

use assess::{
    CauseKnown, CauseTold, EarHours, HealthAshore, HealthField, HearingShares, ListeningHours,
    ModuleHealth, Tenths,
};
use network::FieldKind;
use quantity::{Dimension, Money, SECONDS_PER_DAY, show, show_number};
use serde_json::{Value, json};

use super::check::{list, wrap};
use super::json::money_json;
use crate::calendar::MONTHS;

/// Width of the words beside figures.
const WORDS: usize = 78;

/// For each hydrophone the months, the longest time without, and what each cause takes; so many at once; what was assumed.
///
/// With `health` also what each module may say of its own health.
#[must_use]
pub fn hours_text(name: &str, hours: &ListeningHours, health: Option<&[ModuleHealth]>) -> String {
    let mut out = String::new();
    let years = match &hours.weather_file {
        None => format!("{} generated years, seed {}", hours.years, hours.seed),
        Some(path) => format!("{} measured years of {path}", hours.years),
    };
    let _ = writeln!(out, "{name}\n\nHours of hearing over {years}\n");
    for ear in &hours.ears {
        ear_text(&mut out, hours, ear);
    }
    if !hours.at_once.is_empty() {
        let _ = writeln!(
            out,
            "Hydrophones at once: share of the hours{}, %, in the lowest tenth of the years, the middle and the highest tenth\n",
            match hours.ears.iter().any(|e| !e.unknown.is_empty()) {
                true => " at most",
                false => "",
            }
        );
        let _ = writeln!(
            out,
            "  at least      the year                 worst month              longest without, h"
        );
        for once in &hours.at_once {
            let heard = &once.heard;
            let month = heard.worst_month;
            let _ = writeln!(
                out,
                "  {:>3} of {:<3}  {}   {} {}   {:>7.1} in the middle year, {:.1} at most",
                once.at_least,
                once.of,
                tenths(&heard.whole),
                MONTHS[month],
                tenths(&heard.months[month]),
                heard.gap_h.p50,
                heard.longest_gap_h
            );
        }
        let _ = writeln!(out);
    }
    if hours.ears.iter().any(|e| !e.unknown.is_empty()) {
        let _ = writeln!(
            out,
            "Where a cause is unknown, what is heard is at most what is told.\n"
        );
    }
    if let Some(health) = health {
        for module in health {
            health_text(&mut out, module);
        }
    }
    list(&mut out, "Assumed", &hours.assumed);
    out
}

/// A message on the health of a module, ready to be written into the plan, with what it costs.
fn health_text(out: &mut String, module: &ModuleHealth) {
    let cost = match (&module.topic, module.bytes_a_day) {
        (Some(topic), Some(a_day)) => {
            let messages = SECONDS_PER_DAY / topic.every_s;
            format!(
                "{} B, in place of {} B, every {}: {} {} and {} B a day",
                module.bytes,
                topic.bytes,
                show(topic.every_s, Dimension::Time),
                show_number(messages),
                if messages == 1.0 {
                    "message"
                } else {
                    "messages"
                },
                show_number(a_day)
            )
        }
        _ => format!(
            "{} B; it has no heartbeat that would carry it",
            module.bytes
        ),
    };
    let _ = writeln!(out, "{}: its health takes {cost}", module.module);
    for way in &module.ashore {
        let _ = writeln!(out, "  {}", ashore_words(way));
    }
    if let (Some(_), true) = (&module.topic, module.ashore.is_empty()) {
        let _ = writeln!(out, "  it stays on the line: nothing is paid for it");
    }
    if let Some(topic) = &module.topic {
        let _ = writeln!(out, "  [topic.\"{}\"]", topic.name);
    }
    let _ = writeln!(out, "  fields = [");
    for field in &module.fields {
        let carried = if field.carried { "  # carried" } else { "" };
        let _ = writeln!(out, "    {},{carried}", field_words(field));
    }
    let _ = writeln!(out, "  ]\n");
}

/// What each of these messages costs ashore.
fn ashore_words(way: &HealthAshore) -> String {
    let price = |p: &Option<Money>| {
        p.as_ref()
            .map_or_else(|| "more than can be counted".to_owned(), Money::to_string)
    };
    format!(
        "ashore by {}: {} billed {} a month of 30 d, {} (the heartbeat as it is: {}), beside what else goes, without what a month includes or costs at least",
        way.uplink,
        way.billed_a_month,
        if way.billed_a_month == 1 {
            "message"
        } else {
            "messages"
        },
        price(&way.price_a_month),
        price(&way.price_now)
    )
}

/// A field as the plan writes it.
fn field_words(field: &HealthField) -> String {
    match &field.kind {
        FieldKind::Scaled {
            unit,
            from,
            to,
            step,
        } => format!(
            "{{ name = \"{}\", unit = \"{unit}\", from = {}, to = {}, step = {} }}",
            field.name,
            show_number(*from),
            show_number(*to),
            show_number(*step)
        ),
        _ => format!("{{ name = \"{}\", flag = true }}", field.name),
    }
}

fn health_json(module: &ModuleHealth) -> Value {
    json!({
        "module": module.module,
        "topic": module.topic.as_ref().map(|t| json!({
            "topic": t.name, "size_b": t.bytes, "every_s": t.every_s, "goes_ashore": t.goes_ashore,
        })),
        "size_b": module.bytes,
        "messages_per_d": module.messages_a_day,
        "size_b_per_d": module.bytes_a_day,
        "ashore": module.ashore.iter().map(|way| json!({
            "uplink": way.uplink,
            "billed_each": way.billed_each,
            "billed_per_month": way.billed_a_month,
            "price_per_month": way.price_a_month.map(money_json),
            "price_per_month_now": way.price_now.map(money_json),
        })).collect::<Vec<_>>(),
        "fields": module.fields.iter().map(|f| json!({
            "name": f.name,
            "bits": f.bits,
            "carried": f.carried,
            "written": field_words(f),
        })).collect::<Vec<_>>(),
    })
}

fn ear_text(out: &mut String, hours: &ListeningHours, ear: &EarHours) {
    let heard = &ear.heard;
    let most = if ear.unknown.is_empty() {
        ""
    } else {
        "at most "
    };
    let _ = writeln!(
        out,
        "{}: hears {most}{:.1} % of the hours of the middle year\n",
        ear.path,
        100.0 * heard.whole.p50
    );
    let _ = writeln!(
        out,
        "  {:<24} lowest tenth   middle   highest tenth of the years",
        match ear.unknown.is_empty() {
            true => "share of the hours, %",
            false => "at most this share, %",
        }
    );
    let at_least = if ear.unknown.is_empty() {
        ""
    } else {
        "at least "
    };
    for (month, name) in MONTHS.iter().enumerate() {
        let Tenths { p10, p50, p90 } = heard.months[month];
        let wet = if hours.months_in_water.contains(&month) {
            ""
        } else {
            "   not in the water"
        };
        let worst = if month == heard.worst_month {
            "   the worst"
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "    {name}                  {:>12.1}   {:>6.1}   {:>13.1}{worst}{wet}",
            100.0 * p10,
            100.0 * p50,
            100.0 * p90
        );
    }
    let _ = writeln!(
        out,
        "\n  longest without: {at_least}{:.1} h in the middle year, {:.1} h in nine of ten at most, {:.1} h in the worst\n",
        heard.gap_h.p50, heard.gap_h.p90, heard.longest_gap_h
    );
    let _ = writeln!(out, "  cause      by itself   it alone");
    for cause in &ear.causes {
        cause_text(out, cause);
    }
    let beside = match ear.unknown.is_empty() {
        true => String::new(),
        false => format!(
            "                and what is unknown: {}",
            ear.unknown.join(", ")
        ),
    };
    let _ = writeln!(
        out,
        "  together {:>9.2} %{beside}",
        100.0 * (1.0 - heard.mean)
    );
    let _ = writeln!(out);
}

fn cause_text(out: &mut String, cause: &CauseTold) {
    let word = cause.cause.word();
    let (figures, what) = match &cause.known {
        CauseKnown::Asked(what) => (
            format!(
                "{:>9.2} %  {:>7.2} %",
                100.0 * cause.alone,
                100.0 * cause.only
            ),
            what,
        ),
        CauseKnown::Nothing(why) => ("  nothing".to_owned(), why),
        CauseKnown::Unknown(why) => ("  unknown".to_owned(), why),
    };
    for (row, words) in wrap(what, WORDS).iter().enumerate() {
        let (word, figures) = if row == 0 {
            (word, figures.as_str())
        } else {
            ("", "")
        };
        let _ = writeln!(out, "  {word:<8} {figures:<22}  {words}");
    }
}

fn tenths(of: &Tenths) -> String {
    format!(
        "{:>6.1} {:>6.1} {:>6.1}",
        100.0 * of.p10,
        100.0 * of.p50,
        100.0 * of.p90
    )
}

/// All of it; shares lie between 0 and 1.
#[must_use]
pub fn hours_json(name: &str, hours: &ListeningHours, health: Option<&[ModuleHealth]>) -> Value {
    let ears = hours.ears.iter().map(|ear| {
        json!({
            "sensor": ear.path,
            "unknown": ear.unknown,
            "heard": shares_json(&ear.heard),
            "causes": ear.causes.iter().map(|cause| {
                let (known, what) = match &cause.known {
                    CauseKnown::Asked(what) => ("asked", what),
                    CauseKnown::Nothing(what) => ("nothing", what),
                    CauseKnown::Unknown(what) => ("unknown", what),
                };
                json!({
                    "cause": cause.cause.word(),
                    "known": known,
                    "what": what,
                    "alone_share": cause.alone,
                    "only_share": cause.only,
                })
            }).collect::<Vec<_>>(),
            "waves": ear.waved.as_ref().map(|waved| json!({
                "held": waved.held,
                "full_scale_pa": waved.full_scale_pa,
                "high_pass_corner_hz": waved.high_pass.map(|h| h.0),
                "high_pass_poles": waved.high_pass.map(|h| h.1),
                "clips_above_sea_m": Some(waved.clips_above_m()).filter(|m| m.is_finite()),
            })),
        })
    });
    json!({
        "format": "hours/1",
        "name": name,
        "seed": hours.seed,
        "years": hours.years,
        "weather_file": hours.weather_file,
        "months_in_water": hours.months_in_water.iter().map(|m| MONTHS[*m]).collect::<Vec<_>>(),
        "hydrophones": ears.collect::<Vec<_>>(),
        "at_once": hours.at_once.iter().map(|once| json!({
            "at_least": once.at_least,
            "of": once.of,
            "heard": shares_json(&once.heard),
        })).collect::<Vec<_>>(),
        "health": health.map(|all| all.iter().map(health_json).collect::<Vec<_>>()),
        "assumed": hours.assumed,
    })
}

fn shares_json(heard: &HearingShares) -> Value {
    let of = |t: &Tenths| json!({ "p10_share": t.p10, "p50_share": t.p50, "p90_share": t.p90 });
    json!({
        "mean_share": heard.mean,
        "year": of(&heard.whole),
        "months": MONTHS.iter().zip(&heard.months).map(|(name, month)| {
            let mut told = of(month);
            told["month"] = json!(name);
            told
        }).collect::<Vec<_>>(),
        "worst_month": MONTHS[heard.worst_month],
        "longest_gap_h": heard.longest_gap_h,
        "longest_gap_of_years": {
            "p10_h": heard.gap_h.p10, "p50_h": heard.gap_h.p50, "p90_h": heard.gap_h.p90,
        },
    })
}
