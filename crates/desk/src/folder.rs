//! The files in the plan's folder that a page may name: cue sheets and recordings, and nothing that a link leads out of it.

use std::fs;
use std::path::Path;

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
