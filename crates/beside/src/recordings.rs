//! Recordings and labels by their content, as evidence names them.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use assess::evidence::folder;
use assess::tuning::TunedRecording;
use report::{Inputs, OutputError, Overwrite, write_atomically};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// SHA-256 of the content of a file.
pub fn content_digest(path: &Path) -> io::Result<[u8; 32]> {
    let whole = digest_of_pieces(path, &|_| true)?;
    Ok(whole.expect("nothing stops the reading"))
}

/// In hexadecimal.
fn watched_digest(path: &Path, watch: &dyn Fn(u64) -> bool) -> io::Result<Option<String>> {
    Ok(digest_of_pieces(path, watch)?.map(|digest| plan::hex(&digest)))
}

/// The same; `watch` is told the bytes that have been read, and stops it by `false`: then there is none.
pub(crate) fn digest_of_pieces(
    path: &Path,
    watch: &dyn Fn(u64) -> bool,
) -> io::Result<Option<[u8; 32]>> {
    let mut hash = Sha256::new();
    let mut bytes = 0;
    let mut take = |piece: &[u8]| {
        hash.update(piece);
        bytes += piece.len() as u64;
        watch(bytes)
    };
    let whole = pieces(path, &mut take)?;
    Ok(whole.then(|| hash.finalize().into()))
}

/// Hands a file on piece by piece; whether it came to its end.
fn pieces(path: &Path, take: &mut dyn FnMut(&[u8]) -> bool) -> io::Result<bool> {
    // A pipe would be waited for, and a device read for ever.
    if !path.metadata()?.is_file() {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is no file"));
    }
    let mut file = File::open(path)?;
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(true),
            n if !take(&piece[..n]) => return Ok(false),
            _ => {}
        }
    }
}

/// The same in hexadecimal.
pub fn digest(path: &Path) -> io::Result<String> {
    content_digest(path).map(|digest| plan::hex(&digest))
}

/// How evidence names a file: relative to the folder of the plan where it lies there, else in full.
pub fn named(plan: &Path, file: &Path) -> PathBuf {
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
pub fn recording(plan: &Path, file: &Path) -> io::Result<TunedRecording> {
    Ok(TunedRecording {
        file: named(plan, file).display().to_string(),
        bytes: file.metadata()?.len(),
        sha256: digest(file)?,
    })
}

/// What is kept beside the plan of recordings that have been read.
const KEPT: &str = "recordings.cache";
/// Its format; one of another is not read, and written anew.
const KEPT_FORMAT: &str = "recordings/1";
/// A file that was changed less than so long ago may be changed again without its time showing it, as clocks of file systems tick: what
/// is read of it is not kept.
const SETTLED: Duration = Duration::from_secs(2);

/// Digests of recordings, each good while size and time of the last change are these.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    format: String,
    /// By the names that evidence has for them.
    recordings: BTreeMap<String, KeptDigest>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct KeptDigest {
    bytes: u64,
    /// Since 1970, ns.
    modified_ns: u64,
    sha256: String,
}

/// What a file shows without being read.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Stamp {
    bytes: u64,
    modified: Option<SystemTime>,
}

impl Stamp {
    pub(crate) fn of(path: &Path) -> io::Result<Stamp> {
        let about = path.metadata()?;
        Ok(Stamp {
            bytes: about.len(),
            modified: about.modified().ok(),
        })
    }

    /// Whether it was last changed so long ago that another change would show.
    pub(crate) fn is_settled(self) -> bool {
        let now = SystemTime::now();
        self.modified
            .and_then(|at| now.duration_since(at).ok())
            .is_some_and(|age| age >= SETTLED)
    }

    fn modified_ns(self) -> Option<u64> {
        let since = self.modified?.duration_since(UNIX_EPOCH).ok()?;
        u64::try_from(since.as_nanos()).ok()
    }
}

/// How the recordings of a record compare with what lies there now.
#[derive(Debug, Default, PartialEq)]
pub struct Compared {
    /// Those that are others, by the whole of their content.
    pub changed: Vec<String>,
    /// Those that are there and cannot be read, with why.
    pub unread: Vec<String>,
}

/// Compares the recordings of each record with what lies there. Each file is read once, and only where it is not as it was when it was
/// read the last time, by its size and the time of its last change, which are kept with its digest beside the plan. One that is not there
/// may lie on another disk; it is taken at its word. `watch` is told the bytes that have been read of how many, and stops
/// the work by `false`; then nothing is told. The second part of the result is why nothing could be kept.
pub fn compared(
    plan: &Path,
    records: &[&[TunedRecording]],
    watch: &dyn Fn(u64, u64) -> bool,
) -> Option<(Vec<Compared>, Option<String>)> {
    let beside = plan.parent().unwrap_or(Path::new(""));
    let kept_path = folder(plan).join(KEPT);
    let mut kept = kept(&kept_path);
    let all = || records.iter().copied().flatten();
    let stamps: BTreeMap<&str, io::Result<Stamp>> = all()
        .map(|r| (&*r.file, Stamp::of(&beside.join(&r.file))))
        .collect();
    let mut digests: BTreeMap<&str, io::Result<String>> = BTreeMap::new();
    let mut to_read: BTreeMap<&str, Stamp> = BTreeMap::new();
    for recording in all() {
        let name = &*recording.file;
        // Of another size it need not be read.
        let Some(Ok(stamp)) = stamps.get(name) else {
            continue;
        };
        if stamp.bytes != recording.bytes {
            continue;
        }
        match kept.get(name) {
            Some(k) if k.bytes == stamp.bytes && Some(k.modified_ns) == stamp.modified_ns() => {
                digests.insert(name, Ok(k.sha256.clone()));
            }
            _ => {
                to_read.insert(name, *stamp);
            }
        }
    }
    let whole: u64 = to_read.values().map(|stamp| stamp.bytes).sum();
    let mut before = 0;
    let mut more = false;
    for (name, stamp) in to_read {
        let path = beside.join(name);
        let settled = stamp.is_settled();
        let read = watched_digest(&path, &|bytes| watch(before + bytes, whole)).transpose()?;
        before += stamp.bytes;
        let same = Stamp::of(&path).is_ok_and(|after| after == stamp);
        if let (Ok(sha256), Some(modified_ns), true) = (&read, stamp.modified_ns(), settled && same)
        {
            let digest = KeptDigest {
                bytes: stamp.bytes,
                modified_ns,
                sha256: sha256.clone(),
            };
            kept.insert(name.to_owned(), digest);
            more = true;
        }
        digests.insert(name, read);
    }
    let fault = more
        .then(|| {
            kept.retain(|name, _| stamps.contains_key(&**name));
            keep(&kept_path, kept)
        })
        .and_then(|written| written.err())
        .map(|error| format!("{error}; recordings are read again each time"));
    let compared = records.iter().map(|of_one| {
        let mut compared = Compared::default();
        for recording in *of_one {
            let name = &*recording.file;
            match (&stamps[name], digests.get(name)) {
                (Err(error), _) if error.kind() == io::ErrorKind::NotFound => {}
                (Err(error), _) | (_, Some(Err(error))) => {
                    compared.unread.push(format!("{name}: {error}"));
                }
                (Ok(stamp), digest) => {
                    let alike = stamp.bytes == recording.bytes
                        && digest.is_some_and(|d| d.as_ref().is_ok_and(|d| *d == recording.sha256));
                    if !alike {
                        compared.changed.push(recording.file.clone());
                    }
                }
            }
        }
        compared
    });
    Some((compared.collect(), fault))
}

/// What was kept; nothing where there is none, or where it cannot be used: then the recordings are read.
fn kept(path: &Path) -> BTreeMap<String, KeptDigest> {
    let read = std::fs::read(path).ok();
    let kept = read.and_then(|bytes| serde_json::from_slice::<Kept>(&bytes).ok());
    kept.filter(|kept| kept.format == KEPT_FORMAT)
        .map_or_else(BTreeMap::new, |kept| kept.recordings)
}

fn keep(path: &Path, recordings: BTreeMap<String, KeptDigest>) -> Result<(), OutputError> {
    let kept = Kept {
        format: KEPT_FORMAT.to_owned(),
        recordings,
    };
    let mut text = serde_json::to_string_pretty(&kept).expect("strings and numbers become JSON");
    text.push('\n');
    write_atomically(path, text.as_bytes(), Overwrite::Force, &Inputs::default())
}

#[cfg(test)]
mod tests {
    use std::io::{Seek, SeekFrom, Write};

    use super::*;

    struct Bench {
        folder: tempfile::TempDir,
        file: File,
        long_ago: SystemTime,
        all: Vec<TunedRecording>,
    }

    impl Bench {
        fn new() -> Bench {
            let folder = tempfile::tempdir().unwrap();
            std::fs::create_dir(folder.path().join("plan.evidence")).unwrap();
            let path = folder.path().join("long.wav");
            let file = File::create(&path).unwrap();
            file.set_len((4 << 20) + 12_345).unwrap();
            let long_ago = SystemTime::now() - Duration::from_secs(3600);
            file.set_modified(long_ago).unwrap();
            let known = recording(&folder.path().join("plan.toml"), &path).unwrap();
            assert_eq!(known.file, "long.wav");
            let gone = TunedRecording {
                file: "gone.wav".to_owned(),
                ..known.clone()
            };
            Bench {
                folder,
                file,
                long_ago,
                all: vec![known, gone],
            }
        }

        /// How the recordings compare, and how many bytes were to be read.
        fn compared(&self) -> (Compared, u64) {
            let read = std::cell::Cell::new(0);
            let watch = |_, whole| {
                read.set(whole);
                true
            };
            let plan = self.folder.path().join("plan.toml");
            let (mut all, fault) = compared(&plan, &[&self.all], &watch).unwrap();
            assert_eq!(fault, None);
            (all.remove(0), read.get())
        }

        fn write(&mut self, byte: u8) {
            self.file.seek(SeekFrom::Start(2 << 20)).unwrap();
            self.file.write_all(&[byte]).unwrap();
        }
    }

    fn changed(names: &[&str]) -> Compared {
        Compared {
            changed: names.iter().map(|&name| name.to_owned()).collect(),
            unread: Vec::new(),
        }
    }

    /// However large a recording is, a single byte in its middle makes it another; one that is not there is taken at its word.
    #[test]
    fn verif_a_recording_is_compared_by_all_of_its_content_and_read_once() {
        let mut bench = Bench::new();
        let bytes = bench.all[0].bytes;
        assert_eq!(bench.compared(), (changed(&[]), bytes));
        // What has been read is not read again while neither size nor time change.
        assert_eq!(bench.compared(), (changed(&[]), 0));
        bench.write(b'x');
        assert_eq!(bench.compared(), (changed(&["long.wav"]), bytes));
        // It was changed a moment ago, and so is read again.
        bench.write(0);
        assert_eq!(bench.compared(), (changed(&[]), bytes));
        bench.file.set_modified(bench.long_ago).unwrap();
        bench.compared();
        assert_eq!(bench.compared(), (changed(&[]), 0));
        // Of another size it is another, and not read.
        bench.file.set_len(bytes + 1).unwrap();
        assert_eq!(bench.compared(), (changed(&["long.wav"]), 0));
        // What is kept and cannot be used is made anew.
        bench.file.set_len(bytes).unwrap();
        bench.file.set_modified(bench.long_ago).unwrap();
        let kept = bench.folder.path().join("plan.evidence").join(KEPT);
        std::fs::write(kept, "no record").unwrap();
        assert_eq!(bench.compared(), (changed(&[]), bytes));
        assert_eq!(bench.compared(), (changed(&[]), 0));
    }

    /// Whoever stops the reading is told nothing.
    #[test]
    fn verif_reading_can_be_stopped() {
        let bench = Bench::new();
        let plan = bench.folder.path().join("plan.toml");
        let stop = |_, _| false;
        assert!(compared(&plan, &[&bench.all], &stop).is_none());
    }

    /// What is there and cannot be read is not taken to be the same.
    #[test]
    fn verif_a_recording_that_cannot_be_read_is_told() {
        let bench = Bench::new();
        let path = bench.folder.path().join("folder.wav");
        std::fs::create_dir(&path).unwrap();
        let other = TunedRecording {
            file: "folder.wav".to_owned(),
            bytes: path.metadata().unwrap().len(),
            ..bench.all[0].clone()
        };
        let plan = bench.folder.path().join("plan.toml");
        let (all, _) = compared(&plan, &[&[other]], &|_, _| true).unwrap();
        assert!(all[0].changed.is_empty());
        assert!(all[0].unread[0].starts_with("folder.wav: "), "{all:?}");
    }
}
