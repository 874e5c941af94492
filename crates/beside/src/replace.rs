//! A plan or a cue sheet replaced on the disk by its next text: whole or not at all, and never over what somebody else has written meanwhile.

use std::fs;
use std::io;
use std::path::Path;

use report::{Inputs, OutputError, Overwrite, PendingOutput};

/// Why a file was left as it is.
#[derive(Debug, thiserror::Error)]
pub enum ReplaceError {
    /// It is another than it was.
    #[error("{path}: it was changed meanwhile and is left as it is")]
    ChangedMeanwhile {
        /// The file.
        path: String,
    },
    /// It cannot be read again, or its permissions cannot be kept.
    #[error("{path}: {source}")]
    File {
        /// The file.
        path: String,
        /// Why.
        source: io::Error,
    },
    /// It may not be written.
    #[error("{path}: it may not be written (it is read-only)")]
    ReadOnly {
        /// The file.
        path: String,
    },
    /// It cannot be written.
    #[error(transparent)]
    Output(#[from] OutputError),
}

/// Writes `text` into a file, unless what stands there is no longer what `same` takes for the text that was read. A link to a file stays a
/// link, and a file keeps its permissions.
///
/// # Errors
/// [`ReplaceError`]; the file is then as it was.
pub fn replace_text(
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
    let pending = PendingOutput::begin(&real, Overwrite::Force, &Inputs::none())?;
    // Before anything stands in it, so that nobody reads what they may not.
    if let Some(part) = pending.part() {
        part.set_permissions(permissions).map_err(file)?;
    }
    // Handing it to the disk may take long enough for somebody else to write.
    let still = || plan::from_disk(&real).is_ok_and(|now| same(&now));
    match pending.finish_if(|part| part.write_all(text.as_bytes()), still)? {
        true => Ok(()),
        false => Err(ReplaceError::ChangedMeanwhile { path: shown }),
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    /// Names in a folder but the file's own.
    fn others(folder: &Path) -> Vec<std::path::PathBuf> {
        let all = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
        all.filter(|p| p.file_name().is_none_or(|n| n != "plan.toml"))
            .collect()
    }

    /// What is written while the new text goes to the disk is seen: it stays, and nothing half written does.
    #[test]
    fn verif_what_is_written_until_the_last_moment_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plan.toml");
        fs::write(&path, "old").unwrap();
        let looks = Cell::new(0);
        let same = |now: &[u8]| {
            looks.set(looks.get() + 1);
            let was = now == b"old";
            if looks.get() == 1 {
                fs::write(&path, "theirs").unwrap();
            }
            was
        };
        let left = replace_text(&path, &same, "mine");
        assert!(matches!(left, Err(ReplaceError::ChangedMeanwhile { .. })));
        assert_eq!(fs::read_to_string(&path).unwrap(), "theirs");
        assert!(others(folder.path()).is_empty());
        replace_text(&path, &|now| now == b"theirs", "mine").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "mine");
    }

    /// A text that others may not read can at no time be read by them, nor when it has its name.
    #[cfg(unix)]
    #[test]
    fn verif_a_file_keeps_its_permissions_all_the_while() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plan.toml");
        fs::write(&path, "old").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        let mode = |of: &Path| fs::metadata(of).unwrap().permissions().mode() & 0o777;
        let parts = Cell::new(0);
        let same = |_: &[u8]| {
            for part in others(folder.path()) {
                parts.set(parts.get() + 1);
                assert_eq!(fs::read_to_string(&part).unwrap(), "mine");
                assert_eq!(mode(&part), 0o600);
            }
            true
        };
        replace_text(&path, &same, "mine").unwrap();
        assert_eq!((parts.get(), mode(&path)), (1, 0o600));
    }
}
