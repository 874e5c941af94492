//! Recordings and labels by their content, as evidence names them.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use assess::tuning::TunedRecording;
use sha2::{Digest, Sha256};

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

/// Digests of recordings, each read once however many records name it.
#[derive(Debug, Default)]
pub(crate) struct Digests(BTreeMap<PathBuf, Option<String>>);

impl Digests {
    /// The recordings that are there and are others than evidence names, by the whole of their content. One that is not there, or cannot
    /// be read, may lie on another disk; it is taken at its word.
    pub(crate) fn changed(&mut self, beside: &Path, recordings: &[TunedRecording]) -> Vec<String> {
        let other = |recording: &&TunedRecording| {
            let path = beside.join(&recording.file);
            let Ok(about) = path.metadata() else {
                return false;
            };
            // Of another size it need not be read.
            about.len() != recording.bytes
                || self
                    .of(path)
                    .is_some_and(|digest| *digest != recording.sha256)
        };
        let changed = recordings.iter().filter(other);
        changed.map(|recording| recording.file.clone()).collect()
    }

    fn of(&mut self, path: PathBuf) -> Option<&String> {
        let known = self.0.entry(path);
        let known = known.or_insert_with_key(|path| digest(path).ok());
        known.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Seek, SeekFrom, Write};

    use super::*;

    /// However large a recording is, a single byte in its middle makes it another; one that is not there is taken at its word.
    #[test]
    fn verif_a_recording_is_compared_by_all_of_its_content() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.wav");
        let mut file = File::create(&path).unwrap();
        file.set_len((64 << 20) + 12_345).unwrap();
        let known = recording(&folder.path().join("plan.toml"), &path).unwrap();
        assert_eq!(known.file, "long.wav");
        let gone = TunedRecording {
            file: "gone.wav".to_owned(),
            ..known.clone()
        };
        let all = [known, gone];
        let changed = || Digests::default().changed(folder.path(), &all);
        assert_eq!(changed(), [""; 0]);
        file.seek(SeekFrom::Start(40 << 20)).unwrap();
        file.write_all(b"x").unwrap();
        assert_eq!(changed(), ["long.wav"]);
        // What has been read once is not read again.
        let mut digests = Digests::default();
        assert_eq!(digests.changed(folder.path(), &all), ["long.wav"]);
        file.seek(SeekFrom::Start(40 << 20)).unwrap();
        file.write_all(&[0]).unwrap();
        assert_eq!(digests.changed(folder.path(), &all), ["long.wav"]);
        assert_eq!(changed(), [""; 0]);
    }
}
