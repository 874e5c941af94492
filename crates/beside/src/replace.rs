//! A plan replaced on the disk by its next text: whole or not at all, and never over what somebody else has written meanwhile.

use std::fs;
use std::io;
use std::path::Path;

use report::{Inputs, OutputError, Overwrite, write_atomically};

/// Why a plan was left as it is.
#[derive(Debug, thiserror::Error)]
pub enum ReplaceError {
    /// It is another than it was.
    #[error("{path}: the plan was changed meanwhile and is left as it is")]
    ChangedMeanwhile {
        /// The plan.
        path: String,
    },
    /// It cannot be read again, or its permissions cannot be kept.
    #[error("{path}: {source}")]
    File {
        /// The plan.
        path: String,
        /// Why.
        source: io::Error,
    },
    /// It may not be written.
    #[error("{path}: the plan may not be written (it is read-only)")]
    ReadOnly {
        /// The plan.
        path: String,
    },
    /// It cannot be written.
    #[error(transparent)]
    Output(#[from] OutputError),
}

/// Writes `text` into the plan, unless what stands there is no longer what `same` takes for the text that was read. A link to a plan stays a
/// link, and a plan keeps its permissions.
///
/// # Errors
/// [`ReplaceError`]; the plan is then as it was.
pub fn replace_plan(
    path: &Path,
    same: &dyn Fn(&[u8]) -> bool,
    text: &str,
) -> Result<(), ReplaceError> {
    let shown = path.display().to_string();
    let file = |source: io::Error| ReplaceError::File {
        path: shown.clone(),
        source,
    };
    // The file itself: a link to it stays a link.
    let real = path.canonicalize().map_err(file)?;
    let permissions = fs::metadata(&real).map_err(file)?.permissions();
    let now = plan::from_disk(&real).map_err(file)?;
    if !same(&now) {
        return Err(ReplaceError::ChangedMeanwhile { path: shown });
    }
    // A new name needs no permission of the old file, so that it is asked for here.
    if permissions.readonly() {
        return Err(ReplaceError::ReadOnly { path: shown });
    }
    write_atomically(&real, text.as_bytes(), Overwrite::Force, &Inputs::none())?;
    fs::set_permissions(&real, permissions).map_err(file)
}
