//! The text of a plan that a page sends, read as if it stood in the plan's file.

use std::io;
use std::path::Path;

use assess::{Memo, Shelf};
use axum::http::StatusCode;
use beside::Kept;
use plan::{Line, Reading};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::error::ApiError;
use crate::offsets::Places;

/// Digest of a plan's own text, line ends normalised: SHA-256 in hexadecimal.
pub(crate) fn text_digest(text: &str) -> String {
    let text = text.replace("\r\n", "\n");
    plan::hex(&Sha256::digest(text.as_bytes()))
}

/// Fetches the text in place of the plan at this path, and all else from its folder.
pub(crate) fn fetch<'a>(
    path: &'a Path,
    text: &'a str,
) -> impl Fn(&Path) -> io::Result<Vec<u8>> + Sync + 'a {
    let folder = plan::from_folder_of(path);
    move |wanted: &Path| match wanted == path {
        true => Ok(text.as_bytes().to_vec()),
        false => folder(wanted),
    }
}

/// Reads the text.
pub(crate) fn read(path: &Path, text: &str, memo: &Memo) -> Reading {
    assess::read_with(path, memo, &fetch(path, text))
}

/// Reads the text, and notes what else is read for it.
pub(crate) fn read_noting(path: &Path, text: &str, memo: &Memo, kept: &Kept) -> Reading {
    let fetch = fetch(path, text);
    let noting = |wanted: &Path| {
        if wanted != path {
            kept.look_at(wanted);
        }
        fetch(wanted)
    };
    assess::read_with(path, memo, &noting)
}

/// What lies beside the plan, and warnings of it; `None` where `go_on` stopped the reading.
pub(crate) fn shelf(
    path: &Path,
    reading: &Reading,
    kept: &Kept,
    go_on: &dyn Fn() -> bool,
) -> Option<(Shelf, Vec<String>)> {
    beside::kept_shelf(path, reading, kept, &|_, _| go_on())
}

/// The parts of the plan's catalogue, and what each is.
pub(crate) fn parts(reading: &Reading) -> Vec<Value> {
    let one = |(id, is): (&str, &str)| json!({ "id": format!("part.{id}"), "is": is });
    reading.parts().map(one).collect()
}

/// The line of a plan without mistakes.
pub(crate) fn line(reading: &Reading) -> Result<&Line, ApiError> {
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    whole.ok_or_else(|| unusable(reading))
}

/// That a plan has mistakes, with all of them.
pub(crate) fn unusable(reading: &Reading) -> ApiError {
    ApiError::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        "mistakes",
        "the plan has mistakes, and cannot be used as it is",
    )
    .help("mend what is underlined")
    .with("mistakes", json!(mistakes(reading)))
}

/// What is wrong with the texts, errors last, with places as the page counts them.
pub(crate) fn mistakes(reading: &Reading) -> Vec<Value> {
    let places = Places::of(&reading.sources);
    placed(&reading.mistakes, &places)
}

pub(crate) fn placed(mistakes: &[plan::Mistake], places: &Places<'_>) -> Vec<Value> {
    let each = mistakes.iter().map(|m| {
        let mut told = places.place(m.site);
        told.insert("code".to_owned(), json!(m.code.as_str()));
        let severity = match m.is_error() {
            true => "error",
            false => "warning",
        };
        told.insert("severity".to_owned(), json!(severity));
        told.insert("message".to_owned(), json!(m.message));
        told.insert("label".to_owned(), json!(m.label));
        told.insert("help".to_owned(), json!(m.help));
        told.insert("part".to_owned(), json!(m.part));
        let labels = m.related.iter().map(|(site, label)| {
            let mut place = places.place(*site);
            place.insert("label".to_owned(), json!(label));
            Value::Object(place)
        });
        told.insert("labels".to_owned(), labels.collect());
        Value::Object(told)
    });
    each.collect()
}
