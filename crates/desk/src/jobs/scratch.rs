//! The folder for traces among the system's temporary files. A server takes its own away when it ends; what one left that was ended
//! from outside is taken away by the next.

use std::fs;
use std::io;
use std::path::Path;

use tempfile::TempDir;

/// Its name begins so, followed by the number of the process and what chance gives.
const PREFIX: &str = "soundline-desk-";

/// A folder of this server, when those of servers that are no more are gone.
pub(super) fn make() -> io::Result<TempDir> {
    sweep(&std::env::temp_dir());
    let prefix = format!("{PREFIX}{}-", std::process::id());
    tempfile::Builder::new().prefix(&prefix).tempdir()
}

/// Takes away what processes left that no longer run. What may not be taken away, or cannot be told, stays.
fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let left = name.to_str().and_then(process).is_some_and(is_gone);
        // A link of that name is nobody's folder.
        if left && entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            drop(fs::remove_dir_all(entry.path()));
        }
    }
}

/// The process whose folder has this name.
fn process(name: &str) -> Option<u32> {
    let (process, _) = name.strip_prefix(PREFIX)?.split_once('-')?;
    process.parse().ok()
}

/// Whether no process has this number; where that cannot be told, none is gone.
fn is_gone(process: u32) -> bool {
    let all = Path::new("/proc");
    all.join("self").exists() && !all.join(process.to_string()).exists()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_folder_tells_its_process() {
        assert_eq!(process("soundline-desk-71-a4Fx"), Some(71));
        for other in [
            "soundline-desk-a4Fx",
            "soundline-desk-71",
            "desk-71-x",
            "soundline-desk--x",
        ] {
            assert_eq!(process(other), None, "{other}");
        }
    }

    /// What a killed server left goes with the next one; that of a server at work, and what else lies there, stays.
    #[cfg(target_os = "linux")]
    #[test]
    fn verif_what_a_killed_server_left_goes_with_the_next() {
        let temp = tempfile::tempdir().unwrap();
        let mut ended = std::process::Command::new("true").spawn().unwrap();
        ended.wait().unwrap();
        let folder = |name: String| {
            let path = temp.path().join(name);
            fs::create_dir(&path).unwrap();
            fs::write(path.join("trace-1"), "x").unwrap();
            path
        };
        let left = folder(format!("{PREFIX}{}-aaaa", ended.id()));
        let own = folder(format!("{PREFIX}{}-bbbb", std::process::id()));
        let other = folder("soundline-desk-cccc".to_owned());
        let link = temp.path().join(format!("{PREFIX}{}-dddd", ended.id()));
        std::os::unix::fs::symlink(&other, &link).unwrap();
        sweep(temp.path());
        assert!(!left.exists());
        assert!(own.join("trace-1").exists());
        assert!(other.join("trace-1").exists());
        assert!(fs::symlink_metadata(&link).is_ok());
    }
}
