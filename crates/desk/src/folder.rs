//! The files in the plan's folder that a page may name: cue sheets and recordings, and nothing that a link leads out of it.

use std::collections::VecDeque;
use std::fs;
use std::path::{Component, Path, PathBuf};
use std::time::{Duration, Instant};

use crate::error::ApiError;

/// How deep below the plan's folder files are looked for.
const DEEPEST: usize = 4;
/// Most files of a kind that are told.
const MOST: usize = 1000;
/// Ends of the names of recordings.
const RECORDINGS: [&str; 5] = ["wav", "rf64", "flac", "ogg", "oga"];

/// Most entries of folders that are looked at, and most files that are read to see whether they are cue sheets.
const MOST_ENTRIES: usize = 20_000;
const MOST_READ: usize = 2000;
/// Longest time that is looked.
const LONGEST: Duration = Duration::from_secs(2);

/// Files below a folder by their names relative to it, `/` between.
#[derive(Default)]
pub(crate) struct Found {
    pub(crate) cue_sheets: Vec<String>,
    pub(crate) recordings: Vec<String>,
    /// Why there may be more than these.
    pub(crate) cut: Option<String>,
}

/// The cue sheets and the recordings below the plan's folder, those that lie nearest first. A folder may hold any number of files that are
/// no business of the plan, as a home does: then not all are looked at, and that is told.
pub(crate) fn found(folder: &Path) -> Found {
    let mut found = Found::default();
    let Ok(root) = folder.canonicalize() else {
        return found;
    };
    let mut look = Look {
        root: &root,
        until: Instant::now() + LONGEST,
        entries: 0,
        read: 0,
    };
    found.cut = look.all(&mut found).err();
    found.cue_sheets.sort();
    found.recordings.sort();
    found
}

struct Look<'a> {
    root: &'a Path,
    until: Instant,
    entries: usize,
    read: usize,
}

impl Look<'_> {
    /// Folder by folder, the nearest first; an error where it ended before its end.
    fn all(&mut self, found: &mut Found) -> Result<(), String> {
        let mut folders = VecDeque::from([(self.root.to_path_buf(), DEEPEST)]);
        while let Some((folder, deeper)) = folders.pop_front() {
            let Ok(entries) = fs::read_dir(&folder) else {
                continue;
            };
            for path in entries.flatten().map(|entry| entry.path()) {
                self.entries += 1;
                if self.entries > MOST_ENTRIES {
                    return Err(format!(
                        "more than {MOST_ENTRIES} files and folders lie below the plan's folder"
                    ));
                }
                if Instant::now() > self.until {
                    let s = LONGEST.as_secs();
                    return Err(format!(
                        "looking below the plan's folder took more than {s} s"
                    ));
                }
                if self.one(&path, found)? && deeper > 0 {
                    folders.push_back((path, deeper - 1));
                }
            }
        }
        Ok(())
    }

    /// Whether it is a folder to look into.
    fn one(&mut self, path: &Path, found: &mut Found) -> Result<bool, String> {
        let hidden = path
            .file_name()
            .is_none_or(|n| n.to_string_lossy().starts_with('.'));
        let real = path
            .canonicalize()
            .ok()
            .filter(|r| r.starts_with(self.root));
        let Some(real) = real.filter(|_| !hidden) else {
            return Ok(false);
        };
        if real.is_dir() {
            // A link to a folder could lead round in a ring.
            return Ok(!fs::symlink_metadata(path).is_ok_and(|m| m.is_symlink()));
        }
        let Some(name) = path.strip_prefix(self.root).ok().and_then(Path::to_str) else {
            return Ok(false);
        };
        let name = name.replace('\\', "/");
        let ending = real.extension().and_then(|e| e.to_str()).unwrap_or("");
        let ending = ending.to_ascii_lowercase();
        let (into, what) = if RECORDINGS.contains(&&*ending) {
            (&mut found.recordings, "recordings")
        } else if ending == "toml" {
            self.read += 1;
            if self.read > MOST_READ {
                return Err(format!(
                    "more than {MOST_READ} files that could be cue sheets lie below the plan's folder"
                ));
            }
            if !is_cue_sheet(&real) {
                return Ok(false);
            }
            (&mut found.cue_sheets, "cue sheets")
        } else {
            return Ok(false);
        };
        if into.len() >= MOST {
            return Err(format!(
                "more than {MOST} {what} lie below the plan's folder"
            ));
        }
        into.push(name);
        Ok(false)
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

/// The path of a cue sheet that a page names, which need not be there yet: inside the plan's folder once all links are followed.
pub(crate) fn new_sheet(folder: &Path, name: &str) -> Result<PathBuf, ApiError> {
    let refused = |why: &str| {
        ApiError::unusable(
            "no-name",
            format!("`{name}` is no name of a cue sheet: {why}"),
        )
        .help("give a name such as cues/night.toml, in the plan's folder or below it")
    };
    let named = Path::new(name);
    let mut pieces = named.components();
    let plain = |c: Component<'_>| match c {
        // A sheet that begins so is not found again.
        Component::Normal(piece) => !piece.to_string_lossy().starts_with('.'),
        _ => false,
    };
    if name.contains('\0') || !pieces.all(plain) {
        return Err(refused("each part of it has to be a plain name"));
    }
    if named.extension().is_none_or(|end| end != "toml") {
        return Err(refused("it does not end in .toml"));
    }
    if named.components().count() > DEEPEST + 1 {
        return Err(refused("it lies too deep to be found again"));
    }
    let path = folder.join(named);
    let root = folder
        .canonicalize()
        .map_err(|_| refused("the plan's folder is gone"))?;
    // What is not there yet leads nowhere: the deepest folder that is there tells. A link that leads nowhere is there.
    let is_there = |path: &&Path| fs::symlink_metadata(path).is_ok();
    let there = path.ancestors().find(is_there);
    let inside = there.and_then(|there| there.canonicalize().ok());
    match inside.is_some_and(|real| real.starts_with(&root)) {
        true => Ok(path),
        false => Err(refused("it leads out of the plan's folder")),
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

    /// What lies near is found however much lies deeper, and that not all was looked at is told.
    #[test]
    fn verif_a_folder_of_very_many_files_is_not_walked_to_its_end() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir_all(at("a/deep")).unwrap();
        for n in 0..=MOST_ENTRIES {
            fs::File::create(at(&format!("a/deep/{n}.txt"))).unwrap();
        }
        fs::create_dir(at("z")).unwrap();
        fs::write(at("z/near.wav"), "x").unwrap();
        let told = found(folder.path());
        assert_eq!(told.recordings, ["z/near.wav"]);
        // Where that takes long, it is the time that ends it.
        assert!(told.cut.is_some());
        fs::remove_dir_all(at("a")).unwrap();
        assert_eq!(found(folder.path()).cut, None);
        for n in 0..=MOST {
            fs::File::create(at(&format!("{n}.wav"))).unwrap();
        }
        let told = found(folder.path());
        assert_eq!(told.recordings.len(), MOST);
        assert!(told.cut.unwrap().starts_with("more than 1000 recordings"));
    }

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
        for good in [
            "cues/own.toml",
            "cues/new.toml",
            "inner.toml",
            "a/b/new.toml",
        ] {
            assert!(new_sheet(&folder, good).is_ok(), "{good}");
        }
        symlink(outer.path().join("none.toml"), folder.join("nowhere.toml")).unwrap();
        for bad in [
            "",
            "..",
            "../new.toml",
            "cues/../../new.toml",
            "up/new.toml",
            "up/deep/new.toml",
            "nowhere.toml",
            "/elsewhere/new.toml",
            "cues/new.txt",
            "cues",
            ".hidden/new.toml",
            ".toml",
            "a/b/c/d/e/new.toml",
            "a\0b.toml",
        ] {
            assert!(new_sheet(&folder, bad).is_err(), "{bad:?}");
        }
        // Nor are they told.
        let found = found(&folder);
        assert!(found.recordings.is_empty(), "{:?}", found.recordings);
    }
}
