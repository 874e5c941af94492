//! The plan and its cue sheets on the disk: read, replaced without losing what somebody else wrote, and watched.

use std::fs::{self, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

use axum::http::StatusCode;
use beside::{ReplaceError, replace_text};
use report::{Inputs, OutputError, Overwrite, write_atomically};
use serde_json::json;
use sha2::{Digest, Sha256};

use crate::error::ApiError;
use crate::folder;
use crate::text::text_digest;

/// The plan's file.
pub(crate) struct PlanFile {
    path: PathBuf,
    identity: String,
    /// One writes at a time.
    writing: Mutex<()>,
}

impl PlanFile {
    pub(crate) fn at(path: PathBuf) -> PlanFile {
        let full = path.canonicalize().or_else(|_| std::path::absolute(&path));
        let full = full.unwrap_or_else(|_| path.clone());
        PlanFile {
            identity: plan::hex(&Sha256::digest(full.as_os_str().as_encoded_bytes())),
            path,
            writing: Mutex::new(()),
        }
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Tells this plan from every other of this machine, whatever their names and texts: SHA-256 in hexadecimal of the path
    /// that it had when the desk was opened, without links.
    pub(crate) fn identity(&self) -> &str {
        &self.identity
    }

    /// Its name without folders.
    pub(crate) fn name(&self) -> String {
        name(&self.path)
    }

    /// The folder in which it lies, as the user gave it.
    pub(crate) fn folder(&self) -> &Path {
        match self.path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        }
    }

    /// The name of that folder.
    pub(crate) fn folder_name(&self) -> String {
        let full = self.folder().canonicalize();
        full.map_or_else(|_| name(self.folder()), |full| name(&full))
    }

    /// What stands in it now.
    pub(crate) fn read(&self) -> Result<String, ApiError> {
        let bytes = plan::from_disk(&self.path).map_err(|e| unread(&self.path, A_PLAN, &e))?;
        as_text(bytes, A_PLAN)
    }

    /// Whether saving cannot work, as far as that can be told without writing.
    pub(crate) fn is_read_only(&self) -> bool {
        let readonly = |path: &Path| fs::metadata(path).is_ok_and(|m| m.permissions().readonly());
        readonly(&self.path)
            || readonly(self.folder())
            || OpenOptions::new().append(true).open(&self.path).is_err()
    }

    /// Refuses a page that was opened on another plan.
    pub(crate) fn is_meant(&self, identity: &str) -> Result<(), ApiError> {
        if identity == self.identity {
            return Ok(());
        }
        Err(ApiError::new(
            StatusCode::CONFLICT,
            "another-plan",
            format!(
                "this is the desk of another plan, {}; nothing was written",
                self.path.display()
            ),
        )
        .help("start `soundline desk` with the plan of the page at this port again; the page keeps its text"))
    }

    /// Replaces what stands in it, if that is still the text of this digest. Gives the digest of the new text.
    pub(crate) fn replace(&self, text: &str, base_digest: &str) -> Result<String, ApiError> {
        let _one = self.one_writes();
        replace(&self.path, A_PLAN, text, base_digest)
    }

    fn one_writes(&self) -> MutexGuard<'_, ()> {
        self.writing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What shows a change without reading.
    pub(crate) fn stamp(&self) -> Option<Stamp> {
        let about = fs::metadata(&self.path).ok()?;
        Some((about.len(), about.modified().ok()))
    }
}

/// Length, and the time of the last change.
pub(crate) type Stamp = (u64, Option<SystemTime>);

fn name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// What a text is called in what is said of it.
const A_PLAN: &str = "plan";
const A_SHEET: &str = "cue sheet";

fn too_large(what: &str) -> ApiError {
    let most = plan::LARGEST_FILE >> 20;
    let why = format!("a {what} may have {most} MiB, and this one has more");
    ApiError::unusable("too-large", why)
}

fn as_text(bytes: Vec<u8>, what: &str) -> Result<String, ApiError> {
    if bytes.len() > plan::LARGEST_FILE {
        return Err(too_large(what));
    }
    String::from_utf8(bytes).map_err(|error| {
        let byte = error.utf8_error().valid_up_to();
        let why = format!("the {what} on the disk is not UTF-8 text (byte {byte})");
        ApiError::unusable("no-text", why).help("save it as UTF-8 (editors call this the encoding)")
    })
}

fn unread(path: &Path, what: &str, error: &io::Error) -> ApiError {
    let shown = path.display();
    let gone = format!("{shown} is no longer there: it was moved, renamed or removed");
    match error.kind() {
        io::ErrorKind::NotFound if what == A_PLAN => ApiError::missing("plan-gone", gone).help(
            "put it back, or start `soundline desk` with its new place; the page keeps its text",
        ),
        io::ErrorKind::NotFound => {
            ApiError::missing("gone", gone).help("save it as a new one; the page keeps its text")
        }
        _ => ApiError::new(
            StatusCode::FORBIDDEN,
            "unreadable",
            format!("{shown} cannot be read: {error}"),
        ),
    }
}

fn replace(path: &Path, what: &str, text: &str, base_digest: &str) -> Result<String, ApiError> {
    if text.len() > plan::LARGEST_FILE {
        return Err(too_large(what));
    }
    let same =
        |now: &[u8]| std::str::from_utf8(now).is_ok_and(|now| text_digest(now) == base_digest);
    match replace_text(path, &same, text) {
        Ok(()) => Ok(text_digest(text)),
        Err(ReplaceError::ChangedMeanwhile { .. }) => {
            let now = plan::from_disk(path).map_err(|e| unread(path, what, &e))?;
            Err(changed_meanwhile(what, &as_text(now, what)?))
        }
        Err(ReplaceError::File { source, .. }) => Err(unread(path, what, &source)),
        Err(error @ ReplaceError::ReadOnly { .. }) => {
            Err(
                ApiError::new(StatusCode::FORBIDDEN, "read-only", error.to_string())
                    .help("let yourself write it, or save a copy of the text; the page keeps it"),
            )
        }
        Err(ReplaceError::Output(error)) => Err(unwritten(what, &error)),
    }
}

fn changed_meanwhile(what: &str, now: &str) -> ApiError {
    ApiError::new(
        StatusCode::CONFLICT,
        "changed-meanwhile",
        format!("the {what} was changed on the disk meanwhile; nothing was written"),
    )
    .help("look at the difference, then save over it or take it")
    .with("source_digest", json!(text_digest(now)))
    .with("text", json!(now))
}

/// Writes a cue sheet in the plan's folder: over the text of this digest, or where nothing is yet. Gives the digest of the new text.
pub(crate) fn save_cues(
    plan: &PlanFile,
    name: &str,
    text: &str,
    base_digest: Option<&str>,
) -> Result<String, ApiError> {
    let path = folder::new_sheet(plan.folder(), name)?;
    if !plan::is_cue_sheet(text) {
        return Err(ApiError::unusable(
            "no-cue-sheet",
            "this text is no cue sheet: nothing was written",
        )
        .help("a cue sheet has a table [rehearsal]"));
    }
    let _one = plan.one_writes();
    // A plan, a catalogue and what else lies there are no cue sheets, and none is written over.
    let now = match path.exists() {
        true => Some(folder::cue_text(&path)?),
        false => None,
    };
    match (base_digest, now) {
        (Some(base_digest), Some(_)) => replace(&path, A_SHEET, text, base_digest),
        (Some(_), None) => Err(unread(&path, A_SHEET, &io::ErrorKind::NotFound.into())),
        (None, Some(now)) => Err(changed_meanwhile(A_SHEET, &now)),
        (None, None) => {
            if let Some(folder) = path.parent() {
                fs::create_dir_all(folder).map_err(|source| {
                    let (action, path) = ("create the folder", folder.to_path_buf());
                    unwritten(
                        A_SHEET,
                        &OutputError::Io {
                            action,
                            path,
                            source,
                        },
                    )
                })?;
            }
            let written =
                write_atomically(&path, text.as_bytes(), Overwrite::Refuse, &Inputs::none());
            match written {
                Ok(()) => Ok(text_digest(text)),
                Err(OutputError::Exists { .. }) => {
                    Err(changed_meanwhile(A_SHEET, &folder::cue_text(&path)?))
                }
                Err(error) => Err(unwritten(A_SHEET, &error)),
            }
        }
    }
}

fn unwritten(what: &str, error: &OutputError) -> ApiError {
    let kind = match error {
        OutputError::Io { source, .. } => source.kind(),
        _ => io::ErrorKind::Other,
    };
    let (status, code, help) = match kind {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => (
            StatusCode::INSUFFICIENT_STORAGE,
            "disk-full",
            "make room on the disk and save again; the page keeps its text",
        ),
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => (
            StatusCode::FORBIDDEN,
            "read-only",
            "let yourself write in its folder; the page keeps its text",
        ),
        _ => (
            StatusCode::INTERNAL_SERVER_ERROR,
            "unwritten",
            "the file on the disk is as it was; the page keeps its text",
        ),
    };
    ApiError::new(status, code, format!("the {what} was not saved: {error}")).help(help)
}
