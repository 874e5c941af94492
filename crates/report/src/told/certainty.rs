//! How surely requirements are met, for people and for programs.

use std::fmt::Write as _;

use assess::{Certain, Certainty, DrawnShare, Figure, Margins, Sureness, Sway};
use plan::{Must, Sources};
use serde_json::{Value, json};

use super::check::{figure_json, place_json, word, wrap};
use super::figures::{shortened, shown};
use super::words::count;

/// Inputs that are told of each requirement.
const TOLD_INPUTS: usize = 3;
/// Characters of a bar over all draws.
const BAR: usize = 20;

/// A table of the requirements: word as written, draws in which each is met with limits of the share, margins, and what moves them.
#[must_use]
pub fn certainty_text(found: &Certainty, sources: &Sources, colour: bool) -> String {
    let mut out = String::from("How surely the requirements are met\n");
    let years = found.years_each.map_or_else(String::new, |years| {
        let own = count(years as usize, "weather year");
        let measured = |c: &Certain| matches!(&c.sureness, Sureness::Drawn(s) if s.years.as_ref().is_some_and(|y| y.measured));
        let held = if found.requirements.iter().any(measured) {
            ", of a weather file no more than it holds"
        } else {
            ""
        };
        format!(", each with {own} of its own{held}")
    });
    let head = format!(
        "{} of {}, seed {}{years}. Shares are of all draws, with exact limits at 95 % confidence; margins are those below which 5 %, 50 % \
         and 95 % of the draws lie.",
        count(found.draws, "draw"),
        match found.inputs.len() {
            0 => "a plan in which no value is written with a spread".to_owned(),
            n => format!("{} with a spread", count(n, "value")),
        },
        found.seed,
    );
    paragraph(&mut out, "  ", &head);
    if let Some(none) = &found.no_line {
        let told = format!(
            "In {} the values that are drawn make no plan, and everything is unknown there; the first is draw {}: {}",
            count(none.draws, "draw"),
            none.first + 1,
            none.why
        );
        paragraph(&mut out, "  ", &told);
    }
    out.push('\n');
    let all = || found.requirements.iter().chain(&found.standing);
    let width = all().map(|c| c.id.chars().count()).max().unwrap_or(0);
    for certain in &found.requirements {
        row(&mut out, found, certain, width, sources, colour);
    }
    if !found.standing.is_empty() {
        out.push_str("\nChecked in every plan\n");
        for certain in &found.standing {
            row(&mut out, found, certain, width, sources, colour);
        }
    }
    out
}

fn paragraph(out: &mut String, lead: &str, text: &str) {
    for row in wrap(text, 108) {
        let _ = writeln!(out, "{lead}{row}");
    }
}

fn row(
    out: &mut String,
    found: &Certainty,
    certain: &Certain,
    width: usize,
    sources: &Sources,
    colour: bool,
) {
    let _ = write!(
        out,
        "  {}  {:width$}  ",
        word(certain.nominal, colour),
        certain.id
    );
    let drawn = match &certain.sureness {
        Sureness::AsWritten { why } => {
            let _ = writeln!(out, "not drawn: {why}");
            return;
        }
        Sureness::Drawn(drawn) => drawn,
    };
    let _ = write!(
        out,
        "[{}] met in {} of {}, {} to {} %",
        bar(drawn, found.draws),
        drawn.met,
        found.draws,
        rounded(drawn.share_low, f64::floor),
        rounded(drawn.share_high, f64::ceil),
    );
    let mut counts: Vec<String> = Vec::new();
    for (draws, what) in [
        (drawn.marginal, "marginal"),
        (drawn.broken, "broken"),
        (drawn.unknown, "unknown"),
    ] {
        if draws > 0 {
            counts.push(format!("{draws} {what}"));
        }
    }
    if !counts.is_empty() {
        let _ = write!(out, " ({})", counts.join(", "));
    }
    out.push('\n');
    let lead = "             ";
    if let Some(margins) = &drawn.margins {
        paragraph(out, lead, &margins_in_words(found, margins, sources));
    }
    if let Some(years) = drawn.years {
        let (held, of) = (years.held, years.of);
        let told = if years.measured {
            format!(
                "{held} of the {} that draws took hold with every draw that has them; a draw meets it where all of its own do",
                count(of as usize, "measured year")
            )
        } else {
            format!(
                "it holds in {held} of {of} years of all draws; a draw meets it where all of its own do"
            )
        };
        paragraph(out, lead, &told);
    }
    if let Some((first, why)) = &drawn.first_unknown {
        let told = format!("unknown first in draw {}: {why}", first + 1);
        paragraph(out, lead, &told);
    }
}

/// The draws as a bar: met, broken, unknown. What is not nothing has a character.
fn bar(drawn: &DrawnShare, draws: usize) -> String {
    let cells = |count: usize| {
        let cells = (count * BAR + draws / 2) / draws;
        cells.max(usize::from(count > 0))
    };
    let (broken, unknown) = (cells(drawn.broken), cells(drawn.unknown));
    let met = BAR.saturating_sub(broken + unknown);
    let text = "#".repeat(met) + &"-".repeat(broken) + &"?".repeat(unknown);
    // Where both others round up to more than there is.
    text.chars().take(BAR).collect()
}

/// A share in percent with two digits after the point, rounded so that the limits hold.
fn rounded(share: f64, round: impl Fn(f64) -> f64) -> f64 {
    round(1e4 * share) / 100.0
}

fn margins_in_words(found: &Certainty, margins: &Margins, sources: &Sources) -> String {
    let figure = |value: f64| Figure {
        value,
        unit: margins.unit.clone(),
    };
    let unit = shortened(&margins.unit);
    let [low, _, middle, _, high] = margins
        .at_5_25_50_75_95
        .map(|value| shown(&figure(value), unit));
    let without = without_margin(margins);
    if margins.lowest_highest.0 == margins.lowest_highest.1 {
        return match without {
            None => format!("margin {middle} in every draw"),
            Some(without) => format!("margin {middle}{without}"),
        };
    }
    let without = without.unwrap_or_default();
    let mut told = if low == middle && middle == high {
        format!("margin {middle} to these digits{without}")
    } else {
        format!("margin {low}, {middle}, {high}{without}")
    };
    if margins.moved_by.is_empty() {
        told.push_str("; nothing that is drawn stands out of chance");
        return told;
    }
    let inputs: Vec<String> = margins
        .moved_by
        .iter()
        .take(TOLD_INPUTS)
        .map(|m| {
            let input = &found.inputs[m.input];
            let of = match m.moves {
                Sway::OneWay => "",
                Sway::FromTheMiddle => " with its distance from the middle",
            };
            format!(
                "{} ({:+.2}{of}, {})",
                names(&input.paths),
                m.rank_correlation,
                sources.place(input.at)
            )
        })
        .collect();
    let _ = write!(told, "; moved most by {}", inputs.join(", "));
    let rest = margins.moved_by.len().saturating_sub(TOLD_INPUTS);
    if rest > 0 {
        let _ = write!(told, " and {rest} more");
    }
    told
}

/// Of how many draws the margins are, where others are known without a margin in their unit.
fn without_margin(margins: &Margins) -> Option<String> {
    let (first, of) = margins.first_without.as_ref()?;
    let of = of
        .as_ref()
        .map_or_else(String::new, |of| format!(", with a margin in {of}"));
    Some(format!(
        " in the {} that {} one in {}; {} known without, first draw {}{of}",
        count(margins.draws, "draw"),
        if margins.draws == 1 { "has" } else { "have" },
        margins.unit,
        match margins.without {
            1 => "1 is".to_owned(),
            n => format!("{n} are"),
        },
        first + 1
    ))
}

pub(crate) fn names(paths: &[String]) -> String {
    match paths {
        [one] => one.clone(),
        [first, rest @ ..] => format!("{first} and {} of its batch", rest.len()),
        [] => String::new(),
    }
}

/// The same for programs, without what every document of a plan carries. Shares are of all draws, 0 to 1; draws count from 1.
#[must_use]
pub fn certainty_json(found: &Certainty, sources: &Sources) -> Value {
    let inputs: Vec<Value> = found
        .inputs
        .iter()
        .map(|input| {
            let mut told = json!({ "paths": input.paths });
            told.as_object_mut()
                .expect("it was made as an object")
                .extend(place_json(input.at, sources));
            told
        })
        .collect();
    json!({
        "format": "certainty/1",
        "name": found.name,
        "draws": found.draws,
        "seed": found.seed,
        "weather_years_each": found.years_each,
        "confidence": 0.95,
        "inputs": inputs,
        "draws_without_line": found.no_line.as_ref().map(|none| json!({
            "draws": none.draws, "first_draw": none.first + 1, "why": none.why,
        })),
        "requirements": found.requirements.iter().map(|c| certain_json(found, c)).collect::<Vec<_>>(),
        "standing": found.standing.iter().map(|c| certain_json(found, c)).collect::<Vec<_>>(),
    })
}

fn certain_json(found: &Certainty, certain: &Certain) -> Value {
    let mut told = json!({
        "id": certain.id,
        "must": match certain.must { Must::Shall => "shall", Must::Should => "should" },
        "source": certain.clause,
        "sentence": certain.sentence,
        "ruling_as_written": certain.nominal.as_str(),
    });
    match &certain.sureness {
        Sureness::AsWritten { why } => told["not_drawn"] = json!(why),
        Sureness::Drawn(drawn) => told["drawn"] = drawn_json(found, drawn),
    }
    told
}

fn drawn_json(found: &Certainty, drawn: &DrawnShare) -> Value {
    json!({
        "met_draws": drawn.met,
        "marginal_draws": drawn.marginal,
        "broken_draws": drawn.broken,
        "unknown_draws": drawn.unknown,
        "first_unknown": drawn.first_unknown.as_ref().map(|(first, why)| json!({ "draw": first + 1, "why": why })),
        "share_met": drawn.met as f64 / found.draws as f64,
        "share_met_low": drawn.share_low,
        "share_met_high": drawn.share_high,
        "weather_years": drawn.years.map(|years| json!({
            "held": years.held, "of": years.of, "measured": years.measured,
        })),
        "margin": drawn.margins.as_ref().map(|margins| {
            let figure = |value| figure_json(&Figure { value, unit: margins.unit.clone() });
            let [low, lower, middle, upper, high] = margins.at_5_25_50_75_95;
            let (lowest, highest) = margins.lowest_highest;
            json!({
                "draws": margins.draws,
                "draws_without": margins.without,
                "first_without": margins.first_without.as_ref().map(|(first, unit)| json!({ "draw": first + 1, "unit": unit })),
                "lowest": figure(lowest),
                "below_which_5_percent": figure(low),
                "below_which_25_percent": figure(lower),
                "below_which_50_percent": figure(middle),
                "below_which_75_percent": figure(upper),
                "below_which_95_percent": figure(high),
                "highest": figure(highest),
                "moved_by": margins.moved_by.iter().map(|m| json!({
                    "paths": found.inputs[m.input].paths, "rank_correlation": m.rank_correlation,
                    "of": match m.moves {
                        Sway::OneWay => "value",
                        Sway::FromTheMiddle => "distance_from_the_middle",
                    },
                })).collect::<Vec<_>>(),
            })
        }),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Margins of the draws that have one in volts, beside those of a line that collapses: never as if they were of all draws.
    #[test]
    fn verif_draws_without_a_margin_stand_beside_it() {
        let told = |without: usize, lowest_highest| {
            let margins = Margins {
                unit: "V".to_owned(),
                draws: 200 - without,
                without,
                first_without: (without > 0).then(|| (4, Some("points".to_owned()))),
                at_5_25_50_75_95: [1.0; 5],
                lowest_highest,
                moved_by: Vec::new(),
            };
            let found = Certainty {
                name: None,
                draws: 200,
                seed: 1,
                years_each: None,
                inputs: Vec::new(),
                no_line: None,
                requirements: Vec::new(),
                standing: Vec::new(),
            };
            margins_in_words(&found, &margins, &Sources::default())
        };
        let same = "in every draw";
        assert!(told(0, (1.0, 1.0)).contains(same));
        let of_some = "in the 199 draws that have one in V; 1 is known without, first draw 5, with a margin in points";
        assert!(
            told(1, (0.0, 2.0)).contains(of_some),
            "{}",
            told(1, (0.0, 2.0))
        );
        assert!(told(1, (1.0, 1.0)).contains(of_some));
        assert!(!told(1, (1.0, 1.0)).contains(same));
        assert!(told(31, (0.0, 2.0)).contains("in the 169 draws that have one in V; 31 are known"));
    }
}
