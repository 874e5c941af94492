//! Long work: it runs beside the answers, tells how far it is, can be stopped, and keeps its document until it is asked for.

mod rehearse;
mod scratch;
mod trace;
mod work;

use std::collections::BTreeMap;
use std::io;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::sync::watch;

use crate::error::ApiError;
use trace::MOST_KEPT_BYTES;
pub(crate) use trace::Trace;
pub(crate) use work::{Ask, KINDS, Work, kind, work};

/// Jobs that run at once.
pub(crate) const MOST_AT_ONCE: usize = 4;
/// Jobs that are kept when they are done; the oldest leave first.
const MOST_KEPT: usize = 16;
/// From one look whether all work has ended to the next.
const ASKS_EACH: Duration = Duration::from_millis(20);
/// Steps of progress that are told apart.
const STEPS: f64 = 1000.0;

/// How far a job is.
#[derive(Clone, PartialEq, Debug)]
pub(crate) enum State {
    Running {
        /// Thousandths.
        steps: u32,
        words: &'static str,
    },
    Done,
    Failed(Value),
    Cancelled,
}

impl State {
    /// The event of that name.
    pub(crate) fn event(&self) -> (&'static str, Value) {
        match self {
            State::Running { steps, words } => (
                "progress",
                json!({ "share": f64::from(*steps) / STEPS, "words": words }),
            ),
            State::Done => ("done", json!({})),
            State::Failed(error) => ("failed", error.clone()),
            State::Cancelled => ("cancelled", json!({})),
        }
    }

    pub(crate) fn is_over(&self) -> bool {
        !matches!(self, State::Running { .. })
    }
}

/// A job, for as long as it is kept.
pub(crate) struct Job {
    kind: &'static str,
    /// Counts the jobs of the server.
    turn: u64,
    state: watch::Sender<State>,
    stop: AtomicBool,
    result: Mutex<Option<Value>>,
    trace: Mutex<Option<Arc<Trace>>>,
}

impl Job {
    /// Tells how far the work is; whether to go on.
    pub(crate) fn at(&self, share: f64, words: &'static str) -> bool {
        let steps = (STEPS * share.clamp(0.0, 1.0)) as u32;
        self.state.send_if_modified(|state| {
            let now = State::Running { steps, words };
            let moved = *state != now && !state.is_over();
            if moved {
                *state = now;
            }
            moved
        });
        self.goes_on()
    }

    pub(crate) fn goes_on(&self) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }

    pub(crate) fn watch(&self) -> watch::Receiver<State> {
        self.state.subscribe()
    }

    /// What came of it so far.
    pub(crate) fn told(&self) -> Value {
        let state = self.state.borrow().clone();
        let (name, data) = state.event();
        let mut told = json!({ "kind": self.kind, "state": name, "result": *lock(&self.result) });
        match (state, data) {
            (State::Running { .. }, data) => told["progress"] = data,
            // What stands beside the error, too: mistakes, a place.
            (State::Failed(_), Value::Object(data)) => data
                .into_iter()
                .for_each(|(key, value)| told[key.as_str()] = value),
            _ => {}
        }
        told
    }

    pub(crate) fn trace(&self) -> Result<Arc<Trace>, ApiError> {
        lock(&self.trace).clone().ok_or_else(|| {
            ApiError::missing(
                "no-trace",
                "this job has no records: only a rehearsal that is done has",
            )
        })
    }
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What a job leaves.
pub(crate) struct Left {
    pub(crate) document: Value,
    pub(crate) trace: Option<Trace>,
}

impl From<Value> for Left {
    fn from(document: Value) -> Left {
        Left {
            document,
            trace: None,
        }
    }
}

/// All jobs of a server.
pub(crate) struct Jobs {
    all: Mutex<BTreeMap<u64, Arc<Job>>>,
    turns: AtomicU64,
    /// Where traces lie; it goes with the server.
    scratch: Mutex<Option<Arc<TempDir>>>,
}

impl Jobs {
    pub(crate) fn new() -> Jobs {
        Jobs {
            all: Mutex::new(BTreeMap::new()),
            turns: AtomicU64::new(0),
            scratch: Mutex::new(None),
        }
    }

    /// Starts work; its number.
    pub(crate) fn start(
        &self,
        kind: &'static str,
        work: impl FnOnce(&Job) -> Result<Left, ApiError> + Send + 'static,
    ) -> Result<u64, ApiError> {
        let mut all = lock(&self.all);
        if all.values().filter(|job| running(job)).count() >= MOST_AT_ONCE {
            return Err(ApiError::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "busy",
                format!("{MOST_AT_ONCE} jobs are running"),
            )
            .help("wait for one to end, or stop one"));
        }
        forget(&mut all, |all| all.len() < MOST_KEPT + MOST_AT_ONCE);
        forget(&mut all, |all| bytes(all) <= MOST_KEPT_BYTES);
        let (state, _) = watch::channel(State::Running {
            steps: 0,
            words: "begins",
        });
        let job = Arc::new(Job {
            kind,
            turn: self.turns.fetch_add(1, Ordering::Relaxed),
            state,
            stop: AtomicBool::new(false),
            result: Mutex::new(None),
            trace: Mutex::new(None),
        });
        let number = number(&all)?;
        all.insert(number, Arc::clone(&job));
        drop(all);
        thread::spawn(move || run(&job, work));
        Ok(number)
    }

    pub(crate) fn get(&self, number: u64) -> Result<Arc<Job>, ApiError> {
        let all = lock(&self.all);
        let job = all.get(&number).cloned();
        job.ok_or_else(|| ApiError::missing("no-such-job", format!("there is no job {number}")))
    }

    /// Stops a job that runs, and forgets one that is over.
    pub(crate) fn stop(&self, number: u64) -> Result<(), ApiError> {
        let job = self.get(number)?;
        job.stop.store(true, Ordering::Relaxed);
        if job.state.borrow().is_over() {
            lock(&self.all).remove(&number);
        }
        Ok(())
    }

    /// Stops all that run, waits for them as long as `longest`, and takes the traces away.
    pub(crate) fn end(&self, longest: Duration) {
        let mut all = lock(&self.all);
        all.values()
            .for_each(|job| job.stop.store(true, Ordering::Relaxed));
        let until = Instant::now() + longest;
        while all.values().any(|job| !job.state.borrow().is_over()) && Instant::now() < until {
            thread::sleep(ASKS_EACH);
        }
        all.clear();
        if let Some(scratch) = lock(&self.scratch).take() {
            // Work that did not end in time ends with the program, and can write no more than that.
            drop(std::fs::remove_dir_all(scratch.path()));
        }
    }

    /// A folder for traces, made when the first is wanted.
    pub(crate) fn scratch(&self) -> io::Result<Arc<TempDir>> {
        let mut held = lock(&self.scratch);
        if let Some(made) = &*held {
            return Ok(Arc::clone(made));
        }
        let made = Arc::new(scratch::make()?);
        *held = Some(Arc::clone(&made));
        Ok(made)
    }
}

/// Whether a job is still at work.
fn running(job: &Job) -> bool {
    !job.state.borrow().is_over()
}

/// Bytes of all traces that are kept.
fn bytes(all: &BTreeMap<u64, Arc<Job>>) -> u64 {
    let of = |job: &Arc<Job>| lock(&job.trace).as_ref().map_or(0, |trace| trace.bytes);
    all.values().map(of).sum()
}

/// Forgets what is over, the oldest first, until it is enough.
fn forget(all: &mut BTreeMap<u64, Arc<Job>>, enough: impl Fn(&BTreeMap<u64, Arc<Job>>) -> bool) {
    while !enough(all) {
        let over = all.iter().filter(|(_, job)| !running(job));
        let oldest = over.min_by_key(|(_, job)| job.turn);
        let Some(number) = oldest.map(|(number, _)| *number) else {
            return;
        };
        all.remove(&number);
    }
}

/// A number that no job has, of this server or, as far as chance goes, of an earlier one: a page that outlives its server would else
/// take another's work for its own. Not beyond what a page can count exactly.
fn number(taken: &BTreeMap<u64, Arc<Job>>) -> Result<u64, ApiError> {
    loop {
        let mut bytes = [0; 8];
        getrandom::fill(&mut bytes).map_err(|error| {
            let why = format!("the system gives no random bytes for the number of a job: {error}");
            ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, "no-random", why)
        })?;
        let number = u64::from_le_bytes(bytes) >> 11;
        if number > 0 && !taken.contains_key(&number) {
            return Ok(number);
        }
    }
}

/// Work that breaks its own promises ends as a failure, not as a job that runs for ever.
struct Breaks<'a>(&'a Job);

impl Drop for Breaks<'_> {
    fn drop(&mut self) {
        if !self.0.state.borrow().is_over() {
            let error = ApiError::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                "stopped",
                "the work did not come to its end",
            );
            self.0.state.send_replace(State::Failed(error.document()));
        }
    }
}

fn run(job: &Job, work: impl FnOnce(&Job) -> Result<Left, ApiError>) {
    let over = Breaks(job);
    let state = match work(job) {
        // What was finished just before it was to stop is kept all the same.
        Ok(left) => {
            *lock(&job.result) = Some(left.document);
            *lock(&job.trace) = left.trace.map(Arc::new);
            State::Done
        }
        Err(_) if !job.goes_on() => State::Cancelled,
        Err(error) => State::Failed(error.document()),
    };
    job.state.send_replace(state);
    drop(over);
}

#[cfg(test)]
mod tests {
    use super::*;
    use trace::{LARGEST, Pen};

    /// What a rehearsal with a trace of so many bytes leaves.
    fn left(scratch: Arc<TempDir>, bytes: u64) -> Left {
        let mut trace = Pen::begin(scratch, &json!({})).unwrap().end().unwrap();
        trace.bytes = bytes;
        Left {
            document: json!({}),
            trace: Some(trace),
        }
    }

    fn ended(jobs: &Jobs, number: u64) -> Arc<Job> {
        let job = jobs.get(number).unwrap();
        while running(&job) {
            thread::yield_now();
        }
        job
    }

    fn files(folder: &std::path::Path) -> usize {
        std::fs::read_dir(folder).map_or(0, Iterator::count)
    }

    /// Before another begins, the oldest leave with their files until what is left has room; what was asked for last stays.
    #[test]
    fn verif_traces_leave_before_they_fill_the_disk() {
        let jobs = Jobs::new();
        let scratch = jobs.scratch().unwrap();
        let start = |bytes| {
            let own = Arc::clone(&scratch);
            let number = jobs
                .start("rehearse", move |_| Ok(left(own, bytes)))
                .unwrap();
            ended(&jobs, number);
            number
        };
        let half = MOST_KEPT_BYTES / 2;
        let all = [start(half), start(half), start(1), start(LARGEST), start(1)];
        // The first left when the fourth began, the second and the third when the fifth did.
        let known = all.map(|number| jobs.get(number).is_ok());
        assert_eq!(known, [false, false, false, true, true]);
        // A file goes with the thread that made it.
        let until = Instant::now() + Duration::from_secs(60);
        while files(scratch.path()) != 2 {
            assert!(Instant::now() < until, "{}", files(scratch.path()));
            thread::yield_now();
        }
        // However numbers fall, it is the oldest that leaves.
        let many: Vec<u64> = (0..MOST_KEPT + MOST_AT_ONCE).map(|_| start(0)).collect();
        assert!(jobs.get(all[3]).is_err() && jobs.get(all[4]).is_err());
        assert!(many.iter().all(|number| jobs.get(*number).is_ok()));
    }

    /// At its end the server takes away what lies in the folder for temporary files, though a job is at work.
    #[test]
    fn verif_nothing_stays_in_the_temporary_folder() {
        let jobs = Jobs::new();
        let scratch = jobs.scratch().unwrap();
        let folder = scratch.path().to_path_buf();
        let long = move |job: &Job| {
            let _held = scratch;
            while job.at(0.5, "at work") {
                thread::yield_now();
            }
            Err(ApiError::cancelled())
        };
        jobs.start("rehearse", long).unwrap();
        let own = jobs.scratch().unwrap();
        let done = jobs.start("rehearse", move |_| Ok(left(own, 1))).unwrap();
        ended(&jobs, done);
        assert_eq!(files(&folder), 1);
        jobs.end(Duration::from_secs(60));
        assert!(!folder.exists());
    }
}
