//! What a line has in hand, for people and for programs.

use std::fmt::Write as _;

use assess::input::CasesError;
use assess::{
    DepthsTold, Factor, LineReserve, LineWeightReserve, PlaceWeightReserve, Room, SetFactor,
    WeightReserve,
};
use serde_json::{Value, json};

use super::check::wrap;
use super::depths::{depths_json, depths_text};
use super::start::contacts;

/// For each module what could be drawn more and what stops it; the combinations of states that leave least; the collapse factor in
/// each set of states; and what weight each place of a line in the water could still take.
#[must_use]
pub fn reserve_text(
    name: &str,
    found: &LineReserve,
    weight: &WeightReserveFound,
    depths: Option<&DepthsTold>,
) -> String {
    let mut out = reserve_of_power(name, found);
    weight_text(&mut out, weight);
    if depths.is_some() {
        out.push('\n');
    }
    depths_text(&mut out, depths);
    out
}

/// What the lines in the water may still bear, or why that cannot be told.
pub type WeightReserveFound = Result<LineWeightReserve, CasesError>;

fn weight_text(out: &mut String, weight: &WeightReserveFound) {
    let weight = match weight {
        Ok(weight) if weight.places.is_empty() && weight.unknown.is_empty() => return,
        Ok(weight) => weight,
        Err(why) => {
            let _ = writeln!(
                out,
                "\nWhat weight the line in the water could still take is unknown: {why}"
            );
            return;
        }
    };
    let _ = writeln!(
        out,
        "\nWhat weight in water could be hung at each place of a line, before the first limit on its shape"
    );
    let width = weight.places.iter().map(|p| p.path.len()).max();
    let width = width.unwrap_or(0);
    for place in &weight.places {
        let (more, why) = match &place.reserve {
            WeightReserve::Weight { weight_n, binds } => {
                (down(*weight_n, 0, "N"), format!("then {binds}"))
            }
            WeightReserve::AtLeast { weight_n, why } => (
                down(*weight_n, 0, "N"),
                format!("or more: beyond it no limit can be asked, as {why}"),
            ),
            WeightReserve::NoLimit { tried_n } => (
                "no limit".to_owned(),
                format!("nothing that the plan says stops {tried_n:.0} N"),
            ),
            WeightReserve::None { why } => ("nothing".to_owned(), why.clone()),
            WeightReserve::Unknown { why } => ("unknown".to_owned(), why.clone()),
        };
        for (row, text) in wrap(&why, 90).iter().enumerate() {
            let (path, more) = if row == 0 {
                (place.path.as_str(), more.as_str())
            } else {
                ("", "")
            };
            let _ = writeln!(out, "  {path:width$}  {more:>10}  {text}");
        }
    }
    for (section, why) in &weight.unknown {
        let _ = writeln!(out, "  {section}: unknown: {why}");
    }
}

/// A figure with so many decimals, rounded down: what is told may be added, and not a little more.
fn down(value: f64, decimals: usize, unit: &str) -> String {
    let steps = libm::pow(10.0, decimals as f64);
    // A figure that is whole but for what its calculation leaves is told as it is.
    let told = (value * steps + WHOLE).floor() / steps;
    format!("{told:.decimals$} {unit}")
}

/// Of the last decimal so much is taken for rounding.
const WHOLE: f64 = 1e-6;

fn reserve_of_power(name: &str, found: &LineReserve) -> String {
    let mut out = format!("{name}\n\n");
    if !found.unknowns.is_empty() {
        let _ = writeln!(out, "Unknown, because the plan does not say");
        for why in &found.unknowns {
            let _ = writeln!(out, "  - {why}");
        }
        return out;
    }
    let _ = writeln!(
        out,
        "What could be drawn more at the input of each module, before the first limit"
    );
    let width = found.modules.iter().map(|m| m.path.len()).max();
    let width = width.unwrap_or(0);
    let mut sets: Vec<&str> = Vec::new();
    let mut last = "";
    for m in &found.modules {
        let path = if m.path == last { "" } else { &m.path };
        last = &m.path;
        let (more, why) = match &m.room {
            Room::Power { power_w, binds } => (down(*power_w, 2, "W"), format!("then {binds}")),
            Room::NoLimit => (
                "no limit".to_owned(),
                "a supply without resistance and current limit holds its voltage here".to_owned(),
            ),
            Room::None { why } => ("nothing".to_owned(), why.clone()),
            Room::Unknown { why } => ("unknown".to_owned(), why.clone()),
        };
        let set = without_age(&m.with);
        let number = if set.is_empty() {
            String::new()
        } else {
            let known = sets.iter().position(|s| *s == set);
            let at = known.unwrap_or_else(|| {
                sets.push(set);
                sets.len() - 1
            });
            format!("({})", at + 1)
        };
        let _ = writeln!(
            out,
            "  {path:width$}  {:4}  {more:>12}  {number:4}  {why}",
            contacts(m.contacts)
        );
    }
    if !sets.is_empty() {
        let _ = writeln!(
            out,
            "\nWhile the line is in the combination of states that leaves least"
        );
    }
    for (i, set) in sets.iter().enumerate() {
        for (row, text) in wrap(set, 100).iter().enumerate() {
            let number = if row == 0 {
                format!("({})", i + 1)
            } else {
                String::new()
            };
            let _ = writeln!(out, "  {number:4}  {text}");
        }
    }
    let _ = writeln!(
        out,
        "\nTo what share of themselves all loads of constant power may grow together before the line collapses"
    );
    factors(&mut out, "least over all combinations: ", &found.weakest);
    let _ = writeln!(out);
    factors(&mut out, "", &found.sets);
    out
}

fn factors(out: &mut String, before: &str, sets: &[SetFactor]) {
    for set in sets {
        let (share, why) = match &set.factor {
            Factor::Share(share) => (format!("{:.1} %", 100.0 * share), String::new()),
            Factor::NoLoad => (
                "none".to_owned(),
                ": nothing draws constant power".to_owned(),
            ),
            Factor::Unknown { why } => ("unknown".to_owned(), format!(": {why}")),
        };
        for (row, text) in wrap(&format!("{before}{}{why}", set.name), 92)
            .iter()
            .enumerate()
        {
            let share = if row == 0 { share.as_str() } else { "" };
            let _ = writeln!(out, "  {share:>10}  {text}");
        }
    }
}

fn without_age(with: &str) -> &str {
    with.strip_suffix(", new contacts")
        .or_else(|| with.strip_suffix(", aged contacts"))
        .unwrap_or(with)
}

/// The same as one JSON object.
#[must_use]
pub fn reserve_json(
    name: &str,
    found: &LineReserve,
    weight: &WeightReserveFound,
    depths: Option<&DepthsTold>,
) -> Value {
    let sets = |sets: &[SetFactor]| -> Vec<Value> {
        let one = |set: &SetFactor| {
            let (factor, why) = match &set.factor {
                Factor::Share(share) => (Some(*share), None),
                Factor::NoLoad => (None, Some("nothing draws constant power")),
                Factor::Unknown { why } => (None, Some(why.as_str())),
            };
            json!({ "states": set.name, "collapse_factor": factor, "why": why })
        };
        sets.iter().map(one).collect()
    };
    json!({
        "format": "reserve/1",
        "name": name,
        "depths": depths_json(depths),
        "unknown": found.unknowns,
        "modules": found.modules.iter().map(|m| {
            let (word, power_w, why) = match &m.room {
                Room::Power { power_w, binds } => ("known", Some(*power_w), Some(binds.as_str())),
                Room::NoLimit => ("no-limit", None, None),
                Room::None { why } => ("none", Some(0.0), Some(why.as_str())),
                Room::Unknown { why } => ("unknown", None, Some(why.as_str())),
            };
            json!({
                "id": m.path,
                "contacts": contacts(m.contacts),
                "word": word,
                "reserve_w": power_w,
                "why": why,
                "states": m.with,
            })
        }).collect::<Vec<_>>(),
        "weakest": sets(&found.weakest),
        "sets": sets(&found.sets),
        "weight_reserve": weight_json(weight),
    })
}

fn weight_json(weight: &WeightReserveFound) -> Value {
    let weight = match weight {
        Ok(weight) => weight,
        Err(why) => {
            return json!({ "places": [], "unknown": [{ "section": null, "why": why.to_string() }] });
        }
    };
    let place = |p: &PlaceWeightReserve| {
        let (word, weight_n, why) = match &p.reserve {
            WeightReserve::Weight { weight_n, binds } => {
                ("known", Some(*weight_n), Some(binds.as_str()))
            }
            WeightReserve::AtLeast { weight_n, why } => {
                ("at-least", Some(*weight_n), Some(why.as_str()))
            }
            WeightReserve::NoLimit { tried_n } => ("no-limit", Some(*tried_n), None),
            WeightReserve::None { why } => ("none", Some(0.0), Some(why.as_str())),
            WeightReserve::Unknown { why } => ("unknown", None, Some(why.as_str())),
        };
        json!({ "id": p.path, "line": p.line, "word": word, "weight_in_water_n": weight_n, "why": why })
    };
    json!({
        "places": weight.places.iter().map(place).collect::<Vec<_>>(),
        "unknown": weight.unknown.iter().map(|(section, why)| json!({ "section": section, "why": why })).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_what_may_be_added_is_rounded_down() {
        assert_eq!(down(42.777_99, 2, "W"), "42.77 W");
        assert_eq!(down(463.5, 0, "N"), "463 N");
        assert_eq!(down(0.29, 2, "W"), "0.29 W");
        assert_eq!(down(4.999_999_999_9, 2, "W"), "5.00 W");
        assert_eq!(down(0.0, 0, "N"), "0 N");
    }
}
