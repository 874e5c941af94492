//! Faults of a line, for people and for programs.

use std::fmt::Write as _;

use assess::{Acceptance, Faults, FuseSees, LeakKnown, QUAY_DEGC, READ_AFTER_S, ShortKnown};
use quantity::SECONDS_PER_DAY;
use serde_json::{Value, json};

use super::check::{list, wrap};
use super::contacts;

const WIDTH: usize = 108;

/// Shorts, broken spans, poor contacts, leaks and insulation, each as a table; what they rest on; cautions.
#[must_use]
pub fn faults_text(name: &str, faults: &Faults) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{name}\n\nFaults with {} contacts",
        contacts(faults.contacts)
    );
    shorts(&mut out, faults);
    broken(&mut out, faults);
    poor(&mut out, faults);
    leaks(&mut out, faults);
    insulation(&mut out, faults);
    acceptance(&mut out, &faults.acceptance);
    list(&mut out, "What this rests on", &faults.rests_on);
    let cautions: Vec<String> = faults.cautions.iter().map(|c| (*c).to_owned()).collect();
    list(&mut out, "Cautions", &cautions);
    out
}

fn widest<'a>(paths: impl Iterator<Item = &'a str>) -> usize {
    paths.map(str::len).max().unwrap_or(0)
}

/// A row with an open end: what does not fit goes on below it.
fn row(out: &mut String, head: &str, tail: &str) {
    let indent = head.chars().count();
    for (i, part) in wrap(tail, WIDTH.saturating_sub(indent).max(40))
        .iter()
        .enumerate()
    {
        let start = if i == 0 { head } else { "" };
        let line = format!("{start:indent$}{part}");
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

fn shorts(out: &mut String, faults: &Faults) {
    let width = widest(faults.shorts.iter().map(|s| s.place.as_str()));
    let _ = writeln!(
        out,
        "\nA bolted short at\n  {:width$}   current   what sees it; what goes on",
        ""
    );
    for short in &faults.shorts {
        match &short.outcome {
            Ok(known) => row(
                out,
                &format!("  {:width$}  {:>6.2} A   ", short.place, known.current_a),
                &seen(known),
            ),
            Err(why) => row(out, &format!("  {:width$}  unknown    ", short.place), why),
        }
    }
    if faults.fuses.is_empty() {
        let _ = writeln!(out, "  No span has a fuse.");
        return;
    }
    let width = widest(faults.fuses.iter().map(|f| f.span.as_str()));
    let _ = writeln!(out, "\nThe weakest short behind each fuse, all loads off");
    for fuse in &faults.fuses {
        match &fuse.weakest {
            Ok(weakest) => {
                let _ = writeln!(
                    out,
                    "  {:width$}  {:>6.2} A, {:.2} times its {} A, at {}",
                    fuse.span,
                    weakest.sees.current_a,
                    times(&weakest.sees),
                    weakest.sees.rating_a,
                    weakest.place
                );
            }
            Err(why) => row(out, &format!("  {:width$}  unknown    ", fuse.span), why),
        }
    }
}

fn times(fuse: &FuseSees) -> f64 {
    fuse.current_a / fuse.rating_a
}

fn seen(short: &ShortKnown) -> String {
    let mut said = Vec::new();
    match &short.fuse {
        Some(fuse) => said.push(format!(
            "{:.2} times the fuse of {}",
            times(fuse),
            fuse.span
        )),
        None => said.push("no fuse carries it".to_owned()),
    }
    if !short.at_limit.is_empty() {
        said.push(format!(
            "{} at its current limit",
            short.at_limit.join(", ")
        ));
    }
    if short.taken_off {
        said.push(
            "a module that passes power only while it is powered takes it off the line".to_owned(),
        );
    }
    said.push(match (short.lives.is_empty(), short.drops.is_empty()) {
        (true, _) => "nothing goes on".to_owned(),
        (false, true) => "all goes on".to_owned(),
        _ => format!(
            "{} {}",
            short.lives.join(", "),
            verb(&short.lives, "goes on", "go on")
        ),
    });
    if !short.comes_back.is_empty() {
        said.push(format!(
            "{} {} out and would start again",
            short.comes_back.join(", "),
            verb(&short.comes_back, "drops", "drop")
        ));
    }
    said.join("; ")
}

fn verb(of: &[String], one: &'static str, several: &'static str) -> &'static str {
    if of.len() == 1 { one } else { several }
}

fn broken(out: &mut String, faults: &Faults) {
    if faults.broken.is_empty() {
        return;
    }
    let width = widest(faults.broken.iter().map(|b| b.span.as_str()));
    let _ = writeln!(out, "\nA broken span: without power");
    for one in &faults.broken {
        let said = match &one.dies {
            Ok(dies) if dies.is_empty() => "nothing".to_owned(),
            Ok(dies) => dies.join(", "),
            Err(why) => format!("unknown: {why}"),
        };
        row(out, &format!("  {:width$}  ", one.span), &said);
    }
}

fn poor(out: &mut String, faults: &Faults) {
    if faults.poor.is_empty() {
        return;
    }
    let width = widest(faults.poor.iter().map(|p| p.span.as_str()));
    let _ = writeln!(
        out,
        "\nA poor contact: ohms more that a span bears, and what gives way first"
    );
    for one in &faults.poor {
        let said = match &one.bears_ohm {
            Ok(ohm) if ohm.is_infinite() => format!("{:>9}   nothing gives way", "any"),
            Ok(0.0) => format!("{:>9}   {} already", "none", one.gives_way),
            Ok(ohm) => format!("{:>9}   {}", ohms(*ohm), one.gives_way),
            Err(why) => format!("unknown: {why}"),
        };
        let _ = writeln!(out, "  {:width$}  {said}", one.span);
    }
}

fn leaks(out: &mut String, faults: &Faults) {
    if faults.leaks.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\nA leak to the water at the far end of a span: what the line bears, and what {} costs",
        ohms(faults.leak_ohm)
    );
    let mut whys: Vec<&String> = Vec::new();
    let width = widest(faults.leaks.iter().map(|l| l.span.as_str()));
    for one in &faults.leaks {
        match &one.outcome {
            Ok(leak) => {
                let _ = writeln!(out, "  {:width$}  {}", one.span, leaking(leak));
            }
            Err(why) if whys.contains(&why) => {}
            Err(why) => {
                whys.push(why);
                row(out, "  unknown: ", why);
            }
        }
    }
}

fn leaking(leak: &LeakKnown) -> String {
    let bears = match leak.bears_ohm {
        0.0 => "any leak".to_owned(),
        ohm if ohm.is_infinite() => format!("none: {} already", leak.gives_way),
        ohm => format!("{:>9}, then {}", ohms(ohm), leak.gives_way),
    };
    match (leak.current_a, leak.cost_w) {
        (Some(amp), Some(watt)) => format!("{bears}; {amp:.3} A and {watt:.1} W"),
        _ => format!("{bears}; the line does not carry it"),
    }
}

fn insulation(out: &mut String, faults: &Faults) {
    let _ = writeln!(
        out,
        "\nAn insulation tester reads, each conductor against the water, 20 degC, modules off"
    );
    let all = &faults.insulation;
    match &all.line_ohm {
        Ok(ohm) => {
            let _ = writeln!(out, "  the whole line  {}", ohms(*ohm));
        }
        Err(why) => row(out, "  the whole line  unknown: ", why),
    }
    let width = widest(all.spans.iter().map(|(path, _)| path.as_str()));
    for (path, ohm) in &all.spans {
        if let Some(ohm) = ohm {
            let _ = writeln!(out, "  {path:width$}  {} alone", ohms(*ohm));
        }
    }
}

fn acceptance(out: &mut String, told: &Acceptance) {
    let _ = writeln!(
        out,
        "\nWhat a reading of each leg must show, one conductor against the water after {READ_AFTER_S} s, modules off"
    );
    row(
        out,
        "  every leg  ",
        &format!(
            "{} new and dry, {} after a soak in salt water (common practice)",
            ohms(told.new_ohm),
            ohms(told.soaked_ohm)
        ),
    );
    if told.legs.iter().any(|leg| leg.least_ohm.is_ok()) {
        let quay = QUAY_DEGC.map(|degc| format!("{degc:>9}"));
        let _ = writeln!(
            out,
            "  and for its pins to last {:.0} d in the sea at {} V, on a quay of\n  {:width$}{} degC",
            told.life_s / SECONDS_PER_DAY,
            told.voltage_v,
            "",
            quay.join(""),
            width = widest(told.legs.iter().map(|leg| leg.span.as_str()))
        );
    }
    let width = widest(told.legs.iter().map(|leg| leg.span.as_str()));
    for leg in &told.legs {
        match &leg.least_ohm {
            Ok(least) => {
                let each: String = least
                    .iter()
                    .map(|ohm| format!(" {:>8}", mohms(*ohm)))
                    .collect();
                let _ = writeln!(out, "  {:width$}{each} Mohm", leg.span);
            }
            Err(why) => row(out, &format!("  {:width$}  unknown: ", leg.span), why),
        }
    }
}

/// Three digits of Mohm.
fn mohms(ohm: f64) -> String {
    let mohm = ohm / 1e6;
    let decimals = match mohm {
        x if x >= 100.0 => 0,
        x if x >= 10.0 => 1,
        x if x >= 1.0 => 2,
        _ => 3,
    };
    format!("{mohm:.decimals$}")
}

/// Three digits and a unit.
fn ohms(ohm: f64) -> String {
    let (scaled, unit) = match ohm {
        x if x >= 1e9 => (x / 1e9, "Gohm"),
        x if x >= 1e6 => (x / 1e6, "Mohm"),
        x if x >= 1e3 => (x / 1e3, "kohm"),
        x => (x, "ohm"),
    };
    let decimals = match scaled {
        x if x >= 100.0 => 0,
        x if x >= 10.0 => 1,
        _ => 2,
    };
    format!("{scaled:.decimals$} {unit}")
}

/// The same as one JSON object.
#[must_use]
pub fn faults_json(name: &str, faults: &Faults) -> Value {
    let fuse = |f: &FuseSees| json!({ "span": f.span, "rating_a": f.rating_a, "current_a": f.current_a, "times_rating": times(f) });
    let unknown = |why: &String| json!({ "unknown": why });
    let shorts: Vec<Value> = faults
        .shorts
        .iter()
        .map(|s| {
            let mut told = match &s.outcome {
                Ok(k) => json!({
                    "current_a": k.current_a, "at_limit": k.at_limit, "fuse": k.fuse.as_ref().map(fuse),
                    "lives": k.lives, "drops": k.drops, "comes_back": k.comes_back, "taken_off": k.taken_off,
                }),
                Err(why) => unknown(why),
            };
            told["place"] = json!(s.place);
            told
        })
        .collect();
    let fuses: Vec<Value> = faults
        .fuses
        .iter()
        .map(|f| {
            let mut told = match &f.weakest {
                Ok(weakest) => json!({ "place": weakest.place, "fuse": fuse(&weakest.sees) }),
                Err(why) => unknown(why),
            };
            told["span"] = json!(f.span);
            told
        })
        .collect();
    let broken: Vec<Value> = faults
        .broken
        .iter()
        .map(|b| {
            let mut told = match &b.dies {
                Ok(dies) => json!({ "without_power": dies }),
                Err(why) => unknown(why),
            };
            told["span"] = json!(b.span);
            told
        })
        .collect();
    let poor: Vec<Value> = faults
        .poor
        .iter()
        .map(|p| {
            let mut told = match &p.bears_ohm {
                Ok(ohm) => json!({ "bears_ohm": ohm.is_finite().then_some(ohm), "bears_any": ohm.is_infinite(), "gives_way": p.gives_way }),
                Err(why) => unknown(why),
            };
            told["span"] = json!(p.span);
            told
        })
        .collect();
    let leaks: Vec<Value> = faults
        .leaks
        .iter()
        .map(|l| {
            let mut told = match &l.outcome {
                Ok(k) => json!({
                    "bears_ohm": k.bears_ohm.is_finite().then_some(k.bears_ohm), "bears_none": k.bears_ohm.is_infinite(),
                    "gives_way": k.gives_way, "current_a": k.current_a, "cost_w": k.cost_w,
                }),
                Err(why) => unknown(why),
            };
            told["span"] = json!(l.span);
            told
        })
        .collect();
    let insulation = &faults.insulation;
    json!({
        "format": "faults/1",
        "name": name,
        "contacts": contacts(faults.contacts),
        "shorts": shorts,
        "weakest_behind_fuses": fuses,
        "broken_spans": broken,
        "poor_contacts": poor,
        "leak_ohm": faults.leak_ohm,
        "leaks": leaks,
        "insulation": {
            "temperature_degc": 20,
            "line_ohm": insulation.line_ohm.as_ref().ok(),
            "unknown": insulation.line_ohm.as_ref().err(),
            "spans": insulation.spans.iter().map(|(span, ohm)| json!({ "span": span, "reading_ohm": ohm })).collect::<Vec<_>>(),
        },
        "acceptance": acceptance_json(&faults.acceptance),
        "rests_on": faults.rests_on,
        "cautions": faults.cautions,
    })
}

fn acceptance_json(told: &Acceptance) -> Value {
    let legs = told.legs.iter().map(|leg| {
        json!({
            "span": leg.span,
            "length_m": leg.length_m,
            "water_degc": leg.water_degc.as_ref().ok(),
            "in_water_ohm": leg.in_water_ohm.as_ref().ok(),
            "in_water_unknown": leg.in_water_ohm.as_ref().err(),
            "least_ohm": leg.least_ohm.as_ref().ok(),
            "least_unknown": leg.least_ohm.as_ref().err(),
        })
    });
    json!({
        "read_after_s": READ_AFTER_S,
        "new_ohm": told.new_ohm,
        "soaked_ohm": told.soaked_ohm,
        "life_s": told.life_s,
        "voltage_v": told.voltage_v,
        "quay_degc": QUAY_DEGC,
        "legs": legs.collect::<Vec<_>>(),
    })
}
