//! Results that are kept by what they were computed from.
//!
//! A result is kept under the digest of its method and of its exact input ([`Canonical`]): what has changed has another digest, and
//! nothing has to be told what depends on what. A calculation sees nothing but its input ([`Job`]), so a result that is found is the
//! one that would be computed. Long chains are cut into jobs: weather to irradiance, irradiance to the battery's year.

mod canonical;

use std::any::Any;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

pub(crate) use canonical::{Canon, Canonical, Digest, canonical};

/// Room of a [`Memo::new`], bytes.
const ROOM_BYTES: usize = 128 << 20;
/// What an entry takes beside its result, bytes, roughly.
const ENTRY_BYTES: usize = 256;

/// A calculation that is worth keeping; the value is its whole input.
pub(crate) trait Job: Canonical {
    /// Name and number of the calculation; another number where the same input comes to something else.
    const METHOD: &'static str;
    /// What it comes to.
    type Out: Send + Sync + 'static;
    /// Does it. Parts of it may be kept on their own.
    fn run(&self, memo: &Memo) -> Self::Out;
    /// What a result takes beside itself, bytes, roughly.
    fn bytes(out: &Self::Out) -> usize;
}

/// How often a kind of calculation was done, and how often its result was found instead.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Runs {
    /// Done.
    pub done: u64,
    /// Found.
    pub found: u64,
}

/// Results of earlier checks, for those that come: of the same plan, changed here and there, or of others.
///
/// What a check says does not depend on what is kept, only how long it takes. The results that were not asked for longest leave
/// first. Several threads may use one.
#[derive(Debug)]
pub struct Memo {
    kept: Mutex<Kept>,
    room_bytes: usize,
}

#[derive(Debug, Default)]
struct Kept {
    results: BTreeMap<Digest, Entry>,
    /// By when they were last asked for.
    by_age: BTreeMap<u64, Digest>,
    /// Counts the asking.
    asked: u64,
    bytes: usize,
    runs: BTreeMap<&'static str, Runs>,
}

#[derive(Debug)]
struct Entry {
    result: Arc<dyn Any + Send + Sync>,
    bytes: usize,
    asked: u64,
}

impl Default for Memo {
    fn default() -> Memo {
        Memo::new()
    }
}

impl Memo {
    /// With room for the results of some hundred variants of a plan.
    #[must_use]
    pub fn new() -> Memo {
        Memo::with_room(ROOM_BYTES)
    }

    /// With room for so many bytes of results; with none each is computed every time.
    #[must_use]
    pub fn with_room(room_bytes: usize) -> Memo {
        Memo {
            kept: Mutex::default(),
            room_bytes,
        }
    }

    /// What has been done and found so far, by the name of the calculation.
    #[must_use]
    pub fn runs(&self) -> BTreeMap<&'static str, Runs> {
        self.lock().runs.clone()
    }

    /// Bytes that the results take, roughly; never more than the room.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.lock().bytes
    }

    /// The result of a calculation, found or computed. Two threads that ask at once may both compute it.
    pub(crate) fn of<J: Job>(&self, job: &J) -> Arc<J::Out> {
        let key = if self.room_bytes == 0 {
            None
        } else {
            let mut canon = Canon::new(J::METHOD);
            job.write(&mut canon);
            Some(canon.digest())
        };
        if let Some(found) = key.and_then(|key| self.found(J::METHOD, &key)) {
            return found;
        }
        let result = Arc::new(job.run(self));
        let mut kept = self.lock();
        kept.runs.entry(J::METHOD).or_default().done += 1;
        if let Some(key) = key {
            let bytes = ENTRY_BYTES + size_of::<J::Out>() + J::bytes(&result);
            kept.keep(key, result.clone(), bytes, self.room_bytes);
        }
        result
    }

    fn found<T: Send + Sync + 'static>(
        &self,
        method: &'static str,
        key: &Digest,
    ) -> Option<Arc<T>> {
        let mut kept = self.lock();
        let result = kept.touched(key)?;
        // Two methods of one name would have one key: a result of another type is none.
        let result = result.downcast::<T>().ok()?;
        kept.runs.entry(method).or_default().found += 1;
        Some(result)
    }

    /// A thread that panics holds no half-done change: nothing foreign runs under the lock.
    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Kept {
    fn touched(&mut self, key: &Digest) -> Option<Arc<dyn Any + Send + Sync>> {
        let entry = self.results.get_mut(key)?;
        self.asked += 1;
        self.by_age.remove(&entry.asked);
        entry.asked = self.asked;
        self.by_age.insert(self.asked, *key);
        Some(entry.result.clone())
    }

    fn keep(&mut self, key: Digest, result: Arc<dyn Any + Send + Sync>, bytes: usize, room: usize) {
        self.forget(&key);
        if bytes > room {
            return;
        }
        while self.bytes + bytes > room {
            let Some((_, oldest)) = self.by_age.pop_first() else {
                return;
            };
            self.forget(&oldest);
        }
        self.asked += 1;
        self.by_age.insert(self.asked, key);
        self.bytes += bytes;
        let asked = self.asked;
        let entry = Entry {
            result,
            bytes,
            asked,
        };
        self.results.insert(key, entry);
    }

    fn forget(&mut self, key: &Digest) {
        if let Some(entry) = self.results.remove(key) {
            self.by_age.remove(&entry.asked);
            self.bytes -= entry.bytes;
        }
    }
}

#[cfg(test)]
mod tests;
