//! A cue sheet that a page names or sends, read against the plan.

use std::path::{Path, PathBuf};

use assess::Memo;
use plan::{CueReading, Reading};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::offsets::Places;
use crate::{folder, text};

/// Where a sheet that lies in no file is taken to lie: beside the plan.
const UNNAMED: &str = "cue-sheet.toml";

/// A sheet to look through.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Ask {
    /// Of the plan.
    text: String,
    /// The sheet's name in the plan's folder, where it has one.
    cues: Option<String>,
    /// Of the sheet.
    cue_text: String,
}

/// What is wrong with a sheet that a page sends, with places in its text, and whether there is a line to hold it against: without one what
/// it names is not looked up.
pub(crate) fn looked_through(plan: &Path, memo: &Memo, ask: &Ask) -> Result<Value, ApiError> {
    let reading = text::read(plan, &ask.text, memo);
    let (_, read) = read(plan, &reading, ask.cues.as_deref(), Some(&ask.cue_text))?;
    Ok(json!({
        "source_digest": text::text_digest(&ask.cue_text),
        "file": Places::of(&read.sources).name(read.file),
        "mistakes": mistakes(&read),
        "has_line": reading.line.is_some(),
    }))
}

/// What is wrong with a sheet, with places as the page counts them.
pub(crate) fn mistakes(read: &CueReading) -> Vec<Value> {
    text::placed(&read.mistakes, &Places::of(&read.sources))
}

/// The folder of a plan.
pub(crate) fn folder_of(plan: &Path) -> &Path {
    match plan.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The cue sheet read against the plan, and its path: by its name as it lies in the plan's folder, or by its text, with its name where it has one.
pub(crate) fn read(
    plan: &Path,
    reading: &Reading,
    name: Option<&str>,
    given: Option<&str>,
) -> Result<(PathBuf, CueReading), ApiError> {
    let beside = plan.parent().unwrap_or(Path::new(""));
    let path = match (name, given) {
        (Some(name), None) => folder::file(folder_of(plan), name)?,
        // Its recordings are found from where the sheet lies, or will lie.
        (Some(name), Some(_)) => {
            folder::new_sheet(folder_of(plan), name)?;
            beside.join(name)
        }
        (None, Some(_)) => beside.join(UNNAMED),
        (None, None) => {
            return Err(ApiError::unusable(
                "bad-ask",
                "neither `cues` nor `cue_text` is given",
            ));
        }
    };
    let fetch = |wanted: &Path| match given {
        Some(own) if wanted == path => Ok(own.as_bytes().to_vec()),
        _ => plan::from_folder_of(plan)(wanted),
    };
    let read = plan::read_cues(&path, reading, &fetch);
    Ok((path, read))
}
