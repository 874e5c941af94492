//! What was read of the files beside a plan, kept while they are as they were, and whether one of them has changed since it was looked at.
//!
//! A page that checks a plan with each key reads its evidence, labels, cue sheets and the recordings of these again and again. Nothing is
//! read anew whose size and time of the last change are the same, but for a file that was changed just before it was read.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use assess::evidence::{AnyRecord, folder};

use crate::recordings::{Stamp, digest_of_pieces};

/// Files that are looked at for changes at most.
const MOST_LOOKED_AT: usize = 4096;

type Files<T> = Mutex<BTreeMap<PathBuf, T>>;

/// What was read beside one plan.
#[derive(Debug, Default)]
pub struct Kept {
    records: Files<(Stamp, Result<AnyRecord, String>)>,
    digests: Files<(Stamp, [u8; 32])>,
    /// Every file that was asked for, there or not, as it was then.
    looked_at: Files<Option<Stamp>>,
    /// The records beside the plan when they were last listed.
    shelf: Mutex<Option<BTreeMap<PathBuf, Option<Stamp>>>>,
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Kept {
    /// Notes that a file is about to be read; [`Kept::changed`] tells when it is another. One that is not there counts, too.
    pub fn look_at(&self, file: &Path) {
        let mut all = lock(&self.looked_at);
        if all.len() < MOST_LOOKED_AT && !all.contains_key(file) {
            all.insert(file.to_path_buf(), Stamp::of(file).ok());
        }
    }

    /// The files that were looked at and are others now, there or not, and the records beside the plan that came, went or changed; each
    /// change is told once.
    #[must_use]
    pub fn changed(&self, plan: &Path) -> Vec<PathBuf> {
        let mut changed = Vec::new();
        for (file, seen) in lock(&self.looked_at).iter_mut() {
            let now = Stamp::of(file).ok();
            if now != *seen {
                *seen = now;
                changed.push(file.clone());
            }
        }
        let mut listed = lock(&self.shelf);
        // Before the first check nothing was told that could be old.
        if let Some(before) = listed.as_mut() {
            let now = on_shelf(plan);
            let came = now
                .iter()
                .filter(|(file, stamp)| before.get(*file) != Some(*stamp));
            changed.extend(came.map(|(file, _)| file.clone()));
            changed.extend(before.keys().filter(|f| !now.contains_key(*f)).cloned());
            *before = now;
        }
        changed
    }

    /// Notes what records lie beside the plan, once.
    pub(crate) fn list(&self, plan: &Path) {
        lock(&self.shelf).get_or_insert_with(|| on_shelf(plan));
    }

    /// A record, read by `read` where it is not as it was when it was last read.
    pub(crate) fn record(
        &self,
        file: &Path,
        read: impl FnOnce() -> Result<AnyRecord, String>,
    ) -> Result<AnyRecord, String> {
        let Ok(stamp) = Stamp::of(file) else {
            return read();
        };
        if let Some((_, record)) = lock(&self.records).get(file).filter(|(s, _)| *s == stamp) {
            return record.clone();
        }
        let settled = stamp.is_settled();
        let record = read();
        if settled && Stamp::of(file).is_ok_and(|after| after == stamp) {
            lock(&self.records).insert(file.to_path_buf(), (stamp, record.clone()));
        }
        record
    }

    /// SHA-256 of the content of a file. `go_on` stops the reading by `false`: then there is none.
    ///
    /// # Errors
    /// Those of the file system; of what has no end.
    pub fn content_digest(
        &self,
        file: &Path,
        go_on: &dyn Fn() -> bool,
    ) -> io::Result<Option<[u8; 32]>> {
        self.look_at(file);
        let stamp = Stamp::of(file)?;
        if let Some((_, digest)) = lock(&self.digests).get(file).filter(|(s, _)| *s == stamp) {
            return Ok(Some(*digest));
        }
        let settled = stamp.is_settled();
        let digest = digest_of_pieces(file, &|_| go_on())?;
        if let Some(digest) = digest
            && settled
            && Stamp::of(file).is_ok_and(|after| after == stamp)
        {
            lock(&self.digests).insert(file.to_path_buf(), (stamp, digest));
        }
        Ok(digest)
    }
}

/// The records beside a plan, without what is kept there of recordings.
fn on_shelf(plan: &Path) -> BTreeMap<PathBuf, Option<Stamp>> {
    let entries = std::fs::read_dir(folder(plan)).into_iter().flatten();
    let files = entries.flatten().map(|entry| entry.path());
    let records = files.filter(|f| f.extension().is_some_and(|e| e == "json"));
    records
        .map(|file| {
            let stamp = Stamp::of(&file).ok();
            (file, stamp)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;
    use std::fs::{self, File};
    use std::time::{Duration, SystemTime};

    use super::*;

    fn long_ago(file: &Path) {
        let then = SystemTime::now() - Duration::from_secs(3600);
        let file = File::options().append(true).open(file).unwrap();
        file.set_modified(then).unwrap();
    }

    /// A file is read once while it stays as it is, and again when it is another; whoever stops the reading gets nothing.
    #[test]
    fn verif_a_file_is_hashed_once_while_it_stays_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("long.wav");
        fs::write(&file, vec![7; 300_000]).unwrap();
        let kept = Kept::default();
        let read = Cell::new(0);
        let digest = || {
            read.set(0);
            let go_on = || {
                read.set(read.get() + 1);
                true
            };
            kept.content_digest(&file, &go_on).unwrap().unwrap()
        };
        // It was changed a moment ago, so what is read of it is not kept.
        let first = digest();
        assert!(read.get() > 0);
        assert_eq!(digest(), first);
        assert!(read.get() > 0);
        long_ago(&file);
        assert_eq!(digest(), first);
        assert!(read.get() > 0);
        assert_eq!((digest(), read.get()), (first, 0));
        fs::write(&file, vec![8; 300_000]).unwrap();
        assert_ne!(digest(), first);
        assert!(read.get() > 0);
        long_ago(&file);
        assert_eq!(kept.content_digest(&file, &|| false).unwrap(), None);
    }

    /// What was looked at and is another, came or went is told once; what nobody looked at is not.
    #[test]
    fn verif_changes_are_told_once() {
        let home = tempfile::tempdir().unwrap();
        let (plan, kept) = (home.path().join("plan.toml"), Kept::default());
        let file = |name: &str| home.path().join(name);
        for name in ["parts.toml", "other.toml"] {
            fs::write(file(name), "a = 1").unwrap();
            long_ago(&file(name));
        }
        assert!(kept.changed(&plan).is_empty());
        kept.look_at(&file("parts.toml"));
        kept.look_at(&file("labels.csv"));
        kept.list(&plan);
        assert!(kept.changed(&plan).is_empty());
        fs::write(file("other.toml"), "a = 2").unwrap();
        assert!(kept.changed(&plan).is_empty());
        fs::write(file("parts.toml"), "a = 2").unwrap();
        assert_eq!(kept.changed(&plan), [file("parts.toml")]);
        assert!(kept.changed(&plan).is_empty());
        fs::write(file("labels.csv"), "begin").unwrap();
        assert_eq!(kept.changed(&plan), [file("labels.csv")]);
        fs::create_dir(file("plan.evidence")).unwrap();
        let record = file("plan.evidence").join("tune-call.json");
        fs::write(&record, "{}").unwrap();
        fs::write(file("plan.evidence").join("recordings.cache"), "{}").unwrap();
        assert_eq!(kept.changed(&plan), std::slice::from_ref(&record));
        assert!(kept.changed(&plan).is_empty());
        fs::remove_file(&record).unwrap();
        assert_eq!(kept.changed(&plan), [record]);
        assert!(kept.changed(&plan).is_empty());
    }

    #[test]
    fn verif_a_record_is_read_once_while_it_stays_as_it_is() {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("a.json");
        fs::write(&file, "{}").unwrap();
        long_ago(&file);
        let (kept, reads) = (Kept::default(), Cell::new(0));
        let read = || {
            reads.set(reads.get() + 1);
            Err("no record".to_owned())
        };
        for _ in 0..3 {
            assert_eq!(kept.record(&file, read).unwrap_err(), "no record");
        }
        assert_eq!(reads.get(), 1);
        fs::write(&file, "{ }").unwrap();
        kept.record(&file, read).unwrap_err();
        assert_eq!(reads.get(), 2);
    }
}
