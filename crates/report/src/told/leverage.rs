//! What was assumed, by how far it moves verdicts.

use assess::{Assumption, Came, Leverage, Tried, Word};
use serde_json::{Value, json};

use quantity::show_number;

pub(super) const BY_LEVERAGE: &str = "Assumed, because the plan does not say otherwise, with most leverage first: what one other value of each would move most";

/// An assumption, and what moves most when another value is written in its place.
pub(super) fn leverage_in_words(of: &Assumption) -> String {
    let told = &of.told;
    if let Some((tried, moved)) = of.most() {
        return format!("{told}; with {} {}", written(tried), moved_in_words(moved));
    }
    let nothing = of.tried.iter().filter(|t| t.came == Came::Nothing);
    let nothing: Vec<String> = nothing.map(written).collect();
    if !nothing.is_empty() {
        return format!(
            "{told}; no verdict moves with {}",
            nothing.join(", nor with ")
        );
    }
    match of.tried.is_empty() {
        true => told.clone(),
        false => format!("{told}; the plan can have no other value that was tried"),
    }
}

fn written(tried: &Tried) -> String {
    let more = match tried.keys.len() {
        0 | 1 => String::new(),
        many => format!(" and {} more", many - 1),
    };
    let first = tried.keys.first().map_or("", String::as_str);
    format!("`{first}`{more} of {}", tried.value)
}

fn moved_in_words(moved: &Leverage) -> String {
    let id = &moved.requirement;
    let Some(after) = &moved.after else {
        return format!("`{id}` is unknown");
    };
    let unit = &moved.before.unit;
    let by = after.value - moved.before.value;
    let more = if by < 0.0 { "less" } else { "more" };
    let word = match moved.word_after == moved.word_before {
        true => String::new(),
        false => format!(
            " and is {} in place of {}",
            moved.word_after.as_str(),
            moved.word_before.as_str()
        ),
    };
    let [by, left, widths] = [by.abs(), moved.before.value, moved.widths].map(show_number);
    let unit = if unit.is_empty() {
        String::new()
    } else {
        format!(" {unit}")
    };
    let times = if widths == "1" { "time" } else { "times" };
    format!(
        "`{id}` has {by}{unit} {more} margin than its {left}{unit}, {widths} {times} its marginal width{word}"
    )
}

/// What was assumed, that with most leverage first.
#[must_use]
pub fn leverage_json(all: &[Assumption]) -> Value {
    let one = |of: &Assumption| {
        json!({
            "assumed": of.told,
            "moves_at_most_widths": of.widths().filter(|w| w.is_finite()),
            "tried": of.tried.iter().map(tried_json).collect::<Vec<_>>(),
        })
    };
    all.iter().map(one).collect()
}

fn tried_json(tried: &Tried) -> Value {
    let came = match &tried.came {
        Came::Refused => "refused",
        Came::Nothing => "moves nothing",
        Came::Moves(_) => "moves",
    };
    let moved = match &tried.came {
        Came::Moves(moved) => Some(json!({
            "requirement": moved.requirement,
            "ruling": moved.word_before.as_str(),
            "ruling_with": Word::as_str(moved.word_after),
            "margin": { "value": moved.before.value, "unit": moved.before.unit },
            "margin_with": moved.after.as_ref().map(|a| json!({ "value": a.value, "unit": a.unit })),
            "widths": Some(moved.widths).filter(|w| w.is_finite()),
        })),
        Came::Refused | Came::Nothing => None,
    };
    json!({ "keys": tried.keys, "value": tried.value, "came": came, "moved_most": moved })
}
