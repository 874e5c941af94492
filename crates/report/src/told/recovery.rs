//! The recovery of a plan's lines, for people and for programs.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use assess::{
    Adrift, Chance, LineRecovery, MOORING_CAUTIONS, ModuleChance, Parted, Recovery, Window,
    least_lift,
};
use mooring::{Freed, Side};
use plan::{Line, ModuleIx};
use quantity::{Dimension, show, show_share};
use serde_json::{Value, json};

use super::check::{list, wrap};

const WIDTH: usize = 110;

/// What comes up for each parting, the chance that each module comes back, weak links and drift alarms.
#[must_use]
pub fn recovery_text(line: &Line, found: &Recovery) -> String {
    let mut out = format!("{}\n", line.deployment.name);
    for of in &found.lines {
        match of {
            Ok(of) => one_line(&mut out, line, found, of),
            Err(not) => {
                let heading = format!("{}: what comes up is unknown", not.section);
                list(&mut out, &heading, &not.why);
            }
        }
    }
    list(
        &mut out,
        "Taken although the plan does not write it",
        &found.assumed,
    );
    list(&mut out, "Cautions", &MOORING_CAUTIONS.map(str::to_owned));
    out
}

fn one_line(out: &mut String, line: &Line, found: &Recovery, of: &LineRecovery) {
    let _ = writeln!(
        out,
        "\nThe line from anchor.{} to {}",
        line.anchors[of.line.anchor].id,
        of.line.top.path(line)
    );
    match &of.partings {
        Err(why) => {
            let _ = writeln!(out, "  what comes up is unknown: {why}");
        }
        Ok(all) => {
            let end = match found.fouling {
                Some(by) => format!(
                    "fouled: with {:.1} mm grown in {:.1} months",
                    1e3 * by.growth.thickness_m(),
                    by.months
                ),
                None => {
                    "the site says nothing of growth: at the end it is as clean as at the start"
                        .to_owned()
                }
            };
            let _ = writeln!(
                out,
                "  Lift of what comes free where it parts, N, and how fast that rises, m/s; {end}"
            );
            if all.iter().any(|p| p.at_surface) {
                let _ = writeln!(
                    out,
                    "  (-: what its buoy holds up is at the surface already, and drifts)"
                );
            }
            partings(out, line, all);
        }
    }
    chances(out, line, of);
    for window in &of.weak_links {
        for row in wrap(&window_told(window), WIDTH) {
            let _ = writeln!(out, "  {row}");
        }
    }
    match &of.adrift {
        None => {}
        Some(Err(why)) => {
            let _ = writeln!(out, "  its drift alarm cannot be judged: {why}");
        }
        Some(Ok(adrift)) => {
            for row in wrap(&adrift_told(adrift), WIDTH) {
                let _ = writeln!(out, "  {row}");
            }
        }
    }
}

fn partings(out: &mut String, line: &Line, all: &[Parted]) {
    let wide = all
        .iter()
        .map(|p| p.place.chars().count())
        .max()
        .unwrap_or(0);
    let wide = wide.max("where it parts".len());
    let _ = writeln!(
        out,
        "    {:<wide$}  {:>8} {:>6}  {:>8} {:>6}  {:>8} {:>6}  stays down",
        "where it parts", "clean", "", "fouled", "", "flooded", ""
    );
    for parted in all {
        let freed = |freed: &Freed| match parted.rises_m_s(freed) {
            Some(m_s) => format!("{:>8.0} {m_s:>6.2}", freed.net_n),
            None => format!("{:>8.0} {:>6}", freed.net_n, "-"),
        };
        let unknown = format!("{:>8} {:>6}", "unknown", "");
        let fouled = parted
            .fouled
            .as_ref()
            .map_or_else(|_| unknown.clone(), freed);
        let flooded = match &parted.flooded {
            Err(_) => unknown.clone(),
            Ok(None) => format!("{:>8} {:>6}", "none", ""),
            Ok(Some(flooded)) => freed(&flooded.freed),
        };
        let stays = match names(line, &parted.stays) {
            none if none.is_empty() => "no module".to_owned(),
            some => some.join(", "),
        };
        let _ = writeln!(
            out,
            "    {:<wide$}  {}  {fouled}  {flooded}  {stays}",
            parted.place,
            freed(&parted.clean)
        );
    }
    let whys = all
        .iter()
        .flat_map(|p| [p.fouled.as_ref().err(), p.flooded.as_ref().err()]);
    let whys: BTreeSet<&String> = whys.flatten().collect();
    for why in whys {
        for (k, row) in wrap(&format!("unknown: {why}"), WIDTH).iter().enumerate() {
            let _ = writeln!(out, "    {}{row}", if k == 0 { "" } else { "  " });
        }
    }
    if let (Some((lift_n, parted)), _) = least_lift(all) {
        let flooded = match &parted.flooded {
            Ok(Some(flooded)) => format!(" with {} flooded", flooded.what),
            Ok(None) | Err(_) => String::new(),
        };
        let _ = writeln!(
            out,
            "    the least of what is known, {lift_n:.0} N{flooded}, when it parts {}",
            parted.place
        );
    }
    let slack = all.iter().max_by(|a, b| a.slack_m.total_cmp(&b.slack_m));
    if let Some(parted) = slack.filter(|p| p.slack_m > 0.0) {
        let _ = writeln!(
            out,
            "    up to {:.1} m of the rope that stays floats and can lie at the surface, at the lowest water, when it parts {}",
            parted.slack_m, parted.place
        );
    }
}

fn names(line: &Line, modules: &[ModuleIx]) -> Vec<String> {
    modules.iter().map(|m| line.module_path(*m)).collect()
}

fn chances(out: &mut String, line: &Line, of: &LineRecovery) {
    let _ = writeln!(out, "  Chance to come back, by all means together");
    let whole = of.modules.iter();
    let whole = whole.map(|ModuleChance { module, chance }| (line.module_path(*module), chance));
    let mut told = alike(whole);
    let partings = of.partings.iter().flatten();
    let stays = partings.filter_map(|p| Some((p.place.clone(), p.stays_back.as_ref()?)));
    for (places, chance) in alike(stays) {
        told.push((format!("what stays when it parts {places}"), chance));
    }
    for (who, chance) in told {
        let percent = percent(chance);
        let by = match chance.by.is_empty() {
            true => "nothing brings it".to_owned(),
            false => format!("by {}", chance.by.join(", ")),
        };
        let mut said = format!("{percent} {by}: {who}");
        for sharing in &chance.share {
            let _ = write!(said, "; {}", sharing.told());
        }
        for (id, why) in &chance.unknown {
            let _ = write!(said, "; whether by {id} is unknown: {why}");
        }
        for (id, why) in &chance.not_by {
            let _ = write!(said, "; not by {id}: {why}");
        }
        for (k, row) in wrap(&said, WIDTH).iter().enumerate() {
            let _ = writeln!(out, "    {}{row}", if k == 0 { "" } else { "  " });
        }
    }
}

/// Things of the same chance, named together.
fn alike<'c>(all: impl Iterator<Item = (String, &'c Chance)>) -> Vec<(String, &'c Chance)> {
    let mut told: Vec<(String, &Chance)> = Vec::new();
    for (who, chance) in all {
        match told.iter_mut().find(|(_, c)| *c == chance) {
            Some((names, _)) => {
                names.push_str(", ");
                names.push_str(&who);
            }
            None => told.push((who, chance)),
        }
    }
    told
}

fn percent(chance: &Chance) -> String {
    match (chance.works(), &chance.at_least, &chance.at_most) {
        (Ok(works), ..) => show_share(works),
        (Err(_), Ok(least), Ok(most)) => {
            format!("{} to {}", show_share(*least), show_share(*most))
        }
        (Err(why), ..) => format!("unknown ({why}):"),
    }
}

fn window_told(window: &Window) -> String {
    let holds = match &window.greatest_n {
        Err(why) => format!("what it must hold is unknown: {why}"),
        Ok((most, case)) if window.factor == 1.0 => {
            format!("it must hold the {:.0} N of {case}", most.value)
        }
        Ok((most, case)) => format!(
            "it must hold {:.0} N, {} times the {:.0} N of {case}",
            window.factor * most.value,
            window.factor,
            most.value
        ),
    };
    let before = match &window.least_breaking_n {
        Err(why) => format!("before what it must have parted is unknown: {why}"),
        Ok((breaks_n, section)) => {
            format!("it must have parted before {section} breaks at {breaks_n:.0} N")
        }
    };
    format!(
        "{} parts from {:.0} N and has parted by {:.0} N: {holds}; {before}",
        window.path, window.parts_from_n, window.parts_by_n
    )
}

fn adrift_told(adrift: &Adrift) -> String {
    let time = |s: f64| show(s.round(), Dimension::Time);
    let told = match (adrift.told_within_s, adrift.weakest) {
        (Some(s), Some((weakest_m_s, weakest_s))) if weakest_m_s < adrift.strongest_m_s => format!(
            "; adrift it is told within {} in the strongest current of the cases, {}, within {} in the weakest that flows, {}, and in slack water at no time that is known",
            time(s),
            show(adrift.strongest_m_s, Dimension::Speed),
            time(weakest_s),
            show(weakest_m_s, Dimension::Speed)
        ),
        (Some(s), _) => format!(
            "; adrift it is told within {} in the current of the cases, {}, and in slack water at no time that is known",
            time(s),
            show(adrift.strongest_m_s, Dimension::Speed)
        ),
        (None, _) => String::new(),
    };
    format!(
        "{}'s drift alarm goes off {:.1} m from the anchor: at least {:.1} m are needed, the buoy's own circle of {:.1} m and {:.1} m for the errors of {} fixes{told}",
        adrift.buoy,
        adrift.radius_m,
        adrift.least.radius_m,
        adrift.least.watch_circle_m,
        adrift.least.error_m,
        adrift.fixes
    )
}

/// [`recovery_text`] for programs; what is not known is `null`, with the reason beside it.
#[must_use]
pub fn recovery_json(line: &Line, found: &Recovery) -> Value {
    json!({
        "format": "recovery/1",
        "deployment": line.deployment.name,
        "growth": found.fouling.map(|by| json!({
            "months": by.months,
            "thickness_m": by.growth.thickness_m(),
        })),
        "lines": found.lines.iter().map(|of| match of {
            Ok(of) => line_json(line, of),
            Err(not) => json!({ "section": not.section, "unknown": not.why }),
        }).collect::<Vec<_>>(),
        "assumed": found.assumed,
        "cautions": MOORING_CAUTIONS,
    })
}

fn line_json(line: &Line, of: &LineRecovery) -> Value {
    let (partings, unknown) = match &of.partings {
        Ok(all) => (
            all.iter().map(|p| parted_json(line, p)).collect::<Vec<_>>(),
            None,
        ),
        Err(why) => (Vec::new(), Some(why)),
    };
    json!({
        "anchor": format!("anchor.{}", line.anchors[of.line.anchor].id),
        "top": of.line.top.path(line),
        "partings": partings,
        "partings_unknown": unknown,
        "modules": of.modules.iter().map(|m| {
            let mut told = chance_json(&m.chance);
            told["module"] = json!(line.module_path(m.module));
            told
        }).collect::<Vec<_>>(),
        "weak_links": of.weak_links.iter().map(window_json).collect::<Vec<_>>(),
        "drift_alarm": of.adrift.as_ref().map(|adrift| match adrift {
            Err(why) => json!({ "unknown": why }),
            Ok(adrift) => json!({
                "buoy": adrift.buoy,
                "radius_m": adrift.radius_m,
                "least_radius_m": adrift.least.radius_m,
                "watch_circle_m": adrift.least.watch_circle_m,
                "error_m": adrift.least.error_m,
                "fixes": adrift.fixes,
                "told_within_s": adrift.told_within_s,
                "strongest_current_m_s": adrift.strongest_m_s,
                "weakest_current_m_s": adrift.weakest.map(|(m_s, _)| m_s),
                "told_within_in_the_weakest_s": adrift.weakest.map(|(_, s)| s),
            }),
        }),
    })
}

fn freed_json(freed: &Freed) -> Value {
    json!({ "lift_n": freed.net_n, "rises_m_s": freed.rises_m_s })
}

fn parted_json(line: &Line, parted: &Parted) -> Value {
    json!({
        "place": parted.place,
        "from_anchor_m": parted.at_m,
        "side": match parted.side {
            Side::JustBelow => "below",
            Side::JustAbove => "above",
        },
        "comes_free": names(line, &parted.comes_free),
        "stays": names(line, &parted.stays),
        "at_surface": parted.at_surface,
        "clean": freed_json(&parted.clean),
        "fouled": parted.fouled.as_ref().ok().map(freed_json),
        "fouled_unknown": parted.fouled.as_ref().err(),
        "flooded": parted.flooded.as_ref().ok().and_then(Option::as_ref).map(|flooded| {
            let mut told = freed_json(&flooded.freed);
            told["what"] = json!(flooded.what);
            told
        }),
        "flooded_unknown": parted.flooded.as_ref().err(),
        "left_n": parted.left_n,
        "left_fouled_n": parted.left_fouled_n.as_ref().ok(),
        "surface_slack_m": parted.slack_m,
        "stays_back": parted.stays_back.as_ref().map(chance_json),
    })
}

fn chance_json(chance: &Chance) -> Value {
    json!({
        "chance": chance.works().as_ref().ok(),
        "unknown": chance.works().as_ref().err(),
        "at_least": chance.at_least.as_ref().ok(),
        "at_most": chance.at_most.as_ref().ok(),
        "unknown_by": chance.unknown.iter().map(|(id, why)| json!({ "means": id, "why": why })).collect::<Vec<_>>(),
        "by": chance.by,
        "not_by": chance.not_by.iter().map(|(id, why)| json!({ "means": id, "why": why })).collect::<Vec<_>>(),
        "share": chance.share.iter().map(|s| json!({ "what": s.what, "means": s.means, "counted": s.counted })).collect::<Vec<_>>(),
    })
}

fn window_json(window: &Window) -> Value {
    json!({
        "weak_link": window.path,
        "parts_from_n": window.parts_from_n,
        "parts_by_n": window.parts_by_n,
        "safety_factor": window.factor,
        "greatest_tension_n": window.greatest_n.as_ref().ok().map(|(most, _)| most.value),
        "greatest_in": window.greatest_n.as_ref().ok().map(|(_, case)| case),
        "greatest_unknown": window.greatest_n.as_ref().err(),
        "least_breaking_load_n": window.least_breaking_n.as_ref().ok().map(|(n, _)| n),
        "least_breaking_of": window.least_breaking_n.as_ref().ok().map(|(_, section)| section),
        "least_breaking_unknown": window.least_breaking_n.as_ref().err(),
    })
}
