//! Recordings and labels by their content, as evidence names them.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use assess::tuning::TunedRecording;
use sha2::{Digest, Sha256};

/// Most bytes of recordings that one check hashes again; beyond, recordings are compared by their size.
pub(crate) const MOST_HASHED: u64 = 64 << 20;

/// SHA-256 of the content of a file.
pub(crate) fn content_digest(path: &Path) -> io::Result<[u8; 32]> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(hash.finalize().into()),
            n => hash.update(&piece[..n]),
        }
    }
}

/// The same in hexadecimal.
pub(crate) fn digest(path: &Path) -> io::Result<String> {
    content_digest(path).map(|digest| plan::hex(&digest))
}

/// How evidence names a file: relative to the folder of the plan where it lies there, else in full.
pub(crate) fn named(plan: &Path, file: &Path) -> PathBuf {
    let folder = match plan.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    match (file.canonicalize(), folder.canonicalize()) {
        (Ok(file), Ok(folder)) => file
            .strip_prefix(&folder)
            .map_or_else(|_| file.clone(), Path::to_path_buf),
        _ => file.to_path_buf(),
    }
}

/// What evidence says of a recording.
pub(crate) fn recording(plan: &Path, file: &Path) -> io::Result<TunedRecording> {
    Ok(TunedRecording {
        file: named(plan, file).display().to_string(),
        bytes: file.metadata()?.len(),
        sha256: digest(file)?,
    })
}

/// The recordings that are there and are others than evidence names. One that is not there may lie on another disk; it is taken at its
/// word. `to_hash` is what is still hashed of the bytes of all.
pub(crate) fn changed(
    beside: &Path,
    recordings: &[TunedRecording],
    to_hash: &mut u64,
) -> Vec<String> {
    let mut changed = Vec::new();
    for recording in recordings {
        let path = beside.join(&recording.file);
        let Ok(about) = path.metadata() else { continue };
        let hashed = *to_hash >= about.len();
        if hashed {
            *to_hash -= about.len();
        }
        let other = about.len() != recording.bytes
            || (hashed && digest(&path).is_ok_and(|digest| digest != recording.sha256));
        if other {
            changed.push(recording.file.clone());
        }
    }
    changed
}
