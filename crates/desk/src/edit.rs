//! One value of the plan's text replaced or put in: the edit primitive of plans, asked for by the page.

use std::path::Path;

use assess::Memo;
use plan::{Edit, EditError, Reading, splice};
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::offsets::Offsets;
use crate::text;

/// The text with the key at `path` set to `value`, and where the new text stands.
pub(crate) fn edited(
    plan: &Path,
    memo: &Memo,
    old: &str,
    path: &str,
    value: &str,
) -> Result<Value, ApiError> {
    let edit = one(plan, memo, old, path, value)?;
    let new = spliced(old, std::slice::from_ref(&edit))?;
    let offsets = Offsets::of(&new);
    let (from, to) = (edit.range.start, edit.range.start + edit.text.len());
    Ok(json!({
        "text": new,
        "from": offsets.utf16(from),
        "to": offsets.utf16(to),
        "source_digest": text::text_digest(&new),
    }))
}

fn one(plan: &Path, memo: &Memo, old: &str, path: &str, value: &str) -> Result<Edit, ApiError> {
    key(&text::read(plan, old, memo), path, value)
}

/// The same of a text that was read.
pub(crate) fn key(reading: &Reading, path: &str, value: &str) -> Result<Edit, ApiError> {
    reading.set(path, value).map_err(refused)
}

pub(crate) fn spliced(old: &str, edits: &[Edit]) -> Result<String, ApiError> {
    splice(old, edits).map_err(refused)
}

fn refused(error: EditError) -> ApiError {
    ApiError::unusable("no-edit", error.to_string())
}
