//! Paths that a file may name: they stay under its own folder.

use std::path::{Component, Path, PathBuf};

/// Whether a relative path never leaves the folder it is joined to.
pub(crate) fn stays_inside(path: &Path) -> bool {
    let mut depth = 0i32;
    for part in path.components() {
        match part {
            Component::Normal(_) => depth += 1,
            Component::CurDir => {}
            Component::ParentDir => depth -= 1,
            Component::RootDir | Component::Prefix(_) => return false,
        }
        if depth < 0 {
            return false;
        }
    }
    depth > 0
}

/// A path without `.` and `..`, so that the same file has one name.
pub(crate) fn tidy(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if out.file_name().is_some() => {
                out.pop();
            }
            other => out.push(other),
        }
    }
    out
}
