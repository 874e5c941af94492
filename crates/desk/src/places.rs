//! A part held over the line: every place, whether the part may go there, and what binds.

use std::path::Path;

use assess::{Along, Memo, PlaceAsk, PlaceError, Talk, places_with};
use beside::Kept;
use quantity::{Dimension, parse_amount};
use report::places_json;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::text;

/// Id of the module that is held, where none is given.
const HELD: &str = "added";
/// Length of the stub on which it hangs beside a module, where none is given.
const STUB: &str = "1 m";
/// Name of a catalogue that a page sends.
const CATALOGUE: &str = "held.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Ask {
    text: String,
    /// `part.ID` of the plan's catalogue, or of `catalogue`.
    part: String,
    /// The text of a catalogue that the plan does not include.
    #[serde(default)]
    catalogue: Option<String>,
    #[serde(default)]
    name: Option<String>,
    /// It publishes nothing.
    #[serde(default)]
    silent: bool,
    /// Tables of topics and behaviours that come with it.
    #[serde(default)]
    brings: Option<String>,
    #[serde(default)]
    speaks: Vec<String>,
    /// `section.ID:40 m`; every place without.
    #[serde(default)]
    at: Vec<String>,
    #[serde(default)]
    cable: Option<String>,
    #[serde(default)]
    stub: Option<String>,
    /// Leaves out what the plan claims of the years of its supplies.
    #[serde(default)]
    without_years: bool,
}

fn wrong(key: &str, why: impl std::fmt::Display) -> ApiError {
    ApiError::unusable("bad-ask", format!("`{key}`: {why}"))
}

fn length_m(key: &str, text: &str) -> Result<f64, ApiError> {
    let read = parse_amount(text.trim(), Dimension::Length).map_err(|e| wrong(key, e))?;
    match read.si > 0.0 {
        true => Ok(read.si),
        false => Err(wrong(key, "this has to be more than nothing")),
    }
}

fn along(text: &str) -> Result<Along, ApiError> {
    let at = || {
        wrong(
            "at",
            format!("`{text}` is no place: section.riser:40m, from its upper end"),
        )
    };
    let (section, length) = text.split_once(':').ok_or_else(at)?;
    Ok(Along {
        section: section.strip_prefix("section.").ok_or_else(at)?.to_owned(),
        from_top_m: length_m("at", length)?,
    })
}

fn typed(part: &str) -> String {
    match part.starts_with("part.") {
        true => part.to_owned(),
        false => format!("part.{part}"),
    }
}

impl Ask {
    fn places(&self) -> Result<PlaceAsk, ApiError> {
        let id = self.name.as_deref().unwrap_or(HELD);
        if !plan::is_id(id) {
            return Err(wrong("name", format!("`{id}` is no id")).help(plan::ID_RULE));
        }
        if let Some(link) = self
            .speaks
            .iter()
            .find(|l| !plan::LINKS.contains(&l.as_str()))
        {
            let links = plan::LINKS.join(", ");
            return Err(wrong("speaks", format!("there is no link `{link}`")).help(links));
        }
        let talk = match (&self.brings, self.silent) {
            (Some(_), true) => {
                return Err(wrong("silent", "it brings tables, so it is not silent"));
            }
            (Some(tables), false) => brought(tables)?,
            (None, true) => Talk::Silent,
            (None, false) => Talk::Unsaid,
        };
        Ok(PlaceAsk {
            part: typed(&self.part),
            catalogue: self.catalogue.clone().map(|t| (CATALOGUE.to_owned(), t)),
            id: id.to_owned(),
            talk,
            speaks: self.speaks.clone(),
            along: self
                .at
                .iter()
                .map(|at| along(at))
                .collect::<Result<_, _>>()?,
            cable: self.cable.as_deref().map(typed),
            stub_m: length_m("stub", self.stub.as_deref().unwrap_or(STUB))?,
            years: !self.without_years,
            threads: std::thread::available_parallelism().map_or(1, usize::from),
        })
    }
}

/// Tables that an added module may bring, and nothing else.
fn brought(tables: &str) -> Result<Talk, ApiError> {
    match assess::foreign_table(tables) {
        Ok(None) => Ok(Talk::Tables(tables.to_owned())),
        Ok(Some(table)) => Err(wrong(
            "brings",
            format!("`{table}` is nothing that an added module brings"),
        )),
        Err(error) => Err(wrong("brings", error)),
    }
}

/// What is put into the plan: a part as it was held, and the place at which it goes.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Put {
    held: Ask,
    /// From 0, as the places were told.
    number: usize,
}

/// The plan's text with the part at the place, and the module that it is.
pub(crate) fn put(plan: &Path, memo: &Memo, ask: &Put) -> Result<Value, ApiError> {
    let reading = text::read(plan, &ask.held.text, memo);
    text::line(&reading)?;
    let asked = ask.held.places()?;
    let new = assess::placed(&reading, &asked, ask.number)
        .map_err(|error| ApiError::unusable("no-place", error.to_string()))?;
    Ok(json!({
        "text": new,
        "module": format!("module.{}", asked.id),
        "source_digest": text::text_digest(&new),
    }))
}

/// The document `places/1`.
pub(crate) fn places(
    plan: &Path,
    (memo, kept): (&Memo, &Kept),
    go_on: &(dyn Fn() -> bool + Sync),
    ask: &Ask,
) -> Result<Value, ApiError> {
    let reading = text::read(plan, &ask.text, memo);
    text::line(&reading)?;
    let asked = ask.places()?;
    let shelf = text::shelf(plan, &reading, kept, go_on);
    let (shelf, warnings) = shelf.ok_or_else(ApiError::cancelled)?;
    let fetch = text::fetch(plan, &ask.text);
    let found = places_with(plan, &reading, &shelf, &fetch, &asked, memo, &|_, _| {
        go_on()
    });
    let found = found.map_err(|error| match error {
        PlaceError::Cancelled => ApiError::cancelled(),
        PlaceError::Mistakes(with) => {
            let all = with.mistakes.iter().filter(|m| m.is_error());
            let all: Vec<&str> = all.map(|m| m.message.as_str()).collect();
            ApiError::unusable(
                "no-places",
                format!("the part cannot be held so: {}", all.join("; ")),
            )
        }
        other => ApiError::unusable("no-places", other.to_string()),
    })?;
    let mut told = places_json(&found);
    told["pictures"] = json!([]);
    told["warnings"] = json!(warnings);
    let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
    Ok(beside::of_plan(told, Some(&reading.digest), &mistakes))
}
