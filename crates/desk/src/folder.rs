//! The files in the plan's folder that a page may name: cue sheets and recordings, and nothing that a link leads out of it.

use std::fs;
use std::path::{Component, Path, PathBuf};

use crate::error::ApiError;

/// How deep below the plan's folder files are looked for.
const DEEPEST: usize = 4;
/// Most files of a kind that are told.
const MOST: usize = 1000;
/// Ends of the names of recordings.
const RECORDINGS: [&str; 5] = ["wav", "rf64", "flac", "ogg", "oga"];

/// Files below a folder by their names relative to it, `/` between.
#[derive(Default)]
pub(crate) struct Found {
    pub(crate) cue_sheets: Vec<String>,
    pub(crate) recordings: Vec<String>,
}

/// The cue sheets and the recordings below the plan's folder.
pub(crate) fn found(folder: &Path) -> Found {
    let mut found = Found::default();
    let Ok(root) = folder.canonicalize() else {
        return found;
    };
    look(&root, &root, DEEPEST, &mut found);
    found.cue_sheets.sort();
    found.recordings.sort();
    found
}

fn look(root: &Path, folder: &Path, deeper: usize, found: &mut Found) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for path in entries.flatten().map(|entry| entry.path()) {
        let Ok(real) = path.canonicalize() else {
            continue;
        };
        let hidden = path
            .file_name()
            .is_none_or(|n| n.to_string_lossy().starts_with('.'));
        if hidden || !real.starts_with(root) {
            continue;
        }
        // A link to a folder could lead round in a ring.
        let linked = fs::symlink_metadata(&path).is_ok_and(|m| m.is_symlink());
        if real.is_dir() {
            if deeper > 0 && !linked {
                look(root, &path, deeper - 1, found);
            }
            continue;
        }
        let Some(name) = path.strip_prefix(root).ok().and_then(Path::to_str) else {
            continue;
        };
        let name = name.replace('\\', "/");
        let ending = real.extension().and_then(|e| e.to_str()).unwrap_or("");
        let ending = ending.to_ascii_lowercase();
        if RECORDINGS.contains(&&*ending) && found.recordings.len() < MOST {
            found.recordings.push(name);
        } else if ending == "toml" && found.cue_sheets.len() < MOST && is_cue_sheet(&real) {
            found.cue_sheets.push(name);
        }
    }
}

/// A plan, a catalogue and a cue sheet all are TOML: the keys at its top tell.
fn is_cue_sheet(path: &Path) -> bool {
    let bytes = plan::from_disk(path).ok();
    let bytes = bytes.filter(|b| b.len() <= plan::LARGEST_FILE);
    let text = bytes.and_then(|b| String::from_utf8(b).ok());
    text.is_some_and(|text| plan::is_cue_sheet(&text))
}

/// The file that a page names, inside the plan's folder once all links are followed.
pub(crate) fn file(folder: &Path, name: &str) -> Result<PathBuf, ApiError> {
    let outside = || {
        ApiError::missing(
            "outside",
            format!("`{name}` is no file in the plan's folder"),
        )
    };
    let plain = |c: Component<'_>| matches!(c, Component::Normal(_));
    let named = Path::new(name);
    if name.is_empty() || name.contains('\0') || !named.components().all(plain) {
        return Err(outside());
    }
    let root = folder.canonicalize().map_err(|_| outside())?;
    let real = root.join(named).canonicalize().map_err(|_| outside())?;
    match real.starts_with(&root) && real.is_file() {
        true => Ok(folder.join(named)),
        false => Err(outside()),
    }
}

/// A recording that a page names.
pub(crate) fn recording(folder: &Path, name: &str) -> Result<PathBuf, ApiError> {
    let path = file(folder, name)?;
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    match RECORDINGS.contains(&ending.to_ascii_lowercase().as_str()) {
        true => Ok(path),
        false => Err(ApiError::unusable(
            "no-recording",
            format!(
                "`{name}` is no recording: its name ends in none of {}",
                RECORDINGS.join(", ")
            ),
        )),
    }
}

/// The text of a cue sheet.
pub(crate) fn cue_text(path: &Path) -> Result<String, ApiError> {
    let bytes = plan::from_disk(path);
    let bytes = bytes.map_err(|e| ApiError::missing("unreadable", e.to_string()))?;
    let text = String::from_utf8(bytes).ok();
    let text = text.filter(|t| t.len() <= plan::LARGEST_FILE && plan::is_cue_sheet(t));
    text.ok_or_else(|| ApiError::unusable("no-cue-sheet", "this file is no cue sheet"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn verif_no_name_leads_out_of_the_folder() {
        use std::os::unix::fs::symlink;
        let outer = tempfile::tempdir().unwrap();
        let folder = outer.path().join("plan");
        fs::create_dir_all(folder.join("cues")).unwrap();
        fs::write(folder.join("cues/own.toml"), "x = 1").unwrap();
        fs::write(outer.path().join("secret.wav"), "x").unwrap();
        symlink(outer.path(), folder.join("up")).unwrap();
        symlink(outer.path().join("secret.wav"), folder.join("linked.wav")).unwrap();
        symlink(folder.join("cues/own.toml"), folder.join("inner.toml")).unwrap();
        assert!(file(&folder, "cues/own.toml").is_ok());
        assert!(file(&folder, "inner.toml").is_ok());
        for bad in [
            "",
            ".",
            "..",
            "../secret.wav",
            "cues/../../secret.wav",
            "up/secret.wav",
            "linked.wav",
            "cues",
            "/etc/passwd",
            "none.wav",
            "a\0b",
        ] {
            assert!(file(&folder, bad).is_err(), "{bad:?}");
        }
        // Nor are they told.
        let found = found(&folder);
        assert!(found.recordings.is_empty(), "{:?}", found.recordings);
    }
}
